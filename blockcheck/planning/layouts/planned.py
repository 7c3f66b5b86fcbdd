"""From the plan, which says cut sizes, to a design in finished sizes."""

from __future__ import annotations

import math
from collections.abc import Mapping

from ...errors import PlanError
from ..cutting.cut_list import PARTS, said_of
from ..plan import Plan, Sides
from ..rows.laying import grid, shifts_columns
from .design import ALTERNATE, SIDES, Border, Design, chessboard

Size = tuple[float, float]


def order_of(plan: Plan) -> tuple[tuple[str, ...], ...]:
    """Kinds of blocks row by row: as the plan has it, else all of them in turn."""
    if plan.repeat:
        return plan.repeat
    kinds = (plan.kind, *(k.name for k in plan.kinds))
    return chessboard(*kinds, *([ALTERNATE] if plan.alternate else []))


def places(plan: Plan, blocks: int) -> tuple[int, int]:
    """Rows and blocks per row: as planned, else an even grid with a place for every block."""
    if plan.setting != "on point" or (plan.rows and plan.blocks_per_row):
        return grid(plan, blocks)

    def holds(rows: int, wide: int) -> int:
        between = 0 if any(ALTERNATE in line for line in order_of(plan)) else 1
        return rows * wide + between * (rows - 1) * (wide - 1)

    tries = [
        (rows, wide)
        for rows in ([plan.rows] if plan.rows else range(1, blocks + 1))
        for wide in ([plan.blocks_per_row] if plan.blocks_per_row else range(1, blocks + 1))
        if holds(rows, wide) >= blocks
    ]
    if not tries:
        raise PlanError("The plan has fewer places than there are blocks.", "Add rows.")
    # few empty places, and longer than wide rather than the other way round
    return min(tries, key=lambda t: (holds(*t) - blocks + 2 * abs(t[0] - 1.2 * t[1]), -t[0]))


def design_of(plan: Plan, sizes_mm: Mapping[str, Size], blocks: int) -> Design:
    """Describe the quilt top that a plan asks for.

    Parameters
    ----------
    plan : Plan
    sizes_mm : mapping of str to (float, float)
        Unfinished size of every kind of block, as it will be trimmed; of a kind that is sewn in
        halves that of one half.
    blocks : int
        How many blocks there are, pairs of halves counted once.

    Raises
    ------
    PlanError
        If parts of the plan do not go together.
    """
    seam = plan.seam_mm
    rows, per_row = places(plan, blocks)
    halves = {k.name for k in plan.kinds if k.halves}
    finished = {
        kind: ((2 if kind in halves else 1) * (w - 2 * seam), h - 2 * seam)
        for kind, (w, h) in sizes_mm.items()
    }
    sashing = (
        0.0 if plan.sashing_cut_mm is None else _finished(plan, "sashing", plan.sashing_cut_mm)
    )
    between = plan.sashing_between or "rows"
    shifted = "columns" if shifts_columns(plan) else "rows"
    if plan.setting == "offset" and plan.sashing_between is None:
        between = "rows" if shifted == "columns" else "blocks"
    return Design(
        finished,
        order_of(plan),
        rows,
        per_row,
        plan.setting,
        shifted,
        sashing if between in ("blocks", "both") else 0.0,
        sashing if between in ("rows", "both") else 0.0,
        plan.cornerstones,
        {side: _finished(plan, "frame", mm) for side, mm in plan.frame_mm},
        plan.clipped_mm or 0.0,
        tuple(_border(plan, border) for border in plan.borders_mm),
        plan.body_mm,
        frozenset(halves),
        seam,
        plan.unit,
    )


def trouble(plan: Plan) -> str:
    """Why the quilt top cannot be worked out, as far as the plan alone shows it; else empty.

    Sizes of kinds that share a row or a column are left out: trimming makes them alike.
    """
    sizes = {kind.name: kind.planned_mm for kind in (plan.kind_named(plan.kind), *plan.kinds)}
    known = {name: size for name, size in sizes.items() if size is not None}
    if len(known) < len(sizes):
        return ""
    try:
        design_of(plan, known, blocks=1)
    except PlanError as e:
        return str(e)
    return ""


def tied(plan: Plan) -> tuple[tuple[frozenset[str], ...], tuple[frozenset[str], ...]]:
    """Kinds that must be equally wide, and kinds that must be equally high.

    Blocks of one column share their width, blocks of one row their height; on point and in an
    offset setting all blocks share both.
    """
    order = order_of(plan)
    alike = plan.setting != "straight"
    rows = math.lcm(len(order), 1)
    wide = math.lcm(*(len(line) for line in order))
    grid_ = [[order[r][c % len(order[r])] for c in range(wide)] for r in range(rows)]
    lines = [[k for row in grid_ for k in row]] if alike else None
    across = lines or [list(column) for column in zip(*grid_, strict=True)]
    return _groups(across), _groups(lines or grid_)


def _groups(lines: list[list[str]]) -> tuple[frozenset[str], ...]:
    """Kinds that some line holds together, directly or through others."""
    groups: list[set[str]] = []
    for line in lines:
        one = {k for k in line if k != ALTERNATE}
        for other in [g for g in groups if g & one]:
            groups.remove(other)
            one |= other
        if one:
            groups.append(one)
    return tuple(frozenset(g) for g in groups)


def _border(plan: Plan, width: float | Sides) -> Border:
    sides = width if isinstance(width, tuple) else tuple((side, width) for side in SIDES)
    finished = {side: _finished(plan, "border", mm) for side, mm in sides}
    return Border(finished, plan.border_corners)


def _finished(plan: Plan, what: str, cut_mm: float) -> float:
    finished = cut_mm - 2 * plan.seam_mm
    if finished <= 0:
        raise PlanError(f"The {what} is no wider than its two seam allowances.", "Cut it wider.")
    return finished


def parts_of(plan: Plan) -> tuple[str, ...]:
    """The parts of the quilt that the plan has pieces for: keys of `PARTS`."""
    there = {
        "alternate blocks": plan.alternate or any(ALTERNATE in line for line in plan.repeat),
        "half blocks": plan.setting == "offset",
        "setting triangles": plan.setting == "on point",
        "clipped corners": plan.clipped_mm,
        "frame": plan.frame_mm,
        "sashing": plan.sashing_cut_mm,
        "cornerstones": plan.cornerstones,
        "border": plan.borders_mm,
    }
    return tuple(part for part in PARTS if there[part])


def unused(plan: Plan) -> tuple[str, ...]:
    """The fabrics that the plan says something of, like cloth in hand, and nothing is cut from."""
    parts = list(parts_of(plan))
    if "border" in parts:
        parts += [f"border {n + 1}" for n in range(len(plan.borders_mm))]
    told = dict(plan.fabrics)
    used = {said_of(part, told) or PARTS.get(part, part) for part in parts}
    named = (*dict(plan.in_hand), *plan.one_way, *dict(plan.fabric_widths_mm))
    return tuple(name for name in dict.fromkeys(named) if name not in used)
