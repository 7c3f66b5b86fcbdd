"""Projects in and out of other programs: CSV of sizes, JSON of everything."""

from __future__ import annotations

import csv
import io
import json
import math
import os
import re
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from ..errors import BlockcheckError, ExchangeError, LengthError
from ..files import MAX_TEXT, read_whole, write_whole
from ..planning.plan import BlockRecord
from ..uncertainty import Estimate, Term
from ..units import INCH, MM_PER, parse_length
from . import judging, plans, records
from .records import to_json
from .schema import insert

SCHEMA = "blockcheck/project-1"
COLUMNS = ("name", "width", "height", "unit")
# a ruler is read to its nearest mark: a rectangular distribution as wide as the marks lie apart,
# u = marks / √12 (JCGM 100:2008, F.2.2.1; the half-width over √3 of 4.3.7)
READING_U = {"in": INCH / 16 / math.sqrt(12), "cm": 1 / math.sqrt(12), "mm": 1 / math.sqrt(12)}
MIN_MM, MAX_MM = 10.0, 2500.0  # of a block's side: what lies outside was written in another unit

_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
MAX_ROWS = 10_000

SPOILED = (  # what reading a spoiled export raises
    ArithmeticError,
    AttributeError,
    LookupError,
    TypeError,
    ValueError,
    sqlite3.IntegrityError,
    sqlite3.InterfaceError,
    sqlite3.ProgrammingError,
)


def ruler(mm: float, unit: str) -> Estimate:
    """A length read from a ruler with marks every 1/16 in (unit "in") or 1 mm ("cm", "mm")."""
    return Estimate(mm, (Term("ruler reading", READING_U[unit]),))


def read_csv(path: Path, unit: str) -> list[tuple[str, Estimate, Estimate]]:
    """Read sizes measured with a ruler.

    Parameters
    ----------
    path : Path
        A table with the columns name, width, height and, if wanted, unit (in, cm or mm);
        separated by commas, semicolons or tabs. Lengths as of `parse_length`, or with a decimal
        comma where the cell holds it alone.
    unit : str
        Unit of rows that name none.

    Raises
    ------
    ExchangeError
        With the line that cannot be used.
    """
    text = _read(path)
    first, _, rest = text.partition("\n")
    separator = re.fullmatch(r"sep=(.)\s*", first)  # as some spreadsheets begin a table
    text = rest if separator else text
    header = text.partition("\n")[0]
    between = separator[1] if separator else max(",;\t", key=header.count)
    table = csv.DictReader(io.StringIO(text), delimiter=between)
    try:
        table.fieldnames = [(c or "").strip().lower() for c in table.fieldnames or ()]
        rows = [(table.line_num, row) for row in table]
    except csv.Error as e:
        raise ExchangeError(
            f"{path.name}, line {table.line_num}: this is not a table ({e}).",
            "Save it as CSV UTF-8.",
        ) from e
    if len(rows) > MAX_ROWS:
        raise ExchangeError(
            f"{path.name} has {len(rows)} lines, more than any quilt has blocks.",
            f"Take the blocks alone, {MAX_ROWS} at most.",
        )
    twice = {c for c in COLUMNS if table.fieldnames.count(c) > 1}
    if twice:
        raise ExchangeError(
            f"{path.name} has the column {', '.join(sorted(twice))} twice.", "Take one of them out."
        )
    absent = [c for c in COLUMNS[:3] if c not in table.fieldnames]
    if absent:
        raise ExchangeError(
            f"{path.name} has no column {', '.join(absent)}.",
            "The first line must be: name,width,height (and ,unit if you like).",
        )
    found: dict[str, tuple[str, Estimate, Estimate]] = {}
    for line, row in rows:
        cells = {c: _as_written(row.get(c) or "").strip() for c in (*COLUMNS, "source")}
        where = f"{path.name}, line {line}"
        if not any((row.get(c) or "").strip() for c in COLUMNS):
            continue
        if any((cell or "").strip() for cell in row.get(None, ())):
            raise ExchangeError(
                f"{where}: there are more cells than the first line has names.",
                "A decimal comma? Write 6.5, or put the cells apart by semicolons.",
            )
        if cells["source"] not in ("", "ruler"):
            raise ExchangeError(
                f"{where}: block {cells['name']} was measured from a photo, not with a ruler.",
                "To move a whole project, export it as .json and import that.",
            )
        if cells["name"] in found or not cells["name"]:
            raise ExchangeError(
                f"{where}: the name is empty or used twice.",
                "Give each block its own name.",
            )
        row_unit = cells["unit"].lower() or unit
        for side in ("width", "height"):
            if not cells[side]:
                raise ExchangeError(
                    f"{where}: block {cells['name']} has no {side}.",
                    "Give every block a width and a height.",
                )
        if row_unit not in MM_PER:
            raise ExchangeError(f'{where}: "{row_unit}" is not a unit.', "Write in, cm or mm.")
        try:
            sizes = [ruler_size(cells[side], row_unit) for side in ("width", "height")]
        except LengthError as e:
            raise ExchangeError(f"{where}: {e.message}", e.hint) from e
        found[cells["name"]] = (cells["name"], *sizes)  # type: ignore[assignment]
    return list(found.values())


