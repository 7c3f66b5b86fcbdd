"""The one size that a set of blocks can be trimmed to, and what larger ones would cost."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...errors import PlanError
from ...units import INCH
from .block import Array, Block
from .offcuts import offcuts
from .placement import Wishes, place_all
from .rectangles import axes, frontiers, taller

EPS = 1e-6
_WIDTHS = 4  # looked at together
_LOWEST = 4  # blocks looked at once more for each width


@dataclass(frozen=True)
class SizeRow:
    """One line of the size table: an unfinished size, how many blocks reach it, which do not."""

    width_mm: float
    height_mm: float
    reached: int
    set_aside: tuple[str, ...]


@dataclass(frozen=True)
class Limit:
    """What keeps the common size from growing by one ruler line in one dimension.

    `short_mm` is what block `name` lacks for `next_mm`; `side` is where its cloth is least.
    """

    dimension: str
    name: str
    side: str
    short_mm: float
    next_mm: float


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
    at_most_mm: tuple[float, float] | None = None,
    square: bool = False,
) -> CommonSize:
    """Find the largest unfinished size on the ruler lines that every block can be trimmed to.

    Largest means largest area; of equal areas the wider. Widths are looked at from the widest
    mark down to half of the narrowest block, as far as a larger area could still be had.

    A size that nobody planned is not made larger than the blocks: their edges give at most a
    quarter of a mark here, so that equal blocks come out at the mark nearest to their size.

    Parameters
    ----------
    blocks : sequence of Block
        The blocks, each with its own guard and what its edges give.
    step_mm : float
        The ruler's marks: 1/8 in unless told.
    fix_width_mm, fix_height_mm : float, optional
        A dimension that the plan holds; only the other is sought.
    at_most_mm : (float, float), optional
        A width and a height that are not to be passed; both count as marks.
    square : bool
        Whether only squares are looked for.

    Raises
    ------
    PlanError
        If there is no block, or no common size.
    """
    if not blocks:
        raise PlanError("There are no blocks to find a common size for.", "Measure a block first.")
    if fix_width_mm is not None and fix_height_mm is not None:
        raise PlanError("Width and height cannot both be sought and fixed.", "Fix one of the two.")
    if fix_height_mm is not None:
        turned = common_size(
            [b.transposed() for b in blocks],
            step_mm=step_mm,
            fix_width_mm=fix_height_mm,
            at_most_mm=at_most_mm and at_most_mm[::-1],
        )
        return _transposed(turned)
    blocks = [b.giving(min(b.give_mm, step_mm / 4)) for b in blocks]
    width_at_most, height_at_most = at_most_mm or (math.inf, math.inf)
    if square:
        width_at_most = height_at_most = min(width_at_most, height_at_most)
    if fix_width_mm is not None:
        widths = np.array([fix_width_mm])
        heights = frontiers(blocks, widths)
    else:
        widths = _marks(blocks, step_mm, width_at_most)
        heights = _heights(blocks, widths, step_mm, height_at_most, square)
    reach = _on_marks(heights, widths, step_mm, height_at_most, square)
    n = len(blocks)
    ranked = -np.sort(-reach, axis=0)  # row k-1: the height k blocks reach
    rows: list[SizeRow] = []
    for count in range(n, 0, -1):
        area = widths * ranked[count - 1]
        k = len(widths) - 1 - int(np.argmax(area[::-1]))
        if area[k] <= 0:
            continue
        high = float(ranked[count - 1, k])
        reached = reach[:, k] >= high - EPS
        if rows and area[k] <= rows[-1].width_mm * rows[-1].height_mm + EPS:
            continue
        left = tuple(b.name for b, ok in zip(blocks, reached, strict=True) if not ok)
        rows.append(SizeRow(float(widths[k]), high, int(reached.sum()), left))
    if not rows or rows[0].reached < n:
        raise PlanError(
            "No size on the ruler lines fits all the blocks.",
            "Set the smallest block aside, or do not fix the width or height.",
        )
    w, h = rows[0].width_mm, rows[0].height_mm
    k = int(np.argmin(np.abs(widths - w)))
    wider = float(widths[k + 1]) if k + 1 < len(widths) else w + step_mm
    higher = min(math.floor(h / step_mm + EPS) * step_mm + step_mm, height_at_most)
    known = k + 1 < len(widths) and heights[:, k + 1].any()
    beyond = heights[:, k + 1] if known else frontiers(blocks, wider, least_mm=0.5 * h)[:, 0]
    limits = []
    if square:
        limits += _limit(blocks, beyond, wider, wider)
    else:
        if higher > h + EPS:
            limits += _limit(blocks, heights[:, k], w, higher, "height")
        if fix_width_mm is None and wider <= width_at_most + EPS:
            limits += _limit(blocks, beyond, wider, h, "width")
    return CommonSize(w, h, step_mm, tuple(limits), tuple(rows))


def _marks(blocks: Sequence[Block], step_mm: float, at_most_mm: float) -> Array:
    """Widths to look at: the marks from half of the narrowest block to beyond the widest."""
    spread = []
    for b in blocks:
        reach = _diameter(b) if _odd(b) else float(np.ptp(b.outline_mm @ axes(b.turn)[0]))
        spread.append(reach - 2 * b.margin_mm)
    last = math.floor(max(spread) / step_mm + EPS) + 1
    marks = np.arange(max(1, math.floor(0.5 * min(spread) / step_mm)), last + 1) * step_mm
    below = marks[marks < at_most_mm - EPS]
    if len(below) < len(marks):
        marks = np.append(below, at_most_mm)
    return np.asarray(marks, dtype=np.float64)


def _odd(block: Block) -> bool:
    """Whether there are no four sides to speak of, so that any direction may be the widest."""
    return len(block.outline_mm) < 4


def _diameter(block: Block) -> float:
    return float(np.hypot(*(block.outline_mm[:, None] - block.outline_mm).T).max())


def _on_marks(
    heights: Array, widths: Array, step_mm: float, at_most_mm: float, square: bool
) -> Array:
    """The heights that count: on the marks or the greatest allowed; of squares the width itself."""
    if square:
        return np.where(heights >= widths - EPS, widths, 0.0)
    marks = np.floor(heights / step_mm + EPS) * step_mm
    return np.where(heights >= at_most_mm - EPS, at_most_mm, np.minimum(marks, at_most_mm))


def _heights(
    blocks: Sequence[Block], widths: Array, step_mm: float, at_most_mm: float, square: bool
) -> Array:
    """The heights that each block reaches for each width; 0 if never looked at.

    No rectangle is taller than its block, so that widths below the point where even such an area
    would be smaller than one in hand are left out.
    """
    heights = np.zeros((len(blocks), len(widths)))
    tall = [(_diameter(b) if _odd(b) else b.reach_mm) - 2 * b.margin_mm for b in blocks]
    cap = np.minimum(-np.sort(-np.array(tall)), at_most_mm)
    # a width that the narrowest block has to spare gives an area to begin with
    sure = len(widths) // 2
    heights[:, sure] = frontiers(
        blocks, widths[sure], least_mm=0.5 * min(tall), enough_mm=at_most_mm
    )[:, 0]
    reach = _on_marks(heights, widths, step_mm, at_most_mm, square)[:, sure]
    area = widths[sure] * -np.sort(-reach)
    for end in range(len(widths), 0, -_WIDTHS):
        bound = np.minimum(cap, widths[end - 1]) if square else cap
        if (widths[end - 1] * bound <= area + EPS).all():
            break
        some = np.arange(max(end - _WIDTHS, 0), end)
        # whatever is lower has less area than that in hand for all
        low = float(widths[some[0]]) - EPS if square else float(area[-1] / widths[end - 1])
        enough = float(widths[some[-1]]) if square else at_most_mm
        heights[:, some] = frontiers(blocks, widths[some], least_mm=low, enough_mm=enough)
        for k in some:  # what all reach is decided by the lowest: it is looked at once more
            for _ in range(_LOWEST):
                i, second = (
                    int(z) for z in np.argsort(heights[:, k])[[0, min(1, len(blocks) - 1)]]
                )
                others = heights[second, k] if second != i else at_most_mm
                if widths[k] * min(others, cap[-1]) <= area[-1] + EPS:
                    break
                high = taller(blocks[i], float(widths[k]), float(heights[i, k]), low)
                if high <= heights[i, k]:
                    break
                heights[i, k] = high
        reach = _on_marks(heights[:, some], widths[some], step_mm, at_most_mm, square)
        area = np.maximum(area, (widths[some] * -np.sort(-reach, axis=0)).max(axis=1))
    return heights


def _limit(
    blocks: Sequence[Block], reach: Array, width: float, height: float, name: str = ""
) -> list[Limit]:
    """The block that lacks most for a size, among those that reach the least of its height.

    `name` is the dimension that is asked about; the one that lacks more where it is empty.
    """
    low = np.flatnonzero(reach < height - EPS)
    worst = low[np.argsort(reach[low], kind="stable")]
    last = reach[worst[min(_LOWEST, len(worst)) - 1]] + 0.1 if len(worst) else 0.0
    some = [blocks[i] for i in worst if reach[i] <= last][: 8 * _LOWEST]
    half = np.array([width, height]) / 2
    none = np.empty((0, 2))
    laid = place_all([Wishes(b, half, none, 0.0, None, 0) for b in some])
    found = []
    for block, one in zip(some, laid, strict=True):
        lacks = [max(-2 * spare, 0.0) for spare in one.spare_mm]
        # of equally short blocks the first name, so that the order of blocks never matters
        lack = lacks[name == "height"] if name else max(lacks)
        found.append((-round(lack, 4), block.name, block, one, lacks))
    if not found:
        return []
    minus, _, block, one, lacks = min(found, key=lambda f: f[:2])
    name = name or ("width" if lacks[0] > lacks[1] else "height")
    pair = [o for o in offcuts(block, one) if (o.side in ("top", "bottom")) == (name == "height")]
    side = min(pair, key=lambda o: min(o.least_mm, o.first_mm, o.second_mm)).side
    return [Limit(name, block.name, side, -minus, height if name == "height" else width)]


def _transposed(size: CommonSize) -> CommonSize:
    sides = {"top": "left", "left": "top", "bottom": "right", "right": "bottom"}
    other = {"width": "height", "height": "width"}
    return CommonSize(
        size.height_mm,
        size.width_mm,
        size.step_mm,
        tuple(replace(m, dimension=other[m.dimension], side=sides[m.side]) for m in size.limits),
        tuple(SizeRow(r.height_mm, r.width_mm, r.reached, r.set_aside) for r in size.table),
    )


def sizes_at_least(
    blocks: Sequence[Block],
    least_mm: tuple[float, float],
    *,
    step_mm: float = INCH / 8,
    square: bool = False,
    most: int = 12,
) -> tuple[tuple[float, float], ...]:
    """Sizes on the ruler lines that all blocks reach and that are no smaller than `least_mm`.

    For each of the `most` narrowest such widths the tallest height; the largest area first.
    """
    blocks = [b.giving(min(b.give_mm, step_mm / 4)) for b in blocks]
    least_w, least_h = (math.ceil(mm / step_mm - EPS) for mm in least_mm)
    if square:
        least_w = least_h = max(least_w, least_h)
    widths = np.arange(least_w, least_w + most) * step_mm
    heights = frontiers(blocks, widths, least_mm=least_h * step_mm - EPS).min(axis=0)
    marks = np.floor(heights / step_mm + EPS) * step_mm
    if square:
        marks = np.where(marks >= widths - EPS, widths, 0.0)
    found = [
        (float(w), float(h))
        for w, h in zip(widths, marks, strict=True)
        if h >= least_h * step_mm - EPS
    ]
    return tuple(sorted(found, key=lambda size: -size[0] * size[1]))
