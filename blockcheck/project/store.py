"""A quilt's project: every change is one transaction, and leaves a line in the block's history."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path

from .. import __version__
from ..errors import ProjectError
from ..measuring.results import PhotoResult
from ..planning.plan import Plan
from ..settings import Settings
from ..uncertainty import Estimate
from . import exchange, records, schema
from .reading import ProjectReader
from .records import Kept, Point, to_json


class Project(ProjectReader):
    """One quilt's file, open. Close it, or use it in a ``with`` statement.

    Every method raises `ProjectError` where the file cannot be read or written, or a name is
    not known; nothing of that step is kept then, and all before it is.
    """

    @classmethod
    def create(cls, path: str | Path, plan: Plan | None = None) -> Project:
        """Make a new project; never over a file that is there already.

        Parameters
        ----------
        path : str or Path
            The suffix .blockcheck is added where it is missing.
        plan : Plan, optional
        """
        path = schema.locate(path)
        plan = plan or Plan()
        records.check_plan(plan)
        project = cls(schema.create(path), path)
        try:
            with schema.in_words(path):
                project._add_plan(plan)
                project._db.execute("COMMIT")
        except BaseException:
            project.close()
            raise
        return project

    def set_plan(self, plan: Plan) -> None:
        """Change the plan. Measurements are not changed by it."""
        records.check_plan(plan)
        with self._write():
            self._add_plan(plan)

    def add_result(
        self,
        result: PhotoResult,
        names: Sequence[str] | None = None,
        *,
        settings: Settings | None = None,
        trimmed: bool = False,
        notes: str = "",
    ) -> list[str]:
        """Keep a photo and the blocks measured in it.

        Parameters
        ----------
        result : PhotoResult
        names : sequence of str, optional
            One for each block; the next free numbers where None. A name that is there already
            makes this a new measurement of that block.
        settings : Settings, optional
            What it was measured with; as the plan says where None.
        trimmed : bool
            Whether the blocks are trimmed now.
        notes : str
            Kept as the blocks' note, if not empty.

        Returns
        -------
        list of str
            The blocks' names. A photo that is kept already (the same bytes) adds nothing when
            no names are given: its blocks' names come back.

        Raises
        ------
        ProjectError
            If the photo was not measured, or the names do not fit it.
        """
        photo, n = result.path.name, len(result.blocks)
        if not result.ok or result.sha256 is None:
            raise ProjectError(f"{photo} was not measured, so there is nothing to keep.")
        settings = settings or Settings.of(**records.settings_in(self.plan))
        warnings = tuple(p for p in result.problems if p.level == "warning")
        with self._write():
            known = self.names_in(result.sha256)
            photo_id = self._photo_id(result)
            if known and names is None:
                return list(known)
            if known and set(names or ()) - set(known):
                raise ProjectError(
                    f"{photo} is in the project already, as block {', '.join(known)}.",
                    f"To measure that block again: --again {known[0]}",
                )
            called = self._free(n) if names is None else [records.as_name(name) for name in names]
            if len(called) != n or len(set(called)) != n:
                raise ProjectError(
                    f"{photo} shows {n} block{'s'[: n != 1]}, the names given are: {', '.join(called)}.",
                    "Give each block in the photo a name of its own.",
                )
            for name, m in zip(called, result.blocks, strict=True):
                kept = Kept(
                    m.width_mm,
                    m.height_mm,
                    m,
                    result.sha256,
                    dataclasses.asdict(settings),
                    warnings,
                )
                self._keep(name, kept, photo_id, trimmed)
                if notes:
                    self._change(name, "note", notes, note=records.as_text(notes, "note"))
        return called

    def import_csv(self, path: str | Path) -> list[str]:
        """Keep sizes measured with a ruler, all of a file or nothing of it.

        Parameters
        ----------
        path : str or Path
            As of `exchange.read_csv`. A row that repeats a block's latest ruler measurement adds
            nothing; any other row of a block that is there is a new measurement of it.

        Returns
        -------
        list of str
            Names of the blocks that were added or measured again.
        """
        rows = exchange.read_csv(Path(path), self.plan.unit)
        done = []
        with self._write():
            for given, width, height in rows:
                name, kept = records.as_name(given), Kept(width, height)
                if not self._same_as_latest(name, kept):
                    self._keep(name, kept, None, False)
                    done.append(name)
        return done

    def import_json(self, path: str | Path) -> None:
        """Take over everything that `export_json` wrote; only into a project that is still empty."""
        whole = exchange.read_json(Path(path))
        with self._write():
            for table in ("block", "photo", "check_result"):
                if self._rows(f"SELECT 1 FROM {table} LIMIT 1"):
                    raise ProjectError(
                        f"{self.path.name} is not empty: a whole project goes into a new one only.",
                        "Name a project that does not exist yet.",
                    )
            self._db.execute("DELETE FROM plan")
            exchange.load(self._db, whole, Path(path), self.path.parent)

    def found(self, sha256: str, path: str | Path) -> bool:
        """Note where a photo that is kept lies now; returns whether it was missing till now."""
        place = self._relative(Path(path))
        with self._write():
            for photo in self._photos("WHERE sha256 = ?", sha256):
                if photo.missing:
                    self._db.execute("UPDATE photo SET path = ? WHERE sha256 = ?", (place, sha256))
                    return True
        return False

    def set_state(self, name: str, state: str) -> None:
        """Set a block's state: "measured", "trimmed" or "set aside"."""
        if state not in records.STATES:
            raise ProjectError(f'A block is {", ".join(records.STATES)}, not "{state}".')
        with self._write():
            self._change(name, state, state=state)

    def rename(self, name: str, new: str) -> None:
        """Give a block another name."""
        new = records.as_name(new)
        with self._write():
            if self._known(new):
                raise ProjectError(f"There is a block {new} already.", "Choose another name.")
            self._change(name, "renamed", f"from {name} to {new}", name=new)

    def note(self, name: str, text: str) -> None:
        """Write a block's note; an empty one takes it away."""
        with self._write():
            self._change(name, "note", text, note=records.as_text(text, "note"))

    def set_points(self, name: str, points_mm: Mapping[str, Point]) -> None:
        """Mark a block's points, in block coordinates of its latest measurement."""
        points = {records.as_name(p): records.as_point(xy) for p, xy in points_mm.items()}
        self._mark(name, "points marked", ", ".join(points), points=points)

    def set_centre_line(self, name: str, line_mm: tuple[Point, Point] | None) -> None:
        """Mark the motif's axis by two points, or take the mark away with None."""
        line = line_mm and [records.as_point(xy) for xy in line_mm]
        what = "centre line marked" if line else "centre line taken away"
        self._mark(name, what, "", centre_line=line)

    def remove(self, name: str) -> None:
        """Take a block out of the quilt; everything about it is kept for `restore`."""
        with self._write():
            self._block_id(name)
            self._change(name, "removed", removed=1)

    def restore(self, name: str) -> None:
        """Undo `remove`."""
        with self._write():
            if name not in self.removed():
                raise ProjectError(f"No block {name} was removed from {self.path.name}.")
            self._change(name, "restored", removed=0)

    def add_check(
        self,
        known_mm: Sequence[float],
        measured: Sequence[Estimate],
        verdict: str,
        photo: str | Path | None = None,
        sha256: str | None = None,
    ) -> None:
        """Keep a check standard's measurement: its known sizes, the measured ones, the verdict."""
        values = (
            to_json([float(v) for v in known_mm]),
            to_json([records.estimate_to(e) for e in measured]),
            records.as_text(verdict, "verdict"),
            None if photo is None else self._relative(Path(photo)),
            sha256,
        )
        with self._write():
            self._insert("check_result", *_now(), *values)

    def _write(self) -> AbstractContextManager[None]:
        return schema.transaction(self._db, self.path)

    def _insert(self, table: str, *values: object) -> int:
        return schema.insert(self._db, table, *values)

    def _add_plan(self, plan: Plan) -> None:
        self._insert("plan", *_now(), to_json(dataclasses.asdict(plan)))

    def _known(self, name: str) -> bool:
        return bool(self._rows("SELECT 1 FROM block WHERE name = ?", name))

    def _same_as_latest(self, name: str, kept: Kept) -> bool:
        if not self._known(name):
            return False
        row = self._latest(self._block_id(name))
        return row["photo"] is None and json.loads(row["sizes"]) == records.sizes_to(kept)

    def _free(self, count: int) -> list[str]:
        used = [r["name"] for r in self._rows("SELECT name FROM block")]
        numbers = [int(n) for n in used if n.isascii() and n.isdigit() and len(n) < 9]
        first = max(numbers, default=0) + 1
        return [str(first + i) for i in range(count)]

    def _keep(self, name: str, kept: Kept, photo: int | None, trimmed: bool) -> None:
        """Add a measurement, and the block where it is new."""
        what = "measured again" if self._known(name) else "measured"
        if self._known(name):
            block = self._block_id(name)
        else:
            block = self._insert("block", name, "measured", "", 0)
        if trimmed:
            self._set("block", block, state="trimmed")
        problems = to_json([vars(p) for p in kept.problems])
        sizes = to_json(records.sizes_to(kept))
        measurement = self._insert(
            "measurement", block, photo, to_json(kept.settings), problems, sizes, "{}", "null"
        )
        self._event(block, f"trimmed, {what}" if trimmed else what, "", measurement)

    def _event(self, block: int, what: str, detail: str, measurement: int | None = None) -> None:
        self._insert("event", block, measurement, *_now(), what, detail)

    def _change(self, name: str, what: str, detail: str = "", /, **columns: object) -> None:
        block = self._block_id(name, removed="removed" in columns)
        self._set("block", block, **columns)
        self._event(block, what, detail)

    def _mark(self, name: str, what: str, detail: str, /, **columns: object) -> None:
        with self._write():
            block = self._block_id(name)
            texts = {column: to_json(value) for column, value in columns.items()}
            self._set("measurement", self._latest(block)["id"], **texts)
            self._event(block, what, detail)

    def _set(self, table: str, row: int, /, **columns: object) -> None:
        for column, value in columns.items():
            self._db.execute(f"UPDATE {table} SET {column} = ? WHERE id = ?", (value, row))

    def _photo_id(self, result: PhotoResult) -> int:
        for row in self._rows("SELECT id FROM photo WHERE sha256 = ?", result.sha256):
            return int(row["id"])
        place = self._relative(result.path)
        return self._insert("photo", result.sha256, place, result.camera, _now()[0])

    def _relative(self, photo: Path) -> str:
        return records.as_text(exchange.relative(photo, self.path.parent), "photo's name")


def _now() -> tuple[str, str]:
    """When and with which version something was written."""
    return datetime.now(UTC).isoformat(timespec="seconds"), __version__
