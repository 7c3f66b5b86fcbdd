"""What lies around an outline: a block's edges stop at its corners.

Half of a block, or a part of a printed cover, can look like a whole block whose one side is a
seam or a stripe's end. But there the two sides that run up to it go on past it: beyond both
corners cloth and ground still meet along their extensions. A printed line is no such step,
for on both of its sides lies the same mat.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from ...errors import BlockGoesOnError
from .judging import BY_HAND, SIDES, doubtful
from .small_picture import CLOTH_MM, PlaneLike

_FROM_MM, _TO_MM, _PIECES = 2.0, 24.0, 11
_ACROSS_MM = np.linspace(0.8, 5.0, 15)  # on either side; half of it is more than any line
_APART_MM = (7.0, 10.0, 13.0)  # lines beside the extension, to compare with
_FEW = 4  # pieces of line
_ONE_WAY = 0.7  # of all that the colour changes by
_PART = 0.3  # of an extension shows a step: a striped ground is now and then like the cloth


def judge_corners(
    rgb: np.ndarray,
    plane: PlaneLike,
    corners_px: np.ndarray,
    taken_px: Sequence[np.ndarray],
    least: float,
) -> None:
    """Refuse an outline whose sides go on past their corners.

    Parameters
    ----------
    taken_px : sequence of (4, 2) arrays
        Cards and other blocks: what lies there tells nothing.
    least : float
        Grey levels by which cloth and ground differ at least.

    Raises
    ------
    BlockGoesOnError
    """
    corners = plane.mm_from_px(corners_px, CLOTH_MM)
    goes_on = [
        [_goes_on(rgb, plane, corners, i, end, taken_px, least) for end in (0, 1)] for i in range(4)
    ]
    for i in range(4):
        # side i ends where its neighbours' lines do not
        if goes_on[i - 1][1] and goes_on[(i + 1) % 4][0]:
            raise goes_on_past(i, corners_px)


def judge_left_out(
    segments_px: np.ndarray, seen: np.ndarray, looked_at_px: np.ndarray, corners_px: np.ndarray
) -> None:
    """Refuse an outline that leaves out what hides the mat's lines as the rest of it does.

    Parameters
    ----------
    segments_px, seen : (M, 2, 2) and (M,) arrays
        The mat's lines from crossing to crossing, and where they were seen.
    looked_at_px : (4, 2) array
        The candidate, all that looked like one block.
    corners_px : (4, 2) array
        The outline that was found near it.

    Raises
    ------
    BlockGoesOnError
    """
    if not len(segments_px):
        return
    cell = float(np.median(np.linalg.norm(segments_px[:, 1] - segments_px[:, 0], axis=1)))
    middle = segments_px.mean(axis=1)
    within = _depth(middle, looked_at_px).min(axis=1) > 0.3 * cell
    depth = _depth(middle, corners_px)
    for i in range(4):
        left_out = within & (depth[:, i] < -0.3 * cell)
        if left_out.sum() >= _FEW and seen[left_out].mean() < 0.5:
            raise goes_on_past(i, corners_px)


def _depth(points: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """(N, 4) how far inside the sides of four corners in clockwise order points lie."""
    along = np.roll(corners, -1, axis=0) - corners
    inwards = along @ np.array([[0, 1], [-1, 0]]) / np.linalg.norm(along, axis=1, keepdims=True)
    return np.asarray(np.einsum("nsi,si->ns", points[:, None] - corners[None], inwards))


def goes_on_past(side: int, corners_px: np.ndarray) -> BlockGoesOnError:
    """Return the failure of an outline whose cloth goes on past a side."""
    return BlockGoesOnError(
        f"What was found goes on past its {SIDES[side]} edge: it may be half of a block, or "
        "of a cover's pattern.",
        f"Lay the block on something plain that looks different from its cloth, {BY_HAND}",
        doubtful(corners_px, side),
    )


def _goes_on(
    rgb: np.ndarray,
    plane: PlaneLike,
    corners: np.ndarray,
    side: int,
    end: int,
    taken_px: Sequence[np.ndarray],
    least: float,
) -> bool:
    """Whether cloth and ground still meet along a side's extension past its start or its end."""
    a, b = corners[side], corners[(side + 1) % 4]
    length = float(np.linalg.norm(b - a))
    u = (b - a) / length
    out = np.array([u[1], -u[0]])
    start, way = ((a, -u), (b, u))[end]
    along = np.linspace(_FROM_MM, min(_TO_MM, 0.3 * length), 3 * _PIECES)
    shifts = np.array([0.0, *_APART_MM])
    across = np.concatenate([-_ACROSS_MM[::-1], _ACROSS_MM])
    places = (
        start
        + along[None, :, None, None] * way
        + (shifts[:, None, None, None] + across[None, None, :, None]) * out
    )
    at = plane.px_from_mm(places.reshape(-1, 2)).reshape(*places.shape)
    h, w = rgb.shape[:2]
    clear = ((at >= 1) & (at <= (w - 2, h - 2))).all(axis=-1)
    for polygon in taken_px:
        clear &= _outside(at, np.asarray(polygon, float))
    usable = np.all(clear, axis=(0, 2)).reshape(_PIECES, 3).all(axis=1)
    if usable.sum() < _PIECES // 2:
        return False
    flat = at.reshape(len(shifts), -1, 2).astype(np.float32)
    colour = cv2.remap(rgb, flat, None, cv2.INTER_LINEAR).astype(float)
    colour = colour.reshape(len(shifts), _PIECES, 3, 2, len(_ACROSS_MM), 3)
    halves = np.median(
        colour.transpose(0, 1, 3, 2, 4, 5).reshape(len(shifts), _PIECES, 2, -1, 3), axis=3
    )
    change = (halves[:, :, 1] - halves[:, :, 0])[:, usable]
    step = np.linalg.norm(change, axis=2)
    usual = float(np.percentile(step[1:], 80))
    shows = step[0] > max(least, 2.5 * usual)
    # ticks, numbers and lines that cross step up and down
    one_way = np.linalg.norm(change[0][shows].sum(axis=0)) > _ONE_WAY * step[0][shows].sum()
    return bool(shows.mean() > _PART and one_way)


def _outside(at: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    """Whether places lie outside a convex clockwise polygon, and a little away from it."""
    low, high = polygon.min(axis=0) - 3, polygon.max(axis=0) + 3
    return np.asarray(((at < low) | (at > high)).any(axis=-1))
