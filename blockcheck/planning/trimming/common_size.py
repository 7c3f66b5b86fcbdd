"""The one size that a set of blocks can be trimmed to, and what the set says of its seams."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from ...errors import PlanError
from ...uncertainty import coverage_factor
from ...units import INCH, format_length, format_uncertainty, to_step
from .block import Array, Block
from .placement import Wishes, offcuts, place, place_all
from .rectangles import axes, frontiers

_EPS = 1e-6
_WIDTHS = 4  # looked at together
_SEEN_MM = 0.01  # a lack that is worth a word


@dataclass(frozen=True)
class SizeRow:
    """One line of the size table: a size, how many blocks reach it, and which do not."""

    width_mm: float
    height_mm: float
    reached: int
    set_aside: tuple[str, ...]


@dataclass(frozen=True)
class Limit:
    """What keeps the common size from growing by one mark in one dimension.

    `short_mm` is what block `name` lacks for the next mark; `side` is where its cloth is least.
    """

    dimension: str
    name: str
    side: str
    short_mm: float


@dataclass(frozen=True)
class Missing:
    """Cloth that a block lacks for a size: on which side, at which end, how much, what to do."""

    name: str
    side: str
    end: str
    short_mm: float
    advice: str


@dataclass(frozen=True)
class CommonSize:
    """The largest size that all blocks reach, what limits it, and the table of larger sizes."""

    width_mm: float
    height_mm: float
    step_mm: float
    limits: tuple[Limit, ...]
    table: tuple[SizeRow, ...]


def common_size(
    blocks: Sequence[Block],
    *,
    step_mm: float = INCH / 8,
    fix_width_mm: float | None = None,
    fix_height_mm: float | None = None,
) -> CommonSize:
    """Find the largest size on the ruler lines that every block can be trimmed to.

    Largest means largest area; of equal areas the wider. Widths are looked at from the widest
    mark down to half of the narrowest block, as far as a larger area could still be had.

    Parameters
    ----------
    blocks : sequence of Block
        The blocks, each with its own guard.
    step_mm : float
        The ruler's marks: 1/8 in unless told.
    fix_width_mm, fix_height_mm : float, optional
        A dimension that the plan holds; only the other is sought.

    Raises
    ------
    PlanError
        If there is no block, or no common size.
    """
    if not blocks:
        raise PlanError("There are no blocks to find a common size for.", "Measure a block first.")
    if fix_width_mm is not None and fix_height_mm is not None:
        raise PlanError("Width and height cannot both be fixed.", "Fix one of the two.")
    if fix_height_mm is not None:
        turned = common_size(
            [b.transposed() for b in blocks], step_mm=step_mm, fix_width_mm=fix_height_mm
        )
        return _transposed(turned)
    if fix_width_mm is not None:
        widths = np.array([fix_width_mm])
        heights = frontiers(blocks, widths)
    else:
        widths, heights = _heights(blocks, step_mm)
    marks = np.floor(heights / step_mm + _EPS).astype(int)
    n = len(blocks)
    ranked = -np.sort(-marks, axis=0)  # row k-1: the height k blocks reach
    rows: list[SizeRow] = []
    for count in range(n, 0, -1):
        area = widths * ranked[count - 1]
        k = len(widths) - 1 - int(np.argmax(area[::-1]))
        if area[k] <= 0:
            continue
        h = int(ranked[count - 1, k])
        reached = marks[:, k] >= h
        if rows and widths[k] * h * step_mm <= rows[-1].width_mm * rows[-1].height_mm + _EPS:
            continue
        left = tuple(b.name for b, ok in zip(blocks, reached, strict=True) if not ok)
        rows.append(SizeRow(float(widths[k]), h * step_mm, int(reached.sum()), left))
    if not rows or rows[0].reached < n:
        raise PlanError(
            "No size on the ruler lines fits all the blocks.",
            "Set the smallest block aside, or do not fix the width or height.",
        )
    w, h_mm = rows[0].width_mm, rows[0].height_mm
    k = int(np.argmin(np.abs(widths - w)))
    limits = [_limit(blocks, w, h_mm + step_mm, "height", h_mm + step_mm - heights[:, k])]
    if fix_width_mm is None:  # of those that a mark more width would leave too low
        near = np.full(n, True) if k + 1 == len(widths) else marks[:, k + 1] * step_mm < h_mm - _EPS
        some = [b for b, ok in zip(blocks, near, strict=True) if ok]
        across = frontiers([b.transposed() for b in some], h_mm, least_mm=0.5 * w)[:, 0]
        limits.append(_limit(some, w + step_mm, h_mm, "width", w + step_mm - across))
    return CommonSize(w, h_mm, step_mm, tuple(limits), tuple(rows))


def _heights(blocks: Sequence[Block], step_mm: float) -> tuple[Array, Array]:
    """Widths on the marks, and the heights that each block reaches for them; 0 if never looked at.

    A narrower rectangle can be no taller than the narrowest of all, so that widths below the
    point where even such an area would be smaller than one in hand are left out.
    """
    spread = []
    for b in blocks:
        away = b.outline_mm[:, None] - b.outline_mm
        across = b.outline_mm @ axes(b.turn)[0]
        odd = len(b.outline_mm) < 4  # no sides to speak of: any direction may be the widest
        reach = float(np.hypot(*away.T).max()) if odd else float(np.ptp(across))
        spread.append(reach - 2 * b.guard_mm)
    last = math.floor(max(spread) / step_mm + _EPS) + 1
    widths = np.arange(max(1, math.floor(0.5 * min(spread) / step_mm)), last + 1) * step_mm
    heights = np.zeros((len(blocks), len(widths)))
    heights[:, 0] = frontiers(blocks, widths[0])[:, 0]
    cap = -np.sort(-heights[:, 0])
    least = widths[0] * cap[-1] / widths[-1]  # whatever is lower has less area than that in hand
    area = widths[0] * np.floor(cap / step_mm + _EPS) * step_mm
    for end in range(len(widths), 1, -_WIDTHS):
        if (widths[end - 1] * cap <= area).all():
            break
        some = np.arange(max(end - _WIDTHS, 1), end)
        heights[:, some] = frontiers(blocks, widths[some], least_mm=least)
        marks = np.floor(-np.sort(-heights[:, some], axis=0) / step_mm + _EPS) * step_mm
        area = np.maximum(area, (widths[some] * marks).max(axis=1))
    return np.asarray(widths, dtype=np.float64), heights


def _limit(blocks: Sequence[Block], next_w: float, next_h: float, name: str, short: Array) -> Limit:
    """The block that lacks most for the next size, and where."""
    # of equally short blocks the first name, so that the order of blocks never matters
    worst = max(round(float(s), 6) for s in short)
    block = min(
        (b for b, s in zip(blocks, short, strict=True) if round(float(s), 6) == worst),
        key=lambda b: b.name,
    )
    sides = offcuts(block, place(block, next_w, next_h))
    pair = [o for o in sides if (o.side in ("top", "bottom")) == (name == "height")]
    side = min(pair, key=lambda o: min(o.least_mm, o.first_mm, o.second_mm)).side
    return Limit(name, block.name, side, worst)


def _transposed(size: CommonSize) -> CommonSize:
    sides = {"top": "left", "left": "top", "bottom": "right", "right": "bottom"}
    other = {"width": "height", "height": "width"}
    return CommonSize(
        size.height_mm,
        size.width_mm,
        size.step_mm,
        tuple(Limit(other[m.dimension], m.name, sides[m.side], m.short_mm) for m in size.limits),
        tuple(SizeRow(r.height_mm, r.width_mm, r.reached, r.set_aside) for r in size.table),
    )


def below_size(
    blocks: Sequence[Block], width_mm: float, height_mm: float, *, seam_mm: float = INCH / 4
) -> tuple[Missing, ...]:
    """Say of each block that does not reach a size what is missing, where, and what to do.

    The rectangle is laid so that as little as can be is missing; a block that is short both in
    height and in width is named twice. The advice is common practice: up to 1/16 in re-press,
    up to a seam allowance re-sew, up to 1 in add a strip and trim back, beyond that use the
    block elsewhere.
    """
    found = []
    reach = frontiers(blocks, width_mm, least_mm=0.5 * height_mm)[:, 0]
    short_of = [b for b, height in zip(blocks, reach, strict=True) if height < height_mm - _EPS]
    half = np.array([width_mm, height_mm]) / 2
    wishes = [Wishes(block, half, np.empty((0, 2)), seam_mm, None, 0) for block in short_of]
    for block, laid in zip(short_of, place_all(wishes), strict=True):
        cuts = offcuts(block, laid)
        lacks = [
            (-2 * spare, pair) for spare, pair in zip(laid.spare_mm, ((3, 1), (0, 2)), strict=True)
        ]
        some = [one for one in lacks if one[0] > _SEEN_MM] or [max(lacks)]
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
            found.append(Missing(block.name, worst.side, end, lack, _advice(lack, seam_mm)))
    return tuple(found)


def _advice(short_mm: float, seam_mm: float) -> str:
    short_mm -= _SEEN_MM
    if short_mm <= INCH / 16:
        return "Press the seams again and remeasure."
    if short_mm <= seam_mm:
        return "Unpick the widest seam and resew it with a narrower seam allowance."
    if short_mm <= INCH:
        return "Add a strip of fabric to that side and trim it back to size."
    return "Use this block somewhere else: on the back, or as a label."


@dataclass(frozen=True)
class SewnSeam:
    """The seam allowance that a set was really sewn with.

    Attributes
    ----------
    allowance_mm, u95_mm : float
        Mean allowance and its expanded uncertainty.
    deficit_mm : float
        Mean of planned minus measured size.
    scatter_mm : float
        Standard deviation of one seam's allowance between blocks.
    same : bool
        True if measuring alone explains how the blocks differ (chi-squared at 5 %).
    sentence : str
        What to do.
    """

    allowance_mm: float
    u95_mm: float
    deficit_mm: float
    scatter_mm: float
    same: bool
    sentence: str


def seam_allowance_really_sewn(
    sizes_mm: Sequence[float],
    planned_mm: float,
    seams: int,
    *,
    seam_mm: float = INCH / 4,
    u_mm: float = 0.4,
    u_common_mm: float = 0.0,
    unit: str = "in",
) -> SewnSeam:
    """Tell from the sizes of blocks sewn from one plan how wide the seams were sewn.

    Every seam takes an allowance from both of its pieces, so a deficit d over `seams` seams is
    d / (2 × seams) of allowance too much. Scatter is judged against `u_mm` by chi-squared;
    the mean's uncertainty is the larger of the two over √n, with Student's t where the scatter
    is what counts, and `u_common_mm` (the scale shared by all photos) in quadrature (JCGM 100).

    Parameters
    ----------
    sizes_mm : sequence of float
        Measured unfinished sizes across the seams, one per block, untrimmed.
    planned_mm : float
        Planned unfinished size.
    seams : int
        Number of seams that the size crosses.
    seam_mm : float
        Planned seam allowance.
    u_mm, u_common_mm : float
        Standard uncertainty of one size, and of what all share.
    """
    sizes = np.sort(np.asarray(sizes_mm, dtype=np.float64))
    if seams < 1 or not len(sizes):
        raise PlanError(
            "The seam allowance needs one measured block and one seam at least.",
            "Count the seams that the ruler crosses.",
        )
    n, per = len(sizes), 2 * seams
    deficit = planned_mm - float(sizes.mean())
    spread = float(sizes.std(ddof=1)) if n > 1 else 0.0
    same = n < 2 or (u_mm <= 0 and spread == 0)
    if n > 1 and u_mm > 0:
        same = bool(chdtrc(n - 1, (n - 1) * (spread / u_mm) ** 2) >= 0.05)
    factor = 2.0 if same else max(2.0, coverage_factor(0.95, n - 1))
    one = max(u_mm, spread)
    u95 = math.hypot(factor * one / math.sqrt(n), 2.0 * u_common_mm) / per
    extra = deficit / per
    text = format_length(abs(extra), unit=unit, fraction=32)
    sure = format_uncertainty(u95, unit=unit)
    off = "wider" if extra > 0 else "narrower"
    total = format_length(abs(deficit), unit=unit, fraction=32)
    # text shows 0 when the amount is below what the unit can show
    seen = to_step(abs(extra), INCH / 32) > 0 if unit == "in" else to_step(abs(extra), 1.0) > 0
    amount = f"about {text}" if seen else f"less than {'1/32 in' if unit == 'in' else '0.1 cm'}"
    if abs(extra) <= u95 and same:
        sentence = "The seam allowance is as planned, as far as can be measured; leave the machine as it is."
    elif abs(extra) <= u95:
        sentence = (
            "On average the seams are right, but they vary from block to block; check your cutting "
            "and pressing, and sew against a guide."
        )
    elif same:
        move = "towards" if extra > 0 else "away from"
        result = "short" if extra > 0 else "over"
        sentence = (
            f"The blocks come out {total} {result}: if the pieces were cut to size and the seams "
            f"pressed flat, move the needle or the guide {amount} (± {sure}) {move} the raw edge, "
            f"because the seams are that much {off} than planned."
        )
    else:
        sentence = (
            f"The seams are {amount} (± {sure}) {off} than planned on average, but vary from "
            "block to block; check your cutting and pressing first, then sew against a guide."
        )
    return SewnSeam(seam_mm + extra, u95, deficit, spread / per, same, sentence)
