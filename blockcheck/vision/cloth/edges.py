"""One raw edge, followed in the photo's own pixels.

The photo is sampled along lines across the side. Where on each line mat gives way to cloth is
weighed by the colours of the whole line (`evidence`), and the path that explains all lines of a
side best is found by dynamic programming; near it the edge is located to a fraction of a pixel
(`locating`).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .evidence import MOST_CLOTH, MOST_MAT, Colours, evidence, log_cloth, log_mat
from .locating import located
from .looks import PIECES, Looks, learnt, nearest_kind
from .mat_looks import Mat, lookup, median_known
from .printed import Printed

BINS = {True: 120, False: 60}  # places along a side, fine and coarse
_SUB = {True: 4, False: 2}  # samples at each place
_WEIGHED = 2  # of these are weighed, and in fine steps every other row
_STIFF = 1.5  # price of moving by a pixel between neighbouring places
_FREE_PX = 1.5  # pixels nearer to each other tell the same
_GAP_MM = 1.5  # of plain mat: what lies beyond is another thing
_TOLD = 1.5  # evidence by which a place is told from another
_FRAYED_MM = 0.8  # spread of points that make no side
_YARN_MM = 3.5  # beyond the path: further out than yarns stand
_WINDOW_MM = 2.0  # how far both sides of an edge are judged
_NEAR_MM = (0.4, 5.0)  # from the edge, where these looks are learnt


@dataclass(frozen=True)
class Trace:
    """What was found along one side.

    Attributes
    ----------
    along : (N,) array
        Place along the side, 0 to 1.
    points_px : (N, 2) array
    good : (N,) bool array
        Trusted points.
    smooth_px : (N, 2) array
        The smooth curve through them.
    sigma_px : float
    spread_px : float
        Of the trusted points about the curve.
    blind_px : float
        How far across the edge the evidence does not tell mat from cloth.
    inside, outside : float
        Evidence for cloth inside and for mat outside, -1 to 1, median along the side.
    clear : float
        Fraction of the places where both sides of the edge are what they should be.
    littered : float
        Part of the outside, further off than yarns reach, that looks like cloth.
    barred : float
        Fraction of the path that lies on a card.
    moved : float
        How far the path is from where it was expected, at most, in pixels.
    px_per_mm : float
    fine : bool
    """

    along: np.ndarray
    points_px: np.ndarray
    good: np.ndarray
    smooth_px: np.ndarray
    sigma_px: float
    spread_px: float
    blind_px: float
    inside: float
    outside: float
    clear: float
    littered: float
    barred: float
    moved: float
    px_per_mm: float
    fine: bool

    @property
    def frayed(self) -> bool:
        """Whether the points lie too far apart for a side."""
        return self.spread_px > _FRAYED_MM * self.px_per_mm

    @property
    def support(self) -> float:
        """Fraction of the places that gave a trusted point."""
        return float(self.good.mean())


def trace(
    rgb: np.ndarray,
    mat: Mat,
    looks: Colours | Looks,
    base_px: np.ndarray,
    outward: np.ndarray,
    reach_px: tuple[float, float],
    px_per_mm: float,
    lines: Printed | None,
    barred: tuple[np.ndarray, int],
    fine: bool,
    doubt_px: float | None = None,
) -> tuple[list[Trace], Looks]:
    """Follow the edges along the curves of all sides.

    Parameters
    ----------
    looks : Colours or Looks
        What is known of the block's colours, or of those beside these sides.
    base_px : (S, N, 2) array
        Where each side's edge is expected.
    outward : (S, 2) array
        Unit vectors away from the block.
    reach_px : (float, float)
        How far to look outside and inside.
    lines : Printed or None
    barred : mask and its scale
        Not zero on cards: no edge is looked for there.
    fine : bool
        Half-pixel steps, and places to a fraction of a pixel.
    doubt_px : float or None
        How far the edges are off at most, where that is known: further out lies mat.
    """
    step = 0.5 if fine else max(1.5, 0.2 * px_per_mm)
    t = np.arange(reach_px[0], -reach_px[1] - step / 2, -step)  # from outside to inside
    sides, places = base_px.shape[:2]
    sampled, at = _profiles(rgb, base_px, outward, t, _SUB[fine])
    by_row, by_column = (2 if fine else 1), _SUB[fine] // _WEIGHED
    at = at[::by_row, ::by_column]
    colour = sampled[::by_row, ::by_column].astype(np.float32)
    apart = step * by_row
    zone = None if lines is None else lines.at(at)
    card = lookup(barred[0], at, barred[1]) > 0
    if isinstance(looks, Colours):
        expected = mat.first(at[len(at) // 2]).reshape(sides, PIECES, -1, 3).mean(axis=2)
        share = np.broadcast_to(looks.share, (sides, PIECES, len(looks.share)))
        looks = Looks(looks, share, expected, mat.sigma, mat.kinds)
    each = looks.cloth.log_each(colour)
    if doubt_px is not None:
        far = t[::by_row, None] + np.zeros(colour.shape[1])
        plain = (far > doubt_px) & ~card & (True if zone is None else zone == 0)
        looks, each = learnt(looks, colour, each, plain, far < -doubt_px)
    print_ = None
    if lines is not None and lines.colours is not None:
        print_ = lines.colours.log_mixed(colour)
    width = colour.shape[1] // (sides * PIECES)
    weighed = place_by_place = gained = np.zeros((0, 0), np.float32)
    rows, told, out_, in_ = np.zeros(0, int), np.zeros(0, bool), np.zeros(0), np.zeros(0)
    window, guard = max(4, round(_WINDOW_MM * px_per_mm / apart)), round(2 / apart)
    for learning in (False,) if fine else (False, True):
        if learning:
            sound = told.reshape(sides, -1).mean(axis=1) > 0.5
            plain, cloth = _beside(weighed, zone, rows, apart / px_per_mm)
            # what lies inside a path that is no edge may be mat
            cloth &= np.repeat(sound, cloth.shape[1] // sides)
            looks, each = learnt(looks, colour, each, plain, cloth, sound)
        expected = np.repeat(looks.mat.reshape(-1, 3), width, axis=0)
        share = np.repeat(looks.share.reshape(sides * PIECES, -1), width, axis=0)
        weighed = evidence(
            log_cloth(each, share),
            log_mat(colour, expected, looks.sigma, print_, zone, looks.kinds),
        )
        weighed[card] = -MOST_MAT
        place_by_place = cv2.resize(
            weighed, (sides * places, len(weighed)), interpolation=cv2.INTER_AREA
        )
        gained = _gained(place_by_place, sides, px_per_mm / apart)
        score = gained * min(1.0, apart / _FREE_PX)
        score = score.reshape(len(score), sides, places).transpose(1, 0, 2)
        rows = _best_path(score, _STIFF * apart, 3).ravel()
        out_, in_ = _both_sides(place_by_place, rows, window, guard)
        told = (in_ > 0.25 * MOST_CLOTH) & (out_ < -0.25 * MOST_MAT)
    n = np.arange(len(rows))
    beyond = np.arange(len(place_by_place))[:, None] < rows - _YARN_MM * px_per_mm / apart
    beyond[0] = True
    strong = (in_ > 0) & (out_ < 0) & (rows > 1) & (rows < len(score[0]) - 2)
    on_card = card[rows, n * _WEIGHED]
    strong &= ~on_card
    place = (rows - 0.5) * by_row
    if fine:
        expected = expected.reshape(len(rows), _WEIGHED, 3).mean(axis=1)
        # of a ground of several colours that which lies just outside
        beside = colour[np.maximum(rows - guard - window // 2, 0), n * _WEIGHED]
        expected = expected * looks.kinds[nearest_kind(beside, expected, looks.kinds)]
        place, clear = located(
            sampled, expected, rows * by_row, step, px_per_mm, sides, sides * PIECES
        )
        strong &= clear
    offset = np.interp(place, np.arange(len(t)), t)
    found, along = [], (np.arange(places) + 0.5) / places
    curves, spreads = smooth_curves(
        along, offset.reshape(sides, places), strong.reshape(sides, places)
    )
    for k, (smooth, spread) in enumerate(zip(curves, spreads.tolist(), strict=True)):
        own = slice(k * places, (k + 1) * places)
        off = offset[own]
        good = strong[own] & (
            np.abs(off - smooth) < np.clip(4 * spread, 1.5, 0.9 * px_per_mm + 1.5)
        )
        # neighbours share samples, so their differences would flatter the noise
        steps = (off[3:] - off[:-3])[good[3:] & good[:-3]]
        sigma = 1.4826 * float(np.median(np.abs(steps))) / np.sqrt(2) if len(steps) > 5 else spread
        found.append(
            Trace(
                along,
                base_px[k] + off[:, None] * outward[k],
                good,
                base_px[k] + smooth[:, None] * outward[k],
                max(sigma, 0.02),
                float(np.sqrt(np.mean((off - smooth)[good] ** 2))) if good.any() else spread,
                apart * _blind(gained[:, own], rows[own]),
                float(np.median(in_[own])) / MOST_CLOTH,
                -float(np.median(out_[own])) / MOST_MAT,
                float(told[own].mean()),
                float((place_by_place[:, own] > 0)[beyond[:, own]].mean()),
                float(on_card[own].mean()),
                float(np.abs(smooth).max()),
                px_per_mm,
                fine,
            )
        )
    return found, looks


def _gained(weighed: np.ndarray, sides: int, rows_per_mm: float) -> np.ndarray:
    """(T, S * N) evidence gained from the innermost row outwards to each row.

    Past a gap of plain mat it stays as it is: another thing begins there.
    """
    rows, columns = weighed.shape
    smooth = cv2.blur(np.ascontiguousarray(weighed.reshape(rows * sides, -1)), (3, 1)).reshape(
        rows, columns
    )
    summed = np.cumsum(smooth[::-1], axis=0)
    best = np.maximum.accumulate(summed, axis=0)
    gap = MOST_MAT * _GAP_MM * rows_per_mm
    ended = np.maximum.accumulate(best - summed > gap, axis=0)
    summed[ended] = (best - gap)[ended]
    return np.asarray(summed[::-1])


def _blind(gained: np.ndarray, rows: np.ndarray) -> float:
    """Rows over which a side's path could be moved and places lose less than `_TOLD` on average."""
    n, most = np.arange(len(rows)), len(gained)
    wide = 0
    for way in (-1, 1):
        for k in range(1, most):
            moved = np.clip(rows + way * k, 0, most - 1)
            if float(np.mean(gained[rows, n] - gained[moved, n])) > _TOLD:
                break
            wide += 1
    return float(wide)


