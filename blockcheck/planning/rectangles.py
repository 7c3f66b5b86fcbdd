"""Rectangles inside a measured outline: how tall for a width, at any turn and place.

A rectangle fits with guard g when the rectangle grown by g on all four sides lies inside the
outline. For a convex outline and a fixed turn that is a set of linear inequalities in centre,
width and height, so the tallest rectangle is a linear program; its one free variable left is
solved exactly by cutting planes (Kelley 1960, in one dimension: tangents of a concave function).
The turn is found by the same tangents, within the turns that the block's extent leaves open; the
height is then never too great, and low by less than 0.01 mm unless two turns are nearly as good.
Where an edge bows inwards, the rectangle's own side must clear every inner point of the pocket,
and its corner the pocket's end edges: never unsafe, and exact when the rectangle's side runs past
the pocket's deepest point; beside it, at most the pocket's depth is given away.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull, QhullError

from ..errors import PlanError

Array = NDArray[np.float64]
DIRECTIONS = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])
_CHUNK = 64  # blocks at once, for memory
_NARROW = 0.15  # radians; beyond it several turns may be good ones, and a wide fan is laid
_FAN = np.append(np.linspace(-1, 1, 25), [-0.04, -0.013, -0.004, 0.004, 0.013, 0.04])
_DIFFERENCE = 1e-5  # radians, for slopes


@dataclass(frozen=True, eq=False)
class Block:
    """A block's outline.

    Attributes
    ----------
    name : str
        The block's name.
    outline_mm : ndarray, shape (N, 2)
        Corners or denser edge points in order around the block; y runs down.
    guard_mm : float
        Expanded uncertainty of the edges, kept between the rectangle and the outline.
    """

    name: str
    outline_mm: Array
    guard_mm: float = 0.0

    def __post_init__(self) -> None:
        points = np.array(self.outline_mm, dtype=np.float64)
        if points.ndim != 2 or points.shape[1] != 2 or len(points) < 3:
            raise PlanError(f"The outline of {self.name} needs three points or more.", "")
        if not np.isfinite(points).all() or not 0 <= self.guard_mm < math.inf:
            raise PlanError(f"The outline of {self.name} holds numbers that are not lengths.", "")
        points.setflags(write=False)
        object.__setattr__(self, "outline_mm", points)
        _ = self.hull

    @cached_property
    def hull(self) -> ConvexHull:
        """The outline's convex hull: outward normals n and offsets with n · x + offset <= 0."""
        try:
            return ConvexHull(self.outline_mm)
        except QhullError as error:
            raise PlanError(f"The outline of {self.name} encloses no cloth.", "") from error

    @cached_property
    def pockets(self) -> _Pockets:
        """The inward bows."""
        return _Pockets.of(self)

    @cached_property
    def turn(self) -> float:
        """The block's own turn: mean direction of its edges, folded to within 45 degrees."""
        edge = np.roll(self.outline_mm, -1, axis=0) - self.outline_mm
        angle, length = np.arctan2(edge[:, 1], edge[:, 0]), np.hypot(*edge.T)
        return float(np.angle(np.sum(length * np.exp(4j * angle))) / 4)

    def transposed(self) -> Block:
        """The block with x and y exchanged, so that width becomes height."""
        return Block(self.name, self.outline_mm[:, ::-1], self.guard_mm)


@dataclass(frozen=True, eq=False)
class _Pockets:
    """A block's inward bows: parts of the outline that run inside an edge of the hull.

    Attributes
    ----------
    normals : ndarray, shape (P, 2)
        The hull's outward normal over each pocket.
    points, owner : ndarray, shapes (V, 2), (V,)
        Inner points of all pockets, and the pocket of each.
    end_normals, end_offsets, away : ndarray, shapes (2 P, 2), (2 P,), (2 P, 2)
        Each pocket's first and last edge; `away` points along it out of the pocket. Only the
        rectangle's corner on that side can reach the edge.
    """

    normals: Array
    points: Array
    owner: NDArray[np.intp]
    end_normals: Array
    end_offsets: Array
    away: Array

    @classmethod
    def of(cls, block: Block) -> _Pockets:
        """Find where the outline leaves its hull."""
        points, n = block.outline_mm, len(block.outline_mm)
        equations = block.hull.equations
        on = (points @ equations[:, :2].T + equations[:, 2]).max(axis=1) > -1e-9
        on[block.hull.vertices] = True
        index = np.flatnonzero(on)
        follow = np.roll(index, -1)
        bowed = (follow - index) % n > 1
        first, last = index[bowed], follow[bowed]
        inner = np.flatnonzero(~on)
        owner = (np.searchsorted(first, inner) - 1) % max(len(first), 1)
        edge = points[last] - points[first]
        normals = np.column_stack([edge[:, 1], -edge[:, 0]]) / np.hypot(*edge.T)[:, None]
        inward = np.sum(normals * (points[(first + 1) % n] - points[first]), axis=1) > 0
        normals[inward] *= -1.0
        ends = points[np.column_stack([first, last]).ravel()]
        away = ends - points[(np.column_stack([first + 1, last - 1]) % n).ravel()]
        across = np.column_stack([away[:, 1], -away[:, 0]]) / np.hypot(*away.T)[:, None]
        across[np.sum(across * np.repeat(normals, 2, axis=0), axis=1) < 0] *= -1.0
        return cls(normals, points[inner], owner, across, np.sum(across * ends, axis=1), away)


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
    return frontiers([block], widths_mm, max_turn)[0]


