"""Trim lines: cloth first, then points, then the centre line, then an even cut."""

import math

import numpy as np
import pytest
from shapely import Polygon, contains, polygons, prepare

from blockcheck.errors import PlanError
from blockcheck.planning.plan import Plan
from blockcheck.planning.trimming import placement as placing
from blockcheck.planning.trimming.block import Block
from blockcheck.planning.trimming.rectangles import axes
from blockcheck.planning.trimming.shortage import below_size
from blockcheck.planning.trimming.trim_lines import SEEN_MM, trim, trim_all
from blockcheck.report import trim_words
from blockcheck.units import INCH

SAILBOAT = np.array([[0.0, 0.0], [6.75, 0.0], [6.75, 9.75], [0.0, 9.75]]) * INCH


def test_even_cut():
    plan = trim(Block("sailboat", SAILBOAT), 6.5 * INCH, 9.5 * INCH)
    assert plan.fits
    assert not trim_words.problems(Plan(), plan)
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
    assert (
        "off the right edge: 3/16 in at the top, 1/8 in at the bottom"
        in trim_words.instructions(Plan(), plan)
    )
    assert "Turn" in trim_words.instructions(Plan(), plan)[2]
    assert "6 1/2 in and 9 1/2 in lines" in trim_words.instructions(Plan(), plan)[2]


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
    assert "mast would be cut off by 1/8 in" in trim_words.problems(Plan(), plan)[0]


def test_a_point_near_each_side_is_told_with_its_side():
    near = {"top": (3, 0.1), "right": (6.4, 5), "bottom": (3, 9.4), "left": (0.1, 5)}
    points = {name: np.array(place) * INCH for name, place in near.items()}
    corners = np.array([[0, 0], [6.5, 0], [6.5, 9.5], [0, 9.5]]) * INCH
    lost = trim(Block("s", corners), 6.5 * INCH, 9.5 * INCH, points_mm=points).cut_points
    assert {p.name: p.side for p in lost} == {name: name for name in near}
    assert [p.short_mm for p in lost] == pytest.approx([0.15 * INCH] * 4, abs=0.02)


def test_nothing_is_trimmed_to_less_than_its_seam_allowances():
    small = [Block("s", SAILBOAT)]
    assert trim(*small, 0.6 * INCH, 9.5 * INCH).fits
    with pytest.raises(PlanError):
        trim(*small, 0.5 * INCH, 9.5 * INCH)


def test_centre_line():
    line = np.array([[3.3, 0], [3.3, 9.75]]) * INCH
    plan = trim(Block("s", SAILBOAT), 6.5 * INCH, 9.5 * INCH, centre_line_mm=line[::-1])
    assert plan.fits
    assert plan.off_centre_mm < 0.01
    assert plan.placement.x_mm == pytest.approx(3.3 * INCH, abs=0.01)
    level = np.array([[0, 4.8], [6.75, 4.8]]) * INCH
    plan = trim(Block("s", SAILBOAT), 6.5 * INCH, 9.5 * INCH, centre_line_mm=level)
    assert plan.placement.y_mm == pytest.approx(4.8 * INCH, abs=0.01)


@pytest.mark.parametrize("lean", [-0.06, 0.03])
def test_the_size_turns_with_a_leaning_centre_line(lean):
    """A block large enough for it: upright and level lines alike."""
    large = Block("s", np.array([[0, 0], [8, 0], [8, 11], [0, 11]]) * INCH)
    upright = np.array([[4, 1], [4 - 9 * math.tan(lean), 10]]) * INCH
    level = np.array([[1, 5.5], [7, 5.5 + 6 * math.tan(lean)]]) * INCH
    for line in (upright, level):
        plan = trim(large, 6.5 * INCH, 9.5 * INCH, centre_line_mm=line)
        assert plan.placement.turn_rad == pytest.approx(lean, abs=1e-4)
        assert plan.off_centre_mm < 0.01