def ruler_size(text: str, unit: str) -> Estimate:
    """A block's side as read from a ruler; the text may name another unit than `unit`.

    Raises
    ------
    LengthError
        If it cannot be read, or is no block's.
    """
    if comma := re.fullmatch(r"(\d+),(\d+)(\D*)", text):  # decimal, as the cell holds it alone
        if len(comma[2]) == 3:
            raise LengthError(
                f'"{text}" can be read in two ways.',
                "Write thousands without a comma, or 6.5 for 6,5.",
            )
        text = f"{comma[1]}.{comma[2]}{comma[3]}"
    mm = parse_length(text, unit)
    if not MIN_MM <= mm <= MAX_MM:
        raise LengthError(
            f'"{text}" cannot be a block\'s side.', "Check the number and its unit (in, cm or mm)."
        )
    if parse_length(text, "in") == parse_length(text, "mm"):  # the text names its unit itself
        unit = "cm" if text.rstrip(". ").lower().endswith("m") else "in"
    return ruler(mm, unit)


def write_csv(path: Path, blocks: Sequence[BlockRecord], unit: str) -> None:
    """Write a row for each block: sizes and their U95 as decimals in `unit`."""
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow((*COLUMNS, "width_u95", "height_u95", "state", "source", "note"))
    for b in blocks:
        w, h, wu, hu = (
            round(mm / MM_PER[unit], 4)
            for mm in (b.width_mm.value, b.height_mm.value, b.width_mm.u95, b.height_mm.u95)
        )
        table.writerow((_shown(b.name), w, h, unit, wu, hu, b.state, b.source, _shown(b.note)))
    write_text(path, "\ufeff" + out.getvalue())  # the mark tells spreadsheets that it is UTF-8


def _shown(text: str) -> str:
    """Text that a spreadsheet shows: what begins as a formula does gets an apostrophe before it.

    After OWASP, CSV Injection (https://owasp.org/www-community/attacks/CSV_Injection).
    """
    acts = text.startswith(_FORMULA) or (text[:1] == "'" and text[1:].startswith((*_FORMULA, "'")))
    return f"'{text}" if acts else text


def _as_written(text: str) -> str:
    """Undo `_shown`."""
    return text[1:] if text[:1] == "'" and text[1:].startswith((*_FORMULA, "'")) else text


def dump(db: sqlite3.Connection, home: Path, target: Path) -> dict[str, Any]:
    """All that the file holds, photos as places from the folder `target`."""

    def place(path: str | None) -> str | None:
        return None if path is None else relative(home / path, target)

    return {
        "schema": SCHEMA,
        "plans": [
            {"at": r["at"], "software": r["software"], "plan": json.loads(r["plan"])}
            for r in db.execute("SELECT * FROM plan ORDER BY id")
        ],
        "photos": [
            {"sha256": r["sha256"], "path": place(r["path"]), "camera": r["camera"], "at": r["at"]}
            for r in db.execute("SELECT * FROM photo ORDER BY id")
        ],
        "blocks": [
            {
                "name": r["name"],
                "state": r["state"],
                "note": r["note"],
                "removed": bool(r["removed"]),
                "kind": r["kind"],
                "history": list(_history(db, r["id"])),
            }
            for r in db.execute("SELECT * FROM block ORDER BY id").fetchall()
        ],
        "order": _order(db),
        "ticks": [r["what"] for r in db.execute("SELECT what FROM tick ORDER BY id")],
        "checks": [
            {
                "at": r["at"],
                "software": r["software"],
                "known_mm": json.loads(r["known_mm"]),
                "measured": json.loads(r["measured"]),
                "verdict": r["verdict"],
                "path": place(r["path"]),
                "sha256": r["sha256"],
            }
            for r in db.execute("SELECT * FROM check_result ORDER BY id")
        ],
    }


def _order(db: sqlite3.Connection) -> list[str]:
    """Names of the blocks as they were laid into the rows; none if they were not."""
    name = {r["id"]: r["name"] for r in db.execute("SELECT id, name FROM block")}
    row = db.execute("SELECT blocks FROM block_order ORDER BY id DESC LIMIT 1").fetchone()
    return [] if row is None else [name[block] for block in json.loads(row["blocks"])]


def _history(db: sqlite3.Connection, block: int) -> Iterator[dict[str, Any]]:
    for r in db.execute(
        "SELECT e.at, e.software, e.what, e.detail, e.measurement AS number, p.sha256, m.* "
        "FROM event e LEFT JOIN measurement m ON m.id = e.measurement "
        "LEFT JOIN photo p ON p.id = m.photo WHERE e.block = ? ORDER BY e.id",
        (block,),
    ):
        measurement = None
        if r["number"] is not None:
            parts = ("settings", "problems", "sizes", "points", "centre_line")
            measurement = {"photo": r["sha256"], **{k: json.loads(r[k]) for k in parts}}
        yield {
            **{k: r[k] for k in ("at", "software", "what", "detail")},
            "measurement": measurement,
        }


