"""What to cut for the rest of the quilt, and from how much cloth.

Every figure shows its working in one line. Lengths are millimetres; exact values are kept, and
the working is written for people.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ...errors import PlanError
from ...units import INCH, MM_PER, format_length, to_step

QUARTER = INCH / 4
YARD = 36 * INCH
USABLE = 40 * INCH


@dataclass(frozen=True)
class Figure:
    """One computed length with its working."""

    name: str
    value_mm: float
    working: str


@dataclass(frozen=True)
class CutPiece:
    """A piece to cut: size, how many, the working; `lengthwise` to lie along the selvage."""

    name: str
    width_mm: float
    height_mm: float
    count: int
    working: str
    lengthwise: bool = False


def written(mm: float, unit: str = "in", rounding: str = "nearest") -> str:
    """Write a length for a working: to 1/32 in, or to 1 mm."""
    return format_length(mm, unit=unit, fraction=32, rounding=rounding)


def ruler_line(unit: str) -> float:
    """The ruler's lines that a cut falls on: every 1/8 in, or every millimetre."""
    return INCH / 8 if unit == "in" else 1.0


def decimal(mm: float, unit: str, digits: int) -> str:
    """Write an exact value as a decimal in the person's unit."""
    return f"{mm / MM_PER[unit]:.{digits}f} {unit}"


def grown(width_mm: float, height_mm: float, by_mm: float, unit: str, words: Sequence[str]) -> str:
    """Write the working of a size grown by as much on both sides."""
    by = written(by_mm, unit)
    return ", ".join(
        f"{written(mm, unit)} + 2 × {by} = {written(mm + 2 * by_mm, unit)}{word}"
        for mm, word in zip((width_mm, height_mm), words, strict=True)
    )


def require_positive(**lengths: float) -> None:
    """Refuse lengths that are not greater than zero; the argument's name is the word for it."""
    for name, value in lengths.items():
        if not (math.isfinite(value) and value > 0):
            raise PlanError(f"The {name.replace('_', ' ')} must be greater than zero.", "")


def to_buy(mm: float, unit: str = "in") -> tuple[float, str]:
    """Cloth as shops sell it: up to 1/8 yd, or to 10 cm for who works in centimetres."""
    if unit == "cm":
        bought = to_step(mm, 100.0, "up")
        return bought, f"{bought / 1000:.1f} m"
    bought = to_step(mm, YARD / 8, "up")
    whole, part = divmod(round(bought / (YARD / 8)), 8)
    low = math.gcd(part, 8)
    words = [str(whole)] if whole or not part else []
    return bought, " ".join(words + ([f"{part // low}/{8 // low}"] if part else [])) + " yd"
