"""The common size against elementary figures, brute force and shapely."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull
from shapely import Polygon

from blockcheck.errors import PlanError
from blockcheck.planning.trimming.block import Block
from blockcheck.planning.trimming.common_size import common_size, sizes_at_least
from blockcheck.planning.trimming.hull import Hull
from blockcheck.planning.trimming.rectangles import axes, frontier, frontiers
from blockcheck.planning.trimming.shortage import below_size, short_of
from blockcheck.planning.trimming.stack import Stack
from blockcheck.planning.trimming.trim_lines import trim
from blockcheck.units import INCH
from fixtures.brute import bowed, tallest

SAILBOAT = np.array([[0.0, 0.0], [6.5, 0.0], [6.5, 9.5], [0.0, 9.5]]) * INCH


def sailboats(n, seed=3, spread=1.5, guard=0.3):
    rng = np.random.default_rng(seed)
    return [
        Block(f"sailboat {i + 1}", SAILBOAT + rng.normal(0, spread, (4, 2)), guard)
        for i in range(n)
    ]


def dense(rng, bow):
    """A sailboat with curved edges of many points, turned and shifted."""
    a, points = rng.uniform(-0.3, 0.3), []
    corners = SAILBOAT + rng.normal(0, 1.5, (4, 2))
    for p, q, b in zip(
        corners, np.roll(corners, -1, axis=0), rng.uniform(-bow, bow, 4), strict=True
    ):
        t = np.linspace(0, 1, 12, endpoint=False)[:, None]
        side = q - p
        out = np.array([side[1], -side[0]]) / np.hypot(*side)
        points.append(p + t * side + 4 * b * t * (1 - t) * out)
    return np.vstack(points) @ np.array([[math.cos(a), math.sin(a)], [-math.sin(a), math.cos(a)]])


@pytest.mark.parametrize("bow", [0.0, 0.3, 2.0])
def test_hull_is_that_of_qhull(bow):
    """Against Qhull (Barber et al. 1996, doi:10.1145/235815.235821), as SciPy has it."""
    for seed in range(40):
        points = bowed(np.random.default_rng(seed), bow=bow)
        ours, theirs = Hull.of(points), ConvexHull(points)
        assert set(ours.vertices) == set(theirs.vertices)
        corners = points[ours.vertices]
        assert Polygon(corners).exterior.is_ccw
        assert Polygon(corners).area == pytest.approx(theirs.volume)
        room = ours.offsets - points @ ours.normals.T
        assert room.min() > -1e-9
        assert np.abs(np.sort(room, axis=0)[:2]).max() < 1e-9  # two points on every edge


def test_hull_of_points_that_come_twice_or_lie_in_rows():
    grid = np.array([[x, y] for x in range(4) for y in range(3)] * 2, dtype=float)
    corners = grid[Hull.of(grid).vertices]
    assert sorted(map(tuple, corners)) == [(0, 0), (0, 2), (3, 0), (3, 2)]


@pytest.mark.parametrize(
    "points", [[[0, 0]] * 4, [[0, 0], [1, 1], [2, 2], [3, 3]], [[0, 0], [50, 1e-12], [100, 0]]]
)
def test_points_on_one_line_enclose_no_cloth(points):
    with pytest.raises(PlanError, match="encloses no cloth"):
        Block("b", np.array(points, dtype=float))


def test_sheared_parallelogram():
    """Elementary: 17 × 6 sheared by 1/8 holds 16 7/8 × 6."""
    shape = np.array([[0, 0], [17, 0], [17.125, 6], [0.125, 6]]) * INCH
    assert frontier(Block("p", shape), 16.875 * INCH)[0] == pytest.approx(6 * INCH, abs=1e-6)
    size = common_size([Block("p", shape)])
    assert (size.width_mm / INCH, size.height_mm / INCH) == pytest.approx((16.875, 6.0))


def test_right_triangle():
    """Elementary: the largest rectangle in a 3-4-5 triangle has half its area, 3."""
    shape = np.array([[0, 0], [4, 0], [0, 3]]) * INCH
    widths = np.linspace(0.2, 4.6, 221) * INCH
    area = (frontier(Block("t", shape), widths) * widths).max() / INCH**2
    assert area == pytest.approx(3, abs=1e-4)


def test_rectangle_with_guard():
    block = Block("r", SAILBOAT, 0.5)
    assert frontier(block, 6.5 * INCH - 1)[0] == pytest.approx(9.5 * INCH - 1, abs=1e-6)
    assert frontier(block, 6.5 * INCH - 0.9)[0] < 9 * INCH


def brute(outline, width, turns):
    """Tallest rectangle by sampling turns and places of a convex outline."""
    best = 0.0
    for t in turns:
        c, s = math.cos(t), math.sin(t)
        p = outline @ np.array([[c, -s], [s, c]])
        left = p[:, 0].min()
        x = np.linspace(left, p[:, 0].max() - width, 301)
        if x[-1] < x[0]:
            continue
        tops, bottoms = [], []
        for at in (x, x + width):
            high, low = np.full(len(x), -np.inf), np.full(len(x), np.inf)
            for a, b in zip(p, np.roll(p, -1, axis=0), strict=True):
                f = (at - a[0]) / (b[0] - a[0] + 1e-300)
                y = np.where((f >= 0) & (f <= 1), a[1] + f * (b[1] - a[1]), np.nan)
                high, low = np.fmax(high, y), np.fmin(low, y)
            tops.append(high)
            bottoms.append(low)
        best = max(best, float((np.minimum(*tops) - np.maximum(*bottoms)).max()))
    return best


def test_every_turn_looked_at():
    """The turn found is as good as the best of 2401; bows to either side, waviness, guards."""
    rng = np.random.default_rng(9)
    blocks = []
    for bow in (0.0, 0.6, 1.2) * 8:
        shape = dense(rng, bow)
        blocks.append(Block("b", shape + rng.normal(0, 0.1, shape.shape), rng.uniform(0, 0.4)))
    widths = np.array([5.5, 6.0, 6.25]) * INCH
    heights = frontiers(blocks, widths)
    stack, guard = Stack.of(blocks), np.array([b.guard_mm for b in blocks])
    own = np.array([b.turn for b in blocks])
    best = np.zeros_like(heights)
    for turns in np.linspace(-0.06, 0.06, 2401).reshape(7, -1):
        for k, width in enumerate(widths):
            high = stack.tallest(width + 2 * guard, own[:, None] + turns)[1].max(axis=1)
            best[:, k] = np.maximum(best[:, k], high - 2 * guard)
    assert (heights > 8 * INCH).all()
    assert (heights >= best - 0.01).all()
    # tall rectangles only are asked for, as a common size does
    assert frontiers(blocks, widths, least_mm=8 * INCH) == pytest.approx(heights, abs=0.01)


def test_brute_force_agrees_beside_bows():
    """Near the widest width, beside edges with two bows; `docs/benchmarks/brute.py` does 1000.

    Outline 66 once had a frontier of 0 where a rectangle of 191 mm fits. From 407 on, the height
    falls off by metres a radian beside its best turn.
    """
    millimetres = [1, 2, 3, 4, 5, 6, 8, 10]
    for i in (5, 8, 66, 134, 75, 104, 407, 608, 1074):
        rng = np.random.default_rng(10_000 + i)
        block = Block("b", bowed(rng, bow=rng.choice([0.3, 1.0, 2.0])))
        spread = np.ptp(block.outline_mm @ axes(block.turn)[0])
        width = spread - (rng.choice(millimetres) if i < 400 else rng.uniform(1, 10))
        found = frontier(block, width)[0]
        tried = tallest(block.outline_mm, width, own=block.turn)
        if max(found, tried) > 0.5 * block.reach_mm:
            assert found == pytest.approx(tried, abs=0.05)


def test_brute_force_agrees():
    turns = np.linspace(-0.06, 0.06, 241)
    for block in sailboats(12, guard=0.0):
        widths = np.ptp(block.outline_mm[:, 0]) - np.array([8.0, 12.0, 16.0])
        exact = frontier(block, widths)
        found = np.array([brute(block.outline_mm, w, turns) for w in widths])
        assert (found <= exact + 1e-3).all()
        assert (found >= exact - 0.25).all()


@pytest.mark.parametrize("bow", [0.0, 2.0])
def test_shapely_contains(bow):
    """Every rectangle of the frontier lies in its outline, grown by its guard."""
    rng = np.random.default_rng(11)
    blocks = [Block(str(i), dense(rng, bow), rng.uniform(0, 0.6)) for i in range(350)]
    width = 6.25 * INCH
    heights = frontiers(blocks, width)[:, 0]
    assert (heights > 8 * INCH).all()
    for block, height in zip(blocks, heights, strict=True):
        laid = trim(block, width, height - 0.02).placement
        grown = Polygon(laid.corners_mm).buffer(block.guard_mm - 1e-3, join_style="mitre")
        assert Polygon(block.outline_mm).buffer(0.02).contains(grown)
        assert laid.clearance_mm > -0.02


def test_ragged_edges_shapely():
    """Edges with random steps in and out: still nothing outside the cloth."""
    rng = np.random.default_rng(21)
    blocks = []
    for i in range(60):
        shape = dense(rng, 1.5)
        blocks.append(Block(str(i), shape + rng.normal(0, 0.3, shape.shape), 0.2))
    heights = frontiers(blocks, 6.2 * INCH)[:, 0]
    for block, height in zip(blocks, heights, strict=True):
        laid = trim(block, 6.2 * INCH, height - 0.05).placement
        grown = Polygon(laid.corners_mm).buffer(0.2 - 1e-3, join_style="mitre")
        if laid.clearance_mm >= 0:
            assert Polygon(block.outline_mm).buffer(1e-3).contains(grown)
    assert (heights > 8 * INCH).all()


def test_random_convex_outlines_shapely():
    rng = np.random.default_rng(5)
    blocks = []
    for _ in range(60):
        angles = np.sort(rng.uniform(0, 2 * np.pi, 9))
        blocks.append(Block("c", 80 * np.column_stack([np.cos(angles), np.sin(angles)])))
    widths = np.array([20.0, 50.0, 70.0])
    heights = frontiers(blocks, widths)
    assert (np.diff(heights, axis=1) <= 0).all()
    for block, height in zip(blocks, heights[:, 1], strict=True):
        if height > 5:
            laid = trim(block, 50.0, height - 0.05).placement
            outline = Polygon(block.outline_mm)
            assert 50 * height <= outline.area
            if laid.clearance_mm >= 0:
                assert outline.buffer(1e-6).contains(Polygon(laid.corners_mm))


def test_inward_bow_limits():
    """A top edge that bows 1/8 in inwards costs 1/8 in of height, no more."""
    t = np.linspace(0, 1, 41)
    top = np.column_stack([6.5 * t, 0.125 * 4 * t * (1 - t)])
    shape = np.vstack([top, [[6.5, 9.5], [0, 9.5]]]) * INCH
    assert frontier(Block("b", shape), 6.5 * INCH)[0] == pytest.approx(9.375 * INCH, abs=1e-3)


def test_table_and_limits():
    good = [Block(f"sailboat {i}", SAILBOAT) for i in range(4)]
    low = Block("low", SAILBOAT * [1, 9.25 / 9.5])
    size = common_size([*good, low])
    assert size.height_mm == pytest.approx(9.25 * INCH)
    assert size.limits[0].name == "low"
    assert size.limits[0].short_mm == pytest.approx(INCH / 8, abs=1e-3)
    assert size.table[1].set_aside == ("low",)
    assert size.table[1].height_mm == pytest.approx(9.5 * INCH)
    below = below_size([*good, low], 6.5 * INCH, 9.5 * INCH)
    assert [b.name for b in below] == ["low"]
    assert below[0].short_mm == pytest.approx(INCH / 4, abs=1e-3)
    assert below[0].side in ("top", "bottom")


def test_short_both_ways():
    """A block 1/8 in too narrow and 3/8 in too short is named for both, the greater lack first."""
    high, wide = below_size([Block("b", SAILBOAT)], 6.625 * INCH, 9.875 * INCH)
    assert high.short_mm == pytest.approx(3 / 8 * INCH, abs=1e-3)
    assert wide.short_mm == pytest.approx(1 / 8 * INCH, abs=1e-3)
    assert (high.side in ("top", "bottom"), wide.side in ("left", "right")) == (True, True)
    assert high.remedy == "strip"
    assert wide.remedy == "resew"


@pytest.mark.parametrize(
    ("lack", "remedy"),
    [(1 / 16, "press"), (3 / 16, "resew"), (1 / 4, "resew"), (1, "strip"), (1.25, "elsewhere")],
)
def test_what_to_do_goes_by_how_much_is_missing(lack, remedy):
    """Common practice: press, resew within a seam allowance, add a strip of up to an inch."""
    (short,) = below_size([Block("b", SAILBOAT)], 6.5 * INCH, (9.5 + lack) * INCH)
    assert short.remedy == remedy


def test_sizes_no_smaller_than_asked_for():
    """Blocks of 6 1/2 x 9 1/2 in: from 6 x 9 in all widths to 6 1/2, of squares 6 to 6 1/2."""
    blocks, least = [Block("a", SAILBOAT), Block("b", SAILBOAT)], (6 * INCH, 9 * INCH)
    found = np.array(sizes_at_least(blocks, least)) / INCH
    widths = [6.5, 6.375, 6.25, 6.125, 6]
    assert found == pytest.approx(np.array([[w, 9.5] for w in widths]))
    assert not sizes_at_least(blocks, least, square=True)
    square = np.array(sizes_at_least(blocks, (6 * INCH, 5 * INCH), square=True)) / INCH
    assert square == pytest.approx(np.column_stack([widths, widths]))


def test_where_it_is_missing():
    """A right edge that leans in by 1/4 in at its foot; a bottom edge with a dent of 1/4 in."""
    shape = np.array([[0, 0], [6.5, 0], [6.25, 9.5], [0, 9.5]]) * INCH
    points = np.array([[0, 0], [6.5, 0], [6.5, 9.5], [3.25, 9.25], [0, 9.5]]) * INCH
    (lean,) = below_size([Block("lean", shape)], 6.5 * INCH, 9.5 * INCH)
    (dent,) = below_size([Block("dent", points)], 6.5 * INCH, 9.5 * INCH)
    assert (lean.side, lean.end) == ("right", "bottom")
    assert lean.short_mm == pytest.approx(INCH / 4, abs=0.01)
    assert (dent.side, dent.end) == ("bottom", "middle")
    assert dent.short_mm == pytest.approx(INCH / 4, abs=1e-3)
    low = np.array([[0, 0], [6.5, 0.25], [6.5, 9.5], [0, 9.5]]) * INCH
    (slant,) = below_size([Block("slant", low)], 6.5 * INCH, 9.5 * INCH)
    assert (slant.side, slant.end) == ("top", "right")


@pytest.mark.parametrize("deep_mm", [0.3, 0.7])
def test_a_dent_is_told_from_an_edge_that_is_short_all_along(deep_mm):
    """In the middle: more than half a millimetre deeper than at both ends."""
    points = np.array([[0, 0], [6.5, 0], [6.5, 9.5], [3.25, 9.5], [0, 9.5]]) * INCH
    points[3, 1] -= deep_mm
    (dent,) = below_size([Block("dent", points)], 6.5 * INCH, 9.5 * INCH)
    assert dent.end == ("middle" if deep_mm > 0.5 else "all along")


def test_the_short_end_of_a_slanting_top_is_named():
    low = np.array([[0, 0.25], [6.5, 0], [6.5, 9.5], [0, 9.5]]) * INCH
    (slant,) = below_size([Block("slant", low)], 6.5 * INCH, 9.5 * INCH)
    assert (slant.side, slant.end) == ("top", "left")


@settings(max_examples=30)
@given(st.integers(0, 9999), st.sampled_from([0.3, 1.0, 2.0]), st.floats(6.2, 6.6))
def test_who_is_short_is_the_same_with_and_without_saying_of_what(seed, bow, inches):
    rng = np.random.default_rng(seed)
    blocks = [Block(str(i), bowed(rng, bow=bow), give_mm=INCH / 32) for i in range(4)]
    named = {m.name for m in below_size(blocks, inches * INCH, 9.4 * INCH)}
    assert short_of(blocks, inches * INCH, 9.4 * INCH) == named


@pytest.mark.parametrize("step", [INCH / 4, INCH / 8, INCH / 16, 1.0])
def test_on_the_marks_and_reached(step):
    blocks = sailboats(5)
    size = common_size(blocks, step_mm=step)
    for value in (size.width_mm, size.height_mm):
        assert value / step == pytest.approx(round(value / step), abs=1e-9)
    assert (frontiers(blocks, size.width_mm)[:, 0] >= size.height_mm - 1e-6).all()
    assert all(m.short_mm > 0 for m in size.limits)
    assert size.table[0].reached == 5


def test_one_dimension_fixed():
    blocks = sailboats(5)
    wide = common_size(blocks, fix_width_mm=6 * INCH)
    high = common_size(blocks, fix_height_mm=9 * INCH)
    assert wide.width_mm == 6 * INCH
    assert high.height_mm == 9 * INCH
    assert high.width_mm >= 6 * INCH
    with pytest.raises(PlanError):
        common_size(blocks, fix_width_mm=12 * INCH)
    with pytest.raises(PlanError):
        common_size([])


def test_a_fixed_height_is_told_with_what_limits_the_width():
    """One of two blocks is 6 1/4 in wide: it keeps the set from 6 1/2 at any height."""
    narrow = Block("narrow", SAILBOAT * [6.25 / 6.5, 1])
    blocks, high = [Block("a", SAILBOAT), narrow], 9.25 * INCH
    size = common_size(blocks, fix_height_mm=high)
    (limit,) = size.limits
    assert (limit.dimension, limit.name) == ("width", "narrow")
    assert limit.side in ("left", "right")
    rows = [(r.width_mm / INCH, r.height_mm / INCH, r.set_aside) for r in size.table]
    assert rows == [(6.25, 9.25, ()), (6.5, 9.25, ("narrow",))]
    most = common_size(blocks, fix_height_mm=high, at_most_mm=(6.125 * INCH, 9.5 * INCH))
    assert (most.width_mm, most.height_mm) == (6.125 * INCH, high)


@settings(max_examples=10, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.permutations(range(4)), st.floats(0.1, 4.0))
def test_order_and_enlarging(seed, order, more):
    blocks = sailboats(4, seed=seed)
    size = common_size(blocks)
    again = common_size([blocks[i] for i in order])
    assert (size.width_mm, size.height_mm) == (again.width_mm, again.height_mm)
    assert size.limits == again.limits
    centre = SAILBOAT.mean(axis=0)
    out = np.sign(blocks[0].outline_mm - centre) * more
    larger = Block(blocks[0].name, blocks[0].outline_mm + out, 0.3)
    grown = common_size([larger, *blocks[1:]])
    assert grown.width_mm * grown.height_mm >= size.width_mm * size.height_mm - 1e-6


def test_a_block_keeps_its_outline_whatever_becomes_of_the_array():
    corners = SAILBOAT.copy()
    block = Block("s", corners)
    corners[0] = 50
    assert (block.outline_mm == SAILBOAT).all()
    with pytest.raises(ValueError, match="read-only"):
        block.outline_mm[0] = 50


def test_bad_outlines():
    for points in ([[0, 0], [1, 1]], [[0, 0], [1, 1], [2, 2]], [[0, 0], [1, math.nan], [0, 1]]):
        with pytest.raises(PlanError):
            Block("bad", np.array(points))
