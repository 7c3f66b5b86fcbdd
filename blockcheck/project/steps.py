"""Undo and redo: each writing step is kept as what it changed, before and after.

The file's rows are never taken back. Undoing appends: a copy of the earlier measurement, a copy of
the earlier plan. So every measurement stays in the block's history, and the latest one counts.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ..errors import ProjectError
from .schema import change, delete, insert

State = dict[str, Any]  # "plan", "order" and "block ID", each with what undoing needs
_BLOCK = ("name", "state", "note", "removed")
_MARKS = ("points", "centre_line")
_LATER = ("kind",)  # came with file version 4: not in steps that are older


@dataclass(frozen=True)
class Undoable:
    """What the next undo or redo would do: a few words each, or None."""

    undo: str | None
    redo: str | None


def state(db: sqlite3.Connection) -> State:
    """All that a step can change."""
    found: State = {
        f"block {row['id']}": [row[c] for c in (*_BLOCK, "measurement", *_MARKS, *_LATER)]
        for row in db.execute(
            "SELECT b.*, m.id AS measurement, m.points, m.centre_line FROM block b JOIN "
            "measurement m ON m.id = (SELECT max(id) FROM measurement WHERE block = b.id)"
        )
    }
    for key, table in (("plan", "plan"), ("order", "block_order")):
        found[key] = db.execute(f"SELECT max(id) FROM {table}").fetchone()[0]
    return found


def keep(db: sqlite3.Connection, before: State, first_event: int, now: tuple[str, str]) -> None:
    """Write the step that led from `before` to how the file is now, if it changed anything."""
    after = state(db)
    keys = [key for key in after if after[key] != before.get(key)]
    if not keys:
        return
    for row in db.execute("SELECT id, before FROM step WHERE undone").fetchall():
        if set(json.loads(row["before"])) & set(keys):  # what was undone cannot be redone any more
            delete(db, "step", row["id"])
    events = db.execute(
        "SELECT b.name, e.what FROM event e JOIN block b ON b.id = e.block WHERE e.id > ? "
        "ORDER BY e.id",
        (first_event,),
    ).fetchall()
    if events:
        names = list(dict.fromkeys(row["name"] for row in events))
        what = f"{events[0]['what']} ({', '.join(names[:3])}{', …' if len(names) > 3 else ''})"
    else:
        what = "order of the blocks" if "order" in keys else "plan"
    texts = [
        json.dumps({key: side.get(key) for key in keys}, ensure_ascii=False)
        for side in (before, after)
    ]
    insert(db, "step", *now, what, *texts, 0)


def next_steps(db: sqlite3.Connection, key: str | None) -> Undoable:
    """What can be undone and redone, of all or of what touches `key`."""
    found = [_step(db, key, undone) for undone in (False, True)]
    undo, redo = (None if row is None else str(row["what"]) for row in found)
    return Undoable(undo, redo)


def move(
    db: sqlite3.Connection,
    key: str | None,
    back: bool,
    now: tuple[str, str],
    event: Callable[[int, str, str, int | None], None],
) -> str:
    """Undo the latest step (`back`), or redo the one undone last; returns what it was."""
    row = _step(db, key, undone=not back)
    if row is None:
        raise ProjectError(f"There is nothing to {'undo' if back else 'redo'}.")
    target: State = json.loads(row["before" if back else "after"])
    verb = "undone" if back else "redone"
    for name, value in target.items():
        if name in ("plan", "order"):
            _again(db, {"plan": "plan", "order": "block_order"}[name], value, now)
            continue
        block = int(name.removeprefix("block "))
        measurement = _set_block(db, block, value)
        event(block, f"{verb}: {str(row['what']).partition(' (')[0]}", "", measurement)
    change(db, "step", row["id"], undone=int(back))
    return str(row["what"])


def _step(db: sqlite3.Connection, key: str | None, undone: bool) -> sqlite3.Row | None:
    where, values = "", []
    if key is not None:
        where, values = "AND instr(before, ?)", [f'"{key}":']
    row: sqlite3.Row | None = db.execute(
        f"SELECT * FROM step WHERE undone = ? {where} ORDER BY id {'ASC' if undone else 'DESC'} "
        "LIMIT 1",
        (int(undone), *values),
    ).fetchone()
    return row


def _again(db: sqlite3.Connection, table: str, row: int | None, now: tuple[str, str]) -> None:
    """Append an earlier plan or order, with the time of now."""
    column = {"plan": "plan", "block_order": "blocks"}[table]
    text = "[]"
    if row is not None:
        text = db.execute(f"SELECT {column} FROM {table} WHERE id = ?", (row,)).fetchone()[0]
    insert(db, table, *now, text)


def _set_block(db: sqlite3.Connection, block: int, value: list[Any] | None) -> int | None:
    """Bring a block to how it was; returns the copy of its measurement, if one was needed."""
    if value is None:  # it was not there
        change(db, "block", block, removed=1)
        return None
    name, *_ = value
    if db.execute("SELECT 1 FROM block WHERE name = ? AND id != ?", (name, block)).fetchone():
        raise ProjectError(
            f"Another block is called {name} now, so this cannot be undone.",
            "Give that block another name first.",
        )
    change(db, "block", block, **dict(zip(_BLOCK, value, strict=False)))
    measurement, *marks = value[len(_BLOCK) :]
    change(db, "block", block, **dict(zip(_LATER, marks[len(_MARKS) :], strict=False)))
    marks = marks[: len(_MARKS)]
    latest = db.execute("SELECT max(id) FROM measurement WHERE block = ?", (block,)).fetchone()[0]
    if measurement == latest:
        change(db, "measurement", latest, **dict(zip(_MARKS, marks, strict=True)))
        return None
    row = db.execute("SELECT * FROM measurement WHERE id = ?", (measurement,)).fetchone()
    values = {c: row[c] for c in row.keys() if c != "id"}  # noqa: SIM118 (a Row is no mapping)
    return insert(db, "measurement", *{**values, **dict(zip(_MARKS, marks, strict=True))}.values())
