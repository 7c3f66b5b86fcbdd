"""The sentences about a block's marks: its points, its centre line, and suggestions for them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from ..planning.plan import BlockRecord, Plan, called
from ..project.places import SIDES, edge
from ..project.records import Point
from ..project.suggestions import BY_RULER
from ..units import format_length, format_uncertainty
from ..vision.seams.points import Suggested
from .phrases import sentence

GUESSES = "These are guesses. Look at each, check it with the ruler, and take only what is right:"
_MIDDLE_MM = 10.0  # nearer to the middle than this, places are told from the left and the top


def place(xy: Sequence[float], block: BlockRecord, plan: Plan) -> str:
    """Where a point lies, from the two edges nearest to it; from the left and top in the middle."""
    away = {}
    for side in SIDES:
        point, inwards = edge(block, side)
        away[side] = float((np.asarray(xy) - point) @ inwards)
    said = []
    for two in (("left", "right"), ("top", "bottom")):
        side = two[away[two[1]] < away[two[0]] - _MIDDLE_MM]
        length = format_length(away[side], unit=plan.unit, fraction=plan.fraction)
        at = length == format_length(0.0, unit=plan.unit)
        said.append(f"at the {side}" if at else f"{length} from the {side}")
    return ", ".join(said)


def line_places(ends: Sequence[Point], block: BlockRecord, plan: Plan) -> str:
    """Where a centre line begins and ends."""
    return " to ".join(place(end, block, plan) for end in ends)


def suggestions(found: Suggested, block: BlockRecord, plan: Plan) -> str:
    """Write what was seen in a block's photo, numbered."""
    if not found.points and found.axis is None:
        return (
            f"No seams that meet near an edge were seen in the photo of {called(block.name)}. "
            f"If there are any: {BY_RULER.lower()}"
        )
    lines = [f"Suggestions for {called(block.name)}, from the seams seen in its photo.", GUESSES]
    each = enumerate(suggested(found, block, plan), start=1)
    return "\n".join([*lines, *(f"  {number}  {said}" for number, said in each)])


def suggested(found: Suggested, block: BlockRecord, plan: Plan) -> tuple[str, ...]:
    """Each suggestion with where it lies: the points, then the centre line."""
    said = []
    for point in found.points:
        off = format_uncertainty(point.u95_mm, unit=plan.unit)
        where = place((point.x_mm, point.y_mm), block, plan)
        said.append(f"point, {point.seams} seams meet: {where} (± {off})")
    if found.axis is not None:
        off = format_uncertainty(found.axis.u95_mm, unit=plan.unit)
        said.append(f"centre line: {line_places(found.axis.ends_mm, block, plan)} (± {off})")
    return tuple(said)


def marks(
    points: Mapping[str, Point], line: tuple[Point, Point] | None, block: BlockRecord, plan: Plan
) -> str:
    """Write what is marked on a block."""
    if not points and line is None:
        return f"{sentence(called(block.name))} has no marks."
    lines = [f"Marked on {called(block.name)}:"]
    lines += [f"  point {name}: {place(xy, block, plan)}" for name, xy in points.items()]
    if line is not None:
        lines.append(f"  centre line: {line_places(line, block, plan)}")
    return "\n".join(lines)
