"""What a block lacks for a size: where, how much, what to do, and how sure that is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...uncertainty import normal_cdf
from ...units import INCH
from .block import Block
from .offcuts import Offcut, offcuts
from .placement import Placement, Wishes, place_all
from .rectangles import frontiers_and_turns
from .trying import avoidable

_EPS = 1e-6
_SEEN_MM = 0.01  # a lack that is worth a word


@dataclass(frozen=True)
class Missing:
    """Cloth that a block lacks for a size: on which side, at which end, how much, what to do.

    Attributes
    ----------
    name, side, end : str
    short_mm : float
        What is missing of the whole width or height, whatever the edges could give.
    seam_left_mm : float
        The seam allowance that would be left on that side and the opposite one, were the block
        sewn in as it is; negative where even the seam line lies off the cloth.
    remedy : {"press", "strip", "resew", "elsewhere"}
    spare_mm : (float, float)
        What the block has to spare of the size's width and of its height; negative where it lacks.
    """

    name: str
    side: str
    end: str
    short_mm: float
    seam_left_mm: float
    remedy: str
    spare_mm: tuple[float, float]

    def reach_probability(self, give_mm: float, u_mm: tuple[float, float]) -> float:
        """Probability that nothing is short all the same: as of `holds_probability`."""
        return math.prod(
            _tail(2 * give_mm + spare, u) for spare, u in zip(self.spare_mm, u_mm, strict=True)
        )


def below_size(
    blocks: Sequence[Block], width_mm: float, height_mm: float, *, seam_mm: float = INCH / 4
) -> tuple[Missing, ...]:
    """Say of each block that does not reach a size what is missing, where, and what to do.

    A size is reached when the edges lie inside its trim lines by no more than they give. The
    rectangle is laid so that as little as can be is missing; a block that is short both in
    height and in width is named twice. The remedy is common practice: up to 1/16 in press the
    seams again, up to a seam allowance resew one, up to 1 in add a strip and trim it back, beyond
    that use the block elsewhere.
    """
    found: list[Missing] = []
    for block, laid in _short(blocks, width_mm, height_mm):
        assert laid is not None
        found += missing(block, laid, offcuts(block, laid), seam_mm)
    return tuple(found)


def missing(
    block: Block, laid: Placement, cuts: Sequence[Offcut], seam_mm: float
) -> tuple[Missing, ...]:
    """Say what a block lacks of a size that it does not reach: width, height, or both."""
    found = []
    across, down = (2 * (mm + block.guard_mm) for mm in laid.spare_mm)
    lacks = [(-across, (3, 1)), (-down, (0, 2))]
    some = [one for one in lacks if one[0] > 2 * block.give_mm + _SEEN_MM] or [max(lacks)]
    for short, pair in sorted(some, reverse=True):
        # shifting evens out two opposite sides: the crooked or dented one is to blame
        worst = min(
            (cuts[i] for i in pair),
            key=lambda o: o.least_mm - max(o.first_mm, o.second_mm, o.least_mm + 0.5),
        )
        ends = ("top", "bottom") if worst.side in ("left", "right") else ("left", "right")
        if worst.least_mm < min(worst.first_mm, worst.second_mm) - 0.5:
            end = "middle"
        elif abs(worst.first_mm - worst.second_mm) < 0.5:
            end = "all along"
        else:
            end = ends[0] if worst.first_mm < worst.second_mm else ends[1]
        lack = max(short, 0.0)
        left, remedy = seam_mm - lack / 2, _remedy(lack, seam_mm)
        found.append(Missing(block.name, worst.side, end, lack, left, remedy, (across, down)))
    return tuple(found)


def short_of(blocks: Sequence[Block], width_mm: float, height_mm: float) -> frozenset[str]:
    """Names of the blocks that do not reach a size: those of `below_size`, in less time."""
    short = _short(blocks, width_mm, height_mm, all_laid=False)
    return frozenset(block.name for block, _ in short)


def _short(
    blocks: Sequence[Block], width_mm: float, height_mm: float, *, all_laid: bool = True
) -> list[tuple[Block, Placement | None]]:
    """The blocks that do not reach a size, each with the rectangle laid on it where asked for.

    Those lower than the frontier are short, but for one that fits beside an inward bow, where the
    frontier may be too low: that is seen once it is laid.
    """
    reach, turns = (
        z[:, 0]
        for z in frontiers_and_turns(
            blocks, np.array([width_mm]), least_mm=0.5 * height_mm, enough_mm=height_mm
        )
    )
    low = np.flatnonzero(reach < height_mm - _EPS).tolist()
    beside = {
        i
        for i in low
        if avoidable(
            blocks[i], width_mm + 2 * blocks[i].margin_mm, height_mm + 2 * blocks[i].margin_mm
        )
    }
    half, none = np.array([width_mm, height_mm]) / 2, np.empty((0, 2))
    some = [i for i in low if all_laid or i in beside]
    wishes = [Wishes(blocks[i], half, none, 0.0, None, 0) for i in some]
    laid = dict(zip(some, place_all(wishes, [(reach[i], turns[i]) for i in some]), strict=True))
    fits = {i for i in beside if laid[i].lack_mm <= _EPS}
    return [(blocks[i], laid.get(i)) for i in low if i not in fits]


def _remedy(short_mm: float, seam_mm: float) -> str:
    limits = (("press", INCH / 16), ("resew", seam_mm), ("strip", INCH))
    return next((what for what, mm in limits if short_mm - _SEEN_MM <= mm), "elsewhere")


def holds_probability(block: Block, laid: Placement, u_mm: tuple[float, float]) -> float:
    """Probability that a block holds a size as it is laid, its edges giving what they may.

    The slack in width and in height, each with the standard uncertainty of that size, against
    the acceptance limit at zero: a normal PDF and one-sided limits (JCGM 106:2012, 7.3). Width
    and height are taken as independent, which counts a shared scale twice and errs towards doubt.
    """
    chance = 1.0
    for spare, u in zip(laid.spare_mm, u_mm, strict=True):
        slack = 2 * (spare + block.guard_mm + block.give_mm)
        chance *= _tail(slack, u)
    return chance


def _tail(slack: float, u: float) -> float:
    return normal_cdf(slack / u) if u > 0 else float(slack >= -_EPS)
