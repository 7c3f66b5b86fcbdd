"""Blocks that lie so near to each other that the small picture shows them as one.

Between them runs a groove: a narrow straight strip of mat, in their shadow, from side to side.
It is looked for in the photo's own colours, at a third of a millimetre.
"""

from __future__ import annotations

import cv2
import numpy as np

from .mat_looks import Mat, dot
from .small_picture import CLOTH_MM, PlaneLike

_PER_MM = 3.0
_LONGEST_PX = 900
_WIDEST_MM, _NARROWEST_MM = 4.0, 0.3
_FROM_END_MM = 25.0  # less is no block
_SHADE = (0.3, 1.12)  # of the mat's light in the groove
_TOWARDS = 0.35
_OWN = 0.15
_TURNS = np.radians(np.linspace(-3, 3, 13))
_THROUGH, _BESIDE = 0.85, 0.5  # part of the strip that is mat, and of what lies beside it
_MOST = 4  # with those along the edges; more are the cloth's own stripes
_ROWS, _ENDS = 60, 4
_FEW = 5  # every fifth pixel tells what is usual


def parted(
    rgb: np.ndarray, mat: Mat, plane: PlaneLike, corners_mm: np.ndarray
) -> list[tuple[np.ndarray, int]]:
    """Part an outline at the groove in it, if there is one.

    Parameters
    ----------
    corners_mm : (4, 2) array

    Returns
    -------
    list of ((4, 2) corners in mm, side that faces the other: 0 top to 3 left)
    """
    corners_px = plane.px_from_mm(corners_mm, CLOTH_MM).astype(np.float32)
    size = np.linalg.norm(np.roll(corners_mm, -1, axis=0) - corners_mm, axis=1)
    w, h = (
        int(min(_PER_MM * s, _LONGEST_PX))
        for s in ((size[0] + size[2]) / 2, (size[1] + size[3]) / 2)
    )
    if min(w, h) < 3:
        return []
    flat = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32)
    laid = cv2.warpPerspective(rgb, cv2.getPerspectiveTransform(corners_px, flat), (w, h))
    laid = laid.astype(np.float32)
    expected = mat.colours(corners_px).mean(axis=0).astype(np.float32)
    off = mat.unlike(laid, expected, _SHADE)
    # blur and light thrown back by the cloth take the mat some way towards it
    towards = min(_TOWARDS * float(np.median(off[::_FEW, ::_FEW])), 10 * mat.limit)
    like = off < max(mat.limit, towards)
    light = dot(laid, expected) / dot(expected, expected)
    like &= (light > _SHADE[0]) & (light < _SHADE[1])
    mm = np.array([size[0] + size[2], size[1] + size[3]]) / 2 / (w, h)
    for axis, facing in ((0, (1, 3)), (1, (2, 0))):
        groove = _groove(like if axis == 0 else like.T, 1 / mm[axis])
        if groove is None:
            continue
        # as shares of the two sides that the groove crosses
        (start, end), half = (np.array(v) / (w, h)[axis] for v in groove)
        c = corners_mm if axis == 0 else corners_mm[[0, 3, 2, 1]]
        near, far = (
            (c[0] + (start + s) * (c[1] - c[0]), c[3] + (end + s) * (c[2] - c[3]))
            for s in (-half, half)
        )
        one = np.array([c[0], near[0], near[1], c[3]])
        two = np.array([far[0], c[1], c[2], far[1]])
        if axis == 1:  # clockwise again
            one, two = one[[0, 3, 2, 1]], two[[0, 3, 2, 1]]
        return [(one, facing[0]), (two, facing[1])]
    return []


def _groove(like: np.ndarray, per_mm: float) -> tuple[tuple[float, float], float] | None:
    """Where a groove meets the first and the last row, and half its width, in pixels."""
    if like.mean() > _OWN:  # the cloth itself has that colour
        return None
    if like.any(axis=1).mean() < 0.9 * _THROUGH:  # no way through
        return None
    # a pixel wider, for it may lean by that between the angles that are tried
    wider = cv2.dilate(like.astype(np.uint8), np.ones((1, 3), np.uint8))
    columns = wider.shape[1]
    rows = cv2.resize(wider.astype(np.float32), (columns, _ROWS), interpolation=cv2.INTER_AREA)
    middle = (np.arange(_ROWS) + 0.5) / _ROWS - 0.5
    widest, beside = _WIDEST_MM * per_mm, round(1.5 * per_mm)
    best: tuple[float, float, float, float] | None = None
    for turn in _TURNS:
        shift = np.round(np.tan(turn) * middle * len(like)).astype(int)
        index = np.clip(np.arange(columns) + shift[:, None], 0, columns - 1)
        turned = np.take_along_axis(rows, index, axis=1)
        part = turned.mean(axis=0)
        if np.count_nonzero(np.diff(part > _THROUGH) > 0) > 2 * _MOST:  # in and out of each
            return None
        runs = np.flatnonzero(np.diff(np.concatenate([[0], (part > _THROUGH).astype(int), [0]])))
        for a, b in runs.reshape(-1, 2):
            if not _NARROWEST_MM * per_mm <= b - a - 2 <= widest:
                continue
            if a < _FROM_END_MM * per_mm or b > columns - _FROM_END_MM * per_mm:
                continue
            if max(part[a - beside], part[min(b + beside, columns - 1)]) > _BESIDE:
                continue
            through = turned[:, a:b].mean(axis=1)  # to both outer edges
            if min(through[:_ENDS].mean(), through[-_ENDS:].mean()) < _BESIDE:
                continue
            mean = float(part[a:b].mean()) * min(b - a, per_mm)
            if best is None or mean > best[0]:
                lean = float(np.tan(turn) * len(like) / 2)
                best = mean, (a + b - 1) / 2 - lean, (a + b - 1) / 2 + lean, (b - a - 2) / 2
    return None if best is None else ((best[1], best[2]), best[3])
