"""A project's file opened: whose it is, whether it is as it was written, and of which version.

A file is looked through when it is opened: its tables are compared with what its version should
have, SQLite's own check is run, and every row is compared with its checksum (`seals`). Views and
triggers that somebody else put there never run: they end the opening, and until then
``trusted_schema`` is off (https://www.sqlite.org/security.html, section 1.2).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from ..errors import ProjectError
from . import schema, seals

MAX_BYTES = 1 << 30  # 400 blocks take 2 MB
MAGIC = b"SQLite format 3\0"  # https://www.sqlite.org/fileformat.html, 1.3: the file's header


def create(path: Path) -> sqlite3.Connection:
    """Open a new file inside the transaction that makes its tables; the caller commits it.

    Raises
    ------
    ProjectError
        If something is there already: no file is ever overwritten.
    """
    taken = ProjectError(f"{path.name} already exists.", "Choose another name.")
    if path.exists() and (not path.is_file() or path.stat().st_size):  # empty: was cut off
        raise taken
    db = _connect(path, "rwc")
    try:
        with schema.in_words(path):
            db.execute("BEGIN IMMEDIATE")
            if schema.number(db, "application_id"):  # another process was faster
                raise taken
            db.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
            schema.upgrade(db, len(schema.MIGRATIONS))
    except BaseException:
        db.close()
        raise
    return db


def connect(path: Path, judge: Callable[[sqlite3.Connection], None]) -> sqlite3.Connection:
    """Open a project, look whether it is as it was written, and bring an older file up to date.

    Parameters
    ----------
    path : Path
    judge : callable
        Raises `DamagedProjectError` for rows that make no sense, where a file of the first version
        holds no checksums yet.

    Raises
    ------
    DamagedProjectError
        If it is not as it was written.
    ProjectError
        If the file is missing, no project, of a newer program, or cannot be read.
    """
    identify(path)
    db = _connect(path, "rw")
    try:
        with schema.transaction(db, path, "DEFERRED"):
            version = _judged(db, path, judge)
        with schema.in_words(path):  # whatever another program made of it
            db.execute("PRAGMA journal_mode = DELETE")
        while version < len(schema.MIGRATIONS):
            with schema.transaction(db, path):
                version = _judged(db, path, judge)  # another process may have been faster
                if version < len(schema.MIGRATIONS):
                    version = schema.upgrade(db, version + 1)
    except BaseException:
        db.close()
        raise
    return db


def identify(path: Path) -> int:
    """The version of a project's file, from its first bytes alone: a stranger's is not touched.

    Raises
    ------
    ProjectError
        If the file is missing, no project, too large for one, or of a newer program.
    """
    if not path.exists():
        raise ProjectError(f"There is no project {path}.", "Make one with: blockcheck new")
    message, hint = schema.SAID[sqlite3.SQLITE_NOTADB]
    foreign = ProjectError(message.format(name=path.name), hint)
    if not path.is_file():
        raise foreign
    size = path.stat().st_size
    if size == 0:
        raise _empty(path)
    if size > MAX_BYTES:
        raise ProjectError(
            f"{path.name} is far too large for a project ({size / 1e9:.1f} GB).", hint
        )
    try:
        with path.open("rb") as file:
            head = file.read(100)
    except OSError as e:
        raise ProjectError(f"{path} cannot be read ({e.strerror}).", "Check its name.") from e
    cut_off = not any(head) and path.with_name(path.name + "-journal").exists()
    if cut_off:  # in the making: the journal brings back the empty file
        return 0
    if head[:16] != MAGIC or int.from_bytes(head[68:72]) != schema.APPLICATION_ID:
        raise foreign
    version = int.from_bytes(head[60:64])
    if version > len(schema.MIGRATIONS):
        raise ProjectError(
            f"{path.name} was made by a newer blockcheck (file version {version}; this "
            f"program knows {len(schema.MIGRATIONS)}). Nothing in it was touched.",
            "Install the newer blockcheck.",
        )
    return version


def _judged(db: sqlite3.Connection, path: Path, judge: Callable[[sqlite3.Connection], None]) -> int:
    """The version of an open file, after looking through it."""
    version = schema.number(db, "user_version")
    if path.stat().st_size == 0:  # reading brought back what the journal of a cut-off making held
        raise _empty(path)
    there, due = schema.objects(db), schema.expected(schema.MIGRATIONS[:version])
    odd = [f"the {kind} {name}" for kind, name in there.keys() ^ due.keys()]
    odd += [f"the {kind} {name}" for (kind, name), sql in due.items()
            if (kind, name) in there and there[kind, name] != sql]  # fmt: skip
    if odd or schema.number(db, "application_id") != schema.APPLICATION_ID:
        raise schema.damaged(path, *sorted(odd))
    if db.execute("PRAGMA integrity_check(1)").fetchone()[0] != "ok":
        raise schema.damaged(path)
    if db.execute("PRAGMA foreign_key_check").fetchone():
        raise schema.damaged(path)
    if ("table", seals.TABLE) not in due:
        judge(db)
    elif seals.broken(db):
        raise schema.damaged(path)
    if not db.execute("SELECT 1 FROM plan").fetchone():
        raise schema.damaged(path, "it has no plan")
    if db.execute("SELECT 1 FROM block WHERE id NOT IN (SELECT block FROM measurement)").fetchone():
        raise schema.damaged(path)
    return version


def _empty(path: Path) -> ProjectError:
    return ProjectError(
        f"{path.name} is empty: making it was interrupted.",
        "Make it again with: blockcheck new",
    )


def _connect(path: Path, mode: str) -> sqlite3.Connection:
    with schema.in_words(path):
        db = sqlite3.connect(
            f"{path.absolute().as_uri()}?mode={mode}",
            uri=True,
            timeout=schema.BUSY_S,
            isolation_level=None,  # transactions are begun by hand
        )
        db.row_factory = sqlite3.Row
        db.text_factory = schema.as_text
        try:
            db.execute("PRAGMA trusted_schema = OFF")
            db.execute("PRAGMA cell_size_check = ON")
            db.execute("PRAGMA foreign_keys = ON")
            db.execute(f"PRAGMA synchronous = {schema.SYNCHRONOUS}")
        except sqlite3.Error:
            db.close()
            raise
        return db
