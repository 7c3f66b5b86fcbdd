"""Several kinds of blocks: sizes that the setting ties, halves, and what the quilt is made of."""

from dataclasses import replace

import numpy as np
import pytest

from blockcheck.planning.layouts.design import ALTERNATE
from blockcheck.planning.layouts.planned import order_of, places, tied
from blockcheck.planning.pairs import compare, pairs
from blockcheck.planning.plan import BlockRecord, Kind, Plan
from blockcheck.planning.quilt import Lack, work_out
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

TERMS = (Term("card scale", 0.06), Term("edge fit", 0.08))


def block(name, wide, high, kind="", skew=0.0):
    """A block of a size in inches, its top shifted by `skew`."""
    corners = np.array([[skew, 0], [wide + skew, 0], [wide, high], [0, high]]) * INCH
    sizes = [Estimate(mm * INCH, TERMS) for mm in (wide, high)]
    return BlockRecord(name, "measured", *sizes, corners, 0.2, corners_mm=corners, kind=kind)


def plan(*kinds, **more):
    return Plan(planned_mm=(6 * INCH, 9 * INCH), kind="sailboat", kinds=kinds, **more)


LIGHT = Kind("lighthouse", (6 * INCH, 9 * INCH))
TALL = Kind("tower", (6 * INCH, 12 * INCH))
GULL = Kind("gull", (3.25 * INCH, 9 * INCH), halves=True)


def size(one):
    return tuple(round(mm / INCH, 4) for mm in one.size_mm)


def test_kinds_that_take_turns_get_the_smallest_size_that_each_reaches():
    blocks = [block(f"s{i}", 6.1, 9.1) for i in range(4)]
    blocks += [block(f"l{i}", 5.8, 9.3, "lighthouse") for i in range(4)]
    found = work_out(plan(LIGHT, rows=2, blocks_per_row=4), blocks)
    assert found.kind == "sailboat"
    (other,) = found.others
    assert size(found) == size(other)
    assert size(other)[0] < 6
    assert (found.choice.why, found.layout.count("lighthouse")) == ("tied", 4)


def test_kinds_in_rows_of_their_own_share_their_width_alone():
    blocks = [block("s1", 6, 9), block("s2", 6, 9)]
    blocks += [block("t1", 5.75, 12, "tower"), block("t2", 5.75, 12, "tower")]
    rows = plan(TALL, repeat=(("sailboat",), ("tower",)), rows=2, blocks_per_row=2)
    found = work_out(rows, blocks)
    assert size(found) == (5.75, 9)
    assert size(found.others[0]) == (5.75, 12)
    assert found.layout.height_mm / INCH == pytest.approx(8.5 + 11.5)


def test_what_was_chosen_for_the_first_kind_stands():
    blocks = [block("s1", 6, 9), block("l1", 5.5, 9, "lighthouse")]
    chosen = plan(LIGHT, chosen_mm=(5.875 * INCH, 9 * INCH), rows=1, blocks_per_row=2)
    found = work_out(chosen, blocks)
    assert size(found) == size(found.others[0]) == (5.875, 9)
    assert [t.fits for t in found.others[0].trims] == [False]


def test_what_was_chosen_for_a_further_kind_stands_where_it_ties_the_first():
    blocks = [block("s1", 6, 9), block("l1", 6, 9, "lighthouse")]
    light = replace(LIGHT, chosen_mm=(5.5 * INCH, 8.875 * INCH))
    found = work_out(plan(light, rows=1, blocks_per_row=2), blocks)
    assert size(found) == size(found.others[0]) == (5.5, 8.875)
    assert (found.choice.why, found.others[0].choice.why) == ("tied", "chosen")
    assert found.choice.chosen_for == "lighthouse"


def test_whether_points_may_be_cut_off_is_asked_of_the_size_that_is_tied():
    blocks = [block("s1", 5.75, 9), block("l1", 6, 9, "lighthouse")]
    light = replace(LIGHT, chosen_mm=(6 * INCH, 9 * INCH))
    found = work_out(plan(light, rows=1, blocks_per_row=2), blocks)
    assert (size(found), found.unmarked) == ((6, 9), ())
    smaller = work_out(plan(LIGHT, rows=1, blocks_per_row=2), blocks)
    assert (size(smaller.others[0]), smaller.others[0].unmarked) == ((5.75, 9), ("l1",))


def test_halves_are_tied_to_the_block_that_they_make():
    """Common practice: half = block ÷ 2 + seam allowance, both unfinished."""
    blocks = [block("s1", 5.75, 9)]
    blocks += [block("1 left", 3.25, 9, "gull"), block("1 right", 3.25, 9, "gull")]
    found = work_out(plan(GULL, rows=1, blocks_per_row=2), blocks)
    assert size(found) == (5.75, 9)
    assert size(found.others[0]) == (5.75 / 2 + 0.25, 9)
    assert found.layout.count("half of gull") == 2
    assert [p.name for p in found.pairs] == ["1"]


def test_two_halves_fill_one_place_of_the_quilt():
    """3 1/4 in each, 5 1/2 in finished together."""
    halves = [block(n, 3.25, 9, "gull") for n in ("1 left", "1 right", "2 left", "2 right")]
    quilt = work_out(plan(GULL, repeat=(("gull",),), rows=1, blocks_per_row=2), halves)
    assert quilt.layout.width_mm == pytest.approx(2 * 5.5 * INCH)


def test_ties_by_setting():
    chess, rows = plan(LIGHT), plan(TALL, repeat=(("sailboat",), ("tower",)))
    assert tied(chess) == ((frozenset({"sailboat", "lighthouse"}),),) * 2
    across, down = tied(rows)
    assert across == (frozenset({"sailboat", "tower"}),)
    assert set(down) == {frozenset({"sailboat"}), frozenset({"tower"})}
    assert tied(plan(TALL, repeat=(("sailboat",), ("tower",)), setting="on point"))[1] == across


