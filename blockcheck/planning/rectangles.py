"""Rectangles inside a measured outline: how tall for a width, at any turn and place.

A rectangle fits with guard g when the rectangle grown by g on all four sides lies inside the
outline. For a convex outline and a fixed turn that is a set of linear inequalities in centre,
width and height, so the tallest rectangle is a linear program; its one free variable left is
solved exactly by cutting planes (Kelley 1960, in one dimension: tangents of a concave function).
Where an edge bows inwards, the rectangle's own side must clear every inner point of the pocket,
and its corner the pocket's end edges: never unsafe, and exact when the rectangle's side runs past
the pocket's deepest point.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import ConvexHull, QhullError

from ..errors import PlanError

Array = NDArray[np.float64]
DIRECTIONS = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])


@dataclass(frozen=True, eq=False)
class Pocket:
    """An inward bow: the hull's normal over it, its inner points, and its two end edges.

    `away` points along each end edge out of the pocket; only the rectangle's corner on that
    side can reach the edge.
    """

    normal: Array
    points: Array
    end_normals: Array
    end_offsets: Array
    away: Array

    @classmethod
    def of(cls, normal: Array, chain: Array) -> Pocket:
        """Pocket of a chain of points that begins and ends on the hull."""
        away = np.array([chain[0] - chain[1], chain[-1] - chain[-2]])
        across = np.column_stack([away[:, 1], -away[:, 0]])
        across /= np.hypot(*across.T)[:, None]
        across *= np.where(across @ normal < 0, -1.0, 1.0)[:, None]
        ends = np.sum(across * chain[[0, -1]], axis=1)
        return cls(normal, _extreme(chain[1:-1]), across, ends, away)

    def corners(self, frame: Array, side: int) -> Array:
        """Signs of the two rectangle corners that could reach the end edges."""
        along = frame[side % 2]
        way = DIRECTIONS[side] + np.where(self.away @ along < 0, -1.0, 1.0)[:, None] * np.abs(
            DIRECTIONS[side][::-1]
        )
        return np.asarray(way)


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
        _ = self.planes

    @cached_property
    def planes(self) -> tuple[Array, Array]:
        """Outward normals and offsets of the convex hull's edges: n · x <= b."""
        try:
            hull = ConvexHull(self.outline_mm)
        except QhullError as error:
            raise PlanError(f"The outline of {self.name} encloses no cloth.", "") from error
        rows = np.unique(np.round(hull.equations, 12), axis=0)
        return rows[:, :2], -rows[:, 2]

    @cached_property
    def hull_mm(self) -> Array:
        """Corners of the outline's convex hull."""
        return np.asarray(self.outline_mm[ConvexHull(self.outline_mm).vertices])

    @cached_property
    def pockets(self) -> tuple[Pocket, ...]:
        """The inward bows."""
        points, on = self.outline_mm, np.zeros(len(self.outline_mm), dtype=bool)
        on[ConvexHull(points).vertices] = True
        normals, offsets = self.planes
        on |= (points @ normals.T - offsets).max(axis=1) > -1e-9
        found, index = [], np.flatnonzero(on)
        for a, b in zip(index, np.roll(index, -1), strict=True):
            chain = np.arange(a, (b if b > a else b + len(points)) + 1) % len(points)
            if len(chain) > 2:
                ends = (points[a] + points[b]) / 2
                k = int(np.argmax(normals @ ends - offsets))
                found.append(Pocket.of(normals[k], points[chain]))
        return tuple(found)

    @cached_property
    def turn(self) -> float:
        """The block's own turn: mean direction of its edges, folded to within 45 degrees."""
        edge = np.roll(self.outline_mm, -1, axis=0) - self.outline_mm
        angle, length = np.arctan2(edge[:, 1], edge[:, 0]), np.hypot(*edge.T)
        return float(np.angle(np.sum(length * np.exp(4j * angle))) / 4)

    def transposed(self) -> Block:
        """The block with x and y exchanged, so that width becomes height."""
        return Block(self.name, self.outline_mm[:, ::-1], self.guard_mm)


def _extreme(points: Array) -> Array:
    """The points that some side could touch: the convex hull's corners."""
    if len(points) < 4:
        return points
    try:
        return np.asarray(points[ConvexHull(points).vertices])
    except QhullError:  # all on one line: its ends
        far = np.argmax(np.hypot(*(points - points[0]).T))
        other = np.argmax(np.hypot(*(points - points[far]).T))
        return points[[far, other]]


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
    blocks: Sequence[Block], widths_mm: ArrayLike, max_turn: float = math.pi / 4
) -> Array:
    """The frontiers of many blocks at once, one row each.

    Turns are searched from those at which a side lies flush with an edge and a coarse fan,
    then by golden section on both sides of the best.
    """
    widths = np.atleast_1d(np.asarray(widths_mm, dtype=np.float64))
    rows = [
        frontiers_and_turns(blocks[i : i + 64], widths, max_turn)[0]
        for i in range(0, len(blocks), 64)
    ]
    return np.concatenate(rows) if rows else np.empty((0, len(widths)))


