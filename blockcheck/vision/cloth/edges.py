"""One raw edge, followed in the photo's own pixels.

The photo is sampled along lines across the side, and averaged over a few pixels along it.
In these profiles cloth begins at a sharp step with mat on its outer side: the path of such
steps that holds together best along the whole side is found by dynamic programming, then
located to a fraction of a pixel in linear light, where blur moves no edge. A shadow dims the
mat and keeps its hue: where its end is sharp all the same, the cloth begins where the hue changes.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .mat_looks import LINEAR, Mat, Printed, dot, linear, lookup

BINS = {True: 120, False: 60}  # places along a side, fine and coarse
_SUB = 4  # samples averaged at each place
_BLUR_PX = 1.4
_ALONG, _ROOT = 0.35, 0.6  # see `_unshaded`
_STIFF = 0.35  # price of moving by a pixel between neighbouring places
_WINDOW_MM = 2.0  # how far the ground on both sides of an edge is judged
_SHADOW_MM = 0.5  # about the cloth's height above the mat
_SHADOWS_MM = (0.2, 1.2)  # how wide a shadow may be that was taken for cloth
_DIM = 0.95  # of the mat's brightness: what is less is in the shadow
_PIECES = 12  # of a side: averaged, each shows where the hue changes


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
    strength : float
        Mean sharpness along the path, 0 to 1; about 0.2 where there is no edge.
    barred : float
        Fraction of the path that lies on a card.
    on_lines : float
        Fraction of the path that lies on printed lines.
    contrast : float
        How much less like mat it is inside than outside, 0 to 1.
    outside : float
        How unlike mat it is outside, 0 to 1 (median).
    spill : float
        The same as a mean: what of the outside may still be cloth.
    busy : float
        Fraction of all places looked at that are sharp and not printed.
    moved : float
        How far the path is from where it was expected, at most, in pixels.
    fine : bool
    """

    along: np.ndarray
    points_px: np.ndarray
    good: np.ndarray
    smooth_px: np.ndarray
    sigma_px: float
    strength: float
    barred: float
    on_lines: float
    contrast: float
    outside: float
    spill: float
    busy: float
    moved: float
    fine: bool

    @property
    def support(self) -> float:
        """Fraction of the places that gave a trusted point."""
        return float(self.good.mean())


