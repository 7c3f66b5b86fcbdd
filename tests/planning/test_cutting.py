"""Cut sizes against handbook tables and facts of the trade."""

import math

import pytest

from blockcheck.errors import PlanError
from blockcheck.planning.cutting import finishing, triangles
from blockcheck.planning.cutting import pieces as c
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
    """Common practice: a fat quarter is 18 × 22 in: two 6 1/2 in strips of three pieces."""
    assert c.pieces_from_strip(6.5 * INCH, 22 * INCH).count == 3
    assert c.pieces_from_strip(6.5 * INCH, 18 * INCH).count == 2


def test_usable_width():
    """Common practice: cloth of 44 to 45 in gives 40 to 42 in; 6 1/2 in pieces: six either way."""
    assert c.USABLE == 40 * INCH
    assert [c.pieces_from_strip(6.5 * INCH, w * INCH).count for w in (40, 42)] == [6, 6]
    assert inches(c.pieces_from_strip(6.5 * INCH).left_mm) == pytest.approx(1)


def test_what_is_left_is_never_rounded_up():
    assert c.pieces_from_strip(13.02 * INCH).working.endswith("= 3, 15/16 in left")


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
    found = triangles.setting_triangles(block * INCH)
    assert [inches(s.trade_mm) for s in found] == pytest.approx([side, corner])
    assert all(s.exact_mm <= s.trade_mm for s in found)


def test_half_and_quarter_squares():
    """Geometry: + 0.8536 and + 1.2071 in; common practice: + 7/8 and + 1 1/4."""
    half, quarter = triangles.half_square(3 * INCH), triangles.quarter_square(3 * INCH)
    assert inches(half.exact_mm) == pytest.approx(3.8536, abs=5e-5)
    assert inches(half.trade_mm) == pytest.approx(3.875)
    assert inches(quarter.exact_mm) == pytest.approx(4.2071, abs=5e-5)
    assert inches(quarter.trade_mm) == pytest.approx(4.25)


def test_triangles_go_on_the_cut_list():
    """Common practice: a square cut once gives two triangles, cut twice four."""
    half = triangles.half_square(3 * INCH).pieces(9)
    assert (half.count, inches(half.width_mm)) == (5, pytest.approx(3.875))
    side, corner = triangles.setting_triangles(12 * INCH)
    assert (side.pieces(10).count, corner.pieces(4).count) == (3, 2)
    cloth = c.yardage([half, side.pieces(10), corner.pieces(4)])
    assert [n for _, n, _ in cloth.strips] == [1, 2, 1]
    assert inches(cloth.exact_mm) == pytest.approx(3.875 + 2 * 18.25 + 9.375)


def test_binding():
    """Common practice: a 96 × 110 in quilt takes 11 strips of 2 1/2 in, 27 1/2 in of cloth."""
    found = finishing.binding(96 * INCH, 110 * INCH)
    assert found.strips == 11
    assert inches(found.cloth_mm) == pytest.approx(27.5)
    assert found.bought_mm == pytest.approx(c.YARD * 7 / 8)


def test_quilting_lines():
    """Common practice: 5 3/8 in divided in three is 1.79, marked as 1 3/4."""
    found = finishing.quilting_lines(5.375 * INCH, 3)
    assert inches(found.exact_mm) == pytest.approx(1.79, abs=0.005)
    assert inches(found.gap_mm) == pytest.approx(1.75)
    assert inches(found.last_gap_mm) == pytest.approx(1.875)
    assert inches(found.last_off_mm) == pytest.approx(0.125)
    assert len(found.lines_mm) == 2
    with pytest.raises(PlanError):
        finishing.quilting_lines(10.0, 40)


