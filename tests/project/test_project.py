"""The project file: what it keeps, what it refuses, and that nothing is lost."""

import contextlib
import dataclasses
import os
import shutil
import sqlite3
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest

from blockcheck import project as package
from blockcheck.errors import PlanError, Problem, ProjectError
from blockcheck.measuring.results import Taken
from blockcheck.planning.plan import Plan
from blockcheck.profiles import LensProfile
from blockcheck.project import Project, schema
from blockcheck.project.records import settings_from
from blockcheck.settings import Settings
from blockcheck.uncertainty import Estimate, Term
from blockcheck.units import INCH

sys.path.append(str(Path(__file__).parents[2] / "docs" / "benchmarks"))
from kills import add_from_many, fill_disks, kill_while_adding, made_up


@pytest.fixture
def quilt(tmp_path):
    with Project.create(tmp_path / "sailboats", Plan(planned_mm=(6 * INCH, 9 * INCH))) as made:
        yield made


def names(quilt):
    return [b.name for b in quilt.blocks()]


def whats(quilt, name):
    return [e.what for e in quilt.history(name)]


def test_a_measurement_is_kept_with_all_that_it_was_made_from(quilt, tmp_path):
    doubt = Problem("one_reference", "warning", "One small reference.", "Lay a second card.")
    result = dataclasses.replace(
        made_up("a.jpg", tmp_path), camera="Example Phone", problems=(doubt,)
    )
    settings = Settings.of(card_side="3.98in", focal=26)
    assert quilt.add_result(result, settings=settings, notes="top left") == ["1"]
    kept, m = quilt.latest("1"), result.blocks[0]
    for field in dataclasses.fields(m):
        np.testing.assert_equal(getattr(kept.measurement, field.name), getattr(m, field.name))
    assert kept.settings["card_side"] == pytest.approx(3.98 * INCH)
    assert kept.settings["focal"] == 26
    assert kept.problems == (doubt,)
    (block,) = quilt.blocks()
    assert (block.state, block.note, block.source) == ("measured", "top left", "photo")
    assert block.width_mm == m.width_mm
    np.testing.assert_array_equal(block.outline_mm, m.outline_block_mm)
    np.testing.assert_array_equal(block.corners_px, m.corners_px)
    np.testing.assert_allclose(block.corners_mm[2], [m.width_mm.value, m.height_mm.value])
    assert block.guard_mm == m.guard_mm
    assert quilt.photo("1").camera == "Example Phone"
    assert quilt.history("1")[0].software == "0.1.0"


def test_of_several_photos_together_it_is_kept_which_they_are(quilt, tmp_path):
    """So that one of them, read by itself before, does not count a second time."""
    alone, first = made_up("b.jpg", tmp_path), made_up("a.jpg", tmp_path)
    third = Taken(tmp_path / "c.jpg", "c" * 64, used=False)
    used = [Taken(r.path, r.sha256, used=True) for r in (first, alone)]
    quilt.add_result(alone)
    quilt.add_result(dataclasses.replace(first, together=(*used, third)), ["1"])
    assert quilt.latest("1").seen_in == {first.sha256, alone.sha256}
    assert quilt.names_in(alone.sha256) == quilt.names_in(first.sha256) == ("1",)
    assert not quilt.names_in(third.sha256)
    assert quilt.blocks()[0].width_mm == first.blocks[0].width_mm
    assert settings_from(quilt.latest("1").settings).cloth_height == 0.5
    quilt.correct("1", first.blocks[0])
    assert quilt.latest("1").seen_in == {first.sha256}


def test_settings_with_a_lens_profile_are_kept(quilt, tmp_path):
    lens = LensProfile(
        "Example Phone", 4000, 3000, 26.0, 0.7, 0.1, 0.0, 0.0, 0.0, np.eye(5), 8, 0.2
    )
    quilt.add_result(made_up("a.jpg", tmp_path), settings=Settings(profiles=(lens,)))
    (kept,) = quilt.latest("1").settings["profiles"]
    assert kept["f"] == 0.7
    assert kept["covariance"] == np.eye(5).tolist()


def test_the_same_photo_is_recognised_wherever_it_lies(quilt, tmp_path):
    assert quilt.add_result(made_up("a.jpg", tmp_path, blocks=2)) == ["1", "2"]
    (tmp_path / "sub").mkdir()
    again = dataclasses.replace(made_up("a.jpg", tmp_path), path=tmp_path / "sub" / "b.jpg")
    assert quilt.add_result(again) == ["1", "2"]
    assert len(quilt.photos()) == 1
    assert whats(quilt, "1") == ["measured"]
    with pytest.raises(ProjectError, match="in the project already, as block 1, 2"):
        quilt.add_result(again, ["Mast"])


