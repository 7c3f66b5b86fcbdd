"""Whether an outline is a block's: what its sides show, and what lies around it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...errors import (
    BlockCutOffError,
    BlocksTouchError,
    Doubtful,
    EdgeNotFoundError,
    MeasureError,
)
from .edges import Trace
from .small_picture import CLOTH_MM, PlaneLike

SIDES = ("top", "right", "bottom", "left")
_JUMP_MM = 1.2  # more than pieces of one block are off by where they are sewn together
BY_HAND = "or give the block's corners by hand (--corners)."
HINT = f"Lay the block flat on a mat of another colour, in even light, nothing over its edges, {BY_HAND}"


def doubtful(corners_px: np.ndarray, *sides: int) -> Doubtful:
    """Return the outline and its doubtful sides for the picture."""
    return Doubtful(tuple((float(x), float(y)) for x, y in corners_px), sides)


def trusted(t: Trace) -> bool:
    """Whether a side's trace is a raw edge's."""
    return t.support > 0.5 and t.clear > 0.5


def judge_sides(
    shape: tuple[int, ...],
    corners: np.ndarray,
    traces: Sequence[Trace],
    plane: PlaneLike,
    final: bool = False,
) -> None:
    """Refuse an outline whose sides are not surely a block's.

    Raises
    ------
    BlockCutOffError, EdgeNotFoundError
    """
    h, w = shape[:2]
    low, high = np.array([1, 1]), np.array([w - 2, h - 2])
    if final and ((corners < low) | (corners > high)).any():
        raise cut_off(doubtful(corners, *_past_frame(corners, low, high)))
    for i, t in enumerate(traces):
        if final and t.barred > 0.1:
            raise EdgeNotFoundError(
                f"The block's {SIDES[i]} edge lies on top of the card.",
                "Move the card away from the block, both flat.",
                doubtful(corners, i),
            )
        if final and t.frayed:
            raise EdgeNotFoundError(
                f"The block's {SIDES[i]} edge is too frayed: its yarns hide where the cloth ends.",
                f"Trim or press the loose yarns and take the photo again, {BY_HAND}",
                doubtful(corners, i),
            )
        if t.support < (0.5 if final else 0.25) or (final and not trusted(t)):
            raise EdgeNotFoundError(
                f"The block's {SIDES[i]} edge could not be told from the mat.",
                HINT,
                doubtful(corners, i),
            )
    mm = plane.mm_from_px(corners, CLOTH_MM)
    edge = np.roll(mm, -1, axis=0) - mm
    length = np.linalg.norm(edge, axis=1)
    turn = np.abs(np.sum(edge * np.roll(edge, -1, axis=0), axis=1)) / (length * np.roll(length, -1))
    uneven = np.abs(length[:2] - length[2:]) / length[:2]
    if turn.max() > 0.12 or uneven.max() > 0.1:
        raise EdgeNotFoundError(
            "The block's sides do not make a rectangle, so an edge may be wrong.",
            HINT,
            doubtful(corners, *range(4)),
        )


def judge_unbroken(corners: np.ndarray, traces: Sequence[Trace], plane: PlaneLike) -> None:
    """Refuse an outline of which two opposite sides jump at one place: two blocks that touch.

    Raises
    ------
    BlocksTouchError
    """
    mm = plane.mm_from_px(corners, CLOTH_MM)
    jumps = [
        _jumps(plane.mm_from_px(t.points_px, CLOTH_MM), mm[i], mm[(i + 1) % 4])
        for i, t in enumerate(traces)
    ]
    for i in (0, 1):
        one, other = jumps[i], jumps[i + 2][::-1]  # the other runs the other way
        near = np.lib.stride_tricks.sliding_window_view(np.pad(other, 5), 11).max(axis=1)
        if np.minimum(one, near).max() > _JUMP_MM:
            raise BlocksTouchError(
                f"The {SIDES[i]} and {SIDES[i + 2]} edges step at one place, as they do where two blocks touch.",
                f"Lay them half an inch (1 cm) apart, or one by one, {BY_HAND}",
                doubtful(corners, i, i + 2),
            )


def _jumps(points_mm: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """(N,) sizes of the jump at each point of a side, its slope left out."""
    u = (b - a) / np.linalg.norm(b - a)
    s, d = (points_mm - a) @ u, (points_mm - a) @ np.array([u[1], -u[0]])
    slope = np.median((d[5:] - d[:-5]) / np.maximum(s[5:] - s[:-5], 1e-9))
    window = len(d) // 10
    level = np.median(np.lib.stride_tricks.sliding_window_view(d - slope * s, window), axis=1)
    jump = np.zeros(len(d))
    jump[window + 1 : window + 1 + len(level) - window - 2] = np.abs(
        level[window + 2 :] - level[: -window - 2]
    )
    return jump


def cut_off(shown: Doubtful | None = None) -> BlockCutOffError:
    """Return the failure of a block that reaches past the photo's frame."""
    side = f" with its {SIDES[shown.sides[0]]} side" if shown and shown.sides else ""
    return BlockCutOffError(
        f"A block reaches past the edge of the photo{side}.",
        "Step back, so that all of the block and some mat around it is in the picture.",
        shown,
    )


def _past_frame(corners: np.ndarray, low: np.ndarray, high: np.ndarray) -> list[int]:
    """Sides of which an end lies past the frame by the most."""
    past = np.maximum(low - corners, corners - high).max(axis=1)
    by_side = np.maximum(past, 0) + np.maximum(np.roll(past, -1), 0)
    return [int(np.argmax(by_side))]


def explained(error: MeasureError, corners_px: np.ndarray, faces: int | None) -> MeasureError:
    """Return the failure of an outline, with what lies close to it as the reason."""
    if faces is None:
        return error
    return BlocksTouchError(
        f"Two blocks lie so near to each other that the {SIDES[faces]} edge of one cannot be told.",
        f"Lay them half an inch (1 cm) apart, or one by one, {BY_HAND}",
        doubtful(corners_px, faces),
    )
