"""An order of the blocks over the rows in which the worst seam match misses least."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...errors import PlanError
from ...units import INCH
from ..solver import milp
from .seam_matches import QUARTER, Array, Piece, RowsCheck, check_rows, marks_of, meeting_marks

_LOOKED_AT = 150_000  # exchanges times misses in one round, for time
_DRIFT = 1e-6  # of two orders whose worst steps are alike, the one whose rows drift apart less


@dataclass(frozen=True)
class Arrangement:
    """An order of blocks over rows, its worst mismatch, how it was found, and all its seam matches.

    Attributes
    ----------
    rows : tuple of tuple of str
        The pieces' names, row by row.
    worst_mm : float
        Worst step of a seam match along the rows, or of corners across them: `check.worst_mm`.
    method : str
        "exact: ..." where the best is proved, else how it was looked for.
    check : RowsCheck
        Every seam match of this order, with uncertainty.
    """

    rows: tuple[tuple[str, ...], ...]
    worst_mm: float
    method: str
    check: RowsCheck


def arrange(
    cut_mm: Mapping[str, float],
    rows: int | Sequence[Sequence[Piece | None]],
    *,
    u_mm: Mapping[str, float] | None = None,
    planned_mm: float | None = None,
    across_mm: Mapping[str, float] | None = None,
    across_planned_mm: float | None = None,
    seam_mm: float = QUARTER,
    tolerance_mm: float = INCH / 8,
    time_limit_s: float = 5.0,
) -> Arrangement:
    """Spread blocks over rows so that the worst mismatch is smallest.

    What counts is what the check of the rows judges: the step of every seam match from the one
    before, and neighbours in a row; where these are alike, the mismatch from the rows' start. Up to eight
    blocks all orders are tried. Up to 24, SciPy's `milp` (HiGHS branch and cut) proves the best
    or stops at its time; beyond that blocks of like size go one above the other and pairs are
    exchanged while that helps. `method` says which.

    Parameters
    ----------
    cut_mm : mapping of str to float
        Cut length of each block along the row.
    rows : int or sequence of rows
        How many straight rows; or the rows themselves, straight or offset, with None in each
        block's place.
    u_mm : mapping of str to float, optional
        Standard uncertainty of each block's length, for the seam matches.
    planned_mm : float, optional
        A block's planned cut length; the blocks' mean unless told.
    across_mm : mapping of str to float, optional
        Each block's length across the row: half of what neighbours differ by counts too.
    across_planned_mm : float, optional
        As of `planned_mm`.
    seam_mm, tolerance_mm
        As of `check_rows`.
    time_limit_s : float
        What `milp` may take.
    """
    names = sorted(cut_mm, key=lambda n: (cut_mm[n], n))
    size = np.array([cut_mm[n] for n in names])
    n = len(names)
    if isinstance(rows, int):
        if rows < 1 or n == 0 or n % rows:
            raise PlanError(f"{n} blocks do not fill {rows} rows evenly.", "Change the rows.")
        rows = [[None] * (n // rows)] * rows
    places = sum(piece is None for row in rows for piece in row)
    if n == 0 or places != n:
        raise PlanError(f"{n} blocks do not fill {places} places.", "Change the rows.")
    planned = float(size.mean()) if planned_mm is None else planned_mm
    across = np.array([across_mm[n] for n in names]) if across_mm else None
    middle = None
    if across is not None:
        middle = float(across.mean()) if across_planned_mm is None else across_planned_mm
    misses, start = _misses(rows, planned, middle, seam_mm)
    beyond = np.zeros(n) if across is None or middle is None else across - middle
    excess = np.column_stack([size - planned, beyond])
    if n <= 8:
        orders = np.array(list(itertools.permutations(range(n))))
        order = orders[int(misses.cost(excess[orders]).argmin())]
        method = "exact: all orders tried"
    else:
        order = _exchange(excess, misses, start)
        method = "like sizes stacked, then pairs exchanged"
        if n <= 24 and len(misses.fixed):
            solved, proved = _milp(excess, misses.shares, misses.fixed, time_limit_s)
            if solved is not None:
                solved = _exchange(excess, misses, np.argsort(solved))
                a, b = misses.cost(excess[[order, solved]])
                order = solved if b < a - 1e-9 else order
                if proved:
                    method = "exact: SciPy milp (HiGHS)"
                elif b < a - 1e-9:
                    method = "SciPy milp (HiGHS), stopped at its time"
    u = u_mm or {}
    waiting = iter(
        Piece(
            name,
            cut_mm[name],
            planned,
            u.get(name, 0.0),
            across_mm[name] if across_mm else None,
            u.get(name, 0.0),
        )
        for name in (names[i] for i in order)
    )
    laid = [[next(waiting) if piece is None else piece for piece in row] for row in rows]
    check = check_rows(laid, seam_mm=seam_mm, tolerance_mm=tolerance_mm)
    words = tuple(tuple(p.name for p in row) for row in laid)
    return Arrangement(words, check.worst_mm, method, check)


@dataclass(frozen=True, eq=False)
class _Misses:
    """What an order misses by, each as shares (misses, 2 × places) of the blocks' excess.

    The first half of the shares is of what a block is too long along the row, the second across.
    `fixed` is the part that no order changes. `drift` and `drift_fixed` are the mismatches from
    the rows' start.
    """

    shares: Array
    fixed: Array
    drift: Array
    drift_fixed: Array

    def cost(self, excess: Array) -> Array:
        """Worst miss of each order, and a trace of its worst drift; `excess` is (orders, places, 2)."""
        flat = np.concatenate([excess[..., 0], excess[..., 1]], axis=1)
        return self.of(flat @ self.shares.T + self.fixed, flat @ self.drift.T + self.drift_fixed)

    def of(self, missed: Array, drifted: Array) -> Array:
        """Cost of misses and drifts along the last axis."""
        worst, drift = (np.abs(a).max(axis=-1, initial=0.0) for a in (missed, drifted))
        return np.asarray(worst + _DRIFT * drift)


def _misses(
    rows: Sequence[Sequence[Piece | None]], planned: float, across: float | None, seam_mm: float
) -> tuple[_Misses, NDArray[np.int_]]:
    """Every miss, and the places in an order in which blocks sorted by size lie above their like."""
    open_piece = Piece("", planned, planned, 0.0, across)
    filled = [[open_piece if p is None else p for p in row] for row in rows]
    open_ = [np.array([p is None for p in row]) for row in rows]
    first = np.cumsum([0] + [int(o.sum()) for o in open_])
    shares, fixed, drift, drift_fixed = [], [], [], []
    for r, (upper, lower) in enumerate(itertools.pairwise(filled)):
        before, before_fixed = np.zeros(2 * first[-1]), 0.0
        for a, sa, b, sb in meeting_marks(upper, lower, seam_mm):
            line = np.zeros(2 * first[-1])
            line[first[r] : first[r + 1]] = -sa[open_[r]]
            line[first[r + 1] : first[r + 2]] = sb[open_[r + 1]]
            off = b.position_mm - a.position_mm
            shares.append(line - before)
            fixed.append(off - before_fixed)
            drift.append(line)
            drift_fixed.append(off)
            before, before_fixed = line, off
    for r, row in enumerate(filled):
        place = first[-1] + first[r] + np.cumsum(open_[r]) - 1
        for i, (left, right) in enumerate(itertools.pairwise(row)):
            if left.across_mm is None or right.across_mm is None or not (open_[r][i : i + 2]).any():
                continue
            line = np.zeros(2 * first[-1])
            for k, sign in ((i, -0.5), (i + 1, 0.5)):
                if open_[r][k]:
                    line[place[k]] = sign
            shares.append(line)
            fixed.append((right.across_mm - left.across_mm) / 2)
    at = [
        (round(mark.planned_mm), r)
        for r, row in enumerate(filled)
        for (mark, _), here in zip(marks_of(row, seam_mm)[::2], open_[r], strict=True)
        if here
    ]
    columns = {x: i for i, x in enumerate(sorted({x for x, _ in at}))}
    keys = [(columns[x], -r if columns[x] % 2 else r) for x, r in at]
    order = np.array(sorted(range(len(keys)), key=keys.__getitem__))
    each = [np.array(lines).reshape(-1, 2 * first[-1]) for lines in (shares, drift)]
    return _Misses(each[0], np.array(fixed), each[1], np.array(drift_fixed)), order


def _exchange(excess: Array, misses: _Misses, places: NDArray[np.int_]) -> NDArray[np.int_]:
    """Blocks over the places in turn, then the best exchange of two while that helps."""
    order = np.empty(len(excess), dtype=int)
    order[places] = np.arange(len(excess))
    n, count = len(excess), len(misses.fixed)
    if not count:
        return order
    i, j = np.triu_indices(n, 1)
    i, j = (z[:: max(1, len(z) * count // _LOOKED_AT)] for z in (i, j))
    shares = np.vstack([misses.shares, misses.drift])
    fixed = np.append(misses.fixed, misses.drift_fixed)
    along, across = (part[:, i] - part[:, j] for part in (shares[:, :n], shares[:, n:]))
    for _ in range(30):
        now = shares @ excess[order].T.ravel() + fixed
        gain = excess[order[j]] - excess[order[i]]
        then = (now[:, None] + gain[:, 0] * along + gain[:, 1] * across).T
        cost = misses.of(then[:, :count], then[:, count:])
        k = int(cost.argmin())
        if cost[k] >= misses.of(now[:count], now[count:]) - 1e-9:
            break
        order[[i[k], j[k]]] = order[[j[k], i[k]]]
    return order


def _milp(
    excess: Array, shares: Array, fixed: Array, limit: float
) -> tuple[NDArray[np.int_] | None, bool]:
    """Assignment of block i to place k with the worst mismatch as the cost."""
    from scipy.optimize import Bounds, LinearConstraint  # takes long to load
    from scipy.sparse import csr_array

    n = len(excess)
    one = np.hstack(
        [np.vstack([np.kron(np.eye(n), np.ones(n)), np.tile(np.eye(n), n)]), np.zeros((2 * n, 1))]
    )
    along, across = (part[:, None] for part in (shares[:, :n], shares[:, n:]))
    meet = (along * excess[None, :, 0, None] + across * excess[None, :, 1, None]).reshape(
        len(fixed), -1
    )
    meet = np.hstack([np.vstack([meet, -meet]), np.full((2 * len(fixed), 1), -1.0)])
    found = milp(
        np.append(np.zeros(n * n), 1.0),
        constraints=[
            LinearConstraint(csr_array(one), 1, 1),
            LinearConstraint(csr_array(meet), -np.inf, np.append(-fixed, fixed)),
        ],
        integrality=np.append(np.ones(n * n), 0),
        bounds=Bounds(0, np.append(np.ones(n * n), np.inf)),
        options={"time_limit": limit, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        return None, False
    places = found.x[:-1].reshape(n, n).argmax(axis=1)
    if len(set(places)) < n:
        return None, False
    return np.argsort(places), found.status == 0
