"""The plan as a form: what is shown reads back the same, and what is wrong is said."""

from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blockcheck.errors import LengthError, PlanError
from blockcheck.page.forms import GROUPS, entries, read
from blockcheck.planning.plan import Plan
from blockcheck.units import INCH

ENTRIES = [e for _, group in GROUPS for e in group]


def shown(plan):
    return {
        e.name: text == "True" if e.kind == "yes" else text
        for _, group in entries(plan)
        for e, text in group
    }


def test_every_entry_is_a_field_of_the_plan_and_stands_once():
    names = [e.name for e in ENTRIES]
    assert set(names) <= {f.name for f in fields(Plan)}
    assert len(set(names)) == len(names)


@given(
    unit=st.sampled_from(["in", "cm"]),
    planned=st.none() | st.tuples(st.floats(60, 600), st.floats(60, 600)),
    card=st.none() | st.floats(60, 200),
    borders=st.lists(st.floats(20, 200) | st.just((("top", 50.8), ("left", 30.0))), max_size=3).map(
        tuple
    ),
    setting=st.sampled_from(["straight", "offset", "on point"]),
    square=st.sampled_from([None, True, False]),
)
def test_a_form_that_is_sent_as_it_is_changes_nothing(
    unit, planned, card, borders, setting, square
):
    """Not even what the shown fraction or decimal rounds."""
    plan = Plan(
        unit=unit,
        planned_mm=planned,
        card_side=card,
        borders_mm=borders,
        setting=setting,
        keep_square=square,
        alternate=True,
    )
    assert read(plan, shown(plan)) == plan


def test_entries_are_read_in_the_plans_unit_and_taken_away_when_empty():
    plan = read(Plan(), {"planned_mm": "6 x 9", "sashing_cut_mm": "1 1/2", "rows": "3"})
    assert plan.planned_mm == pytest.approx((6 * INCH, 9 * INCH))
    assert plan.sashing_cut_mm == pytest.approx(1.5 * INCH)
    assert plan.rows == 3
    gone = read(plan, {"sashing_cut_mm": "", "rows": " "})
    assert (gone.sashing_cut_mm, gone.rows) == (None, None)
    metric = read(plan, {"unit": "cm", "sashing_cut_mm": "4"})
    assert (metric.sashing_cut_mm, metric.step_mm) == (40.0, 1.0)


def test_borders_on_some_sides_only_are_read():
    plan = read(Plan(), {"borders_mm": "2 in; top 1 in, bottom 1 in"})
    assert plan.borders_mm == (2 * INCH, (("top", INCH), ("bottom", INCH)))


def test_another_planned_size_lets_go_of_the_chosen_one():
    plan = replace(Plan(planned_mm=(100.0, 100.0)), chosen_mm=(99.0, 99.0))
    assert read(plan, {"planned_mm": "6 x 9"}).chosen_mm is None
    assert read(plan, {"rows": "2"}).chosen_mm == (99.0, 99.0)


@pytest.mark.parametrize(
    ("name", "text", "error"),
    [
        ("planned_mm", "wide", LengthError),
        ("planned_mm", "6", LengthError),
        ("seam_mm", "", PlanError),
        ("rows", "two", PlanError),
        ("rows", "999999999", PlanError),
        ("setting", "sideways", PlanError),
        ("borders_mm", "2 in; broad", LengthError),
    ],
)
def test_what_cannot_be_read_is_said(name, text, error):
    with pytest.raises(error):
        read(Plan(), {name: text})
