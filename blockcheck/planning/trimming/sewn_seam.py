"""How wide the seams of a set were really sewn, as its sizes tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...errors import PlanError
from ...uncertainty import coverage_factor
from ...units import INCH, format_length, format_uncertainty, to_step


@dataclass(frozen=True)
class SewnSeam:
    """The seam allowance that a set was really sewn with.

    Attributes
    ----------
    allowance_mm, u95_mm : float
        Mean allowance and its expanded uncertainty.
    deficit_mm : float
        Mean of planned minus measured size.
    scatter_mm : float
        Standard deviation of one seam's allowance between blocks.
    same : bool
        True if measuring alone explains how the blocks differ (chi-squared at 5 %).
    sentence : str
        What to do.
    """

    allowance_mm: float
    u95_mm: float
    deficit_mm: float
    scatter_mm: float
    same: bool
    sentence: str


def seam_allowance_really_sewn(
    sizes_mm: Sequence[float],
    planned_mm: float,
    seams: int,
    *,
    seam_mm: float = INCH / 4,
    u_mm: float = 0.4,
    u_common_mm: float = 0.0,
    unit: str = "in",
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
    text = format_length(abs(extra), unit=unit, fraction=32)
    sure = format_uncertainty(u95, unit=unit)
    off = "wider" if extra > 0 else "narrower"
    total = format_length(abs(deficit), unit=unit, fraction=32)
    # text shows 0 when the amount is below what the unit can show
    seen = to_step(abs(extra), INCH / 32) > 0 if unit == "in" else to_step(abs(extra), 1.0) > 0
    amount = f"about {text}" if seen else f"less than {'1/32 in' if unit == 'in' else '0.1 cm'}"
    if abs(extra) <= u95 and same:
        sentence = "The seam allowance is as planned, as far as can be measured; leave the machine as it is."
    elif abs(extra) <= u95:
        sentence = (
            "On average the seams are right, but they vary from block to block; check your cutting "
            "and pressing, and sew against a guide."
        )
    elif same:
        move = "towards" if extra > 0 else "away from"
        result = "short" if extra > 0 else "over"
        sentence = (
            f"The blocks come out {total} {result}: if the pieces were cut to size and the seams "
            f"pressed flat, move the needle or the guide {amount} (± {sure}) {move} the raw edge, "
            f"because the seams are that much {off} than planned."
        )
    else:
        sentence = (
            f"The seams are {amount} (± {sure}) {off} than planned on average, but vary from "
            "block to block; check your cutting and pressing first, then sew against a guide."
        )
    return SewnSeam(seam_mm + extra, u95, deficit, spread / per, same, sentence)