def frontiers_and_turns(
    blocks: Sequence[Block], plain: Array, max_turn: float
) -> tuple[Array, Array]:
    """Heights, and the turns at which they are had."""
    stack = _Stack.of(blocks)
    guard = np.array([[b.guard_mm] for b in blocks])
    widths = plain + 2 * guard
    n, k = widths.shape
    fan = np.concatenate([np.linspace(-max_turn, max_turn, 13), [-0.01, -0.003, 0.003, 0.01]])
    # only an edge's own turn counts, so equal turns may stand twice
    flush = np.arctan2(stack.normals[..., 1], stack.normals[..., 0])
    own = np.array([[b.turn] for b in blocks])
    flush = (flush - own + math.pi / 4) % (math.pi / 2) - math.pi / 4
    flush = np.clip(flush, -max_turn, max_turn)
    turns = np.sort(np.hstack([flush, np.tile(fan, (n, 1))]), axis=1) + own
    t = turns.shape[1]
    all_turns = np.repeat(turns, k, axis=1)
    heights = stack.tallest(np.tile(widths, (1, t)), all_turns).reshape(n, t, k)
    best, top = heights.argmax(axis=1), heights.max(axis=1)
    middle = np.take_along_axis(turns, best, axis=1)
    below = np.where(turns[:, :, None] < middle[:, None] - 1e-9, turns[:, :, None], -np.inf)
    above = np.where(turns[:, :, None] > middle[:, None] + 1e-9, turns[:, :, None], np.inf)
    low, high = below.max(axis=1), above.min(axis=1)
    low, high = np.where(low > -9, low, middle), np.where(high < 9, high, middle)
    a, b = np.hstack([low, middle]), np.hstack([middle, high])
    both = np.hstack([widths, widths])
    golden = (math.sqrt(5) - 1) / 2
    c, d = b - golden * (b - a), a + golden * (b - a)
    hc, hd = stack.tallest(both, c), stack.tallest(both, d)
    at = middle
    for _ in range(20):
        left = hc > hd
        a, b = np.where(left, a, c), np.where(left, d, b)
        new = np.where(left, b - golden * (b - a), a + golden * (b - a))
        value = stack.tallest(both, new)
        c, d = np.where(left, new, d), np.where(left, c, new)
        hc, hd = np.where(left, value, hd), np.where(left, hc, value)
        for half in (slice(None, k), slice(k, None)):
            better = value[:, half] > top
            top, at = np.where(better, value[:, half], top), np.where(better, new[:, half], at)
    top = np.maximum(top - 2 * guard, 0.0)
    order = np.argsort(-plain)
    top[:, order] = np.maximum.accumulate(top[:, order], axis=1)
    return np.asarray(top), at


