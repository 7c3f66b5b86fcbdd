"""A plan and blocks become everything that is read; what cannot be worked out is said."""

import doctest
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr

from blockcheck.planning.cutting.workings import Joined, Working
from blockcheck.planning.plan import BlockRecord, Plan
from blockcheck.planning.quilt import trims_at, work_out
from blockcheck.planning.rows.laying import ALTERNATE, HALF, SASHING, TO_SEW, NoOrder, grid
from blockcheck.planning.rows.seam_matches import half_block_cut
from blockcheck.report import words
from blockcheck.uncertainty import Estimate, Term, own_u, scale_u
from blockcheck.units import INCH


def record(name, width, height, *, u=0.1, state="measured", **more):
    """A straight block; width and height in inches, u in mm."""
    w, h = width * INCH, height * INCH
    terms = (Term("mat scale", 0.6 * u), Term("edge fit", 0.8 * u)) if u else ()
    outline = np.array([[0, 0], [w, 0], [w, h], [0, h]])
    return BlockRecord(
        name, state, Estimate(w, terms), Estimate(h, terms), outline, u, corners_mm=outline, **more
    )


SIX = tuple(
    record(f"SB-{i}", w, h)
    for i, (w, h) in enumerate(
        [(6.3, 9.2), (6.25, 9.25), (6.4, 9.3), (6.2, 9.15), (6.3, 9.3), (6.3, 9.2)], 1
    )
)
PLANNED = Plan(planned_mm=(6.5 * INCH, 9.5 * INCH), seams_across=2)


def inches(*mm):
    return pytest.approx([v * INCH for v in mm], abs=1e-6)


def test_the_largest_size_is_what_the_smallest_block_holds():
    quilt = work_out(Plan(), SIX)
    assert quilt.size_mm == inches(6.25, 9.125)
    assert {limit.name for limit in quilt.choice.limits} == {"SB-4"}
    assert [t.name for t in quilt.trims] == [b.name for b in SIX]
    assert all(t.fits for t in quilt.trims)


def test_blocks_that_all_reach_the_planned_size_are_trimmed_to_it():
    quilt = work_out(Plan(planned_mm=(6 * INCH, 9 * INCH)), SIX)
    assert quilt.size_mm == inches(6, 9)
    assert not quilt.below
    assert quilt.choice.why == "planned"


def test_below_the_planned_size_and_how_sure_that_is():
    """Acceptance begins 1/16 in below 6 1/2: a lacks 0.2 of its u beyond, b a quarter inch."""
    a = record("a", 6.5 - 1 / 16 - 0.02 / 25.4, 9.6)
    quilt = work_out(PLANNED, (a, record("b", 6.2, 9.6), record("c", 6.6, 9.6)))
    assert [m.name for m in quilt.below] == ["a", "b"]
    assert quilt.choice.may_reach["a"] == pytest.approx(ndtr(-0.2), abs=1e-3)
    assert quilt.choice.may_reach["b"] < 1e-6
    assert quilt.below[1].seam_left_mm == pytest.approx((1 / 4 - 0.15) * INCH, abs=0.01)


def test_blocks_set_aside_count_for_nothing():
    small = record("small", 4, 5, state="set aside")
    with_it, without = work_out(PLANNED, (*SIX, small)), work_out(PLANNED, SIX)
    assert with_it.set_aside == ("small",)
    assert with_it.size_mm == without.size_mm
    assert with_it.seams == without.seams
    assert "small" not in {p.name for line in with_it.rows.pieces for p in line}


def test_a_trimmed_block_holds_the_size_that_it_was_trimmed_to():
    """Guarded, its uncertainty would else take an eighth off a block cut on the very mark."""
    guarded = Plan(guarded=True, least_seam_mm=INCH / 4)
    new = record("new", 6.3, 9.3)
    trimmed = [
        record(f"t{i}", 6.125 + e, 9.125 - e, state="trimmed") for i, e in ((1, 0.004), (2, -0.003))
    ]
    assert work_out(guarded, (new, *trimmed)).size_mm == inches(6.125, 9.125)
    as_measured = [replace(b, state="measured") for b in trimmed]
    assert work_out(guarded, (new, *as_measured)).size_mm < (6.125 * INCH, 9.125 * INCH)


