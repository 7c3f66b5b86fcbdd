"""How wide the seams of a set were really sewn, as its sizes tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...errors import PlanError
from ...uncertainty import coverage_factor
from ...units import INCH


@dataclass(frozen=True)
class SewnSeam:
    """The seam allowance that a set was really sewn with.

    Attributes
    ----------
    allowance_mm, u95_mm : float
        Mean allowance and its expanded uncertainty.
    extra_mm : float
        By how much it is more than planned.
    deficit_mm : float
        Mean of planned minus measured size.
    scatter_mm : float
        Standard deviation of one seam's allowance between blocks.
    same : bool
        True if measuring alone explains how the blocks differ (chi-squared at 5 %).
    """

    allowance_mm: float
    u95_mm: float
    extra_mm: float
    deficit_mm: float
    scatter_mm: float
    same: bool


def seam_allowance_really_sewn(
    sizes_mm: Sequence[float],
    planned_mm: float,
    seams: int,
    *,
    seam_mm: float = INCH / 4,
    u_mm: float = 0.4,
    u_common_mm: float = 0.0,
) -> SewnSeam:
    """Tell from the sizes of blocks sewn from one plan how wide the seams were sewn.

    Every seam takes an allowance from both of its pieces, so a deficit d over `seams` seams is
    d / (2 × seams) of allowance too much. Scatter is judged against `u_mm` by chi-squared;
    the mean's uncertainty is the larger of the two over √n, with Student's t where the scatter
    is what counts, and `u_common_mm` (the scale shared by all photos) in quadrature (JCGM 100).

    Parameters
    ----------
    sizes_mm : sequence of float
        Measured unfinished sizes across the seams, one per block, untrimmed.
    planned_mm : float
        Planned unfinished size.
    seams : int
        Number of seams that the size crosses.
    seam_mm : float
        Planned seam allowance.
    u_mm, u_common_mm : float
        Standard uncertainty of one size, and of what all share.
    """
    sizes = np.sort(np.asarray(sizes_mm, dtype=np.float64))
    if seams < 1 or not len(sizes):
        raise PlanError(
            "The seam allowance needs one measured block and one seam at least.",
            "Count the seams that the ruler crosses.",
        )
    n, per = len(sizes), 2 * seams
    deficit = planned_mm - float(sizes.mean())
    spread = float(sizes.std(ddof=1)) if n > 1 else 0.0
    same = n < 2 or (u_mm <= 0 and spread == 0)
    if n > 1 and u_mm > 0:
        from scipy.special import chdtrc  # a project's list needs none

        same = bool(chdtrc(n - 1, (n - 1) * (spread / u_mm) ** 2) >= 0.05)
    factor = 2.0 if same else max(2.0, coverage_factor(0.95, n - 1))
    one = max(u_mm, spread)
    u95 = math.hypot(factor * one / math.sqrt(n), 2.0 * u_common_mm) / per
    extra = deficit / per
    return SewnSeam(seam_mm + extra, u95, extra, deficit, spread / per, same)
