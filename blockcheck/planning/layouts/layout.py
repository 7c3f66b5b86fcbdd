"""From a description of the quilt to every piece in its place."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ..cutting.pieces import CutPiece
from ..cutting.workings import Squares
from . import body, on_point
from .borders import bordered
from .design import Design
from .patch import Patch, Seam, Unit

BORDER = "border"


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
    across_mm, down_mm : tuple of float
        Finished lengths of the pieces along the body's top and left side.
    width_mm, height_mm : float
        Finished, with the borders.
    worked_mm : (float, float)
        The body as it is worked out, where `body_mm` is as measured.
    """

    design: Design
    patches: tuple[Patch, ...]
    seams: tuple[Seam, ...]
    body_mm: tuple[float, float]
    across_mm: tuple[float, ...]
    down_mm: tuple[float, ...]
    width_mm: float
    height_mm: float
    worked_mm: tuple[float, float]

    def count(self, name: str) -> int:
        """How many patches have a name."""
        return sum(p.name == name for p in self.patches)

    def kinds(self) -> tuple[tuple[Patch, ...], ...]:
        """Patches of one name and cut size together: sewn blocks, what lies between, borders."""
        found: dict[tuple[str, int, int], list[Patch]] = {}
        for p in self.patches:
            wide, high = (round(mm * 100) for mm in p.cut_mm)
            found.setdefault((p.name.partition(", ")[0], wide, high), []).append(p)
        order = sorted(found.values(), key=lambda some: _from_inside(some[0]))
        return tuple(tuple(some) for some in order)

    def pieces(self) -> dict[str, tuple[CutPiece, ...]]:
        """What is cut, by what it is cut for; pieces of one name and size are counted together."""
        fabrics: dict[str, list[CutPiece]] = {}
        for some in self.kinds():
            if some[0].fabric:
                fabrics.setdefault(some[0].fabric, []).append(_cut(some))
        return {fabric: tuple(some) for fabric, some in fabrics.items()}

    def piece(self, name: str) -> CutPiece | None:
        """The first piece of a name that is cut."""
        return next((p for some in self.pieces().values() for p in some if p.name == name), None)


def lay_out(design: Design) -> Layout:
    """Lay a quilt top out.

    Raises
    ------
    PlanError
        If sizes do not go together as the setting asks, or nothing is left of a piece.
    """
    whole = on_point.on_point(design) if design.setting == "on point" else body.rows(design)
    worked = (whole.width_mm, whole.height_mm)
    if design.body_mm is not None:
        whole = _stretched(whole, *design.body_mm)
    inside = (whole.width_mm, whole.height_mm)
    along = _along(whole, 0), _along(whole, 1)
    for i, border in enumerate(design.borders, 1):
        name = f"{BORDER} {i}" if len(design.borders) > 1 else BORDER
        whole = bordered(whole, border, name, seam_mm=design.seam_mm, unit=design.unit)
    size = whole.width_mm, whole.height_mm
    return Layout(design, whole.patches, whole.seams, inside, *along, *size, worked)


def _stretched(unit: Unit, width_mm: float, height_mm: float) -> Unit:
    """The unit as it came out: what it measures differently is shared by all its pieces."""
    x, y = width_mm / unit.width_mm, height_mm / unit.height_mm
    laid = unit.through(lambda p: (p[0] * x, p[1] * y))
    return replace(laid, width_mm=width_mm, height_mm=height_mm)


def _along(unit: Unit, way: int) -> tuple[float, ...]:
    """Lengths of the pieces' edges on the body's top (0) or left side (1)."""
    found = []
    for p in unit.patches:
        on = [c[way] for c in p.corners_mm if abs(c[1 - way]) < 1e-6]
        if len(on) == 2:
            found.append((min(on), max(on) - min(on)))
    return tuple(length for _, length in sorted(found))


def _from_inside(patch: Patch) -> tuple[bool, str]:
    border = patch.fabric if patch.fabric.startswith(BORDER) else ""
    return bool(patch.fabric), border


def _cut(some: Sequence[Patch]) -> CutPiece:
    one = some[0]
    count = math.ceil(len(some) / one.gives)
    if one.gives == 1:
        name, _, _ = one.name.partition(", ")
        sides = dict.fromkeys(p.name.partition(", ")[2] for p in some)
        name += f", {' and '.join(sides)}" if any(sides) else ""
        return CutPiece(name, *one.cut_mm, count, one.working)
    working = Squares(one.working, len(some), one.gives, count)
    return CutPiece(f"square for {one.name}s", *one.cut_mm, count, working)
