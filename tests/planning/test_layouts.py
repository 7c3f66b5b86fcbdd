"""Whole quilts: every setting's pieces fill it, and every seam joins equally long sides."""

import math
import random

import pytest

from blockcheck.errors import PlanError
from blockcheck.planning.cutting.workings import HalfBlock, Squares, Strip
from blockcheck.planning.layouts.design import (
    ALTERNATE,
    HALF,
    SIDES,
    Border,
    Design,
    chessboard,
)
from blockcheck.planning.layouts.layout import lay_out
from blockcheck.report.working_words import working
from blockcheck.units import INCH
from fixtures.quilts import check_cuts, check_quilt, random_design

SAILBOAT = {"sailboat": (5.5 * INCH, 8.5 * INCH)}  # 6 × 9 in unfinished
ONE = (("sailboat",),)
TURNS = chessboard("sailboat", ALTERNATE)
TO_SQUARE = {"left": 1.5 * INCH, "right": 1.5 * INCH}


@pytest.mark.parametrize("seed", range(120))
def test_any_quilt_is_filled_by_its_pieces(seed):
    laid = lay_out(random_design(random.Random(seed)))
    check_quilt(laid)
    check_cuts(laid)
    for piece in (p for some in laid.pieces().values() for p in some):
        assert "None" not in working(piece.working, "in")


def sizes(laid):
    """Each piece to cut: how many, width and height in inches."""
    return {
        p.name: (p.count, round(p.width_mm / INCH, 4), round(p.height_mm / INCH, 4))
        for some in laid.pieces().values()
        for p in some
    }


def test_straight_rows_need_nothing_but_blocks():
    laid = lay_out(Design(SAILBOAT, ONE, 4, 5))
    assert laid.pieces() == {}
    assert (laid.width_mm / INCH, laid.height_mm / INCH) == pytest.approx((27.5, 34))
    assert laid.count("sailboat") == 20


def test_fifteen_places_are_filled_in_turn():
    """Common practice: fifteen places filled in turn in three rows of five: eight and seven."""
    laid = lay_out(Design(SAILBOAT, TURNS, 3, 5))
    assert (laid.count("sailboat"), laid.count(ALTERNATE)) == (8, 7)
    assert sizes(laid) == {ALTERNATE: (7, 6, 9)}


def test_half_blocks_beside_sashing():
    """Common practice: (block cut - strip cut) ÷ 2 + 2 × seam allowance; a 3 in strip."""
    design = Design(SAILBOAT, ONE, 3, 4, "offset", "columns", between_rows_mm=2.5 * INCH)
    laid = lay_out(design)
    assert sizes(laid)[HALF] == (4, 6, (9 - 3) / 2 + 2 * 0.25)
    assert isinstance(laid.piece(HALF).working, HalfBlock)
    assert laid.count("sailboat") == 2 * 3 + 2 * 2
    assert laid.height_mm / INCH == pytest.approx(3 * 8.5 + 2 * 2.5)


def test_offset_rows_end_in_half_blocks():
    laid = lay_out(Design(SAILBOAT, ONE, 3, 4, "offset"))
    assert sizes(laid) == {HALF: (2, 3.25, 9)}


def test_sashing_both_ways_with_cornerstones():
    design = Design(
        SAILBOAT, ONE, 4, 3, between_blocks_mm=INCH, between_rows_mm=INCH, cornerstones=True
    )
    laid = lay_out(design)
    names = [(p.name, p.count) for some in laid.pieces().values() for p in some]
    assert names == [("sashing", 8), ("sashing", 9), ("cornerstone", 6)]
    assert sizes(laid)["cornerstone"] == (6, 1.5, 1.5)
    assert (laid.width_mm / INCH, laid.height_mm / INCH) == pytest.approx((18.5, 37))


def test_sashing_between_rows_only():
    laid = lay_out(Design(SAILBOAT, ONE, 4, 3, between_rows_mm=1.5 * INCH))
    assert sizes(laid) == {"sashing": (3, 17, 2)}


def test_a_frame_on_any_side():
    laid = lay_out(Design(SAILBOAT, ONE, 2, 2, frame_mm={"left": INCH, "top": 2 * INCH}))
    assert sizes(laid) == {"frame, left": (4, 1.5, 9), "frame, top": (4, 7, 2.5)}
    check_quilt(laid)


@pytest.mark.parametrize("side", SIDES)
def test_a_frame_lies_on_its_side_of_the_block(side):
    laid = lay_out(Design(SAILBOAT, ONE, 1, 1, frame_mm={side: INCH}))
    assert set(laid.pieces()) == {"frame"}
    assert isinstance(laid.pieces()["frame"][0].working, Strip)
    middle = {p.name: [sum(c) / 4 for c in zip(*p.corners_mm, strict=True)] for p in laid.patches}
    (bx, by), (fx, fy) = middle["sailboat"], middle[f"frame, {side}"]
    off = {"left": bx - fx, "right": fx - bx, "top": by - fy, "bottom": fy - by}
    assert off.pop(side) > 0
    assert sorted(abs(mm) for mm in off.values())[:2] == pytest.approx([0, 0])


