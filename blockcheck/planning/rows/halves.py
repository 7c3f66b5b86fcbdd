"""Two halves sewn from mirror pieces, compared before they are joined."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ...errors import PlanError
from ...uncertainty import verdict
from ...units import INCH


@dataclass(frozen=True)
class HalvesDifference:
    """One length of the left half less its mirror in the right half."""

    name: str
    left_mm: float
    right_mm: float
    difference_mm: float
    u_mm: float
    alike: str


def compare_halves(
    left_mm: ArrayLike,
    right_mm: ArrayLike,
    *,
    u_mm: float = 0.0,
    tolerance_mm: float = INCH / 8,
) -> tuple[HalvesDifference, ...]:
    """Compare two halves sewn from mirror pieces, by their corners clockwise from the top left.

    The right half's sides and diagonals are read in the mirror; `u_mm` is the standard
    uncertainty of one length, so that a difference has √2 of it.
    """
    left, right = (np.asarray(c, dtype=np.float64) for c in (left_mm, right_mm))
    if left.shape != (4, 2) or right.shape != (4, 2):
        raise PlanError("Each half needs its four corners.")
    mirror = right[[1, 0, 3, 2]]
    lengths = (
        ("top", 0, 1),
        ("inner side", 1, 2),
        ("bottom", 2, 3),
        ("outer side", 3, 0),
        ("diagonal from the outer top", 0, 2),
        ("diagonal from the inner top", 1, 3),
    )
    result = []
    for name, i, j in lengths:
        a, b = (float(np.hypot(*(c[j] - c[i]))) for c in (left, mirror))
        u = math.sqrt(2) * u_mm
        alike = verdict(a - b, u, -tolerance_mm, tolerance_mm)
        result.append(HalvesDifference(name, a, b, a - b, u, alike))
    return tuple(result)
