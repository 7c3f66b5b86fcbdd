"""The tallest rectangle beside inward bows: turns are tried, the place for each is solved.

`Stack.tallest` keeps a rectangle's side clear of a whole bow. A rectangle that ends short of a part
of it may lie deeper. Here every turn is judged by the outline as it is: over the rectangle's width,
its top lies below everything of the outline above the block's middle, its foot above everything
below. Between two places of its left side at which a point of the outline passes one of its sides,
that height is concave, so that its greatest there is found exactly. Between the best of the turns
they are tried closer. What is found always fits.
"""

from __future__ import annotations

import numpy as np

from .block import Array, Block
from .stack import highest

_MOST = 0.06  # radians to either side of the block's own turn
_TURNS = 361
_STARTS, _ROUNDS = 6, 6


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
    tall = _at_turns(block.outline_mm, width_mm, turns)
    around = np.pad(tall, 1)
    peaks = np.flatnonzero((tall >= around[:-2]) & (tall >= around[2:]))
    best = 0.0
    for k in peaks[np.argsort(-tall[peaks])[:_STARTS]]:
        turn, swing = float(turns[k]), 2 * _MOST / (_TURNS - 1)
        for _ in range(_ROUNDS):
            near = turn + np.linspace(-swing, swing, 17)
            fine = _at_turns(block.outline_mm, width_mm, near)
            turn = float(near[fine.argmax()])
            best = max(best, float(fine.max()))
            swing /= 5
    return best


def _at_turns(outline: Array, width: float, turns: Array) -> Array:
    """Greatest height at each turn, for the best place of the left side."""
    c, s = np.cos(turns)[:, None], np.sin(turns)[:, None]
    x, y = c * outline[:, 0] + s * outline[:, 1], c * outline[:, 1] - s * outline[:, 0]
    low, high = x.min(axis=1, keepdims=True), x.max(axis=1, keepdims=True) - width
    middle = (y.min(axis=1) + y.max(axis=1))[:, None, None] / 2
    # between neighbours of these the same points and edges lie over the rectangle
    ends = np.sort(np.clip(np.hstack([x, x - width]), low, np.maximum(low, high)), axis=1)
    left, length = ends[:, :-1], np.diff(ends, axis=1)
    at = (left + length / 2)[:, :, None]
    x, y = x[:, None], y[:, None]
    within = (x > at) & (x < at + width)
    up = np.where(within & (y < middle), y, -np.inf).max(axis=2)
    down = np.where(within & (y >= middle), y, np.inf).min(axis=2)
    wide, tall = np.roll(x, -1, axis=2) - x, np.roll(y, -1, axis=2) - y
    slope = tall / np.where(np.abs(wide) < 1e-12, 1e-12, wide)
    tops, feet = [], []  # of the edges that cross the rectangle's left and right side
    for side in (at, at + width):
        ahead = side - x
        crosses = (ahead >= 0) != (ahead >= wide)
        height = y + ahead * slope
        tops.append(np.where(crosses & (height < middle), height, -np.inf))
        feet.append(np.where(crosses & (height >= middle), height, np.inf))
    top, foot = np.concatenate(tops, axis=2), np.concatenate(feet, axis=2)
    fits = (low <= high) & np.isfinite(top.max(axis=2)) & np.isfinite(foot.min(axis=2))
    found = np.minimum(down, foot.min(axis=2)) - np.maximum(up, top.max(axis=2))
    best = np.where(fits, found, 0.0).max(axis=1).clip(min=0)
    # there is more than in the middle only where the points alone leave more room
    t, k = np.nonzero(fits & (down - up > best[:, None]) & (length > 1e-9))
    slope = np.tile(slope[t, 0], 2)
    lines = []
    for edges, points in ((foot[t, k], down[t, k]), (top[t, k], up[t, k])):
        lines.append(np.pad(np.where(np.isfinite(edges), slope, 0.0), ((0, 0), (0, 1))))
        lines.append(np.column_stack([edges, points]))
    half = length[t, k] / 2
    np.maximum.at(best, t, highest(lines, -half, half))
    return np.asarray(best)
