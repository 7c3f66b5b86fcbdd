"""How cut sizes come about, written out: every sum comes true, in inches and in centimetres."""

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blockcheck.planning.cutting import finishing, triangles
from blockcheck.planning.cutting import workings as w
from blockcheck.planning.cutting.cloth import lay_on_cloth
from blockcheck.planning.cutting.pieces import YARD, CutPiece
from blockcheck.report.trim_sheet import known
from blockcheck.report.working_words import to_buy, working
from blockcheck.units import INCH, MM_PER

SAIL = CutPiece("alternate block", 6 * INCH, 9 * INCH, 12)


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (w.Parts((152.4, 25.4, 152.4), 330.2), "2 × 6 in + 1 in = 13 in"),
        (w.Strip(25.4, 152.4, 6.35), "1 in + 2 × 1/4 in = 1 1/2 in wide, 6 in + 2 × 1/4 in = 6 1/2 in long"),
        (w.LikeBlock((165.1, 241.3), True), "as large as a framed block, 6 1/2 × 9 1/2 in"),
        (w.AsLongAs("column", 241.3), "as long as a column, 9 1/2 in"),
        (w.HalfBlock(165.1, 0.0, 6.35, 88.9), "6 1/2 in ÷ 2 + 1/4 in = 3 1/2 in"),
        (
            w.HalfBlock(165.1, 38.1, 6.35, 76.2),
            "(6 1/2 in − 1 1/2 in) ÷ 2 + 2 × 1/4 in = 3 in",
        ),
        (w.Joined(w.Butted(1219.2, 6.35)), "48 in through the middle + 2 × 1/4 in = 48 1/2 in long; longer than the fabric is wide: joined from strips"),
        (w.Squares(w.Halved(76.2, 22.225, 97.884, 1), 8, 2, 4), "3 in + 7/8 in = 3 7/8 in (exact 3.8537 in), cut once corner to corner; 8 triangles ÷ 2 = 4 squares"),
        (w.Bought(457.2, 0.1, 502.92, 571.5), "18 in + 10 % = 19 13/16 in, buy 5/8 yd"),
        (w.Squares(w.PLAIN, 3, 4, 1), "; 3 triangles ÷ 4 = 1 square"),
        (w.PLAIN, ""),
    ],
)  # fmt: skip
def test_a_working_is_one_line(one, said):
    assert working(one, "in") == said


def test_a_working_in_centimetres_has_no_inches():
    laid = lay_on_cloth([SAIL], unit="cm", allowance=0.05)
    assert working(laid.working, "cm") == "45.7 cm + 5 % = 48.0 cm, buy 0.5 m"
    assert " in" not in working(triangles.half_square(76.2).working, "cm")
    assert " in" not in working(triangles.setting_triangles(152.4, unit="cm")[0].working, "cm")
    lines = finishing.quilting_lines(136.5, 3, step_mm=1.0, unit="cm").working
    assert "4.55 cm" in working(lines, "cm")


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (w.WholeRow(402.9, 6.35), "row of 40.29 cm + 2 × 0.635 cm = 41.56 cm"),
        (w.WholeRow(400.0, 6.0), "row of 40.0 cm + 2 × 0.6 cm = 41.2 cm"),
        (w.Parts((134.3,) * 3, 402.9), "3 × 13.43 cm = 40.29 cm"),
        (w.HalfBlock(147.0, 0.0, 6.35, 79.85), "14.7 cm ÷ 2 + 0.635 cm = 7.985 cm"),
        (w.Parts((100 / 3,) * 3, 100.0), "3 × 3.333 cm ≈ 10.0 cm"),
    ],
)
def test_what_lies_between_two_marks_is_written_with_more_digits(one, said):
    """40.3 + 2 × 0.6 = 41.6 does not come true."""
    assert working(one, "cm") == said


LENGTH = r"(?:(\d+) )?(?:(\d+)/(\d+)|(\d+(?:\.\d+)?)) (?:in|cm)"


def value(found):
    whole, above, below, plain = found
    return float(plain or 0) + float(whole or 0) + (float(above) / float(below) if above else 0)


@given(st.sampled_from(["in", "cm"]), st.floats(20, 2000), st.floats(3, 20), st.integers(2, 12))
def test_every_sum_comes_true_as_it_is_written(unit, long, seam, count):
    """Read back from the text: to the last digit with =, within one of each term with ≈."""
    row = working(w.WholeRow(long, seam), unit)
    a, b, total = map(value, re.findall(LENGTH, row.replace("2 × ", "")))
    digit = (
        1 / 32
        if unit == "in" and "." not in row
        else 10 ** -max(len(part) for part in re.findall(r"\.(\d+)", row) or ["0"])
    )
    assert abs(a + 2 * b - total) <= (digit / 2 if " = " in row else 2 * digit) + 1e-9
    parts = working(w.Parts((long,) * count, count * long), unit)
    assert parts.startswith(f"{count} × ")
    assert total == pytest.approx((long + 2 * seam) / MM_PER[unit], abs=0.05 + 1e-9)


def test_the_sums_of_what_closes_the_quilt_come_true():
    backing = finishing.backing(60 * INCH, 70 * INCH).panels.working
    said = working(backing, "in")
    assert "2 panels × 68 in (horizontal seams) = 136 in, buy 3 7/8 yd" in said
    found = re.findall(r"(\d+) in \+ 2 × (\d+) in = (\d+) in", said)
    assert [int(a) + 2 * int(b) - int(c) for a, b, c in found] == [0, 0]
    one = finishing.backing(30 * INCH, 50 * INCH, usable_mm=106 * INCH).panels.working
    assert "; 1 panel, " in working(one, "in")
    strips = working(finishing.binding(96 * INCH, 110 * INCH).working, "in")
    assert "rounded up to 11 strips; 11 × 2 1/2 in = 27 1/2 in, buy 7/8 yd" in strips
    assert known(strips) == strips  # the trim sheet once wrote "÷ 40 in = 11 strips"
    even = working(finishing.quilting_lines(6 * INCH, 3).working, "in")
    assert even == "6 in ÷ 3 = 2.00 in, mark every 2 in"


@pytest.mark.parametrize(
    ("yards", "said"), [("1/2", "1/2 yd"), ("3/8", "3/8 yd"), ("3/2", "1 1/2 yd"), ("2", "2 yd")]
)
def test_cloth_is_written_as_shops_sell_it(yards, said):
    assert to_buy(float(Fraction(yards)) * YARD, "in") == said
    assert to_buy(1300.0, "cm") == "1.3 m"
