"""What to cut for the rest of the quilt, and from how much cloth.

Every figure keeps its working. Lengths are millimetres and exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ...errors import PlanError
from ...units import INCH, to_step
from .workings import PLAIN, Working

QUARTER = INCH / 4
YARD = 36 * INCH
USABLE = 40 * INCH


@dataclass(frozen=True)
class Figure:
    """One computed length with its working."""

    name: str
    value_mm: float
    working: Working


@dataclass(frozen=True)
class CutPiece:
    """A piece to cut: size, how many, the working; `lengthwise` to lie along the selvage."""

    name: str
    width_mm: float
    height_mm: float
    count: int
    working: Working = PLAIN
    lengthwise: bool = False


def ruler_line(unit: str) -> float:
    """The ruler's lines that a cut falls on: every 1/8 in, or every millimetre."""
    return INCH / 8 if unit == "in" else 1.0


def require_positive(**lengths: float) -> None:
    """Refuse lengths that are not greater than zero; the argument's name is the word for it."""
    for name, value in lengths.items():
        if not (math.isfinite(value) and value > 0):
            raise PlanError(f"The {name.replace('_', ' ')} must be greater than zero.")


def to_buy(mm: float, unit: str = "in") -> float:
    """Cloth as shops sell it: up to 1/8 yd, or to 10 cm for who works in centimetres."""
    return to_step(mm, 100.0 if unit == "cm" else YARD / 8, "up")
