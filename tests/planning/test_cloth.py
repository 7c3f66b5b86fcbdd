"""Cutting layouts: everything is cut, nothing overlaps, and little cloth is lost."""

import random
from collections import Counter

import pytest

from blockcheck.errors import LengthError, PlanError
from blockcheck.planning.cutting.cloth import Cloth, lay_on_cloth, read_cloth
from blockcheck.planning.cutting.packing import Packer, Shape
from blockcheck.planning.cutting.pieces import YARD, CutPiece
from blockcheck.planning.cutting.workings import Bought
from blockcheck.units import INCH
from fixtures.quilts import check_on_cloth, random_pieces

# Bengtsson's two smallest instances (Computer Journal 25, 1982), width and height of each
BENGTSSON_20 = [
    (8, 6), (11, 4), (10, 3), (4, 7), (12, 6), (11, 6), (12, 8), (3, 6), (4, 3), (3, 8),
    (9, 1), (1, 3), (8, 6), (11, 3), (11, 1), (9, 8), (9, 1), (11, 5), (1, 7), (7, 8),
]  # fmt: skip
BENGTSSON_40 = [
    *BENGTSSON_20,
    (10, 3), (2, 8), (8, 3), (7, 3), (8, 4), (2, 7), (12, 7), (1, 2), (3, 8), (1, 1),
    (12, 7), (3, 4), (8, 4), (11, 5), (5, 6), (8, 8), (4, 1), (10, 3), (12, 7), (12, 3),
]  # fmt: skip


def inches(name, width, height, count, **more):
    return CutPiece(name, width * INCH, height * INCH, count, **more)


BOATS = [inches("alternate block", 6, 9, 12), inches("sashing", 2, 9, 20)]


def counted(laid):
    """How many of each piece the layouts give."""
    places = [
        p
        for one in (*laid.in_hand, *filter(None, [laid.bolt]))
        for s in one.strips
        for p in s.places
    ]
    return Counter(p.shape for p in places)


@pytest.mark.parametrize("seed", range(12))
def test_everything_is_cut_once_and_nothing_overlaps(seed):
    rng = random.Random(seed)
    pieces = random_pieces(rng)
    laid = lay_on_cloth(pieces, usable_mm=rng.choice((40, 42)) * INCH)
    assert counted(laid) == {i: p.count for i, p in enumerate(pieces)}
    check_on_cloth(laid.pieces, laid.bolt.strips, laid.bolt.cloth.width_mm, laid.need_mm)
    assert laid.bound_mm <= laid.need_mm <= 1.4 * laid.bound_mm


@pytest.mark.parametrize(
    ("pieces", "width", "best"), [(BENGTSSON_20, 25, 30), (BENGTSSON_40, 40, 36)]
)
@pytest.mark.parametrize("turns", [False, True])
def test_published_strip_packing_instances(pieces, width, best, turns):
    """Bengtsson 1982; `best` is the literature's optimum, for cuts of any kind, unturned.

    A rotary cutter cuts from edge to edge, which costs about a tenth on these small lists.
    """
    shapes = [Shape(*size, n, turns) for size, n in Counter(pieces).items()]
    strips = Packer(shapes, width).shortest()
    assert sum(a * b for a, b in pieces) / width <= sum(s.wide_mm for s in strips) <= 1.15 * best


def test_strips_are_cut_from_the_widest_on():
    laid = lay_on_cloth([*BOATS, inches("border", 3.5, 38, 4)])
    wide = [s.wide_mm for s in laid.bolt.strips]
    assert wide == sorted(wide, reverse=True)


def test_six_by_nine_from_forty():
    """Common practice: a strip of 40 in gives six pieces 6 in wide: twelve take two of 9 in."""
    laid = lay_on_cloth([inches("alternate block", 6, 9, 12)], allowance=0)
    assert laid.need_mm / INCH == pytest.approx(18)
    assert laid.bought_mm == pytest.approx(YARD / 2)


