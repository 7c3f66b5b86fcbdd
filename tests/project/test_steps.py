"""Undo and redo, the order of the blocks, ticked cuts, and edges set anew."""

import contextlib
import dataclasses
import sqlite3
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from blockcheck.errors import ProjectError
from blockcheck.planning.plan import Plan
from blockcheck.project import Project, schema
from blockcheck.units import INCH

sys.path.append(str(Path(__file__).parents[2] / "docs" / "benchmarks"))
from kills import made_up


@pytest.fixture
def quilt(tmp_path):
    with Project.create(tmp_path / "sailboats", Plan(planned_mm=(6 * INCH, 9 * INCH))) as made:
        for photo in ("a.jpg", "b.jpg", "c.jpg"):
            made.add_result(made_up(photo, tmp_path))
        yield made


def seen(quilt):
    """All that a person sees of the project, without its history."""
    blocks = [
        (b.name, b.state, b.note, dict(b.points_mm), b.centre_line_mm, b.width_mm.value)
        for b in quilt.blocks()
    ]
    return blocks, quilt.plan, quilt.removed()


STEPS = {
    "note": lambda q: q.note("1", "the red sail"),
    "aside": lambda q: q.set_state("2", "set aside"),
    "points": lambda q: q.set_points("1", {"sail": (20.0, 30.0)}),
    "line": lambda q: q.set_centre_line("2", ((70.0, 0.0), (70.0, 200.0))),
    "order": lambda q: q.set_order(["3", "1", "2"]),
    "plan": lambda q: q.set_plan(Plan(planned_mm=(7 * INCH, 9 * INCH))),
    "remove": lambda q: q.remove("3"),
    "rename": lambda q: q.rename("1", "Mast"),
    "edges": lambda q: q.correct("2", wider(q.latest("2").measurement), points_mm={"bow": (9, 9)}),
    "same": lambda q: q.same_block("3", "2"),
}


def wider(m):
    e = m.width_mm
    return dataclasses.replace(m, width_mm=dataclasses.replace(e, value=e.value + 2), by_hand=True)


@pytest.mark.parametrize("what", STEPS)
def test_a_step_is_undone_and_done_again(quilt, what):
    before = seen(quilt)
    STEPS[what](quilt)
    after = seen(quilt)
    assert after != before
    said = quilt.undoable().undo
    assert quilt.undo() == said
    assert seen(quilt) == before
    assert quilt.undoable().redo == said
    assert quilt.redo() == said
    assert seen(quilt) == after


@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.sampled_from(sorted(set(STEPS) - {"same", "remove", "rename"})), max_size=6))
def test_any_row_of_steps_is_undone_to_the_beginning(tmp_path_factory, names):
    folder = tmp_path_factory.mktemp("q")
    with Project.create(folder / "q") as quilt:
        for photo in ("a.jpg", "b.jpg", "c.jpg"):
            quilt.add_result(made_up(photo, folder))
        first = quilt.undoable().undo
        states = [seen(quilt)]
        for name in names:
            STEPS[name](quilt)
            if seen(quilt) != states[-1] or quilt.undoable().undo != first:
                states.append(seen(quilt))
        steps = 0
        while quilt.undoable().undo != first:
            quilt.undo()
            steps += 1
        assert seen(quilt) == states[0]
        for _ in range(steps):
            quilt.redo()
        assert seen(quilt) == states[-1]
        with pytest.raises(ProjectError, match="nothing to redo"):
            quilt.redo()


def test_undo_of_one_block_leaves_the_others_alone(quilt):
    quilt.note("1", "first")
    quilt.note("2", "second")
    assert quilt.undo("1").startswith("note")
    notes = {b.name: b.note for b in quilt.blocks()}
    assert notes == {"1": "", "2": "second", "3": ""}
    quilt.set_order(["2", "1", "3"])
    quilt.note("1", "again")  # what was undone of block 1 is gone, the order can be undone
    assert quilt.undoable("1").redo is None
    quilt.undo("order")
    assert [b.name for b in quilt.blocks()] == ["1", "2", "3"]


def test_undoing_the_first_photo_removes_its_block_and_loses_nothing(quilt):
    assert quilt.undoable().undo == "measured (3)"
    quilt.undo()
    assert quilt.removed() == ("3",)
    assert [e.what for e in quilt.history("3")] == ["measured", "undone: measured"]
    quilt.redo()
    assert quilt.removed() == ()


def test_undo_appends_and_the_history_keeps_every_measurement(quilt):
    wide = quilt.latest("1").width_mm.value
    quilt.correct("1", wider(quilt.latest("1").measurement))
    quilt.undo()
    kept = [e.kept.width_mm.value for e in quilt.history("1") if e.kept]
    assert kept == pytest.approx([wide, wide + 2, wide])
    assert quilt.latest("1").measurement.by_hand is False


def test_a_name_that_another_block_took_is_not_undone(quilt):
    quilt.rename("1", "Mast")
    quilt.rename("2", "1")
    with pytest.raises(ProjectError, match="called 1 now"):
        quilt.undo("Mast")
    assert {b.name for b in quilt.blocks()} == {"Mast", "1", "3"}


def test_edges_set_anew_stay_with_their_photo_and_marks(quilt, tmp_path):
    quilt.correct("2", wider(quilt.latest("2").measurement), points_mm={"bow": (9, 9)})
    kept = quilt.latest("2")
    assert kept.photo == made_up("b.jpg", tmp_path).sha256
    assert kept.points_mm == {"bow": (9.0, 9.0)}
    assert quilt.history("2")[-1].what == "edges set anew"


def test_a_new_block_that_is_a_known_one_adds_to_its_history(quilt):
    new = quilt.latest("3")
    quilt.same_block("3", "1")
    assert quilt.latest("1").width_mm == new.width_mm
    np.testing.assert_array_equal(quilt.latest("1").outline_mm, new.outline_mm)
    assert quilt.removed() == ("3",)
    assert [e.what for e in quilt.history("1")] == ["measured", "measured again"]


def test_order_and_ticks_outlive_the_program_and_an_export(quilt, tmp_path):
    quilt.set_order(["3", "1"])
    quilt.tick("off the right edge: 1/8 in")
    quilt.tick("off the top edge: 1/8 in")
    quilt.tick("off the top edge: 1/8 in", done=False)
    with Project.open(quilt.path) as again:
        assert [b.name for b in again.blocks()] == ["3", "1", "2"]
        assert again.ticks() == {"off the right edge: 1/8 in"}
        again.export_json(tmp_path / "all.json")
    with Project.create(tmp_path / "other") as other:
        other.import_json(tmp_path / "all.json")
        assert [b.name for b in other.blocks()] == ["3", "1", "2"]
        assert other.ticks() == {"off the right edge: 1/8 in"}


def test_a_file_of_the_first_version_is_brought_up(tmp_path):
    with contextlib.closing(sqlite3.connect(tmp_path / "old.blockcheck")) as db:
        db.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        schema.upgrade(db, 1)
        db.execute("INSERT INTO plan VALUES (1, '2026-01-01', '0.1.0', '{}')")
        db.commit()
    with Project.open(tmp_path / "old.blockcheck") as quilt:
        assert quilt.ticks() == frozenset()
        assert quilt.undoable().undo is None
