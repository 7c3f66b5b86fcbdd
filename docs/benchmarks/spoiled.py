"""Spoil a project in many ways; look whether anything goes on as if nothing were.

    python docs/benchmarks/spoiled.py [COUNT]

Each spoiled file is listed, shown, exported, planned from and checked by the commands. Counted are
tracebacks, exports that differ from the sound file's although the command ended well, and checks
that call sound what exports differently. Ends with status 1 if there is any. The spoiling is
seeded: the same COUNT gives the same files.
"""

import contextlib
import random
import shutil
import sqlite3
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from click.testing import CliRunner
from kills import made_up

from blockcheck.cli import main
from blockcheck.planning.plan import Plan
from blockcheck.project import Project
from blockcheck.uncertainty import Estimate

BLOCKS = 12
OLDER = "older.blockcheck"  # the sound project some steps earlier
EDITS = (  # what another program, or a hand, may do to a file
    "UPDATE measurement SET sizes = replace(sizes, '152.4', '150.4') WHERE id = 3",
    "UPDATE measurement SET sizes = '{' WHERE id = 5",
    "UPDATE measurement SET sizes = 'null'",
    "UPDATE measurement SET points = '[1, 2]' WHERE id = 2",
    "UPDATE measurement SET block = 1 WHERE id = 2",
    "UPDATE measurement SET photo = NULL WHERE id = 4",
    "UPDATE block SET name = 'Mast' WHERE id = 1",
    "UPDATE block SET state = 'set aside'",
    "UPDATE block SET note = char(27) || '[2J' WHERE id = 2",
    "UPDATE block SET removed = 1 WHERE id = 6",
    "UPDATE plan SET plan = replace(plan, '6.35', '7.35')",
    "UPDATE plan SET plan = ''",
    "UPDATE photo SET sha256 = 'x' WHERE id = 2",
    "UPDATE event SET at = 'never'",
    "UPDATE check_result SET measured = '{}'",
    "DELETE FROM plan",
    "DELETE FROM plan; DELETE FROM seal WHERE of = 'plan'",
    "DELETE FROM measurement WHERE id = 3",
    "DELETE FROM event WHERE measurement = 3; DELETE FROM measurement WHERE id = 3; "
    "DELETE FROM seal WHERE of != 'plan' AND row = 3",
    "DELETE FROM block",
    "DELETE FROM photo",
    "DELETE FROM seal",
    "DELETE FROM event",
    "UPDATE block_order SET blocks = '[3, 2, 1]'",
    "DELETE FROM block_order",
    "UPDATE tick SET what = 'cut sashing'",
    "UPDATE step SET before = '{}'",
    "INSERT INTO block VALUES (99, 'Gull', 'measured', '', 0)",
    "INSERT INTO measurement SELECT 99, block, photo, settings, problems, "
    "replace(sizes, '152.4', '140.4'), points, centre_line FROM measurement WHERE id = 1",
    "CREATE VIEW more AS SELECT * FROM block",
    "CREATE TRIGGER act AFTER INSERT ON event BEGIN DELETE FROM block; END",
    "ALTER TABLE block RENAME TO real; CREATE VIEW block AS SELECT id, name, state, note, 0 removed "
    "FROM real",
    "CREATE TABLE more (id INTEGER PRIMARY KEY)",
    "ALTER TABLE block ADD COLUMN colour TEXT",
    "DROP INDEX event_of_block",
    "DROP TABLE check_result",
    "DROP TABLE seal",
    "PRAGMA user_version = 0",
    "PRAGMA user_version = 1",
    "PRAGMA user_version = 99",
    "PRAGMA user_version = -1",
    "PRAGMA application_id = 7",
    "PRAGMA journal_mode = WAL",
    "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET rootpage = 3 WHERE name = 'measurement'",
    "PRAGMA writable_schema = ON; UPDATE sqlite_schema SET sql = 'CREATE TABLE block (id)' "
    "WHERE name = 'block'",
    "PRAGMA writable_schema = ON; DELETE FROM sqlite_schema WHERE name = 'photo'",
)


