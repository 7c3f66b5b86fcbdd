"""A project that is not as it was written is told, and mended as far as photos give it again."""

import contextlib
import sqlite3
import sys
import tracemalloc
from pathlib import Path

import pytest
from click.testing import CliRunner

from blockcheck.cli import main, soundness
from blockcheck.errors import DamagedProjectError, ProjectError
from blockcheck.planning.plan import Plan
from blockcheck.project import Project, ProjectReader, schema, seals

sys.path.append(str(Path(__file__).parents[2] / "docs" / "benchmarks"))
import spoiled
from kills import made_up


@pytest.fixture
def sound(tmp_path):
    return spoiled.sound_project(tmp_path.resolve())


def by_hand(path, *statements):
    """Change the file as another program would."""
    with contextlib.closing(sqlite3.connect(path)) as db:
        for statement in statements:
            db.execute(statement)
        db.commit()


def check(path, *more):
    got = CliRunner().invoke(main, ["check", str(path), *more])
    assert got.exception is None or isinstance(got.exception, SystemExit), got.exception
    return got.exit_code, got.output


def test_spoiled_projects_are_told_and_never_go_on_in_silence(tmp_path):
    """A tenth of what docs/benchmarks/spoiled.py tries."""
    found = spoiled.try_all(20, tmp_path)
    assert not any(found[what] for what in spoiled.BAD)
    assert found["told"] >= 8
    assert found["mended"] >= 5


def test_every_row_has_a_checksum_that_one_changed_number_breaks(sound):
    by_hand(sound, "UPDATE measurement SET sizes = replace(sizes, '152.4', '152.5') WHERE id = 3")
    with pytest.raises(DamagedProjectError, match=r"block 3: its latest numbers.*check"):
        Project.open(sound)
    status, said = check(sound)
    assert status == 6
    assert "LOST    block 3" in said
    assert "sound   block 1: 6 in" in said


def test_bytes_that_a_spoiled_page_gives_for_a_word_are_another_checksum():
    assert seals.digest("block", {"note": b"stiff"}) != seals.digest("block", {"note": "stiff"})


def test_bytes_for_the_name_of_a_table_are_told(sound):
    by_hand(sound, "PRAGMA writable_schema = ON",
            "UPDATE sqlite_schema SET name = CAST(name AS BLOB) WHERE name = 'event'")  # fmt: skip
    with pytest.raises(DamagedProjectError):
        Project.open(sound)
    assert check(sound)[0] == 6


def test_a_lost_row_and_one_too_many_are_told(sound):
    by_hand(sound, "DELETE FROM event WHERE what = 'note'")
    with pytest.raises(DamagedProjectError, match="a line of its history"):
        Project.open(sound)


def test_a_block_is_measured_again_from_its_photo(tmp_path, monkeypatch):
    with Project.create(tmp_path / "sails", Plan(planned_mm=(152.4, 228.6))) as quilt:
        results = {}
        for name in ("a.jpg", "b.jpg"):
            (tmp_path / name).write_bytes(name.encode())
            results[name] = made_up(name, tmp_path, 2)  # its sha256 is that of these bytes
            quilt.add_result(results[name])
        quilt.set_state("3", "trimmed")
    by_hand(quilt.path, "UPDATE measurement SET sizes = '{' WHERE id = 3")
    monkeypatch.setattr(soundness, "measure_photo", lambda path, **given: results[path.name])
    before = quilt.path.read_bytes()
    status, said = check(quilt.path, "--mend")
    assert status == 6
    assert "block 3: measured again from its photo" in said
    assert quilt.path.read_bytes() == before
    with Project.open(tmp_path / "sails-mended") as mended:
        assert [(b.name, b.state) for b in mended.blocks()][1:] == [
            ("2", "measured"),
            ("4", "measured"),
            ("3", "trimmed"),
        ]
        assert mended.latest("3").width_mm == results["b.jpg"].blocks[0].width_mm
    assert check(mended.path)[0] == 0
    assert "already exists" in check(quilt.path, "--mend")[1]


def test_a_block_with_older_numbers_only_is_set_aside_not_passed_off_as_its_latest(sound):
    by_hand(sound, "UPDATE measurement SET sizes = '{' WHERE block = 4 AND id > 4")
    reader, found = ProjectReader.rescued(sound)
    with reader:
        assert {b.name: b.state for b in reader.blocks()}["4"] == "set aside"
    assert [(x.name, x.state) for x in found.lost] == [("4", "trimmed")]


def test_a_changed_photo_is_told(tmp_path):
    with Project.create(tmp_path / "sails") as quilt:
        (tmp_path / "a.jpg").write_bytes(b"a.jpg")
        quilt.add_result(made_up("a.jpg", tmp_path))
    assert check(quilt.path) == (0, "sails.blockcheck: 1 block, nothing is damaged.\n")
    (tmp_path / "a.jpg").write_bytes(b"another photo")
    status, said = check(quilt.path)
    assert status == 6
    assert "CHANGED photo" in said
    (tmp_path / "a.jpg").unlink()
    status, said = check(quilt.path)
    assert status == 0
    assert "missing photo" in said


@pytest.mark.parametrize("thing", ["VIEW x AS SELECT 1", "TRIGGER x AFTER INSERT ON event BEGIN "
                         "DELETE FROM block; END", "TABLE x (y)"])  # fmt: skip
def test_what_somebody_else_put_into_the_file_ends_the_opening(sound, thing):
    by_hand(sound, f"CREATE {thing}")
    with pytest.raises(DamagedProjectError, match="that does not belong there"):
        Project.open(sound)
    assert check(sound, "--mend")[0] == 6
    with Project.open(sound.with_name("sails-mended")) as mended:
        assert len(mended.blocks()) == spoiled.BLOCKS + 1


