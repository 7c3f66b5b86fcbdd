"""The plan as a form: what is shown reads back the same, and what is wrong is said."""

from dataclasses import fields, replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blockcheck.errors import LengthError, PlanError
from blockcheck.page.entries import GROUPS, KIND, KINDS, ORDER
from blockcheck.page.forms import SIDES, entries, fabrics, kinds, parts, read
from blockcheck.planning.plan import Kind, Plan
from blockcheck.units import INCH

ENTRIES = [*(e for _, group in GROUPS for e in group), KINDS, ORDER]


def shown(plan):
    """The whole form as a browser sends it."""
    of_all, each, new = kinds(plan)
    found = [(e.name, e, text) for _, group in entries(plan) for e, text in group]
    found += [(e.name, e, text) for e, text in of_all]
    found += [(f"kind/{e.name}/{name}", e, text) for name, group in each for e, text in group]
    found += [(f"new/{e.name}", e, text) for e, text in new]
    sent = {key: text == "True" if e.kind == "yes" else text for key, e, text in found}
    for part in parts(plan):
        sent |= {f"part/cloth/{part.name}": part.fabric}
        sent |= {f"part/lengthwise/{part.name}": part.lengthwise}
    for fabric in fabrics(plan):
        sent |= {f"fabric/width/{fabric.name}": fabric.width}
        sent |= {f"fabric/in_hand/{fabric.name}": fabric.in_hand}
        sent |= {f"fabric/one_way/{fabric.name}": fabric.one_way}
    return sent


def test_every_entry_is_a_field_of_the_plan_and_stands_once():
    names = [e.name for e in ENTRIES]
    assert len(set(names)) == len(names)
    of_cloth = {"fabrics", "lengthwise", "fabric_widths_mm", "in_hand", "one_way"}
    assert {*names, *of_cloth, "kinds"} == {f.name for f in fields(Plan)}
    assert {e.name for e in KIND} == {f.name for f in fields(Kind)}