def _beside(
    weighed: np.ndarray, zone: np.ndarray | None, rows: np.ndarray, mm_per_row: float
) -> tuple[np.ndarray, np.ndarray]:
    """(T, M) masks of what shows the plain mat just outside a path, and the cloth just inside."""
    depth = (np.arange(len(weighed))[:, None] - np.repeat(rows, _WEIGHED)) * mm_per_row
    near, far = _NEAR_MM
    plain = (depth < -near) & (depth > -far) & (weighed < -0.5 * MOST_MAT)
    if zone is not None:
        plain &= zone == 0
    return plain, (depth > near) & (depth < far) & (weighed > -0.5 * MOST_MAT)


def _profiles(
    rgb: np.ndarray, base_px: np.ndarray, outward: np.ndarray, t: np.ndarray, each: int
) -> tuple[np.ndarray, np.ndarray]:
    """(T, S * N * each, 3) colours and (T, S * N * each, 2) where they are sampled."""
    places = np.arange(base_px.shape[1])
    n = (np.arange(len(places) * each) + 0.5) / each - 0.5
    dense = np.stack([[np.interp(n, places, x) for x in side.T] for side in base_px])
    at = _places(dense.transpose(0, 2, 1), outward, t)
    sampled = cv2.remap(rgb, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return sampled, at


def _places(base_px: np.ndarray, outward: np.ndarray, t: np.ndarray) -> np.ndarray:
    """(T, S * N, 2) float32 places at distances `t` from (S, N, 2) ones."""
    sides, places = base_px.shape[:2]
    at = np.empty((len(t), sides * places, 2), np.float32)
    for i in (0, 1):  # one coordinate at a time keeps the inner loop long
        away = t[:, None] * np.repeat(outward[:, i], places)
        np.add(base_px[:, :, i].ravel().astype(np.float32), away.astype(np.float32), out=at[..., i])
    return at


def _both_sides(
    weighed: np.ndarray, rows: np.ndarray, window: int, guard: int
) -> tuple[np.ndarray, np.ndarray]:
    """Mean evidence of the window before (outside) and after (inside) each path row."""
    n = np.arange(len(rows))
    summed = np.vstack([np.zeros((1, len(rows))), np.cumsum(weighed, axis=0)])

    def mean(first: np.ndarray, last: np.ndarray) -> np.ndarray:
        a, b = (np.clip(x, 0, len(weighed)) for x in (first, last))
        return np.asarray((summed[b, n] - summed[a, n]) / np.maximum(b - a, 1))

    return mean(rows - guard - window, rows - guard), mean(rows + guard, rows + guard + window)


def _best_path(score: np.ndarray, stiffness: float, moves: int) -> np.ndarray:
    """(S, N) row at each column of (S, T, N) of the path with the greatest sum on each side.

    Each row that a path moves costs `stiffness` (Viterbi's dynamic programming).
    """
    sides, rows, columns = score.shape
    shifts = np.arange(2 * moves + 1)
    price = (stiffness * np.abs(shifts - moves)).astype(np.float32)
    # the best sum of a path to each place, with a margin that no path reaches
    reached = np.full((columns, sides, rows + 2 * moves), -1e9, np.float32)
    own = reached[:, :, moves : moves + rows]
    near = np.lib.stride_tricks.sliding_window_view(reached, rows, axis=2)
    own[0] = score[:, :, 0]
    for c in range(1, columns):
        own[c] = (near[c - 1] - price[:, None]).max(axis=1) + score[:, :, c]
    path = np.empty((sides, columns), int)
    path[:, -1] = own[-1].argmax(axis=1)
    each = np.arange(sides)[:, None]
    for c in range(columns - 1, 0, -1):
        came = reached[c - 1, each, path[:, c, None] + shifts] - price
        path[:, c - 1] = path[:, c] + came.argmax(axis=1) - moves
    return path


def smooth_curves(
    along: np.ndarray, offset: np.ndarray, use: np.ndarray, degree: int = 4
) -> tuple[np.ndarray, np.ndarray]:
    """Robust low-order curves (S, N) through the offsets of all sides, and their spreads (S,)."""
    A = np.polynomial.legendre.legvander(2 * along - 1, degree)
    w = use.astype(float)
    ridge = np.diag([0, 0, 0.3, 1.0, 1.0][: degree + 1]) + 1e-9 * np.eye(degree + 1)
    r, spread = offset, np.ones((len(offset), 1))
    for k in range(8):
        Aw = A * w[..., None]
        c = np.linalg.solve(A.T @ Aw + ridge, Aw.transpose(0, 2, 1) @ offset[..., None])
        r = offset - (A @ c)[..., 0]
        spread = 1.4826 * median_known(np.where(use, np.abs(r), np.nan)) + 0.05
        # absolute values first, so that a long wrong stretch does not hold the start
        scale = np.abs(r) / (spread if k < 3 else 3 * spread)
        w = use / np.maximum(scale, 1) if k < 3 else use * np.clip(1 - scale**2, 0, None) ** 2
    few = use.sum(axis=1, keepdims=True) < 4 * (degree + 1)
    level = np.median(offset, axis=1, keepdims=True)
    spread = np.where(few, np.std(offset, axis=1, keepdims=True) + 0.1, spread)
    return np.where(few, level, offset - r), spread[:, 0]
