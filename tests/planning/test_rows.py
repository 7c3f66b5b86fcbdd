"""Rows that meet: seams add up, offset rows meet, and the order found is the best one."""

import itertools
import math
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blockcheck.errors import PlanError
from blockcheck.planning.plan import Plan
from blockcheck.planning.rows.halves import compare_halves
from blockcheck.planning.rows.order import arrange
from blockcheck.planning.rows.seam_matches import (
    Piece,
    check_rows,
    half_block_cut,
    marks_of,
    seam_positions,
)
from blockcheck.report import advice_words
from blockcheck.units import INCH
from fixtures.brute import joints, rows_of_a_quilt


def advice(one):
    """What is said about a match that fails."""
    return advice_words.remedy(Plan(), one.remedy)


def row(*cuts, planned=6.5, u=0.0, name="sailboat"):
    return [Piece(f"{name} {i + 1}", c * INCH, planned * INCH, u) for i, c in enumerate(cuts)]


def test_three_strips():
    """Common practice: three 1 1/2 in strips sewn with 1/4 in seams measure 3 1/2 in."""
    seams = seam_positions(row(1.5, 1.5, 1.5, planned=1.5))
    assert seams[-1].position_mm + INCH / 2 == pytest.approx(3.5 * INCH)


@pytest.mark.parametrize("seed", range(12))
def test_where_rows_meet_is_what_adding_up_in_fractions_gives(seed):
    """Straight and offset rows, with sashing or none; `docs/benchmarks/brute.py` does 1000."""
    rows, seam = rows_of_a_quilt(np.random.default_rng(seed))
    pieces = [
        [Piece(name, float(a) * INCH, float(p) * INCH, 0, float(h) * INCH) for name, a, p, h in one]
        for one in rows
    ]
    found = check_rows(pieces, seam_mm=float(seam) * INCH).matches
    sizes = np.array([(m.planned_mm, m.total_mm, m.down_mm) for m in found]) / INCH * 64
    assert sizes == pytest.approx(sizes.round(), abs=1e-6)
    wanted = Counter(tuple(64 * part for part in one) for one in joints(rows, seam))
    assert Counter(map(tuple, sizes.round().astype(int).tolist())) == wanted


@given(st.lists(st.floats(20, 300), min_size=1, max_size=12))
@settings(max_examples=50, deadline=None, derandomize=True)
def test_seam_positions_add_up(cuts):
    pieces = [Piece(str(i), c, c, 0.3) for i, c in enumerate(cuts)]
    seams = seam_positions(pieces)
    gaps = np.diff([0.0, *(s.position_mm for s in seams)])
    assert gaps == pytest.approx([c - INCH / 2 for c in cuts])
    assert seams[-1].position_mm == pytest.approx(sum(cuts) - len(cuts) * INCH / 2)
    assert seams[-1].u_mm == pytest.approx(0.3 * math.sqrt(len(cuts)))
    check = check_rows([pieces, pieces])
    assert sum(j.step_mm for j in check.matches) == pytest.approx(check.matches[-1].total_mm)


def test_straight_rows():
    check = check_rows([row(6.5, 6.5, 6.5), row(6.5, 6.75, 6.5, u=0.3, name="boat")])
    assert len(check.matches) == 3
    first, second, third = check.matches
    assert first.meets == "yes"
    assert second.step_mm == pytest.approx(INCH / 4)
    assert (second.meets, third.meets, third.adds_up) == ("no", "yes", "no")
    assert check.flagged == ("boat 2",)
    assert advice(second) == "1/4 in over 6 in is too much to ease: trim boat 2 to size first."
    assert third.total_u_mm == pytest.approx(0.3 * math.sqrt(3))
    assert check.worst_mm == pytest.approx(INCH / 4)


def test_what_is_known_of_one_match_comes_from_the_pieces_since_the_last():
    """Two pieces of 0.3 mm each, in quadrature; their heights are not told, so nothing is apart."""
    check = check_rows([row(6.5, 6.5, u=0.3), row(6.5, 6.5, u=0.3, name="boat")])
    assert [m.step_u_mm for m in check.matches] == pytest.approx([0.3 * math.sqrt(2)] * 2)
    assert [(m.down_mm, m.down_u_mm) for m in check.matches] == [(0, 0)] * 2


def test_a_centre_is_as_sure_as_the_pieces_before_it_and_half_its_own():
    """0.3 mm each: the third piece's centre lies after two whole ones and a half."""
    found = marks_of(row(6.5, 6.5, 6.5, u=0.3), INCH / 4)
    centre = next(seam for seam, _ in found if seam.name == "centre of sailboat 3")
    assert centre.u_mm == pytest.approx(0.3 * math.sqrt(2 + 0.25))


