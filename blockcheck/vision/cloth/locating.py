"""Where between two pixels the edge lies, along a path that is right to a pixel or two.

In linear light, where blur moves no edge, colours near the edge are mixtures of cloth with
whatever lies just outside it. The edge is where the part of cloth rises most steeply; print
that ends at the edge, and shadow beside it, change no part of cloth.
"""

from __future__ import annotations

import cv2
import numpy as np

from .mat_looks import LINEAR, dot, linear

_BLUR_PX = 1.4
_FINE_PX, _TOGETHER, _REACH_PX = 0.5, 9, 6.0  # see `_body`
_ALONG, _ROOT = 0.35, 0.6  # see `_unshaded`
_GUARD_PX, _BESIDE_MM = 2.5, 1.2  # blur, and what is looked at beyond it on both sides of an edge
_ABOUT_PX, _ABOUT_MM = 3.0, 0.35  # how well the path tells where the edge is
_LIGHT_NOISE = 0.004  # in linear light, at least
_CLEAR, _FAINT = 1.0, 0.1  # squared: cloth differs from mat by more than both vary


def located(
    sampled: np.ndarray,
    expected: np.ndarray,
    rows: np.ndarray,
    step: float,
    px_per_mm: float,
    sides: int,
    pieces: int,
) -> tuple[np.ndarray, np.ndarray]:
    """(S * N,) places of the edge to a fraction of a row, and where it is clear enough.

    Parameters
    ----------
    sampled : (T, S * N * k, 3) uint8 array
        Colours along lines across the sides, from outside to inside, `step` pixels apart.
    expected : (S * N, 3) array
        The plain mat's colour, grey levels.
    rows : (S * N,) int array
        The path.
    sides, pieces : int
        S, and how many pieces of all sides have looks of their own.

    The colours near the edge are mixtures of cloth with whatever lies just outside it: mat, ink,
    shade. The part of cloth is what a filter gives that knows, piece by piece, the way from mat
    to cloth, and is deaf to what varies outside and inside by itself (Fisher's discriminant).
    """
    count = len(rows)
    light = cv2.resize(
        cv2.LUT(sampled, LINEAR), (count, len(sampled)), interpolation=cv2.INTER_AREA
    )
    mat = linear(expected)
    seen = _unshaded(light, mat) - _unshaded(mat[None].astype(np.float32), mat)
    n = np.arange(count)
    per_mm = px_per_mm / step
    guard = max(2, round(_GUARD_PX / step))
    deep = guard + max(3, round(_BESIDE_MM * per_mm))
    k = np.arange(guard, deep)[:, None]

    def near(shift: np.ndarray) -> np.ndarray:
        """(S * N, R, 4) of every place."""
        return np.asarray(seen[np.clip(rows + shift, 0, len(seen) - 1), n].transpose(1, 0, 2))

    outside, inside = near(-k), near(k)
    way = inside.mean(axis=1)
    varied = inside - way[:, None]
    shape = (
        np.einsum("nri,nrj->nij", outside, outside) + np.einsum("nri,nrj->nij", varied, varied)
    ).reshape(pieces, -1, 4, 4).mean(axis=1) / len(k)
    level = np.linalg.norm(mat, axis=1).reshape(pieces, -1).mean(axis=1)
    shape += ((_LIGHT_NOISE + 0.02 * level) ** 2)[:, None, None] * np.eye(4)
    filtered = np.einsum("pij,pnj->pni", np.linalg.inv(shape), way.reshape(pieces, -1, 4)).reshape(
        -1, 4
    )
    signal = np.sum(filtered * way, axis=1)  # squared distance of cloth from mat, over both spreads
    filtered = (filtered / np.maximum(signal, 1e-9)[:, None]).astype(np.float32)
    part = np.einsum("tnc,nc->tn", seen, filtered)
    slope = _slope(part, step, _BLUR_PX)
    about = max(_ABOUT_PX, _ABOUT_MM * px_per_mm) / step
    near_by, further = (
        _crest(
            cv2.blur(slope.reshape(-1, count // sides), (k, 1)).reshape(slope.shape), rows, about
        )
        for k in (3, 9)
    )
    # where cloth is little unlike mat, neighbours tell more together
    place, told = np.where(signal > _CLEAR, near_by, further), signal > _FAINT * _CLEAR
    for own in np.split(n, sides):
        place[own] += _body(part[:, own], place[own], told[own], step)
    return place, told


def _body(part: np.ndarray, place: np.ndarray, told: np.ndarray, step: float) -> float:
    """Rows by which the body of a side's cloth ends further out than its places say.

    What is needed to find a place against its noise, a slope over some pixels, draws the edge out
    into the yarn ends beyond it. All places of a side together have little noise, and their mean
    is steepest where the body ends.
    """
    if told.sum() < len(told) / 4:
        return 0.0
    known = np.where(told, place, np.median(place[told]))
    around = np.pad(known, _TOGETHER // 2, mode="symmetric")  # SciPy's filter is slow to load
    middle = np.median(np.lib.stride_tricks.sliding_window_view(around, _TOGETHER), axis=1)
    n, reach = np.flatnonzero(told), round(_REACH_PX / step)
    at = middle[n] + np.arange(-reach, reach + 1)[:, None]
    row = np.clip(np.floor(at).astype(int), 0, len(part) - 2)
    share = at - row
    near = (1 - share) * part[row, n] + share * part[row + 1, n]
    mean = np.clip(near, -0.5, 1.5).mean(axis=1, keepdims=True)
    slope = _slope(mean.astype(np.float32), step, _FINE_PX)
    return max(0.0, float(_crest(slope, np.array([reach]), _ABOUT_PX / step)[0]) - reach)


def _unshaded(light: np.ndarray, mat: np.ndarray) -> np.ndarray:
    """Turn linear colours so that a shadow on the mat shows little.

    Shadow moves the mat's colour towards black only. Beside that direction a pixel shows the
    cloth's part of it and nothing else, so this counts in full; along it a dark cloth's edge
    would be drawn out into its own shadow, so this counts less, and its dark end more.
    """
    mat = mat.astype(np.float32)
    level = np.sqrt(dot(mat, mat))
    towards = mat / level[..., None]
    along = dot(light, towards)
    beside = light - along[..., None] * towards
    dark = level * np.clip(along / level, 0.02, 1) ** _ROOT / _ROOT + np.maximum(along - level, 0)
    return np.dstack([beside, _ALONG * dark]).astype(np.float32)


def _slope(part: np.ndarray, step: float, blur_px: float) -> np.ndarray:
    """Rise from outside to inside, per pixel of the photo."""
    s = blur_px / step
    u = np.arange(-round(3 * s), round(3 * s) + 1, dtype=float)
    kernel = u * np.exp(-(u**2) / (2 * s * s))
    kernel /= np.abs(kernel).sum() / 2
    return np.asarray(
        cv2.filter2D(part, -1, kernel[:, None].astype(np.float32), borderType=cv2.BORDER_REPLICATE)
    )


def _crest(height: np.ndarray, rows: np.ndarray, about: float) -> np.ndarray:
    """Highest place near each path row, by a parabola through three samples.

    `about` rows off it counts by 0.6, as for a place known to that.
    """
    n = np.arange(len(rows))
    off = np.arange(-round(0.8 * about), round(0.8 * about) + 1)[:, None]
    near = np.clip(rows + off, 1, len(height) - 2)
    likely = np.exp(-0.5 * (off / about) ** 2)
    top = near[(height[near, n] * likely).argmax(axis=0), n]
    for _ in range(2):  # up to the crest itself
        a, b, c = height[top - 1, n], height[top, n], height[top + 1, n]
        top = np.clip(top + (c > np.maximum(a, b)) - (a > np.maximum(b, c)), 1, len(height) - 2)
    a, b, c = height[top - 1, n], height[top, n], height[top + 1, n]
    bend = a - 2 * b + c
    shift = np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, -1), 0)
    return np.asarray(top + np.clip(shift, -0.5, 0.5))