def test_a_tall_block_is_never_cut_down_to_its_rows_height():
    blocks = [block("s1", 6, 9), block("t1", 6, 12, "tower")]
    beside = plan(TALL, repeat=(("sailboat", "tower"),), rows=1, blocks_per_row=2)
    found = work_out(beside, blocks)
    assert [size(one) for one in found.each] == [(6, 9), (6, 12)]
    assert found.gaps["tied"].startswith(
        "tower and sailboat come to lie in one row, and their heights differ by more than trimming"
    )
    assert "differ in height" in found.gaps["cuts"]
    assert found.layout is None


def test_a_kind_that_is_still_to_be_sewn_is_laid_out_as_planned():
    found = work_out(plan(LIGHT, rows=1, blocks_per_row=2), [block("s1", 6, 9)])
    assert found.layout.count("lighthouse") == 1
    assert found.each == (found,)
    assert found.others[0].gaps["size"] is Lack.BLOCKS


def test_places_on_point():
    assert places(plan(setting="on point"), 13) == (3, 3)  # nine and the four between
    assert places(plan(setting="on point", alternate=True), 12) == (4, 3)
    assert order_of(plan(alternate=True)) == (("sailboat", ALTERNATE), (ALTERNATE, "sailboat"))


def test_a_pair_that_is_alike_measures_as_a_block():
    pair = compare(block("1 left", 3.25, 9), block("1 right", 3.25, 9), Plan())
    assert pair.alike
    assert pair.eases
    assert pair.width_mm.value / INCH == pytest.approx(6)
    # edges in quadrature, the scale that both share twice
    assert pair.width_mm.u == pytest.approx(np.hypot(np.hypot(0.08, 0.08), 2 * 0.06))
    assert pair.differences[0].u_mm == pytest.approx(np.sqrt(2) * 0.08)


def test_the_edge_that_differs_is_named_in_the_mirror():
    """The right half's left side lies inside: it is longer, because its top left corner is out."""
    right = block("1 right", 3.25, 9)
    corners = right.corners_mm.copy()
    corners[0, 1] -= 0.25 * INCH
    right = BlockRecord(
        "1 right", "measured", right.width_mm, right.height_mm, corners, 0.2, corners_mm=corners
    )
    pair = compare(block("1 left", 3.25, 9), right, Plan())
    off = {d.name: d.difference_mm / INCH for d in pair.differences if d.alike == "no"}
    assert off["inner side"] == pytest.approx(-0.25)
    assert "outer side" not in off
    assert not pair.eases


def test_halves_find_each_other_by_their_names():
    names = ("4 left", "4 right", "Gull-L", "gull r", "5 left", "odd")
    found, alone = pairs(Plan(), [block(n, 3.25, 9) for n in names])
    assert [p.name for p in found] == ["4"]
    assert set(alone) == {"Gull-L", "gull r", "5 left", "odd"}


def test_a_name_without_a_side_does_not_keep_the_others_from_each_other():
    found, alone = pairs(Plan(), [block(n, 3.25, 9) for n in ("odd", "4 left", "4 right")])
    assert [p.name for p in found] == ["4"]
    assert alone == ("odd",)


def test_a_quilt_names_the_halves_without_a_mirrored_one():
    halves = [block(n, 3.25, 9, "gull") for n in ("1 left", "1 right", "2 left")]
    quilt = work_out(plan(GULL), halves)
    assert [p.name for p in quilt.pairs] == ["1"]
    assert quilt.single_halves == ("2 left",)


def test_halves_that_cannot_be_compared_are_told_and_the_rest_stands():
    ruled = replace(block("1 left", 3.25, 9, "gull"), corners_mm=None)
    quilt = work_out(plan(GULL), [ruled, block("1 right", 3.25, 9, "gull")])
    assert quilt.pairs == ()
    assert "no corners" in quilt.gaps["pairs"]
    assert quilt.others


def test_the_height_of_a_pair_is_as_sure_as_the_mean_of_its_halves():
    pair = compare(block("1 left", 3.25, 9), block("1 right", 3.25, 9), Plan())
    assert pair.height_mm.value / INCH == pytest.approx(9)
    assert pair.height_mm.u == pytest.approx(np.hypot(0.08 / np.sqrt(2), 0.06))


def test_rows_of_two_kinds_are_compared_each_block_in_a_place_of_its_kind():
    blocks = [block(f"s{i}", 6, 9) for i in range(2)]
    blocks += [block(f"l{i}", 6.2 if i else 6, 9, "lighthouse") for i in range(2)]
    rows = work_out(plan(LIGHT, rows=2, blocks_per_row=2), blocks).rows
    assert [[p.name for p in line] for line in rows.pieces] == [["s0", "l0"], ["l1", "s1"]]
    assert any(m.meets != "yes" for m in rows.check.matches)  # l1 is 3/16 in wider than s0
    assert rows.arrangement is None
    missing = work_out(plan(LIGHT, rows=2, blocks_per_row=2), blocks[:3])
    assert missing.rows is None
    assert "once every place has its block. Places for lighthouse: " in missing.gaps["rows"]


def test_offset_rows_of_two_kinds():
    blocks = [block(f"s{i}", 6, 9) for i in range(3)]
    blocks += [block(f"l{i}", 6, 9, "lighthouse") for i in range(2)]
    offset = plan(LIGHT, setting="offset", rows=2, blocks_per_row=3)
    rows = work_out(offset, blocks).rows
    names = [[p.name for p in line] for line in rows.pieces]
    assert names == [["s0", "l0", "s1"], ["half block", "l1", "s2", "half block"]]
