"""Sentences about the whole set say what the tables beside them say."""

import numpy as np
import pytest

from blockcheck.planning.plan import BlockRecord, Kind, Plan
from blockcheck.planning.quilt import work_out
from blockcheck.report import words
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

PLANNED = (6 * INCH, 9 * INCH)


def block(name, wide, high, kind=""):
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]]) * INCH
    sizes = [Estimate(mm * INCH, (Term("edge fit", 0.1),)) for mm in (wide, high)]
    return BlockRecord(name, "measured", *sizes, corners, 0.2, corners_mm=corners, kind=kind)


@pytest.mark.parametrize("tied_to", [PLANNED, None])
@pytest.mark.parametrize("own", [(5.875 * INCH, 9 * INCH), PLANNED, None])
def test_a_headline_claims_no_more_blocks_than_the_table(own, tied_to):
    plan = Plan(
        planned_mm=PLANNED, chosen_mm=own, kinds=(Kind("gull", PLANNED, chosen_mm=tied_to),)
    )
    some = [block("1", 6, 9), block("2", 5.75, 9), block("3", 6, 9), block("g", 6, 9, "gull")]
    for quilt in work_out(plan, some).each:
        (row,) = (r for r in words.size_table(quilt) if "trim to" in r[0])
        count, n = sum(t.fits for t in quilt.trims), len(quilt.trims)
        assert row[1].startswith(f"{count} of {n} ")
        if count < n:
            assert f": {count} of {n} blocks reach it, not block 2." in words.headline(quilt)
        else:
            assert "reach it" not in words.headline(quilt)


def test_a_size_chosen_for_another_kind_is_said_to_be_so():
    plan = Plan(planned_mm=PLANNED, kinds=(Kind("gull", PLANNED, chosen_mm=PLANNED),))
    quilt = work_out(plan, [block("1", 6, 9), block("2", 5.75, 9), block("g", 6, 9, "gull")])
    assert words.headline(quilt) == (
        "You chose 6 × 9 in for the kind gull: 1 of 2 blocks reaches it, not block 2."
    )
    assert "The largest size that every block reaches is 5 3/4 × 9 in." in words.reasons(quilt)