def read_json(path: Path) -> dict[str, Any]:
    """Read what `dump` gave, and judge it."""
    try:
        whole = judging.parse(_read(path))
    except ValueError as e:
        raise ExchangeError(f"{path.name} is not JSON ({e}).", "Export the project again.") from e
    if not isinstance(whole, dict) or whole.get("schema") != SCHEMA:
        raise ExchangeError(
            f"{path.name} is not an exported project of the kind {SCHEMA}.",
            "Choose a file that blockcheck export wrote; a newer kind needs a newer blockcheck.",
        )
    try:
        judging.check_whole(whole)
    except ValueError as e:
        raise ExchangeError(
            f"{path.name} is not a whole project: {e}.", "Export the project again."
        ) from e
    return whole


def load(db: sqlite3.Connection, whole: Mapping[str, Any], path: Path, home: Path) -> None:
    """Fill an empty file with what `dump` gave; the caller's transaction keeps it or nothing.

    Raises
    ------
    ExchangeError
        If anything is missing or makes no sense.
    """

    def place(text: str | None) -> str | None:
        return None if text is None else relative(path.parent / text, home)

    try:
        if not whole["plans"]:
            raise ValueError("no plan")
        for p in whole["plans"]:
            plans.plan_from(p["plan"])
            datetime.fromisoformat(p["at"])
            insert(db, "plan", p["at"], p["software"], to_json(p["plan"]))
        photos = {
            p["sha256"]: insert(db, "photo", p["sha256"], place(p["path"]), p["camera"], p["at"])
            for p in whole["photos"]
        }
        for b in whole["blocks"]:
            name = records.as_name(b["name"])
            block = insert(
                db, "block", name, b["state"], b["note"], int(b["removed"]), b.get("kind", "")
            )
            if not any(e["measurement"] for e in b["history"]):
                raise ValueError(f"block {name} has no measurement")
            for e in b["history"]:
                measurement = None
                if m := e["measurement"]:
                    judging.check_kept(records.kept_from(**m))
                    if m["photo"] is not None and m["photo"] not in photos:
                        raise ValueError(f"block {name}: its photo is not among the photos")
                    photo = None if m["photo"] is None else photos[m["photo"]]
                    parts = ("settings", "problems", "sizes", "points", "centre_line")
                    texts = [to_json(m[k]) for k in parts]
                    measurement = insert(db, "measurement", block, photo, *texts)
                datetime.fromisoformat(e["at"])
                texts = [e[k] for k in ("at", "software", "what", "detail")]
                insert(db, "event", block, measurement, *texts)
        block_id = {r["name"]: r["id"] for r in db.execute("SELECT id, name FROM block")}
        written = whole["plans"][-1]["at"], whole["plans"][-1]["software"]
        if order := whole.get("order"):
            insert(db, "block_order", *written, to_json([block_id[name] for name in order]))
        for what in whole.get("ticks", ()):
            insert(db, "tick", *written, records.as_text(what, "cut"))
        for c in whole["checks"]:
            measured = [records.estimate_to(records.estimate_from(e)) for e in c["measured"]]
            known, found = to_json([float(v) for v in c["known_mm"]]), to_json(measured)
            values = (known, found, c["verdict"], place(c["path"]), c["sha256"])
            insert(db, "check_result", c["at"], c["software"], *values)
    except BlockcheckError as e:
        raise ExchangeError(f"{path.name} cannot be imported: {e.message}", e.hint) from e
    except SPOILED as e:
        raise ExchangeError(
            f"{path.name} is not a whole project ({type(e).__name__}: {e}).",
            "Export the project again.",
        ) from e


def relative(path: Path, folder: Path) -> str:
    """The way from a folder to a file, with forward slashes; from the root on another drive."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return path.resolve().as_posix()


def write_text(path: Path, text: str) -> None:
    """Write a whole file or leave what was there."""
    try:
        write_whole(path, text.encode())
    except OSError as e:
        raise ExchangeError(
            f"{path} cannot be written ({e.strerror}).", "Choose another place, or make room."
        ) from e


def write_new(path: Path, data: bytes) -> None:
    """Write a whole file where none is, or nothing."""
    try:
        with path.open("xb") as file:
            file.write(data)
    except FileExistsError as e:
        raise ExchangeError(f"{path.name} already exists.", "Move it away first.") from e
    except OSError as e:
        path.unlink(missing_ok=True)
        raise ExchangeError(
            f"{path} cannot be written ({e.strerror}).", "Choose another place, or make room."
        ) from e


def _read(path: Path) -> str:
    try:
        return read_whole(path, MAX_TEXT).decode("utf-8-sig")
    except OSError as e:
        raise ExchangeError(f"{path} cannot be read ({e.strerror}).", "Check its name.") from e
    except UnicodeDecodeError as e:
        raise ExchangeError(f"{path.name} is not UTF-8 text.", "Save it as CSV UTF-8.") from e
