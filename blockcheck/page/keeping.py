"""The project's file itself: looked through and mended, brought in from an export or a table."""

from __future__ import annotations

import asyncio
import tempfile
from pathlib import Path
from typing import Any

from ..errors import DamagedProjectError
from ..files import sha256_of
from ..project import SUFFIX, Lost, PhotoFile, Project, ProjectReader
from ..project.records import settings_in
from ..report import project_words, soundness_words
from . import work
from .shelf import Shelf

Shown = dict[str, Any]


class Keeping:
    """What is done with whole files."""

    def __init__(self, shelf: Shelf, workers: work.Workers) -> None:
        self._shelf, self._workers = shelf, workers

    def check(self, project: str) -> Shown:
        """Compare every row with its checksum, every photo with its own."""
        path = self._shelf.path(project)
        try:
            with Project.open(path) as quilt:
                count = len(quilt.blocks()) + len(quilt.removed())
                photos = [said for photo in quilt.photos() if (said := _of_photo(photo))]
                said = soundness_words.as_written(path.name, count)
                return {"sound": True, "said": said, "photos": photos}
        except DamagedProjectError:
            reader, found = ProjectReader.rescued(path)
        with reader:
            lost = [x.name for x in found.lost]
            return {
                "sound": False,
                "said": soundness_words.damaged(path.name),
                "faults": found.faults,
                "kept": [
                    f"block {b.name}: {project_words.sizes(reader.plan, b)}"
                    for b in reader.blocks()
                    if b.name not in lost
                ],
                "lost": [soundness_words.lost(name) for name in lost],
            }

    async def mend(self, project: str) -> Shown:
        """Write what is sound, and what photos give again, to a new file beside this one."""
        copy, found = await asyncio.to_thread(self._rescued, project)
        said = []
        for one in found:
            given = await asyncio.to_thread(_photo_of, copy, one)
            done = False
            if given is not None:
                measured = await self._workers.run("measure", work.measure, *given)
                done = await asyncio.to_thread(_again, copy, one, measured)
            said.append(soundness_words.mended(one.name, done))
        there = self._shelf.only is None
        return {"said": said, "name": copy.stem, "to": f"/p/{copy.stem}" if there else ""}

    def _rescued(self, project: str) -> tuple[Path, tuple[Lost, ...]]:
        path = self._shelf.path(project)
        reader, found = ProjectReader.rescued(path)
        with reader:
            copy = path.with_name(f"{path.stem}-mended{path.suffix}")
            found.write(copy)
        return copy, found.lost

    def table(self, project: str, text: bytes) -> Shown:
        """Keep sizes measured with a ruler: all of a table, or nothing of it."""
        with tempfile.TemporaryDirectory(prefix="blockcheck-") as folder:
            file = Path(folder) / "the table"
            file.write_bytes(text)
            with self._shelf.open(project) as quilt:
                return {"names": quilt.import_csv(file)}

    def bring(self, name: str, text: bytes) -> str:
        """Make a project of an export; its photos' places count from the folder of the quilts."""
        name = self._shelf.fit(name)
        file = self._shelf.folder / f".{name}.json"
        try:
            file.write_bytes(text)
            Project.create_from_json(self._shelf.folder / (name + SUFFIX), file).close()
        finally:
            file.unlink(missing_ok=True)
        return name


def _of_photo(photo: PhotoFile) -> str:
    """What is wrong with a photo; nothing where it is as it was."""
    if photo.missing:
        return soundness_words.gone(photo)
    return "" if sha256_of(photo.path) == photo.sha256 else soundness_words.changed(photo)


def _photo_of(copy: Path, lost: Lost) -> tuple[Path, dict[str, Any]] | None:
    """The photo that a lost block was measured in, and what it was measured with."""
    with Project.open(copy) as quilt:
        for photo in quilt.photos():
            if photo.sha256 == lost.photo and not photo.missing:
                return photo.path, settings_in(quilt.plan)
    return None


def _again(copy: Path, lost: Lost, measured: work.Measured) -> bool:
    with Project.open(copy) as quilt:
        return quilt.mended(lost, measured.result)
