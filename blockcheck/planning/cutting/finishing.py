"""The finished quilt: its size, what goes behind and around it, and its quilting lines.

Overhang, strip width and the binding's rule are common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ...errors import PlanError
from ...units import INCH, format_length, to_step
from .pieces import USABLE, CutPiece, require_positive, to_buy
from .workings import BindingStrips, EqualGaps, Overhang, Panels

# what is usual, each unit in its own round values: common practice
OVERHANG_MM = {"in": 4 * INCH, "cm": 100.0}
BINDING_STRIP_MM = {"in": 2.5 * INCH, "cm": 65.0}
BINDING_EXTRA_MM = {"in": 12 * INCH, "cm": 300.0}
BACKING_SEAM_MM = {"in": INCH / 2, "cm": 10.0}
LINES_APART_MM = {"in": 2 * INCH, "cm": 50.0}  # marked quilting lines at most this far apart


@dataclass(frozen=True)
class Binding:
    """Binding: length with joins and corners, strips, cloth, and cloth to buy."""

    length_mm: float
    strips: int
    cloth_mm: float
    working: BindingStrips
    bought_mm: float


def binding(
    width_mm: float,
    height_mm: float,
    *,
    strip_mm: float | None = None,
    usable_mm: float = USABLE,
    extra_mm: float | None = None,
    unit: str = "in",
) -> Binding:
    """Binding strips: (2 × width + 2 × height + 12 in, or 30 cm) ÷ usable width, rounded up."""
    strip_mm = BINDING_STRIP_MM[unit] if strip_mm is None else strip_mm
    extra_mm = BINDING_EXTRA_MM[unit] if extra_mm is None else extra_mm
    require_positive(width=width_mm, height=height_mm, strip=strip_mm, usable_width=usable_mm)
    length = 2 * width_mm + 2 * height_mm + extra_mm
    strips = math.ceil(length / usable_mm - 1e-9)
    cloth = strips * strip_mm
    bought = to_buy(cloth, unit)
    working = BindingStrips(
        width_mm, height_mm, extra_mm, usable_mm, strips, strip_mm, cloth, bought
    )
    return Binding(length, strips, cloth, working, bought)


def batting(
    width_mm: float, height_mm: float, *, overhang_mm: float | None = None, unit: str = "in"
) -> CutPiece:
    """Batting: the quilt and an overhang on every side (4 in or 10 cm is common practice)."""
    overhang_mm = OVERHANG_MM[unit] if overhang_mm is None else overhang_mm
    require_positive(width=width_mm, height=height_mm)
    size = width_mm + 2 * overhang_mm, height_mm + 2 * overhang_mm
    return CutPiece("batting", *size, 1, Overhang(width_mm, height_mm, overhang_mm))


@dataclass(frozen=True)
class Backing:
    """Backing: its panels, the cloth they take, and the cloth to buy."""

    panels: CutPiece
    cloth_mm: float
    bought_mm: float


def backing(
    width_mm: float,
    height_mm: float,
    *,
    overhang_mm: float | None = None,
    usable_mm: float = USABLE,
    seam_mm: float | None = None,
    unit: str = "in",
) -> Backing:
    """Backing panels of the usable width sewn side by side, whichever way takes less cloth."""
    seam_mm = BACKING_SEAM_MM[unit] if seam_mm is None else seam_mm
    over = OVERHANG_MM[unit] if overhang_mm is None else overhang_mm
    whole = batting(width_mm, height_mm, overhang_mm=over, unit=unit)
    if usable_mm <= 2 * seam_mm:
        raise PlanError("The usable width is not wider than its seams.")
    ways = []
    for wide, long, seams in (
        (whole.width_mm, whole.height_mm, "vertical"),
        (whole.height_mm, whole.width_mm, "horizontal"),
    ):
        panels = max(1, math.ceil((wide - 2 * seam_mm) / (usable_mm - 2 * seam_mm) - 1e-9))
        ways.append((panels * long, panels, long, seams))
    total, panels, long, seams = min(ways)
    bought = to_buy(total, unit)
    working = Panels(Overhang(width_mm, height_mm, over), panels, long, seams, total, bought)
    return Backing(CutPiece("backing panel", usable_mm, long, panels, working), total, bought)


@dataclass(frozen=True)
class QuiltingLines:
    """A width divided by marked lines.

    Attributes
    ----------
    exact_mm, gap_mm : float
        The equal part, and the same to the nearest ruler mark.
    lines_mm : tuple of float
        Where to mark, from the first edge.
    last_gap_mm, last_off_mm : float
        The last gap, and by how much it is wider (narrower if negative) than the others.
    working : EqualGaps
    """

    exact_mm: float
    gap_mm: float
    lines_mm: tuple[float, ...]
    last_gap_mm: float
    last_off_mm: float
    working: EqualGaps


def quilting_lines(
    width_mm: float, parts: int, *, step_mm: float = INCH / 8, unit: str = "in"
) -> QuiltingLines:
    """Divide a measured width into equal parts, to the nearest ruler mark."""
    require_positive(width=width_mm, parts=parts, step=step_mm)
    exact = width_mm / parts
    gap = to_step(exact, step_mm) if parts > 1 else exact
    last = width_mm - (parts - 1) * gap
    if gap <= 0 or last <= 0:
        raise PlanError(
            f"{format_length(width_mm, unit=unit, fraction=32)} cannot be divided into {parts} parts on these ruler lines.",
            "Use fewer parts or finer ruler lines.",
        )
    lines = tuple(k * gap for k in range(1, parts))
    working = EqualGaps(width_mm, parts, exact, gap, last)
    return QuiltingLines(exact, gap, lines, last, last - gap, working)