def test_neighbours_that_meet_need_no_remedy():
    pieces = [Piece(n, 165.1, 165.1, 0.0, 241.3, 0.0) for n in "abc"]
    check = check_rows([pieces, pieces])
    assert len(check.sides) == 4
    assert all(s.remedy is None for s in check.sides)


def test_only_what_can_be_sewn_flat_is_eased():
    """1/8 in over 6 in is eased (common practice), whatever the tolerance; 1/4 in is not."""
    near = check_rows([row(6.5, 6.5), row(6.625, 6.5, name="boat")], tolerance_mm=2.0)
    assert advice(near.matches[0]) == "Ease boat 1 in by 1/8 in over 6 in."
    far = check_rows([row(6.5, 6.5), row(6.75, 6.5, name="boat")], tolerance_mm=2.0)
    assert "too much to ease" in advice(far.matches[0])


def test_half_block_formulas():
    """Sewn, two halves (and the strip) are as long as one block (algebra)."""
    block, strip, seam = 9.5 * INCH, 2 * INCH, INCH / 4
    half = half_block_cut(block, sashing_cut_mm=strip)
    assert half == pytest.approx((9.5 - 2) / 2 * INCH + INCH / 2)
    assert 2 * (half - 2 * seam) + strip - 2 * seam == pytest.approx(block - 2 * seam)
    assert half_block_cut(block) == pytest.approx(5 * INCH)
    with pytest.raises(PlanError):
        half_block_cut(block, sashing_cut_mm=10 * INCH)


def test_offset_rows_meet_at_centres():
    half = half_block_cut(6.5 * INCH)
    pieces = [Piece("half 1", half, half), *row(6.5, 6.5, name="boat"), Piece("half 2", half, half)]
    check = check_rows([row(6.5, 6.5, 6.5), pieces])
    assert len(check.matches) == 6
    assert all(j.meets == "yes" and j.total_mm == pytest.approx(0) for j in check.matches)
    assert check.lengths_mm[0] == pytest.approx(check.lengths_mm[1])


def test_offset_uncertainty_agrees_with_simulation():
    rng = np.random.default_rng(1)
    half, u = half_block_cut(6.5 * INCH), 0.4
    b = [Piece("h", half, half, u), Piece("b", 6.5 * INCH, 6.5 * INCH, u)]
    match = check_rows([row(6.5, 6.5, u=u), b]).matches[-1]
    e = rng.normal(0, u, (40000, 4))
    total = e[:, 0] + e[:, 1] - e[:, 0] - e[:, 1] + e[:, 2] + e[:, 3] - e[:, 0] - e[:, 1] / 2
    assert match.total_u_mm == pytest.approx(total.std(), rel=0.02)
    assert match.names == ("centre of sailboat 2", "after b")


def test_sashing_lies_over_the_middle_of_blocks_in_offset_rows():
    """With sashing between the pieces, that of one row is centred on a block of the next."""
    sashing = Piece("sashing", 2 * INCH, 2 * INCH)
    half = half_block_cut(6.5 * INCH, sashing_cut_mm=2 * INCH)
    end, (a, b, c) = Piece("half", half, half), row(6.5, 6.5, 6.5)
    check = check_rows([[a, sashing, b], [end, sashing, c, sashing, end]])
    assert {n for j in check.matches for n in j.names if "sashing" in n} >= {"centre of sashing"}
    assert all(j.total_mm == pytest.approx(0, abs=1e-9) for j in check.matches)
    assert check.lengths_mm[0] == pytest.approx(check.lengths_mm[1])


def test_small_steps_that_add_up():
    """Each seam match is within 1/8 in, but the rows drift apart: they are to be pinned."""
    check = check_rows([row(6.5, 6.5, 6.5), row(6.56, 6.56, 6.56, name="boat")])
    assert [j.meets for j in check.matches] == ["yes"] * 3
    assert [j.adds_up for j in check.matches] == ["yes", "yes", "no"]
    assert "Pin the rows together here" in advice(check.matches[2])
    assert "3/16 in apart" in advice(check.matches[2])
    assert not check.flagged


def test_rows_that_drift_on_are_pinned_again():
    """From the place where they were pinned: 6 × 1.6 mm, told after 4.8 and after 9.6."""
    upper = [Piece(f"a{i}", 165.1, 165.1) for i in range(6)]
    lower = [Piece(f"b{i}", 166.7, 165.1) for i in range(6)]
    pins = [m.remedy for m in check_rows([upper, lower], tolerance_mm=4.0).matches]
    assert [r and r.what for r in pins] == [None, None, "pin", None, None, "pin"]
    assert [r.off_mm for r in pins if r] == pytest.approx([4.8, 4.8])


