"""A quilt's project: every change is one transaction, and leaves a line in the block's history."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from ..errors import Problem, ProjectError
from ..measuring.results import Measurement, PhotoResult
from ..planning.plan import Plan
from ..settings import Settings
from ..uncertainty import Estimate
from . import exchange, opening, plans, records, schema
from .records import Kept, Point, to_json
from .rescue import Lost
from .writing import ProjectWriter, now


class Project(ProjectWriter):
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
        plan = plan or Plan()
        plans.check_plan(plan)
        with cls._made(schema.locate(path)) as project:
            project._add_plan(plan)
        return project

    @classmethod
    def create_from_json(cls, path: str | Path, source: str | Path) -> Project:
        """Make a new project of everything that `export_json` wrote, or nothing."""
        path, source = schema.locate(path), Path(source)
        whole = exchange.read_json(source)
        with cls._made(path) as project:
            exchange.load(project._db, whole, source, path.parent)
        return project

    @classmethod
    @contextmanager
    def _made(cls, path: Path) -> Iterator[Project]:
        """A new file with all that is written inside, or none."""
        project = cls(opening.create(path), path)
        try:
            with schema.in_words(path):
                yield project
                project._db.execute("COMMIT")
        except BaseException:
            project.close()
            if path.stat().st_size == 0:
                path.unlink()
            raise

    def add_result(
        self,
        result: PhotoResult,
        names: Sequence[str] | None = None,
        *,
        settings: Settings | None = None,
        trimmed: bool = False,
        notes: str = "",
        kind: str = "",
    ) -> list[str]:
        """Keep a photo and the blocks measured in it.

        Parameters
        ----------
        result : PhotoResult
            Of several photos together it is one reading of the block; the first photo that was
            used stands for all, and the history names them.
        names : sequence of str, optional
            One for each block; the next free numbers where None. A name that is there already
            makes this a new measurement of that block.
        settings : Settings, optional
            What it was measured with; as the plan says where None.
        trimmed : bool
            Whether the blocks are trimmed now.
        notes : str
            Kept as the blocks' note, if not empty.
        kind : str
            Of which of the plan's kinds the blocks are; as they were where empty.

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
                    f"{photo} shows {n} block{'s'[: n != 1]}, but the names given are {', '.join(called)}.",
                    "Give each block in the photo a name of its own.",
                )
            given = dataclasses.asdict(settings)
            if result.together:
                given[records.TOGETHER] = [t.sha256 for t in result.together if t.used]
            for name, m in zip(called, result.blocks, strict=True):
                kept = Kept(m.width_mm, m.height_mm, m, result.sha256, given, warnings)
                photos = ", ".join(t.path.name for t in result.together if t.used)
                detail = records.as_text(f"together: {photos}" if photos else "", "photo's name")
                self._keep(name, kept, photo_id, trimmed, detail=detail)
                if kind:
                    told = self._kind(kind)
                    self._change(name, "kind", told, kind=told)
                if notes:
                    self._change(name, "note", notes, note=records.as_text(notes, "note"))
        return called

    def mended(self, lost: Lost, result: PhotoResult) -> bool:
        """Measure a block again whose numbers were lost, from the photo that they came from.

        Parameters
        ----------
        lost : Lost
        result : PhotoResult
            Of that photo, measured with the plan's settings.

        Returns
        -------
        bool
            Whether the photo gave it: the same bytes, and as many blocks in it as before.
        """
        if not result.ok or result.sha256 != lost.photo or len(result.blocks) != lost.of:
            return False
        m, settings = result.blocks[lost.number], Settings.of(**records.settings_in(self.plan))
        warnings = tuple(p for p in result.problems if p.level == "warning")
        given = dataclasses.asdict(settings)
        with self._write():
            kept = Kept(m.width_mm, m.height_mm, m, result.sha256, given, warnings)
            self._keep(lost.name, kept, self._photo_id(result), False)
            self._change(lost.name, lost.state, state=lost.state)
        return True

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
        return self._keep_ruler(exchange.read_csv(Path(path), self.plan.unit))

    def add_ruler(self, name: str, width: str, height: str) -> None:
        """Keep a block's size as measured with a ruler: lengths as a person writes them.

        Raises
        ------
        LengthError, ProjectError
            If one cannot be read, or is no block's.
        """
        unit = self.plan.unit
        sides = exchange.ruler_size(width, unit), exchange.ruler_size(height, unit)
        self._keep_ruler([(name, *sides)])

    def _keep_ruler(self, rows: Iterable[tuple[str, Estimate, Estimate]]) -> list[str]:
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
        with schema.transaction(self._db, self.path):
            for table in ("block", "photo", "check_result"):
                if self._rows(f"SELECT 1 FROM {table} LIMIT 1"):
                    raise ProjectError(
                        f"{self.path.name} is not empty: a whole project can only go into a new one.",
                        "Name a project that does not exist yet.",
                    )
            schema.clear(self._db, "plan")
            exchange.load(self._db, whole, Path(path), self.path.parent)

    def found(self, sha256: str, path: str | Path) -> bool:
        """Note where a photo that is kept lies now; returns whether it was missing till now."""
        place = self._relative(Path(path))
        with self._write():
            for photo in self._photos("WHERE sha256 = ?", sha256):
                if photo.missing:
                    (row,) = self._rows("SELECT id FROM photo WHERE sha256 = ?", sha256)
                    schema.change(self._db, "photo", row["id"], path=place)
                    return True
        return False

    def correct(
        self,
        name: str,
        measurement: Measurement,
        problems: Sequence[Problem] = (),
        points_mm: Mapping[str, Point] | None = None,
        centre_line_mm: tuple[Point, Point] | None = None,
        how: str = "",
    ) -> None:
        """Keep a block's edges set anew in the photo that it was last measured in.

        Parameters
        ----------
        name : str
        measurement : Measurement
        problems : sequence of Problem
            The warnings that came with it.
        points_mm, centre_line_mm
            Its marks, in the new measurement's block coordinates.
        how : str
            A few words for the history.
        """
        before = self.latest(name)
        if before.photo is None:
            raise ProjectError(f"Block {name} was measured with a ruler: it has no photo.")
        points = {records.as_name(p): records.as_point(xy) for p, xy in (points_mm or {}).items()}
        kept = Kept(
            measurement.width_mm,
            measurement.height_mm,
            measurement,
            before.photo,
            {k: v for k, v in before.settings.items() if k != records.TOGETHER},
            tuple(p for p in problems if p.level == "warning"),
            points,
            centre_line_mm,
        )
        with self._write():
            photo = self._latest(self._block_id(name))["photo"]
            self._keep(name, kept, photo, False, "edges set anew", how)

    def same_block(self, name: str, known: str) -> None:
        """Take what was kept as the new block `name` for another measurement of `known`."""
        with self._write():
            row, block = self._latest(self._block_id(name)), self._block_id(known)
            values = {c: row[c] for c in row.keys() if c not in ("id", "sha256")}  # noqa: SIM118
            measurement = self._insert("measurement", *{**values, "block": block}.values())
            self._event(block, "measured again", f"from block {name}", measurement)
            self._change(name, "removed", f"it is block {known}", removed=1)

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
            self._insert("check_result", *now(), *values)

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

    def _keep(
        self,
        name: str,
        kept: Kept,
        photo: int | None,
        trimmed: bool,
        again: str = "measured again",
        detail: str = "",
    ) -> None:
        """Add a measurement, and the block where it is new."""
        what = again if self._known(name) else "measured"
        if self._known(name):
            block = self._block_id(name)
        else:
            block = self._insert("block", name, "measured", "", 0, "")
        if trimmed:
            self._set("block", block, state="trimmed")
        problems = to_json([vars(p) for p in kept.problems])
        sizes = to_json(records.sizes_to(kept))
        measurement = self._insert(
            "measurement",
            block,
            photo,
            to_json(kept.settings),
            problems,
            sizes,
            to_json(kept.points_mm),
            to_json(kept.centre_line_mm),
        )
        self._event(block, f"trimmed, {what}" if trimmed else what, detail, measurement)

    def _photo_id(self, result: PhotoResult) -> int:
        for row in self._rows("SELECT id FROM photo WHERE sha256 = ?", result.sha256):
            return int(row["id"])
        place = self._relative(result.path)
        return self._insert("photo", result.sha256, place, result.camera, now()[0])

    def _relative(self, photo: Path) -> str:
        return records.as_text(exchange.relative(photo, self.path.parent), "photo's name")
