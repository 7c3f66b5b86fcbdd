"""The command `mark`: points and the centre line of a block, by ruler or from its photo."""

from __future__ import annotations

import re
from pathlib import Path

import click
import numpy as np

from ..errors import PlanError, ProjectError, typed
from ..planning.plan import BlockRecord, called
from ..project import PhotoFile, Project
from ..project.places import read_place
from ..project.records import Point
from ..project.suggestions import suggestions
from ..report import mark_words as words
from ..report.phrases import sentence
from ..vision.seams.points import Suggested
from .command import command
from .options import FORCE, NAME, PROJECT, file_type, need_suffix
from .voice import Status, in_words, may_write, note, say, stop, tell, writing


@command("mark")
@PROJECT
@NAME
@click.option(
    "--point", "points", nargs=2, multiple=True, metavar="NAME X,Y",
    help="Mark a point: X from the left edge, Y from the top edge, like 3in,1/4in. "
    'Another edge by its name: "right 1/4in,bottom 2in".',
)  # fmt: skip
@click.option(
    "--centre", "--center", "centre", nargs=2, metavar="X,Y X,Y",
    help="Mark the centre line by two places on it.",
)  # fmt: skip
@click.option("--clear", is_flag=True, help="Remove all of the block's marks first.")
@click.option("--suggest", is_flag=True, help="Look for seams that meet near an edge in the photo.")
@click.option(
    "--picture", metavar="FILE", type=file_type(),
    help="With --suggest: write the photo with the suggestions' numbers (.jpg or .png).",
)  # fmt: skip
@FORCE
@click.option("--accept", metavar="N,N", help="Mark these suggestions, by their numbers.")
def mark(
    project: Path,
    name: str,
    points: tuple[tuple[str, str], ...],
    centre: tuple[str, str] | None,
    clear: bool,
    suggest: bool,
    picture: Path | None,
    force: bool,
    accept: str | None,
) -> None:
    """A point stays one seam allowance inside the trim lines.

    Marks are kept with the block's latest measurement; without options they are shown. A length
    without a unit is in the plan's.
    """
    if picture is not None:
        if not suggest:
            stop(Status.USAGE, "--picture goes with --suggest.")
        need_suffix(picture, ".jpg", ".jpeg", ".png")
    with in_words(), Project.open(project) as quilt:
        plan, kept = quilt.plan, quilt.latest(name)
        (block,) = (b for b in quilt.blocks() if b.name == name)
        marked: dict[str, Point] = {} if clear else dict(kept.points_mm)
        line = None if clear else kept.centre_line_mm
        # everything is read before anything is kept
        for point, place in points:
            marked[point.strip()] = read_place(place, block, plan.unit)
        if centre is not None:
            a, b = (read_place(place, block, plan.unit) for place in centre)
            if np.allclose(a, b):
                raise PlanError("A centre line needs two different places.")
            line = a, b
        if suggest or accept is not None:
            photo = quilt.photo(name)
            if photo and picture and picture.resolve() == photo.path.resolve():
                stop(Status.USAGE, f"{picture} is the photo. Choose another place for the picture.")
            if picture:
                may_write(picture, force)
            found = suggestions(block, photo, kept.settings, plan)
            if suggest:
                say(words.suggestions(found, block, plan))
            if picture is not None:
                _write(picture, photo, block, found)
                tell(f"Wrote {picture}.")
            for number in _numbers(accept, found):
                if number <= len(found.points):
                    chosen = found.points[number - 1]
                    marked[str(number)] = (chosen.x_mm, chosen.y_mm)
                elif found.axis is not None:
                    line = found.axis.ends_mm
        if clear or marked != dict(kept.points_mm):
            quilt.set_points(name, marked)
        if line != kept.centre_line_mm:
            quilt.set_centre_line(name, line)
        if accept is not None or points or centre or not suggest:
            say(words.marks(marked, line, block, plan))
        elif found.points or found.axis is not None:
            accept_one = typed("mark", project, name, "--accept", "1")
            note(f"None of them is marked. To mark the first: {accept_one}")


def _write(picture: Path, photo: PhotoFile | None, block: BlockRecord, found: Suggested) -> None:
    from ..report.marks_picture import write_marks_picture
    from ..report.trim_picture import flat_photo

    flat = flat_photo(photo, block)
    if flat is None:  # seams were looked for in it a moment ago
        raise ProjectError(f"The photo of {called(block.name)} cannot be read any more.")
    title = f"{sentence(called(block.name))}: guesses. Check each with the ruler."
    with writing(picture):
        write_marks_picture(picture, flat, found, title)


def _numbers(text: str | None, found: Suggested) -> list[int]:
    """Numbers of suggestions, each of them there."""
    count = len(found.points) + (found.axis is not None)
    wanted = [] if text is None else re.split(r"[\s,]+", text.strip())
    for word in wanted:
        if not (word.isascii() and word.isdigit() and 1 <= int(word) <= count):
            there = f"There are the numbers 1 to {count}." if count else "There are no suggestions."
            stop(Status.USAGE, f'There is no suggestion "{word}". {there}')
    return [int(word) for word in wanted]
