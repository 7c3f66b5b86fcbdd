"""Where the mat's lines stop: the plainest sign of cloth, whatever its colour.

Near an outline each piece of printed line is looked at in short parts, in the photo's own
pixels: a part is seen, or something lies on it. Each side is then moved and turned to where it
parts the seen from the hidden best.
"""

from __future__ import annotations

import cv2
import numpy as np

from .small_picture import CLOTH_MM, PlaneLike

_PART_MM = 2.5
_OFF_MM = np.linspace(-0.9, 0.9, 10)  # how far from its foreseen place a line may run
_BESIDE_MM = 2.0
_FAINT = 0.45  # of the lines' usual strength: less is hidden
_TURNS = np.radians(np.linspace(-4, 4, 9))
_USUAL = 200  # pieces of line to tell their strength from


def sharpened(
    rgb: np.ndarray,
    plane: PlaneLike,
    corners_px: np.ndarray,
    segments_px: np.ndarray,
    seen: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Move the sides of an outline to where the mat's lines stop.

    Parameters
    ----------
    corners_px : (4, 2) array
        Right to a cell of the mat.
    segments_px, seen : (M, 2, 2) and (M,) arrays
        The mat's lines from crossing to crossing, and where they were seen.

    Returns
    -------
    (4, 2) array of photo pixels; (4,) bool array, which sides could be told so
    """
    usual = np.flatnonzero(seen)
    usual = usual[:: max(1, len(usual) // _USUAL)]
    cell_px = float(np.median(np.linalg.norm(segments_px[:, 1] - segments_px[:, 0], axis=1)))
    quad = corners_px.astype(np.float32)
    near = [
        k
        for k, (x, y) in enumerate(segments_px.mean(axis=1))
        if abs(cv2.pointPolygonTest(quad, (float(x), float(y)), True)) < 1.6 * cell_px
    ]
    told = np.zeros(4, bool)
    if not near or not len(usual):
        return corners_px, told
    strength = _strengths(rgb, plane, segments_px[usual])[1]
    middling = np.median(strength, axis=(0, 1))
    channel = int(np.argmax(np.abs(middling).max(axis=0)))
    ridge = middling[:, channel]
    sign = 1.0 if ridge.max() > -ridge.min() else -1.0
    level = float(np.median((sign * strength[..., channel]).max(axis=2)))
    places, strength = _strengths(rgb, plane, segments_px[near])
    shown = (sign * strength[..., channel]).max(axis=2) > _FAINT * max(level, 2.0)
    points = plane.mm_from_px(places.reshape(-1, 2))
    hidden = ~shown.ravel()
    cell = float(
        np.median(np.linalg.norm(np.diff(plane.mm_from_px(segments_px[near[:1]][0]), axis=0)))
    )
    corners = plane.mm_from_px(corners_px, CLOTH_MM)
    lines = []
    for i in range(4):
        a, b = corners[i], corners[(i + 1) % 4]
        lines.append(_parting(a, b, points, hidden, cell))
        told[i] = lines[-1] is not None
    sides = [
        line if line is not None else (corners[i], corners[(i + 1) % 4] - corners[i])
        for i, line in enumerate(lines)
    ]
    moved = []
    for (p, u), (q, v) in zip(sides[-1:] + sides[:-1], sides, strict=True):
        M = np.stack([u, -v], axis=1)
        if abs(np.linalg.det(M)) < 1e-6:
            return corners_px, np.zeros(4, bool)
        moved.append(p + np.linalg.solve(M, q - p)[0] * u)
    return plane.px_from_mm(np.array(moved), CLOTH_MM), told


def _strengths(
    rgb: np.ndarray, plane: PlaneLike, pieces_px: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(N, P, 2) middles of parts of pieces, and (N, P, offsets, 3) how far each stands out."""
    ends = plane.mm_from_px(pieces_px.reshape(-1, 2)).reshape(-1, 2, 2)
    cell = float(np.median(np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)))
    parts = max(3, round(cell / _PART_MM))
    f = (np.arange(4 * parts) + 0.5) / (4 * parts)
    along = pieces_px[:, 1] - pieces_px[:, 0]
    across = np.stack([along[:, 1], -along[:, 0]], axis=1) / cell  # a millimetre
    offsets = np.concatenate([_OFF_MM, [-_BESIDE_MM, _BESIDE_MM]])
    at = pieces_px[:, None, :1] + f[None, :, None, None] * along[:, None, None]
    at = at + offsets[None, None, :, None] * across[:, None, None]
    i = np.round(at).astype(int)
    h, w = rgb.shape[:2]
    colour = rgb[np.clip(i[..., 1], 0, h - 1), np.clip(i[..., 0], 0, w - 1)].astype(np.float32)
    colour = colour.reshape(len(pieces_px), parts, 4, len(offsets), 3).mean(axis=2)
    middle = (np.arange(parts) + 0.5)[None, :, None] / parts
    places = pieces_px[:, :1] + middle * along[:, None]
    return places, colour[:, :, :-2] - colour[:, :, -2:].mean(axis=2, keepdims=True)


def _parting(
    a: np.ndarray, b: np.ndarray, points: np.ndarray, hidden: np.ndarray, cell: float
) -> tuple[np.ndarray, np.ndarray] | None:
    """Point and direction of the line near a side that parts hidden from seen best."""
    length = float(np.linalg.norm(b - a))
    u = (b - a) / length
    n = np.array([u[1], -u[0]])  # outwards
    s, d = (points - (a + b) / 2) @ u, (points - (a + b) / 2) @ n
    use = (np.abs(s) < 0.45 * length) & (np.abs(d) < 1.5 * cell)
    s, d, inside = s[use], d[use], hidden[use]
    if inside.sum() < 6 or (~inside).sum() < 6:
        return None
    offsets = np.arange(-1.2 * cell, 1.2 * cell, 0.5)
    best: tuple[float, float, float] | None = None
    for turn in _TURNS:
        level = d - np.tan(turn) * s
        order = np.sort(level[inside]), np.sort(level[~inside])
        wrong = len(order[0]) - np.searchsorted(order[0], offsets)  # hidden though outside
        wrong = wrong + np.searchsorted(order[1], offsets)  # seen though inside
        least = float(wrong.min())
        if best is None or least < best[0] - 0.5 or (least < best[0] + 0.5 and abs(turn) < best[2]):
            best = least, float(offsets[wrong == least].mean()), turn
    if best is None or best[0] > 0.2 * len(d):
        return None
    _, offset, turn = best
    return (a + b) / 2 + offset * n, u + np.tan(turn) * n
