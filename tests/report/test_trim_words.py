"""What comes off an edge is said alike wherever it is said."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from blockcheck.planning.plan import Plan
from blockcheck.planning.trimming.block import Block
from blockcheck.planning.trimming.offcuts import Offcut
from blockcheck.planning.trimming.shortage import below_size
from blockcheck.planning.trimming.trim_lines import LEAVE_MM, SEEN_MM, TOLERANCE_MM, trim
from blockcheck.report import trim_words
from blockcheck.units import INCH

PLAN = Plan()
BOWED = np.array([[0, 0], [6, 0], [6.15, 4.5], [6, 9], [0, 9], [0.15, 4.5]]) * INCH
mm = st.floats(-6, 6)


def inches(text):
    """A length as it is written, back in millimetres; missing cloth negative."""
    if text == "nothing":
        return 0.0
    parts = text.removesuffix(" missing").removesuffix(" in").split()
    return float(sum(map(Fraction, parts))) * INCH * (-1 if "missing" in text else 1)


@given(ends=st.tuples(mm, mm), dip=st.floats(0, 4), rise=st.floats(0, 4))
def test_the_words_give_the_least_and_the_most_of_an_edge(ends, dip, rise):
    cut = Offcut("right", *ends, min(ends) - dip, max(ends) + rise)
    first, second, middle = trim_words.places(PLAN, cut)
    told = [inches(t) for t in (first, second, *middle.split(" to ")) if t]
    finest = LEAVE_MM + INCH / 32 + 2 * TOLERANCE_MM  # what a middle may differ, and rounding
    assert min(told) == pytest.approx(
        min(cut.least_mm, 0) if min(told) <= 0 else cut.least_mm, abs=finest
    )
    if trim_words.sticks_out(cut):
        assert max(told) == pytest.approx(
            max(cut.most_mm, 0) if max(told) >= 0 else cut.most_mm, abs=finest
        )
    assert (cut.least_mm <= -SEEN_MM) == any("missing" in t for t in (first, second, middle))


@given(ends=st.tuples(mm, mm), dip=st.floats(0, 4), rise=st.floats(0, 4))
def test_every_place_that_tells_an_edge_tells_the_same_amounts(ends, dip, rise):
    plan = trim(Block("b", BOWED), 5.5 * INCH, 8.5 * INCH)
    cut = Offcut("right", *ends, min(ends) - dip, max(ends) + rise)
    one = replace(plan, offcuts=(cut, *(o for o in plan.offcuts if o.side != "right")))
    told = {t for t in trim_words.places(PLAN, cut) if t}
    step = trim_words.instructions(PLAN, one)[0]
    label = next((t for t in trim_words.label_lines(PLAN, one) if t.startswith("right")), "")
    table = trim_words.amounts(PLAN, one)[0]
    for text in told if trim_words.sticks_out(cut) else (t for t in told if "missing" in t):
        assert text in step
        assert text in label
        assert text.replace(" in", "").replace("nothing", "–") in table
    assert ("missing" in step) == ("missing" in label) == ("missing" in table)


def test_the_middle_of_a_bowed_edge_is_said():
    """Both sides bowed the same way by 0.15 in: at 5 3/4 in one bulges and the other dips."""
    plan = trim(Block("b", BOWED), 5.75 * INCH, 8.75 * INCH)
    right, _, _, left, _ = trim_words.instructions(PLAN, plan)
    assert right == "off the right edge: 1/16 in at the ends, 3/16 in in the middle"
    assert left == "off the left edge: 3/16 in at the ends, 1/16 in in the middle"


def test_a_block_lacks_the_same_in_its_trim_as_in_the_sizes():
    block = Block("b", BOWED, give_mm=INCH / 32)
    (lack,) = below_size([block], 6 * INCH, 9 * INCH)
    said = trim_words.problems(PLAN, trim(block, 6 * INCH, 9 * INCH))
    assert said == (f"The block is {trim_words.lacking(PLAN, lack)}.",)


def test_what_is_missing_is_rounded_up_to_a_thirty_second():
    assert trim_words.amount(PLAN, -1.01 * INCH / 32) == "1/16 in missing"
    assert trim_words.amount(PLAN, -INCH / 32 - TOLERANCE_MM / 2) == "1/32 in missing"
    assert trim_words.amount(replace(PLAN, unit="cm"), -1.1) == "0.2 cm missing"
    assert trim_words.amount(replace(PLAN, fraction=8), 1.1 * LEAVE_MM) == "1/32 in"
