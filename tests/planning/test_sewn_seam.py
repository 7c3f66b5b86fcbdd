"""How wide the seams were sewn, from sizes: algebra, tables and simulated sets."""

import math

import numpy as np
import pytest

from blockcheck.errors import PlanError
from blockcheck.planning.plan import Plan
from blockcheck.planning.trimming.sewn_seam import seam_allowance_really_sewn
from blockcheck.report import advice_words
from blockcheck.units import INCH


def test_seam_allowance_of_six_strips():
    """Six strips of 1 1/2 in, five seams at 9/32 in instead of 1/4: 5/16 in short (algebra)."""
    sewn = seam_allowance_really_sewn([(6.5 - 5 / 16) * INCH] * 6, 6.5 * INCH, 5, u_mm=0.2)
    assert sewn.deficit_mm == pytest.approx(5 / 16 * INCH)
    assert sewn.allowance_mm == pytest.approx(9 / 32 * INCH)
    assert sewn.same
    assert "5/16 in short" in advice_words.sewn(Plan(), sewn)
    assert "1/32 in (± 0.001 in) towards the raw edge" in advice_words.sewn(Plan(), sewn)


def test_seam_allowance_scattered_and_right():
    rng = np.random.default_rng(2)
    scattered = seam_allowance_really_sewn(165 + rng.normal(0, 2, 10), 165.1, 3, u_mm=0.3)
    assert not scattered.same
    assert "vary" in advice_words.sewn(Plan(), scattered)
    right = seam_allowance_really_sewn(165.1 + rng.normal(0, 0.2, 10), 165.1, 3, u_mm=0.2)
    assert right.same
    assert "as planned" in advice_words.sewn(Plan(), right)
    with pytest.raises(PlanError):
        seam_allowance_really_sewn([], 165.1, 3)


@pytest.mark.parametrize(("deviations", "same"), [(1.9, True), (2.0, False)])
def test_two_sizes_differ_beyond_measuring_from_196_deviations_on(deviations, same):
    """Chi-squared with one degree of freedom at 5 %: the normal table's 1.96, squared."""
    apart = deviations * 0.4 * math.sqrt(2)
    sewn = seam_allowance_really_sewn([165.0, 165.0 + apart], 165.1, 1, u_mm=0.4)
    assert sewn.same == same
    assert sewn.extra_mm == pytest.approx((165.1 - 165.0 - apart / 2) / 2)  # one seam, two sides


def test_sizes_known_exactly_are_the_same_or_not():
    assert seam_allowance_really_sewn([165.0, 165.0], 165.1, 3, u_mm=0.0).same
    assert not seam_allowance_really_sewn([165.0, 165.2], 165.1, 3, u_mm=0.0).same


def test_seam_allowance_coverage():
    """The stated U95 holds the truth in about 95 % of simulated sets."""
    rng = np.random.default_rng(8)
    inside = 0
    for _ in range(600):
        sizes = 165.1 - 6 * 0.5 + rng.normal(0, 0.4, 6)
        sewn = seam_allowance_really_sewn(sizes, 165.1, 3, u_mm=0.4)
        inside += abs(sewn.allowance_mm - 6.85) <= sewn.u95_mm
    assert inside / 600 > 0.93
