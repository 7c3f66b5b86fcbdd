"""From a description of the quilt to every piece in its place."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from ..cutting.pieces import CutPiece
from . import body, on_point
from .borders import bordered
from .design import Design
from .patch import Patch, Seam, Unit


@dataclass(frozen=True)
class Layout:
    """A quilt top.

    Attributes
    ----------
    design : Design
    patches : tuple of Patch
    seams : tuple of Seam
        In the order of sewing.
    body_mm : (float, float)
        Finished width and height inside the borders.
    width_mm, height_mm : float
        Finished, with the borders.
    """

    design: Design
    patches: tuple[Patch, ...]
    seams: tuple[Seam, ...]
    body_mm: tuple[float, float]
    width_mm: float
    height_mm: float

    def count(self, name: str) -> int:
        """How many patches have a name."""
        return sum(p.name == name for p in self.patches)

    def pieces(self) -> dict[str, tuple[CutPiece, ...]]:
        """What is cut, fabric by fabric; pieces of one name and size are counted together."""
        found: dict[tuple[str, str, int, int], list[Patch]] = {}
        for p in self.patches:
            if p.fabric:
                name = p.name.partition(", ")[0]  # without the side
                wide, high = (round(mm * 100) for mm in p.cut_mm)
                key = (p.fabric, name, wide, high)
                found.setdefault(key, []).append(p)
        fabrics: dict[str, list[CutPiece]] = {}
        for (fabric, *_), some in found.items():
            fabrics.setdefault(fabric, []).append(_cut(some))
        return {fabric: tuple(some) for fabric, some in fabrics.items()}


def lay_out(design: Design) -> Layout:
    """Lay a quilt top out.

    Raises
    ------
    PlanError
        If sizes do not go together as the setting asks, or nothing is left of a piece.
    """
    whole = on_point.on_point(design) if design.setting == "on point" else body.rows(design)
    if design.body_mm is not None:
        whole = _stretched(whole, *design.body_mm)
    inside = (whole.width_mm, whole.height_mm)
    for i, border in enumerate(design.borders, 1):
        name = f"border {i}" if len(design.borders) > 1 else "border"
        whole = bordered(whole, border, name, seam_mm=design.seam_mm, unit=design.unit)
    return Layout(design, whole.patches, whole.seams, inside, whole.width_mm, whole.height_mm)


def _stretched(unit: Unit, width_mm: float, height_mm: float) -> Unit:
    """The unit as it came out: what it measures differently is shared by all its pieces."""
    x, y = width_mm / unit.width_mm, height_mm / unit.height_mm
    laid = unit.through(lambda p: (p[0] * x, p[1] * y))
    return replace(laid, width_mm=width_mm, height_mm=height_mm)


def _cut(some: list[Patch]) -> CutPiece:
    one = some[0]
    count = math.ceil(len(some) / one.gives)
    if one.gives == 1:
        name, _, _ = one.name.partition(", ")
        sides = dict.fromkeys(p.name.partition(", ")[2] for p in some)
        name += f", {' and '.join(sides)}" if any(sides) else ""
        return CutPiece(name, *one.cut_mm, count, one.working)
    words = f"{one.working}; {len(some)} triangles ÷ {one.gives} = {count} squares"
    return CutPiece(f"square for {one.name}s", *one.cut_mm, count, words)