def test_points_keep_the_seam_allowance_that_is_asked_for():
    """5/16 in inside the trim line: enough for 1/4 in, 1/16 in too little for 3/8."""
    exact = Block("s", np.array([[0, 0], [6.5, 0], [6.5, 9.5], [0, 9.5]]) * INCH)
    points = {"mast": np.array([3.25, 5 / 16]) * INCH}
    assert not trim(exact, 6.5 * INCH, 9.5 * INCH, points_mm=points).cut_points
    wide = trim(exact, 6.5 * INCH, 9.5 * INCH, points_mm=points, seam_mm=3 / 8 * INCH)
    assert [p.short_mm for p in wide.cut_points] == pytest.approx([INCH / 16], abs=0.01)


@pytest.mark.parametrize(("out", "left"), [(1 / 32, True), (1 / 16, False)])
def test_what_sticks_out_by_a_32nd_is_left(out, left):
    """On a block with as much on every side."""
    corners = np.array([[-out, -out], [6.5 + out, -out], [6.5 + out, 9.5 + out], [-out, 9.5 + out]])
    assert trim(Block("s", corners * INCH), 6.5 * INCH, 9.5 * INCH).nothing_to_trim == left


def test_centre_line_gives_way_to_cloth():
    line = np.array([[3.0, 0], [3.0, 9.75]]) * INCH
    plan = trim(Block("s", SAILBOAT), 6.5 * INCH, 9.5 * INCH, centre_line_mm=line)
    assert plan.fits
    assert plan.off_centre_mm == pytest.approx(0.25 * INCH, abs=0.02)
    assert any("centre line" in p for p in trim_words.problems(Plan(), plan))


def test_a_motif_is_not_moved_to_win_back_a_hair_of_seam_allowance():
    # the right half is 0.3 mm too short for the size: the left half alone would give nothing
    low = SAILBOAT.copy()
    low[1:3, 1] += 0.3, -0.3
    block = Block("s", low, give_mm=INCH / 32)
    plan = trim(block, 6 * INCH, 9.75 * INCH)
    assert plan.fits
    assert 0.2 < plan.given_mm < 0.35
    cuts = {c.side: (c.first_mm + c.second_mm) / 2 for c in plan.offcuts}
    assert cuts["left"] == pytest.approx(cuts["right"], abs=0.1)


def test_too_small():
    plan = trim(Block("s", SAILBOAT), 7 * INCH, 9.5 * INCH)
    assert not plan.fits
    assert "1/8 in missing" in " ".join(trim_words.instructions(Plan(), plan))
    assert trim_words.problems(Plan(), plan) == ("The block is 1/4 in too narrow.",)
    with pytest.raises(PlanError):
        trim(Block("s", SAILBOAT), 0.4 * INCH, 9 * INCH)
    with pytest.raises(PlanError):
        trim(Block("s", SAILBOAT), 6 * INCH, 9 * INCH, centre_line_mm=[[1, 1], [1, 1]])


def wavy(rng, bow):
    """A sailboat of 32 points with bowed, wavy edges, a little turned."""
    points = []
    corners = SAILBOAT + rng.normal(0, 0.6, (4, 2))
    for p, q in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        t = np.arange(8) / 8
        out = np.array([q[1] - p[1], p[0] - q[0]]) / np.hypot(*(q - p))
        swing = 4 * rng.normal(0, bow) * t * (1 - t) + np.where(t > 0, rng.normal(0, 0.2, 8), 0)
        points.append(p + t[:, None] * (q - p) + swing[:, None] * out)
    return np.vstack(points) @ axes(rng.uniform(-0.02, 0.02))


