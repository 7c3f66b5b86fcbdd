"""Hulls and inward bows of many blocks at once, and the tallest rectangle for given turns.

A rectangle fits with guard g when the rectangle grown by g on all four sides lies inside the
outline. For a convex outline and a fixed turn that is a set of linear inequalities in centre,
width and height, so the tallest rectangle is a linear program; its one free variable left is
solved exactly by cutting planes (Kelley 1960, in one dimension: tangents of a concave function).
Where an edge bows inwards, the rectangle's own side must clear every inner point of the pocket,
and its corner the pocket's end edges: never unsafe, and exact when the rectangle's side runs past
the pocket's deepest point; beside it, at most the pocket's depth is given away.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .block import Array, Block


@dataclass(frozen=True, eq=False)
class Stack:
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
    def of(cls, blocks: Sequence[Block]) -> Stack:
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
            padded([b.hull.normals for b in blocks]),
            padded([b.hull.offsets for b in blocks], np.inf),
            np.stack([c[np.minimum(np.arange(long), len(c) - 1)] for c in corners]),
            padded([one.normals for one in pockets]),
            padded([one.points for one in pockets]),
            padded([one.owner for one in pockets]),
            np.arange(v) < np.array([[len(one.points)] for one in pockets]),
            padded([one.end_normals for one in pockets]),
            padded([one.end_offsets for one in pockets], np.inf),
            padded([one.away for one in pockets]),
        )

    def of_rows(self, rows: NDArray[np.intp]) -> Stack:
        """Return the stack of some of the blocks."""
        return Stack(*(getattr(self, field.name)[rows] for field in fields(self)))

    def flush(self, own: Array) -> Array:
        """Turns, from the blocks' own, flush with hull edges: each side's longest, then all."""
        edge = np.roll(self.hulls, -1, axis=1) - self.hulls
        length = np.hypot(edge[..., 0], edge[..., 1])
        angle = np.arctan2(edge[..., 1], edge[..., 0]) - own[:, None] + math.pi / 4
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
        u, v = ((self.hulls @ z[..., None])[..., 0] for z in frames(own))
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
        """Tallest rectangle for each block's width, (n,), at (n, t) turns, without guard.

        Returns
        -------
        score, height
            Height less a penalty for width that lacks; the height, -1 where the width lacks.
        """
        n, k = turns.shape
        u, v = frames(turns)

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
        half = widths[:, None] / 2
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
            a = np.where(below, slope, 0.0).reshape(n * k, p.shape[2])
            b = np.where(below, height, never).reshape(n * k, p.shape[2])
            lines += [np.pad(a, ((0, 0), (0, 1))), np.hstack([b, extreme.reshape(-1, 1)])]
        lack = np.maximum(lo - hi, 0.0)
        lo, hi = np.minimum(lo, (lo + hi) / 2), np.maximum(hi, (lo + hi) / 2)
        best = highest(lines, lo.ravel(), hi.ravel()).reshape(n, k)
        # turns that only just hold the width are met to a nanometre, no nearer
        height = np.where(lack > 1e-6, -1.0, best)
        return best - 1e4 * lack, height


def frames(turns: Array) -> tuple[Array, Array]:
    """Directions of width and height at each turn, along a last axis."""
    u = np.stack([np.cos(turns), np.sin(turns)], axis=-1)
    return u, np.stack([-u[..., 1], u[..., 0]], axis=-1)


def highest(lines: Sequence[Array], lo: Array, hi: Array) -> Array:
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
