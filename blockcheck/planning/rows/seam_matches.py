"""Rows that meet: where every seam falls, and which seam matches miss by how much."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...errors import PlanError
from ...uncertainty import verdict
from ...units import INCH, format_length

Array = NDArray[np.float64]
QUARTER = INCH / 4
EASED = (
    1 / 48
)  # of the length eased over: 1/8 in on 6 in is sewn flat, more puckers (common practice)
_SAME_PLACE_MM = 0.5  # marks that the plan puts nearer than this meet


@dataclass(frozen=True)
class Piece:
    """One piece of a row: cut length along the row, planned cut length, standard uncertainty."""

    name: str
    cut_mm: float
    planned_mm: float
    u_mm: float = 0.0


@dataclass(frozen=True)
class Seam:
    """Where a seam (or a piece's centre) falls, from the row's finished start."""

    name: str
    planned_mm: float
    position_mm: float
    u_mm: float


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
    meets, adds_up : {"yes", "no", "too close to call"}
        Whether step and total lie within the tolerance.
    advice : str
        What to ease, or an empty text.
    """

    rows: tuple[int, int]
    names: tuple[str, str]
    planned_mm: float
    step_mm: float
    step_u_mm: float
    total_mm: float
    total_u_mm: float
    meets: str
    adds_up: str
    advice: str


@dataclass(frozen=True)
class RowsCheck:
    """All seam matches of a layout, the row lengths, and the pieces that will not line up."""

    lengths_mm: tuple[float, ...]
    matches: tuple[SeamMatch, ...]
    flagged: tuple[str, ...]
    worst_mm: float


def seam_positions(row: Sequence[Piece], seam_mm: float = QUARTER) -> tuple[Seam, ...]:
    """Position of the seam after each piece; the last is the row's finished length.

    A piece fills its cut length less a seam allowance at both ends.
    """
    at = planned = square = 0.0
    seams = []
    for piece in row:
        if min(piece.cut_mm, piece.planned_mm) <= 2 * seam_mm:
            raise PlanError(f"{piece.name} is not longer than its two seam allowances.", "")
        at += piece.cut_mm - 2 * seam_mm
        planned += piece.planned_mm - 2 * seam_mm
        square += piece.u_mm**2
        seams.append(Seam(f"after {piece.name}", planned, at, math.sqrt(square)))
    return tuple(seams)


def marks_of(row: Sequence[Piece], seam_mm: float) -> list[tuple[Seam, Array]]:
    """Seams and centres in order, each with the pieces' shares in its position."""
    seams, marks = seam_positions(row, seam_mm), []
    shares = np.zeros(len(row))
    start = planned = 0.0
    for i, (piece, seam) in enumerate(zip(row, seams, strict=True)):
        half = shares.copy()
        half[i] = 0.5
        u = math.sqrt(sum((s * p.u_mm) ** 2 for s, p in zip(half, row, strict=True)))
        middle = (planned + seam.planned_mm) / 2, (start + seam.position_mm) / 2
        marks.append((Seam(f"centre of {piece.name}", *middle, u), half))
        shares[i] = 1.0
        marks.append((seam, shares.copy()))
        start, planned = seam.position_mm, seam.planned_mm
    return marks


def meeting_marks(
    upper: Sequence[Piece], lower: Sequence[Piece], seam_mm: float
) -> list[tuple[Seam, Array, Seam, Array]]:
    """Marks of two rows that the plan puts on one place, with the pieces' shares in each.

    A seam meets a seam or the centre of a piece; the centre of sashing meets that of a block.
    """
    found = []
    below = marks_of(lower, seam_mm)
    for a, sa in marks_of(upper, seam_mm):
        for b, sb in below:
            if abs(a.planned_mm - b.planned_mm) > _SAME_PLACE_MM:
                continue
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
    unit: str = "in",
) -> RowsCheck:
    """Compare each row with the next at every seam match.

    Marks meet where the plan puts a seam of one row on a seam of the other, or, in offset rows,
    on the centre of a piece of the other. Pieces' errors are independent and add in quadrature
    (JCGM 100, 5.1.2); what all share, such as the scale, moves both rows alike and is left out.
    """
    matches: list[SeamMatch] = []
    flagged: dict[str, None] = {}
    for r, (upper, lower) in enumerate(itertools.pairwise(rows)):
        before, shares_before = 0.0, (np.zeros(len(upper)), np.zeros(len(lower)))
        u = tuple(np.array([p.u_mm for p in row]) for row in (upper, lower))
        start = held = 0.0  # held: the mismatch at the last match that was eased or pinned
        for a, sa, b, sb in meeting_marks(upper, lower, seam_mm):
            total = b.position_mm - a.position_mm
            step = total - before
            since = sa - shares_before[0], sb - shares_before[1]
            total_u = math.hypot(*(sa * u[0]), *(sb * u[1]))
            step_u = math.hypot(*(since[0] * u[0]), *(since[1] * u[1]))
            meets = verdict(step, step_u, -tolerance_mm, tolerance_mm)
            adds_up = verdict(total, total_u, -tolerance_mm, tolerance_mm)
            longer, shares = (lower, since[1]) if step > 0 else (upper, since[0])
            names = [p.name for p, s in zip(longer, shares, strict=True) if s > 0]
            advice = ""
            if meets != "yes":
                amount = format_length(abs(step), unit=unit, fraction=16)
                length = format_length(a.planned_mm - start, unit=unit, fraction=16)
                who = " and ".join(names)
                advice = f"Ease {who} in by {amount} over {length}."
                if abs(step) > EASED * (a.planned_mm - start):
                    advice = (
                        f"{amount} over {length} is too much to ease: trim {who} to size first."
                    )
                flagged.update(dict.fromkeys(names))
                held = total
            elif abs(total - held) > tolerance_mm:
                amount = format_length(abs(total - held), unit=unit, fraction=16)
                held = total
                advice = f"Pin the rows together here: they have drifted {amount} apart."
            matches.append(
                SeamMatch(
                    (r, r + 1),
                    (a.name, b.name),
                    a.planned_mm,
                    step,
                    step_u,
                    total,
                    total_u,
                    meets,
                    adds_up,
                    advice,
                )
            )
            before, shares_before, start = total, (sa, sb), a.planned_mm
    lengths = tuple(
        s[-1].position_mm if (s := seam_positions(row, seam_mm)) else 0.0 for row in rows
    )
    worst = max((abs(m.total_mm) for m in matches), default=0.0)
    return RowsCheck(lengths, tuple(matches), tuple(flagged), worst)


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


