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

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..errors import ProjectError

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
)

_SAID = {
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
    sqlite3.SQLITE_CORRUPT: (
        "{name} is damaged.",
        "Go back to your latest copy; keep this file too, much of it can often be read.",
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


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Turn SQLite's failures into `ProjectError`."""
    try:
        yield
    except sqlite3.Error as e:
        code = getattr(e, "sqlite_errorcode", 0) & 0xFF  # the primary code of an extended one
        message, hint = _SAID.get(code, (f"{{name}} cannot be used ({type(e).__name__}).", str(e)))
        raise ProjectError(message.format(name=path.name), hint) from e


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
    """Insert a row of all columns but the id; return the id."""
    marks = ", ".join("?" * len(values))
    done = db.execute(f"INSERT INTO {table} VALUES (NULL, {marks})", values)
    return int(done.lastrowid or 0)


def create(path: Path) -> sqlite3.Connection:
    """Open a new file inside the transaction that makes its tables; the caller commits it.

    Raises
    ------
    ProjectError
        If something is there already: no file is ever overwritten.
    """
    taken = ProjectError(f"{path.name} is there already.", "Choose another name.")
    if path.exists() and (not path.is_file() or path.stat().st_size):  # empty: was cut off
        raise taken
    db = _connect(path, "rwc")
    try:
        with in_words(path):
            db.execute("BEGIN IMMEDIATE")
            if _number(db, "application_id"):  # another process was faster
                raise taken
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            _upgrade(db, len(MIGRATIONS))
    except BaseException:
        db.close()
        raise
    return db


def connect(path: Path) -> sqlite3.Connection:
    """Open a project and bring an older file up to date.

    Raises
    ------
    ProjectError
        If the file is missing, no project, of a newer program, or cannot be read.
    """
    if not path.is_file():
        raise ProjectError(f"There is no project {path}.", "Make one with: blockcheck new")
    if path.stat().st_size == 0:
        raise ProjectError(
            f"{path.name} is empty: the making of it was cut off.",
            "Make it again with: blockcheck new",
        )
    db = _connect(path, "rw")
    try:
        with in_words(path):
            if _number(db, "application_id") != APPLICATION_ID:
                message, hint = _SAID[sqlite3.SQLITE_NOTADB]
                raise ProjectError(message.format(name=path.name), hint)
            version = _number(db, "user_version")
            if version > len(MIGRATIONS):
                raise ProjectError(
                    f"{path.name} was made by a newer blockcheck (file version {version}; this "
                    f"program knows {len(MIGRATIONS)}). Nothing in it was touched.",
                    "Install the newer blockcheck.",
                )
        while version < len(MIGRATIONS):
            with transaction(db, path):
                version = _number(db, "user_version")  # another process may have been faster
                if version < len(MIGRATIONS):
                    version = _upgrade(db, version + 1)
    except BaseException:
        db.close()
        raise
    return db


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    with in_words(path):
        db = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode={mode}",
            uri=True,
            timeout=BUSY_S,
            isolation_level=None,  # transactions are begun by hand
        )
        db.row_factory = sqlite3.Row
        try:
            db.execute("PRAGMA foreign_keys = ON")
            db.execute("PRAGMA journal_mode = DELETE")
            db.execute(f"PRAGMA synchronous = {SYNCHRONOUS}")
        except sqlite3.Error:
            db.close()
            raise
        return db


def _number(db: sqlite3.Connection, pragma: str) -> int:
    return int(db.execute(f"PRAGMA {pragma}").fetchone()[0])


def _upgrade(db: sqlite3.Connection, version: int) -> int:
    for statements in MIGRATIONS[_number(db, "user_version") : version]:
        for statement in statements:
            db.execute(statement)
    db.execute(f"PRAGMA user_version = {version}")
    return version
