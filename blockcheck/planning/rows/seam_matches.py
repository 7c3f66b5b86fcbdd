"""Rows that meet both ways: where every seam falls, which edges and corners miss by how much."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...errors import PlanError
from ...uncertainty import verdict
from ...units import INCH

Array = NDArray[np.float64]
QUARTER = INCH / 4
EASED = 1 / 48  # of the length: 1/8 in over 6 in is sewn flat, more puckers (common practice)
_SAME_PLACE_MM = 0.5  # marks that the plan puts nearer than this meet


@dataclass(frozen=True)
class Piece:
    """One piece of a row.

    Attributes
    ----------
    name : str
    cut_mm, planned_mm, u_mm : float
        Unfinished length along the row, the planned one, and its standard uncertainty.
    across_mm : float or None
        Unfinished length across the row, which its neighbours' edges are sewn to; not compared
        where None.
    across_u_mm : float
    """

    name: str
    cut_mm: float
    planned_mm: float
    u_mm: float = 0.0
    across_mm: float | None = None
    across_u_mm: float = 0.0


@dataclass(frozen=True)
class Seam:
    """Where a seam (or a piece's centre) falls, from the row's finished start."""

    name: str
    planned_mm: float
    position_mm: float
    u_mm: float


@dataclass(frozen=True)
class Remedy:
    """What to do where edges do not meet.

    Attributes
    ----------
    what : {"ease", "trim", "resew", "pin"}
    names : tuple of str
        The pieces that are too long, or of which one is too short ("resew").
    off_mm, over_mm : float
        By how much, and over which length it would have to be eased.
    """

    what: str
    names: tuple[str, ...]
    off_mm: float
    over_mm: float


@dataclass(frozen=True)
class SeamMatch:
    """Two marks of neighbouring rows that should meet.

    Attributes
    ----------
    rows : (int, int)
        The two rows, counted from 0.
    names : (str, str)
        The two marks.
    planned_mm : float
        Where they should meet.
    step_mm, step_u_mm : float
        Mismatch gathered since the seam match before; second row minus first.
    total_mm, total_u_mm : float
        Mismatch from the rows' start.
    down_mm, down_u_mm : float
        How far apart the four corners that meet here lie across the rows: half of what the edges
        of neighbours in one row differ by, the greater of both rows.
    meets, adds_up : {"yes", "no", "too close to call"}
        Whether the corners (step and down) and the total lie within the tolerance.
    remedy : Remedy, optional
        What to ease along the rows.
    first : bool
        Whether no seam match lies between it and the rows' start.
    ends : (bool, bool)
        Whether a mark is the end of its row, where no piece follows.
    """

    rows: tuple[int, int]
    names: tuple[str, str]
    planned_mm: float
    step_mm: float
    step_u_mm: float
    total_mm: float
    total_u_mm: float
    down_mm: float
    down_u_mm: float
    meets: str
    adds_up: str
    remedy: Remedy | None
    first: bool
    ends: tuple[bool, bool]

    @property
    def apart_mm(self) -> float:
        """Distance of the corners that should meet, in the plane of the quilt."""
        return math.hypot(self.step_mm, self.down_mm)


@dataclass(frozen=True)
class SideMatch:
    """Two neighbours in a row, sewn edge to edge across the row.

    Attributes
    ----------
    row : int
        Counted from 0.
    names : (str, str)
    difference_mm, u_mm : float
        The second's edge less the first's.
    meets : {"yes", "no", "too close to call"}
    remedy : Remedy, optional
        What to ease.
    """

    row: int
    names: tuple[str, str]
    difference_mm: float
    u_mm: float
    meets: str
    remedy: Remedy | None


@dataclass(frozen=True)
class RowsCheck:
    """How a layout goes together.

    Attributes
    ----------
    lengths_mm : tuple of float
        The rows' finished lengths.
    matches : tuple of SeamMatch
    sides : tuple of SideMatch
    flagged : tuple of str
        Pieces that will not line up along the rows.
    worst_step_mm, worst_side_mm : float
        Greatest step of a seam match, greatest difference of neighbours' edges.
    """

    lengths_mm: tuple[float, ...]
    matches: tuple[SeamMatch, ...]
    sides: tuple[SideMatch, ...]
    flagged: tuple[str, ...]
    worst_step_mm: float
    worst_side_mm: float

    @property
    def worst_mm(self) -> float:
        """How far corners that should meet lie apart at worst, along the rows or across them."""
        return max(self.worst_step_mm, self.worst_side_mm / 2)

    @property
    def missing(self) -> tuple[SeamMatch, ...]:
        """Seam matches whose seams do not surely meet along the rows."""
        return tuple(m for m in self.matches if m.remedy and m.meets != "yes")

    @property
    def uneven(self) -> tuple[SideMatch, ...]:
        """Neighbours whose edges are not surely of one length."""
        return tuple(s for s in self.sides if s.meets != "yes")


def seam_positions(row: Sequence[Piece], seam_mm: float = QUARTER) -> tuple[Seam, ...]:
    """Position of the seam after each piece; the last is the row's finished length.

    A piece fills its cut length less a seam allowance at both ends.
    """
    at = planned = square = 0.0
    seams = []
    for piece in row:
        if min(piece.cut_mm, piece.planned_mm) <= 2 * seam_mm:
            raise PlanError(f"{piece.name} is not longer than its two seam allowances.")
        at += piece.cut_mm - 2 * seam_mm
        planned += piece.planned_mm - 2 * seam_mm
        square += piece.u_mm**2
        seams.append(Seam(f"after {piece.name}", planned, at, math.sqrt(square)))
    return tuple(seams)


def marks_of(row: Sequence[Piece], seam_mm: float) -> list[tuple[Seam, Array]]:
    """Seams and centres in order, each with the pieces' shares in its position."""
    seams, marks = seam_positions(row, seam_mm), []
    below = np.tri(len(row), k=-1)
    start = planned = square = 0.0
    for i, (piece, seam) in enumerate(zip(row, seams, strict=True)):
        half, whole = below[i].copy(), below[i].copy()
        half[i], whole[i] = 0.5, 1.0
        u = math.sqrt(square + (piece.u_mm / 2) ** 2)
        middle = (planned + seam.planned_mm) / 2, (start + seam.position_mm) / 2
        marks += [(Seam(f"centre of {piece.name}", *middle, u), half), (seam, whole)]
        start, planned, square = seam.position_mm, seam.planned_mm, seam.u_mm**2
    return marks


def meeting_marks(
    upper: Sequence[Piece], lower: Sequence[Piece], seam_mm: float
) -> list[tuple[Seam, Array, Seam, Array]]:
    """Marks of two rows that the plan puts on one place, with the pieces' shares in each.

    A seam meets a seam or the centre of a piece; the centre of sashing meets that of a block.
    """
    found = []
    above, below = marks_of(upper, seam_mm), marks_of(lower, seam_mm)
    places = np.array([b.planned_mm for b, _ in below])
    for a, sa in above:
        first, last = np.searchsorted(
            places, [a.planned_mm - _SAME_PLACE_MM, a.planned_mm + _SAME_PLACE_MM]
        )
        for b, sb in below[first:last]:
            one, other = (m[m % 1 > 0] for m in (sa, sb))  # a centre has half of its piece
            if len(one) and len(other):
                lengths = upper[int(sa.sum())].planned_mm, lower[int(sb.sum())].planned_mm
                if math.isclose(*lengths, abs_tol=_SAME_PLACE_MM):
                    continue
            found.append((a, sa, b, sb))
    return found


def check_rows(
    rows: Sequence[Sequence[Piece]],
    *,
    seam_mm: float = QUARTER,
    tolerance_mm: float = INCH / 8,
    trimmed: bool = False,
) -> RowsCheck:
    """Compare neighbours in each row, and each row with the next at every seam match.

    Marks meet where the plan puts a seam of one row on a seam of the other, or, in offset rows,
    on the centre of a piece of the other. Pieces' errors are independent and add in quadrature
    (JCGM 100, 5.1.2); what all share, such as the scale, moves both rows alike and is left out.
    `trimmed` says that nothing more can be trimmed, for the remedies.
    """
    joined = [_Joined(rows, r, seam_mm, tolerance_mm, trimmed) for r in range(len(rows))]
    sides = [side for one in joined for side in one.sides()]
    matches: list[SeamMatch] = []
    flagged: dict[str, None] = {}
    for one in joined[:-1]:
        found, names = one.matches()
        matches += found
        flagged.update(dict.fromkeys(names))
    lengths = tuple(
        s[-1].position_mm if (s := seam_positions(row, seam_mm)) else 0.0 for row in rows
    )
    step = max((abs(m.step_mm) for m in matches), default=0.0)
    side = max((abs(s.difference_mm) for s in sides), default=0.0)
    return RowsCheck(lengths, tuple(matches), tuple(sides), tuple(flagged), step, side)


@dataclass(frozen=True, eq=False)
class _Joined:
    """Row `r` as it is sewn: neighbours to each other, then to the row below it."""

    rows: Sequence[Sequence[Piece]]
    r: int
    seam_mm: float
    tolerance_mm: float
    trimmed: bool

    def sides(self) -> list[SideMatch]:
        found = []
        for a, b in itertools.pairwise(self.rows[self.r]):
            if a.across_mm is None or b.across_mm is None:
                continue
            off, u = b.across_mm - a.across_mm, math.hypot(a.across_u_mm, b.across_u_mm)
            meets, remedy = self._verdict(off, u), None
            if meets != "yes":
                longer, edge = (b, a.across_mm) if off > 0 else (a, b.across_mm)
                remedy = self._remedy([longer.name], abs(off), edge - 2 * self.seam_mm)
            found.append(SideMatch(self.r, (a.name, b.name), off, u, meets, remedy))
        return found

    def matches(self) -> tuple[list[SeamMatch], list[str]]:
        """The seam matches with the row below, and the pieces that do not line up."""
        upper, lower = self.rows[self.r : self.r + 2]
        before, shares_before = 0.0, (np.zeros(len(upper)), np.zeros(len(lower)))
        u = tuple(np.array([p.u_mm for p in row]) for row in (upper, lower))
        start = held = 0.0  # held: the mismatch at the last match that was eased or pinned
        found: list[SeamMatch] = []
        flagged: list[str] = []
        for a, sa, b, sb in meeting_marks(upper, lower, self.seam_mm):
            total = b.position_mm - a.position_mm
            step = total - before
            since = sa - shares_before[0], sb - shares_before[1]
            total_u = math.hypot(*(sa * u[0]), *(sb * u[1]))
            step_u = math.hypot(*(since[0] * u[0]), *(since[1] * u[1]))
            along, adds_up = self._verdict(step, step_u), self._verdict(total, total_u)
            down, down_u = max(_corner(upper, sa), _corner(lower, sb))
            longer, shares = (lower, since[1]) if step > 0 else (upper, since[0])
            names = [p.name for p, s in zip(longer, shares, strict=True) if s > 0]
            remedy = None
            if along != "yes":
                remedy = self._remedy(names, abs(step), a.planned_mm - start)
                flagged += names
                held = total
            elif abs(total - held) > self.tolerance_mm:
                remedy = Remedy("pin", (), abs(total - held), 0.0)
                held = total
            both = (along, self._verdict(down, down_u))
            meets = next((w for w in ("no", "too close to call") if w in both), "yes")
            found.append(
                SeamMatch(
                    (self.r, self.r + 1),
                    (a.name, b.name),
                    a.planned_mm,
                    step,
                    step_u,
                    total,
                    total_u,
                    down,
                    down_u,
                    meets,
                    adds_up,
                    remedy,
                    not found,
                    (bool(sa.all() and sa[-1] == 1), bool(sb.all() and sb[-1] == 1)),
                )
            )
            before, shares_before, start = total, (sa, sb), a.planned_mm
        return found, flagged

    def _verdict(self, off: float, u: float) -> str:
        return verdict(off, u, -self.tolerance_mm, self.tolerance_mm)

    def _remedy(self, names: Sequence[str], off: float, over: float) -> Remedy:
        """Ease what can be eased; what cannot is trimmed, or sewn again once it is trimmed."""
        what = "ease" if off <= EASED * over else "resew" if self.trimmed else "trim"
        return Remedy(what, tuple(names), off, over)


def _corner(row: Sequence[Piece], shares: Array) -> tuple[float, float]:
    """Half of what the two edges at a seam differ by, with its uncertainty; none at a centre."""
    i = int(shares.sum())
    if (shares % 1 > 0).any() or not 0 < i < len(row):
        return 0.0, 0.0
    a, b = row[i - 1 : i + 1]
    if a.across_mm is None or b.across_mm is None:
        return 0.0, 0.0
    return abs(b.across_mm - a.across_mm) / 2, math.hypot(a.across_u_mm, b.across_u_mm) / 2


def half_block_cut(
    block_cut_mm: float, *, sashing_cut_mm: float | None = None, seam_mm: float = QUARTER
) -> float:
    """Cut size of half a block, so that offset rows meet.

    With sashing between the halves (block - sashing) / 2 + 2 × seam allowance, without
    block / 2 + seam allowance: two halves and the sashing, sewn, are as long as one block.
    """
    if sashing_cut_mm is None:
        half = block_cut_mm / 2 + seam_mm
    else:
        half = (block_cut_mm - sashing_cut_mm) / 2 + 2 * seam_mm
    if half <= 2 * seam_mm or (sashing_cut_mm is not None and sashing_cut_mm <= 2 * seam_mm):
        raise PlanError(
            "The sashing leaves nothing of the half block.", "Choose narrower sashing or none."
        )
    return half