def test_lengths_in_a_refusal_are_in_the_plans_unit():
    with pytest.raises(PlanError, match=r"Triangles of 8\.0 cm"):
        lay_out(Design(SAILBOAT, TURNS, 2, 2, clipped_mm=80.0, unit="cm"))


def test_clipped_alternate_blocks():
    laid = lay_out(Design(SAILBOAT, TURNS, 2, 2, clipped_mm=2 * INCH))
    assert sizes(laid)["square for clipped corner triangles"] == (4, 2.875, 2.875)
    assert sizes(laid)["clipped alternate block"] == (2, 6, 9)
    assert isinstance(laid.pieces()["clipped corners"][0].working, Squares)


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
def test_setting_triangles_on_point(block, side, corner):
    """Common practice: a handbook's table, rounded up to 1/8 in; the counts are geometry."""
    laid = lay_out(Design({"sailboat": (block * INCH, block * INCH)}, TURNS, 4, 3, "on point"))
    assert (laid.count("sailboat"), laid.count(ALTERNATE)) == (12, 6)
    assert (laid.count("side triangle"), laid.count("corner triangle")) == (10, 4)
    assert sizes(laid)["square for side triangles"] == (3, side, side)
    assert sizes(laid)["square for corner triangles"] == (2, corner, corner)
    assert laid.width_mm / INCH == pytest.approx(3 * block * math.sqrt(2))


def test_framed_rectangles_stand_on_point():
    laid = lay_out(Design(SAILBOAT, ONE, 2, 2, "on point", frame_mm=TO_SQUARE))
    assert laid.count("sailboat") == 5
    check_quilt(laid)


def test_butted_borders_are_cut_to_the_measured_middle():
    border = Border(dict.fromkeys(SIDES, 3 * INCH))
    middle = (27.75 * INCH, 33.625 * INCH)  # sewn, 27 1/2 × 34 in came out so
    laid = lay_out(Design(SAILBOAT, ONE, 4, 5, borders=(border,), body_mm=middle))
    assert sizes(laid) == {
        "border, left and right": (2, 3.5, 34.125),
        "border, top and bottom": (2, 34.25, 3.5),
    }
    assert laid.height_mm / INCH == pytest.approx(39.625)


def test_mitred_borders():
    """Geometry: a raw 45° point lies (1 + √2) seam allowances beyond the sewn one."""
    border = Border(dict.fromkeys(SIDES, 3 * INCH), "mitred")
    laid = lay_out(Design(SAILBOAT, ONE, 4, 5, borders=(border,)))
    exact = 33.5 + (2 + 2 * math.sqrt(2)) / 4
    assert sizes(laid)["border, top and bottom"] == (2, math.ceil(exact * 8) / 8, 3.5)


def test_two_kinds_of_blocks_share_rows_and_columns():
    kinds = {**SAILBOAT, "lighthouse": (5.5 * INCH, 11 * INCH)}
    laid = lay_out(Design(kinds, (("sailboat",), ("lighthouse",)), 3, 4))
    assert (laid.count("sailboat"), laid.count("lighthouse")) == (8, 4)
    assert laid.height_mm / INCH == pytest.approx(28)


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"setting": "on point"}, "squares of one size.*left and right with strips cut 2 in wide"),
        ({"setting": "hexagonal"}, "no setting hexagonal"),
        ({"repeat": (("ship",),)}, "no kind of block called ship"),
        ({"repeat": ((),)}, "empty"),
        ({"rows": 0}, "one row"),
        ({"clipped_mm": 25.4}, "Only alternate blocks"),
        ({"cornerstones": True}, "need sashing"),
        ({"between_rows_mm": -1.0}, "sashing between rows"),
        ({"frame_mm": {"middle": 25.4}}, "no side called middle"),
        ({"seam_mm": 0.0}, "seam allowance"),
        ({"blocks_mm": {"sailboat": (0.0, 10.0)}}, "larger than"),
        ({"setting": "offset", "shifted": "blocks"}, "rows or columns"),
        ({"setting": "offset", "between_blocks_mm": 150.0}, "nothing of the half block"),
        ({"repeat": TURNS, "clipped_mm": 80.0}, "nothing of the alternate"),
        ({"setting": "on point", "between_rows_mm": 25.4}, "not worked out"),
        (
            {"blocks_mm": {**SAILBOAT, "tug": (200.0, 200.0)}, "repeat": (("sailboat", "tug"),)},
            "differ in height",
        ),
        (
            {
                "blocks_mm": {**SAILBOAT, "tug": (200.0, 200.0)},
                "repeat": (("sailboat", "tug"),),
                "setting": "offset",
            },
            "one size",
        ),
    ],
)
def test_what_does_not_go_together_is_refused(wrong, says):
    given = {"blocks_mm": SAILBOAT, "repeat": ONE, "rows": 3, "blocks_per_row": 3, **wrong}
    with pytest.raises(PlanError, match=says):
        lay_out(Design(**given))


def test_a_mitre_needs_one_width():
    with pytest.raises(PlanError, match="same width"):
        Border({"top": 25.4, "left": 50.8}, "mitred")
    with pytest.raises(PlanError, match="butted or mitred"):
        Border({"top": 25.4}, "rounded")
