"""The command that looks whether a project is as it was written, and mends what can be."""

from __future__ import annotations

from pathlib import Path

import click

from ..errors import DamagedProjectError, typed
from ..files import sha256_of
from ..measuring.measure import measure_photo
from ..project import Lost, Project, ProjectReader
from ..project.records import settings_in
from ..project.schema import locate
from ..report import project_words as words
from ..report import soundness_words
from .command import command
from .options import PROJECT
from .voice import Status, in_words, leave, note, say, tell


@command("check")
@PROJECT
@click.option(
    "--mend", is_flag=True, help="Write what is sound, and what photos give again, to a new file."
)
def check(project: Path, mend: bool) -> None:
    """Every row of the file is compared with its checksum, every photo with its own."""
    with in_words():
        path = locate(project)
        try:
            with Project.open(path) as quilt:
                count = len(quilt.blocks()) + len(quilt.removed())
                tell(soundness_words.as_written(path.name, count))
                well = _photos(quilt)
        except DamagedProjectError:
            _damaged(path, mend)
            well = False
    leave(Status.DONE if well else Status.DISAGREES)


def _damaged(path: Path, mend: bool) -> None:
    """Say what is sound and what is not; write a mended copy if asked."""
    reader, found = ProjectReader.rescued(path)
    with reader:
        tell(soundness_words.damaged(path.name))
        for fault in found.faults:
            say(f"  {fault}")
        lost = {x.name: x for x in found.lost}
        for block in (b for b in reader.blocks() if b.name not in lost):
            say(f"sound   block {block.name}: {words.sizes(reader.plan, block)}")
        for name in lost:
            say(f"LOST    {soundness_words.lost(name)}")
        if not mend:
            note(f"To write a copy of what is sound: {typed('check', path, '--mend')}")
            return
        copy = path.with_name(f"{path.stem}-mended{path.suffix}")
        found.write(copy)
    with Project.open(copy) as quilt:
        for one in found.lost:
            done = _again(quilt, one)
            hint = "" if done else f", with --again {one.name} if the copy still lists it"
            say(soundness_words.mended(one.name, done) + hint)
        tell(
            f"Wrote {copy}. Look at its plan ({typed('plan', copy)}) and its blocks "
            f"({typed('list', copy)}) before you go on with it; {path.name} is left as it is."
        )


def _again(quilt: Project, lost: Lost) -> bool:
    for photo in quilt.photos():
        if photo.sha256 == lost.photo and not photo.missing:
            return quilt.mended(lost, measure_photo(photo.path, **settings_in(quilt.plan)))
    return False


def _photos(quilt: Project) -> bool:
    """Say which photos are gone or changed; return whether none is changed."""
    well = True
    for photo in quilt.photos():
        if photo.missing:
            tell(soundness_words.gone(photo))
        elif sha256_of(photo.path) != photo.sha256:
            tell(soundness_words.changed(photo))
            well = False
    return well


COMMANDS = (check,)
