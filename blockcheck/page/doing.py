"""What a person does on the page; each answer says what to show anew."""

from __future__ import annotations

import asyncio
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import ProjectError
from ..files import sha256_of
from ..measuring.results import PhotoResult
from ..planning.plan import BlockRecord, Plan, usual_in
from ..project.places import SIDES
from ..project.records import settings_from, settings_in
from ..report import mark_words, words
from ..report.html import unbroken
from ..settings import Settings
from ..units import INCH
from . import forms, marks, rows_view, sets, work
from .intake import Received
from .queue import Item, Queue
from .shelf import Shelf
from .showing import Showing, of_kind

EXAMPLE = "Sailboats (example)"
Given = dict[str, Any]
# the actions that may be asked for, each a method of `Doing`
ACTIONS = frozenset(
    {
        "edges",
        "marks",
        "by_ruler",
        "unmark",
        "suggest",
        "state",
        "kind",
        "ruler",
        "note",
        "rename",
        "remove",
        "restore",
        "undo",
        "redo",
        "drop",
        "settle",
        "mend",
        "order",
        "tick",
        "ready",
        "plan",
        "choose",
        "arrange",
        "together",
    }
)


class Doing:
    """Changes projects for the page; every method but `new` and `example` is an action."""

    def __init__(self, shelf: Shelf, queue: Queue, workers: work.Workers, showing: Showing) -> None:
        self._shelf, self._queue, self._workers, self._showing = shelf, queue, workers, showing

    def new(self, given: Given) -> str:
        """Make a project, or find the example."""
        if given.get("example"):
            if EXAMPLE not in self._shelf.names():
                plan = Plan(planned_mm=(6 * INCH, 9 * INCH), card_side=4 * INCH)
                self._shelf.create(EXAMPLE, plan)
            return EXAMPLE
        unit = "cm" if given.get("unit") == "cm" else "in"
        plan = replace(Plan(unit=unit), **usual_in(Plan(), unit))
        return self._shelf.create(str(given.get("name", "")), plan)

    async def example(self, project: str) -> None:
        """Put the six example photos into a project that is still empty."""
        blocks = await asyncio.to_thread(self._showing.count, project)
        if blocks or self._queue.items(project):
            return
        for received in await asyncio.to_thread(self._copies, project):
            self._queue.add(project, received)

    def _copies(self, project: str) -> list[Received]:
        folder = self._shelf.photos(project)
        folder.mkdir(exist_ok=True)
        found = []
        for source in sorted((Path(__file__).parent.parent / "demo_photos").glob("*.jpg")):
            target = folder / source.name
            if not target.exists():
                shutil.copyfile(source, target)
            if sha256 := sha256_of(target):
                found.append(Received(target, sha256))
        return found

    async def ready(self, project: str, given: Given) -> Given:
        """Have a block's photo opened, so that the first drag is answered as fast as the others."""
        path, sha256, settings = await asyncio.to_thread(self._photo_of, project, given["name"])
        width, height = await self._workers.run("edit", work.ready, path, sha256, settings)
        return {"width": width, "height": height}

    async def edges(self, project: str, given: Given) -> Given:
        """Set a block's corners; sides in "held" stay where they were put."""
        name, corners, held = given["name"], _corners(given["corners"]), _sides(given["held"])
        path, sha256, settings = await asyncio.to_thread(self._photo_of, project, name)
        result = await self._workers.run("edit", work.edges, path, sha256, settings, corners, held)
        _need_block(result)
        await asyncio.to_thread(self._correct, project, name, result, held)
        return {}

    def _photo_of(self, project: str, name: str) -> tuple[Path, str, Settings]:
        with self._shelf.open(project) as quilt:
            photo, kept = quilt.photo(name), quilt.latest(name)
        if photo is None or photo.missing:
            raise ProjectError(
                "The photo of this block is missing.", "Photograph it again, or use the ruler."
            )
        return photo.path, photo.sha256, settings_from(kept.settings)

    def _correct(self, project: str, name: str, result: PhotoResult, held: tuple[int, ...]) -> None:
        """Keep the new edges; marks stay where they are in the photo."""
        with self._shelf.open(project) as quilt:
            before, new = quilt.latest(name), result.blocks[0]
            assert before.measurement is not None
            points, line = marks.carried(before.measurement, new, before)
            how = f"by hand: {', '.join(SIDES[k] for k in held)}" if held else ""
            quilt.correct(name, new, result.problems, points, line, how)

    async def marks(self, project: str, given: Given) -> Given:
        """Mark a block's points and centre line, given in the photo's pixels."""
        return await self._with(project, lambda q: marks.mark(q, given))

    async def by_ruler(self, project: str, given: Given) -> Given:
        """Mark a point or the centre line by the ruler."""
        return await self._with(project, lambda q: marks.by_ruler(q, given))

    async def unmark(self, project: str, given: Given) -> Given:
        """Take a point or the centre line away."""
        return await self._with(project, lambda q: marks.unmark(q, given))

    async def suggest(self, project: str, given: Given) -> Given:
        """Suggest points and the centre line: in the photo's pixels, and where they lie in words."""
        path, sha256, settings = await asyncio.to_thread(self._photo_of, project, given["name"])
        block, plan = await asyncio.to_thread(self._record, project, given["name"])
        found = await self._workers.run(
            "edit", work.suggestions, path, sha256, settings, block, plan.seam_mm
        )
        places = [(p.x_mm, p.y_mm) for p in found.points]
        line = None if found.axis is None else marks.to_photo(block, found.axis.ends_mm)
        said = [unbroken(one) for one in mark_words.suggested(found, block, plan)]
        return {"points": marks.to_photo(block, places), "line": line, "said": said}

    def _record(self, project: str, name: str) -> tuple[BlockRecord, Plan]:
        with self._shelf.open(project) as quilt:
            return marks.block_of(quilt, name), quilt.plan

    async def mend(self, project: str, given: Given) -> Given:
        """Measure a refused photo by corners set by hand, and keep its block."""
        item = self._queue.item(project, int(given["number"]))
        corners, held = _corners(given["corners"]), _sides(given["held"])
        plan = await asyncio.to_thread(self._plan, project)
        settings = Settings.of(**settings_in(plan), profiles=self._queue.profiles)
        path = self._queue.file(project, item)
        result = await self._workers.run(
            "edit", work.edges, path, item.sha256, settings, corners, held
        )
        _need_block(result)
        names = await asyncio.to_thread(self._keep, project, item, result, settings)
        self._queue.kept(project, item.id, names)
        return {"block": names[0]}

    def _plan(self, project: str) -> Plan:
        with self._shelf.open(project) as quilt:
            return quilt.plan

    def _keep(self, project: str, item: Item, result: PhotoResult, settings: Settings) -> list[str]:
        with self._shelf.open(project) as quilt:
            names = [item.again] if item.again else None
            return quilt.add_result(result, names, settings=settings, kind=item.kind)

    async def state(self, project: str, given: Given) -> Given:
        """Set a block aside, take it back, or call it trimmed."""
        return await self._with(project, lambda q: q.set_state(given["name"], given["state"]))

    async def kind(self, project: str, given: Given) -> Given:
        """Say which kind of block one is."""
        return await self._with(project, lambda q: q.set_kind(given["name"], str(given["kind"])))

    async def ruler(self, project: str, given: Given) -> Given:
        """Keep a block's size as measured with a ruler."""
        name, sides = str(given["name"]), (str(given["width"]), str(given["height"]))
        return await self._with(project, lambda q: q.add_ruler(name, *sides))

    async def note(self, project: str, given: Given) -> Given:
        """Write a block's note."""
        text = str(given["note"])[:2000]
        return await self._with(project, lambda q: q.note(given["name"], text))

    async def rename(self, project: str, given: Given) -> Given:
        """Give a block another name."""
        await self._with(project, lambda q: q.rename(given["name"], str(given["new"])))
        return {"name": str(given["new"]).strip()}

    async def remove(self, project: str, given: Given) -> Given:
        """Take a block out of the quilt."""
        return await self._with(project, lambda q: q.remove(given["name"]))

    async def restore(self, project: str, given: Given) -> Given:
        """Bring a removed block back."""
        return await self._with(project, lambda q: q.restore(given["name"]))

    async def undo(self, project: str, given: Given) -> Given:
        """Undo the latest change of all, of a block, of the plan or of the order."""
        said: list[str] = []
        await self._with(project, lambda q: said.append(q.undo(given.get("of"))))
        return {"said": f"Undone: {said[0]}."}

    async def redo(self, project: str, given: Given) -> Given:
        """Do again what was undone last."""
        said: list[str] = []
        await self._with(project, lambda q: said.append(q.redo(given.get("of"))))
        return {"said": f"Done again: {said[0]}."}

    async def drop(self, project: str, given: Given) -> Given:
        """Take a photo off the queue, or away the photos of a set that is not measured."""
        if "set" in given:
            folder = sets.folder_of(self._shelf.photos(project), str(given["set"]))
            await asyncio.to_thread(sets.drop, self._shelf, project, folder)
            return {}
        await asyncio.to_thread(self._queue.drop, project, int(given["number"]))
        return {}

    async def together(self, project: str, given: Given) -> Given:
        """Measure one block in several photos together."""
        folder = sets.folder_of(self._shelf.photos(project), str(given["set"]))
        again, kind = str(given.get("again", "")), str(given.get("kind", ""))
        if again:
            await self._with(project, lambda q: q.latest(again))  # says where there is none
        photos = await asyncio.to_thread(sets.received, folder)
        trimmed = given.get("trimmed") == "yes"
        return {"id": self._queue.add_set(project, photos, again, trimmed, kind).id}

    async def settle(self, project: str, given: Given) -> Given:
        """Say whether a new block is a known one."""
        number, known = int(given["number"]), str(given.get("block", ""))
        item = self._queue.item(project, number)
        if known and item.like:
            await self._with(project, lambda q: q.same_block(item.blocks[0], known))
        self._queue.settled(project, number, known)
        return {}

    async def order(self, project: str, given: Given) -> Given:
        """Lay the blocks into the rows in another order."""
        names = [str(name) for name in given["names"]]
        return await self._with(project, lambda q: q.set_order(names))

    async def arrange(self, project: str, given: Given) -> Given:
        """Lay the blocks in the order that meets best."""
        quilt, blocks = await self._showing.worked_out(project)
        names = rows_view.suggested(quilt, blocks)
        if not names:
            raise ProjectError("There is no better order of the blocks.")
        return await self._with(project, lambda q: q.set_order(names))

    async def choose(self, project: str, given: Given) -> Given:
        """Choose the size to trim a kind of block to: a row of its size table, or none."""
        quilt, _ = await self._showing.worked_out(project)
        one = of_kind(quilt, str(given.get("kind", "")))
        size = None
        if given.get("row") is not None:
            if one.choice is None:
                raise ProjectError(words.gap(one, "size"))
            row = one.choice.table[int(given["row"])]
            size = (row.width_mm, row.height_mm)
        return await self._with(project, lambda q: q.set_plan(q.plan.with_chosen(one.kind, size)))

    async def plan(self, project: str, given: Given) -> Given:
        """Change the plan by its form."""
        entries = {str(k): v for k, v in dict(given["entries"]).items()}
        return await self._with(project, lambda q: q.set_plan(forms.read(q.plan, entries)))

    async def tick(self, project: str, given: Given) -> Given:
        """Tick a cut off, or take the tick away."""
        what, done = str(given["what"])[:500], bool(given["done"])
        return await self._with(project, lambda q: q.tick(what, done))

    async def _with(self, project: str, work: Any) -> Given:
        def step() -> None:
            with self._shelf.open(project) as quilt:
                work(quilt)

        await asyncio.to_thread(step)
        return {}


def _need_block(result: PhotoResult) -> None:
    if not result.ok:
        problem = next(p for p in result.problems if p.level == "error")
        raise ProjectError(problem.message, problem.hint)


def _corners(given: Any) -> list[tuple[float, float]]:
    corners = [(float(x), float(y)) for x, y in given]
    if len(corners) != 4 or not np.isfinite(corners).all():
        raise ValueError("a block has four corners")
    return corners


def _sides(given: Any) -> tuple[int, ...]:
    sides = tuple(sorted({int(k) for k in given}))
    if not set(sides) <= {0, 1, 2, 3}:
        raise ValueError("a block has four sides")
    return sides