def test_four_corners_are_as_far_apart_as_half_of_what_neighbours_differ_by():
    """Heights known to 0.3 and 0.4 mm: their difference to 0.5, half of it to 0.25."""
    low = Piece("low", 165.1, 165.1, 0.0, 240.0, 0.3), Piece("high", 165.1, 165.1, 0.0, 242.0, 0.4)
    even = [Piece(name, 165.1, 165.1, 0.0, 241.3, 0.0) for name in "ab"]
    first, _ = check_rows([low, even]).matches
    assert (first.down_mm, first.down_u_mm) == pytest.approx((1.0, 0.25))


def worst(cuts, rows):
    """The worst step: pieces one above the other are sewn seam on seam."""
    return np.abs(np.diff(np.array(cuts).reshape(rows, -1), axis=0)).max()


def test_arrangement_is_exact_for_small_sets():
    rng = np.random.default_rng(6)
    cuts = {f"b{i}": 165 + rng.normal(0, 2) for i in range(6)}
    found = arrange(cuts, 2)
    assert found.method.startswith("exact")
    best = min(worst(p, 2) for p in itertools.permutations(cuts.values()))
    assert found.worst_mm == pytest.approx(best)
    assert sorted(itertools.chain(*found.rows)) == sorted(cuts)
    assert worst([cuts[n] for r in found.rows for n in r], 2) == pytest.approx(best)


def test_of_orders_alike_the_rows_that_drift_least_are_taken():
    """Steps of 1 mm however they are laid; two each way leave the rows equally long."""
    cuts = {
        f"{x}{i}": mm + i
        for i in range(4)
        for x, mm in (("a", 160.0 + 3 * i), ("b", 161.0 + 3 * i))
    }
    found = arrange(cuts, 2)
    assert found.worst_mm == pytest.approx(1.0)
    assert max(abs(m.total_mm) for m in found.check.matches) == pytest.approx(1.0)
    assert found.check.lengths_mm[0] == pytest.approx(found.check.lengths_mm[1])


def test_arrangement_larger():
    rng = np.random.default_rng(7)
    cuts = {f"b{i}": 165 + rng.normal(0, 2) for i in range(15)}
    found = arrange(cuts, 3, time_limit_s=2.0)
    stacked = np.array(sorted(cuts.values())).reshape(-1, 3).T  # each above its next in size
    assert found.worst_mm <= worst(stacked, 3) + 1e-9
    assert found.worst_mm < worst(list(cuts.values()), 3)
    assert "milp" in found.method or "exchanged" in found.method
    many = arrange({f"b{i}": 165 + rng.normal(0, 2) for i in range(40)}, 5)
    assert many.method.endswith("exchanged")
    assert many.worst_mm < 3
    with pytest.raises(PlanError):
        arrange(cuts, 4)


def test_solver_agrees_with_all_orders():
    """Nine blocks in three rows: milp's proved best is the best of 362 880 orders."""
    rng = np.random.default_rng(3)
    cuts = {f"b{i}": 165 + rng.normal(0, 2) for i in range(9)}
    found = arrange(cuts, 3, time_limit_s=20.0)
    assert found.method.startswith("exact: SciPy")
    orders = np.array(list(itertools.permutations(cuts.values()))).reshape(-1, 3, 3)
    best = np.abs(np.diff(orders, axis=1)).max(axis=(1, 2)).min()
    assert found.worst_mm == pytest.approx(best, abs=1e-5)


def test_arrangement_in_offset_rows():
    """Blocks among half blocks: the worst seam match of the order is that of the checked rows."""
    rng = np.random.default_rng(5)
    cuts = {f"b{i}": 6.5 * INCH + rng.normal(0, 2) for i in range(7)}
    half = Piece("half", half_block_cut(6.5 * INCH), half_block_cut(6.5 * INCH))
    rows = [[None, None, None], [half, None, None, half], [None, None]]
    with pytest.raises(PlanError):
        arrange({**cuts, "b7": 165.0}, rows)
    rows[2] = [None, Piece("alternate block", 6.5 * INCH, 6.5 * INCH), None]
    found = arrange(cuts, rows, planned_mm=6.5 * INCH, u_mm=dict.fromkeys(cuts, 0.3))
    assert found.rows[1][0] == found.rows[1][-1] == "half"
    assert sorted(n for line in found.rows for n in line if n in cuts) == sorted(cuts)
    assert found.worst_mm == pytest.approx(found.check.worst_mm)
    assert all(j.total_u_mm > 0 for j in found.check.matches)
    tries = []
    for order in itertools.islice(itertools.permutations(cuts), 0, None, 29):
        names = iter(order)
        laid = [[p or Piece(n := next(names), cuts[n], 6.5 * INCH) for p in line] for line in rows]
        tries.append(check_rows(laid).worst_mm)
    assert found.worst_mm <= min(tries) + 1e-9


