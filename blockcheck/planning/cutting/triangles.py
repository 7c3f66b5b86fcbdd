"""Squares to cut triangles from, and corners clipped so that triangles are sewn back on.

Trade allowances are common practice; the exact ones are geometry.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ...units import to_step
from .pieces import QUARTER, require_positive, ruler_line
from .workings import Clip, Halved, Setting

# the handbooks' √2, kept so that the tables come out as printed
_ROOT2_TRADE = 1.414


@dataclass(frozen=True)
class Square:
    """A square to cut triangles from: exact, as the trade rounds it, and how many it gives."""

    name: str
    exact_mm: float
    trade_mm: float
    working: Halved | Setting
    triangles: int


def half_square(finished_mm: float, *, seam_mm: float = QUARTER) -> Square:
    """Square for two triangles with finished legs: + (2 + √2) seams; the trade says + 7/8 in."""
    require_positive(finished_leg=finished_mm)
    exact = finished_mm + (2 + math.sqrt(2)) * seam_mm
    trade = finished_mm + 3.5 * seam_mm
    working = Halved(finished_mm, 3.5 * seam_mm, exact, 1)
    return Square("half-square triangles", exact, trade, working, 2)


def quarter_square(finished_mm: float, *, seam_mm: float = QUARTER) -> Square:
    """Square for four triangles with a finished long side: + (2 + 2√2) seams; trade + 1 1/4."""
    require_positive(finished_side=finished_mm)
    exact = finished_mm + (2 + 2 * math.sqrt(2)) * seam_mm
    trade = finished_mm + 5 * seam_mm
    working = Halved(finished_mm, 5 * seam_mm, exact, 2)
    return Square("quarter-square triangles", exact, trade, working, 4)


def setting_triangles(
    finished_mm: float, *, seam_mm: float = QUARTER, unit: str = "in"
) -> tuple[Square, Square]:
    """Squares for side and corner triangles of blocks set on point, rounded up to a ruler line.

    With 1.414 for √2, as the handbooks' table has it; the exact value is always less.
    """
    require_positive(finished_block=finished_mm)
    root = math.sqrt(2)
    long, leg = finished_mm * _ROOT2_TRADE, finished_mm * _ROOT2_TRADE / 2
    step = ruler_line(unit)
    side = to_step(long + 5 * seam_mm, step, "up")
    corner = to_step(leg + 3.5 * seam_mm, step, "up")
    return (
        Square(
            "side triangles",
            finished_mm * root + (2 + 2 * root) * seam_mm,
            side,
            Setting(finished_mm, False, 5 * seam_mm, long + 5 * seam_mm, side),
            4,
        ),
        Square(
            "corner triangles",
            finished_mm / root + (2 + root) * seam_mm,
            corner,
            Setting(finished_mm, True, 3.5 * seam_mm, leg + 3.5 * seam_mm, corner),
            2,
        ),
    )


@dataclass(frozen=True)
class ClippedCorner:
    """A plain rectangle's corner, cut off so that a triangle is sewn back on.

    Attributes
    ----------
    mark_mm : float
        Where to lay the ruler: this far from the cut rectangle's corner along both raw edges.
    exact_mm : float
        The same before rounding to the ruler's mark.
    point_inside_mm : float
        How far the point then lies inside the raw edge, once the triangle is sewn on.
    square : Square
        The square that two such triangles are cut from.
    working : Clip
    """

    mark_mm: float
    exact_mm: float
    point_inside_mm: float
    square: Square
    working: Clip


def clipped_corner(
    leg_finished_mm: float,
    *,
    seam_mm: float = QUARTER,
    step_mm: float | None = None,
    unit: str = "in",
) -> ClippedCorner:
    """Clip a rectangle's corner to match a block whose corner triangle has a finished leg.

    With the cut corner at the origin the sewn line is x + y = leg + 2 × seam, and the cut lies
    one seam allowance nearer the corner: it meets the raw edges at leg + (2 - √2) × seam.
    The mark is rounded down, which takes off less; the point then lies nearer the raw edge by
    as much as the rounding took.
    """
    require_positive(finished_leg=leg_finished_mm)
    exact = leg_finished_mm + (2 - math.sqrt(2)) * seam_mm
    mark = to_step(exact, step_mm or ruler_line(unit), "down")
    inside = mark + (math.sqrt(2) - 1) * seam_mm - leg_finished_mm
    working = Clip(leg_finished_mm, seam_mm, exact, mark, inside)
    square = half_square(leg_finished_mm, seam_mm=seam_mm)
    return ClippedCorner(mark, exact, inside, square, working)
