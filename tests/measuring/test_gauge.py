"""Repeatability and gauge studies against certified and published results."""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from blockcheck.errors import ReadingsError
from blockcheck.measuring.gauge import (
    e_n,
    gauge_study,
    one_way,
    percent_of_tolerance,
    read_readings,
)
from blockcheck.uncertainty import Estimate, Term

OUTSIDE = Path(__file__).resolve().parents[3] / "shared" / "outside"
AIAG = OUTSIDE / "aiag_grr.csv"
NIST = OUTSIDE / "nist" / "SiRstv.dat"


def aiag():
    """AIAG MSA 4th ed.: 10 parts, 3 people, 3 tries."""
    rows = np.genfromtxt(AIAG, delimiter=",", skip_header=1, dtype=str)
    y = np.empty((10, 3, 3))
    for person, part, attempt, value in rows:
        y[int(part) - 1, "ABC".index(person), int(attempt) - 1] = float(value)
    return y


def nist():
    data = np.loadtxt(NIST, skiprows=60)
    return [data[data[:, 0] == k, 1] for k in range(1, 6)]


@pytest.mark.skipif(not AIAG.exists(), reason="published data not beside the project")
def test_gauge_study_gives_the_published_aiag_results():
    """Pooled ANOVA as quoted for AIAG MSA 4th ed. (the manual itself was not seen)."""
    study = gauge_study(aiag())
    assert study.pooled
    assert study.ev == pytest.approx(0.199933, abs=1e-6)
    assert study.av == pytest.approx(0.226838, abs=1e-6)
    assert study.grr == pytest.approx(0.302373, abs=2e-6)
    assert study.pv == pytest.approx(1.042327, abs=2e-6)
    assert study.tv == pytest.approx(1.085, abs=5e-4)
    assert study.percent_grr == pytest.approx(27.9, abs=0.05)
    assert study.ndc == pytest.approx(4.86, abs=0.005)


@pytest.mark.skipif(not NIST.exists(), reason="published data not beside the project")
def test_one_way_gives_nists_certified_values():
    """NIST StRD SiRstv: nine digits and more of F and the residual standard deviation."""
    found = one_way(nist())
    assert (found.df_between, found.df_within) == (4, 20)
    assert found.f == pytest.approx(1.18046237440255, rel=1e-9)
    assert found.repeatability.u == pytest.approx(0.104076068334656, rel=1e-10)


def test_groups_of_unequal_size_agree_with_scipy():
    rng = np.random.default_rng(3)
    groups = [rng.normal(10 + k, 0.5, n) for k, n in enumerate((3, 5, 4))]
    assert one_way(groups).f == pytest.approx(scipy.stats.f_oneway(*groups).statistic)


def test_variance_components_are_recovered_from_made_readings():
    """600 parts, 40 people: EV 1, interaction 0.5, people 2, parts 3; within 5 sigma or so."""
    rng = np.random.default_rng(5)
    parts, people, tries = 600, 40, 2
    y = rng.normal(0, 1.0, (parts, people, tries))
    y += rng.normal(0, 3.0, (parts, 1, 1)) + rng.normal(0, 2.0, (1, people, 1))
    y += rng.normal(0, 0.5, (parts, people, 1))
    study = gauge_study(y)
    assert not study.pooled
    assert study.ev == pytest.approx(1.0, rel=5 / np.sqrt(2 * study.ev_dof))
    assert study.pv == pytest.approx(3.0, rel=5 / np.sqrt(2 * (parts - 1)))
    assert study.av == pytest.approx(np.hypot(2.0, 0.5), rel=3 / np.sqrt(2 * (people - 1)))


def test_repeatability_alone_needs_one_group():
    found = one_way([[150.0, 150.2, 150.4]])
    assert found.repeatability.u == pytest.approx(0.2)
    assert found.repeatability.dof == 2
    assert found.between == 0
    # Student's t, 2 degrees of freedom, 95 %: 4.303 (any table)
    u95 = Estimate(150.2, (found.repeatability,)).u95
    assert u95 == pytest.approx(4.303 * 0.2, rel=1e-3)


@pytest.mark.parametrize("groups", [[], [[1.0]], [[1.0], [2.0]]])
def test_nothing_measured_twice_is_refused(groups):
    with pytest.raises(ReadingsError, match="measured twice"):
        one_way(groups)


