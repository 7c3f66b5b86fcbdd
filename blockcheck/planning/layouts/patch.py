"""Pieces of a quilt top as polygons, and how they are sewn into units.

Quilt coordinates: millimetres, finished sizes, x to the right and y down from the top left corner.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ..cutting.workings import PLAIN, Working

Point = tuple[float, float]


@dataclass(frozen=True)
class Patch:
    """One piece of cloth, or one sewn block, in the quilt.

    Attributes
    ----------
    name : str
        By its trade name: "sashing", "side triangle", or the name of a kind of block.
    fabric : str
        What it is cut from; empty for a sewn block.
    corners_mm : tuple of Point
        Finished outline, in order around the piece.
    cut_mm : (float, float)
        Width and height of the rectangle it is cut from; a sewn block's unfinished size.
    gives : int
        How many such pieces that rectangle gives: a square cut twice corner to corner gives four.
    working : Working
        How the cut size comes about.
    """

    name: str
    fabric: str
    corners_mm: tuple[Point, ...]
    cut_mm: tuple[float, float]
    gives: int = 1
    working: Working = PLAIN

    @property
    def area_mm2(self) -> float:
        """Finished area (Gauss's formula)."""
        follow = (*self.corners_mm[1:], self.corners_mm[0])
        twice = sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(self.corners_mm, follow, strict=True))
        return abs(twice) / 2


@dataclass(frozen=True)
class Seam:
    """A seam from a to b, and the patches of the two units that it joins, as ranges of indices.

    Each unit's whole side lies along the seam, so the two are equally long.
    """

    a_mm: Point
    b_mm: Point
    one: tuple[int, int]
    other: tuple[int, int]

    @property
    def length_mm(self) -> float:
        """How long the seam is."""
        return math.dist(self.a_mm, self.b_mm)

    def after(self, patches: int) -> Seam:
        """The same seam where so many patches come before its own."""
        one, other = ((i + patches, j + patches) for i, j in (self.one, self.other))
        return replace(self, one=one, other=other)


@dataclass(frozen=True)
class Unit:
    """Patches sewn together, or a single one.

    A unit with a width and a height is a rectangle whose top left corner is the origin.
    """

    patches: tuple[Patch, ...]
    seams: tuple[Seam, ...] = ()
    width_mm: float = 0.0
    height_mm: float = 0.0

    def through(self, place: Callable[[Point], Point]) -> Unit:
        """The unit with every point taken through `place`."""
        return replace(
            self,
            patches=tuple(
                replace(p, corners_mm=tuple(place(c) for c in p.corners_mm)) for p in self.patches
            ),
            seams=tuple(replace(s, a_mm=place(s.a_mm), b_mm=place(s.b_mm)) for s in self.seams),
        )

    def moved(self, x: float, y: float) -> Unit:
        """The unit laid elsewhere."""
        return self.through(lambda c: (c[0] + x, c[1] + y))

    def sewn_to(self, other: Unit, a: Point, b: Point) -> Unit:
        """Both units in one, joined by the seam from a to b."""
        n, m = len(self.patches), len(other.patches)
        joined = Seam(a, b, (0, n), (n, n + m))
        seams = (*self.seams, *(s.after(n) for s in other.seams), joined)
        return replace(self, patches=self.patches + other.patches, seams=seams)


def rectangle(
    name: str,
    fabric: str,
    width_mm: float,
    height_mm: float,
    *,
    seam_mm: float,
    cut_mm: tuple[float, float] | None = None,
    working: Working = PLAIN,
) -> Unit:
    """A rectangular piece of a finished size; it is cut larger by a seam allowance all round."""
    outline = ((0.0, 0.0), (width_mm, 0.0), (width_mm, height_mm), (0.0, height_mm))
    cut = cut_mm or (width_mm + 2 * seam_mm, height_mm + 2 * seam_mm)
    piece = Patch(name, fabric, outline, cut, working=working)
    return Unit((piece,), (), width_mm, height_mm)


def sewn(units: Sequence[Unit], way: str) -> Unit:
    """Rectangles sewn in their order, "beside" or "below" one another.

    Raises
    ------
    ValueError
        If they are not equally high (wide): what lays them out has to see to that.
    """
    across = way == "below"
    patches: list[Patch] = []
    seams: list[Seam] = []
    at, side = 0.0, units[0].width_mm if across else units[0].height_mm
    for unit in units:
        if not math.isclose(unit.width_mm if across else unit.height_mm, side, abs_tol=1e-6):
            raise ValueError("units of one row have to be equally long at their seams")
        start, laid = len(patches), unit.moved(0, at) if across else unit.moved(at, 0)
        patches += laid.patches
        seams += [s.after(start) for s in laid.seams]
        if start:
            ends = ((0.0, at), (side, at)) if across else ((at, 0.0), (at, side))
            seams.append(Seam(*ends, (0, start), (start, len(patches))))
        at += unit.height_mm if across else unit.width_mm
    size = (side, at) if across else (at, side)
    return Unit(tuple(patches), tuple(seams), *size)
