"""Cut sizes against handbook tables and facts of the trade."""

import math

import pytest

from blockcheck.errors import PlanError
from blockcheck.planning.cutting import finishing, triangles
from blockcheck.planning.cutting import pieces as c
from blockcheck.units import INCH


def inches(value_mm):
    return value_mm / INCH


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
    assert (half.working.times, quarter.working.times) == (1, 2)  # cuts corner to corner
    assert inches(half.exact_mm) == pytest.approx(3.8536, abs=5e-5)
    assert inches(half.trade_mm) == pytest.approx(3.875)
    assert inches(quarter.exact_mm) == pytest.approx(4.2071, abs=5e-5)
    assert inches(quarter.trade_mm) == pytest.approx(4.25)


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


def test_backing_and_batting():
    pad = finishing.batting(60 * INCH, 70 * INCH)
    assert (inches(pad.width_mm), inches(pad.height_mm)) == pytest.approx((68, 78))
    backing = finishing.backing(60 * INCH, 70 * INCH)
    assert (backing.panels.name, backing.panels.count) == ("backing panel", 2)
    assert inches(backing.panels.width_mm) == pytest.approx(
        40
    )  # as wide as it comes, common practice
    assert inches(backing.cloth_mm) == pytest.approx(136)  # two of 68 in, not two of 78 in
    assert backing.panels.working.seams == "horizontal"
    assert finishing.batting(60 * INCH, 80 * INCH).count == 1


def test_wide_backing_is_one_panel():
    """Common practice: wide backing of 108 in, 106 in of it usable."""
    backing = finishing.backing(60 * INCH, 70 * INCH, usable_mm=106 * INCH)
    assert backing.panels.count == 1
    assert inches(backing.cloth_mm) == pytest.approx(68)


def test_a_backing_panel_is_as_wide_as_the_cloth():
    found = finishing.backing(60 * INCH, 80 * INCH, usable_mm=40 * INCH)
    assert (found.panels.name, found.panels.count) == ("backing panel", 2)
    assert (found.panels.width_mm, found.panels.height_mm) == pytest.approx((40 * INCH, 88 * INCH))


def test_the_squares_for_setting_triangles_are_named_for_them():
    names = [square.name for square in triangles.setting_triangles(6 * INCH)]
    assert names == ["side triangles", "corner triangles"]


@pytest.mark.parametrize(
    ("yards", "bought"), [(0.4, 0.5), (0.375, 0.375), (1.45, 1.5), (2.0, 2.0), (2.76, 2.875)]
)
def test_cloth_is_bought_by_the_eighth_of_a_yard(yards, bought):
    assert c.to_buy(yards * c.YARD) == pytest.approx(bought * c.YARD)
    assert c.to_buy(yards * c.YARD, "cm") == pytest.approx(100 * math.ceil(yards * 9.144 - 1e-9))


def test_bad_numbers_are_refused():
    for bad in (
        lambda: triangles.half_square(-1),
        lambda: finishing.quilting_lines(0, 3),
        lambda: finishing.binding(100, math.inf),
    ):
        with pytest.raises(PlanError):
            bad()
