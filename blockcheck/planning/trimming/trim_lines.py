"""Where to trim one block: the rectangle laid on it, and the cuts as a quilter makes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ...errors import PlanError
from ...units import INCH
from .block import Block
from .offcuts import Offcut, offcuts
from .placement import SIDES, Placement, Wishes, place_all
from .rectangles import axes
from .shortage import Missing, missing

TOLERANCE_MM = 1e-3
LEAVE_MM = INCH / 32  # what sticks out by no more is not worth a cut: a blade's width or two
SEEN_MM = INCH / 64  # less is written as nothing


@dataclass(frozen=True)
class CutPoint:
    """A point that would be cut off when sewn: which, at which side, by how much."""

    name: str
    side: str
    short_mm: float


@dataclass(frozen=True)
class TrimPlan:
    """One block's trim lines.

    Attributes
    ----------
    name : str
        The block's name.
    placement : Placement
        Where the rectangle lies, in block coordinates.
    fits : bool
        True if the rectangle, with the guard, lies inside the cloth, but for what the edges give.
    given_mm : float
        How far an edge lies inside its trim line at most: what its seam allowance loses.
    offcuts : tuple of Offcut
        What falls off top, right, bottom and left.
    cut_points : tuple of CutPoint
        Points that lie nearer than one seam allowance to a trim line.
    off_centre_mm : float
        How far the centre line lies from the middle, at its worse end; 0 if none is marked.
    missing : tuple of Missing
        What the block lacks where it does not fit, as `below_size` says it.
    """

    name: str
    placement: Placement
    fits: bool
    given_mm: float
    offcuts: tuple[Offcut, ...]
    cut_points: tuple[CutPoint, ...]
    off_centre_mm: float
    missing: tuple[Missing, ...] = ()

    @property
    def nothing_to_trim(self) -> bool:
        """Whether the block reaches the size and no edge sticks out by more than `LEAVE_MM`."""
        return self.fits and not any(sticks_out(o) for o in self.offcuts)

    @property
    def some_sides_only(self) -> bool:
        """Whether the block reaches the size and some of its edges, not all, stick out."""
        out = [sticks_out(o) for o in self.offcuts]
        return self.fits and any(out) and not all(out)


def sticks_out(cut: Offcut) -> bool:
    """Whether an edge lies outside its trim line by more than is worth leaving."""
    return max(cut.first_mm, cut.second_mm, cut.most_mm) > LEAVE_MM + TOLERANCE_MM


def trim(
    block: Block,
    width_mm: float,
    height_mm: float,
    *,
    points_mm: Mapping[str, ArrayLike] | None = None,
    seam_mm: float = INCH / 4,
    centre_line_mm: ArrayLike | None = None,
) -> TrimPlan:
    """Lay the chosen size on a block.

    In order of weight: inside the cloth with the guard, but for what the edges give; one seam
    allowance outside every point; centred on the centre line; little given, and the most even cut.
    What cannot be had is said.

    Parameters
    ----------
    block : Block
        The measured outline and its guard.
    width_mm, height_mm : float
        The unfinished size to trim to.
    points_mm : mapping of str to (x, y), optional
        Marked points in block coordinates.
    seam_mm : float
        Seam allowance.
    centre_line_mm : array_like, shape (2, 2), optional
        Two points of the motif's centre line; upright or level, whichever is nearer.
    """
    return trim_all(
        [block],
        width_mm,
        height_mm,
        points_mm=[points_mm or {}],
        seam_mm=seam_mm,
        centre_lines_mm=[centre_line_mm],
    )[0]


def trim_all(
    blocks: Sequence[Block],
    width_mm: float,
    height_mm: float,
    *,
    points_mm: Sequence[Mapping[str, ArrayLike]] | None = None,
    seam_mm: float = INCH / 4,
    centre_lines_mm: Sequence[ArrayLike | None] | None = None,
) -> tuple[TrimPlan, ...]:
    """Lay the chosen size on many blocks: as `trim`, in less time than one by one.

    `points_mm` and `centre_lines_mm` have an entry for each block.
    """
    if min(width_mm, height_mm) <= 2 * seam_mm:
        raise PlanError(
            "The size to trim to is not larger than its two seam allowances.",
            "Give the unfinished size, with the seam allowance on all sides.",
        )
    half = np.array([width_mm, height_mm]) / 2
    names, wishes = [], []
    for block, points, line in zip(
        blocks,
        points_mm or [{}] * len(blocks),
        centre_lines_mm or [None] * len(blocks),
        strict=True,
    ):
        places = np.array([np.asarray(p, dtype=np.float64) for p in points.values()])
        centre, axis = None, 0
        if line is not None:
            centre = np.asarray(line, dtype=np.float64)
            if centre.shape != (2, 2) or np.allclose(centre[0], centre[1]):
                raise PlanError(f"The centre line of {block.name} needs two different points.")
            across, down = np.abs(axes(block.turn) @ (centre[1] - centre[0]))
            axis = int(across > down)
        names.append(tuple(points))
        wishes.append(Wishes(block, half, places.reshape(-1, 2), seam_mm, centre, axis))
    return tuple(
        _judged(wish, laid, some)
        for wish, laid, some in zip(wishes, place_all(wishes), names, strict=True)
    )


def _judged(wishes: Wishes, laid: Placement, names: tuple[str, ...]) -> TrimPlan:
    """What falls off, and what could not be had."""
    block = wishes.block
    cuts = offcuts(block, laid)
    frame, centre = axes(laid.turn_rad), np.array([laid.x_mm, laid.y_mm])
    off = 0.0
    if wishes.centre is not None:
        off = float(np.abs((wishes.centre - centre) @ frame[wishes.axis]).max())
    local = (wishes.points - centre) @ frame.T
    lost = _cut_points(names, local, laid.width_mm, laid.height_mm, wishes.seam)
    fits = laid.lack_mm <= TOLERANCE_MM
    given = max(-laid.clearance_mm, 0.0)
    given = min(given, block.give_mm) if fits else given
    lacks = () if fits else missing(block, laid, cuts, wishes.seam)
    return TrimPlan(block.name, laid, fits, given, cuts, lost, off, lacks)


def _cut_points(
    names: tuple[str, ...], local: np.ndarray, width: float, height: float, seam: float
) -> tuple[CutPoint, ...]:
    """Points nearer than one seam allowance to a side of the rectangle, by more than is seen."""
    lost = []
    for name, (x, y) in zip(names, local, strict=True):
        gaps = (y + height / 2, width / 2 - x, height / 2 - y, x + width / 2)
        for side, gap in zip(SIDES, gaps, strict=True):
            if gap < seam - SEEN_MM:
                lost.append(CutPoint(name, side, float(seam - gap)))
    return tuple(lost)