@dataclass(frozen=True)
class HalvesDifference:
    """One length of the left half less its mirror in the right half."""

    name: str
    left_mm: float
    right_mm: float
    difference_mm: float
    u_mm: float
    alike: str


def compare_halves(
    left_mm: ArrayLike,
    right_mm: ArrayLike,
    *,
    u_mm: float = 0.0,
    tolerance_mm: float = INCH / 8,
) -> tuple[HalvesDifference, ...]:
    """Compare two halves sewn from mirror pieces, by their corners clockwise from the top left.

    The right half's sides and diagonals are read in the mirror; `u_mm` is the standard
    uncertainty of one length, so that a difference has √2 of it.
    """
    left, right = (np.asarray(c, dtype=np.float64) for c in (left_mm, right_mm))
    if left.shape != (4, 2) or right.shape != (4, 2):
        raise PlanError("Each half needs its four corners.", "")
    mirror = right[[1, 0, 3, 2]]
    lengths = (
        ("top", 0, 1),
        ("inner side", 1, 2),
        ("bottom", 2, 3),
        ("outer side", 3, 0),
        ("diagonal from the outer top", 0, 2),
        ("diagonal from the inner top", 1, 3),
    )
    result = []
    for name, i, j in lengths:
        a, b = (float(np.hypot(*(c[j] - c[i]))) for c in (left, mirror))
        u = math.sqrt(2) * u_mm
        alike = verdict(a - b, u, -tolerance_mm, tolerance_mm)
        result.append(HalvesDifference(name, a, b, a - b, u, alike))
    return tuple(result)