def test_a_trimmed_block_off_the_marks_is_taken_as_measured():
    off = record("off", 6.17, 9.17, state="trimmed")
    assert work_out(Plan(), (off,)).size_mm == inches(6.125, 9.125)


def test_a_size_that_is_only_looked_at_trims_as_if_it_were_chosen():
    size = (6.25 * INCH, 9 * INCH)
    marked = replace(SIX[0], points_mm={"mast": (80.0, 8.0)})
    looked = trims_at(PLANNED, [marked, *SIX[1:]], size)
    chosen = work_out(replace(PLANNED, chosen_mm=size), [marked, *SIX[1:]]).trims
    assert [(t.name, t.fits, t.offcuts, t.cut_points) for t in looked] == [
        (t.name, t.fits, t.offcuts, t.cut_points) for t in chosen
    ]


def test_a_trimmed_block_gives_at_its_edges_and_needs_no_guard():
    """Cut 1/32 in under the size that is chosen now: a seam allowance of 15/64 in holds still."""
    cut = record("a", 6.5, 9.5, state="trimmed", u=0.1)
    plan = Plan(chosen_mm=(6.53125 * INCH, 9.5 * INCH), least_seam_mm=7 / 32 * INCH)
    (trim,) = work_out(plan, [cut]).trims
    assert trim.fits
    assert trim.given_mm == pytest.approx(INCH / 64, abs=1e-3)


def test_a_size_that_was_chosen_stands_though_it_cuts_points_off():
    """At 6 1/8 x 9 in both would be kept, and without a choice that comes first."""
    points = {"bow": (0.3 * INCH, 4 * INCH), "stern": (5.9 * INCH, 4 * INCH)}
    marked, six = record("a", 6.2, 9.1, points_mm=points), (6 * INCH, 9 * INCH)
    assert work_out(Plan(planned_mm=six), [marked]).choice.why == "points"
    quilt = work_out(Plan(planned_mm=six, chosen_mm=six), [marked])
    assert quilt.choice.why == "chosen"
    assert quilt.size_mm == six
    assert quilt.choice.passed_over is None
    assert quilt.trims[0].cut_points


def test_rows_that_are_not_compared_say_of_what():
    framed = replace(PLANNED, frame_mm=(("left", 1.5 * INCH),), rows=2, blocks_per_row=3)
    quilt = work_out(framed, SIX)
    assert "for framed blocks." in quilt.gaps["rows"]
    narrow = work_out(replace(framed, frame_mm=(("left", 0.5 * INCH),)), SIX)
    assert narrow.gaps["cuts"].startswith("The frame is no wider")
    # a frame is cut with its seam allowances: an inch wide once it is sewn
    assert quilt.layout.width_mm == pytest.approx(3 * (quilt.size_mm[0] + INCH / 2))


def test_a_quilt_in_centimetres_is_finished_in_centimetres():
    """Common practice: batting 10 cm wider than the quilt on every side."""
    finish = work_out(Plan(unit="cm", step_mm=5.0, rows=2, blocks_per_row=3), SIX).finish
    assert finish.batting.width_mm == pytest.approx(finish.width_mm + 200)
    assert [figure.name for figure in finish.body] == ["width", "height"]


def test_marked_points_reach_the_trim_lines():
    edge = replace(SIX[0], points_mm={"mast": (3 * INCH, 1.0)})
    lost = work_out(Plan(), (edge, *SIX[1:])).trims[0].cut_points
    assert [(p.name, p.side) for p in lost] == [("mast", "top")]


def test_an_uncertain_block_is_named():
    vague = record("vague", 6.5, 9.5, u=1.0)  # U95 2 mm, half a mark is 1.6 mm
    assert work_out(Plan(), (*SIX, vague)).uncertain == ("vague",)


