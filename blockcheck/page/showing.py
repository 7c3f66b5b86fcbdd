"""What each view shows, gathered from the project and the planning; nothing is changed here."""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from markupsafe import Markup
from starlette.exceptions import HTTPException

from ..errors import BlockcheckError, ProjectError
from ..planning.plan import BlockRecord, called
from ..planning.quilt import QuiltPlan
from ..project import PhotoFile, Undoable
from ..report import cutting_words, mark_words, pair_words, rows_words, words
from ..report.trimmed_words import to_cut
from . import block_view, forms, rows_view, set_view, sets, trim_view, verifying, work
from .queue import REFUSED, Queue
from .shelf import Known, Shelf
from .sizes import Sizes
from .wording import on_page

VIEWS = {
    "photos": "Photos",
    "blocks": "Blocks",
    "rows": "Rows",
    "trim": "Trim",
    "cut": "Cut",
    "plan": "Plan",
}
Shown = dict[str, Any]


@dataclass
class _Worked:
    """A quilt worked out from one state of its file, and what was worked out further."""

    of: Known
    quilt: QuiltPlan
    sizes: Sizes
    cutting: work.Cutting | None = None


class Showing:
    """Reads projects for the views."""

    def __init__(self, shelf: Shelf, queue: Queue, workers: work.Workers) -> None:
        self._shelf, self._queue, self._workers = shelf, queue, workers
        self._worked: dict[str, _Worked] = {}
        self._working: dict[str, asyncio.Lock] = {}

    def projects(self) -> list[Shown]:
        """Every project with how many blocks it has."""
        found: list[Shown] = []
        for name in self._shelf.names():
            try:
                blocks = len(self._shelf.read(name).blocks)
                found.append({"name": name, "said": _count(blocks, "block")})
            except ProjectError as e:
                found.append({"name": name, "said": str(e), "spoiled": True})
        return found

    def count(self, project: str) -> int:
        """How many blocks a project has."""
        return len(self._shelf.read(project).blocks)

    def photo_path(self, project: str, sha256: str) -> Path:
        """Where a photo of the project or of its queue lies."""
        for item in self._queue.items(project):
            if item.sha256 == sha256 and (path := self._queue.file(project, item)).is_file():
                return path
        with self._shelf.open(project) as quilt:
            for photo in quilt.photos():
                if photo.sha256 == sha256:
                    return photo.path
        raise ProjectError("There is no such photo in this project.", "Reload the page.")

    async def worked_out(self, project: str) -> tuple[QuiltPlan, tuple[BlockRecord, ...]]:
        """The quilt as it is now, worked out once for each state of the file."""
        worked = await self._work_out(project)
        return worked.quilt, worked.of.blocks

    async def _begun(self, project: str) -> None:
        with contextlib.suppress(BlockcheckError):  # it is said to whom asks
            await self._work_out(project)

    async def _work_out(self, project: str) -> _Worked:
        async with self._working.setdefault(project, asyncio.Lock()):
            now = await asyncio.to_thread(self._shelf.read, project)
            worked = self._worked.get(project)
            if worked is None or worked.of is not now:
                quilt = await self._workers.run("plan", work.plan, now.plan, now.blocks)
                if worked is not None:
                    worked.sizes.end()
                worked = _Worked(now, quilt, Sizes(self._workers, now.blocks))
                self._worked[project] = worked
            return worked

    async def view(self, view: str, project: str, query: dict[str, str]) -> Any:
        """All that a view's template needs; the data for its scripts under "data"."""
        show = getattr(self, f"_{view}", None)
        if show is None:
            raise HTTPException(404)
        shown = await show(project, query)
        if isinstance(shown, dict):
            common = await asyncio.to_thread(self._common, project)
            shown = {"view": view, "project": project, "data": {}, **common, **shown}
        return shown

    def _common(self, project: str) -> Shown:
        known = self._shelf.read(project)
        return {
            "title": project,
            "plan": known.plan,
            "next": self._next(project, known),
        }

    def _next(self, project: str, known: Known) -> Shown:
        """The one thing to do next: a sentence, and where it is done."""
        plan, blocks = known.plan, known.blocks
        waiting = [i for i in self._queue.items(project) if i.state == REFUSED]
        used = [b for b in blocks if b.state != "set aside"]
        left = [b for b in used if b.state == "measured"]
        if not any((plan.card_side, plan.sheet_side, plan.square, plan.grid)):
            return _step(
                "Print the card and say what it measures.", "plan", "Enter the card’s size"
            )
        if verifying.in_doubt(known.checks):
            said = "The latest check does not agree: do not cut by these photos."
            return _step(said, "verify", "See the check")
        if not blocks and not self._queue.items(project):
            return _step("Take a photo of your first block.", "photos", "Go to the photos")
        if waiting:
            said = f"{_count(len(waiting), 'photo')} could not be measured."
            return _step(said, "photos", "See why")
        if not used:
            return _step("The blocks are being measured.", "photos", "See the photos")
        if left and len(left) == len(used):
            said = f"{_count(len(used), 'block')} measured. When all are in, look at the size."
            return _step(said, "blocks", "Look at the size")
        if left:
            return _step(
                f"{_count(len(left), 'block')} still to trim.",
                "trim",
                f"Trim {called(left[0].name)}",
            )
        return _step("Every block is trimmed.", "cut", "Cut the rest")

    async def _photos(self, project: str, query: dict[str, str]) -> Shown:
        items = [vars(item) for item in self._queue.items(project)]
        blocks = (await asyncio.to_thread(self._shelf.read, project)).blocks
        again, queued = query.get("again", ""), {name for i in items for name in i["together"]}
        begun = await asyncio.to_thread(sets.begun, self._shelf, project)
        return {
            "data": {
                "items": items,
                "again": again,
                "trimmed": query.get("trimmed", ""),
                "together": query.get("together", ""),
                "begun": {k: n for k, n in begun.items() if not sets.holds(k, queued)},
            },
            "empty": not blocks and not items,
            "again": again,
            "trimmed": query.get("trimmed") == "yes",
            "called": called,
        }

    async def _verify(self, project: str, query: dict[str, str]) -> Shown:
        """The checks of the measuring: those made, and the photos that wait for one."""
        known = await asyncio.to_thread(self._shelf.read, project)
        waiting = {
            kind: len(verifying.photos_in(verifying.folder_of(self._shelf, project, kind)))
            for kind in verifying.NEEDED
        }
        made = verifying.made(known.plan, known.checks)
        return {"title": "Check the measuring", "data": {"made": made, "waiting": waiting}}

    async def _block(self, project: str, query: dict[str, str]) -> Shown:
        """One block: its photo with what was measured in it, its marks, its history."""
        return await asyncio.to_thread(self._one_block, project, query.get("name", ""))

    def _one_block(self, project: str, name: str) -> Shown:
        with self._shelf.open(project) as quilt:
            blocks, plan = quilt.blocks(), quilt.plan
            names = [b.name for b in blocks]
            block = next((b for b in blocks if b.name == name), None)
            if block is None:
                quilt.latest(name)  # says why
                raise ProjectError(f"There is no block {name}.", "Choose one from the list.")
            photo, kept = quilt.photo(name), quilt.latest(name)
            can, history = quilt.undoable(name), quilt.history(name)
        if can.undo and can.undo.startswith("measured ("):
            can = replace(can, undo=None)  # that would take the block out of the quilt
        here = names.index(name)
        return {
            "title": words.sentence(called(name)),
            "block": block,
            "photo": photo,
            "kept": kept,
            "size": block_view.size(plan, block.width_mm, block.height_mm),
            "sizes": block_view.sizes(plan, block, kept),
            "budget": block_view.budget(plan, block),
            "marked": [(n, mark_words.place(xy, block, plan)) for n, xy in block.points_mm.items()],
            "line": mark_words.line_places(block.centre_line_mm, block, plan)
            if block.centre_line_mm
            else "",
            "can": can,
            "history": [
                {
                    "when": block_view.when(event.at),
                    "what": event.what,
                    "said": block_view.size(plan, event.kept.width_mm, event.kept.height_mm)
                    if event.kept
                    else event.detail,
                }
                for event in reversed(history)
            ],
            "before": names[here - 1] if here else None,
            "after": names[here + 1] if here + 1 < len(names) else None,
            "data": {
                "name": name,
                "photo": None if photo is None or photo.missing else photo.sha256,
                "held": block_view.held(history, kept),
                "labels": block_view.labels(plan, block, kept),
                **block_view.drawn(block),
                "can": asdict(can),
            },
        }

    async def _blocks(self, project: str, query: dict[str, str]) -> Shown:
        """All blocks at a glance; the sizes come after, from `_sizes`."""
        self._soon = asyncio.ensure_future(self._begun(project))  # the sizes are asked for next
        removed, can = await asyncio.to_thread(self._set, project)
        photos = await asyncio.to_thread(self._shas, project)
        return {
            "blocks": (await asyncio.to_thread(self._shelf.read, project)).blocks,
            "removed": removed,
            "photos": photos,
            "can": can,
            "called": called,
            "size": block_view.size,
            "give_or_take": block_view.give_or_take,
        }

    def _set(self, project: str) -> tuple[tuple[str, ...], Undoable]:
        with self._shelf.open(project) as quilt:
            return quilt.removed(), quilt.undoable("plan")

    def _shas(self, project: str) -> dict[str, str]:
        with self._shelf.open(project) as quilt:
            return quilt.latest_photos()

    async def _sizes(self, project: str, query: dict[str, str]) -> Shown:
        """The size table, and what one of its sizes means for every block."""
        worked = await self._work_out(project)
        one = of_kind(worked.quilt, query.get("kind", ""))
        if one.choice is None:
            return {"data": {"rows": [], "said": [on_page(words.gap(one, "size"))]}}
        table = one.choice.table
        sizes = [(row.width_mm, row.height_mm) for row in table]
        chosen = sizes.index(one.choice.size_mm)
        number = query.get("row", "")
        at = min(int(number), len(table) - 1) if number.isdigit() else chosen
        trims = await worked.sizes.at(one, sizes[at])
        worked.sizes.begin(one, at)  # so that no step of the slider is waited for
        each, blocks = worked.quilt.each, worked.of.blocks
        return {"data": set_view.sizes(one, each, blocks, trims, at, chosen)}

    async def _rows(self, project: str, query: dict[str, str]) -> Shown:
        """The quilt drawn to scale, with the seams that miss."""
        quilt, blocks = await self.worked_out(project)
        can = await asyncio.to_thread(self._can, project, "order")
        return {
            "quilt": quilt,
            "can": can,
            "said": rows_words.rows_verdict(quilt),
            "called": called,
            "pair_words": pair_words,
            **rows_view.rows(quilt, blocks),
            "whole": "" if quilt.rows else Markup((await self._cutting(project)).drawing),
        }

    def _can(self, project: str, of: str) -> Undoable:
        with self._shelf.open(project) as quilt:
            return quilt.undoable(of)

    async def _trim(self, project: str, query: dict[str, str]) -> Shown:
        """One block's cuts, in large type."""
        quilt, blocks = await self.worked_out(project)
        of = {t.name: (q, t) for q in (quilt, *quilt.others) for t in q.trims}
        names = [b.name for b in blocks if b.name in of]
        if not names:
            return {"quilt": quilt, "gap": words.gap(quilt, "trims", "size")}
        record = {b.name: b for b in blocks}
        left = [n for n in names if record[n].state == "measured"]
        name = query.get("name") or (left or names)[0]
        if name not in names:
            raise ProjectError(
                f"{words.sentence(called(name))} has no trim lines.", "Choose another."
            )
        kind, trim = of[name]
        photo = await asyncio.to_thread(self._photo, project, name)
        drawing = await self._workers.run(
            "plan", work.trim_drawing, quilt.plan, record[name], trim, photo
        )
        ticks = await asyncio.to_thread(self._ticks, project)
        return trim_view.trim(kind, record[name], trim, names, len(left), ticks, Markup(drawing))

    def _photo(self, project: str, name: str) -> PhotoFile | None:
        with self._shelf.open(project) as quilt:
            return quilt.photo(name)

    def _ticks(self, project: str) -> frozenset[str]:
        with self._shelf.open(project) as quilt:
            return quilt.ticks()

    async def _cut(self, project: str, query: dict[str, str]) -> Shown:
        """What else to cut, with tick boxes, and what can be printed."""
        quilt, _ = await self.worked_out(project)
        ticks = await asyncio.to_thread(self._ticks, project)
        return {
            "quilt": quilt,
            "headline": cutting_words.headline(quilt) if quilt.finish else "",
            "ticks": ticks,
            "cutting": await self._cutting(project),
            "doubts": cutting_words.middle(quilt),
            "unused": cutting_words.unused(quilt.plan),
        }

    async def _cutting(self, project: str) -> work.Cutting:
        """The layouts and the whole quilt, drawn once for each state of the file."""
        worked = await self._work_out(project)
        if worked.cutting is None:
            worked.cutting = await self._workers.run("plan", work.cutting, worked.quilt)
        return worked.cutting

    async def _plan(self, project: str, query: dict[str, str]) -> Shown:
        """The plan as a form."""
        can = await asyncio.to_thread(self._can, project, "plan")
        plan = (await asyncio.to_thread(self._shelf.read, project)).plan
        return {
            "entries": forms.entries(plan),
            "kinds": forms.kinds(plan),
            "parts": forms.parts(plan),
            "fabrics": forms.fabrics(plan),
            "can": can,
        }

    async def _lines(self, project: str, query: dict[str, str]) -> Shown:
        """Where a block is trimmed, in its photo's pixels."""
        quilt, blocks = await self.worked_out(project)
        name = query.get("name", "")
        trims = (t for q in (quilt, *quilt.others) for t in q.trims if to_cut(q, t.name))
        trim = next((t for t in trims if t.name == name), None)
        block = next((b for b in blocks if b.name == name), None)
        if trim is None or block is None or block.corners_px is None:
            return {"data": {"kept": None}}
        return {
            "data": {"kept": block_view.px(block, trim.placement.corners_mm), "fits": trim.fits}
        }

    async def _mend(self, project: str, query: dict[str, str]) -> Shown:
        """A photo that was refused, to set the corners in by hand."""
        number = query.get("photo", "")
        item = self._queue.item(project, int(number) if number.isdigit() else 0)
        if item.state != REFUSED:
            raise ProjectError("This photo was not refused.", "Go back to the photos.")
        return {
            "title": item.name,
            "item": item,
            "data": {
                "photo": item.sha256,
                "number": item.id,
                "corners": [list(xy) for xy in item.doubtful],
            },
        }


def of_kind(quilt: QuiltPlan, kind: str) -> QuiltPlan:
    """What was worked out for one kind of block; for the first that there are blocks of."""
    return next((one for one in quilt.each if one.kind == kind), quilt.each[0])


def _count(n: int, thing: str) -> str:
    return f"{n} {thing}{'' if n == 1 else 's'}"


def _step(said: str, view: str, label: str) -> Shown:
    return {"said": said, "view": view, "label": label}