def test_a_block_measured_again_keeps_its_earlier_measurement(quilt, tmp_path):
    quilt.add_result(made_up("a.jpg", tmp_path), ["Mast"])
    quilt.set_points("Mast", {"bow": (10.0, 12.5)})
    quilt.add_result(made_up("b.jpg", tmp_path, width=150.0), ["Mast"], trimmed=True)
    quilt.add_result(made_up("b.jpg", tmp_path, width=150.5), ["Mast"])  # other settings, say
    (block,) = quilt.blocks()
    assert (block.state, block.width_mm.value) == ("trimmed", 150.5)
    assert block.points_mm == {}  # trimming moved the corner that points are counted from
    events = quilt.history("Mast")
    assert [e.what for e in events] == [
        "measured",
        "points marked",
        "trimmed, measured again",
        "measured again",
    ]
    assert [e.kept.width_mm.value for e in events if e.kept] == [152.4, 150.0, 150.5]
    assert events[0].kept.points_mm == {"bow": (10.0, 12.5)}


def test_what_a_person_says_of_a_block_is_kept_and_leaves_a_line(quilt, tmp_path):
    quilt.add_result(made_up("a.jpg", tmp_path))
    quilt.set_state("1", "set aside")
    quilt.note("1", "re-press")
    quilt.set_points("1", {"bow": (1, 2), "stern": (3, 4)})
    quilt.set_centre_line("1", ((0, 5), (9, 5)))
    quilt.rename("1", "Mast")
    (block,) = quilt.blocks()
    assert (block.name, block.state, block.note) == ("Mast", "set aside", "re-press")
    assert block.points_mm == {"bow": (1.0, 2.0), "stern": (3.0, 4.0)}
    assert block.centre_line_mm == ((0.0, 5.0), (9.0, 5.0))
    assert whats(quilt, "Mast") == [
        "measured",
        "set aside",
        "note",
        "points marked",
        "centre line marked",
        "renamed",
    ]
    quilt.set_centre_line("Mast", None)
    assert quilt.blocks()[0].centre_line_mm is None


def test_removing_can_be_undone_and_a_removed_name_is_not_given_twice(quilt, tmp_path):
    quilt.add_result(made_up("a.jpg", tmp_path))
    quilt.add_result(made_up("b.jpg", tmp_path))
    quilt.remove("2")
    assert (names(quilt), quilt.removed()) == (["1"], ("2",))
    assert quilt.add_result(made_up("c.jpg", tmp_path)) == ["3"]
    for refused in (
        lambda: quilt.add_result(made_up("d.jpg", tmp_path), ["2"]),
        lambda: quilt.note("2", "x"),
        lambda: quilt.remove("2"),
    ):
        with pytest.raises(ProjectError, match=r"Block 2 was removed\. .*restore"):
            refused()
    with pytest.raises(ProjectError, match="already a block 2"):
        quilt.rename("3", "2")
    quilt.restore("2")
    assert names(quilt) == ["1", "2", "3"]
    assert whats(quilt, "2") == ["measured", "removed", "restored"]


def test_the_plan_can_be_changed_and_is_refused_where_it_makes_no_sense(quilt):
    plan = Plan(seam_mm=7.0, borders_mm=(50.0, 60.0), rows=4, setting="offset", unit="cm")
    quilt.set_plan(plan)
    assert quilt.plan == plan
    for wrong in (
        {"seam_mm": -1.0},
        {"seam_mm": float("nan")},
        {"unit": "ell"},
        {"rows": 0},
        {"planned_mm": (10.0, 200.0)},
        {"card_side": 4.0},  # inches where millimetres are meant
    ):
        with pytest.raises((PlanError, ValueError)):
            quilt.set_plan(Plan(**wrong))
    assert quilt.plan == plan


def test_check_standards_are_kept(quilt, tmp_path):
    measured = (Estimate(99.9, (Term("adjustment", 0.1),)), Estimate(100.1))
    quilt.add_check((100, 100), measured, "yes", tmp_path / "c.jpg", "ab12")
    (check,) = quilt.checks()
    assert (check.known_mm, check.measured, check.verdict) == ((100.0, 100.0), measured, "yes")
    assert (check.path, check.sha256) == (tmp_path / "c.jpg", "ab12")


