"""What is still sound in a damaged project, in a copy in memory; the file itself is not touched.

Every row that is as it was written is taken over; of the others it is said whose they are. A block
is never left with older numbers as if they were its latest: it is set aside until it is measured
again.
"""

from __future__ import annotations

import dataclasses
import json
import sqlite3
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from .. import __version__
from ..errors import BlockcheckError, DamagedProjectError
from ..files import sha256_of
from ..planning.plan import Plan
from . import opening, plans, records, schema, seals
from .exchange import SPOILED, write_new
from .judging import check_kept

Row = dict[str, Any]
LOST = "its latest numbers"
KINDS_SINCE = 4  # the file version from which blocks have a kind


@dataclass(frozen=True)
class Lost:
    """A block whose latest measurement cannot be trusted.

    Attributes
    ----------
    name : str
    photo : str or None
        The sha256 of the photo that it was measured in, if that is known.
    number : int
        Which of the blocks in that photo it is, from 0.
    of : int
        How many blocks were measured in that photo.
    state : str
        The block's state before it was set aside.
    """

    name: str
    photo: str | None
    number: int = 0
    of: int = 1
    state: str = "measured"


@dataclass(frozen=True)
class Rescue:
    """What is sound of a damaged project.

    Attributes
    ----------
    db : sqlite3.Connection
        In memory, of the present version.
    faults : tuple of str
        What was not as it was written: "block 3: its latest numbers".
    lost : tuple of Lost
    """

    db: sqlite3.Connection
    faults: tuple[str, ...]
    lost: tuple[Lost, ...]

    def write(self, path: Path) -> None:
        """Write the sound part as a project of its own, beside the damaged one.

        Raises
        ------
        ProjectError
            If something is there already, or it cannot be written.
        """
        write_new(path, self.db.serialize())


def judge(db: sqlite3.Connection, path: Path) -> None:
    """Look whether the rows of a file without checksums make sense.

    Raises
    ------
    DamagedProjectError
        With the first that does not.
    """
    photos = {r["id"]: r["sha256"] for r in db.execute("SELECT id, sha256 FROM photo")}
    for table in ("plan", "measurement", "check_result"):
        for row in db.execute(f"SELECT * FROM {table}"):
            if not _makes_sense(table, dict(row), photos):
                raise schema.damaged(path, f"{table} {row['id']}")


def rescue(path: Path) -> Rescue:
    """Read what is sound.

    Raises
    ------
    ProjectError
        If it is no project of a known version, or nothing in it can be read.
    """
    version = opening.identify(path)
    old = _in_memory(path)
    try:
        rescuer = _Rescuer(old, version or len(schema.MIGRATIONS), path)
    finally:
        old.close()
    if not any((*rescuer.sound["block"], *rescuer.torn["block"], *rescuer.sound["measurement"])):
        raise DamagedProjectError(
            f"{path.name} is so damaged that no block in it can be read.",
            "Go back to your latest copy, or measure the photos again into a new project.",
        )
    return rescuer.all()