def sound_project(folder: Path) -> Path:
    """A project with photos, a ruler's sizes, marks, notes, an earlier plan and a check."""
    with Project.create(folder / "sails", Plan(planned_mm=(150.0, 226.0))) as quilt:
        for i in range(BLOCKS):
            quilt.add_result(made_up(f"{i}.jpg", folder), notes=f"sail {i}" if i % 3 else "")
        (folder / "r.csv").write_text("name,width,height\nMain,6,9\nJib,6 1/8,9\n")
        quilt.import_csv(folder / "r.csv")
        quilt.add_result(made_up("again.jpg", folder, 1, 151.0), ["4"], trimmed=True)
        quilt.set_points("2", {"tip": (20.0, 30.0)})
        quilt.set_centre_line("2", ((76.0, 0.0), (76.0, 228.0)))
        quilt.remove("7")
        quilt.set_state("8", "set aside")
        quilt.add_check((100.0,), (Estimate(100.1),), "yes")
        shutil.copyfile(quilt.path, folder / OLDER)
        quilt.set_order(["Jib", "3", "1"])
        quilt.tick("cut 4 strips")
        quilt.undo()
        quilt.note("5", "a sail of silk")
        quilt.rename("6", "Gaff")
        quilt.add_result(made_up("late.jpg", folder, 1, 153.0), ["5"])
        quilt.set_plan(Plan(planned_mm=(152.4, 228.6)))
    return quilt.path


def spoil(data: bytes, older: bytes, number: int, path: Path) -> str:
    """Write the file spoiled in one way to `path`; return how."""
    chance = random.Random(number)
    page = 4096
    ways: tuple[Callable[[bytearray], str], ...] = (_flip(chance, 1),) * 6 + (
        _flip(chance, 9),
        _cut(chance, page),
        _pages(chance, page),
        *(_torn(chance, page, older),) * 3,
        _moved(chance),
        _as_text,
    )
    spoiled = bytearray(data)
    if number < len(EDITS):
        path.write_bytes(data)
        with contextlib.suppress(sqlite3.Error), contextlib.closing(sqlite3.connect(path)) as db:
            db.executescript(EDITS[number])
        return EDITS[number]
    said = chance.choice(ways)(spoiled)
    path.write_bytes(spoiled)
    return said


def _flip(chance: random.Random, count: int) -> Callable[[bytearray], str]:
    def flip(data: bytearray) -> str:
        # half of them in the file's first pages, where its own order is kept
        ends = [chance.choice([len(data), 4096 * 2]) for _ in range(count)]
        at = [chance.randrange(end) for end in ends]
        for i in at:
            data[i] ^= 1 << chance.randrange(8)
        return f"bits turned over at {at}"

    return flip


def _cut(chance: random.Random, page: int) -> Callable[[bytearray], str]:
    def cut(data: bytearray) -> str:
        keep = chance.choice([len(data) - 1, chance.randrange(len(data)), len(data) - page, 100])
        del data[keep:]
        return f"cut after {keep} bytes"

    return cut


