"""A block as cloth: its outline, the hull around it, and where its edges bow inwards."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ...errors import PlanError
from .hull import Array as Array
from .hull import Hull


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
        Expanded uncertainty of the edges, kept between the rectangle and the outline where a
        guarded decision is asked for.
    give_mm : float
        How far an edge may lie inside the rectangle's side: what the seam allowance can lose
        and still hold.
    """

    name: str
    outline_mm: Array
    guard_mm: float = 0.0
    give_mm: float = 0.0

    def __post_init__(self) -> None:
        points = np.array(self.outline_mm, dtype=np.float64)
        if points.ndim != 2 or points.shape[1] != 2 or len(points) < 3:
            raise PlanError(f"The outline of {self.name} needs three points or more.")
        margins = self.guard_mm, self.give_mm
        if not (np.isfinite(points).all() and all(0 <= mm < math.inf for mm in margins)):
            raise PlanError(f"The outline of {self.name} holds numbers that are not lengths.")
        points.setflags(write=False)
        object.__setattr__(self, "outline_mm", points)
        _ = self.hull

    @property
    def margin_mm(self) -> float:
        """Least distance from the rectangle's sides out to the edges; negative: inside them."""
        return self.guard_mm - self.give_mm

    @cached_property
    def hull(self) -> Hull:
        """The outline's convex hull."""
        try:
            return Hull.of(self.outline_mm)
        except ValueError as error:
            raise PlanError(f"The outline of {self.name} encloses no cloth.") from error

    @cached_property
    def pockets(self) -> Pockets:
        """The inward bows."""
        return Pockets.of(self)

    @cached_property
    def turn(self) -> float:
        """The block's own turn: mean direction of its edges, folded to within 45 degrees."""
        edge = np.roll(self.outline_mm, -1, axis=0) - self.outline_mm
        angle, length = np.arctan2(edge[:, 1], edge[:, 0]), np.hypot(*edge.T)
        return float(np.angle(np.sum(length * np.exp(4j * angle))) / 4)

    @cached_property
    def reach_mm(self) -> float:
        """Height of the outline at the block's own turn."""
        c, s = math.cos(self.turn), math.sin(self.turn)
        return float(np.ptp(self.outline_mm @ np.array([-s, c])))

    def transposed(self) -> Block:
        """The block with x and y exchanged, so that width becomes height."""
        return Block(self.name, self.outline_mm[:, ::-1], self.guard_mm, self.give_mm)

    def giving(self, give_mm: float) -> Block:
        """The block with another `give_mm`; what is known of its shape is kept."""
        other = copy.copy(self)
        object.__setattr__(other, "give_mm", give_mm)
        return other


@dataclass(frozen=True, eq=False)
class Pockets:
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
    def of(cls, block: Block) -> Pockets:
        """Find where the outline leaves its hull."""
        points, n = block.outline_mm, len(block.outline_mm)
        hull = block.hull
        on = (points @ hull.normals.T - hull.offsets).max(axis=1) > -1e-9
        on[hull.vertices] = True
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