@pytest.mark.parametrize("tight", [False, True])
def test_nothing_better_is_found_by_trying(tight):
    """Brute force: of thousands of places none beats the stated order of wishes.

    Cloth first (shapely), then the points' shortage, then the centre line.
    """
    rng = np.random.default_rng(14)
    size = np.array([6.7, 9.7] if tight else [6.5, 9.5]) * INCH
    for _ in range(12):
        block = Block("b", wavy(rng, 0.5), 0.1)
        marks = np.array([[3.4, 0.3], [6.45, 5], [0.3, 4]]) * INCH + rng.normal(0, 1.5, (3, 2))
        line = np.array([[3.4, 1.0], [3.4, 9.0]]) * INCH + rng.normal(0, 1.0, (2, 2))
        named = dict(zip("abc", marks, strict=True))
        plan = trim(block, *size, points_mm=named, centre_line_mm=line)

        def judged(poses, outline=block.outline_mm, guard=block.guard_mm, marks=marks, line=line):
            c, s = np.cos(poses[:, 2]), np.sin(poses[:, 2])
            frame = np.stack([np.stack([c, s], 1), np.stack([-s, c], 1)], axis=1)
            signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (size / 2 + guard)
            grown = polygons(signs @ frame + poses[:, None, :2])
            cloth = Polygon(outline).buffer(1e-4)
            prepare(cloth)
            at = np.abs((marks - poses[:, None, :2]) @ frame.transpose(0, 2, 1))
            short = np.maximum(at - size / 2 + INCH / 4, 0).sum(axis=(1, 2))
            ends = (line - poses[:, None, :2]) @ frame.transpose(0, 2, 1)
            return contains(cloth, grown), short, np.abs(ends[:, :, 0]).max(axis=1)

        laid = plan.placement
        here = np.array([[laid.x_mm, laid.y_mm, laid.turn_rad]])
        (fits,), (short,), (off,) = judged(here)
        tries = [here + rng.normal(0, 1, (1500, 3)) * [k, k, k / 100] for k in (2.0, 0.3, 0.03)]
        cloth, missed, skewed = judged(np.vstack(tries))
        assert fits == plan.fits
        if not fits:
            assert not cloth.any()
            continue
        assert missed[cloth].min(initial=np.inf) > short - 5e-3
        as_good = cloth & (missed <= short + 1e-9)
        assert skewed[as_good].min(initial=np.inf) > off - 5e-3


def settled(wishes, turn):
    """Let one placement settle from a turn, each program solved alone."""
    work, answer = placing._settle(wishes, turn), None
    try:
        while True:
            answer = placing._solve([work.send(answer)])[0]
    except StopIteration as end:
        return end.value


def test_many_at_once_as_one_by_one():
    rng = np.random.default_rng(8)
    blocks = [Block(str(i), wavy(rng, 0.8), 0.1 + 0.1 * (i % 3)) for i in range(40)]
    marks = [{"mast": [84.0, 7.0 + i / 20]} if i % 3 else {} for i in range(40)]
    lines = [[[84.0, 10.0], [84.5, 200.0]] if i % 4 == 0 else None for i in range(40)]
    many = trim_all(blocks, 6.5 * INCH, 9.5 * INCH, points_mm=marks, centre_lines_mm=lines)
    for plan, block, points, line in zip(many, blocks, marks, lines, strict=True):
        one = trim(block, 6.5 * INCH, 9.5 * INCH, points_mm=points, centre_line_mm=line)
        assert plan.name == block.name
        assert plan.placement.corners_mm == pytest.approx(one.placement.corners_mm, abs=1e-3)


def test_evenness_from_any_start():
    """Local solutions from many turns give no more even cut than the one that is returned."""
    rng = np.random.default_rng(3)
    for _ in range(10):
        block = Block("b", wavy(rng, 0.8), 0.1)
        half = np.array([6.5, 9.5]) * INCH / 2
        wishes = placing.Wishes(block, half, np.empty((0, 2)), 6.35, None, 0)
        turns = block.turn + np.linspace(-0.3, 0.3, 9)
        tries = [settled(wishes, turn) for turn in turns]
        best = max(sum(one.spare_mm) for one in tries if one.clearance_mm >= 0)
        laid = trim(block, *(2 * half)).placement
        assert laid.clearance_mm > 0
        assert sum(laid.spare_mm) > best - 1e-3