def test_one_person_has_no_appraiser_variation():
    rng = np.random.default_rng(1)
    y = rng.normal(0, 1, (12, 1, 4)) + rng.normal(0, 5, (12, 1, 1))
    study, plain = gauge_study(y), one_way(list(y[:, 0]))
    assert study.av == 0
    assert study.ev == pytest.approx(plain.repeatability.u)
    assert study.pv == pytest.approx(plain.between)


def test_share_of_the_tolerance_is_six_sigma_over_its_width():
    assert percent_of_tolerance(1.0, 24.0) == pytest.approx(25)


def test_e_n_is_the_difference_over_both_expanded_uncertainties():
    measured = Estimate(85.9, (Term("adjustment", 0.15),))
    known = Estimate(85.6, (Term("known size", 0.2),))
    assert e_n(measured, known) == pytest.approx(0.3 / 0.5)


def test_readings_come_from_a_table(tmp_path):
    table = tmp_path / "study.csv"
    table.write_text(
        "part,person,try,value\n1,Ann,1,10.1\n1,Ann,2,10.2\n2,Ann,1,9.1\n2,Ann,2,9.3\n"
    )
    np.testing.assert_allclose(read_readings(table)[:, 0], [[10.1, 10.2], [9.1, 9.3]])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("part,person,try,value\n1,Ann,1,ten\n", "Line 2"),
        ("a,b\n1,2\n", "Line 2"),
        ("part,person,try,value\n1,Ann,1,1\n1,Ann,2,1\n2,Ann,1,1\n", "equally often"),
    ],
)
def test_a_table_that_is_no_study_is_refused(tmp_path, text, says):
    table = tmp_path / "study.csv"
    table.write_text(text)
    with pytest.raises(ReadingsError, match=says):
        read_readings(table)


def test_a_study_worked_by_hand_without_and_with_an_interaction():
    """Two parts, two people, two tries, each pair of tries 2 apart; worked out on paper."""
    y = np.array([[[1, 3], [2, 4]], [[5, 7], [8, 10]]], float)
    study = gauge_study(y)  # MS: parts 50, people 8, interaction 2, error 2; pooled (8 + 2) / 5
    assert (study.pooled, study.ev_dof) == (True, 5)
    assert [study.ev**2, study.av**2, study.pv**2] == pytest.approx([2, 1.5, 12])
    crossed = gauge_study(np.array([[[1, 3], [9, 11]], [[9, 11], [1, 3]]], float))
    # MS: parts 0, people 0, interaction 128, error 2: all of the difference is who reads what
    assert (crossed.pooled, crossed.ev_dof) == (False, 4)
    assert [crossed.ev**2, crossed.av**2, crossed.pv**2] == pytest.approx([2, 63, 0])


def test_tries_that_agree_wholly_leave_no_error():
    study = gauge_study(np.array([[[1, 1], [2, 2]], [[5, 5], [6, 6]]], float))
    assert (study.ev, study.pooled) == (0, True)


@pytest.mark.parametrize("shape", [(1, 2, 2), (2, 2, 1), (2, 2)])
def test_too_few_parts_or_tries_are_refused_with_what_is_needed(shape):
    with pytest.raises(ReadingsError, match=r"two or more parts.*part,person,try,value") as refused:
        gauge_study(np.arange(np.prod(shape), dtype=float).reshape(shape))
    assert refused.value.hint


def test_a_missing_reading_is_refused():
    y = np.ones((2, 2, 2))
    y[0, 0, 0] = np.nan
    with pytest.raises(ReadingsError):
        gauge_study(y)


def test_two_readings_of_one_block_are_enough():
    found = one_way([[1.0, 2.0]])
    assert (found.df_between, found.df_within) == (0, 1)
    with pytest.raises(
        ReadingsError, match=r"Nothing was measured twice.*Take three or more photos"
    ):
        one_way([[1.0]])


def test_tables_from_spreadsheets_are_read_and_refusals_name_the_file(tmp_path):
    table = tmp_path / "study.csv"
    text = "part, person, try, value\nK\u00f6nig, Ann, 1, 1\nK\u00f6nig, Ann, 2, 2\nB, Ann, 1, 3\nB, Ann, 2, 5\n"
    table.write_text(text, encoding="utf-8-sig")
    np.testing.assert_allclose(read_readings(table)[:, 0], [[1, 2], [3, 5]])
    with pytest.raises(ReadingsError, match=r"none\.csv cannot be read as a table\. .*part,person"):
        read_readings(tmp_path / "none.csv")
    table.write_text("part,person,try,value\n1,Ann,1,ten\n")
    with pytest.raises(
        ReadingsError, match=r"Line 2 of study\.csv is not a reading\. .*part,person"
    ):
        read_readings(table)