class _Rescuer:
    def __init__(self, old: sqlite3.Connection, version: int, path: Path) -> None:
        self.path, self.version = path, version
        self.faults: list[str] = []
        self.sound: dict[str, dict[int, Row]] = defaultdict(dict)
        self.torn: dict[str, dict[int, Row]] = defaultdict(dict)  # as far as they can be read
        due = schema.expected(schema.MIGRATIONS[:version])
        there = _attempt(old, "SELECT type, name, sql FROM sqlite_schema")
        made = {(str(r[0]), str(r[1])): r[2] for r in there}
        odd = [f"a {kind} {name} that does not belong there" for kind, name in made.keys() - due.keys()
               if not name.startswith("sqlite_stat")]  # fmt: skip
        self.faults += sorted(odd)
        old = _with_tables(old, due)
        sealed = ("table", seals.TABLE) in due
        sums = {(r[0], r[1]): r[2] for r in _attempt(old, f"SELECT * FROM {seals.TABLE}")}
        tables = [name for kind, name in due if kind == "table" and name != seals.TABLE]
        for table in tables:
            if made.get(("table", table)) != due["table", table]:
                self.faults.append(f"the making of the table {table}")
            places = {i for of, i in sums if of == table}
            for row_id, row in _rows(old, table, places).items():
                well = row and (not sealed or sums.get((table, row_id)) == seals.digest(table, row))
                if well and row:
                    self.sound[table][row_id] = dict(row)
                else:
                    self.torn[table][row_id] = _readable(row)
        photos = {i: r["sha256"] for i, r in self.sound["photo"].items()}
        for table in ("plan", "measurement", "check_result", "block_order"):
            for row_id in [i for i, r in self.sound[table].items()
                           if not _makes_sense(table, r, photos)]:  # fmt: skip
                self.torn[table][row_id] = self.sound[table].pop(row_id)

    def all(self) -> Rescue:
        self._plan()
        self._photos()
        self._blocks()
        lost = self._measurements()
        self._events()
        if self.torn["check_result"]:
            self.faults.append("a check standard's result")
        blocks = {r["block"] for r in self.sound["measurement"].values()}
        self.sound["block"] = {i: r for i, r in self.sound["block"].items() if i in blocks}
        self.sound["event"] = {i: r for i, r in self.sound["event"].items() if r["block"] in blocks}
        self._rows_and_cuts()
        db = sqlite3.connect(":memory:", isolation_level=None)
        db.row_factory = sqlite3.Row
        for statement in (s for step in schema.MIGRATIONS[: self.version] for s in step):
            db.execute(statement)
        db.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {self.version}")
        for table, rows in self.sound.items():
            for row in rows.values():
                marks = ", ".join("?" * len(row))
                names = ", ".join(row)
                db.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(row.values()))
        schema.upgrade(db, len(schema.MIGRATIONS))
        faults = self.faults or ["the file's order (each row in it is sound)"]
        return Rescue(db, tuple(dict.fromkeys(faults)), tuple(lost))

    def _plan(self) -> None:
        if not self.sound["plan"] or max(self.torn["plan"], default=0) > max(self.sound["plan"]):
            self.faults.append("the plan")
        elif self.torn["plan"]:
            self.faults.append("an earlier plan")
        if not self.sound["plan"]:
            text = records.to_json(dataclasses.asdict(Plan()))
            at = {"id": 1, "at": _now(), "software": __version__}
            self.sound["plan"][1] = {**at, "plan": text}

    def _photos(self) -> None:
        for row_id, row in self.torn["photo"].items():
            self.faults.append(f"the photo {row.get('path', row_id)}: its place and checksum")
            place, due = row.get("path"), row.get("sha256")
            if place and due and sha256_of(self.path.parent / place) == due:
                # these bytes are what was kept
                self.sound["photo"][row_id] = {"camera": None, "at": _now(), **row, "id": row_id}

    def _blocks(self) -> None:
        named = {r["block"] for t in ("measurement", "event") for r in self.sound[t].values()}
        taken = {r["name"] for r in self.sound["block"].values()}
        for row_id in set(self.torn["block"]) | (named - set(self.sound["block"])):
            name = self.torn["block"].get(row_id, {}).get("name", "")
            if not name.isprintable() or not 0 < len(name.strip()) <= 80 or name in taken:
                name = f"nameless {row_id}"
            taken.add(name)
            events = [e for _, e in sorted(self.sound["event"].items()) if e["block"] == row_id]
            told = _as_told(events)
            if self.version < KINDS_SINCE:
                del told["kind"]
            self.sound["block"][row_id] = {"id": row_id, "name": name, **told}
            self.faults.append(f"{self._called(row_id)}: its name, state or note")

    def _measurements(self) -> list[Lost]:
        """Set blocks aside whose latest measurement is not sound; return them."""
        sound, torn = self.sound["measurement"], self.torn["measurement"]
        for row_id in [
            i for i, r in sound.items() if r["photo"] not in (None, *self.sound["photo"])
        ]:
            torn[row_id] = sound.pop(row_id)
        owners = {e["measurement"]: e["block"] for e in self.sound["event"].values()}
        lost: list[Lost] = []
        for row_id, row in sorted(torn.items()):
            block = owners.get(row_id, row.get("block"))
            if block not in self.sound["block"]:
                self.faults.append(f"measurement {row_id}: the numbers and whose they are")
                continue
            later = [i for i, r in sound.items() if r["block"] == block and i > row_id]
            later += [i for i in torn if i > row_id and owners.get(i) == block]
            if later:
                self.faults.append(f"{self._called(block)}: earlier numbers")
                continue
            self.faults.append(f"{self._called(block)}: {LOST}")
            lost.append(self._lost(block, row))
            self.sound["block"][block]["state"] = records.STATES[2]
        bare = set(self.sound["block"]) - {r["block"] for r in sound.values()}
        for block in bare - {
            b for b in self.sound["block"] if self._named(b) in {x.name for x in lost}
        }:
            self.faults.append(f"{self._called(block)}: {LOST}")
            lost.append(Lost(self._named(block), None))
        return lost

    def _lost(self, block: int, row: Row) -> Lost:
        photo, state = row.get("photo"), self.sound["block"][block]["state"]
        if photo not in self.sound["photo"]:
            return Lost(self._named(block), None, state=state)
        if "block" not in row:
            return Lost(self._named(block), None, state=state)
        both = (*self.sound["measurement"].values(), *self.torn["measurement"].values())
        there = sorted({r["block"] for r in both if r.get("photo") == photo and "block" in r})
        sha256 = self.sound["photo"][photo]["sha256"]
        return Lost(self._named(block), sha256, there.index(row["block"]), len(there), state)

    def _events(self) -> None:
        for row in self.torn["event"].values():
            block = row.get("block")
            whose = self._called(block) if block in self.sound["block"] else "a block"
            self.faults.append(f"{whose}: a line of its history")
        measured = self.sound["measurement"]
        events = self.sound["event"]
        for row in events.values():
            if row["measurement"] not in measured:
                row["measurement"] = None
        told = {row["measurement"] for row in events.values()}
        last = max((*events, *self.torn["event"]), default=0)
        for row_id in sorted(set(measured) - told):
            last += 1
            words = "measured", "when is not known: the line was damaged"
            events[last] = {"id": last, "block": measured[row_id]["block"], "measurement": row_id,
                            "at": _now(), "software": __version__, "what": words[0],
                            "detail": words[1]}  # fmt: skip

    def _rows_and_cuts(self) -> None:
        """The blocks' order in the rows and the ticks; what was to be undone is not kept."""
        self.sound.pop("step", None)
        for row in self.sound["block_order"].values():
            blocks = [b for b in json.loads(row["blocks"]) if b in self.sound["block"]]
            row["blocks"] = records.to_json(blocks)
        for table, what in (("block_order", "the order in the rows"), ("tick", "a cut's tick")):
            if self.torn[table]:
                self.faults.append(what)

    def _named(self, block: int) -> str:
        return str(self.sound["block"][block]["name"])

    def _called(self, block: int) -> str:
        return f"block {self._named(block)}"


