"""The command `mark`: points and the centre line of a block, by ruler or from its photo."""

from __future__ import annotations

import re
import shlex
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click
import numpy as np

from ..errors import LengthError, PlanError, ProjectError
from ..planning.plan import BlockRecord, Plan, called
from ..project import Project
from ..project.records import PhotoFile, Point, settings_from
from ..report.marks_picture import write_marks_picture
from ..report.trim_picture import flat_photo
from ..units import format_length, format_uncertainty, parse_length
from ..vision.finding import plane_of
from ..vision.photo import read_photo
from ..vision.seams.points import Suggested, suggest_marks
from .project_file import PROJECT, in_words

SIDES = ("top", "right", "bottom", "left")
OFF_CLOTH_MM = 3.0  # a ruler's reading at a corner may lie a little off the measured edge
MIDDLE_MM = 10.0
BY_RULER = "Mark it by the ruler instead: --point NAME X,Y"
GUESSES = "These are guesses. Look at each, check it with the ruler, and take only what is right:"
_ZERO = re.compile(r'0+(\.0*)?\s*(in|cm|mm|")?')


@click.command()
@PROJECT
@click.argument("name")
@click.option(
    "--point", "points", nargs=2, multiple=True, metavar="NAME X,Y",
    help="Mark a point: X from the left edge, Y from the top edge, like 3in,1/4in. "
    'Another edge by its name: "right 1/4in,bottom 2in".',
)  # fmt: skip
@click.option(
    "--centre", nargs=2, metavar="X,Y X,Y", help="Mark the centre line by two of its places."
)
@click.option("--clear", is_flag=True, help="Take all marks of the block away first.")
@click.option("--suggest", is_flag=True, help="Look for seams that meet near an edge in the photo.")
@click.option(
    "--picture", type=click.Path(path_type=Path, dir_okay=False),
    help="With --suggest: write the photo with the suggestions' numbers (.jpg or .png).",
)  # fmt: skip
@click.option("--accept", metavar="N,N", help="Mark these suggestions, by their numbers.")
def mark(
    project: Path,
    name: str,
    points: tuple[tuple[str, str], ...],
    centre: tuple[str, str] | None,
    clear: bool,
    suggest: bool,
    picture: Path | None,
    accept: str | None,
) -> None:
    """Mark the points and the centre line of the block NAME in PROJECT.

    A point stays one seam allowance inside the trim lines. Marks are kept with the block's latest
    measurement; without options they are shown.
    """
    if picture is not None and not suggest:
        raise click.UsageError("--picture goes with --suggest.")
    if picture is not None and picture.suffix.lower() not in (".jpg", ".jpeg", ".png"):
        raise click.UsageError(f"{picture.name} must end in .jpg or .png.")
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
                raise click.UsageError(f"{picture} is the photo. Give the picture another place.")
            found = suggestions(block, photo, kept.settings, plan)
            if suggest:
                _show_suggestions(found, block, plan)
            if picture is not None:
                _write(picture, photo, block, found)
                click.echo(f"Wrote {picture}.")
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
            _show_marks(marked, line, block, plan)
        elif found.points or found.axis is not None:
            words = shlex.join(["blockcheck", "mark", str(project), name, "--accept", "1"])
            click.echo(f"None of them is marked. To mark the first: {words}")


def suggestions(
    block: BlockRecord, photo: PhotoFile | None, settings: Mapping[str, Any], plan: Plan
) -> Suggested:
    """Suggest marks from a block's photo.

    Parameters
    ----------
    block : BlockRecord
    photo : PhotoFile or None
        Of its latest measurement.
    settings : mapping
        What that was measured with, as the project keeps it.
    plan : Plan

    Raises
    ------
    ProjectError
        If there is no photo, it is missing, or it is not the one that was measured.
    MeasureError
        If it cannot be read.
    """
    if photo is None or block.corners_px is None or block.corners_mm is None:
        raise ProjectError(
            f"{_first(called(block.name))} was measured with a ruler: there is no photo to look at.",
            BY_RULER,
        )
    if photo.missing:
        raise ProjectError(
            f"The photo {photo.path.name} of {called(block.name)} is missing.",
            f"Put it back where it was. {BY_RULER}",
        )
    seen = read_photo(photo.path)
    if seen.sha256 != photo.sha256:
        raise ProjectError(
            f"{photo.path.name} has changed since {called(block.name)} was measured in it.",
            f"Add it again, with --again. {BY_RULER}",
        )
    given = settings_from(settings)
    return suggest_marks(
        seen.rgb,
        plane_of(seen, given),
        block.corners_px,
        block.corners_mm,
        block.outline_mm,
        given.cloth_height,
        plan.seam_mm,
    )