def test_two_of_17_from_42():
    """Common practice: 17 in pieces from one strip of 42 in: two, 8 in left."""
    laid = lay_on_cloth([inches("alternate block", 17, 17, 4)], usable_mm=42 * INCH)
    assert [len(s.places) for s in laid.bolt.strips] == [2, 2]
    left = [42 - max(p.x_mm + p.across_mm for p in s.places) / INCH for s in laid.bolt.strips]
    assert left == pytest.approx([8, 8])


@pytest.mark.parametrize(("usable", "count"), [(40, 6), (42, 6), (39, 6), (22, 3), (18, 2)])
def test_six_and_a_half_from_a_strip(usable, count):
    """Common practice: cloth of 44 to 45 in gives 40 to 42 in; a fat quarter is 18 × 22 in."""
    laid = lay_on_cloth([inches("alternate block", 6.5, 6.5, count)], usable_mm=usable * INCH)
    assert len(laid.bolt.strips) == 1


def test_leftovers_are_used():
    """Two strips of 9 in with 4 in left at their ends, which give four 2 × 9 in pieces."""
    laid = lay_on_cloth([inches("alternate block", 6, 9, 12), inches("sashing", 2, 9, 4)])
    assert laid.need_mm / INCH == pytest.approx(18)


def test_the_allowance_stands_on_its_own_line():
    laid = lay_on_cloth(BOATS[:1])
    assert laid.allowance_mm / INCH == pytest.approx(1.8)
    assert laid.bought_mm == pytest.approx(YARD * 5 / 8)
    assert laid.working == Bought(
        laid.need_mm, 0.1, laid.need_mm + laid.allowance_mm, laid.bought_mm
    )
    metric = lay_on_cloth(BOATS[:1], unit="cm", allowance=0.05)
    assert metric.bought_mm == pytest.approx(500)


@pytest.mark.parametrize(
    ("cloth", "suffices"),
    [("1 1/4yd", "yes"), ("0.8 m", "yes"), ("1/2 yd", "no"), ("0.3m", "no"), ("40x30in", "yes")],
)
def test_does_it_suffice(cloth, suffices):
    laid = lay_on_cloth(BOATS, in_hand=read_cloth(cloth))
    assert laid.suffices == suffices
    assert (laid.bolt is None) == (suffices == "yes")
    assert counted(laid) == {0: 12, 1: 20}
    for one in laid.in_hand:
        size = (one.cloth.width_mm, one.cloth.usable_mm(0.1))
        check_on_cloth(laid.pieces, one.strips, *(size[::-1] if one.turned else size))


def test_where_only_no_layout_is_found_nothing_is_claimed():
    """Two pieces of 6 × 9 in have the area of 9 × 12 in; from 10 × 11 in only one can be cut."""
    laid = lay_on_cloth([inches("alternate block", 6, 9, 2)], in_hand=read_cloth("10x11in"))
    assert laid.suffices == "not found"


def test_scraps_go_first_and_fat_quarters_before_the_bolt():
    hand = (*read_cloth("2 fat quarters"), *read_cloth("7x10in"))
    laid = lay_on_cloth(BOATS, in_hand=hand)
    assert laid.in_hand[0].cloth.said == "7x10in"
    assert counted(laid) == {0: 12, 1: 20}
    assert laid.need_mm < lay_on_cloth(BOATS).need_mm


def test_a_scrap_is_also_cut_along_its_length():
    laid = lay_on_cloth(
        [inches("sashing", 2, 20, 3)], in_hand=[Cloth("scrap", 6.1 * INCH, 21 * INCH, True)]
    )
    assert laid.suffices == "yes"


def test_strips_run_across_the_cloth_unless_the_other_way_gives_more():
    square = Cloth("scrap", 20 * INCH, 20 * INCH, True)
    laid = lay_on_cloth([inches("sashing", 2, 19, 3)], in_hand=[square])
    assert [on.turned for on in laid.in_hand] == [False]


def test_lengthwise_pieces_lie_along_the_selvage():
    border = inches("border", 3.5, 60, 4, lengthwise=True)
    laid = lay_on_cloth([border, BOATS[0]])
    lying = {(p.across_mm, p.along_mm) for s in laid.bolt.strips for p in s.places if p.shape == 0}
    assert lying == {(3.5 * INCH, 60 * INCH)}
    assert laid.need_mm / INCH == pytest.approx(60)  # the blocks beside them


