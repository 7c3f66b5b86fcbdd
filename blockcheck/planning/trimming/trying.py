"""The tallest rectangle beside inward bows, by trying turns and places.

`Stack.tallest` keeps a rectangle's side clear of a whole bow. A rectangle that ends short of a part
of it may lie deeper. Here every turn and place of the left side is judged by the outline as it is:
over the rectangle's width, its top lies below everything of the outline above the block's middle,
its foot above everything below. Between the best of the net of places it is drawn closer. What is
found always fits; it is low by less than 0.02 mm on blocks like those in the tests.
"""

from __future__ import annotations

import numpy as np

from .block import Array, Block

_MOST = 0.06  # radians to either side of the block's own turn
_TURNS, _PLACES = 181, 31
_STARTS, _ROUNDS = 4, 5


def avoidable(block: Block, width_mm: float, least_mm: float) -> bool:
    """Whether a rectangle of this width and at least this height could end short of a bow's point.

    One that cannot has all inner points beside its sides, and `Stack.tallest` is exact for it.
    """
    points = block.pockets.points
    if not len(points):
        return False
    c, s = np.cos(block.turn), np.sin(block.turn)
    frame = np.array([[c, s], [-s, c]])
    local, around = points @ frame.T, block.outline_mm @ frame.T
    low, high = around.min(axis=0), around.max(axis=0)
    room = high - low - [width_mm, least_mm] + 2.0  # a small turn gives a little more
    near = np.minimum(local - low, high - local)
    normals = block.pockets.normals[block.pockets.owner] @ frame.T
    level = np.abs(normals[:, 0]) > np.abs(normals[:, 1])  # of the left or right side
    return bool((np.where(level, near[:, 1], near[:, 0]) < room[level.astype(int)]).any())


def tallest_by_trying(block: Block, width_mm: float) -> float:
    """Greatest height found for a width; 0 where nothing was found.

    Only rectangles that hold the middle of the block are looked at: those of more than half its
    height.
    """
    turns = block.turn + np.linspace(-_MOST, _MOST, _TURNS)
    tall = _best_place(block.outline_mm, width_mm, turns)
    inner = tall[1:-1]
    peaks = 1 + np.flatnonzero((inner >= tall[:-2]) & (inner >= tall[2:]))
    best = 0.0
    for k in peaks[np.argsort(-tall[peaks])[:_STARTS]]:
        turn, swing = float(turns[k]), 2 * _MOST / _TURNS
        for _ in range(_ROUNDS):
            near = turn + np.linspace(-swing, swing, 17)
            fine = _best_place(block.outline_mm, width_mm, near)
            turn = float(near[fine.argmax()])
            best = max(best, float(fine.max()))
            swing /= 5
    return best


def _best_place(outline: Array, width: float, turns: Array) -> Array:
    """Greatest height at each turn, over the places of the left side."""
    places = np.tile(np.linspace(0.0, 1.0, _PLACES), (len(turns), 1))
    span = 1.0 / (_PLACES - 1)
    best = np.zeros(len(turns))
    for _ in range(5):
        tall = _heights(outline, width, turns, places)
        best = np.maximum(best, tall.max(axis=1))
        middle = np.take_along_axis(places, tall.argmax(axis=1)[:, None], axis=1)
        places = np.clip(middle + span * np.linspace(-1, 1, 11), 0.0, 1.0)
        span /= 5
    return best


def _heights(outline: Array, width: float, turns: Array, places: Array) -> Array:
    """Heights at turns and, for each, places of the left side, 0 to 1 of where it can lie."""
    c, s = np.cos(turns)[:, None], np.sin(turns)[:, None]
    px, py = c * outline[:, 0] + s * outline[:, 1], c * outline[:, 1] - s * outline[:, 0]
    low, room = px.min(axis=1), np.ptp(px, axis=1) - width
    left = (low[:, None] + places * room[:, None])[:, :, None]
    middle = (py.min(axis=1) + py.max(axis=1))[:, None] / 2
    upper, lower = np.where(py < middle, py, -np.inf), np.where(py < middle, np.inf, py)
    within = (px[:, None] > left) & (px[:, None] < left + width)
    up = np.where(within, upper[:, None], -np.inf).max(axis=2)
    down = np.where(within, lower[:, None], np.inf).min(axis=2)
    ex, ey = np.roll(px, -1, axis=1) - px, np.roll(py, -1, axis=1) - py
    slope = ey / np.where(np.abs(ex) < 1e-12, 1e-12, ex)
    for side in (left, left + width):  # where the outline crosses the rectangle's sides
        ahead = side - px[:, None]
        crosses = (ahead >= 0) != (ahead - ex[:, None] >= 0)
        y = py[:, None] + ahead * slope[:, None]
        above = y < middle[:, None]
        up = np.maximum(up, np.where(crosses & above, y, -np.inf).max(axis=2))
        down = np.minimum(down, np.where(crosses & ~above, y, np.inf).min(axis=2))
    fits = np.isfinite(up) & np.isfinite(down) & (room > 0)[:, None]
    return np.where(fits, np.maximum(down - up, 0.0), 0.0)
