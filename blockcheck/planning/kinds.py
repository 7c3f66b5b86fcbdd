"""Several kinds of blocks: a size for each, and the same size where the setting ties them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from ..errors import PlanError
from .choice import Choice, choose
from .layouts.planned import order_of, tied
from .plan import BlockRecord, Plan
from .rows.laying import grid, shifts_columns
from .trimming.block import Block

Size = tuple[float, float]
_EPS = 1e-6


def by_kind(plan: Plan, blocks: Sequence[BlockRecord]) -> dict[str, list[BlockRecord]]:
    """The blocks of every kind, the plan's first kind first; what has no kind is of that."""
    found: dict[str, list[BlockRecord]] = {
        k: [] for k in (plan.kind, *(k.name for k in plan.kinds))
    }
    for block in blocks:
        found[block.kind if block.kind in found else plan.kind].append(block)
    return found


def in_places(plan: Plan, kinds: Mapping[str, Sequence[BlockRecord]]) -> list[BlockRecord]:
    """Blocks in the order of their places, row by row, each place with the next of its kind.

    Raises
    ------
    PlanError
        If a place lacks a block of its kind.
    """
    order = order_of(plan)
    rows, per = grid(plan, sum(map(len, kinds.values())))
    waiting = {kind: list(some) for kind, some in kinds.items()}
    if plan.setting == "offset":  # every second line has one block less
        lines, per = (per, rows) if shifts_columns(plan) else (rows, per)
        count = sum(per - line % 2 for line in range(lines))
        wanted = [order[0][i % len(order[0])] for i in range(count)]
    else:
        wanted = [
            order[r % len(order)][c % len(order[r % len(order)])]
            for r in range(rows)
            for c in range(per)
        ]
    laid = []
    for kind in wanted:
        if not waiting[kind]:
            raise PlanError(
                f"The rows are compared once every place has its block. Places for {kind}: "
                f"{wanted.count(kind)}; measured so far: {len(kinds[kind])}."
            )
        laid.append(waiting[kind].pop(0))
    return [*laid, *(b for some in waiting.values() for b in some)]


def tie(
    plan: Plan,
    choices: Mapping[str, Choice],
    used: Mapping[str, Sequence[BlockRecord]],
    cloth: Callable[[BlockRecord, Plan], Block],
) -> dict[str, Choice]:
    """Choose again for kinds whose width or height the setting makes another kind share.

    The smallest of what each kind reaches by itself is taken, or what the quilter chose for the
    first of them that has a chosen size. Two halves, joined, count as their block.

    Parameters
    ----------
    plan : Plan
    choices : mapping of str to Choice
        What each kind reaches by itself.
    used : mapping of str to sequence of BlockRecord
    cloth : callable
        A block as its plan judges it.

    Raises
    ------
    PlanError
        If more would have to be trimmed off than two seam allowances: that is another size.
    """
    halves = {k.name for k in plan.kinds if k.halves}
    place = {
        kind: (_joined(c.size_mm[0], plan) if kind in halves else c.size_mm[0], c.size_mm[1])
        for kind, c in choices.items()
    }
    wanted, chosen_for = dict(place), dict.fromkeys(place, "")
    stands = [k for k in (plan.kind, *(k.name for k in plan.kinds)) if plan.of_kind(k).chosen_mm]
    for side, groups in enumerate(tied(plan)):
        for group in groups:
            there = [k for k in group if k in place]
            if len(there) < 2:
                continue
            least = min(place[k][side] for k in there)
            ruling = next((k for k in stands if k in there), "")
            if ruling:
                least = place[ruling][side]
            for kind in there:
                chosen_for[kind] = chosen_for[kind] or ruling
                if place[kind][side] - least > 2 * plan.seam_mm:
                    raise _untrimmable(plan, kind, there, side)
                width, height = wanted[kind]
                wanted[kind] = (width, least) if side else (least, height)
    result = dict(choices)
    for kind, (width, height) in wanted.items():
        size = (_half(width, plan) if kind in halves else width, height)
        if max(abs(a - b) for a, b in zip(size, choices[kind].size_mm, strict=True)) < _EPS:
            continue
        own = replace(plan.of_kind(kind), chosen_mm=size)
        again = choose(own, used[kind], [cloth(b, own) for b in used[kind]])
        result[kind] = replace(again, why="tied", chosen_for=chosen_for[kind])
    return result


def _untrimmable(plan: Plan, kind: str, tied_to: Sequence[str], side: int) -> PlanError:
    """More than squaring up would take off: blocks of other sizes, not of one."""
    line, way = (("column", "width"), ("row", "height"))[side]
    others = ", ".join(k for k in tied_to if k != kind)
    return PlanError(
        f"{kind} and {others} come to lie in one {line}, and their {way}s differ by more than "
        "trimming takes off.",
        f"Frame the smaller ones, or give each kind a {line} of its own (--order).",
    )


def _joined(half_mm: float, plan: Plan) -> float:
    """Unfinished width of a block joined from two halves."""
    return 2 * half_mm - 2 * plan.seam_mm


def _half(whole_mm: float, plan: Plan) -> float:
    return whole_mm / 2 + plan.seam_mm
