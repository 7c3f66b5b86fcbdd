"""The rectangle on the mat's plane that a patch of the small picture fills best.

A block is nearly a rectangle, whatever sticks to it in the picture: a thread, a ruler, a printed
line. So it is not the patch's hull that counts, but the rectangle with most of the patch in it
and most of what is no patch outside; it grows from the largest square that lies in the patch.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from .small_picture import CLOTH_MM, PlaneLike, Small

_GAP_MM = 4.0  # of rows mostly bare: there a block ends
_CROOKED = 0.13  # a side's slope: more than that of any block
_SAME = 1.0  # degrees: turns that tell the same
_SLACK = 0.06  # of a rectangle's size: how far a crooked side leaves it


@dataclass(frozen=True)
class _Turned:
    """A patch laid flat and turned: one more is in it, minus one is not."""

    score: np.ndarray
    mm_of: np.ndarray  # (3, 3), millimetres of its pixels
    step_mm: float


def fill_best(patch: np.ndarray, small: Small, plane: PlaneLike) -> tuple[np.ndarray, float] | None:
    """Corners of the four-sided figure that a patch fills best, in order, and how full it is.

    Parameters
    ----------
    patch : (h, w) uint8 array
        Of the small picture's pixels.

    Returns
    -------
    (4, 2) array of photo pixels, float; or None
    """
    contours, _ = cv2.findContours(patch, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outer = max(contours, key=cv2.contourArea)
    rim = outer[:, 0]
    if len(rim) < 20:
        return None
    patch = cv2.drawContours(np.zeros_like(patch), [outer], -1, 1, cv2.FILLED)
    x, y, w, h = cv2.boundingRect(rim)
    around = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], np.float32)
    flat = plane.mm_from_px(small.to_photo(around), CLOTH_MM).astype(np.float32)
    if not np.isfinite(flat).all():
        return None
    to_mm = cv2.getPerspectiveTransform(around, flat)
    rim_mm = cv2.perspectiveTransform(rim[:, None].astype(np.float32), to_mm)[:, 0]
    step = float(np.sqrt(cv2.contourArea(flat) / (w * h)))
    if not 0.05 < step < 20 or np.ptp(rim_mm, axis=0).max() > 1500 * step:
        return None
    best, at = None, -1.0
    for turn in _turns(rim_mm):
        turned = _flatten(patch, to_mm, rim_mm, turn, step)
        box = _grow(turned.score, _GAP_MM / step)
        if box is None:
            continue
        u0, u1, v0, v1 = box
        total = float(turned.score[v0:v1, u0:u1].sum(dtype=np.int64))
        if total > at:
            best, at = (turned, box), total
    if best is None:
        return None
    corners = _crooked(*best)
    if corners is None:
        return None
    corners_mm = cv2.perspectiveTransform(corners[:, None], best[0].mm_of)[:, 0]
    on_patch = cv2.perspectiveTransform(corners_mm[:, None], np.linalg.inv(to_mm))[:, 0]
    inside = np.zeros(patch.shape, np.uint8)
    cv2.fillPoly(inside, [np.round(on_patch).astype(np.int32)], 1)
    if not inside.any():
        return None
    return small.to_photo(on_patch), float(patch[inside > 0].mean())


def _turns(rim_mm: np.ndarray) -> list[float]:
    """Angles to try, radians: those in which the rim runs, and that of the box around it."""
    reach = max(3, len(rim_mm) // 60)
    chord = np.roll(rim_mm, -reach, axis=0) - rim_mm
    angle = np.degrees(np.arctan2(chord[:, 1], chord[:, 0])) % 90
    count = np.bincount(angle.astype(int), minlength=90)[:90].astype(float)
    wide = sum(np.roll(count, k) for k in range(-2, 3))
    box = cv2.minAreaRect(rim_mm.astype(np.float32))[2] % 90
    first = [float(np.argmax(wide)) + 0.5, box]
    if abs((first[0] - first[1] + 45) % 90 - 45) < _SAME:  # the rim's whole degrees are coarser
        first = first[1:]
    return [np.radians(a + d) for a in first for d in (-2.5, 0.0, 2.5)]


def _flatten(
    patch: np.ndarray, to_mm: np.ndarray, rim_mm: np.ndarray, turn: float, step: float
) -> _Turned:
    c, s = np.cos(turn), np.sin(turn)
    turned = rim_mm @ np.array([[c, -s], [s, c]])
    low, high = turned.min(axis=0) - 3 * step, turned.max(axis=0) + 3 * step
    to_pixels = np.array([[c, s, -low[0]], [-s, c, -low[1]], [0, 0, step]]) / step
    size = np.ceil((high - low) / step).astype(int)
    score = cv2.warpPerspective(
        patch, to_pixels @ to_mm, (int(size[0]), int(size[1])), flags=cv2.INTER_NEAREST
    )
    return _Turned(2 * score.astype(np.int8) - 1, np.linalg.inv(to_pixels), step)


def _grow(score: np.ndarray, gap: float) -> tuple[int, int, int, int] | None:
    """Columns from, to and rows from, to of the box with the greatest sum about the seed."""
    depth = cv2.distanceTransform((score > 0).astype(np.uint8), cv2.DIST_C, 3)
    _, r, _, (x, y) = cv2.minMaxLoc(depth)
    half = int(r) - 1
    if half < 2:
        return None
    seed_u, seed_v = (x - half, x + half + 1), (y - half, y + half + 1)
    u, v = seed_u, seed_v
    for _ in range(4):
        before = u, v
        v = _longest(score[:, u[0] : u[1]].mean(axis=1), seed_v, gap)
        u = _longest(score[v[0] : v[1]].mean(axis=0), seed_u, gap)
        if (u, v) == before:
            break
    return u[0], u[1], v[0], v[1]


def _longest(mean: np.ndarray, seed: tuple[int, int], gap: float) -> tuple[int, int]:
    """Extend from, to both ways as far as the sum grows, over no gap."""

    def further(along: np.ndarray) -> int:
        if not len(along):
            return 0
        bare = np.convolve(along < -0.3, np.ones(int(gap) + 1), "full")[: len(along)]
        stop = int(np.argmax(bare > gap)) if (bare > gap).any() else len(along)
        sums = np.concatenate([[0.0], np.cumsum(along[:stop])])
        return int(np.argmax(sums))

    return seed[0] - further(mean[: seed[0]][::-1]), seed[1] + further(mean[seed[1] :])


def _crooked(turned: _Turned, box: tuple[int, int, int, int]) -> np.ndarray | None:
    """(4, 2) corners where straight lines through the patch's own four edges meet."""
    u0, u1, v0, v1 = box
    lines = []
    # turned so that each side in its turn is the top one: top, right, bottom, left
    for k in range(4):
        score = np.rot90(turned.score, k)
        h, w = score.shape
        if k % 2 == 0:
            (a, b), (top, low) = (
                ((u0, u1), (v0, v1)) if k == 0 else ((w - u1, w - u0), (h - v1, h - v0))
            )
        else:
            (a, b), (top, low) = (
                ((v0, v1), (h - u1, h - u0)) if k == 1 else ((w - v1, w - v0), (u0, u1))
            )
        reach = int(max(4, min(_SLACK * (low - top) + 3, (low - top) / 3)))
        first, last = max(0, top - reach), min(h, top + reach)
        trim = max(1, int(0.05 * (b - a)))
        sums = np.cumsum(score[first:last, a + trim : b - trim][::-1], axis=0, dtype=np.int32)
        if sums.size == 0 or sums.shape[1] < 6:
            return None
        at = last - 1 - np.argmax(sums, axis=0) - 0.5
        along = np.arange(a + trim, b - trim, dtype=float)
        slope, start = _line(along, at)
        if abs(slope) > _CROOKED:  # no side of a block
            slope, start = 0.0, float(np.median(at))
        ends = np.array([[0.0, start], [1.0, start + slope]])
        lines.append(_unturned(ends, k, turned.score.shape))
    corners = []
    for (p, q), (r, s) in zip(np.roll(lines, 1, axis=0), lines, strict=True):
        M = np.stack([q - p, r - s], axis=1)
        if abs(np.linalg.det(M)) < 1e-6:
            return None
        corners.append(p + np.linalg.solve(M, r - p)[0] * (q - p))
    return np.array(corners)


def _unturned(points: np.ndarray, k: int, shape: tuple[int, ...]) -> np.ndarray:
    """Points x, y of a picture turned k times by `np.rot90`, in the picture itself."""
    h, w = shape
    x, y = points.T
    back = ((x, y), (w - 1 - y, x), (w - 1 - x, h - 1 - y), (y, h - 1 - x))[k]
    return np.stack(back, axis=1)


def _line(x: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Slope and start of a line through most of the points (least absolute distances)."""
    weight = np.ones(len(x))
    slope = start = 0.0
    for _ in range(12):
        total = weight.sum()
        middle, level = weight @ x / total, weight @ y / total
        away = weight * (x - middle)
        slope = away @ (y - level) / max(away @ (x - middle), 1e-12)
        start = level - slope * middle
        weight = 1 / np.maximum(np.abs(y - slope * x - start), 0.3)
    return float(slope), float(start)
