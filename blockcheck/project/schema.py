"""The file itself: tables, migrations, transactions, and SQLite's failures in words.

The journal is SQLite's rollback journal, not a write-ahead log. A project is written a few times
a minute by one person, so the log's speed is not needed; and the log does not work on network
folders, needs write access even to read, and leaves part of the data in a second file beside the
first (https://www.sqlite.org/wal.html, sections 1 and 5). With a rollback journal a project that
nobody is writing to is one whole file that can be copied. ``synchronous = EXTRA`` also writes the
folder to the disk after each transaction, so that a step once reported outlives a power cut
(https://www.sqlite.org/pragma.html#pragma_synchronous).
"""

from __future__ import annotations

import functools
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from ..errors import DamagedProjectError, ProjectError, typed
from . import seals

SUFFIX = ".blockcheck"
APPLICATION_ID = 0x626C6B63  # "blkc"
SYNCHRONOUS = "EXTRA"  # how far a step is on the disk before it counts as kept
BUSY_S = 30.0  # how long to wait for another process to finish its step

# Each entry brings a file one version further, in one transaction. Entries are never changed
# once released: a new version is a new entry.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE plan (
            id INTEGER PRIMARY KEY,
            at TEXT NOT NULL,
            software TEXT NOT NULL,
            plan TEXT NOT NULL) STRICT""",
        """CREATE TABLE photo (
            id INTEGER PRIMARY KEY,
            sha256 TEXT NOT NULL UNIQUE,
            path TEXT NOT NULL, -- from the project's folder
            camera TEXT,
            at TEXT NOT NULL) STRICT""",
        """CREATE TABLE block (
            id INTEGER PRIMARY KEY,
            name TEXT NOT NULL UNIQUE,
            state TEXT NOT NULL CHECK (state IN ('measured', 'trimmed', 'set aside')),
            note TEXT NOT NULL,
            removed INTEGER NOT NULL CHECK (removed IN (0, 1))) STRICT""",
        # points and centre line belong to a measurement: trimming moves the block's corner 0
        """CREATE TABLE measurement (
            id INTEGER PRIMARY KEY,
            block INTEGER NOT NULL REFERENCES block,
            photo INTEGER REFERENCES photo, -- none: measured with a ruler
            settings TEXT NOT NULL,
            problems TEXT NOT NULL,
            sizes TEXT NOT NULL,
            points TEXT NOT NULL,
            centre_line TEXT NOT NULL) STRICT""",
        """CREATE TABLE event (
            id INTEGER PRIMARY KEY,
            block INTEGER NOT NULL REFERENCES block,
            measurement INTEGER UNIQUE REFERENCES measurement,
            at TEXT NOT NULL,
            software TEXT NOT NULL,
            what TEXT NOT NULL,
            detail TEXT NOT NULL) STRICT""",
        """CREATE TABLE check_result (
            id INTEGER PRIMARY KEY,
            at TEXT NOT NULL,
            software TEXT NOT NULL,
            known_mm TEXT NOT NULL,
            measured TEXT NOT NULL,
            verdict TEXT NOT NULL,
            path TEXT,
            sha256 TEXT) STRICT""",
        "CREATE INDEX measurement_of_block ON measurement (block)",
        "CREATE INDEX measurement_of_photo ON measurement (photo)",
        "CREATE INDEX event_of_block ON event (block)",
    ),
    (
        """CREATE TABLE block_order ( -- as laid into the rows
            id INTEGER PRIMARY KEY,
            at TEXT NOT NULL,
            software TEXT NOT NULL,
            blocks TEXT NOT NULL) STRICT""",
        """CREATE TABLE tick ( -- cuts that are done, each by its own words
            id INTEGER PRIMARY KEY,
            at TEXT NOT NULL,
            software TEXT NOT NULL,
            what TEXT NOT NULL UNIQUE) STRICT""",
        """CREATE TABLE step ( -- for undo and redo
            id INTEGER PRIMARY KEY,
            at TEXT NOT NULL,
            software TEXT NOT NULL,
            what TEXT NOT NULL,
            before TEXT NOT NULL,
            after TEXT NOT NULL,
            undone INTEGER NOT NULL CHECK (undone IN (0, 1))) STRICT""",
    ),
    (
        f"""CREATE TABLE {seals.TABLE} (
            of TEXT NOT NULL,
            row INTEGER NOT NULL,
            sum TEXT NOT NULL,
            PRIMARY KEY (of, row)) STRICT, WITHOUT ROWID""",
    ),
    (
        # which kind of block; empty for the plan's first one
        "ALTER TABLE block ADD COLUMN kind TEXT NOT NULL DEFAULT ''",
    ),
)

SAID = {
    sqlite3.SQLITE_BUSY: (
        "Another program has been writing to {name} for longer than half a minute.",
        "Close it, or wait until it has finished, then do this step again.",
    ),
    sqlite3.SQLITE_FULL: (
        "The disk is full: this step was not kept in {name}; everything before it is.",
        "Make room on the disk, then do this step again.",
    ),
    sqlite3.SQLITE_READONLY: (
        "{name} cannot be written to.",
        "Copy it into a folder of your own and use the copy, or take the write protection off.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "{name} cannot be opened.",
        "Check the name, that its folder exists, and that you may write there.",
    ),
    sqlite3.SQLITE_NOTADB: (
        "{name} is not a blockcheck project.",
        "Name a project file, or make one with: blockcheck new",
    ),
    sqlite3.SQLITE_IOERR: (
        "The disk failed while {name} was being read or written.",
        "Check the disk, stick or network folder, then do this step again.",
    ),
}


def locate(path: str | Path) -> Path:
    """The project's file: `path`, or with the suffix added where there is no such file.

    Raises
    ------
    ProjectError
        If the path has no name, as "." has none.
    """
    path = Path(path)
    if not path.name:  # "." or "/"
        raise ProjectError(f"{path} is a folder, not a project.", "Name the project file in it.")
    return path if path.is_file() or path.suffix == SUFFIX else path.with_name(path.name + SUFFIX)


def damaged(path: Path, *what: str) -> DamagedProjectError:
    """The failure of a file that is not as it was written; what: which parts are not."""
    parts = f": {', '.join(what[:8])}{', …' * (len(what) > 8)}" if what else ""
    return DamagedProjectError(
        f"{path.name} is damaged: it is not as it was written{parts}.",
        f"See what is sound in it, and mend it: {typed('check', path)}",
    )


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Turn SQLite's failures into `ProjectError`."""
    try:
        yield
    except sqlite3.Error as e:
        code = getattr(e, "sqlite_errorcode", 0) & 0xFF  # the primary code of an extended one
        if code == sqlite3.SQLITE_CORRUPT:
            raise damaged(path) from e
        message, hint = SAID.get(code, (f"{{name}} cannot be used ({type(e).__name__}).", str(e)))
        raise ProjectError(message.format(name=path.name), hint) from e
    except UnicodeDecodeError as e:  # in SQLite's own message: a definition is torn
        raise damaged(path) from e