def test_other_points_are_kept_where_one_is_lost():
    """Two points that cannot both be had do not take a third with them."""
    points = {"mast": [84, 2.0], "keel": [84, 245.0], "bow": np.array([6.49, 5]) * INCH}
    plan = trim(Block("s", SAILBOAT), 6.5 * INCH, 9.5 * INCH, points_mm=points)
    assert {p.name for p in plan.cut_points} == {"mast", "keel"}


def test_random_outlines_shapely():
    rng = np.random.default_rng(4)
    for _ in range(700):
        shape = SAILBOAT + rng.normal(0, 1.0, (4, 2))
        plan = trim(Block("s", shape, 0.2), 6.25 * INCH, 9.25 * INCH)
        if plan.fits:
            rect = Polygon(plan.placement.corners_mm)
            assert Polygon(shape).buffer(-0.2 + 2e-3, join_style="mitre").contains(rect)
            assert rect.area == pytest.approx(6.25 * 9.25 * INCH**2)
            assert min(o.least_mm for o in plan.offcuts) > 0.19


@pytest.mark.parametrize("turned", [0.0, 1.0])
def test_every_block_with_straight_edges_is_laid(turned):
    """Sizes that just do not fit are hard on the solver: several blocks at once once found no place."""
    rng, blocks = np.random.default_rng(5), []
    for i in range(60):
        corners = np.array([[0, 0], [6, 0], [6, 9], [0, 9]]) * INCH + rng.normal(0, 1.5, (4, 2))
        a = math.radians(rng.uniform(-turned, turned))
        turn = np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])
        blocks.append(Block(str(i), corners @ turn, give_mm=INCH / 32))
    plans = trim_all(blocks, 6 * INCH, 9 * INCH)
    below = {m.name for m in below_size(blocks, 6 * INCH, 9 * INCH)}
    assert {p.name for p in plans if not p.fits} == below
    assert 0 < len(below) < 60


def test_what_would_be_written_as_0_is_nothing():
    """A right edge that leans out from about 1/50 in at the top to 1/8 in at the bottom."""
    shape = np.array([[0, 0], [6.02, 0], [6.125, 9], [0, 9]]) * INCH
    plan = trim(Block("b", shape), 6 * INCH, 9 * INCH)
    right, *_ = trim_words.instructions(Plan(), plan)
    assert right.startswith("off the right edge: nothing at the top, 1/8 in")


def test_an_edge_that_bulges_says_where():
    """Both ends on the trim line, 1/8 in outside it between them: not nothing at both ends."""
    shape = np.array([[0, 0], [6, 0], [6.125, 4.5], [6, 9], [0, 9]]) * INCH
    plan = trim(Block("b", shape), 6 * INCH, 9 * INCH)
    right, *_ = trim_words.instructions(Plan(), plan)
    assert right == "off the right edge: nothing at the ends, 1/8 in in the middle"


@pytest.mark.parametrize("seed", range(6))
def test_a_block_too_narrow_is_not_laid_short_where_it_is_high_enough(seed):
    """Both long sides bowed the same way: a hair of width is not bought with 1/32 in of height."""
    rng = np.random.default_rng(seed)
    t = np.linspace(-1, 1, 9)[1:-1]
    bow = rng.uniform(0.06, 0.12) * (1 - t**2) * INCH
    down = (t + 1) / 2 * 9.06 * INCH
    corners = np.array([[0, 0], [6, 0], [6, 9.06], [0, 9.06]]) * INCH
    right = np.column_stack([6 * INCH + bow, down])
    left = np.column_stack([bow, down])[::-1]
    shape = np.vstack([corners[:2], right, corners[2:], left]) + rng.normal(0, 0.05, (18, 2))
    plan = trim(Block("b", shape, give_mm=INCH / 32), 6 * INCH, 9 * INCH)
    assert not plan.fits
    assert {m.side for m in plan.missing} <= {"left", "right"}
    assert all(o.least_mm > -SEEN_MM for o in plan.offcuts if o.side in ("top", "bottom"))