def test_half_blocks_and_alternate_blocks():
    piece = c.half_blocks(6.5 * INCH, 9.5 * INCH, 4, sashing_cut_mm=2 * INCH)
    assert inches(piece.height_mm) == pytest.approx(4.25)
    assert "(9 1/2 in − 2 in) ÷ 2 + 2 × 1/4 in = 4 1/4 in" in piece.working
    assert inches(c.half_blocks(6.5 * INCH, 9.5 * INCH, 4, across="width").width_mm) == 3.5
    assert c.alternate_blocks(6.5 * INCH, 9.5 * INCH, 7).count == 7


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
    strips = c.sashing_between_rows(30 * INCH, 1.5 * INCH, 4)
    assert strips.count == 3
    assert inches(strips.width_mm) == pytest.approx(2)
    cloth = c.yardage([strips, c.alternate_blocks(6.5 * INCH, 9.5 * INCH, 7)])
    # three 2 in strips (one 30 1/2 in piece from each), two 6 1/2 in strips (four pieces each)
    assert cloth.strips[0][1:] == (3, pytest.approx(2 * INCH))
    assert cloth.strips[1][1:] == (2, pytest.approx(6.5 * INCH))
    assert inches(cloth.exact_mm) == pytest.approx(19)
    assert cloth.bought_mm == pytest.approx(c.YARD * 5 / 8)
    assert cloth.working.endswith("buy 5/8 yd")


def test_long_pieces_are_joined():
    long = c.CutPiece("border", 3.5 * INCH, 90 * INCH, 2, "")
    assert c.yardage([long]).strips[0][1] == 5  # 180 in: five strips and four seams are 198 in


@pytest.mark.parametrize(("along", "count", "strips"), [(79.5, 2, 4), (79.6, 2, 5), (50, 3, 4)])
def test_joined_strips_are_long_enough(along, count, strips):
    """Algebra: n strips of 40 in, sewn end to end, are n × 40 - (n - 1) × 1/2 in long."""
    found = c.yardage([c.CutPiece("border", 3.5 * INCH, along * INCH, count, "")]).strips[0][1]
    assert found == strips
    apart = count * next(n for n in range(1, 9) if n * 40 - (n - 1) / 2 >= along)
    joined = next(n for n in range(1, 99) if n * 40 - (n - 1) / 2 >= along * count)
    assert found == min(apart, joined)


@pytest.mark.parametrize("leg", [1.5, 2.0, 3.0])
def test_clipped_corner(leg):
    """Geometry: the seam through the finished edge at `leg` leaves one seam allowance."""
    s = 0.25
    fine = triangles.clipped_corner(leg * INCH, step_mm=1e-6)
    assert inches(fine.point_inside_mm) == pytest.approx(s, abs=1e-6)
    # distance from the clip (x + y = mark) to the sewn line (x + y = leg + 2 s)
    assert (leg + 2 * s - inches(fine.exact_mm)) / math.sqrt(2) == pytest.approx(s)
    real = triangles.clipped_corner(leg * INCH)
    assert real.mark_mm <= real.exact_mm
    assert inches(real.square.trade_mm) == pytest.approx(leg + 0.875)


def test_quilt_backing_batting():
    width, height = finishing.quilt_size([6 * INCH] * 5, [9 * INCH, 1.5 * INCH, 9 * INCH])
    assert (inches(width.value_mm), inches(height.value_mm)) == pytest.approx((30, 19.5))
    assert "= 19 1/2 in" in height.working
    pad = finishing.batting(60 * INCH, 70 * INCH)
    assert (inches(pad.width_mm), inches(pad.height_mm)) == pytest.approx((68, 78))
    panel, cloth = finishing.backing(60 * INCH, 70 * INCH)
    assert panel.count == 2
    assert inches(cloth.exact_mm) == pytest.approx(136)  # two of 68 in, not two of 78 in
    assert "horizontal seams" in panel.working


def test_working_everywhere_and_bad_numbers():
    assert all("=" in s.working for s in (triangles.half_square(76), triangles.quarter_square(76)))
    for bad in (
        lambda: triangles.half_square(-1),
        lambda: c.pieces_from_strip(0),
        lambda: c.half_blocks(100, 100, 1, across="depth"),
    ):
        with pytest.raises(PlanError):
            bad()


def test_centimetres():
    border = c.CutPiece("border", 90.0, 1000.0, 1, "")
    assert c.yardage([border], unit="cm").working == "1 × 9.0 cm = 9.0 cm, buy 0.1 m"
    assert " in" not in triangles.half_square(76.2, unit="cm").working
    assert " in" not in triangles.setting_triangles(152.4, unit="cm")[0].working
    assert "4.55 cm" in finishing.quilting_lines(136.5, 3, step_mm=1.0, unit="cm").working