def test_the_seams_are_judged_from_untrimmed_blocks_only():
    short = [record(f"b{i}", 6.375, 9.5) for i in range(4)]  # 1/8 in over two seams: 1/32 each
    told = work_out(PLANNED, (*short, record("cut", 6, 9, state="trimmed"))).seams
    assert set(told) == {"width"}
    assert told["width"].allowance_mm == pytest.approx((1 / 4 + 1 / 32) * INCH, abs=1e-6)


def test_shared_and_own_uncertainty_part_in_quadrature():
    e = SIX[0].width_mm
    assert (scale_u(e), own_u(e)) == pytest.approx((0.06, 0.08))
    assert scale_u(e) ** 2 + own_u(e) ** 2 == pytest.approx(e.u**2)


@pytest.mark.parametrize(
    ("blocks", "alternate", "expected"),
    [(1, False, (1, 1)), (2, False, (1, 2)), (6, False, (2, 3)), (7, False, (2, 4)),
     (12, False, (3, 4)), (8, True, (3, 5)), (400, False, (20, 20))],
)  # fmt: skip
def test_the_grid_is_the_most_even_with_fewest_places_wasted(blocks, alternate, expected):
    assert grid(Plan(alternate=alternate), blocks) == expected


def test_fifteen_places_filled_in_turn_take_eight_blocks_and_seven_plain_pieces():
    """Common practice; three rows of five."""
    eight = [record(f"b{i}", 6.3, 9.2) for i in range(8)]
    rows = work_out(Plan(alternate=True, rows=3, blocks_per_row=5), eight).rows
    assert rows.count(ALTERNATE) == 7
    assert (rows.to_sew, rows.left_over) == (0, ())
    for above, below in zip(rows.pieces, rows.pieces[1:], strict=False):
        assert all(
            (p.name == ALTERNATE) != (q.name == ALTERNATE)
            for p, q in zip(above, below, strict=True)
        )


def test_straight_rows_of_pieced_and_plain_blocks_are_a_chessboard():
    """Also where a row has as many of one as of the other."""
    four = [record(f"b{i}", 6.5, 9.5) for i in range(4)]
    rows = work_out(replace(PLANNED, alternate=True, rows=2, blocks_per_row=4), four).rows
    plain = [[p.name == ALTERNATE for p in line] for line in rows.pieces]
    assert plain == [[False, True, False, True], [True, False, True, False]]


def test_shifted_columns_are_as_many_as_a_row_has_blocks():
    eight = [record(f"b{i}", 6.5, 9.5) for i in range(8)]
    plan = replace(PLANNED, setting="offset", shifted="columns", rows=3, blocks_per_row=3)
    rows = work_out(plan, eight).rows
    assert [len(line) for line in rows.pieces] == [3, 4, 3]
    plan = replace(plan, rows=2, blocks_per_row=4)  # columns of two blocks, or of one and halves
    assert [len(line) for line in work_out(plan, eight[:6]).rows.pieces] == [2, 3, 2, 3]


def test_rows_are_judged_by_the_plans_own_tolerance():
    blocks = [record(n, w, 9.5, u=0) for n, w in zip("abcd", (6.5, 6.5, 6.56, 6.5), strict=True)]
    plan = Plan(rows=2, blocks_per_row=2)
    meets = [
        work_out(p, blocks).rows.check.matches[0].meets
        for p in (plan, replace(plan, tolerance_mm=1.0))
    ]
    assert meets == ["yes", "no"]  # 1.5 mm, within 1/8 in and not within 1 mm


def test_shifted_rows_begin_and_end_with_half_blocks_and_are_as_long():
    same = [record(f"b{i}", 6.5, 9.5, u=0) for i in range(8)]
    quilt = work_out(Plan(setting="offset", rows=3, blocks_per_row=3), same)
    assert [p.name == HALF for p in quilt.rows.pieces[1]] == [True, False, False, True]
    assert quilt.half_block.width_mm == pytest.approx(half_block_cut(6.5 * INCH))
    assert quilt.half_block.count == 2
    assert np.ptp(quilt.rows.check.lengths_mm) == pytest.approx(0, abs=1e-9)
    assert quilt.rows.check.matches
    assert quilt.rows.check.worst_mm == pytest.approx(0, abs=1e-9)


