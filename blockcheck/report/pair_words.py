"""Sentences about kinds of blocks and mirrored halves."""

from __future__ import annotations

from ..planning.pairs import Pair
from ..planning.plan import Plan
from ..planning.quilt import QuiltPlan
from ..planning.rows.halves import HalvesDifference
from ..units import format_uncertainty
from . import words


def places(quilt: QuiltPlan) -> list[str]:
    """Where the quilt has other places than there are blocks of a kind."""
    said = []
    halves = {k.name for k in quilt.plan.kinds if k.halves}
    for one in (quilt, *quilt.others) if quilt.layout is not None else ():
        assert quilt.layout is not None
        half = one.kind in halves
        wanted = quilt.layout.count(f"half of {one.kind}" if half else one.kind) // (1 + half)
        there = len(quilt.pairs) if half else len(one.names)
        if there < wanted:
            many = _many(there, half)
            said.append(f"{one.kind}: {many} measured, the quilt has places for {wanted}.")
        elif there > wanted:
            many = _many(there - wanted, half)
            said.append(f"{one.kind}: {many} more than the quilt has places for.")
    return said


def _many(count: int, half: bool) -> str:
    one, more = ("pair of halves", "pairs of halves") if half else ("block", "blocks")
    return f"{count} {one if count == 1 else more}"


def verdict(plan: Plan, pair: Pair) -> str:
    """Whether two halves are alike, what differs, and what the joined block will measure."""
    off = [d for d in pair.differences if d.alike == "no" and "diagonal" not in d.name]
    close = [d for d in pair.differences if d.alike == "too close to call"]
    tolerance = words.length(plan, plan.tolerance_mm, fraction=32)
    said = []
    for d in off:
        longer, shorter = (
            (pair.left, pair.right) if d.difference_mm > 0 else (pair.right, pair.left)
        )
        by = words.length(plan, abs(d.difference_mm))
        said.append(f"The {d.name} of {longer} is {by} longer than that of {shorter}.")
    skewed = [d for d in pair.differences if d.alike == "no" and "diagonal" in d.name]
    if skewed and not off:
        said.append(
            "Their sides are alike, but not their diagonals: one leans more than the other."
        )
    if not off and not skewed and not close:
        said.append(f"The two halves are alike within {tolerance}.")
    elif close and not off and not skewed:
        edges = words.listed([d.name for d in close])
        said.append(f"Too close to call: {edges}. Lay the ruler on both before you join them.")
    if not pair.eases:
        said.append("The two sides to be joined differ by more than can be eased: trim first.")
    width, height = (
        f"{words.length(plan, e.value)} ± {format_uncertainty(e.u95, unit=plan.unit)}"
        for e in (pair.width_mm, pair.height_mm)
    )
    said.append(f"Joined, they will measure {width} wide and {height} high at the seam.")
    return " ".join(said)


def table(plan: Plan, pair: Pair) -> list[tuple[str, str, str, str]]:
    """Each edge with its length in both halves, and by how much they differ."""
    return [
        (d.name, _length(plan, d.left_mm), _length(plan, d.right_mm), _off(plan, d))
        for d in pair.differences
    ]


def _length(plan: Plan, mm: float) -> str:
    return words.length(plan, mm, fraction=32)


def _off(plan: Plan, d: HalvesDifference) -> str:
    u95 = format_uncertainty(2 * d.u_mm, unit=plan.unit)
    answer = {"yes": "alike", "no": "NOT alike"}.get(d.alike, d.alike)
    return f"{words.signed(plan, d.difference_mm)} ± {u95}, {answer}"
