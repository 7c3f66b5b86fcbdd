"""Which size to trim to: the decisions of a quilter, and how sure they are."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr

from blockcheck.planning.plan import BlockRecord, Plan
from blockcheck.planning.quilt import work_out
from blockcheck.planning.trimming.block import Block
from blockcheck.planning.trimming.placement import Placement
from blockcheck.planning.trimming.shortage import holds_probability
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH


def record(name, width, height, *, u=0.1, guard=None, **more):
    """A straight block; width and height in inches, u in mm."""
    w, h = width * INCH, height * INCH
    terms = (Term("edge fit", u),) if u else ()
    outline = np.array([[0, 0], [w, 0], [w, h], [0, h]])
    guard = 2 * u if guard is None else guard
    return BlockRecord(
        name, "measured", Estimate(w, terms), Estimate(h, terms), outline, guard, **more
    )


def planned(width, height, **more):
    return Plan(planned_mm=(width * INCH, height * INCH), **more)


def size_of(plan, blocks):
    return pytest.approx([mm / INCH for mm in work_out(plan, blocks).size_mm], abs=1e-9)


def test_simple_and_guarded_acceptance_as_jcgm_106():
    """JCGM 106:2012, 8.2.1 and 8.3.2: the acceptance limit is the tolerance limit, or it is moved
    into the tolerance interval by the guard band w = r U.
    """
    block = record("a", 6.5 - 0.9 / 16, 6.5)  # a ninth within the tolerance limit of 1/16 in
    assert not work_out(planned(6.5, 6.5), [block]).below
    strict = planned(6.5, 6.5, guarded=True)
    assert work_out(strict, [block]).below  # its guard, 0.2 mm on each edge, is more than is left
    sure = record("b", 6.5 - 0.9 / 16, 6.5, u=0.03)
    assert not work_out(strict, [sure]).below


def test_the_chance_of_being_wrong_is_the_normal_tail():
    """JCGM 106:2012, 7.3.3: 5.47 ± 0.05 against a lower limit of 5.40 conforms with 0.92."""
    shape = np.array([[0, 0], [5.47, 0], [5.47, 9], [0, 9]])
    laid = Placement(0, 0, 0, 5.40, 5, 0.035, spare_mm=(0.035, 2.0))
    assert holds_probability(Block("z", shape), laid, (0.05, 0.05)) == pytest.approx(0.92, abs=5e-3)


def test_the_doubts_are_those_of_the_block_s_slack():
    block = record("a", 6.5 - 1 / 16 + 0.05 / 25.4, 9.6)
    choice = work_out(planned(6.5, 9.5), [block]).choice
    assert choice.why == "planned"
    assert choice.doubts["a"] == pytest.approx(1 - ndtr(0.5), abs=1e-3)


@given(st.floats(0.0, 3.0), st.integers(1, 5), st.sampled_from([INCH / 8, INCH / 16, 1.0]))
@settings(max_examples=25, deadline=None, derandomize=True)
def test_equal_blocks_keep_their_size_whatever_its_uncertainty(u, n, step):
    plan = Plan(step_mm=step)
    w, h = 52 * step / INCH, 76 * step / INCH
    quilt = work_out(plan, [record(f"b{i}", w, h, u=u) for i in range(n)])
    assert quilt.size_mm == pytest.approx((52 * step, 76 * step))
    assert all(t.nothing_to_trim for t in quilt.trims)


@given(st.integers(0, 10**6), st.integers(0, 3), st.floats(0.0, 4.0), st.booleans())
@settings(max_examples=25, deadline=None, derandomize=True)
def test_a_larger_block_never_makes_the_size_smaller(seed, which, more, square):
    rng = np.random.default_rng(seed)
    plan = planned(6.5, 6.5 if square else 9.5)
    high = 6.5 if square else 9.5
    blocks = [record(f"b{i}", *rng.normal((6.45, high - 0.05), 0.06)) for i in range(4)]
    before = work_out(plan, blocks).size_mm
    one = blocks[which]
    w, h = one.width_mm.value / INCH, one.height_mm.value / INCH
    blocks[which] = record(one.name, w + more / 25.4, h + more / 25.4)
    after = work_out(plan, blocks).size_mm
    assert after[0] * after[1] >= before[0] * before[1] - 1e-6


def test_no_dimension_passes_the_planned_one():
    """Narrow but tall: the quilter keeps the planned height."""
    blocks = [record("a", 6.3, 9.9), record("b", 6.6, 9.9)]
    assert size_of(planned(6.5, 9.5), blocks) == (6.25, 9.5)
    assert size_of(Plan(), blocks) == (6.25, 9.875)


def test_square_plans_keep_to_squares():
    blocks = [record("a", 6.5, 6.3), record("b", 6.45, 6.5)]
    assert size_of(planned(6.5, 6.5), blocks) == (6.25, 6.25)
    assert size_of(planned(6.5, 6.5, keep_square=False), blocks) == (6.5, 6.25)
    limits = work_out(planned(6.5, 6.5), blocks).choice.limits
    assert [(m.name, m.dimension) for m in limits] == [("a", "height")]
    assert "not square" in work_out(planned(6.5, 9.5, keep_square=True), blocks).gaps["size"]


def test_the_planned_size_is_always_in_the_table():
    blocks = [record("a", 6.1, 9.3), record("b", 6.2, 9.2)]
    for plan in (planned(6.5, 9.5), planned(6, 9)):
        last = work_out(plan, blocks).choice.table[-1]
        assert (last.width_mm, last.height_mm) == plan.planned_mm
    assert last.reached == 2


def test_a_size_that_keeps_every_point_comes_first():
    """At the planned 6 in two points would be cut off; 6 1/8 in keeps both."""
    points = {"bow": (0.3 * INCH, 4 * INCH), "stern": (5.9 * INCH, 4 * INCH)}
    marked = replace(record("a", 6.2, 9.1), points_mm=points)
    quilt = work_out(planned(6, 9), [marked, record("b", 6.2, 9.1)])
    assert quilt.choice.why == "points"
    assert quilt.size_mm == pytest.approx((6.125 * INCH, 9.125 * INCH))
    assert quilt.choice.passed_over == (pytest.approx((6 * INCH, 9 * INCH)), ("a",))
    assert not any(t.cut_points for t in quilt.trims)
    # where another block is too small for that, the points are cut off and it is said
    quilt = work_out(planned(6, 9), [marked, record("b", 6.0, 9.0)])
    assert quilt.choice.why == "planned"
    assert {p.name for p in quilt.trims[0].cut_points} <= {"bow", "stern"}
    assert quilt.trims[0].cut_points


def test_blocks_without_points_are_named_where_the_size_comes_near_a_seam():
    blocks = [record("a", 6.3, 9.3), record("b", 6.3, 9.3, points_mm={"mast": (80.0, 20.0)})]
    assert work_out(planned(6.5, 9.5), blocks).unmarked == ("a",)
    assert work_out(planned(6.25, 9.25), blocks).unmarked == ()


def test_what_is_chosen_stands_and_names_who_is_short():
    blocks = [record("a", 6.3, 9.3), record("b", 6.1, 9.3)]
    choice = work_out(planned(6.5, 9.5, chosen_mm=(6.25 * INCH, 9.25 * INCH)), blocks).choice
    assert choice.why == "chosen"
    assert [t.fits for t in choice.trims] == [True, False]
    assert (6.25 * INCH, 9.25 * INCH) in {(r.width_mm, r.height_mm) for r in choice.table}
    assert choice.doubts["b"] < 0.01
    both = work_out(Plan(fixed_width_mm=6 * INCH, fixed_height_mm=9 * INCH), blocks)
    assert both.size_mm == (6 * INCH, 9 * INCH)
    # what the blocks would hold is shown beside it
    assert (6.125 * INCH, 9.25 * INCH) in {(r.width_mm, r.height_mm) for r in both.choice.table}


def test_a_least_seam_allowance_of_its_own():
    short = [record("a", 6.5 - 1 / 8, 9.5)]
    assert work_out(planned(6.5, 9.5), short).below
    assert not work_out(planned(6.5, 9.5, least_seam_mm=3 / 16 * INCH), short).below
    exact = planned(6.5, 9.5, least_seam_mm=INCH / 4)
    assert work_out(exact, [record("a", 6.49, 9.5)]).below