def _pages(chance: random.Random, page: int) -> Callable[[bytearray], str]:
    def pages(data: bytearray) -> str:
        a, b = (page * chance.randrange(len(data) // page) for _ in range(2))
        data[a : a + page] = chance.choice(
            [bytes(page), chance.randbytes(page), data[b : b + page]]
        )
        return f"page {a // page} overwritten"

    return pages


def _torn(chance: random.Random, page: int, older: bytes) -> Callable[[bytearray], str]:
    """Some pages as they were earlier: a copy made during a change, a sync that stopped halfway."""

    def torn(data: bytearray) -> str:
        other = [i for i in range(0, len(older), page) if older[i : i + page] != data[i : i + page]]
        back = sorted(chance.sample(other, chance.randint(1, len(other) - 1)))
        for i in back:
            data[i : i + page] = older[i : i + page]
        return f"pages {[i // page for i in back]} of {len(other)} changed ones are old"

    return torn


def _moved(chance: random.Random) -> Callable[[bytearray], str]:
    def moved(data: bytearray) -> str:
        at, count = chance.randrange(len(data)), chance.choice([1, 16, 512, 4096])
        if chance.random() < 0.5:
            data[at:at] = bytes(count)
            return f"{count} zeros pushed in at {at}"
        del data[at : at + count]
        data += bytes(count)
        return f"{count} bytes lost at {at}"

    return moved


def _as_text(data: bytearray) -> str:
    data[:] = data.replace(b"\n", b"\r\n")
    return "sent as text"


def run(*words: object) -> tuple[int, str, BaseException | None]:
    """A command's status, what it said, and the failure nobody expected, if any."""
    got = CliRunner().invoke(main, [str(w) for w in words])
    odd = got.exception if not isinstance(got.exception, SystemExit) else None
    return got.exit_code, got.output, odd


def try_all(count: int, folder: Path) -> Counter[str]:
    """Spoil `count` projects; count what became of them, and print what should not be."""
    folder = folder.resolve()
    sound = sound_project(folder)
    data, older = sound.read_bytes(), (folder / OLDER).read_bytes()
    run("export", sound, folder / "sound.json")
    due = (folder / "sound.json").read_bytes()
    whole = sizes(sound)
    figures: Counter[str] = Counter(tried=count)
    path, out = folder / "spoiled.blockcheck", folder / "out.json"
    numbers = range(count) if count > len(EDITS) else range(0, 10 * count, 10)
    for number in numbers:
        for old in (path, out, folder / "spoiled-mended.blockcheck", folder / "mended.json"):
            old.unlink(missing_ok=True)
        how = spoil(data, older, number, path)
        before = path.read_bytes()
        status, said, odd = run("export", path, out)
        same = status == 0 and out.read_bytes() == due
        got = [(status, said, odd)]
        got += [run(*w) for w in (("list", path), ("show", path, "2"), ("size", path),
                                  ("check", path), ("check", path, "--mend"))]  # fmt: skip
        for _, words, failure in got:
            if failure is not None:
                figures["tracebacks"] += 1
                print(f"TRACEBACK {number} ({how}): {failure!r}")
            if _ != 0 and failure is None and not words.strip():
                figures["without a word"] += 1
        if same:
            figures["nothing lost"] += 1
        elif status == 0 or got[4][0] == 0:
            figures["silent"] += 1
            print(f"SILENT {number} ({how}): export {status}, check {got[4][0]}")
        else:
            figures["told"] += 1
            if path.read_bytes() != before:
                figures["touched"] += 1
                print(f"TOUCHED {number} ({how})")
        mended = folder / "spoiled-mended.blockcheck"
        if mended.exists():
            figures["mended"] += 1
            status, said, odd = run("export", mended, folder / "mended.json")
            if status or odd:
                figures["mended badly"] += 1
                print(f"MENDED BADLY {number} ({how}): {said} {odd!r}")
                continue
            kept = sizes(mended)
            figures["blocks in mended ones"] += len(kept)
            for name, size in kept.items():
                if size != whole.get(name) and f"block {name}" not in got[5][1]:
                    figures["other numbers in mended ones"] += 1
                    print(f"OTHER {number} ({how}): block {name}, {size}")
        elif not same:
            figures["not mended"] += 1
    return figures


def sizes(path: Path) -> dict[str, tuple[object, ...]]:
    """What a project says of each block."""
    with Project.open(path) as quilt:
        return {
            b.name: (b.width_mm, b.height_mm, b.state, b.note, b.points_mm, b.centre_line_mm)
            for b in quilt.blocks()
        }


BAD = ("tracebacks", "silent", "touched", "without a word", "mended badly",
       "other numbers in mended ones")  # fmt: skip

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        found = try_all(int(sys.argv[1]) if len(sys.argv) > 1 else 200, Path(name))
    print(", ".join(f"{what} {n}" for what, n in found.items()))
    for what in BAD:
        print(f"{what}: {found[what]}")
    sys.exit(any(found[what] for what in BAD))
