"""Light that lies on the ground like a block: a window's sun, or a shadow.

The sun is half a degree wide (from memory: 0.53°), and a window's frame or a person that shades it
is half a metre away or more: the border of its light is 5 mm wide or wider, and of a lamp's more.
Cloth ends in a step.
"""

from __future__ import annotations

import cv2
import numpy as np

from .small_picture import CLOTH_MM, PlaneLike

_ACROSS_MM = np.linspace(-8, 8, 81)
_PIECES, _LINES = 12, 3  # along a side, and of each piece
_PIECE_MM = 3.0
_STEP_MM, _STEP_PX = 1.0, 6.0  # cloth's edge lies within this, in a photo in focus
_BESIDE = np.abs(_ACROSS_MM) > 4.5
_SOFT = 0.6  # of all that a colour changes by; frayed cloth has 0.7, a border 5 mm wide half
_FAINT = 8.0  # grey levels that tell nothing


def is_light(rgb: np.ndarray, plane: PlaneLike, corners_px: np.ndarray) -> bool:
    """Whether the edges of a quadrilateral are soft, all or all but one: a plank may end there.

    Parameters
    ----------
    rgb : (H, W, 3) uint8 array
    plane : Plane
    corners_px : (4, 2) array
        Within a few millimetres of where its sides run.
    """
    corners = plane.mm_from_px(corners_px, CLOTH_MM)
    soft = [_soft(rgb, plane, corners[i], corners[(i + 1) % 4]) for i in range(4)]
    return sum(soft) >= 3


def _soft(rgb: np.ndarray, plane: PlaneLike, a: np.ndarray, b: np.ndarray) -> bool:
    """Whether nowhere near a side most of the change from in to out is one step."""
    u = (b - a) / np.linalg.norm(b - a)
    out = np.array([u[1], -u[0]])
    at = a + np.linspace(0.1, 0.9, _PIECES)[:, None] * (b - a)
    lines = np.linspace(-0.5, 0.5, _LINES)[:, None] * _PIECE_MM * u
    places = at[:, None, None] + lines[None, :, None] + _ACROSS_MM[:, None] * out
    px = plane.px_from_mm(places.reshape(-1, 2), CLOTH_MM)
    mm_per_px = np.ptp(_ACROSS_MM) / max(float(np.linalg.norm(px[len(_ACROSS_MM) - 1] - px[0])), 1)
    flat = px.reshape(-1, len(_ACROSS_MM), 2).astype(np.float32)
    colour = cv2.remap(rgb, flat, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    seen = colour.reshape(_PIECES, _LINES, len(_ACROSS_MM), 3).mean(axis=1)
    inside, outside = (
        np.median(seen[:, _BESIDE & (_ACROSS_MM * way > 0)], axis=(0, 1)) for way in (-1, 1)
    )
    change = outside - inside
    size = float(np.linalg.norm(change))
    if size < _FAINT:
        return False
    along = seen @ (change / size)
    width = max(_STEP_MM, _STEP_PX * mm_per_px)
    n = max(1, round(width / (_ACROSS_MM[1] - _ACROSS_MM[0])))
    step = np.abs(along[:, n:] - along[:, :-n]).max(axis=1)
    return bool(np.median(step / np.ptp(along, axis=1)) < _SOFT)
