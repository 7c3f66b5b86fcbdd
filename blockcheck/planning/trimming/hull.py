"""The convex hull of an outline, by monotone chains (Andrew 1979).

SciPy's `ConvexHull` gives the same and takes a third of a second to load, which is most of what a
project's list takes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_FLAT_MM = 1e-9  # a corner that stands out by less is none

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Hull:
    """A convex hull of K corners and edges.

    Attributes
    ----------
    vertices : ndarray, shape (K,)
        Its corners, as places in the outline, in order around it: from x towards y.
    normals, offsets : ndarray, shapes (K, 2), (K,)
        Outward unit normals n of its edges and their offsets: inside, n · x <= offset.
    """

    vertices: NDArray[np.intp]
    normals: Array
    offsets: Array

    @classmethod
    def of(cls, points: Array) -> Hull:
        """Find the hull of (N, 2) points in any order.

        Raises
        ------
        ValueError
            If the points lie on one line.
        """
        order = sorted(range(len(points)), key=points.tolist().__getitem__)
        there, back = (_chain(points, some) for some in (order, reversed(order)))
        vertices = np.array([*there[:-1], *back[:-1]], dtype=np.intp)
        if len(vertices) < 3:
            raise ValueError("points on one line")
        corners = points[vertices]
        edge = np.roll(corners, -1, axis=0) - corners
        normals = np.column_stack([edge[:, 1], -edge[:, 0]]) / np.hypot(*edge.T)[:, None]
        return cls(vertices, normals, np.sum(normals * corners, axis=1))


def _chain(points: Array, order: Iterable[int]) -> list[int]:
    """Half of the hull: of points sorted along a direction those that turn one way only."""
    places = points.tolist()
    kept: list[int] = []
    for i in order:
        cx, cy = places[i]
        while len(kept) > 1:
            (ax, ay), (bx, by) = places[kept[-2]], places[kept[-1]]
            out = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
            if out > _FLAT_MM * max(abs(cx - ax), abs(cy - ay)):
                break
            kept.pop()
        kept.append(i)
    return kept
