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
_ROWS, _EACH, _ENDS = 60, 2, 4  # bands across the groove, rows of each, bands at an end
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
    size = (size[:2] + size[2:]) / 2
    w, h = (int(min(_PER_MM * s, _LONGEST_PX)) for s in size)
    if min(w, h) < 3:
        return []
    expected = mat.colours(corners_px).mean(axis=0).astype(np.float32)
    mm = size / (w, h)
    for axis, facing in ((0, (1, 3)), (1, (2, 0))):
        turned = [0, 1, 2, 3] if axis == 0 else [0, 3, 2, 1]  # so that the groove runs down
        across, along = (w, h)[axis], (h, w)[axis]
        like = _like_mat(rgb, mat, expected, corners_px[turned], across)
        groove = _groove(like, along, 1 / mm[axis])
        if groove is None:
            continue
        # as shares of the two sides that the groove crosses
        (start, end), half = (np.array(v) / (w, h)[axis] for v in groove)
        c = corners_mm[turned]
        near, far = (
            (c[0] + (start + s) * (c[1] - c[0]), c[3] + (end + s) * (c[2] - c[3]))
            for s in (-half, half)
        )
        one = np.array([c[0], near[0], near[1], c[3]])
        two = np.array([far[0], c[1], c[2], far[1]])
        return [(one[turned], facing[0]), (two[turned], facing[1])]  # clockwise again
    return []


def _like_mat(
    rgb: np.ndarray, mat: Mat, expected: np.ndarray, corners_px: np.ndarray, across: int
) -> np.ndarray:
    """(rows, `across`) where an outline laid flat looks like mat; a few rows tell of each band."""
    rows = _ROWS * _EACH
    flat = np.array([[0, 0], [across, 0], [across, rows], [0, rows]], np.float32)
    to_flat = cv2.getPerspectiveTransform(corners_px, flat)
    laid = cv2.warpPerspective(rgb, to_flat, (across, rows)).astype(np.float32)
    off = mat.unlike(laid, expected, _SHADE)
    # blur and light thrown back by the cloth take the mat some way towards it
    towards = min(_TOWARDS * float(np.median(off[:, ::_FEW])), 10 * mat.limit)
    light = dot(laid, expected) / dot(expected, expected)
    return np.asarray((off < max(mat.limit, towards)) & (light > _SHADE[0]) & (light < _SHADE[1]))


def _groove(
    like: np.ndarray, along: int, per_mm: float
) -> tuple[tuple[float, float], float] | None:
    """Where a groove meets the first and the last row, and half its width, in pixels.

    Parameters
    ----------
    like : (rows, columns) bool array
        What looks like mat.
    along : int
        How many pixels of the columns' kind the rows reach over.
    per_mm : float
        Columns to a millimetre.
    """
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
    most = round(np.tan(_TURNS[-1]) * along)
    moved = np.lib.stride_tricks.sliding_window_view(
        np.pad(rows, ((0, 0), (most, most)), mode="edge"), columns, axis=1
    )
    for turn in _TURNS:
        shift = np.round(np.tan(turn) * middle * along).astype(int)
        turned = moved[np.arange(_ROWS), most + shift]
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
                lean = float(np.tan(turn) * along / 2)
                best = mean, (a + b - 1) / 2 - lean, (a + b - 1) / 2 + lean, (b - a - 2) / 2
    return None if best is None else ((best[1], best[2]), best[3])