def read_place(text: str, block: BlockRecord, unit: str) -> Point:
    """Block coordinates of a place measured with a ruler from two of the block's edges.

    Parameters
    ----------
    text : str
        ``"3in,1/4in"`` from the left and the top edge, or with edges: ``"right 1/4in,bottom 2in"``.
    block : BlockRecord
    unit : str
        Of lengths that name none.

    Raises
    ------
    LengthError
        If it cannot be read.
    PlanError
        If it lies off the cloth.
    """
    parts = text.split(",")
    if len(parts) != 2:
        raise LengthError(
            f'"{text}" is not a place.', "Write the two lengths with a comma, like 3in,1/4in."
        )
    lines = []
    for part, usual, allowed in zip(parts, ("left", "top"), (SIDES[1::2], SIDES[::2]), strict=True):
        word = next((side for side in SIDES if part.split()[:1] == [side]), "")
        if word and word not in allowed:
            raise LengthError(
                f'"{text}" is not a place.',
                "The first length is from the left or right edge, the second from the top or bottom.",
            )
        length = part.strip().removeprefix(word).strip()
        away = 0.0 if _ZERO.fullmatch(length) else parse_length(length, unit)
        point, inwards = _edge(block, word or usual)
        lines.append((inwards, inwards @ point + away))
    x, y = np.linalg.solve(np.array([n for n, _ in lines]), np.array([c for _, c in lines]))
    low, high = block.outline_mm.min(axis=0), block.outline_mm.max(axis=0)
    if not ((low - OFF_CLOTH_MM <= (x, y)).all() and ((x, y) <= high + OFF_CLOTH_MM).all()):
        size = (format_length(e.value, unit=unit) for e in (block.width_mm, block.height_mm))
        raise PlanError(
            f'"{text}" lies off {called(block.name)}, which is {" × ".join(size)}.',
            "Measure from its left and its top edge.",
        )
    return float(x), float(y)


def _edge(block: BlockRecord, side: str) -> tuple[np.ndarray, np.ndarray]:
    """A place on one of the block's sides, and the unit vector from it inwards."""
    corners = np.asarray(block.corners_mm)  # every block of a project has them
    k = SIDES.index(side)
    along = corners[(k + 1) % 4] - corners[k]
    return corners[k], np.array([-along[1], along[0]]) / np.linalg.norm(along)


def _place(xy: Sequence[float], block: BlockRecord, plan: Plan) -> str:
    """Where a point lies, from the two edges nearest to it; from the left and top in the middle."""
    away = {}
    for side in SIDES:
        point, inwards = _edge(block, side)
        away[side] = float((np.asarray(xy) - point) @ inwards)
    said = []
    for two in (("left", "right"), ("top", "bottom")):
        side = two[away[two[1]] < away[two[0]] - MIDDLE_MM]
        length = format_length(away[side], unit=plan.unit, fraction=plan.fraction)
        edge = length == format_length(0.0, unit=plan.unit)
        said.append(f"at the {side}" if edge else f"{length} from the {side}")
    return ", ".join(said)


def _line_places(ends: Sequence[Point], block: BlockRecord, plan: Plan) -> str:
    """Where a centre line begins and ends."""
    return " to ".join(_place(end, block, plan) for end in ends)


def _show_suggestions(found: Suggested, block: BlockRecord, plan: Plan) -> None:
    if not found.points and found.axis is None:
        click.echo(
            f"No seams that meet near an edge were seen in the photo of {called(block.name)}. "
            f"If there are any: {BY_RULER.lower()}"
        )
        return
    click.echo(f"Suggestions for {called(block.name)}, from the seams seen in its photo.")
    click.echo(GUESSES)
    for number, point in enumerate(found.points, start=1):
        place = _place((point.x_mm, point.y_mm), block, plan)
        off = format_uncertainty(point.u95_mm, unit=plan.unit)
        click.echo(f"  {number}  point, {point.seams} seams meet: {place} (± {off})")
    if found.axis is not None:
        place = _line_places(found.axis.ends_mm, block, plan)
        off = format_uncertainty(found.axis.u95_mm, unit=plan.unit)
        click.echo(f"  {len(found.points) + 1}  centre line: {place} (± {off})")


def _show_marks(
    points: Mapping[str, Point], line: tuple[Point, Point] | None, block: BlockRecord, plan: Plan
) -> None:
    if not points and line is None:
        click.echo(f"{_first(called(block.name))} has no marks.")
        return
    click.echo(f"Marked on {called(block.name)}:")
    for name, xy in points.items():
        click.echo(f"  point {name}: {_place(xy, block, plan)}")
    if line is not None:
        click.echo(f"  centre line: {_line_places(line, block, plan)}")


def _write(picture: Path, photo: PhotoFile | None, block: BlockRecord, found: Suggested) -> None:
    flat = flat_photo(photo, block)
    if flat is None:  # seams were looked for in it a moment ago
        raise ProjectError(f"The photo of {called(block.name)} cannot be read any more.")
    title = f"{_first(called(block.name))}: guesses. Check each with the ruler."
    try:
        write_marks_picture(picture, flat, found, title)
    except OSError as e:
        raise ProjectError(
            f"{picture.name} cannot be written ({e.strerror}).", "Choose another place."
        ) from e


def _first(words: str) -> str:
    """Words as they begin a sentence."""
    return words[:1].upper() + words[1:]


def _numbers(text: str | None, found: Suggested) -> list[int]:
    """Numbers of suggestions, each of them there."""
    count = len(found.points) + (found.axis is not None)
    words = [] if text is None else re.split(r"[\s,]+", text.strip())
    for word in words:
        if not (word.isascii() and word.isdigit() and 1 <= int(word) <= count):
            there = f"There are the numbers 1 to {count}." if count else "There are no suggestions."
            raise click.UsageError(f'There is no suggestion "{word}". {there}')
    return [int(word) for word in words]


COMMANDS = (mark,)