def frontiers(
    blocks: Sequence[Block],
    widths_mm: ArrayLike,
    max_turn: float = math.pi / 4,
    least_mm: float = 0.0,
) -> Array:
    """The frontiers of many blocks at once, one row each.

    Heights below `least_mm` are of no interest: they may come out too low, and sooner.
    """
    widths = np.atleast_1d(np.asarray(widths_mm, dtype=np.float64))
    rows = [
        frontiers_and_turns(blocks[i : i + _CHUNK], widths, max_turn, least_mm)[0]
        for i in range(0, len(blocks), _CHUNK)
    ]
    return np.concatenate(rows) if rows else np.empty((0, len(widths)))


def frontiers_and_turns(
    blocks: Sequence[Block], widths_mm: Array, max_turn: float, least_mm: float = 0.0
) -> tuple[Array, Array]:
    """Heights, and the turns at which they are had.

    Looked at first: the block's own turn and those that lie flush with its longest edges. They
    leave only a small range of turns in which a taller rectangle could still lie; there, between
    two neighbours of a fan, the best is closed in on by tangents and by halving.
    """
    stack = _Stack.of(blocks)
    guard = np.array([[b.guard_mm] for b in blocks])
    widths = widths_mm + 2 * guard
    n, k = widths.shape
    own = np.array([[b.turn] for b in blocks])

    flush = np.clip(stack.flush(own), -max_turn, max_turn)
    turns = np.hstack([0 * own, flush[:, :4]])[:, :, None] + 0 * widths[:, None]
    height = stack.tallest(widths, own[:, :, None] + turns)[1].max(axis=1)
    reach = stack.reach(widths, np.maximum(height, least_mm), own, max_turn)
    fan = np.minimum(reach, _NARROW)[:, None] * np.linspace(-1, 1, 9)[:, None]
    top, at = _search(stack, widths, own[:, :, None] + np.hstack([turns, fan]), 2 * guard)
    if reach.max() > _NARROW:
        turns = np.hstack([flush[:, 4:], np.tile(_FAN * max_turn, (n, 1))]) + own
        turns = np.repeat(turns[:, :, None], k, axis=2)
        top, at = _best(*np.stack([(top, at), _search(stack, widths, turns, 2 * guard)], axis=2))
    top = np.maximum(top - 2 * guard, 0.0)
    order = np.argsort(-widths_mm)
    top[:, order] = np.maximum.accumulate(top[:, order], axis=1)
    return np.asarray(top), at


def _search(stack: _Stack, widths: Array, turns: Array, worth: Array) -> tuple[Array, Array]:
    """Close in on the tallest near the best of (n, t, k) turns; heights below `worth` are none."""

    def tangents(turns: Array) -> Array:
        """Turn, score and slope at (n, t, k) turns, stacked first, then the height."""
        score, height = stack.tallest(widths, np.hstack([turns, turns + _DIFFERENCE]))
        value, beside = np.split(score, 2, axis=1)
        slope = (beside - value) / _DIFFERENCE
        return np.stack([turns, value, slope, np.split(height, 2, axis=1)[0]])

    score, height = stack.tallest(widths, turns)
    at = _best(score, turns)[1][:, None]
    left = np.where(turns < at - 1e-9, turns, -np.inf).max(axis=1, keepdims=True)
    right = np.where(turns > at + 1e-9, turns, np.inf).min(axis=1, keepdims=True)
    left, right = np.where(left > -9, left, at), np.where(right < 9, right, at)
    left, middle, right = np.split(tangents(np.hstack([left, at, right])), 3, axis=2)
    top, at = _best(height, turns)
    for step in range(24):
        rising = middle[2] >= 0
        left, right = np.where(rising, middle, left), np.where(rising, right, middle)
        turns, promise = _meet(left, right)
        apart = right[0] - left[0]
        if step % 2:  # halved in turn, because between far tangents the height is not concave
            turns = left[0] + apart / 2
        gain = (promise > np.maximum(top, worth)[:, None] + 1e-5) | (apart > 1e-3)
        if not (gain & (apart > 1e-7)).any():
            break
        middle = tangents(turns)
        top, at = _best(np.hstack([top[:, None], middle[3]]), np.hstack([at[:, None], turns]))
    return top, at