def test_a_print_with_a_direction_is_not_turned():
    laid = lay_on_cloth(
        [inches("alternate block", 6, 9, 6), inches("sashing", 9, 2, 4)], one_way=True
    )
    assert all(
        (p.across_mm, p.along_mm) == (laid.pieces[p.shape].width_mm, laid.pieces[p.shape].height_mm)
        for s in laid.bolt.strips
        for p in s.places
    )


@pytest.mark.parametrize(("along", "count", "strips"), [(79.5, 2, 4), (79.6, 2, 5), (50, 3, 4)])
def test_what_is_longer_than_the_cloth_is_wide_is_joined(along, count, strips):
    """Algebra: n strips of 40 in, sewn end to end, are n × 40 - (n - 1) × 1/2 in long."""
    laid = lay_on_cloth([inches("border", 3.5, along, count)], allowance=0)
    assert (strips - 1) * 3.5 < laid.need_mm / INCH < strips * 3.5 + 1e-6


def test_wide_backing_needs_no_seam():
    """Common practice: wide backing of 108 in; a 68 × 78 in panel is cut whole, 68 in of it."""
    laid = lay_on_cloth([inches("backing", 68, 78, 1)], usable_mm=106 * INCH)
    assert laid.need_mm / INCH == pytest.approx(68)


@pytest.mark.parametrize(
    "text", ["", "much", "3", "0yd", "1/0 yd", "fat quarters 3", "nan m", "6x"]
)
def test_what_is_no_cloth_is_refused(text):
    with pytest.raises(LengthError, match="Write it like"):
        read_cloth(text)


def test_cloth_as_it_is_called():
    assert read_cloth("1 1/4 yd")[0].length_mm == pytest.approx(1.25 * YARD)
    assert read_cloth("1.2m")[0].length_mm == pytest.approx(1200)
    assert [cloth.said for cloth in read_cloth("3 fat quarters")] == ["fat quarter"] * 3
    (quarter,) = read_cloth("quarter yard")
    assert (quarter.width_mm / INCH, quarter.length_mm / INCH) == pytest.approx((40, 9))
    (scrap,) = read_cloth("14x20in")
    assert (scrap.width_mm / INCH, scrap.measured) == (14, True)


def test_scraps_and_yards_are_read_as_they_are_written():
    (scrap,) = read_cloth("20x30", unit="cm")
    assert (scrap.width_mm, scrap.length_mm) == (200, 300)
    (yard,) = read_cloth("1 Yd")
    assert yard.length_mm == pytest.approx(36 * INCH)


def test_pieces_that_fit_no_cloth_are_refused():
    for piece in (inches("backing", 50, 60, 1), inches("border", 45, 90, 2, lengthwise=True)):
        with pytest.raises(PlanError, match="does not fit"):
            lay_on_cloth([piece])
    with pytest.raises(PlanError, match="allowance"):
        lay_on_cloth(BOATS, allowance=1.5)
    with pytest.raises(PlanError):
        Packer([Shape(100, 100, 1)], 50)


def test_the_solver_says_nothing_past_python(capfd):
    """HiGHS was seen to print a line from this list, which would spoil a command's JSON."""
    rng = random.Random(1005)
    shapes = [
        Shape(
            rng.randrange(12, 100) / 8 * INCH,
            rng.randrange(12, 130) / 8 * INCH,
            rng.randint(1, 30),
        )
        for _ in range(rng.randint(1, 7))
    ]
    packer = Packer(shapes, rng.choice((40, 42, 22)) * INCH, 0.4)
    packer.shortest()
    packer.fullest(rng.choice((18, 36, 45)) * INCH)
    assert capfd.readouterr() == ("", "")


def test_squares_for_triangles_fall_on_the_rulers_lines():
    from blockcheck.planning.cutting.triangles import clipped_corner, setting_triangles

    for square in setting_triangles(216.0, seam_mm=7.0, unit="cm"):
        assert square.trade_mm == pytest.approx(round(square.trade_mm))
    assert clipped_corner(50.0, seam_mm=7.0, unit="cm").mark_mm == pytest.approx(54.0)
