"""Cut sizes against handbook tables and facts of the trade."""

import math

import pytest

from blockcheck.errors import PlanError
from blockcheck.planning import cutting as c
from blockcheck.units import INCH


def inches(value_mm):
    return value_mm / INCH


def test_three_strips_sewn():
    """Common practice: three 1 1/2 in strips sewn with 1/4 in seams measure 3 1/2 in."""
    assert inches(c.sewn_width([1.5 * INCH] * 3).value_mm) == pytest.approx(3.5)


def test_strip_of_42():
    """Common practice: 17 in pieces from one strip of 42 in: two, 8 in left."""
    found = c.pieces_from_strip(17 * INCH, 42 * INCH)
    assert found.count == 2
    assert inches(found.left_mm) == pytest.approx(8)
    assert found.working == "42 in ÷ 17 in = 2, 8 in left"


def test_exact_fit_is_not_lost():
    assert c.pieces_from_strip(6 * INCH, 42 * INCH).count == 7


def test_fifteen_places():
    """Common practice: three rows of five filled in turn: eight blocks and seven plain."""
    assert c.alternate(3, 5) == (8, 7)


def test_fat_quarter():
    """Common practice: a fat quarter is 18 × 22 in."""
    assert c.pieces_from_strip(6.5 * INCH, 22 * INCH).count == 3


@pytest.mark.parametrize(
    ("block", "side", "corner"),
    [
        (4, 7, 3.75),
        (6, 9.75, 5.125),
        (8, 12.625, 6.625),
        (10, 15.5, 8),
        (12, 18.25, 9.375),
        (16, 23.875, 12.25),
    ],
)
def test_setting_triangles(block, side, corner):
    """Common practice: a handbook's table, rounded up to 1/8 in."""
    found = c.setting_triangles(block * INCH)
    assert [inches(s.trade_mm) for s in found] == pytest.approx([side, corner])
    assert all(s.exact_mm <= s.trade_mm for s in found)


def test_half_and_quarter_squares():
    """Geometry: + 0.8536 and + 1.2071 in; common practice: + 7/8 and + 1 1/4."""
    half, quarter = c.half_square(3 * INCH), c.quarter_square(3 * INCH)
    assert inches(half.exact_mm) == pytest.approx(3.8536, abs=5e-5)
    assert inches(half.trade_mm) == pytest.approx(3.875)
    assert inches(quarter.exact_mm) == pytest.approx(4.2071, abs=5e-5)
    assert inches(quarter.trade_mm) == pytest.approx(4.25)


def test_binding():
    """Common practice: a 96 × 110 in quilt takes 11 strips of 2 1/2 in, 27 1/2 in of cloth."""
    found = c.binding(96 * INCH, 110 * INCH)
    assert found.strips == 11
    assert inches(found.cloth_mm) == pytest.approx(27.5)


def test_quilting_lines():
    """Common practice: 5 3/8 in divided in three is 1.79, marked as 1 3/4."""
    found = c.quilting_lines(5.375 * INCH, 3)
    assert inches(found.exact_mm) == pytest.approx(1.79, abs=0.005)
    assert inches(found.gap_mm) == pytest.approx(1.75)
    assert inches(found.last_gap_mm) == pytest.approx(1.875)
    assert inches(found.last_off_mm) == pytest.approx(0.125)
    assert len(found.lines_mm) == 2
    with pytest.raises(PlanError):
        c.quilting_lines(10.0, 40)


def test_half_blocks_and_setting_pieces():
    piece = c.half_blocks(6.5 * INCH, 9.5 * INCH, 4, strip_cut_mm=2 * INCH)
    assert inches(piece.height_mm) == pytest.approx(4.25)
    assert "(9 1/2 in − 2 in) ÷ 2 + 2 × 1/4 in = 4 1/4 in" in piece.working
    assert inches(c.half_blocks(6.5 * INCH, 9.5 * INCH, 4, across="width").width_mm) == 3.5
    assert c.setting_pieces(6.5 * INCH, 9.5 * INCH, 7).count == 7