def trace(
    rgb: np.ndarray,
    mat: Mat,
    base_px: np.ndarray,
    outward: np.ndarray,
    reach_px: float,
    px_per_mm: float,
    lines: Printed | None,
    barred: tuple[np.ndarray, int],
    fine: bool,
) -> list[Trace]:
    """Follow the edges along the curves of all sides.

    Parameters
    ----------
    base_px : (S, N, 2) array
        Where each side's edge is expected.
    outward : (S, 2) array
        Unit vectors away from the block.
    reach_px : float
        How far to look on both sides of an edge.
    lines : Printed or None
    barred : mask and its scale
        Not zero on cards: no edge is looked for there.
    fine : bool
        Half-pixel steps, and places to a fraction of a pixel.
    """
    step = 0.5 if fine else 1.0
    t = np.arange(reach_px, -reach_px - step / 2, -step)  # from outside to inside
    sides, places = base_px.shape[:2]

    def by_side(x: np.ndarray) -> np.ndarray:
        """View columns, which follow each other side after side, as (..., S, N)."""
        return x.reshape(*x.shape[:1], sides, places, *x.shape[2:])

    def blur_along(x: np.ndarray) -> np.ndarray:
        apart = np.ascontiguousarray(x).reshape(-1, places, *x.shape[2:])
        return cv2.blur(apart, (3, 1)).reshape(x.shape)

    sampled, at = _profiles(rgb, base_px, outward, t)
    colour = _average(sampled.astype(np.float32))
    expected = mat.colours(base_px.reshape(-1, 2))[None]  # the same so near to the edge
    printed = np.zeros(at.shape[:2], bool)
    if lines is not None:
        printed = lines.on(at)
        colour = lines.taken_off(colour, expected, printed, mat.limit)
    slope = blur_along(_slope(colour, step))
    # the lower quartile: an edge or a line of print among the rows must not pass for noise
    noise = np.percentile(np.abs(by_side(slope[::2])), 25, axis=(0, 2, 3)) / 0.3186 + 0.05
    height = np.sqrt(dot(slope, slope) / 3) / np.repeat(noise, places).astype(np.float32)
    sharp = np.clip((height - 1.5) / 5, 0, 1)
    # of two steps as near as the cloth's edge and the end of its shadow the higher one is the edge
    around = round(max(3, _SHADOW_MM * px_per_mm) / step)
    crest = cv2.dilate(height, np.ones((2 * around + 1, 1), np.uint8))
    sharp *= 0.4 + 0.6 * height / np.maximum(crest, 1e-6)
    unlike = mat.unlike(cv2.blur(blur_along(colour), (1, 2 * round(1 / step) + 1)), expected)
    ground = np.median(by_side(unlike[: max(4, len(t) // 4)]), axis=(0, 2))
    ground = np.repeat(np.minimum(ground, 2 * mat.limit), places)
    unlike = np.clip((unlike - ground - 0.5 * mat.limit) / (1.5 * mat.limit), 0, 1)
    # a printed line tells nothing about what it lies on
    outside, inside = _both_sides(
        unlike, ~printed, max(4, round(_WINDOW_MM * px_per_mm / step)), round(2 / step)
    )
    near = _both_sides(unlike, ~printed, max(3, round(0.7 * px_per_mm / step)), round(2 / step))[0]
    score = (
        sharp * np.where(printed, 0.7 if fine else 0.15, 1.0)
        + 0.9 * (inside - np.maximum(outside, near))
        + 0.1 * (t / reach_px)[:, None]
    )
    rows = _best_path(by_side(score).transpose(1, 0, 2), _STIFF * step, 3).ravel()
    n = np.arange(len(rows))
    place = rows.astype(float)
    if fine:
        inwards = _past_shadow(colour, expected[0], rows, sides, px_per_mm / step, mat.limit)
        rows = np.minimum(rows + inwards, len(t) - 1)
        light = _average(cv2.LUT(sampled, LINEAR))
        if lines is not None:
            # a grey level near the mat's is so much in linear light
            level = float(np.mean(linear(expected + 4) - linear(expected - 4))) / 8
            light = lines.in_linear_light().taken_off(
                light, linear(expected), printed, level * mat.limit
            )
        light = blur_along(_slope(_unshaded(light, expected), step))
        place = _crest(np.sqrt(np.einsum("tnc,tnc->tn", light, light)), rows, round(2 / step))
    offset = np.interp(place, np.arange(len(t)), t)
    contrast = (inside - outside)[rows, n]
    strong = (
        ((sharp[rows, n] > 0.3) | ((contrast > 0.6) & (sharp[rows, n] > 0.08)))
        & (rows > 1)
        & (rows < len(t) - 2)
    )
    on_card = lookup(barred[0], at[rows, n], barred[1]) > 0
    strong &= ~on_card
    busy = by_side((sharp > 0.5) & ~printed)
    found = []
    for k in range(sides):
        own = slice(k * places, (k + 1) * places)
        off, along = offset[own], (np.arange(places) + 0.5) / places
        smooth, spread = smooth_curve(along, off, strong[own])
        good = strong[own] & (
            np.abs(off - smooth) < np.clip(4 * spread, 1.5, 0.9 * px_per_mm + 1.5)
        )
        # neighbours share samples, so their differences would flatter the noise
        steps = (off[3:] - off[:-3])[good[3:] & good[:-3]]
        sigma = 1.4826 * float(np.median(np.abs(steps))) / np.sqrt(2) if len(steps) > 5 else spread
        path = rows[own], n[own]
        found.append(
            Trace(
                along,
                base_px[k] + off[:, None] * outward[k],
                good,
                base_px[k] + smooth[:, None] * outward[k],
                max(sigma, 0.02),
                float(sharp[path].mean()),
                float(on_card[own].mean()),
                float(printed[path].mean()),
                float(contrast[own].mean()),
                float(np.median(outside[path])),
                float(outside[path].mean()),
                float(busy[:, k].mean()),
                float(np.abs(smooth).max()),
                fine,
            )
        )
    return found


def _past_shadow(
    colour: np.ndarray,
    expected: np.ndarray,
    rows: np.ndarray,
    sides: int,
    rows_per_mm: float,
    limit: float,
) -> np.ndarray:
    """(S * N,) rows to move inwards by, where a path lies on the outer end of a shadow.

    There the mat grows darker without another hue; the cloth begins where the hue changes, or
    where it is brighter than the mat, half as much as further in.
    """
    least, most = (round(mm * rows_per_mm) for mm in _SHADOWS_MM)
    k = np.arange(-most, round(_WINDOW_MM * rows_per_mm) + 1)[:, None]
    near = np.clip(rows + k, 0, len(colour) - 1)
    pieces = (sides * _PIECES, -1, 3)
    seen = colour[near, np.arange(len(rows))].reshape(len(k), *pieces).mean(axis=2)
    mat = expected.reshape(pieces).mean(axis=1)
    power = dot(mat, mat)
    gain = dot(seen, mat) / power
    hue = seen - gain[..., None] * mat
    outside = k[:, 0] < -least
    hue -= np.median(hue[outside], axis=0)
    gain /= np.median(gain[outside], axis=0)
    off = np.sqrt(dot(hue, hue) + np.clip(gain - 1, 0, None) ** 2 * power)
    noise = 1.4826 * np.median(off[outside], axis=0)
    level = np.median(off[k[:, 0] > most], axis=0)
    begins = (off > 0.5 * level) & (k >= -least)
    cloth = np.where(begins.any(axis=0), k[begins.argmax(axis=0), 0], 0)
    between = (k >= 0) & (k < cloth)
    shade = np.sum(gain * between, axis=0) / np.maximum(between.sum(axis=0), 1)
    between &= k <= np.maximum(cloth - 3, 0)  # further in, blur mixes the hues
    still = np.sum(off * between, axis=0) / np.maximum(between.sum(axis=0), 1)
    shadow = (
        (level > np.maximum(limit, 5 * noise))
        & (still < np.maximum(0.05 * level, 3 * noise))
        & (cloth > least)
        & (cloth <= most)
        & (shade < _DIM)
    )
    return np.repeat(np.where(shadow, cloth, 0), len(rows) // len(mat))


def _profiles(
    rgb: np.ndarray, base_px: np.ndarray, outward: np.ndarray, t: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(T, S * N * _SUB, 3) colours, and (T, S * N, 2) where each average is centred."""
    places = np.arange(base_px.shape[1])
    n = (np.arange(len(places) * _SUB) + 0.5) / _SUB - 0.5
    dense = np.stack([[np.interp(n, places, x) for x in side.T] for side in base_px])
    at = _places(dense.transpose(0, 2, 1), outward, t)
    sampled = cv2.remap(rgb, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return sampled, _places(base_px, outward, t)


def _places(base_px: np.ndarray, outward: np.ndarray, t: np.ndarray) -> np.ndarray:
    """(T, S * N, 2) float32 places at distances `t` from (S, N, 2) ones."""
    sides, places = base_px.shape[:2]
    at = np.empty((len(t), sides * places, 2), np.float32)
    for i in (0, 1):  # one coordinate at a time keeps the inner loop long
        away = np.repeat(outward[:, i], places)
        at[..., i] = base_px[:, :, i].ravel() + t[:, None] * away
    return at


def _average(sampled: np.ndarray) -> np.ndarray:
    size = (sampled.shape[1] // _SUB, len(sampled))
    return cv2.resize(sampled, size, interpolation=cv2.INTER_AREA)


def _unshaded(light: np.ndarray, expected: np.ndarray) -> np.ndarray:
    """Turn linear colours so that a shadow on the mat shows little.

    Shadow moves the mat's colour towards black only. Beside that direction a pixel shows the
    cloth's part of it and nothing else, so this counts in full; along it a dark cloth's edge
    would be drawn out into its own shadow, so this counts less, and its dark end more.
    """
    mat = linear(expected).astype(np.float32)
    level = np.sqrt(dot(mat, mat))
    towards = mat / level[..., None]
    along = dot(light, towards)
    beside = light - along[..., None] * towards
    dark = level * np.clip(along / level, 0.02, 1) ** _ROOT / _ROOT + np.maximum(along - level, 0)
    return np.dstack([beside, _ALONG * dark]).astype(np.float32)


def _slope(colour: np.ndarray, step: float) -> np.ndarray:
    s = _BLUR_PX / step
    u = np.arange(-round(3 * s), round(3 * s) + 1, dtype=float)
    kernel = u * np.exp(-(u**2) / (2 * s * s))
    kernel /= np.abs(kernel).sum() / 2
    return np.asarray(
        cv2.filter2D(
            colour, -1, kernel[:, None].astype(np.float32), borderType=cv2.BORDER_REPLICATE
        )
    )


def _both_sides(
    unlike: np.ndarray, counts: np.ndarray, window: int, guard: int
) -> tuple[np.ndarray, np.ndarray]:
    """Mean of the window before (outside) and after (inside) each row, over what counts."""
    rows, reach = len(unlike), guard + window

    def sums(x: np.ndarray) -> np.ndarray:
        """Over the window that begins at each row, from `reach` rows before the first."""
        around = cv2.copyMakeBorder(x, reach, guard, 0, 0, cv2.BORDER_CONSTANT, value=0)
        return cv2.boxFilter(
            around, -1, (1, window), anchor=(0, 0), normalize=False, borderType=cv2.BORDER_CONSTANT
        )

    counted = counts.astype(np.float32)
    means = sums(unlike.astype(np.float32) * counted) / np.maximum(sums(counted), 1)
    return means[:rows], means[reach + guard :]


def _best_path(score: np.ndarray, stiffness: float, moves: int) -> np.ndarray:
    """(S, N) row at each column of (S, T, N) of the path with the greatest sum on each side.

    Each row that a path moves costs `stiffness` (Viterbi's dynamic programming).
    """
    sides, rows, columns = score.shape
    shifts = np.arange(-moves, moves + 1)
    price = stiffness * np.abs(shifts)[:, None]
    best = score[:, :, 0]
    came = np.zeros((columns, sides, rows), np.int8)
    padded = np.full((sides, rows + 2 * moves), -1e9)
    windows = np.lib.stride_tricks.sliding_window_view(padded, rows, axis=1)
    for c in range(1, columns):
        padded[:, moves : moves + rows] = best
        options = windows - price
        came[c] = options.argmax(axis=1)
        best = options.max(axis=1) + score[:, :, c]
    path = np.empty((sides, columns), int)
    path[:, -1] = best.argmax(axis=1)
    each = np.arange(sides)
    for c in range(columns - 1, 0, -1):
        path[:, c - 1] = path[:, c] + shifts[came[c, each, path[:, c]]]
    return path


def _crest(height: np.ndarray, rows: np.ndarray, reach: int) -> np.ndarray:
    """Highest place near each path row, by a parabola through three samples."""
    n = np.arange(len(rows))
    near = np.clip(rows[None] + np.arange(-reach, reach + 1)[:, None], 1, len(height) - 2)
    top = near[height[near, n].argmax(axis=0), n]
    a, b, c = height[top - 1, n], height[top, n], height[top + 1, n]
    bend = a - 2 * b + c
    shift = np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, -1), 0)
    return np.asarray(top + np.clip(shift, -0.5, 0.5))


def smooth_curve(
    along: np.ndarray, offset: np.ndarray, use: np.ndarray, degree: int = 4
) -> tuple[np.ndarray, float]:
    """Robust low-order curve through the offsets, and their spread about it."""
    if use.sum() < 4 * (degree + 1):
        return np.full_like(offset, float(np.median(offset))), float(np.std(offset)) + 0.1
    A = np.polynomial.legendre.legvander(2 * along - 1, degree)
    w = use.astype(float)
    ridge = np.diag([0, 0, 0.3, 1.0, 1.0][: degree + 1]) + 1e-9 * np.eye(degree + 1)
    spread = 1.0
    for k in range(8):
        Aw = A * w[:, None]
        r = offset - A @ np.linalg.solve(A.T @ Aw + ridge, Aw.T @ offset)
        spread = 1.4826 * float(np.median(np.abs(r[use]))) + 0.05
        # absolute values first, so that a long wrong stretch does not hold the start
        scale = np.abs(r) / (spread if k < 3 else 3 * spread)
        w = use / np.maximum(scale, 1) if k < 3 else use * np.clip(1 - scale**2, 0, None) ** 2
    return np.asarray(offset - r), spread
