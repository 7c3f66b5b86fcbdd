"""The finished quilt: its size, what goes behind and around it, and its quilting lines.

Overhang, strip width and the binding's rule are common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ...errors import PlanError
from ...units import INCH, format_length, to_step
from .pieces import USABLE, CutPiece, decimal, grown, require_positive, to_buy, written

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
    working: str
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
    bought, buy = to_buy(cloth, unit)
    working = (
        f"(2 × {written(width_mm, unit)} + 2 × {written(height_mm, unit)} + {written(extra_mm, unit)}) ÷ "
        f"{written(usable_mm, unit)} → {strips} strips × {written(strip_mm, unit)} = {written(cloth, unit)}, "
        f"buy {buy}"
    )
    return Binding(length, strips, cloth, working, bought)


def batting(
    width_mm: float, height_mm: float, *, overhang_mm: float | None = None, unit: str = "in"
) -> CutPiece:
    """Batting: the quilt and an overhang on every side (4 in or 10 cm is common practice)."""
    overhang_mm = OVERHANG_MM[unit] if overhang_mm is None else overhang_mm
    require_positive(width=width_mm, height=height_mm)
    size = width_mm + 2 * overhang_mm, height_mm + 2 * overhang_mm
    working = grown(width_mm, height_mm, overhang_mm, unit, ("", ""))
    return CutPiece("batting", *size, 1, working)


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
    whole = batting(width_mm, height_mm, overhang_mm=overhang_mm, unit=unit)
    if usable_mm <= 2 * seam_mm:
        raise PlanError("The usable width is not wider than its seams.", "")
    ways = []
    for wide, long, seams in (
        (whole.width_mm, whole.height_mm, "vertical seams"),
        (whole.height_mm, whole.width_mm, "horizontal seams"),
    ):
        panels = max(1, math.ceil((wide - 2 * seam_mm) / (usable_mm - 2 * seam_mm) - 1e-9))
        ways.append((panels * long, panels, long, seams))
    total, panels, long, seams = min(ways)
    bought, buy = to_buy(total, unit)
    joined = f"{panels} panels × {written(long, unit)} ({seams}) = {written(total, unit)}"
    if panels == 1:
        joined = f"1 panel, {written(long, unit)}"
    working = f"{whole.working}; {joined}, buy {buy}"
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
    working : str
    """

    exact_mm: float
    gap_mm: float
    lines_mm: tuple[float, ...]
    last_gap_mm: float
    last_off_mm: float
    working: str


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
            f"{written(width_mm, unit)} cannot be divided into {parts} parts on these ruler lines.",
            "Use fewer parts or finer ruler lines.",
        )
    off = last - gap
    working = (
        f"{written(width_mm, unit)} ÷ {parts} = {decimal(exact, unit, 2)}, mark every {written(gap, unit)}; "
        f"the last gap is {written(last, unit)} ({format_length(off, unit=unit, fraction=32, sign=True)})"
    )
    lines = tuple(k * gap for k in range(1, parts))
    return QuiltingLines(exact, gap, lines, last, off, working)