def test_with_strips_it_is_columns_that_are_shifted():
    """A shifted column has one strip more: half + strip + ... + strip + half."""
    same = [record(f"b{i}", 6.5, 9.5, u=0) for i in range(8)]
    quilt = work_out(
        Plan(setting="offset", sashing_cut_mm=2 * INCH, rows=3, blocks_per_row=3), same
    )
    assert quilt.rows.along == "height"
    assert [sum(p.name == SASHING for p in line) for line in quilt.rows.pieces] == [2, 3, 2]
    assert quilt.half_block.height_mm == pytest.approx((9.5 - 2) / 2 * INCH + 2 * INCH / 4)
    assert np.ptp(quilt.rows.check.lengths_mm) == pytest.approx(0, abs=1e-9)
    # three finished blocks and two finished strips
    assert quilt.finish.height_mm == pytest.approx((3 * 9 + 2 * 1.5) * INCH)


@pytest.mark.parametrize("shifted", [None, "rows", "columns"])
@pytest.mark.parametrize("sashing", [None, 1.5])
def test_offset_settings_meet_whatever_is_shifted(shifted, sashing):
    """Equal blocks meet at every joint, and the finished quilt is as long as its rows."""
    same = [record(f"b{i}", 6.5, 9.5, u=0) for i in range(8)]
    plan = Plan(
        setting="offset", shifted=shifted, rows=3, blocks_per_row=3,
        sashing_cut_mm=None if sashing is None else sashing * INCH,
    )  # fmt: skip
    quilt = work_out(plan, same)
    rows = quilt.rows
    columns = shifted == "columns" or (shifted is None and sashing is not None)
    assert rows.along == ("height" if columns else "width")
    assert rows.check.matches
    assert rows.check.worst_mm == pytest.approx(0, abs=1e-9)
    assert rows.trimmed.worst_mm == pytest.approx(0, abs=1e-9)
    long = rows.trimmed.lengths_mm[0]
    assert np.ptp(rows.check.lengths_mm) == pytest.approx(0, abs=1e-9)
    assert long == pytest.approx(quilt.finish.height_mm if columns else quilt.finish.width_mm)
    assert bool(rows.count(SASHING)) == (sashing is not None)


def test_nothing_is_compared_with_a_piece_that_will_be_cut_otherwise():
    """Blocks a quarter inch over the plan meet alternate blocks cut to go with them, untrimmed."""
    large = [record(f"b{i}", 6.75, 9.75) for i in range(8)]
    plan = replace(PLANNED, alternate=True, rows=3, blocks_per_row=5)
    rows = work_out(plan, large).rows
    assert rows.check.worst_mm == pytest.approx(0, abs=1e-9)
    alternate = next(p for line in rows.pieces for p in line if p.name == ALTERNATE)
    assert (alternate.cut_mm, alternate.across_mm) == pytest.approx((6.75 * INCH, 9.75 * INCH))
    assert rows.trimmed.lengths_mm[0] == pytest.approx(5 * 6 * INCH)


def test_a_block_that_stays_short_misses_after_trimming_too():
    blocks = [record(n, w, 9.5) for n, w in zip("abcd", (6.6, 6.6, 6.6, 6.2), strict=True)]
    chosen = replace(PLANNED, chosen_mm=(6.5 * INCH, 9.5 * INCH), rows=2, blocks_per_row=2)
    rows = work_out(chosen, blocks).rows
    assert [m.meets for m in rows.trimmed.matches] == ["yes", "no"]
    assert rows.trimmed.matches[1].step_mm == pytest.approx(-0.3 * INCH, abs=1e-3)
    assert not any(s.meets != "yes" for s in rows.trimmed.sides)


def test_a_block_that_stays_low_does_not_meet_its_neighbour_after_trimming():
    blocks = [record(n, 6.6, h) for n, h in zip("abcd", (9.6, 9.6, 9.6, 9.2), strict=True)]
    chosen = replace(PLANNED, chosen_mm=(6.5 * INCH, 9.5 * INCH), rows=2, blocks_per_row=2)
    low = [s for s in work_out(chosen, blocks).rows.trimmed.sides if s.meets != "yes"]
    assert [(s.names, s.meets) for s in low] == [(("c", "d"), "no")]
    assert low[0].difference_mm == pytest.approx(-0.3 * INCH, abs=1e-3)


