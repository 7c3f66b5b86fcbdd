"""What can be asked of a project's file."""

from __future__ import annotations

import itertools
import json
import os
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from ..errors import DamagedProjectError, ProjectError, typed
from ..planning.plan import BlockRecord, Plan
from . import exchange, opening, plans, records, schema, steps
from .combining import Reading, record_of
from .records import Check, Event, Kept, PhotoFile
from .rescue import Rescue, judge, rescue
from .steps import Undoable

_PHOTO = "LEFT JOIN photo p ON p.id = m.photo"


class ProjectReader:
    """An open project file, read only by these methods; `Project` adds those that write."""

    def __init__(self, db: sqlite3.Connection, path: Path) -> None:
        self._db = db
        self.path = path

    @classmethod
    def open(cls, path: str | Path) -> Self:
        """Open a project; the suffix may be left out.

        Raises
        ------
        ProjectError
            If the file is missing, no project, made by a newer program, or cannot be read.
        DamagedProjectError
            If it is not as it was written; `rescued` reads what is sound of it.
        """
        path = schema.locate(path)
        try:
            return cls(opening.connect(path, lambda db: judge(db, path)), path)
        except DamagedProjectError as e:
            with closing((found := rescue(path)).db):
                raise schema.damaged(path, *found.faults) from e

    @classmethod
    def rescued(cls, path: str | Path) -> tuple[ProjectReader, Rescue]:
        """What is sound of a damaged project, apart from the file, and what is not.

        Raises
        ------
        ProjectError
            As of `open`, or if nothing in it can be read.
        """
        path = schema.locate(path)
        found = rescue(path)
        return ProjectReader(found.db, path), found

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()

    @property
    def plan(self) -> Plan:
        """The plan as it stands; earlier ones stay in the file."""
        row = self._rows("SELECT plan FROM plan ORDER BY id DESC LIMIT 1")[0]
        return plans.plan_from(json.loads(row["plan"]))

    def blocks(self) -> tuple[BlockRecord, ...]:
        """What is known of every block that is not removed, in the order of the rows.

        Its readings are combined (`combining.record_of`). That is the order of adding unless
        another was set.
        """
        rows = self._rows(
            "SELECT b.id AS of, b.name, b.state, b.note, b.kind, m.*, p.sha256, e.id AS event, e.what "
            f"FROM block b JOIN measurement m ON m.block = b.id {_PHOTO} "
            "LEFT JOIN event e ON e.measurement = m.id WHERE NOT b.removed ORDER BY b.id, m.id"
        )
        trimmed = {
            r["block"]: int(r["last"])
            for r in self._rows(
                "SELECT block, max(id) AS last FROM event WHERE what = 'trimmed' GROUP BY block"
            )
        }
        found = []
        for block, some in itertools.groupby(rows, key=lambda row: int(row["of"])):
            group = list(some)
            readings = [Reading(_kept(r), r["what"] or "", r["event"] or 0) for r in group]
            one = group[0]
            at = trimmed.get(block)
            record = record_of(one["name"], one["state"], one["note"], readings, at)
            found.append((block, replace(record, kind=one["kind"])))
        place = {block: i for i, block in enumerate(self._order())}
        found.sort(key=lambda pair: place.get(pair[0], len(place)))
        return tuple(record for _, record in found)

    def ticks(self) -> frozenset[str]:
        """The cuts that are ticked off, each by its words."""
        return frozenset(r["what"] for r in self._rows("SELECT what FROM tick"))

    def undoable(self, of: str | None = None) -> Undoable:
        """What the next undo and redo would do: of all, or "plan", "order" or a block's name."""
        key = self._key(of)
        with schema.in_words(self.path):
            return steps.next_steps(self._db, key)

    def latest(self, name: str) -> Kept:
        """A block's latest measurement with everything that was kept of it."""
        return _kept(self._latest(self._block_id(name)))

    def history(self, name: str) -> tuple[Event, ...]:
        """All that was done with a block, removed or not, the oldest first."""
        rows = self._rows(
            "SELECT m.*, p.sha256, e.at, e.software, e.what, e.detail FROM event e "
            f"LEFT JOIN measurement m ON m.id = e.measurement {_PHOTO} "
            "WHERE e.block = ? ORDER BY e.id",
            self._block_id(name, removed=True),
        )
        return tuple(
            Event(r["at"], r["software"], r["what"], r["detail"], _kept(r) if r["sizes"] else None)
            for r in rows
        )

    def removed(self) -> tuple[str, ...]:
        """Names of the removed blocks."""
        rows = self._rows("SELECT name FROM block WHERE removed ORDER BY id")
        return tuple(r["name"] for r in rows)

    def names_in(self, sha256: str) -> tuple[str, ...]:
        """Names of the blocks, removed ones too, that were measured in a photo; none if unknown.

        By itself, or among several together.
        """
        rows = self._rows(
            "SELECT DISTINCT b.id, b.name FROM block b JOIN measurement m ON m.block = b.id "
            "JOIN photo p ON p.id = m.photo WHERE p.sha256 = ? "
            f"OR ? IN (SELECT value FROM json_each(m.settings, '$.{records.TOGETHER}')) "
            "ORDER BY b.id",
            sha256,
            sha256,
        )
        return tuple(row["name"] for row in rows)

    def photo(self, name: str) -> PhotoFile | None:
        """The photo of a block's latest measurement by photo; None where a ruler measured it."""
        rows = self._rows(
            "SELECT photo FROM measurement WHERE block = ? AND photo IS NOT NULL "
            "ORDER BY id DESC LIMIT 1",
            self._block_id(name, removed=True),
        )
        return self._photos("WHERE id = ?", rows[0]["photo"])[0] if rows else None

    def latest_photos(self) -> dict[str, str]:
        """The sha256 of each block's latest photo, by the block's name; those that have one."""
        rows = self._rows(
            "SELECT b.name, p.sha256 FROM block b JOIN measurement m ON m.id = (SELECT max(id) "
            "FROM measurement WHERE block = b.id AND photo IS NOT NULL) "
            "JOIN photo p ON p.id = m.photo"
        )
        return {row["name"]: row["sha256"] for row in rows}

    def photos(self) -> tuple[PhotoFile, ...]:
        """All photos, in the order of adding."""
        return self._photos("ORDER BY id")

    def checks(self) -> tuple[Check, ...]:
        """The check standards' measurements, the oldest first."""
        return tuple(
            Check(
                r["at"],
                r["software"],
                tuple(json.loads(r["known_mm"])),
                tuple(records.estimate_from(e) for e in json.loads(r["measured"])),
                r["verdict"],
                None if r["path"] is None else self._place(r["path"]),
                r["sha256"],
            )
            for r in self._rows("SELECT * FROM check_result ORDER BY id")
        )

    def export_csv(self, path: str | Path) -> None:
        """Write the blocks' latest sizes as a table, in the plan's unit."""
        exchange.write_csv(Path(path), self.blocks(), self.plan.unit)

    def export_json(self, path: str | Path) -> None:
        """Write everything that the file holds; photos as places from the JSON's folder."""
        with schema.transaction(self._db, self.path, "DEFERRED"):  # one moment's state
            whole = exchange.dump(self._db, self.path.parent, Path(path).parent)
        exchange.write_text(Path(path), json.dumps(whole, ensure_ascii=False, indent=1) + "\n")

    def _rows(self, sql: str, *values: Any) -> list[sqlite3.Row]:
        with schema.in_words(self.path):
            return self._db.execute(sql, values).fetchall()

    def _block_id(self, name: str, removed: bool = False) -> int:
        rows = self._rows(
            "SELECT id, removed FROM block WHERE name = ?", records.as_text(name, "name")
        )
        if not rows:
            raise ProjectError(
                f"There is no block {name} in {self.path.name}.",
                f"To see the names: {typed('list', self.path)}",
            )
        if rows[0]["removed"] and not removed:
            raise ProjectError(
                f"Block {name} was removed.",
                f"To bring it back: {typed('restore', self.path, name)}",
            )
        return int(rows[0]["id"])

    def _key(self, of: str | None) -> str | None:
        """The key of `steps.State` for what a person names."""
        plain = of is None or of in ("plan", "order")
        return of if plain else f"block {self._block_id(str(of), removed=True)}"

    def _order(self) -> list[int]:
        rows = self._rows("SELECT blocks FROM block_order ORDER BY id DESC LIMIT 1")
        return [int(block) for row in rows for block in json.loads(row["blocks"])]

    def _latest(self, block: int) -> sqlite3.Row:
        row: sqlite3.Row = self._rows(
            f"SELECT m.*, p.sha256 FROM measurement m {_PHOTO} WHERE m.block = ? "
            "ORDER BY m.id DESC LIMIT 1",
            block,
        )[0]
        return row

    def _photos(self, where: str, *values: Any) -> tuple[PhotoFile, ...]:
        return tuple(
            PhotoFile(
                place := self._place(r["path"]),
                r["sha256"],
                r["camera"],
                r["at"],
                not place.is_file(),
            )
            for r in self._rows(f"SELECT * FROM photo {where}", *values)
        )

    def _place(self, relative: str) -> Path:
        return Path(os.path.normpath(self.path.parent / relative))


def _kept(row: sqlite3.Row) -> Kept:
    return records.kept_of(row, row["sha256"])  # type: ignore[arg-type]
