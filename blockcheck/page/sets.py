"""Photos that show one block together: each set lies in a folder of its own."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from ..errors import ProjectError, UploadError
from ..files import sha256_of
from .intake import KINDS, Received
from .shelf import Shelf

_TOKEN = re.compile(r"[a-z0-9]{8}")
_PREFIX = "together-"
MOST = 24  # photos of one block


def folder_of(photos: Path, token: str) -> Path:
    """The folder of a set, in a project's folder of photos.

    Raises
    ------
    ProjectError
        If no set can be called so.
    """
    if not _TOKEN.fullmatch(token):
        raise ProjectError("The page asked for something that makes no sense.", "Reload the page.")
    return photos / (_PREFIX + token)


def need_room(folder: Path) -> None:
    """Let a set grow only so far.

    Raises
    ------
    UploadError
        If it is large enough.
    """
    if len(_photos(folder)) >= MOST:
        raise UploadError(f"{MOST} photos of one block are enough.", "Measure these.", 400)


def received(folder: Path) -> list[Received]:
    """The photos of a set, by their names.

    Raises
    ------
    ProjectError
        If there are fewer than two.
    """
    found = [Received(path, sha256_of(path) or "") for path in _photos(folder)]
    if len(found) < 2:
        raise ProjectError("It takes two photos or more.", "Take another one of the same block.")
    return found


def begun(shelf: Shelf, project: str) -> dict[str, int]:
    """Sets that gave no block, with the number of their photos."""
    found = {
        folder: len(some)
        for folder in sorted(shelf.photos(project).glob(_PREFIX + "*"))
        if (some := _photos(folder))
    }
    if found:
        with shelf.open(project) as quilt:
            for photo in quilt.photos():
                found.pop(photo.path.parent, None)
    return {folder.name.removeprefix(_PREFIX): count for folder, count in found.items()}


def drop(shelf: Shelf, project: str, folder: Path) -> None:
    """Take the photos of a set off the disk, unless a block came from them."""
    if folder.name.removeprefix(_PREFIX) in begun(shelf, project):
        for path in _photos(folder):
            path.unlink(missing_ok=True)


def ordered(shelf: Shelf, project: str, names: tuple[str, ...], again: str) -> list[Path]:
    """The files of a set; one that the block was measured in before comes first.

    What is kept of the set stands under its first photo, so that photo's own reading counts no
    more.

    Raises
    ------
    ProjectError
        If one of them gave a block already and that block was not asked for.
    """
    folder = shelf.photos(project)
    with shelf.open(project) as quilt:
        known = {name: quilt.names_in(sha256_of(folder / name) or "") for name in names}
    for name, blocks in known.items():
        if blocks and not again:
            raise ProjectError(
                f"{Path(name).name} is already in, as block {', '.join(blocks)}.",
                f"To measure that block from all photos, open block {blocks[0]} and choose "
                "“Measure it from several photos”.",
            )
    return [folder / name for name in sorted(names, key=lambda name: not known[name])]


def holds(token: str, names: Iterable[str]) -> bool:
    """Whether one of the names is of a photo in that set."""
    return any(name.startswith(f"{_PREFIX}{token}/") for name in names)


def _photos(folder: Path) -> list[Path]:
    if not folder.is_dir():
        return []
    found = [p for p in folder.iterdir() if p.suffix in KINDS and not p.name.startswith(".")]
    return sorted(found)  # whichever arrived first