def _best(heights: Array, turns: Array) -> tuple[Array, Array]:
    """The greatest of (n, t, k) heights, and its turn."""
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


@dataclass(frozen=True, eq=False)
class _Stack:
    """Hulls and pockets of many blocks, padded to one shape with what never binds."""

    normals: Array
    offsets: Array
    hulls: Array
    bow_normals: Array
    bow_points: Array
    owner: NDArray[np.intp]
    there: NDArray[np.bool_]
    end_normals: Array
    end_offsets: Array
    away: Array

    @classmethod
    def of(cls, blocks: Sequence[Block]) -> _Stack:
        pockets = [b.pockets for b in blocks]
        corners = [b.outline_mm[b.hull.vertices] for b in blocks]
        n = len(blocks)
        v = max(len(one.points) for one in pockets)

        def padded(arrays: Sequence[NDArray[Any]], fill: float = 0.0) -> NDArray[Any]:
            long = max(len(a) for a in arrays)
            out = np.full((n, long, *arrays[0].shape[1:]), fill, dtype=arrays[0].dtype)
            for i, a in enumerate(arrays):
                out[i, : len(a)] = a
            return out

        long = max(len(c) for c in corners)
        return cls(
            padded([b.hull.equations[:, :2] for b in blocks]),
            padded([-b.hull.equations[:, 2] for b in blocks], np.inf),
            np.stack([c[np.minimum(np.arange(long), len(c) - 1)] for c in corners]),
            padded([one.normals for one in pockets]),
            padded([one.points for one in pockets]),
            padded([one.owner for one in pockets]),
            np.arange(v) < np.array([[len(one.points)] for one in pockets]),
            padded([one.end_normals for one in pockets]),
            padded([one.end_offsets for one in pockets], np.inf),
            padded([one.away for one in pockets]),
        )

    def flush(self, own: Array) -> Array:
        """Turns, from the blocks' own, flush with hull edges: each side's longest, then all."""
        edge = np.roll(self.hulls, -1, axis=1) - self.hulls
        length = np.hypot(edge[..., 0], edge[..., 1])
        angle = np.arctan2(edge[..., 1], edge[..., 0]) - own + math.pi / 4
        quarter, turn = np.divmod(angle, math.pi / 2)
        facing = quarter.astype(int) % 4
        longest = [np.where(facing == side, length, -1.0).argmax(axis=1) for side in range(4)]
        turn -= math.pi / 4
        return np.hstack([np.take_along_axis(turn, np.stack(longest, axis=1), axis=1), turn])

    def reach(self, widths: Array, heights: Array, own: Array, max_turn: float) -> Array:
        """Largest turn from the own at which a rectangle taller than `heights` could lie.

        Turned by t it spans w cos t + h sin t across and h cos t + w sin t down, which cannot be
        more than the hull does in the own frame.
        """
        u, v = (self.hulls @ z[..., None] for z in _frames(own[:, 0]))
        diagonal = np.maximum(np.hypot(widths, heights), 1e-9)
        ends = []  # each span fits up to the first turn, and again from the second
        for span, angle in (
            (np.ptp(u, axis=1), np.arctan2(heights, widths)),
            (np.ptp(v, axis=1), np.arctan2(widths, heights)),
        ):
            part = np.arccos(np.minimum(span / diagonal, 1.0))
            ends.append((np.where(part > 0, angle - part, np.inf), angle + part))
        (until, again), (until_down, again_down) = ends
        wide = again <= np.minimum(until_down, max_turn)
        wide |= again_down <= np.minimum(until, max_turn)
        wide |= np.maximum(again, again_down) <= max_turn
        return np.where(wide, max_turn, np.clip(np.minimum(until, until_down), 0.0, max_turn))

    def tallest(self, widths: Array, turns: Array) -> tuple[Array, Array]:
        """Tallest rectangle for each block's (n, k) widths at (n, t, k) turns, without guard.

        Returns
        -------
        score, height
            Height less a penalty for width that lacks; the height, -1 where the width lacks.
        """
        shape = turns.shape
        widths, turns = np.tile(widths, (1, shape[1])), turns.reshape(len(turns), -1)
        n, k = widths.shape
        u, v = _frames(turns)

        def turned(vectors: Array) -> tuple[Array, Array]:
            across = vectors.transpose(0, 2, 1)
            return u @ across, v @ across

        ahead, down = turned(self.bow_normals)
        level = np.abs(ahead) > np.abs(down)  # the pocket is in the left or right side
        side = np.where(level, np.where(ahead > 0, 1, 3), np.where(down < 0, 0, 2))
        owner = np.broadcast_to(self.owner[:, None], (n, k, self.owner.shape[1]))
        side = np.where(self.there[:, None], np.take_along_axis(side, owner, 2), -1)
        x, y = turned(self.bow_points)
        low = np.where(side == 0, y, -np.inf).max(axis=2, initial=-np.inf)
        up = np.where(side == 2, y, np.inf).min(axis=2, initial=np.inf)
        half = widths / 2
        along = turned(self.hulls)[0]
        lo = np.where(side == 3, x, -np.inf).max(axis=2, initial=-np.inf)
        hi = np.where(side == 1, x, np.inf).min(axis=2, initial=np.inf)
        lo, hi = np.maximum(along.min(axis=2), lo) + half, np.minimum(along.max(axis=2), hi) - half

        p, q = turned(self.normals)
        end_p, end_q = turned(self.end_normals)
        way_p, way_q = turned(self.away)
        # an end edge counts only where it comes further in than the pocket's next point
        near = np.where(np.repeat(level, 2, axis=2), end_q * way_q, end_p * way_p) > 0
        b = np.broadcast_to(self.offsets[:, None], p.shape)
        b = np.concatenate([b, np.where(near, self.end_offsets[:, None], np.inf)], axis=2)
        p, q = np.concatenate([p, end_p], axis=2), np.concatenate([q, end_q], axis=2)
        room = b - np.abs(p) * half[..., None]
        steep = np.abs(q) < 1e-10
        with np.errstate(divide="ignore", invalid="ignore"):
            slope, height, limit = -p / q, room / q, room / p
        if steep.any():
            lo = np.maximum(lo, np.where(steep & (p < 0), limit, -np.inf).max(axis=2))
            hi = np.minimum(hi, np.where(steep & (p > 0), limit, np.inf).min(axis=2))
        lines = []
        for below, extreme, never in ((q > 1e-10, up, np.inf), (q < -1e-10, low, -np.inf)):
            a = np.where(below, slope, 0.0).reshape(n * k, -1)
            b = np.where(below, height, never).reshape(n * k, -1)
            lines += [np.pad(a, ((0, 0), (0, 1))), np.hstack([b, extreme.reshape(-1, 1)])]
        lack = np.maximum(lo - hi, 0.0)
        lo, hi = np.minimum(lo, (lo + hi) / 2), np.maximum(hi, (lo + hi) / 2)
        best = _highest(lines, lo.ravel(), hi.ravel()).reshape(n, k)
        height = np.where(lack > 1e-9, -1.0, best)
        return (best - 1e4 * lack).reshape(shape), height.reshape(shape)