@dataclass(frozen=True, eq=False)
class _Stack:
    """Half-planes and pockets of many blocks, padded to one shape with what never binds."""

    normals: Array
    offsets: Array
    bow_normals: Array
    bows: Array
    bow_there: NDArray[np.bool_]
    end_normals: Array
    end_offsets: Array
    away: Array
    outlines: Array

    @classmethod
    def of(cls, blocks: Sequence[Block]) -> _Stack:
        n = len(blocks)
        m = max(len(b.planes[1]) for b in blocks)
        p = max(len(b.pockets) for b in blocks)
        q = max((len(pocket.points) for b in blocks for pocket in b.pockets), default=0)
        r = max(len(b.hull_mm) for b in blocks)
        stack = cls(
            np.zeros((n, m, 2)),
            np.full((n, m), np.inf),
            np.zeros((n, p, 2)),
            np.zeros((n, p, q, 2)),
            np.zeros((n, p), dtype=bool),
            np.zeros((n, p, 2, 2)),
            np.full((n, p, 2), np.inf),
            np.zeros((n, p, 2, 2)),
            np.zeros((n, r, 2)),
        )
        for i, block in enumerate(blocks):
            normals, offsets = block.planes
            stack.normals[i, : len(normals)], stack.offsets[i, : len(offsets)] = normals, offsets
            for j, bow in enumerate(block.pockets):
                stack.bow_normals[i, j], stack.bow_there[i, j] = bow.normal, True
                stack.bows[i, j] = bow.points[np.minimum(np.arange(q), len(bow.points) - 1)]
                stack.end_normals[i, j], stack.end_offsets[i, j] = bow.end_normals, bow.end_offsets
                stack.away[i, j] = bow.away
            corners = block.hull_mm
            stack.outlines[i] = corners[np.minimum(np.arange(r), len(corners) - 1)]
        return stack

    def tallest(self, widths: Array, turns: Array) -> Array:
        """Tallest rectangle for each block's widths and turns (no guard); -inf if none."""
        u = np.stack([np.cos(turns), np.sin(turns)], axis=1)
        v = np.stack([-u[:, 1], u[:, 0]], axis=1)
        p, q = self.normals @ u, self.normals @ v
        b = np.broadcast_to(self.offsets[:, :, None], p.shape)
        if self.bow_there.any():
            ahead, down = self.bow_normals @ u, self.bow_normals @ v
            across = np.abs(ahead) > np.abs(down)
            px = np.where(across, np.sign(ahead), 0.0)
            qx = np.where(across, 0.0, np.where(down < 0, -1.0, 1.0))
            reach = (self.bows @ u[:, None]) * px[:, :, None] + (self.bows @ v[:, None]) * qx[
                :, :, None
            ]
            bx = np.where(self.bow_there[:, :, None], reach.min(axis=2), np.inf)
            p, q, b = (np.concatenate(z, axis=1) for z in ((p, px), (q, qx), (b, bx)))
            for end in (0, 1):  # an end edge counts if the corner next to it is the nearest
                ep, eq = self.end_normals[:, :, end] @ u, self.end_normals[:, :, end] @ v
                ap, aq = self.away[:, :, end] @ u, self.away[:, :, end] @ v
                near = np.where(across, eq * aq, ep * ap) > 0
                eb = np.where(near, self.end_offsets[:, :, end, None], np.inf)
                p, q, b = (np.concatenate(z, axis=1) for z in ((p, ep), (q, eq), (b, eb)))
        room = b - np.abs(p) * widths[:, None] / 2
        flat = np.abs(q) < 1e-10
        with np.errstate(divide="ignore", invalid="ignore"):
            slope, level, limit = -p / q, room / q, room / p
        upper, lower = (q > 0) & ~flat, (q < 0) & ~flat
        along = self.outlines @ u
        lo = np.maximum(along.min(axis=1), np.where(flat & (p < 0), limit, -np.inf).max(axis=1))
        hi = np.minimum(along.max(axis=1), np.where(flat & (p > 0), limit, np.inf).min(axis=1))
        possible = hi >= lo - 1e-9
        lo, hi = np.where(possible, lo, 0.0), np.where(possible, hi, 0.0)
        up_a, up_b = np.where(upper, slope, 0.0), np.where(upper, level, np.inf)
        low_a, low_b = np.where(lower, slope, 0.0), np.where(lower, level, -np.inf)
        best = _highest(up_a, up_b, low_a, low_b, lo, hi)
        return np.where(possible & (best > 0), best, -np.inf)


def _highest(up_a: Array, up_b: Array, low_a: Array, low_b: Array, lo: Array, hi: Array) -> Array:
    """Largest of min(upper lines) - max(lower lines) over lo to hi, by tangents from both ends."""

    def at(x: Array) -> tuple[Array, Array]:
        i = (up_a * x[:, None] + up_b).argmin(axis=1)[:, None]
        j = (low_a * x[:, None] + low_b).argmax(axis=1)[:, None]
        take = np.take_along_axis
        a = (take(up_a, i, 1) - take(low_a, j, 1))[:, 0]
        return a * x + (take(up_b, i, 1) - take(low_b, j, 1))[:, 0], a

    (f0, a0), (f1, a1) = at(lo), at(hi)
    best = np.maximum(f0, f1)
    for _ in range(60):
        active = (a0 > 0) & (a1 < 0)
        gap = np.where(active, a0 - a1, 1.0)
        x = np.clip(np.where(active, (f1 - f0 + a0 * lo - a1 * hi) / gap, lo), lo, hi)
        bound = f0 + a0 * (x - lo)
        f, a = at(x)
        best = np.maximum(best, f)
        if not (active & (bound - f > 1e-7)).any():
            break
        right, left = active & (a >= 0), active & (a < 0)
        lo, f0, a0 = np.where(right, x, lo), np.where(right, f, f0), np.where(right, a, a0)
        hi, f1, a1 = np.where(left, x, hi), np.where(left, f, f1), np.where(left, a, a1)
    return best
