"""Trim lines: cloth first, then points, then the centre line, then an even cut."""

import math

import numpy as np
import pytest
from shapely import Polygon

from blockcheck.errors import PlanError
from blockcheck.planning.rectangles import Block
from blockcheck.planning.trim import trim
from blockcheck.units import INCH

SAILBOAT = np.array([[0.0, 0.0], [6.75, 0.0], [6.75, 9.75], [0.0, 9.75]]) * INCH


def test_even_cut():
    plan = trim(Block("sailboat", SAILBOAT), 6.5 * INCH, 9.5 * INCH)
    assert plan.fits
    assert not plan.problems
    for cut in plan.offcuts:
        assert (cut.first_mm, cut.second_mm) == pytest.approx((INCH / 8, INCH / 8), abs=0.01)


def test_each_direction_is_evened_by_itself():
    plan = trim(Block("sailboat", SAILBOAT), 6.625 * INCH, 9 * INCH)
    top, right, bottom, left = plan.offcuts
    assert top.first_mm == pytest.approx(bottom.first_mm, abs=0.01)
    assert right.first_mm == pytest.approx(left.first_mm, abs=0.01)


def test_words_as_a_quilter_trims():
    """A right edge that runs from 3/16 to 1/8 in outside the trim line."""
    shape = np.array([[0, 0], [6.6875, 0], [6.625, 9.5], [0, 9.5]]) * INCH
    points = {"keel": np.array([0.25, 5]) * INCH, "bow": np.array([6.25, 5]) * INCH}
    line = np.array([[3.25, 0], [3.25, 9.5]]) * INCH
    plan = trim(Block("s", shape), 6.5 * INCH, 9.5 * INCH, points_mm=points, centre_line_mm=line)
    assert plan.fits
    assert "off the right edge: 3/16 in at the top, 1/8 in at the bottom" in plan.instructions()
    assert "Turn" in plan.instructions()[2]


def test_best_angle():
    a = 0.2
    turn = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
    plan = trim(Block("s", SAILBOAT @ turn), 6.7 * INCH, 9.7 * INCH)
    assert plan.fits
    assert plan.placement.turn_rad == pytest.approx(a, abs=0.003)


def test_points_keep_a_seam_allowance():
    points = {"mast": np.array([3.3, 0.26]) * INCH}
    plan = trim(Block("s", SAILBOAT), 6.5 * INCH, 9.5 * INCH, points_mm=points)
    assert plan.fits
    assert not plan.cut_points
    assert plan.placement.corners_mm[:, 1].min() <= 0.0101 * INCH


def test_point_that_is_cut_off():
    points = {"mast": np.array([3.3, 0.125]) * INCH}
    plan = trim(Block("s", SAILBOAT), 6.5 * INCH, 9.5 * INCH, points_mm=points)
    assert plan.fits
    (lost,) = plan.cut_points
    assert (lost.name, lost.side) == ("mast", "top")
    assert lost.short_mm == pytest.approx(INCH / 8, abs=0.02)
    assert "mast would be cut off by 1/8 in" in plan.problems[0]


def test_centre_line():
    line = np.array([[3.3, 0], [3.3, 9.75]]) * INCH
    plan = trim(Block("s", SAILBOAT), 6.5 * INCH, 9.5 * INCH, centre_line_mm=line[::-1])
    assert plan.fits
    assert plan.off_centre_mm < 0.01
    assert plan.placement.x_mm == pytest.approx(3.3 * INCH, abs=0.01)
    level = np.array([[0, 4.8], [6.75, 4.8]]) * INCH
    plan = trim(Block("s", SAILBOAT), 6.5 * INCH, 9.5 * INCH, centre_line_mm=level)
    assert plan.placement.y_mm == pytest.approx(4.8 * INCH, abs=0.01)


def test_centre_line_gives_way_to_cloth():
    line = np.array([[3.0, 0], [3.0, 9.75]]) * INCH
    plan = trim(Block("s", SAILBOAT), 6.5 * INCH, 9.5 * INCH, centre_line_mm=line)
    assert plan.fits
    assert plan.off_centre_mm == pytest.approx(0.25 * INCH, abs=0.02)
    assert any("centre line" in p for p in plan.problems)


def test_too_small():
    plan = trim(Block("s", SAILBOAT), 7 * INCH, 9.5 * INCH)
    assert not plan.fits
    assert "missing" in " ".join(plan.instructions())
    with pytest.raises(PlanError):
        trim(Block("s", SAILBOAT), 0.4 * INCH, 9 * INCH)
    with pytest.raises(PlanError):
        trim(Block("s", SAILBOAT), 6 * INCH, 9 * INCH, centre_line_mm=[[1, 1], [1, 1]])


def test_random_outlines_shapely():
    rng = np.random.default_rng(4)
    for _ in range(200):
        shape = SAILBOAT + rng.normal(0, 1.0, (4, 2))
        plan = trim(Block("s", shape, 0.2), 6.25 * INCH, 9.25 * INCH)
        if plan.fits:
            rect = Polygon(plan.placement.corners_mm)
            assert Polygon(shape).buffer(-0.2 + 2e-3, join_style="mitre").contains(rect)
            assert rect.area == pytest.approx(6.25 * 9.25 * INCH**2)
            assert min(o.least_mm for o in plan.offcuts) > 0.19
