"""Several readings of one block, by photo and ruler, become one size with its uncertainty."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from blockcheck.project.combining import Reading, record_of
from blockcheck.project.exchange import ruler
from blockcheck.project.records import TOGETHER, Kept
from blockcheck.uncertainty import Estimate, Term, weighted_mean
from blockcheck.units import INCH


def photo(width, height, *, u=0.15, sha="a", points=None):
    """A photo's reading of a block that leans a little; inches, u in mm."""
    w, h = width * INCH, height * INCH
    outline = np.array([[0, 0], [w, 0.5], [w, h], [0, h]])
    terms = (Term("mat scale", 0.3 * u), Term("edge fit", 0.95 * u))
    measurement = SimpleNamespace(
        outline_block_mm=outline,
        corners_block_mm=outline,
        corners_px=outline * 8,
        out_of_square_mm=Estimate(0.3, (Term("edge fit", 0.1),)),
        bow_mm=(Estimate(0.2, (Term("edge fit", 0.1),)),) * 4,
    )
    return Kept(Estimate(w, terms), Estimate(h, terms), measurement, sha, points_mm=points or {})


def by_ruler(width, height):
    return Kept(ruler(width * INCH, "in"), ruler(height * INCH, "in"))


def together(*kept, state="measured", what=None, trimmed_at=None):
    what = what or ["measured", *["measured again"] * (len(kept) - 1)]
    readings = [Reading(k, w, i + 1) for i, (k, w) in enumerate(zip(kept, what, strict=True))]
    return record_of("SB-1", state, "", readings, trimmed_at)


def test_equal_weights_as_jcgm_100():
    """JCGM 100, 4.2.3 and F.1.2.3: u / √n for independent readings, u for what all share."""
    own = weighted_mean([Estimate(x, (Term("edge fit", 0.2),)) for x in (10.0, 10.2, 10.1, 9.9)])
    assert (own.value, own.u) == pytest.approx((10.05, 0.1))
    scale = weighted_mean([Estimate(x, (Term("mat scale", 0.2),)) for x in (10.0, 10.2)])
    assert scale.u == pytest.approx(0.2)


def test_weights_go_with_the_inverse_square():
    a, b = Estimate(10.0, (Term("x", 0.1),)), Estimate(11.0, (Term("y", 0.3),))
    both = weighted_mean([a, b])
    assert both.value == pytest.approx((10 / 0.01 + 11 / 0.09) / (1 / 0.01 + 1 / 0.09))
    assert both.u == pytest.approx(1 / math.sqrt(1 / 0.01 + 1 / 0.09))


u = st.floats(0.01, 2.0)


@given(st.lists(st.tuples(st.floats(150, 151), u, u, st.booleans()), min_size=2, max_size=6))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_adding_a_reading_never_widens_the_uncertainty(rows):
    some = [
        Estimate(v, (Term("mat scale" if same else f"scale {i}", s), Term("edge fit", o)))
        for i, (v, s, o, same) in enumerate(rows)
    ]
    fewer, all_of_them = weighted_mean(some[:-1]), weighted_mean(some)
    assert all_of_them.u <= fewer.u * (1 + 1e-6)
    low, high = min(e.value for e in some), max(e.value for e in some)
    assert low - 1e-9 <= all_of_them.value <= high + 1e-9


def test_a_ruler_after_a_photo_keeps_its_shape_marks_and_certainty():
    first = photo(6.5, 9.5, points={"mast": (80.0, 20.0)})
    alone, both = together(first), together(first, by_ruler(6.5, 9.5))
    assert both.source == "photo"
    assert both.points_mm == {"mast": (80.0, 20.0)}
    assert len(both.outline_mm) == len(alone.outline_mm)
    assert both.width_mm.u95 < alone.width_mm.u95
    assert both.guard_mm < alone.guard_mm
    assert not both.other_sizes_mm


def test_a_coarse_reading_within_its_line_hardly_moves_a_fine_one():
    both = together(photo(6.5, 9.5), by_ruler(6.4375 + 1 / 32, 9.5))
    assert both.width_mm.value / INCH == pytest.approx(6.5, abs=0.005)
    assert both.outline_mm[:, 0].max() == pytest.approx(both.width_mm.value)


def test_readings_that_disagree_are_told_and_the_last_counts():
    both = together(photo(6.5, 9.5), by_ruler(6.25, 9.5))
    assert both.width_mm.value == pytest.approx(6.25 * INCH)
    assert [w.value for w, _ in both.other_sizes_mm] == pytest.approx([6.5 * INCH])
    assert both.source == "ruler"


def test_a_sideways_photo_is_never_averaged():
    turned = together(photo(6, 9), photo(9, 6, sha="b"))
    assert turned.width_mm.value == pytest.approx(9 * INCH)
    assert len(turned.other_sizes_mm) == 1


def test_of_one_photo_and_of_the_ruler_only_the_last_reading_counts():
    same = together(photo(6.5, 9.5), photo(6.51, 9.5), what=["measured", "edges set anew"])
    assert same.width_mm.value == pytest.approx(6.51 * INCH)
    assert not same.other_sizes_mm
    twice = together(by_ruler(6.5, 9.5), by_ruler(6.5, 9.5))
    assert twice.width_mm.u == pytest.approx(by_ruler(6.5, 9.5).width_mm.u)


def test_a_photo_read_alone_and_among_several_counts_once():
    """Its edges are seen once: to count them twice would make the ± too small."""
    several = replace(photo(6.5, 9.5, u=0.1), settings={TOGETHER: ["a", "b"]})
    apart = photo(6.51, 9.5, sha="a"), photo(6.49, 9.5, sha="b")
    assert together(*apart, several).width_mm == several.width_mm
    assert together(several, apart[1]).width_mm == apart[1].width_mm
    third = photo(6.5, 9.5, sha="c")
    assert together(third, several).width_mm.u < several.width_mm.u


def test_after_trimming_only_what_was_measured_since_counts():
    block = together(
        photo(6.6, 9.6), photo(6.5, 9.5, sha="b"), state="trimmed",
        what=["measured", "trimmed, measured again"],
    )  # fmt: skip
    assert block.width_mm.value == pytest.approx(6.5 * INCH)
    assert block.before_mm[0].value == pytest.approx(6.6 * INCH)
    assert block.checked
    said = together(photo(6.6, 9.6), state="trimmed", trimmed_at=5)
    assert not said.checked
    assert said.before_mm is None
    later = together(photo(6.6, 9.6), photo(6.5, 9.5, sha="b"), state="trimmed", trimmed_at=1)
    assert later.checked
    assert later.width_mm.value == pytest.approx(6.5 * INCH)


def test_what_was_undone_counts_no_more():
    wrong = photo(6.52, 9.5, sha="b")
    back = together(
        photo(6.5, 9.5), wrong, photo(6.5, 9.5),
        what=["measured", "measured again", "undone: measured again"],
    )  # fmt: skip
    assert back.width_mm.value == pytest.approx(6.5 * INCH)
