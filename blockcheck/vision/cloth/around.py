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
from .small_picture import CLOTH_MM, PlaneLike, depths

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
    starts, ends = _go_on(rgb, plane, corners, taken_px, least)
    for i in range(4):
        # side i ends where its neighbours' lines do not
        if ends[i - 1] and starts[(i + 1) % 4]:
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
    within = depths(middle, looked_at_px).min(axis=1) > 0.3 * cell
    depth = depths(middle, corners_px)
    for i in range(4):
        left_out = within & (depth[:, i] < -0.3 * cell)
        if left_out.sum() >= _FEW and seen[left_out].mean() < 0.5:
            raise goes_on_past(i, corners_px)


def goes_on_past(side: int, corners_px: np.ndarray) -> BlockGoesOnError:
    """Return the failure of an outline whose cloth goes on past a side."""
    return BlockGoesOnError(
        f"What was found goes on past its {SIDES[side]} edge: it may be only half of a block, "
        "or part of a patterned cover.",
        f"Lay the block on something plain that looks different from its cloth, {BY_HAND}",
        doubtful(corners_px, side),
    )


def _go_on(
    rgb: np.ndarray,
    plane: PlaneLike,
    corners: np.ndarray,
    taken_px: Sequence[np.ndarray],
    least: float,
) -> np.ndarray:
    """(2, 4) whether cloth and ground still meet past the start of each side, and past its end."""
    side = np.roll(corners, -1, axis=0) - corners
    length = np.linalg.norm(side, axis=1)
    u = side / length[:, None]
    out = np.tile(np.column_stack([u[:, 1], -u[:, 0]]), (2, 1))
    start, way = np.vstack([corners, corners + side]), np.vstack([-u, u])
    farthest = np.tile(np.minimum(_TO_MM, 0.3 * length), 2)
    along = np.linspace(np.full(8, _FROM_MM), farthest, 3 * _PIECES, axis=1)
    shifts = np.array([0.0, *_APART_MM])
    across = np.concatenate([-_ACROSS_MM[::-1], _ACROSS_MM])
    middle = start[:, None] + along[..., None] * way[:, None]
    aside = (shifts[:, None] + across)[None, ..., None] * out[:, None, None]
    # (8, shifts, along, across, 2)
    places = middle[:, None, :, None] + aside[:, :, None]
    at = plane.px_from_mm(places.reshape(-1, 2)).reshape(places.shape)
    h, w = rgb.shape[:2]
    clear = ((at >= 1) & (at <= (w - 2, h - 2))).all(axis=-1)
    for polygon in taken_px:
        clear &= _outside(at, np.asarray(polygon, float))
    usable = np.all(clear, axis=(1, 3)).reshape(8, _PIECES, 3).all(axis=2)
    flat = at.reshape(8 * len(shifts), -1, 2).astype(np.float32)
    colour = cv2.remap(rgb, flat, None, cv2.INTER_LINEAR)
    colour = colour.reshape(8, len(shifts), _PIECES, 3, 2, len(_ACROSS_MM), 3)
    halves = colour.transpose(0, 1, 2, 4, 6, 3, 5).reshape(8, len(shifts), _PIECES, 2, 3, -1)
    halves = np.median(halves, axis=-1)
    change = halves[..., 1, :] - halves[..., 0, :]
    step = np.linalg.norm(change, axis=-1)
    return np.array(
        [_is_edge(c[:, k], s[:, k], least) for c, s, k in zip(change, step, usable, strict=True)]
    ).reshape(2, 4)


def _is_edge(change: np.ndarray, step: np.ndarray, least: float) -> bool:
    """Whether the colour changes more on an extension than on the lines beside it, and one way.

    Parameters
    ----------
    change, step : (lines, pieces, 3) and (lines, pieces) arrays
        By how much from one side to the other, on the extension first.
    """
    if step.shape[1] < _PIECES // 2:
        return False
    usual = float(np.percentile(step[1:], 80))
    shows = step[0] > max(least, 2.5 * usual)
    # ticks, numbers and lines that cross step up and down
    one_way = np.linalg.norm(change[0][shows].sum(axis=0)) > _ONE_WAY * step[0][shows].sum()
    return bool(shows.mean() > _PART and one_way)


def _outside(at: np.ndarray, polygon: np.ndarray) -> np.ndarray:
    """Whether places lie outside a convex clockwise polygon, and a little away from it."""
    low, high = polygon.min(axis=0) - 3, polygon.max(axis=0) + 3
    return np.asarray(((at < low) | (at > high)).any(axis=-1))
