"""Rectangles inside a measured outline: how tall for a width, at any turn and place.

For a fixed turn `stack` has the answer. The best turn is sought within those that the block's
extent leaves open, by tangents (Kelley 1960); the height is then never too great. It is too low
where a rectangle could end short of an inward bow's inner point, which `taller` looks into.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from .block import Array, Block
from .stack import Stack
from .trying import avoidable, tallest_by_trying

_CHUNK = 64  # blocks at once, for memory
_NARROW = 0.15  # radians; beyond it several turns may be good ones, and a wide fan is laid
_FAN = np.append(np.linspace(-1, 1, 25), [-0.04, -0.013, -0.004, 0.004, 0.013, 0.04])
_DIFFERENCE = 1e-6  # radians, for slopes; a steep height may peak within few of them
_CURVED = 1e6  # mm per radian squared: how far from concave a height between two turns may be
_ENOUGH_MM = 1e-3  # what closing in further may gain at most


def axes(turn: float) -> Array:
    """Rows: the directions of width and height of a rectangle turned by `turn`."""
    c, s = math.cos(turn), math.sin(turn)
    return np.array([[c, s], [-s, c]])


def frontier(block: Block, widths_mm: ArrayLike, max_turn: float = math.pi / 4) -> Array:
    """Largest height that fits for each width, at any place and any turn up to `max_turn`.

    Returns
    -------
    ndarray
        Heights in millimetres; 0 where the width does not fit at all. Never increasing.
    """
    widths = np.atleast_1d(np.asarray(widths_mm, dtype=np.float64))
    low = frontiers([block], widths, max_turn)[0]
    return np.array([taller(block, w, h) for w, h in zip(widths, low, strict=True)])


def taller(block: Block, width_mm: float, height_mm: float, least_mm: float = 0.0) -> float:
    """The height for a width that `frontiers` gave, or a greater one beside an inward bow.

    Looked for where a rectangle could end short of a bow's inner point, by trying. Heights below
    `least_mm` or half of the block's are of no interest.
    """
    grown, margin = width_mm + 2 * block.margin_mm, 2 * block.margin_mm
    least = max(height_mm + margin, least_mm + margin, 0.5 * block.reach_mm)
    if grown <= 0 or not avoidable(block, grown, least):
        return height_mm
    return max(height_mm, tallest_by_trying(block, grown) - margin)


def frontiers(
    blocks: Sequence[Block],
    widths_mm: ArrayLike,
    max_turn: float = math.pi / 4,
    least_mm: float = 0.0,
    enough_mm: float = math.inf,
) -> Array:
    """The frontiers of many blocks at once, one row each, too low at most beside inward bows.

    Heights below `least_mm` are of no interest: they may come out too low, and sooner. Nor is by
    how much they exceed `enough_mm`.
    """
    widths = np.atleast_1d(np.asarray(widths_mm, dtype=np.float64))
    return frontiers_and_turns(blocks, widths, max_turn, least_mm, enough_mm)[0]


def frontiers_and_turns(
    blocks: Sequence[Block],
    widths_mm: Array,
    max_turn: float = math.pi / 4,
    least_mm: float = 0.0,
    enough_mm: float = math.inf,
) -> tuple[Array, Array]:
    """As `frontiers`: the heights, and the turns at which they are had."""
    none = np.empty((0, len(widths_mm)))
    parts = [(none, none)]
    for i in range(0, len(blocks), _CHUNK):
        some = blocks[i : i + _CHUNK]
        parts.append(_of_chunk(some, widths_mm, max_turn, least_mm, enough_mm))
    tall, turns = (np.concatenate(some) for some in zip(*parts, strict=True))
    return tall, turns


def _of_chunk(
    blocks: Sequence[Block], widths_mm: Array, max_turn: float, least_mm: float, enough_mm: float
) -> tuple[Array, Array]:
    """Heights and turns of a few blocks at once, a row for each block and width.

    Looked at first: the block's own turn and those that lie flush with its longest edges. They
    leave only a small range of turns in which a taller rectangle could still lie; there, between
    two neighbours of a fan, the best is closed in on by tangents and by halving.
    """
    n, k = len(blocks), len(widths_mm)
    margin, own = np.repeat([(b.margin_mm, b.turn) for b in blocks], k, axis=0).T
    stack = Stack.of(blocks).of_rows(np.repeat(np.arange(n), k))
    widths = np.maximum(np.tile(widths_mm, n) + 2 * margin, 0.0)
    flush = own[:, None] + np.clip(stack.flush(own), -max_turn, max_turn)
    turns = np.hstack([own[:, None], flush[:, :4]])
    score, height = stack.tallest(widths, turns)
    top, at = _best(height, turns)

    rows = np.flatnonzero(top < enough_mm + 2 * margin)  # where more is wanted
    stack, tried = stack.of_rows(rows), (turns[rows], score[rows], height[rows])
    widths, own, flush, more = (z[rows] for z in (widths, own, flush, 2 * margin))
    least, worth, enough = (np.maximum(mm + more, 0.0) for mm in (least_mm, 0.0, enough_mm))
    reach = stack.reach(widths, np.maximum(top[rows], least), own, max_turn)
    fan = own[:, None] + np.minimum(reach, _NARROW)[:, None] * np.linspace(-1, 1, 9)
    top[rows], at[rows] = _search(stack, widths, fan, worth, enough, tried)
    wide = np.flatnonzero(reach > _NARROW)
    if len(wide):
        turns = np.hstack([flush[wide, 4:], own[wide, None] + _FAN * max_turn])
        some = stack.of_rows(wide), widths[wide], turns, worth[wide], enough[wide]
        high, turn = _search(*some)
        better = high > top[rows[wide]]
        top[rows[wide[better]]], at[rows[wide[better]]] = high[better], turn[better]
    top = np.where(top > 0, np.maximum(top - 2 * margin, 0.0), 0.0).reshape(n, k)
    order = np.argsort(-widths_mm)
    top[:, order] = np.maximum.accumulate(top[:, order], axis=1)
    return np.asarray(top), at.reshape(n, k)


def _search(
    stack: Stack,
    widths: Array,
    turns: Array,
    worth: Array,
    enough: Array,
    tried: tuple[Array, ...] | None = None,
) -> tuple[Array, Array]:
    """Close in on the tallest near the best of (n, t) turns and of those that were tried.

    Heights below `worth` are none, and those from `enough` on need not be greater.
    """

    def tangents(stack: Stack, widths: Array, turns: Array) -> Array:
        """Turn, score and slope at (n, t) turns, stacked first, then the height."""
        score, height = stack.tallest(widths, np.hstack([turns, turns + _DIFFERENCE]))
        value, beside = np.split(score, 2, axis=1)
        slope = (beside - value) / _DIFFERENCE
        return np.stack([turns, value, slope, np.split(height, 2, axis=1)[0]])

    score, height = stack.tallest(widths, turns)
    if tried is not None:
        now = turns, score, height
        turns, score, height = (np.hstack(both) for both in zip(tried, now, strict=True))
    at = _best(score, turns)[1][:, None]
    left = np.where(turns < at - 1e-9, turns, -np.inf).max(axis=1, keepdims=True)
    right = np.where(turns > at + 1e-9, turns, np.inf).min(axis=1, keepdims=True)
    left, right = np.where(left > -9, left, at), np.where(right < 9, right, at)
    left, middle, right = np.split(tangents(stack, widths, np.hstack([left, at, right])), 3, axis=2)
    top, at = _best(height, turns)
    rows = np.arange(len(top))  # a row leaves the work when its best turn is found
    for step in range(24):
        rising = middle[2] >= 0
        left, right = np.where(rising, middle, left), np.where(rising, right, middle)
        turns, promise = _meet(left, right)
        apart = right[0] - left[0]
        if step % 2:  # halved in turn, because between far tangents the height is not concave
            turns = left[0] + apart / 2
        promise += _CURVED * apart**2
        gain = promise[:, 0] > np.maximum(top, worth)[rows] + _ENOUGH_MM
        keep = gain & (apart[:, 0] > 1e-7) & (top[rows] < enough[rows])
        if not keep.any():
            break
        rows, turns = rows[keep], turns[keep]
        left, right = left[:, keep], right[:, keep]
        middle = tangents(stack.of_rows(rows), widths[rows], turns)
        heights, there = np.column_stack([top[rows], middle[3]]), np.column_stack([at[rows], turns])
        top[rows], at[rows] = _best(heights, there)
    return top, at


def _best(heights: Array, turns: Array) -> tuple[Array, Array]:
    """The greatest of (n, t) heights, and its turn."""
    i = heights.argmax(axis=1)[:, None]
    height, turn = (np.take_along_axis(z, i, 1)[:, 0] for z in (heights, turns))
    return height, turn


def _meet(left: Array, right: Array) -> tuple[Array, Array]:
    """Where two tangents meet, and the height there: no concave function lies above it.

    Where they do not rise towards each other, the higher of the two places itself.
    """
    (a, fa, sa), (b, fb, sb) = left[:3], right[:3]
    peak = (sa > 0) & (sb < 0)
    gap = np.where(peak, sa - sb, 1.0)
    turn = np.where(peak, np.clip((fb - fa + sa * a - sb * b) / gap, a, b), np.where(fa > fb, a, b))
    return turn, np.where(peak, fa + sa * (turn - a), np.maximum(fa, fb))