def _frames(turns: Array) -> tuple[Array, Array]:
    """Directions of width and height at each turn, along a last axis."""
    u = np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    return u, np.stack([-u[..., 1], u[..., 0]], axis=-1)


def _highest(lines: Sequence[Array], lo: Array, hi: Array) -> Array:
    """Largest of min(upper lines) - max(lower lines) over lo to hi, by tangents from both ends.

    `lines` are (T, m) slopes and heights of the upper and of the lower ones; a row leaves the
    work when it is solved.
    """
    up_a, up_b, low_a, low_b = lines

    def at(rows: NDArray[np.intp], x: Array) -> tuple[Array, Array]:
        i = (up_a[rows] * x[:, None] + up_b[rows]).argmin(axis=1)
        j = (low_a[rows] * x[:, None] + low_b[rows]).argmax(axis=1)
        a = up_a[rows, i] - low_a[rows, j]
        return a * x + up_b[rows, i] - low_b[rows, j], a

    rows = np.arange(len(lo))
    (f0, a0), (f1, a1) = at(rows, lo), at(rows, hi)
    best = np.maximum(f0, f1)
    keep = (a0 > 0) & (a1 < 0)
    for _ in range(60):
        rows = rows[keep]
        lo, hi, f0, f1, a0, a1 = (z[keep] for z in (lo, hi, f0, f1, a0, a1))
        if not len(rows):
            break
        x = np.clip((f1 - f0 + a0 * lo - a1 * hi) / (a0 - a1), lo, hi)
        bound = f0 + a0 * (x - lo)
        f, a = at(rows, x)
        best[rows] = np.maximum(best[rows], f)
        right = a >= 0
        lo, f0, a0 = np.where(right, x, lo), np.where(right, f, f0), np.where(right, a, a0)
        hi, f1, a1 = np.where(right, hi, x), np.where(right, f1, f), np.where(right, a1, a)
        keep = (bound - f > 1e-7) & (a0 > 0) & (a1 < 0)
    return best