def test_names_that_cannot_be_kept_are_refused_and_nothing_of_the_photo_stays(quilt, tmp_path):
    photo = made_up("a.jpg", tmp_path, blocks=2)
    for wrong in (["Mast"], ["Mast", "Mast"], ["Mast", " "], ["Mast", "a\nb"], ["Mast", "x" * 81]):
        with pytest.raises(ProjectError):
            quilt.add_result(photo, wrong)
    assert quilt.photos() == ()
    assert quilt.blocks() == ()
    for unknown in ("Mast", "\udcff"):
        with pytest.raises(ProjectError):
            quilt.note(unknown, "x")
    refused = dataclasses.replace(photo, blocks=())
    with pytest.raises(ProjectError, match="was not measured"):
        quilt.add_result(refused)


def test_a_missing_photo_is_flagged_and_its_numbers_stay(quilt, tmp_path):
    result = made_up("a.jpg", tmp_path)
    result.path.write_bytes(b"photo")
    quilt.add_result(result)
    assert not quilt.photo("1").missing
    moved = result.path.rename(tmp_path / "b.jpg")
    assert quilt.photo("1").missing
    assert quilt.found(result.sha256, moved)
    assert (quilt.photo("1").path, quilt.photo("1").missing) == (moved, False)
    assert not quilt.found(result.sha256, tmp_path / "c.jpg")  # it was not missing
    assert quilt.photo("1").path == moved
    assert names(quilt) == ["1"]


def test_project_and_photos_can_be_moved_together(tmp_path):
    first = tmp_path / "first"
    first.mkdir()
    result = made_up("a.jpg", first)
    result.path.write_bytes(b"photo")
    with Project.create(first / "sails") as quilt:
        quilt.add_result(result)
    first.rename(tmp_path / "second")
    with Project.open(tmp_path / "second" / "sails") as quilt:
        assert quilt.photo("1").path == tmp_path / "second" / "a.jpg"
        assert not quilt.photo("1").missing


def test_no_file_is_ever_overwritten(quilt, tmp_path):
    with pytest.raises(ProjectError, match="already exists"):
        Project.create(quilt.path)
    other = tmp_path / "notes.blockcheck"
    other.write_text("my notes, long enough to be no database header at all " * 40)
    with pytest.raises(ProjectError, match="already exists"):
        Project.create(other)
    assert other.read_text().startswith("my notes")
    foreign = tmp_path / "recipes.blockcheck"
    with contextlib.closing(sqlite3.connect(foreign)) as db:
        db.execute("CREATE TABLE recipe (text)")
    with pytest.raises(ProjectError, match="already exists"):
        Project.create(foreign)
    for wrong in (other, foreign):
        with pytest.raises(ProjectError, match="is not a blockcheck project"):
            Project.open(wrong)
    with pytest.raises(ProjectError, match="no project"):
        Project.open(tmp_path / "nowhere")
    with pytest.raises(ProjectError, match="folder exists"):
        Project.create(tmp_path / "nowhere" / "sails")


def test_a_making_that_was_cut_off_is_said_and_can_be_done_again(tmp_path):
    (tmp_path / "sails.blockcheck").touch()
    with pytest.raises(ProjectError, match="empty"):
        Project.open(tmp_path / "sails")
    Project.create(tmp_path / "sails").close()
    Project.open(tmp_path / "sails").close()


def test_a_newer_file_is_refused_in_words_and_not_touched(quilt):
    quilt._db.execute("PRAGMA user_version = 9")
    quilt.close()
    before = quilt.path.read_bytes()
    with pytest.raises(ProjectError, match=r"newer blockcheck \(file version 9.*Install"):
        Project.open(quilt.path)
    assert quilt.path.read_bytes() == before


def test_an_older_file_is_brought_up_to_date(quilt, tmp_path, monkeypatch):
    quilt.add_result(made_up("a.jpg", tmp_path))
    quilt.close()
    step = ("ALTER TABLE block ADD COLUMN colour TEXT NOT NULL DEFAULT ''",)
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, step))
    with Project.open(quilt.path) as opened:
        assert names(opened) == ["1"]
        assert opened._rows("SELECT colour FROM block")[0]["colour"] == ""
        assert opened._rows("PRAGMA user_version")[0][0] == len(schema.MIGRATIONS)