def test_rows_as_they_measure_miss_where_a_block_is_wide():
    wide = [record(n, w, 9.5) for n, w in zip("abcd", (6.5, 6.5, 6.8, 6.5), strict=True)]
    rows = work_out(Plan(rows=2, blocks_per_row=2), wide).rows
    assert rows.check.flagged == ("c",)
    assert rows.arrangement is not None
    assert rows.arrangement.worst_mm <= rows.check.worst_mm + 1e-9


def test_empty_places_and_blocks_left_over_are_told():
    assert work_out(Plan(rows=2, blocks_per_row=4), SIX).rows.to_sew == 2
    assert work_out(Plan(rows=2, blocks_per_row=2), SIX).rows.left_over == ("SB-5", "SB-6")
    missing = work_out(Plan(rows=2, blocks_per_row=4), SIX).rows
    assert missing.count(TO_SEW) == 2
    assert missing.arrangement is None
    assert missing.no_order is NoOrder.PLACES


def test_the_quilt_adds_up():
    plan = Plan(
        rows=2, blocks_per_row=3, sashing_cut_mm=1.5 * INCH, borders_mm=(2 * INCH, 3 * INCH)
    )
    quilt = work_out(plan, SIX)
    w, h = (v / INCH for v in quilt.size_mm)
    assert quilt.finish.width_mm / INCH == pytest.approx(3 * (w - 0.5) + 2 * (1.5 + 2.5))
    assert quilt.finish.height_mm / INCH == pytest.approx(2 * (h - 0.5) + 1 + 2 * (1.5 + 2.5))
    assert [f.name for f in quilt.fabrics] == ["sashing", "border 1", "border 2"]
    ends, sides = quilt.fabrics[-1].pieces
    assert (sides.count, ends.count) == (2, 2)
    assert ends.width_mm / INCH == pytest.approx(quilt.finish.width_mm / INCH + 0.5)


def test_a_border_longer_than_the_cloth_is_joined():
    plan = Plan(rows=1, blocks_per_row=12, borders_mm=(2 * INCH,))
    twelve = [record(f"b{i}", 6.5, 9.5) for i in range(12)]
    laid = work_out(plan, twelve).fabrics[-1].cloth
    strips = [p for p in laid.pieces if "strip for border, top and bottom" in p.name]
    assert sum(p.count for p in strips) > 2
    assert isinstance(strips[0].working, Joined)
    assert isinstance(strips[0].working.one, Working)


@pytest.mark.parametrize(
    ("plan", "blocks", "gap"),
    [
        (Plan(), (), "size"),
        (Plan(), SIX, "planned"),
        (Plan(), SIX, "seams"),
        (Plan(), SIX[:1], "rows"),
        (Plan(fixed_width_mm=40 * INCH), SIX, "size"),
        (Plan(fixed_width_mm=40 * INCH), SIX, "cuts"),
        (Plan(fixed_width_mm=6.375 * INCH), SIX, "size"),
        (Plan(sashing_cut_mm=0.4 * INCH), SIX, "cuts"),
        (Plan(borders_mm=(0.5 * INCH,)), SIX, "cuts"),
        (Plan(setting="offset", sashing_cut_mm=12 * INCH), SIX, "rows"),
        (Plan(seam_mm=4 * INCH), SIX, "size"),
    ],
)
def test_what_cannot_be_worked_out_is_a_sentence(plan, blocks, gap):
    assert words.gap(work_out(plan, blocks), gap).endswith(".")


def test_a_gap_leaves_the_rest_standing():
    quilt = work_out(Plan(borders_mm=(0.5 * INCH,)), SIX)
    assert quilt.finish is None
    assert quilt.trims
    assert quilt.rows is not None


def test_the_example_in_the_docs_is_true():
    path = Path(__file__).parents[2] / "docs" / "report.md"
    result = doctest.testfile(str(path), module_relative=False, encoding="utf-8")
    assert result.attempted > 10
    assert result.failed == 0
