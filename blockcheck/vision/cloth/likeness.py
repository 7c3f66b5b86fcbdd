"""The look of a block, small and in its own frame: how it was turned between two photos."""

from __future__ import annotations

import cv2
import numpy as np

_CELLS, _INSET = 32, 0.06  # of a look's side; of the block, left out all around
_FINE = 4  # pixels of the reduced photo to a cell


def looks_of(rgb: np.ndarray, corners_px: np.ndarray) -> np.ndarray:
    """(4, N) looks of a block with each of its corners at the top left, as unit vectors.

    Brightness, colour of the light and its fall across the block are taken out.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
    corners_px : (4, 2) array
        Clockwise.
    """
    size = np.array(rgb.shape[1::-1])
    low = np.clip(np.floor(corners_px.min(0)).astype(int), 0, size - 1)
    high = np.clip(np.ceil(corners_px.max(0)).astype(int) + 1, low + 1, size)
    part = rgb[low[1] : high[1], low[0] : high[0]]
    by = min(1.0, _CELLS * _FINE / max(part.shape[:2]))
    small = cv2.resize(part, None, fx=by, fy=by, interpolation=cv2.INTER_AREA)
    there = (corners_px - low + 0.5) * (np.array(small.shape[1::-1]) / part.shape[1::-1]) - 0.5
    rim = np.array([-_INSET * _CELLS, _CELLS * (1 + _INSET) - 1])
    square = rim[[[0, 0], [1, 0], [1, 1], [0, 1]]].astype(np.float32)
    y, x = np.mgrid[:_CELLS, :_CELLS].reshape(2, -1)
    fall = np.linalg.qr(np.column_stack([np.ones(len(x)), x, y]))[0]
    found = []
    for k in range(4):
        H = cv2.getPerspectiveTransform(np.roll(there, -k, axis=0).astype(np.float32), square)
        look = cv2.warpPerspective(small, H, (_CELLS, _CELLS), flags=cv2.INTER_LINEAR)
        flat = look.reshape(-1, 3).astype(float)
        flat -= fall @ (fall.T @ flat)
        found.append(flat.ravel() / max(float(np.linalg.norm(flat)), 1e-9))
    return np.array(found)


def likeness(one: np.ndarray, others: np.ndarray) -> np.ndarray:
    """(4,) correlation of a look with each of another photo's four."""
    return np.asarray(others @ one)
