"""A checksum for every row, so that what is not as it was written is told.

SQLite keeps no checksum of what it stores: a bit that turns over on a stick or in a cloud folder
comes back as another number (https://www.sqlite.org/howtocorrupt.html, section 4). So a digest of
each row's columns and values lies in the table ``seal``, apart from the row: the two are lost or
changed together by no one fault. It is no signature: who means to deceive can write both.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Collection

TABLE = "seal"
Place = tuple[str, int]  # a table's name and a row's id in it


def tables(db: sqlite3.Connection) -> list[str]:
    """Names of the tables whose rows are sealed."""
    found = db.execute(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name != ? "
        "AND name NOT LIKE 'sqlite~_%' ESCAPE '~' ORDER BY name",
        (TABLE,),
    )
    return [row[0] for row in found]


def digest(table: str, row: sqlite3.Row) -> str:
    """The checksum of a row: BLAKE2b (RFC 7693), 16 bytes, of its columns' names and values."""
    # no row is written with bytes in it, but one that is spoiled may have some
    text = json.dumps([table, dict(row)], sort_keys=True, default=repr)
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def seal(db: sqlite3.Connection, table: str, row: int) -> None:
    """Note the checksum of a row as it stands now."""
    found = db.execute(f"SELECT * FROM {table} WHERE id = ?", (row,)).fetchone()
    db.execute(
        f"INSERT OR REPLACE INTO {TABLE} VALUES (?, ?, ?)", (table, row, digest(table, found))
    )


def seal_all(db: sqlite3.Connection) -> None:
    """Note the checksum of every row: after a migration, of rows that were sound before it."""
    db.execute(f"DELETE FROM {TABLE}")
    for table in tables(db):
        for row in db.execute(f"SELECT id FROM {table}").fetchall():
            seal(db, table, row["id"])


def noted(db: sqlite3.Connection) -> dict[Place, str]:
    """The checksums as they were noted."""
    return {(r[0], r[1]): r[2] for r in db.execute(f"SELECT * FROM {TABLE}")}


def broken(db: sqlite3.Connection) -> Collection[Place]:
    """Rows that are not as they were written, that are missing, or that nobody noted."""
    sums = noted(db)
    wrong = set(sums)
    for table in tables(db):
        for row in db.execute(f"SELECT * FROM {table} NOT INDEXED"):
            place = (table, row["id"])
            if sums.get(place) == digest(table, row):
                wrong.discard(place)
            else:
                wrong.add(place)
    return wrong
