"""How cut sizes come about, written out: every sum comes true, in inches and in centimetres."""

import re
from fractions import Fraction

import pytest

from blockcheck.planning.cutting import finishing, triangles
from blockcheck.planning.cutting import workings as w
from blockcheck.planning.cutting.cloth import lay_on_cloth
from blockcheck.planning.cutting.pieces import YARD, CutPiece
from blockcheck.report.trim_sheet import known
from blockcheck.report.working_words import to_buy, working
from blockcheck.units import INCH

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
