"""Straight segments of the photo, and what they say of a lattice: level, turn, pitch, phase.

Line segments are found by LSD (von Gioi et al., IPOL 2012).
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from ..photo import coarse
from ..plane.lens import Camera, LensPrior

_ALIKE = 0.02  # radians between segments of one direction
_PITCH_STEP = 0.0025  # of a spacing whose scale is unsure
_ONE_COLOUR = 20.0  # grey levels, over three channels: light and noise on one ground


def segments_of(gray: np.ndarray, box: tuple[int, int, int, int] | None = None) -> np.ndarray:
    """(N, 2, 2) ends of straight line segments, in the photo's pixels.

    Parameters
    ----------
    gray : (H, W) uint8 array
    box : (left, top, right, bottom), optional
        Look only there.
    """
    left, top, right, bottom = box or (0, 0, gray.shape[1], gray.shape[0])
    step = max(1, round(max(gray.shape) / 1000))
    small = coarse(gray[top:bottom, left:right], step)
    lines = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE).detect(small)[0]
    if lines is None:
        return np.zeros((0, 2, 2))
    return (lines.reshape(-1, 2, 2).astype(float) + 0.5) * step - 0.5 + (left, top)


def on_one_ground(rgb: np.ndarray, segments_px: np.ndarray) -> np.ndarray:
    """(N,) whether a segment is of a thin line with the commonest colour on both of its sides.

    A printed line lies on the mat; the edge of a stripe, or of cloth, has two colours.
    """
    step = max(1, round(max(rgb.shape) / 1000))
    small = coarse(rgb, step)
    along = segments_px[:, 1] - segments_px[:, 0]
    length = np.linalg.norm(along, axis=1)
    normal = np.column_stack([along[:, 1], -along[:, 0]]) / np.maximum(length, 1e-9)[:, None]
    places = segments_px[:, :1] + np.array([0.25, 0.5, 0.75])[:, None] * along[:, None]
    sides = []
    for away in (4, -4):
        at = (places + away * step * normal[:, None] + 0.5) / step - 0.5
        seen = cv2.remap(
            small, at.astype(np.float32), None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        sides.append(np.median(seen, axis=1))
    thin = np.linalg.norm(sides[0] - sides[1], axis=1) < _ONE_COLOUR
    if not thin.any():
        return thin
    ground = (sides[0] + sides[1])[thin] / 2
    tried = ground[_some(len(ground))]
    near = np.linalg.norm(tried[:, None] - ground[None], axis=2) < 2 * _ONE_COLOUR
    mat = tried[int(np.argmax(near @ length[thin]))]
    thin[thin] = np.linalg.norm(ground - mat, axis=1) < 2 * _ONE_COLOUR
    return thin


def likely_lattices(
    camera: Camera,
    segments_px: np.ndarray,
    spacings: Sequence[float],
    centre: np.ndarray,
    reach_mm: float,
    unsure: float = 0.0,
) -> list[tuple[np.ndarray, float]]:
    """Likely lattices near `centre`: (2, 3) affine (plane mm from lattice units) and spacing.

    Parameters
    ----------
    camera : Camera
    segments_px : (N, 2, 2) array
    spacings : sequence of float
    centre : (2,) array
    reach_mm : float
        How far segments count, as one sigma.
    unsure : float
        By how much the camera's scale may be wrong, each way by itself.
    """
    if len(segments_px) < 8:
        return []
    ends = camera.to_plane(segments_px.reshape(-1, 2)).reshape(-1, 2, 2)
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    keep = (length > 6) & np.isfinite(length)
    ends, along, length = ends[keep], along[keep], length[keep]
    middle = ends.mean(1)
    direction = np.arctan2(along[:, 1], along[:, 0])
    near = np.exp(-0.5 * np.sum((middle - centre) ** 2, axis=1) / reach_mm**2)
    w = np.minimum(length, 80) * near
    steps = np.linspace(-unsure, unsure, 1 + 2 * round(unsure / _PITCH_STEP))
    seeds = []
    for turn in _peaks(direction % (np.pi / 2), w):
        ways = [_across(direction, w, turn + k * np.pi / 2, _ALIKE + unsure / 2) for k in (0, 1)]
        offsets = [(middle[own] - centre) @ normal for own, normal in ways]
        N = np.linalg.inv([normal for _, normal in ways])
        for spacing in spacings:
            tried = spacing * np.exp(steps)
            pitch, phase, score = np.zeros(2), np.zeros(2), 1.0
            for k, (own, _) in enumerate(ways):
                z = np.exp(2j * np.pi * offsets[k] / tried[:, None]) @ w[own]
                best = int(np.argmax(np.abs(z)))
                pitch[k], phase[k] = tried[best], np.angle(z[best]) / (2 * np.pi)
                score *= abs(z[best]) / max(w.sum(), 1e-9) * abs(z[best]) / max(w[own].sum(), 1e-9)
            affine = np.column_stack([N * pitch, centre + N @ (pitch * phase)])
            seeds.append((score, affine, spacing))
    seeds.sort(key=lambda seed: -seed[0])
    return [(affine, spacing) for score, affine, spacing in seeds[:3] if score > 1e-4]


def _across(
    direction: np.ndarray, w: np.ndarray, turn: float, limit: float
) -> tuple[np.ndarray, np.ndarray]:
    """Which segments run across the direction `turn`, and (2,) their common normal."""
    apart = (direction - turn + np.pi) % np.pi - np.pi / 2
    own = np.abs(apart) < limit
    if own.any():
        turn += _weighted_median(apart[own], w[own])
        own = np.abs((direction - turn + np.pi) % np.pi - np.pi / 2) < _ALIKE
    return own, np.array([np.cos(turn), np.sin(turn)])


def _weighted_median(values: np.ndarray, w: np.ndarray) -> float:
    order = np.argsort(values)
    total = np.cumsum(w[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


def _peaks(angle: np.ndarray, w: np.ndarray) -> list[float]:
    """The strongest directions modulo a right angle."""
    bins = 360
    histogram = np.bincount((angle / (np.pi / 2) * bins).astype(int) % bins, w, bins)
    soft = np.convolve(np.pad(histogram, 3, mode="wrap"), (1, 2, 3, 4, 3, 2, 1), mode="valid")
    peaks = []
    for _ in range(3):
        at = int(np.argmax(soft))
        if soft[at] <= 0:
            break
        near = (angle - (at + 0.5) * np.pi / 2 / bins + np.pi / 4) % (np.pi / 2) - np.pi / 4
        own = np.abs(near) < 0.02
        peaks.append(
            (at + 0.5) * np.pi / 2 / bins + float(np.average(near[own], weights=w[own] + 1e-9))
        )
        soft[np.arange(at - 12, at + 13) % bins] = 0
    return peaks


def level_by_directions(prior: LensPrior, segments_px: np.ndarray) -> np.ndarray | None:
    """(3, 3) camera from plane rotation whose x and y axes most segments follow."""
    x = prior.camera(np.eye(3), np.zeros(3)).normalise(segments_px.reshape(-1, 2))
    rays = np.column_stack([x, np.ones(len(x))]).reshape(-1, 2, 3)
    normal = np.cross(rays[:, 0], rays[:, 1])
    length = np.linalg.norm(rays[:, 1] - rays[:, 0], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    rng = np.random.default_rng(1)
    chosen = rng.choice(len(normal), size=(1500, 3), p=length / length.sum())
    a = np.cross(normal[chosen[:, 0]], normal[chosen[:, 1]])
    a /= np.linalg.norm(a, axis=1, keepdims=True) + 1e-12
    b = np.cross(a, normal[chosen[:, 2]])
    b /= np.linalg.norm(b, axis=1, keepdims=True) + 1e-12
    up = np.cross(a, b)
    fair = (np.abs(up[:, 2]) > np.cos(np.radians(40))) & (np.linalg.norm(up, axis=1) > 0.9)
    if not fair.any():
        return None
    a, b = a[fair], b[fair]
    follows = np.minimum(np.abs(a @ normal.T), np.abs(b @ normal.T))
    score = np.maximum(0, 1 - follows / 0.012) @ length
    best = int(np.argmax(score))
    a1, b1 = a[best], b[best]
    for limit in (0.012, 0.008, 0.006):
        axes = []
        for axis in (a1, b1):
            own = np.abs(normal @ axis) < limit
            if own.sum() < 4:
                return None
            w = length[own, None] * normal[own]
            axes.append(np.linalg.svd(w, full_matrices=False)[2][-1])
        U, _, Vt = np.linalg.svd(np.column_stack(axes), full_matrices=False)
        a1, b1 = (U @ Vt).T
    up = np.cross(a1, b1)
    if up[2] < 0:
        b1, up = -b1, -up
    return np.column_stack([a1, b1, up])


def pitches(ends: np.ndarray, spacing: float) -> list[float]:
    """Likely spacings in units of the camera's height, best first."""
    along = ends[:, 1] - ends[:, 0]
    length = np.linalg.norm(along, axis=1)
    middle = ends.mean(1)
    candidates = np.geomspace(spacing / 1500, spacing / 120, 900)
    score = np.zeros(len(candidates))
    for k in (0, 1):
        own = np.abs(along[:, k]) < 0.02 * length
        if own.sum() < 4:
            return []
        w = length[own] / length[own].sum()
        z = np.exp(2j * np.pi * middle[own, k] / candidates[:, None]) @ w
        score += np.abs(z)
    peaks = np.flatnonzero((score[1:-1] > score[:-2]) & (score[1:-1] >= score[2:])) + 1
    peaks = peaks[score[peaks] > 0.5 * score[peaks].max(initial=0)]
    # harmonics of the true spacing score as well: try the widest first
    return [float(candidates[i]) for i in sorted(peaks, key=lambda i: -candidates[i])][:8]


def densest(camera: Camera, segments_px: np.ndarray, spacing: float) -> np.ndarray:
    """Place on the plane with most segment length of the two main directions around it."""
    ends = camera.to_plane(segments_px.reshape(-1, 2)).reshape(-1, 2, 2)
    along = np.abs(ends[:, 1] - ends[:, 0])
    straight = along.min(1) < 0.02 * along.max(1)
    middle, length = ends.mean(1)[straight], along.max(1)[straight]
    some = _some(len(middle))
    middle, length = middle[some], length[some]
    apart = np.linalg.norm(middle[:, None] - middle[None], axis=2)
    return np.asarray(
        middle[int(np.argmax(np.exp(-0.5 * (apart / (2.5 * spacing)) ** 2) @ length))]
    )


def _some(n: int) -> np.ndarray:
    """Indices of a fair choice of 400 of `n` things, enough to find where most are."""
    return np.random.default_rng(1).permutation(n)[:400]