def test_a_migration_that_fails_leaves_the_older_file_as_it_was(quilt, tmp_path, monkeypatch):
    quilt.add_result(made_up("a.jpg", tmp_path))
    quilt.close()
    step = ("ALTER TABLE block ADD COLUMN colour TEXT", "INSERT INTO nothing VALUES (1)")
    with monkeypatch.context() as patched:
        patched.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, step))
        with pytest.raises(ProjectError):
            Project.open(quilt.path)
    with Project.open(quilt.path) as opened:
        assert names(opened) == ["1"]
        assert "colour" not in opened._rows("SELECT * FROM block")[0].keys()  # noqa: SIM118


def test_a_full_disk_loses_only_the_step_in_work(quilt, tmp_path):
    quilt.add_result(made_up("0.jpg", tmp_path))
    (pages,) = quilt._db.execute("PRAGMA page_count").fetchone()
    quilt._db.execute(f"PRAGMA max_page_count = {pages + 6}")
    kept = ["1"]

    def fill():
        for i in range(1, 50):
            kept.extend(quilt.add_result(made_up(f"{i}.jpg", tmp_path)))

    with pytest.raises(ProjectError, match="disk is full"):
        fill()
    assert 1 < len(kept) < 49
    assert names(quilt) == kept
    assert len(quilt.photos()) == len(kept)
    quilt._db.execute("PRAGMA max_page_count = 100000")  # room again
    kept += quilt.add_result(made_up("later.jpg", tmp_path))
    assert names(quilt) == kept
    assert quilt._db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


@contextlib.contextmanager
def as_a_plain_user():
    """The administrator may write anywhere; be somebody else for a moment."""
    if os.name == "nt" or os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.mark.skipif(os.name == "nt", reason="modes of files as on Unix")
def test_a_write_protected_file_can_be_read_and_says_why_it_is_not_written():
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sails.blockcheck"
        with Project.create(path) as quilt:
            quilt.add_result(made_up("a.jpg", Path(folder)))
        path.chmod(0o444)
        Path(folder).chmod(0o555)
        with as_a_plain_user(), Project.open(path) as quilt:
            assert names(quilt) == ["1"]
            with pytest.raises(ProjectError, match="cannot be written"):
                quilt.note("1", "x")
        Path(folder).chmod(0o755)


def test_a_damaged_file_is_said_in_words(quilt, tmp_path):
    for i in range(20):
        quilt.add_result(made_up(f"{i}.jpg", tmp_path))
    quilt.close()
    data = bytearray(quilt.path.read_bytes())
    data[4096:] = b"\xff" * (len(data) - 4096)
    quilt.path.write_bytes(data)
    with pytest.raises(ProjectError, match="damaged"), Project.open(quilt.path) as opened:
        opened.blocks()


def test_a_process_that_never_finishes_is_waited_for_and_then_named(quilt, monkeypatch):
    monkeypatch.setattr(schema, "BUSY_S", 0.05)
    with Project.open(quilt.path) as other:
        quilt._db.execute("BEGIN IMMEDIATE")
        with pytest.raises(ProjectError, match="Another program"):
            other.set_plan(Plan())
        quilt._db.execute("ROLLBACK")
        other.set_plan(Plan())


def test_nothing_reported_as_kept_is_lost_by_kills(tmp_path):
    got = kill_while_adding(8, tmp_path)
    assert got["opened"] == got["sound"] == 8
    assert got["kept"] >= 8
    assert got["missing"] == 0


def test_eight_processes_add_to_one_file_at_once(tmp_path):
    assert add_from_many(5, tmp_path) == (40, 40)


def test_where_the_system_stops_a_write_it_is_told_and_nothing_kept_is_missing(tmp_path):
    got = fill_disks(4, tmp_path)
    assert got.pop("kept") > 4
    assert got == {"in words": 4, "added after": 4, "missing": 0}


def test_the_file_is_recognised_by_its_header(quilt):
    # https://www.sqlite.org/fileformat.html, 1.3: application id in bytes 68 to 71
    assert quilt.path.read_bytes()[:16] == b"SQLite format 3\0"
    assert quilt.path.read_bytes()[68:72] == b"blkc"
    assert quilt.path.suffix == package.SUFFIX
    quilt.close()
    assert [p.name for p in quilt.path.parent.iterdir()] == [quilt.path.name]  # one file, no other
    shutil.copy(quilt.path, quilt.path.with_name("copy.blockcheck"))
    Project.open(quilt.path.with_name("copy.blockcheck")).close()
