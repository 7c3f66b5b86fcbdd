"""Mirrored halves, compared with each other before they are joined to a block."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from ..errors import PlanError
from ..uncertainty import Estimate, Term, combine, own_u
from .plan import BlockRecord, Plan
from .rows.halves import HalvesDifference, compare_halves
from .rows.seam_matches import EASED

_SIDE = re.compile(r"(?P<pair>.+?)[ _-]?(?P<side>left|right|l|r)", re.IGNORECASE)


@dataclass(frozen=True)
class Pair:
    """Two halves, and what they will be once they are joined.

    Attributes
    ----------
    name : str
        What their names share.
    left, right : str
    differences : tuple of HalvesDifference
        Each side and diagonal of the left half less its mirror in the right one.
    width_mm, height_mm : Estimate
        Of the joined block, unfinished; its height in the middle, along the seam that joins them.
    eases : bool
        Whether the two sides that are sewn together differ by no more than can be eased flat.
    """

    name: str
    left: str
    right: str
    differences: tuple[HalvesDifference, ...]
    width_mm: Estimate
    height_mm: Estimate
    eases: bool

    @property
    def alike(self) -> bool:
        """Whether no edge or diagonal differs, beyond doubt."""
        return all(d.alike == "yes" for d in self.differences)


def compare(left: BlockRecord, right: BlockRecord, plan: Plan, name: str = "") -> Pair:
    """Compare two halves; the left one's right side is sewn to the right one's left side.

    What shares its scale, as sizes from photos beside one card do, does not differ by it: only
    the halves' own uncertainties count for differences. In sums the scale's parts add up.

    Raises
    ------
    PlanError
        If a half has no corners to compare.
    """
    for half in (left, right):
        if half.corners_mm is None:
            raise PlanError(f"{half.name} has no corners to compare.", "Measure it from a photo.")
    assert left.corners_mm is not None
    assert right.corners_mm is not None
    sizes = (left.width_mm, left.height_mm, right.width_mm, right.height_mm)
    differences = compare_halves(
        left.corners_mm,
        right.corners_mm,
        u_mm=max(own_u(e) for e in sizes),
        tolerance_mm=plan.tolerance_mm,
    )
    inner = next(d for d in differences if d.name == "inner side")
    width = _added(left.width_mm, right.width_mm, -2 * plan.seam_mm)
    middle = _added(left.height_mm, right.height_mm, 0.0).scaled(0.5)
    along = (inner.left_mm + inner.right_mm) / 2
    height = Estimate(along, middle.budget)
    eases = abs(inner.difference_mm) <= EASED * along
    return Pair(name, left.name, right.name, differences, width, height, eases)


def pairs(plan: Plan, halves: Sequence[BlockRecord]) -> tuple[tuple[Pair, ...], tuple[str, ...]]:
    """Pair halves by their names, "4 left" with "4 right", and compare them.

    Returns
    -------
    pairs, alone
        The pairs, and the names of halves without a mirrored one.
    """
    found: dict[str, dict[str, BlockRecord]] = {}
    alone = []
    for half in halves:
        match = _SIDE.fullmatch(half.name)
        if match is None:
            alone.append(half.name)
            continue
        found.setdefault(match["pair"], {})[match["side"][0].lower()] = half
    done = []
    for name, both in found.items():
        if len(both) == 2:
            done.append(compare(both["l"], both["r"], plan, name))
        else:
            alone += [half.name for half in both.values()]
    return tuple(done), tuple(alone)


def _added(a: Estimate, b: Estimate, more_mm: float) -> Estimate:
    """The sum of two sizes: shared scales add up, the rest adds in quadrature."""
    shared: dict[str, float] = {}
    own = []
    for term in (*a.budget, *b.budget):
        if term.name.endswith("scale"):
            shared[term.name] = shared.get(term.name, 0.0) + term.u
        else:
            own.append(term)
    terms = combine([*own, *(Term(name, u) for name, u in shared.items())])
    return Estimate(a.value + b.value + more_mm, terms)