def test_neighbours_of_unlike_height():
    """A block 3/8 in higher than the next is too much to ease over 9 in; 1/8 in is not."""
    high = [Piece(n, 165.1, 165.1, 0.1, h * INCH, 0.1) for n, h in (("a", 9.5), ("b", 9.875))]
    check = check_rows([high, high])
    assert [(s.row, s.names, s.meets) for s in check.sides] == [
        (0, ("a", "b"), "no"),
        (1, ("a", "b"), "no"),
    ]
    assert advice(check.sides[0]) == "3/8 in over 9 in is too much to ease: trim b to size first."
    assert check.matches[0].step_mm == pytest.approx(0)
    assert check.matches[0].meets == "no"  # the seams lie in line, the corners do not
    assert check.matches[0].apart_mm == pytest.approx(3 / 16 * INCH)
    assert check.worst_mm == pytest.approx(3 / 16 * INCH)
    low = [replace(p, across_mm=p.across_mm - (p.name == "b") * 0.2 * INCH) for p in high]
    eased = check_rows([low], tolerance_mm=INCH / 16).sides[0]
    assert advice(eased) == "Ease b in by 3/16 in over 9 in."
    again = check_rows([high], trimmed=True).sides[0]
    assert "resew" in advice(again)


def test_a_thousand_corners_against_plain_sums():
    """Brute force: the four corners of every place of random grids, each from its own sums."""
    rng = np.random.default_rng(12)
    seam, corners = INCH / 4, 0
    while corners < 1000:
        rows, per = rng.integers(2, 6, 2)
        wide = 165.1 + rng.normal(0, 2, (rows, per))
        high = 241.3 + rng.normal(0, 2, (rows, per))
        laid = [
            [Piece(f"{r},{c}", wide[r, c], 165.1, 0.1, high[r, c], 0.1) for c in range(per)]
            for r in range(rows)
        ]
        check = check_rows(laid)
        found = {(m.rows[0], m.names[0]): m for m in check.matches}
        assert len(check.matches) == (rows - 1) * per
        for r in range(rows - 1):
            for c in range(per):
                upper = sum(wide[r, k] - 2 * seam for k in range(c + 1))
                lower = sum(wide[r + 1, k] - 2 * seam for k in range(c + 1))
                m = found[r, f"after {r},{c}"]
                assert m.total_mm == pytest.approx(lower - upper, abs=1e-9)
                assert m.step_mm == pytest.approx(wide[r + 1, c] - wide[r, c], abs=1e-9)
                ends = [[high[q, k] / 2 for k in (c, c + 1) if k < per] for q in (r, r + 1)]
                down = max(max(e) - min(e) for e in ends)
                assert m.down_mm == pytest.approx(down, abs=1e-9)
                corners += 1
        pairs = [high[r, c + 1] - high[r, c] for r in range(rows) for c in range(per - 1)]
        assert [s.difference_mm for s in check.sides] == pytest.approx(pairs)


def test_the_order_minds_heights_too():
    """Two wide rows of equal widths: only heights differ, and like goes beside like."""
    high = {f"b{i}": 241.3 + (4.0 if i % 2 else 0.0) for i in range(8)}
    found = arrange(dict.fromkeys(high, 165.1), 2, across_mm=high)
    assert found.worst_mm == pytest.approx(0, abs=1e-9)
    assert {len({high[n] for n in row}) for row in found.rows} == {1}
    many = {f"b{i}": 241.3 + (4.0 if i % 2 else 0.0) for i in range(12)}
    found = arrange(dict.fromkeys(many, 165.1), 2, across_mm=many, time_limit_s=20)
    assert found.worst_mm == pytest.approx(0, abs=1e-6)


def test_mirror_halves():
    left = np.array([[0, 0], [3, 0], [3, 9], [0, 9]]) * INCH
    right = np.array([[0, 0], [3, 0], [3.25, 9], [0, 9]]) * INCH
    same = compare_halves(left, left, u_mm=0.2)
    assert all(d.alike == "yes" and d.difference_mm == 0 for d in same)
    differ = {d.name: d for d in compare_halves(left, right, u_mm=0.2)}
    assert differ["bottom"].difference_mm == pytest.approx(-INCH / 4)
    assert differ["bottom"].alike == "no"
    assert differ["inner side"].difference_mm == pytest.approx(0)
    assert differ["bottom"].u_mm == pytest.approx(0.2 * math.sqrt(2))
