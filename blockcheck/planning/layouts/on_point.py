"""Blocks on point: diagonal rows that end in setting triangles.

Blocks are placed by U along a diagonal row and V across the rows, in block sides. With the quilt
`c` blocks wide and `r` high its edges are U - V = 0 and 2c, U + V = 0 and 2r. A place whose centre
lies on one of them is cut to a side triangle, on two of them to a corner triangle.
"""

from __future__ import annotations

import math

from ...errors import PlanError
from ..cutting.triangles import Square, setting_triangles
from .body import block
from .design import Design
from .patch import Patch, Point, Unit

SIDE, CORNER = "side triangle", "corner triangle"


def on_point(d: Design) -> Unit:
    """The body of quilts whose blocks stand on a corner.

    Raises
    ------
    PlanError
        If the blocks are not squares of one size.
    """
    side = _side(d)
    r, c = d.rows, d.blocks_per_row
    squares = setting_triangles(side, seam_mm=d.seam_mm, unit=d.unit)

    def end(u: int, v: int) -> Unit:
        return _triangle(u, v, r, c, side, squares)

    whole: Unit | None = None
    for v in range(1 - c, r):
        first, last = abs(v), min(2 * c + v, 2 * r - v)
        row = end(first, v)
        for u in range(first + 1, last):
            laid = block(d, d.kind_at(v, u - 1), side, side).moved(
                (u - 0.5) * side, (v - 0.5) * side
            )
            row = row.sewn_to(laid, *_upright(u - 0.5, v, side))
        row = row.sewn_to(end(last, v), *_upright(last - 0.5, v, side))
        if whole is None:
            whole = row
            continue
        # the row above ends where its outermost triangles point down, this one where they point up
        left, right = max(0.5 - v, v - 0.5), min(2 * c + v - 0.5, 2 * r - v + 0.5)
        whole = whole.sewn_to(
            row, (left * side, (v - 0.5) * side), (right * side, (v - 0.5) * side)
        )
    assert whole is not None
    for u, v, y in ((c, -c, 0.5 - c), (r, r, r - 0.5)):  # top right and bottom left, sewn on last
        ends = ((u - 0.5) * side, y * side), ((u + 0.5) * side, y * side)
        whole = whole.sewn_to(end(u, v), *ends)
    turned = whole.through(lambda p: ((p[0] - p[1]) / math.sqrt(2), (p[0] + p[1]) / math.sqrt(2)))
    width, height = c * side * math.sqrt(2), r * side * math.sqrt(2)
    return Unit(turned.patches, turned.seams, width, height)


def _side(d: Design) -> float:
    sizes = {k: d.framed(k) for line in d.repeat for k in line if k in d.blocks_mm}
    sizes = sizes or {k: d.framed(k) for k in d.blocks_mm}
    side = next(iter(sizes.values()))[0]
    for kind, (w, h) in sizes.items():
        if max(abs(w - side), abs(h - side)) > 0.05:
            raise _no_square(d, kind, w, h)
    return side


def _no_square(d: Design, kind: str, framed_w: float, framed_h: float) -> PlanError:
    """The failure of a block that is not a square as the others are, with the frame that makes it one."""
    w, h = d.blocks_mm[kind]
    sides = "left and right" if w < h else "top and bottom"
    cut = d.said(abs(h - w) / 2 + 2 * d.seam_mm)
    make = f"Frame it {sides} with strips cut {cut} wide"
    if abs(h - w) < 0.05:
        make = "Trim them to one size"
    return PlanError(
        f"Only squares of one size are set on point; {kind} is {d.said(framed_w)} × "
        f"{d.said(framed_h)} finished.",
        f"{make}, or choose a straight setting.",
    )


def _upright(u: float, v: int, side: float) -> tuple[Point, Point]:
    return (u * side, (v - 0.5) * side), (u * side, (v + 0.5) * side)


def _triangle(u: int, v: int, r: int, c: int, side: float, squares: tuple[Square, Square]) -> Unit:
    """The triangle that remains of a place whose centre lies on the quilt's edge."""
    box = [(u - 0.5, v - 0.5), (u + 0.5, v - 0.5), (u + 0.5, v + 0.5), (u - 0.5, v + 0.5)]
    inside = [p for p in box if 0 <= p[0] - p[1] <= 2 * c and 0 <= p[0] + p[1] <= 2 * r]
    on_edges = (u == v) + (u == -v) + (u - v == 2 * c) + (u + v == 2 * r)
    name, square = (SIDE, squares[0]) if on_edges == 1 else (CORNER, squares[1])
    corners = inside if on_edges == 1 else [*inside, (float(u), float(v))]
    outline = tuple((x * side, y * side) for x, y in corners)
    cut = (square.trade_mm, square.trade_mm)
    return Unit((Patch(name, "setting triangles", outline, cut, square.triangles, square.working),))