def _in_memory(path: Path) -> sqlite3.Connection:
    """The file's bytes as a database in memory; what is missing at its end is filled with zeros."""
    data = bytearray(path.read_bytes())
    page = int.from_bytes(data[16:18])  # https://www.sqlite.org/fileformat.html, 1.3
    page = 65536 if page == 1 else page
    due = max(page * int.from_bytes(data[28:32]), len(data) + -len(data) % max(page, 512))
    # no more than may have been cut off: the number of pages may be spoiled, too
    data += bytes(max(0, min(due, 4 * len(data) + 2**20, opening.MAX_BYTES) - len(data)))
    data[18:20] = b"\1\1"  # no write-ahead log in memory
    return _opened(bytes(data))


def _opened(data: bytes) -> sqlite3.Connection:
    db = sqlite3.connect(":memory:", isolation_level=None)
    db.row_factory = sqlite3.Row
    db.text_factory = schema.as_text
    db.deserialize(data)
    # what cannot be read of the tables' definitions is passed over
    # (https://www.sqlite.org/pragma.html#pragma_writable_schema)
    for pragma in ("trusted_schema = OFF", "writable_schema = ON"):
        _attempt(db, f"PRAGMA {pragma}")
    _attempt(db, "SELECT 1 FROM sqlite_schema")
    return db