@contextmanager
def transaction(db: sqlite3.Connection, path: Path, how: str = "IMMEDIATE") -> Iterator[None]:
    """All that is done inside, or nothing of it; how: IMMEDIATE to write, DEFERRED to read."""
    with in_words(path):
        db.execute(f"BEGIN {how}")
        try:
            yield
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:  # after some failures SQLite has already gone back
                db.execute("ROLLBACK")
            raise


def insert(db: sqlite3.Connection, table: str, *values: object) -> int:
    """Insert a row of all columns but the id, with its checksum; return the id."""
    marks = ", ".join("?" * len(values))
    row = int(db.execute(f"INSERT INTO {table} VALUES (NULL, {marks})", values).lastrowid or 0)
    seals.seal(db, table, row)
    return row


def change(db: sqlite3.Connection, table: str, row: int, /, **columns: object) -> None:
    """Change columns of a row, and its checksum with them."""
    for column, value in columns.items():
        db.execute(f"UPDATE {table} SET {column} = ? WHERE id = ?", (value, row))
    seals.seal(db, table, row)


def delete(db: sqlite3.Connection, table: str, row: int) -> None:
    """Take a row out, and its checksum."""
    db.execute(f"DELETE FROM {table} WHERE id = ?", (row,))
    db.execute(f"DELETE FROM {seals.TABLE} WHERE of = ? AND row = ?", (table, row))


def clear(db: sqlite3.Connection, table: str) -> None:
    """Take all rows out of a table, and their checksums."""
    db.execute(f"DELETE FROM {table}")
    db.execute(f"DELETE FROM {seals.TABLE} WHERE of = ?", (table,))


def objects(db: sqlite3.Connection) -> dict[tuple[str, str], str | None]:
    """Tables, indices, views and triggers, by kind and name, with the text that made them."""
    found = db.execute("SELECT type, name, sql FROM sqlite_schema")
    named = ((str(kind), str(name), sql) for kind, name, sql in found)  # bytes, if it is spoiled
    return {(kind, name): sql for kind, name, sql in named if not name.startswith("sqlite_stat")}


@functools.cache
def expected(
    migrations: tuple[tuple[str, ...], ...],
) -> dict[tuple[str, str], str | None]:
    """What `objects` gives for a file that these migrations made."""
    with closing(sqlite3.connect(":memory:")) as db:
        for statement in (s for step in migrations for s in step):
            db.execute(statement)
        return objects(db)


def upgrade(db: sqlite3.Connection, version: int) -> int:
    """Bring a sound file to a version, and note its rows' checksums anew."""
    for statements in MIGRATIONS[number(db, "user_version") : version]:
        for statement in statements:
            db.execute(statement)
    db.execute(f"PRAGMA user_version = {version}")
    if ("table", seals.TABLE) in objects(db):
        seals.seal_all(db)
    return version


def as_text(stored: bytes) -> str:
    """Text as SQLite stores it; what is none any more is found by the checksum."""
    return stored.decode("utf-8", "replace")


def number(db: sqlite3.Connection, pragma: str) -> int:
    """What a pragma says, where that is a number."""
    return int(db.execute(f"PRAGMA {pragma}").fetchone()[0])
