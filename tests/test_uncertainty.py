"""Budgets and decisions, against the worked examples of the published guides."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blockcheck.uncertainty import (
    Estimate,
    Term,
    combine,
    conformance_probability,
    coverage_factor,
    verdict,
)


def test_end_gauge():
    """JCGM 100:2008, H.1: u_c 32 nm, 16 degrees of freedom, k99 2.92, U99 93 nm."""
    gauge = Estimate(
        50_000_838.0,
        (
            Term("standard", 25, 18),
            Term("repeated readings", 5.8, 24),
            Term("comparator, random", 3.9, 5),
            Term("comparator, systematic", 6.7, 8),
            Term("temperature of the bed", 2.9, 50),
            Term("difference of temperatures", 16.6, 2),
        ),
    )
    assert round(gauge.u) == 32
    assert math.floor(gauge.dof) == 16
    assert coverage_factor(0.99, gauge.dof) == pytest.approx(2.92, abs=0.005)
    # the guide multiplies 2.92 by the rounded 32
    assert gauge.expanded(0.99) == pytest.approx(93, abs=1)
    assert round(coverage_factor(0.99, gauge.dof) * round(gauge.u)) == 93


def test_effective_degrees_of_freedom():
    """JCGM 100:2008, G.4: 0.25, 0.57, 0.82 % from 10, 5 and 15 readings."""
    product = Estimate(1.0, (Term("x1", 0.25, 9), Term("x2", 0.57, 4), Term("x3", 0.82, 14)))
    assert product.u == pytest.approx(1.03, abs=0.005)
    assert product.dof == pytest.approx(19.0, abs=0.05)
    assert coverage_factor(0.95, 19) == pytest.approx(2.09, abs=0.005)
    assert product.expanded(0.95) == pytest.approx(2.2, abs=0.05)
    assert product.u95 == pytest.approx(product.expanded(0.95))


@pytest.mark.parametrize(
    ("dof", "k95", "k99"),
    [(1, 12.71, 63.66), (10, 2.23, 3.17), (50, 2.01, 2.68), (1e9, 1.96, 2.576)],
)
def test_students_t(dof, k95, k99):
    """JCGM 100:2008, table G.2."""
    assert coverage_factor(0.95, dof) == pytest.approx(k95, abs=0.005)
    assert coverage_factor(0.99, dof) == pytest.approx(k99, abs=0.005)
    assert coverage_factor(0.95, math.inf) == pytest.approx(1.95996, abs=1e-4)


def test_degrees_of_freedom_are_truncated():
    """JCGM 100:2008, G.4.1: to the next lower whole number."""
    assert coverage_factor(0.95, 16.9) == coverage_factor(0.95, 16)


def test_reading_a_ruler():
    """JCGM 100:2008, 4.3.7 and F.2.2.1: a scale of 1/16 in leaves (1/16)/sqrt(12) = 0.01804 in."""
    reading = Estimate(6.5, (Term("reading", (1 / 16) / math.sqrt(12)),))
    assert reading.u == pytest.approx(0.01804, abs=5e-6)
    assert reading.u95 == 2 * reading.u
    assert reading.dof == math.inf


def test_conformance_of_an_interval():
    """JCGM 106:2012, 7.4: y 13.6, u 1.8, limits 12.5 to 16.3 give 0.66."""
    assert conformance_probability(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.66, abs=0.005)


def test_conformance_to_one_limit():
    """JCGM 106:2012, 7.3.3: 5.47 against a lower limit of 5.40, u 0.05, gives 0.92."""
    assert conformance_probability(5.47, 0.05, 5.40, math.inf) == pytest.approx(0.92, abs=0.005)
    assert conformance_probability(5.47, 0.05, -math.inf, 5.40) == pytest.approx(0.08, abs=0.005)


def test_guard_band():
    """ILAC-G8:09/2019, ISO 14253-1: 6 1/2 ± 1/8 in, u 0.02 is accepted up to 6.5921 in."""
    low, high = 6.5 - 1 / 8, 6.5 + 1 / 8
    assert conformance_probability(6.60, 0.02, low, high) == pytest.approx(0.894, abs=5e-4)
    assert verdict(6.60, 0.02, low, high) == "too close to call"
    assert verdict(6.5920, 0.02, low, high) == "yes"
    assert verdict(6.5922, 0.02, low, high) == "too close to call"
    assert verdict(6.6579 + 0.0001, 0.02, low, high) == "no"
    assert verdict(6.6579 - 0.0001, 0.02, low, high) == "too close to call"


def test_certain_values():
    assert verdict(6.5, 0.0, 6.4, 6.6) == "yes"
    assert verdict(6.7, 0.0, 6.4, 6.6) == "no"
    assert verdict(6.4, 0.0, 6.4, 6.6) == "yes"
    assert Estimate(3.0).u95 == 0


def test_wide_uncertainty_never_says_yes():
    """A gauge wider than the tolerance cannot accept anything."""
    assert verdict(6.5, 1.0, 6.4, 6.6) != "yes"


TERMS = st.lists(
    st.builds(
        Term,
        st.sampled_from(["print scale", "cloth height", "edge fit"]),
        st.floats(0.001, 1.0),
        st.one_of(st.just(math.inf), st.floats(1.0, 100.0)),
    ),
    min_size=1,
    max_size=8,
)


@given(TERMS)
def test_merging_terms_changes_nothing(terms):
    before, after = Estimate(1.0, tuple(terms)), Estimate(1.0, combine(terms))
    assert after.u == pytest.approx(before.u)
    assert after.dof == pytest.approx(before.dof)
    names = [t.name for t in after.budget]
    assert len(names) == len(set(names))


def test_merging_leaves_out_zeros():
    assert combine([Term("print scale", 0.0), Term("edge fit", 0.3)]) == (Term("edge fit", 0.3),)


@given(TERMS, st.floats(-30.0, 30.0).filter(lambda f: abs(f) > 1e-3))
def test_a_multiple_keeps_its_relative_uncertainty(terms, factor):
    one = Estimate(2.0, tuple(terms))
    many = one.scaled(factor)
    assert many.value == 2.0 * factor
    assert many.u == pytest.approx(abs(factor) * one.u)
    assert many.dof == pytest.approx(one.dof)


@given(TERMS)
def test_u95_is_never_less_than_two_sigma(terms):
    estimate = Estimate(0.0, tuple(terms))
    assert estimate.u95 >= 2 * estimate.u
    assert estimate.u95 >= estimate.expanded(0.95) - 1e-12


def test_a_scaled_estimate_keeps_the_names_of_its_terms():
    twice = Estimate(3.0, (Term("edge fit", 0.1, 5.0),)).scaled(-2)
    assert twice == Estimate(-6.0, (Term("edge fit", 0.2, 5.0),))


def test_what_is_known_exactly_is_inside_up_to_its_limits():
    assert [conformance_probability(x, 0, 4, 6) for x in (3.9, 4, 6, 6.1)] == [0, 1, 1, 0]
    assert (verdict(5, 0, 4, 6, level=1.0), verdict(7, 0, 4, 6, level=1.0)) == ("yes", "no")