def test_an_open_file_trusts_no_definitions_and_waits_for_the_disk(sound, monkeypatch):
    monkeypatch.undo()
    monkeypatch.setattr(schema, "SYNCHRONOUS", "EXTRA")
    with Project.open(sound) as quilt:
        # EXTRA is 3: with it, SQLite itself answers for a power cut
        # (https://www.sqlite.org/atomiccommit.html, section 9; pragma.html#pragma_synchronous)
        pragmas = {"trusted_schema": 0, "synchronous": 3, "foreign_keys": 1}
        assert {p: schema.number(quilt._db, p) for p in pragmas} == pragmas


def test_a_file_from_before_the_checksums_is_judged_then_sealed(tmp_path):
    path = tmp_path / "old.blockcheck"
    with Project.create(path) as quilt:
        quilt.add_result(made_up("a.jpg", tmp_path))
    # as file version 2 had it
    by_hand(path, f"DROP TABLE {seals.TABLE}", "ALTER TABLE block DROP COLUMN kind")
    by_hand(path, "PRAGMA user_version = 2")
    torn = tmp_path / "torn.blockcheck"
    torn.write_bytes(path.read_bytes())
    by_hand(torn, "UPDATE measurement SET sizes = replace(sizes, '{', '[')")
    with pytest.raises(DamagedProjectError, match="block 1"):
        Project.open(torn)
    with Project.open(path) as quilt:
        assert len(quilt.blocks()) == 1
        assert not seals.broken(quilt._db)
        assert len(seals.noted(quilt._db)) == 6  # plan, photo, block, measurement, event, step


def test_a_damaged_older_file_is_not_brought_up_to_date(sound, monkeypatch):
    by_hand(sound, "UPDATE block SET note = 'other'")
    before = sound.read_bytes()
    step = ("ALTER TABLE block ADD COLUMN colour TEXT NOT NULL DEFAULT ''",)
    monkeypatch.setattr(schema, "MIGRATIONS", (*schema.MIGRATIONS, step))
    with pytest.raises(DamagedProjectError, match="name, state or note"):
        Project.open(sound)
    assert sound.read_bytes() == before


@pytest.mark.parametrize("mode", ["DELETE", "WAL"])
def test_a_strangers_file_is_not_touched(tmp_path, mode):
    foreign = tmp_path / "recipes.blockcheck"
    by_hand(foreign, f"PRAGMA journal_mode = {mode}", "CREATE TABLE recipe (text)")
    before, stamp = foreign.read_bytes(), foreign.stat().st_mtime_ns
    with pytest.raises(ProjectError, match="is not a blockcheck project"):
        Project.open(foreign)
    assert (foreign.read_bytes(), foreign.stat().st_mtime_ns) == (before, stamp)
    assert [p.name for p in tmp_path.iterdir()] == [foreign.name]


def test_a_file_far_too_large_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "sails.blockcheck"
    with path.open("wb") as file:
        file.truncate(6 << 30)
    with pytest.raises(ProjectError, match="far too large"):
        Project.open(path)


def test_names_come_back_from_history_where_the_row_is_lost(sound):
    by_hand(sound, "DELETE FROM block WHERE id IN (2, 7, 8)")
    reader, found = ProjectReader.rescued(sound)
    with reader:
        states = {b.name: (b.state, b.note) for b in reader.blocks()}
        assert states["nameless 2"] == ("measured", "sail 1")
        assert states["nameless 8"] == ("set aside", "sail 7")
        assert reader.removed() == ("nameless 7",)
    assert "block nameless 2: its name, state or note" in found.faults
    assert found.lost == ()


@pytest.mark.parametrize("spare", range(0, 50, 5))
def test_a_disk_that_is_full_at_any_place_loses_nothing_that_was_kept(tmp_path, spare):
    with Project.create(tmp_path / "sails") as quilt:
        (pages,) = quilt._db.execute("PRAGMA page_count").fetchone()
        quilt._db.execute(f"PRAGMA max_page_count = {pages + spare}")
        kept = []
        with contextlib.suppress(ProjectError):
            for i in range(40):
                kept += quilt.add_result(made_up(f"{i}.jpg", tmp_path))
        assert len(kept) < 40
    with Project.open(quilt.path) as opened:
        assert [b.name for b in opened.blocks()] == kept


def test_two_editors_and_a_clock_set_back_lose_nothing(tmp_path, monkeypatch):
    times = iter(f"20{year:02}-01-01T00:00:00+00:00" for year in range(60, 10, -1))
    monkeypatch.setattr("blockcheck.project.writing.now", lambda: (next(times), "0.1.0"))
    with Project.create(tmp_path / "sails") as one, Project.open(one.path) as other:
        one.add_result(made_up("a.jpg", tmp_path))
        other.note("1", "first")
        one.note("1", "second")
        other.add_result(made_up("b.jpg", tmp_path))
        one.rename("1", "Mast")
        assert [(b.name, b.note) for b in other.blocks()] == [("Mast", "second"), ("2", "")]
    with Project.open(one.path) as opened:
        assert [e.what for e in opened.history("Mast")][-2:] == ["note", "renamed"]


def test_a_spoiled_number_of_pages_takes_no_memory(sound):
    """Bytes 28 to 31 of the header (sqlite.org/fileformat.html): 16 million pages and more."""
    data = bytearray(sound.read_bytes())
    data[28] = 1
    sound.write_bytes(data)
    tracemalloc.start()
    try:
        with contextlib.suppress(ProjectError):
            Project.rescued(sound)[0].close()
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert peak < 50e6