@given(
    unit=st.sampled_from(["in", "cm"]),
    planned=st.none() | st.tuples(st.floats(60, 600), st.floats(60, 600)),
    card=st.none() | st.floats(60, 200),
    borders=st.lists(st.floats(20, 200) | st.just((("top", 50.8), ("left", 30.0))), max_size=3).map(
        tuple
    ),
    setting=st.sampled_from(["straight", "offset", "on point"]),
    square=st.sampled_from([None, True, False]),
    rest=st.fixed_dictionaries(
        {
            "kinds": st.just(())
            | st.tuples(st.builds(Kind, st.just("a/b, c"), chosen_mm=st.just((101.3, 99.7))))
            | st.just((Kind("gull", (82.55, 228.6), 2, 1, True, "a gull"), Kind("tower"))),
            "frame_mm": st.sampled_from([(), (("left", 31.3),), tuple((s, 50.8) for s in SIDES)]),
            "allowance": st.sampled_from([0.1, 0.0, 0.125]),
            "clipped_mm": st.none() | st.floats(20, 200),
            "in_hand": st.sampled_from(
                [(), (("a", "1 yd"), ("b", "14x20in"), ("a", "fat quarter"))]
            ),
            "fabrics": st.sampled_from([(), (("border", "a"), ("border 2", "c"), ("frame", "b"))]),
            "fabric_widths_mm": st.sampled_from([(), (("a", 1066.3), ("z", 901.7))]),
            "lengthwise": st.sampled_from([(), ("border 1", "frame")]),
            "one_way": st.sampled_from([(), ("b", "a")]),
            "body_mm": st.none() | st.just((1000.3, 1200.1)),
            "repeat": st.sampled_from([(), (("block", "alternate block"), ("block",))]),
        }
    ),
)
def test_a_form_that_is_sent_as_it_is_changes_nothing(
    unit, planned, card, borders, setting, square, rest
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
        **rest,
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


def test_another_unit_brings_its_usual_lengths_as_on_the_command_line():
    """What was said stays as it is; what is as usual becomes what is usual in the other unit."""
    metric = read(Plan(), {"unit": "cm"})
    assert (metric.seam_mm, metric.tolerance_mm, metric.fabric_width_mm) == (6.0, 3.0, 1000.0)
    again = read(replace(metric, seam_mm=8.0), {"unit": "in"})
    assert (again.seam_mm, again.tolerance_mm, again.fabric_width_mm) == (8.0, INCH / 8, 40 * INCH)


def test_borders_on_some_sides_only_are_read():
    plan = read(Plan(), {"borders_mm": "2 in; top 1 in, bottom 1 in"})
    assert plan.borders_mm == (2 * INCH, (("top", INCH), ("bottom", INCH)))


def test_kinds_are_added_changed_renamed_and_taken_out():
    plan = read(Plan(), {"new/name": " gull ", "new/planned_mm": "3 1/4 x 9", "new/halves": True})
    assert plan.kinds == (Kind("gull", (3.25 * INCH, 9 * INCH), halves=True),)
    plan = read(plan, {"kind/chosen_mm/gull": "3 x 9", "kind/halves/gull": False, "new/name": ""})
    assert plan.kinds == (Kind("gull", (3.25 * INCH, 9 * INCH), chosen_mm=(3 * INCH, 9 * INCH)),)
    assert read(plan, {"kind/planned_mm/gull": "3 x 8"}).kinds[0].chosen_mm is None
    ordered = read(plan, {"repeat": "block, gull / gull, block"})
    assert ordered.repeat == (("block", "gull"), ("gull", "block"))
    assert read(ordered, {"kind": "boat"}).repeat == (("boat", "gull"), ("gull", "boat"))
    assert read(plan, {"kind/gone/gull": True}).kinds == ()
    with pytest.raises(PlanError, match="no name"):
        read(Plan(), {"new/planned_mm": "6 x 9"})


def test_a_frame_has_one_width_or_one_for_each_side_that_is_named():
    even = read(Plan(), {"frame_mm": "2 in"})
    assert dict(even.frame_mm) == dict.fromkeys(("top", "right", "bottom", "left"), 2 * INCH)
    assert shown(even)["frame_mm"] == "2 in"
    assert read(even, {"frame_mm": "Left 1 in"}).frame_mm == (("left", INCH),)
    assert read(even, {"frame_mm": " "}).frame_mm == ()


def test_cloth_is_read_for_the_parts_and_fabrics_that_the_quilt_has():
    plan = Plan(sashing_cut_mm=50.0, borders_mm=(50.0, 80.0))
    assert [p.name for p in parts(plan)] == ["sashing", "border", "border 1", "border 2"]
    blue = {
        "part/cloth/sashing": "blue",
        "part/cloth/border 2": "blue",
        "part/lengthwise/border": True,
    }
    plan = read(plan, blue)
    assert plan.fabrics == (("sashing", "blue"), ("border 2", "blue"))
    assert plan.lengthwise == ("border",)
    assert [f.name for f in fabrics(plan)] == ["blue", "border", "border 1"]
    plan = read(plan, {"fabric/in_hand/blue": "1 yd; fat quarter", "fabric/one_way/blue": True})
    plan = read(plan, {"fabric/width/blue": "42"})
    assert plan.in_hand == (("blue", "1 yd"), ("blue", "fat quarter"))
    assert (plan.one_way, plan.fabric_widths_mm) == (("blue",), (("blue", 42 * INCH),))
    none = {"fabric/in_hand/blue": "", "fabric/one_way/blue": False, "fabric/width/blue": ""}
    plan = read(plan, {**none, "allowance": "12.5%", "part/cloth/sashing": ""})
    assert (plan.in_hand, plan.one_way, plan.fabric_widths_mm) == ((), (), ())
    assert (plan.allowance, plan.fabrics) == (0.125, (("border 2", "blue"),))


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
        ("frame_mm", "left wide", LengthError),
        ("allowance", "much", PlanError),
    ],
)
def test_what_cannot_be_read_is_said(name, text, error):
    with pytest.raises(error):
        read(Plan(), {name: text})
