"""The size to trim to: the planned one, the one that was chosen, or the largest that serves."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..errors import PlanError
from .plan import BlockRecord, Plan
from .trimming.block import Block
from .trimming.common_size import CommonSize, Limit, SizeRow, common_size, sizes_at_least
from .trimming.rectangles import axes
from .trimming.shortage import Missing, below_size, holds_probability
from .trimming.trim_lines import TrimPlan, trim_all

SLIVER = 0.8  # of the smallest block: less is a strip laid across it, not a block trimmed
_EPS = 1e-6
_TRIES = 8  # sizes tried so that no point is cut off
Size = tuple[float, float]


@dataclass(frozen=True)
class Choice:
    """The size to trim to, why it is that one, and what it means for each block.

    Attributes
    ----------
    size_mm : (float, float)
    why : {"chosen", "planned", "points", "largest", "tied"}
        Chosen by the quilter; planned and reached by all; the one that keeps every marked point
        where the first would cut some off; the largest that all reach, no larger than planned;
        the size of another kind that the setting makes this one share.
    table : tuple of SizeRow
        The largest common size and larger ones up to the planned one, with the chosen one.
    limits : tuple of Limit
        What keeps the largest common size from growing.
    largest_mm : (float, float) or None
        The largest that all reach, as of "largest"; None where they have no size in common.
    passed_over : ((float, float), tuple of str) or None
        For "points": the size that would have come first, and the blocks it cuts points off.
    below : tuple of Missing
        What the blocks lack that do not reach the planned size.
    trims : tuple of TrimPlan
        In the order of the blocks.
    doubts : mapping of str to float
        For each block the probability that it was judged wrongly: that one which reaches the
        size does not really, or the other way round (JCGM 106, 8.2).
    may_reach : mapping of str to float
        For each block of `below` the probability that it reaches the planned size all the same.
    chosen_for : str
        For "tied": the kind that the quilter chose the size for; empty where it is the smallest.
    """

    size_mm: Size
    why: str
    table: tuple[SizeRow, ...] = ()
    limits: tuple[Limit, ...] = ()
    largest_mm: Size | None = None
    passed_over: tuple[Size, tuple[str, ...]] | None = None
    below: tuple[Missing, ...] = ()
    trims: tuple[TrimPlan, ...] = ()
    doubts: Mapping[str, float] = field(default_factory=dict)
    may_reach: Mapping[str, float] = field(default_factory=dict)
    chosen_for: str = ""


def choose(plan: Plan, used: Sequence[BlockRecord], cloth: Sequence[Block]) -> Choice:
    """Decide as a quilter would.

    What was chosen stands. Else the planned size, if every block reaches it; else the largest
    that all of them reach, in no dimension larger than planned, a square where the plan is one.
    Where that would cut marked points off, the size nearest to it that all reach and that keeps
    every point comes first, if there is one.

    Raises
    ------
    PlanError
        If the blocks have no size in common, or none is left beside the seam allowances.
    """
    if plan.square_blocks and plan.planned_mm and abs(np.subtract(*plan.planned_mm)) > _EPS:
        raise PlanError(
            "The plan wants square blocks, but its planned size is not square.",
            "Change the planned size, or say --no-keep-square.",
        )
    planned = plan.planned_mm
    below = below_size(cloth, *planned, seam_mm=plan.seam_mm) if planned else ()
    size = _chosen(plan)
    largest, failure = None, None
    try:
        largest = _largest(plan, cloth, below)
    except PlanError as e:
        failure = e
    if size is not None:
        why = "chosen"
    elif planned is not None and not below and _as_fixed(plan, planned):
        size, why = planned, "planned"
    elif largest is not None:
        size, why = (largest.width_mm, largest.height_mm), "largest"
        _no_sliver(size, used, largest)
    else:
        assert failure is not None
        raise failure
    trims, passed_over = trims_of(plan, used, cloth, size), None
    if why != "chosen" and any(t.cut_points for t in trims):
        kept = _keeping_points(plan, used, cloth, size)
        if kept is not None:
            passed_over = size, tuple(t.name for t in trims if t.cut_points)
            size, why = kept, "points"
            trims = trims_of(plan, used, cloth, size)
    holds = _holds(used, cloth, trims)
    doubts = {t.name: 1 - p if t.fits else p for t, p in zip(trims, holds, strict=True)}
    known = {b.name: (b.width_mm.u, b.height_mm.u) for b in used}
    may_reach: dict[str, float] = {}
    for m in below:
        may_reach[m.name] = m.reach_probability(plan.give_mm, known[m.name])
    return Choice(
        size,
        why,
        _table(size, trims, largest),
        () if largest is None else largest.limits,
        None if largest is None else (largest.width_mm, largest.height_mm),
        passed_over,
        below,
        trims,
        doubts,
        may_reach,
    )


def _table(
    size: Size, trims: Sequence[TrimPlan], largest: CommonSize | None
) -> tuple[SizeRow, ...]:
    """The sizes looked at, the one to trim to among them, by area."""
    rows = () if largest is None else largest.table
    if not any(abs(r.width_mm - size[0]) + abs(r.height_mm - size[1]) < _EPS for r in rows):
        left = tuple(t.name for t in trims if not t.fits)
        rows = (*rows, SizeRow(*size, len(trims) - len(left), left))
    return tuple(sorted(rows, key=lambda r: r.width_mm * r.height_mm))


def _chosen(plan: Plan) -> Size | None:
    if plan.chosen_mm is not None:
        return plan.chosen_mm
    if plan.fixed_width_mm is not None and plan.fixed_height_mm is not None:
        return plan.fixed_width_mm, plan.fixed_height_mm
    return None


def _as_fixed(plan: Plan, size: Size) -> bool:
    """Whether a size is as the plan fixes width or height."""
    pairs = zip((plan.fixed_width_mm, plan.fixed_height_mm), size, strict=True)
    return all(fixed is None or abs(fixed - mm) < _EPS for fixed, mm in pairs)


def _largest(plan: Plan, cloth: Sequence[Block], below: Sequence[Missing]) -> CommonSize:
    """The largest common size within the plan, and the table up to the planned size."""
    planned, n = plan.planned_mm, len(cloth)
    short = {m.name for m in below}
    one_fixed = (plan.fixed_width_mm is None) != (plan.fixed_height_mm is None)
    if planned is None:
        last = None
    else:
        left = tuple(b.name for b in cloth if b.name in short)
        last = SizeRow(*planned, n - len(left), left)
        if not below and _as_fixed(plan, planned):
            return CommonSize(*planned, plan.step_mm, (), (last,))
    found = common_size(
        cloth,
        step_mm=plan.step_mm,
        fix_width_mm=plan.fixed_width_mm if one_fixed else None,
        fix_height_mm=plan.fixed_height_mm if one_fixed else None,
        at_most_mm=None if one_fixed else planned,
        square=plan.square_blocks and not one_fixed,
    )
    if last is None:
        return found
    area = last.width_mm * last.height_mm
    rows = [
        row
        for row in found.table
        if row is found.table[0]
        or (row.reached > last.reached and row.width_mm * row.height_mm < area - _EPS)
    ]
    return CommonSize(found.width_mm, found.height_mm, found.step_mm, found.limits, (*rows, last))


def _no_sliver(size: Size, used: Sequence[BlockRecord], largest: CommonSize) -> None:
    least = [
        min(e.value for e in side)
        for side in zip(*((b.width_mm, b.height_mm) for b in used), strict=True)
    ]
    if any(mm < SLIVER * smallest for mm, smallest in zip(size, least, strict=True)):
        name = f"The block {largest.limits[0].name}" if largest.limits else "A block"
        raise PlanError(
            f"{name} is too small for the fixed size.",
            "Set it aside, or do not fix the width or height.",
        )


def trims_of(
    plan: Plan, used: Sequence[BlockRecord], cloth: Sequence[Block], size: Size
) -> tuple[TrimPlan, ...]:
    """Lay a size on every block."""
    return trim_all(
        cloth,
        *size,
        points_mm=[record.points_mm for record in used],
        seam_mm=plan.seam_mm,
        centre_lines_mm=[record.centre_line_mm for record in used],
    )


def _holds(
    used: Sequence[BlockRecord], cloth: Sequence[Block], trims: Sequence[TrimPlan]
) -> list[float]:
    """For each block the probability that it holds the size that it is trimmed to."""
    return [
        holds_probability(block, t.placement, (b.width_mm.u, b.height_mm.u))
        for b, block, t in zip(used, cloth, trims, strict=True)
    ]


def _keeping_points(
    plan: Plan, used: Sequence[BlockRecord], cloth: Sequence[Block], size: Size
) -> Size | None:
    """The size nearest to `size` that all reach and at which no marked point is cut off."""
    marked = [i for i, b in enumerate(used) if b.points_mm]
    few, shapes = [used[i] for i in marked], [cloth[i] for i in marked]
    need = np.zeros(2)
    for record, block in zip(few, shapes, strict=True):
        points = np.array(list(record.points_mm.values())) @ axes(block.turn).T
        # a small turn from the block's own may take a little less
        need = np.maximum(need, 0.99 * np.ptp(points, axis=0) + 2 * plan.seam_mm - plan.step_mm)
    need = np.maximum(need, 0.8 * np.array(size))
    fixed = (plan.fixed_width_mm, plan.fixed_height_mm)
    tries = [
        one
        for one in sizes_at_least(
            cloth, (float(need[0]), float(need[1])), step_mm=plan.step_mm, square=plan.square_blocks
        )
        if all(f is None or abs(f - mm) < _EPS for f, mm in zip(fixed, one, strict=True))
    ]
    tries.sort(key=lambda one: float(np.abs(np.subtract(one, size)).sum()))
    for one in tries[:_TRIES]:
        if not any(t.cut_points for t in trims_of(plan, few, shapes, one)):
            return one
    return None
