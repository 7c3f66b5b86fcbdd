"""What a person changes by hand in a project; each change is one step that can be undone."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime

from .. import __version__
from ..errors import ProjectError, typed
from ..planning.plan import Plan
from . import plans, records, schema, steps
from .reading import ProjectReader
from .records import Point, to_json


class ProjectWriter(ProjectReader):
    """An open project file with the methods that change it by hand."""

    def set_plan(self, plan: Plan) -> None:
        """Change the plan. Measurements are not changed by it."""
        plans.check_plan(plan)
        with self._write():
            self._add_plan(plan)

    def set_state(self, name: str, state: str) -> None:
        """Set a block's state: "measured", "trimmed" or "set aside"."""
        if state not in records.STATES:
            raise ProjectError(f'A block cannot be "{state}".', f"Say {', '.join(records.STATES)}.")
        with self._write():
            self._change(name, state, state=state)

    def rename(self, name: str, new: str) -> None:
        """Give a block another name."""
        new = records.as_name(new)
        with self._write():
            if self._known(new):
                raise ProjectError(f"There is already a block {new}.", "Choose another name.")
            self._change(name, "renamed", f"from {name} to {new}", name=new)

    def note(self, name: str, text: str) -> None:
        """Write a block's note; an empty one takes it away."""
        with self._write():
            self._change(name, "note", text, note=records.as_text(text, "note"))

    def set_kind(self, name: str, kind: str) -> None:
        """Say of which of the plan's kinds a block is."""
        with self._write():
            told = self._kind(kind)
            self._change(name, "kind", told, kind=told)

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

    def set_order(self, names: Sequence[str]) -> None:
        """Lay the blocks into the rows in this order; those not named come after."""
        with self._write():
            blocks = [self._block_id(name) for name in names]
            if len(set(blocks)) != len(blocks):
                raise ProjectError("A block is in the order twice.")
            self._insert("block_order", *now(), to_json(blocks))

    def tick(self, what: str, done: bool = True) -> None:
        """Tick a cut off, or take the tick away."""
        with self._write():
            if not done:
                for row in self._rows("SELECT id FROM tick WHERE what = ?", what):
                    schema.delete(self._db, "tick", row["id"])
            elif what not in self.ticks():
                self._insert("tick", *now(), records.as_text(what, "cut"))

    def undo(self, of: str | None = None) -> str:
        """Undo the latest step: of all, or of those that touch "plan", "order" or a block's name.

        Returns
        -------
        str
            What was undone, in a few words.
        """
        return self._move(of, back=True)

    def redo(self, of: str | None = None) -> str:
        """Do again what was undone last, as of `undo`."""
        return self._move(of, back=False)

    def _move(self, of: str | None, back: bool) -> str:
        key = self._key(of)
        with schema.transaction(self._db, self.path):
            return steps.move(self._db, key, back, now(), self._event)

    @contextmanager
    def _write(self) -> Iterator[None]:
        """One step: all of it or nothing, and it can be undone."""
        with schema.transaction(self._db, self.path):
            before = steps.state(self._db)
            event = self._rows("SELECT max(id) AS id FROM event")[0]["id"]
            yield
            steps.keep(self._db, before, event or 0, now())

    def _insert(self, table: str, *values: object) -> int:
        return schema.insert(self._db, table, *values)

    def _add_plan(self, plan: Plan) -> None:
        self._insert("plan", *now(), to_json(dataclasses.asdict(plan)))

    def _kind(self, kind: str) -> str:
        """A kind as blocks keep it: nothing stands for the plan's first one."""
        plan = self.plan
        known = (plan.kind, *(k.name for k in plan.kinds))
        if kind and kind not in known:
            raise ProjectError(
                f"The plan has no kind of block called {kind}.",
                f"It has {', '.join(known)}. To add one: {typed('kind', self.path, 'NAME')}",
            )
        return "" if kind == plan.kind else kind

    def _known(self, name: str) -> bool:
        return bool(self._rows("SELECT 1 FROM block WHERE name = ?", name))

    def _event(self, block: int, what: str, detail: str, measurement: int | None = None) -> None:
        self._insert("event", block, measurement, *now(), what, detail)

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
        schema.change(self._db, table, row, **columns)


def now() -> tuple[str, str]:
    """When and with which version something was written."""
    return datetime.now(UTC).isoformat(timespec="seconds"), __version__