def test_frame_and_borders():
    pieces, size = c.frame(30 * INCH, 27 * INCH, {"left": 2 * INCH, "top": 3 * INCH})
    assert [inches(v) for v in size] == pytest.approx([32, 30])
    left, top = pieces
    assert (inches(left.width_mm), inches(left.height_mm)) == pytest.approx((2.5, 27.5))
    assert (inches(top.width_mm), inches(top.height_mm)) == pytest.approx((32.5, 3.5))
    pieces, size = c.borders(30 * INCH, 27 * INCH, 4 * INCH)
    assert len(pieces) == 4
    assert [inches(v) for v in size] == pytest.approx([38, 35])
    with pytest.raises(PlanError):
        c.frame(30, 27, {"middle": 2})


def test_strips_and_yardage():
    strips = c.strips_between(30 * INCH, 1.5 * INCH, 4)
    assert strips.count == 3
    assert inches(strips.width_mm) == pytest.approx(2)
    cloth = c.yardage([strips, c.setting_pieces(6.5 * INCH, 9.5 * INCH, 7)])
    # three 2 in strips (one 30 1/2 in piece from each), two 6 1/2 in strips (four pieces each)
    assert cloth.strips[0][1:] == (3, pytest.approx(2 * INCH))
    assert cloth.strips[1][1:] == (2, pytest.approx(6.5 * INCH))
    assert inches(cloth.exact_mm) == pytest.approx(19)
    assert cloth.bought_mm == pytest.approx(c.YARD * 5 / 8)
    assert cloth.working.endswith("buy 5/8 yd")


def test_long_pieces_are_joined():
    long = c.CutPiece("border", 3.5 * INCH, 90 * INCH, 2, "")
    assert c.yardage([long]).strips[0][1] == 5  # 179 in from strips of 39 1/2 in


@pytest.mark.parametrize("leg", [1.5, 2.0, 3.0])
def test_clipped_corner(leg):
    """Geometry: the seam through the finished edge at `leg` leaves one seam allowance."""
    s = 0.25
    fine = c.clipped_corner(leg * INCH, step_mm=1e-6)
    assert inches(fine.point_inside_mm) == pytest.approx(s, abs=1e-6)
    # distance from the clip (x + y = mark) to the sewn line (x + y = leg + 2 s)
    assert (leg + 2 * s - inches(fine.exact_mm)) / math.sqrt(2) == pytest.approx(s)
    real = c.clipped_corner(leg * INCH)
    assert real.mark_mm <= real.exact_mm
    assert inches(real.square.trade_mm) == pytest.approx(leg + 0.875)


def test_quilt_backing_batting():
    width, height = c.quilt_size([6 * INCH] * 5, [9 * INCH, 1.5 * INCH, 9 * INCH])
    assert (inches(width.value_mm), inches(height.value_mm)) == pytest.approx((30, 19.5))
    assert "= 19 1/2 in" in height.working
    pad = c.batting(60 * INCH, 70 * INCH)
    assert (inches(pad.width_mm), inches(pad.height_mm)) == pytest.approx((68, 78))
    panel, cloth = c.backing(60 * INCH, 70 * INCH)
    assert panel.count == 2
    assert inches(cloth.exact_mm) == pytest.approx(136) or inches(cloth.exact_mm) == pytest.approx(
        156
    )


def test_working_everywhere_and_bad_numbers():
    assert all("=" in s.working for s in (c.half_square(76), c.quarter_square(76)))
    for bad in (
        lambda: c.half_square(-1),
        lambda: c.pieces_from_strip(0),
        lambda: c.half_blocks(100, 100, 1, across="depth"),
    ):
        with pytest.raises(PlanError):
            bad()


def test_centimetres():
    assert " in" not in c.half_square(76.2, unit="cm").working
    assert " in" not in c.setting_triangles(152.4, unit="cm")[0].working
    assert "4.55 cm" in c.quilting_lines(136.5, 3, step_mm=1.0, unit="cm").working
