"""The command add."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from ..errors import ProjectError
from ..files import sha256_of
from ..measuring.results import PhotoResult
from ..project import Project
from ..project.records import settings_in
from ..report import measured_words, project_words
from ..settings import Settings
from .command import command
from .options import CORNERS, FOCAL, JOBS, PHOTOS, PROFILES, PROJECT, TOGETHER
from .photos import corners_of, files, measure_all, one_of_all
from .voice import Status, detail, in_words, leave, refuse, say, stop, tell

_INDENT = " " * 16


@command("add")
@PROJECT
@PHOTOS
@click.option(
    "--name",
    metavar="NAME",
    multiple=True,
    help="A new block's name; once for each block in the photo.",
)
@click.option("--again", metavar="NAME", multiple=True, help="The photo shows this block again.")
@click.option("--trimmed", is_flag=True, help="The blocks are trimmed now.")
@click.option(
    "--note", "text", metavar="TEXT", default="", show_default=False, help="A note for the blocks."
)
@click.option("--kind", metavar="NAME", default="", show_default=False, help="Which kind of block.")
@CORNERS
@TOGETHER
@FOCAL
@PROFILES
@JOBS
def add(
    project: Path,
    photos: tuple[Path, ...],
    name: tuple[str, ...],
    again: tuple[str, ...],
    trimmed: bool,
    text: str,
    kind: str,
    corners: str | None,
    together: bool,
    focal: float | None,
    profiles: Path | None,
    jobs: int,
) -> None:
    """PHOTOS are files or folders; each is kept as soon as it is measured.

    Blocks are numbered unless you name them.
    """
    by_hand = corners_of(corners)
    paths, empty = files(photos)
    if name and again:
        stop(Status.USAGE, "Give --name for new blocks or --again for known ones, not both.")
    if by_hand and len(paths) != 1:
        stop(Status.USAGE, "--corners goes with one photo at a time.")
    if (name or again) and len(paths) != 1 and not together:
        stop(Status.USAGE, "--name and --again go with one photo at a time, or with --together.")
    kept, said = 0, set[str]()
    with in_words(), Project.open(project) as quilt:
        given = {**settings_in(quilt.plan), "focal": focal, "profiles": profiles}
        settings = Settings.of(**given)
        names = _names(quilt, name, again)
        fresh = [p for p in paths if again or not _known(quilt, p)]
        if together and len(fresh) < len(paths):
            there = next(p for p in paths if p not in fresh)
            raise ProjectError(
                f"{there.name} is already in, as block {_known(quilt, there)}.",
                f"To measure that block from all photos: --again {_known(quilt, there)}",
            )
        for path in paths:
            if path not in fresh:
                _say_known(path, _known(quilt, path))
                kept += 1
        results = one_of_all(fresh, given) if together else measure_all(fresh, jobs, by_hand, given)
        for result in results:
            detail(measured_words.measured_with(result))
            if not result.ok:
                refuse(measured_words.refusal(result, "NOT KEPT"))
                continue
            if not again and (known := _known(quilt, result.path)):  # its twin came first
                _say_known(result.path, known)
                kept += 1
                continue
            marked = any(quilt.latest(n).points_mm for n in again)
            called = quilt.add_result(
                result, names, settings=settings, trimmed=trimmed, notes=text, kind=kind
            )
            kept += sum(t.used for t in result.together) or 1
            _say_kept(quilt, result, called, said)
            if marked:
                say(f"{_INDENT}Mark its points again: they belong to the earlier photo.")
        tell(f"Kept {kept} of {len(paths)} photo{'s'[: len(paths) != 1]} in {quilt.path.name}.")
    leave(Status.DONE if kept == len(paths) and not empty else Status.PHOTO)


def _say_kept(quilt: Project, result: PhotoResult, called: Sequence[str], said: set[str]) -> None:
    """Say what was kept of a photo; a warning once for a whole set of photos."""
    plan = quilt.plan
    for block in (b for b in quilt.blocks() if b.name in called):
        sizes = project_words.sizes(plan, block)
        photos = measured_words.photos_named(result)
        tell(f"kept            {photos}: block {block.name}, {sizes}")
        both = block.width_mm.value, block.height_mm.value
        if plan.planned_mm and measured_words.sideways(*both, plan.planned_mm):
            say(f"{_INDENT}Note: {measured_words.SIDEWAYS} Then: --again {block.name}")
    for p in result.problems:
        if p.code not in said:
            say(f"{_INDENT}Note: {p.message} {p.hint}")
        said.add(p.code)


def _say_known(path: Path, known: str) -> None:
    tell(f"the same photo  {path.name} is already in, as block {known}.")


def _names(quilt: Project, name: Sequence[str], again: Sequence[str]) -> list[str] | None:
    """The names given, or None; a new name must be new, a known one known."""
    there = {b.name for b in quilt.blocks()} | set(quilt.removed())
    for n in name:
        if n.strip() in there:
            raise ProjectError(
                f"There is already a block {n}.",
                f"If the photo shows it again: --again {n}; if not, choose another name.",
            )
    for n in again:
        quilt.latest(n)
    return list(name or again) or None


def _known(quilt: Project, path: Path) -> str:
    """Names of the blocks that this very photo has given already; where it lies now is noted."""
    digest = sha256_of(path)
    if digest is None:
        return ""  # measuring says what is wrong with it
    names, removed = quilt.names_in(digest), quilt.removed()
    if names:
        quilt.found(digest, path)
    return ", ".join(n + " (removed)" * (n in removed) for n in names)
