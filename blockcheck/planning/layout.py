"""Rows that meet: where every seam falls, which joints miss, and which order misses least."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_matrix

from ..errors import PlanError
from ..uncertainty import verdict
from ..units import INCH, format_length

Array = NDArray[np.float64]
QUARTER = INCH / 4


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
class Joint:
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
        Mismatch gathered since the joint before; second row minus first.
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
    """All joints of a layout, the row lengths, and the pieces that will not line up."""

    lengths_mm: tuple[float, ...]
    joints: tuple[Joint, ...]
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


def _marks(row: Sequence[Piece], seam_mm: float) -> list[tuple[Seam, Array]]:
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


def check_rows(
    rows: Sequence[Sequence[Piece]],
    *,
    seam_mm: float = QUARTER,
    tolerance_mm: float = INCH / 8,
    unit: str = "in",
) -> RowsCheck:
    """Compare each row with the next at every joint that should meet.

    Marks meet where the plan puts a seam of one row on a seam of the other, or, in offset rows,
    on the centre of a piece of the other. Pieces' errors are independent and add in quadrature
    (JCGM 100, 5.1.2); what all share, such as the scale, moves both rows alike and is left out.
    """
    joints: list[Joint] = []
    flagged: dict[str, None] = {}
    all_marks = [_marks(row, seam_mm) for row in rows]
    for r in range(len(rows) - 1):
        before, shares_before = 0.0, (np.zeros(len(rows[r])), np.zeros(len(rows[r + 1])))
        u = tuple(np.array([p.u_mm for p in row]) for row in (rows[r], rows[r + 1]))
        start = 0.0
        for (a, sa), (b, sb) in itertools.product(all_marks[r], all_marks[r + 1]):
            centres = a.name.startswith("centre") and b.name.startswith("centre")
            if centres or abs(a.planned_mm - b.planned_mm) > 0.5:
                continue
            total = b.position_mm - a.position_mm
            step = total - before
            total_u = math.hypot(*(sa * u[0]), *(sb * u[1]))
            step_u = math.hypot(
                *((sa - shares_before[0]) * u[0]), *((sb - shares_before[1]) * u[1])
            )
            meets = verdict(step, step_u, -tolerance_mm, tolerance_mm)
            adds_up = verdict(total, total_u, -tolerance_mm, tolerance_mm)
            longer = rows[r + 1] if step > 0 else rows[r]
            shares = sb - shares_before[1] if step > 0 else sa - shares_before[0]
            names = [p.name for p, s in zip(longer, shares, strict=True) if s > 0]
            advice = ""
            if meets != "yes":
                amount = format_length(abs(step), unit=unit, fraction=16)
                length = format_length(a.planned_mm - start, unit=unit, fraction=16)
                advice = f"Ease {' and '.join(names)} by {amount} over {length}."
                flagged.update(dict.fromkeys(names))
            joints.append(
                Joint(
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
    lengths = tuple(m[-1][0].position_mm if m else 0.0 for m in all_marks)
    worst = max((abs(j.total_mm) for j in joints), default=0.0)
    return RowsCheck(lengths, tuple(joints), tuple(flagged), worst)


def half_block_cut(
    block_cut_mm: float, *, strip_cut_mm: float | None = None, seam_mm: float = QUARTER
) -> float:
    """Cut size of half a block, so that offset rows meet.

    With a strip between the halves (block cut - strip cut) / 2 + 2 × seam allowance, without
    block cut / 2 + seam allowance: two halves and the strip, sewn, are as long as one block.
    """
    if strip_cut_mm is None:
        half = block_cut_mm / 2 + seam_mm
    else:
        half = (block_cut_mm - strip_cut_mm) / 2 + 2 * seam_mm
    if half <= 2 * seam_mm or (strip_cut_mm is not None and strip_cut_mm <= 2 * seam_mm):
        raise PlanError(
            "The strip leaves nothing of the half block.", "Choose a narrower strip or none."
        )
    return half


@dataclass(frozen=True)
class Arrangement:
    """An order of blocks over rows, its worst mismatch, and how it was found."""

    rows: tuple[tuple[str, ...], ...]
    worst_mm: float
    method: str


def arrange(cut_mm: Mapping[str, float], rows: int, *, time_limit_s: float = 5.0) -> Arrangement:
    """Spread blocks over straight rows so that the worst mismatch is smallest.

    The mismatch counts at every seam and at the end, between neighbouring rows, from the rows'
    start. Up to eight blocks all orders are tried. Up to 24, SciPy's `milp` (HiGHS branch and
    cut) proves the best or stops at its time; beyond that blocks of like size go one above the
    other and pairs are exchanged while that helps. `method` says which.
    """
    names = sorted(cut_mm, key=lambda n: (cut_mm[n], n))
    size = np.array([cut_mm[n] for n in names])
    n = len(names)
    if rows < 1 or n == 0 or n % rows:
        raise PlanError(f"{n} blocks do not fill {rows} rows evenly.", "Change the rows.")
    cols = n // rows
    if n <= 8:
        orders = np.array(list(itertools.permutations(range(n))))
        order = orders[int(np.argmin(_worst(size[orders], rows, cols)))]
        method = "exact: all orders tried"
    else:
        order, method = _exchange(size, rows, cols), "like sizes stacked, then pairs exchanged"
        if n <= 24 and rows > 1:
            solved, proved = _milp(size, rows, cols, time_limit_s)
            if solved is not None:
                a, b = _worst(size[[order, solved]], rows, cols)
                order = solved if b < a - 1e-9 else order
                if proved:
                    method = "exact: SciPy milp (HiGHS)"
                elif b < a - 1e-9:
                    method = "SciPy milp (HiGHS), stopped at its time"
    grid = order.reshape(rows, cols)
    worst = float(_worst(size[order][None], rows, cols)[0])
    return Arrangement(tuple(tuple(names[i] for i in row) for row in grid), worst, method)


def _worst(sizes: Array, rows: int, cols: int) -> Array:
    """Worst mismatch of each order; `sizes` is (orders, blocks)."""
    at = np.cumsum(sizes.reshape(-1, rows, cols), axis=2)
    if rows == 1:
        return np.zeros(len(at))
    return np.asarray(np.abs(np.diff(at, axis=1)).max(axis=(1, 2)))


def _exchange(size: Array, rows: int, cols: int) -> NDArray[np.int_]:
    order = np.arange(len(size)).reshape(cols, rows).T.copy()
    order[:, 1::2] = order[::-1, 1::2]
    flat = order.ravel()
    pairs = np.array(list(itertools.combinations(range(len(size)), 2)))
    best = float(_worst(size[flat][None], rows, cols)[0])
    for _ in range(100):
        pick = pairs[:: max(1, len(pairs) * len(size) // 2_000_000)]
        tries = np.tile(flat, (len(pick), 1))
        k = np.arange(len(pick))
        tries[k, pick[:, 0]], tries[k, pick[:, 1]] = flat[pick[:, 1]], flat[pick[:, 0]]
        worst = _worst(size[tries], rows, cols)
        i = int(worst.argmin())
        if worst[i] >= best - 1e-9:
            break
        flat, best = tries[i], float(worst[i])
    return np.asarray(flat)


def _milp(size: Array, rows: int, cols: int, limit: float) -> tuple[NDArray[np.int_] | None, bool]:
    """Assignment of block i to place k with the worst mismatch as the cost."""
    n = len(size)
    excess = size - size.min()
    one = lil_matrix((2 * n, n * n + 1))
    for i in range(n):
        one[i, i * n : (i + 1) * n] = 1
        one[n + i, i : n * n : n] = 1
    meet = lil_matrix((2 * (rows - 1) * cols, n * n + 1))
    line = 0
    for r, c in itertools.product(range(rows - 1), range(cols)):
        for sign in (1.0, -1.0):
            for j in range(c + 1):
                for row, way in ((r, -1.0), (r + 1, 1.0)):
                    meet[line, row * cols + j : n * n : n] = sign * way * excess
            meet[line, n * n] = -1.0
            line += 1
    cost = np.append(np.zeros(n * n), 1.0)
    found = milp(
        cost,
        constraints=[
            LinearConstraint(one.tocsr(), 1, 1),
            LinearConstraint(meet.tocsr(), -np.inf, 0),
        ],
        integrality=np.append(np.ones(n * n), 0),
        bounds=Bounds(0, np.append(np.ones(n * n), np.inf)),
        options={"time_limit": limit},
    )
    if found.x is None:
        return None, False
    places = found.x[:-1].reshape(n, n).argmax(axis=1)
    if len(set(places)) < n:
        return None, False
    return np.argsort(places), found.status == 0


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