def _with_tables(
    db: sqlite3.Connection, due: Mapping[tuple[str, str], str | None]
) -> sqlite3.Connection:
    """The same rows under the tables' due definitions; nothing that somebody else put there."""
    _attempt(db, "DELETE FROM sqlite_schema WHERE type != 'table' AND sql IS NOT NULL")
    for (kind, name), sql in due.items():
        if kind == "table":
            _attempt(
                db, "UPDATE sqlite_schema SET sql = ? WHERE type = 'table' AND name = ?", sql, name
            )
    return _opened(db.serialize())


def _attempt(db: sqlite3.Connection, sql: str, *values: object) -> list[sqlite3.Row]:
    """Rows up to the first that cannot be read."""
    found: list[sqlite3.Row] = []
    try:
        for row in db.execute(sql, values):
            found.append(row)
    except (sqlite3.Error, OverflowError, UnicodeDecodeError):
        pass
    return found


def _rows(db: sqlite3.Connection, table: str, known: set[int]) -> dict[int, sqlite3.Row | None]:
    """Rows by id: from the front, from the end, and one by one; None for one that is unreadable."""
    select = f"SELECT * FROM {table} NOT INDEXED"
    found: dict[int, sqlite3.Row | None] = {
        r["id"]: r
        for order in ("DESC", "ASC")
        for r in _attempt(db, f"{select} ORDER BY id {order}")
    }
    for row_id in known - set(found):
        rows = _attempt(db, f"{select} WHERE id = ?", row_id)
        found[row_id] = rows[0] if rows else None
    return dict(sorted(found.items()))


def _as_told(events: Sequence[Row]) -> Row:
    """A block's state, note, kind and whether it is removed, from its history."""
    found = {"state": "measured", "note": "", "removed": 0, "kind": ""}
    for e in events:
        what = e["what"]
        if what.startswith("trimmed"):  # "trimmed, measured again" too
            found["state"] = "trimmed"
        elif what in records.STATES and e["measurement"] is None:
            found["state"] = what
        elif what in ("note", "kind"):
            found[what] = e["detail"]
        elif what in ("removed", "restored"):
            found["removed"] = int(what == "removed")
    return found


def _readable(row: sqlite3.Row | None) -> Row:
    """What of a torn row is of the kind that its column holds."""
    numbers = ("id", "block", "photo", "measurement", "removed")
    return {
        k: v
        for k, v in (dict(row) if row else {}).items()
        if isinstance(v, int if k in numbers else str)
    }


def _makes_sense(table: str, row: Row, photos: Mapping[int, str]) -> bool:
    """Whether a row's texts can be read as what they should be."""
    try:
        if table == "plan":
            plans.plan_from(json.loads(row["plan"]))
        elif table == "measurement":
            check_kept(records.kept_of(row, photos.get(row["photo"])))
        elif table == "block_order":
            [int(block) for block in json.loads(row["blocks"])]
        else:
            [float(v) for v in json.loads(row["known_mm"])]
            [records.estimate_from(e) for e in json.loads(row["measured"])]
    except (BlockcheckError, *SPOILED):
        return False
    return True


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
