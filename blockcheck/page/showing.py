"""What each view shows, gathered from the project and the planning; nothing is changed here."""

from __future__ import annotations

import asyncio
from dataclasses import asdict, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from starlette.exceptions import HTTPException

from ..errors import ProjectError
from ..planning.plan import BlockRecord, Plan, called
from ..planning.quilt import QuiltPlan
from ..project import Event, Kept
from ..report import words
from ..report.screen_picture import on_photo
from ..units import format_uncertainty
from . import work
from .queue import KEPT, REFUSED, Queue
from .shelf import Shelf

VIEWS = {
    "photos": "Photos",
    "blocks": "Blocks",
    "rows": "Rows",
    "trim": "Trim",
    "cut": "Cut",
    "plan": "Plan",
}
SIDES = ("top", "right", "bottom", "left")
CORNERS = ("top left", "top right", "bottom right", "bottom left")
Shown = dict[str, Any]


class Showing:
    """Reads projects for the views."""

    def __init__(self, shelf: Shelf, queue: Queue, workers: work.Workers) -> None:
        self._shelf, self._queue, self._workers = shelf, queue, workers
        self._plans: dict[str, tuple[object, QuiltPlan, tuple[BlockRecord, ...]]] = {}
        self._planning: dict[str, asyncio.Lock] = {}

    def projects(self) -> list[Shown]:
        """Every project with how many blocks it has."""
        found: list[Shown] = []
        for name in self._shelf.names():
            try:
                with self._shelf.open(name) as quilt:
                    blocks = len(quilt.blocks())
                found.append({"name": name, "said": _count(blocks, "block")})
            except ProjectError as e:
                found.append({"name": name, "said": str(e), "spoiled": True})
        return found

    def count(self, project: str) -> int:
        """How many blocks a project has."""
        with self._shelf.open(project) as quilt:
            return len(quilt.blocks())

    def photo_path(self, project: str, sha256: str) -> Path:
        """Where a photo of the project or of its queue lies."""
        for item in self._queue.items(project):
            if item.sha256 == sha256 and (path := self._queue.file(project, item)).is_file():
                return path
        with self._shelf.open(project) as quilt:
            for photo in quilt.photos():
                if photo.sha256 == sha256:
                    return photo.path
        raise ProjectError("There is no such photo in this project.", "Load the page anew.")

    async def worked_out(self, project: str) -> tuple[QuiltPlan, tuple[BlockRecord, ...]]:
        """The quilt as it is now, worked out once for each state of the file."""
        async with self._planning.setdefault(project, asyncio.Lock()):
            key, plan, blocks = await asyncio.to_thread(self._state, project)
            known = self._plans.get(project)
            if known is None or known[0] != key:
                quilt = await self._workers.run("plan", work.plan, plan, blocks)
                known = self._plans[project] = (key, quilt, blocks)
            return known[1], known[2]

    def _state(self, project: str) -> tuple[object, Plan, tuple[BlockRecord, ...]]:
        with self._shelf.open(project) as quilt:
            stat = quilt.path.stat()
            return (stat.st_mtime_ns, stat.st_size, stat.st_ino), quilt.plan, quilt.blocks()

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
        with self._shelf.open(project) as quilt:
            plan, blocks = quilt.plan, quilt.blocks()
            return {
                "title": project,
                "plan": plan,
                "next": self._next(project, plan, blocks),
            }

    def _next(self, project: str, plan: Plan, blocks: tuple[BlockRecord, ...]) -> Shown:
        """The one thing to do next: a sentence, and where it is done."""
        waiting = [i for i in self._queue.items(project) if i.state == REFUSED]
        used = [b for b in blocks if b.state != "set aside"]
        left = [b for b in used if b.state == "measured"]
        if not any((plan.card_side, plan.sheet_side, plan.square, plan.grid)):
            return _step(
                "Print the card and say what it measures.", "plan", "Enter the card’s size"
            )
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
        items = [asdict(item) for item in self._queue.items(project)]
        blocks = await asyncio.to_thread(self._names, project)
        again = query.get("again", "")
        return {
            "data": {"items": items, "again": again, "trimmed": query.get("trimmed", "")},
            "empty": not blocks and not items,
            "again": again,
            "trimmed": query.get("trimmed") == "yes",
            "called": called,
        }

    def _names(self, project: str) -> list[str]:
        with self._shelf.open(project) as quilt:
            return [b.name for b in quilt.blocks()]

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
            "sizes": _sizes(plan, block, kept),
            "can": can,
            "history": [
                {
                    "when": _when(event.at),
                    "what": event.what,
                    "said": _event_size(plan, event.kept) if event.kept else event.detail,
                }
                for event in reversed(history)
            ],
            "before": names[here - 1] if here else None,
            "after": names[here + 1] if here + 1 < len(names) else None,
            "data": {
                "name": name,
                "photo": None if photo is None or photo.missing else photo.sha256,
                "held": _held(history, kept),
                "labels": _labels(plan, block, kept),
                **_drawn(block),
                "can": asdict(can),
            },
        }

    async def _lines(self, project: str, query: dict[str, str]) -> Shown:
        """Where a block is trimmed, in its photo's pixels."""
        quilt, blocks = await self.worked_out(project)
        name = query.get("name", "")
        trim = next((t for t in quilt.trims if t.name == name), None)
        block = next((b for b in blocks if b.name == name), None)
        if trim is None or block is None or block.corners_px is None:
            return {"data": {"kept": None}}
        return {"data": {"kept": _px(block, trim.placement.corners_mm), "fits": trim.fits}}

    async def _mend(self, project: str, query: dict[str, str]) -> Shown:
        """A photo that was refused, to set the corners in by hand."""
        number = query.get("photo", "")
        item = self._queue.item(project, int(number) if number.isdigit() else 0)
        if item.state == KEPT:
            raise ProjectError("This photo was measured.", "Go to its block.")
        return {
            "title": item.name,
            "item": item,
            "data": {
                "photo": item.sha256,
                "number": item.id,
                "corners": [list(xy) for xy in item.doubtful],
            },
        }


def _px(block: BlockRecord, places_mm: Any) -> list[list[float]]:
    """Places on a block in its photo's pixels."""
    assert block.corners_mm is not None
    assert block.corners_px is not None
    places = np.asarray(places_mm, float).reshape(-1, 2)
    found = on_photo(places, block.corners_mm, block.corners_px)
    return [[round(float(x), 2), round(float(y), 2)] for x, y in found]


def _drawn(block: BlockRecord) -> Shown:
    """What is drawn of a block on its photo, in the photo's pixels."""
    if block.corners_px is None:
        return {"corners": [], "points": {}, "line": None, "outline": []}
    line = block.centre_line_mm
    names, places = list(block.points_mm), list(block.points_mm.values())
    return {
        "corners": [[float(x), float(y)] for x, y in block.corners_px],
        "outline": _px(block, block.outline_mm),
        "points": dict(zip(names, _px(block, places), strict=True)),
        "line": None if line is None else _px(block, line),
    }


def _labels(plan: Plan, block: BlockRecord, kept: Kept) -> list[Shown]:
    """Each side's length, a little inside its middle."""
    if kept.measurement is None or block.corners_mm is None:
        return []
    corners, middle = block.corners_mm, block.corners_mm.mean(axis=0)
    sides = (corners + np.roll(corners, -1, axis=0)) / 2
    places = _px(block, sides + (middle - sides) * 0.2)
    return [
        {"at": at, "text": words.length(plan, e.value)}
        for at, e in zip(places, kept.measurement.sides_mm, strict=True)
    ]


def _held(history: tuple[Event, ...], kept: Kept) -> list[int]:
    """The sides that were set by hand: as the last step says, else all of them."""
    if kept.measurement is None or not kept.measurement.by_hand:
        return []
    said = next(e.detail for e in reversed(history) if e.kept is not None)
    named = [k for k, side in enumerate(SIDES) if side in said.partition("by hand:")[2]]
    return named or [0, 1, 2, 3]


def _sizes(plan: Plan, block: BlockRecord, kept: Any) -> list[Shown]:
    """The sizes in words, each with its ±."""

    def row(name: str, e: Any) -> Shown:
        return {
            "name": name,
            "size": words.length(plan, e.value),
            "u": format_uncertainty(e.u95, unit=plan.unit),
        }

    rows = [row("Width", block.width_mm), row("Height", block.height_mm)]
    m = kept.measurement
    if m is not None:
        rows += [
            row(f"{side.capitalize()} side", e) for side, e in zip(SIDES, m.sides_mm, strict=True)
        ]
        rows.append(row("Largest bow", max(m.bow_mm, key=lambda e: e.value)))
        square = m.out_of_square_mm
        rows.append(row("Out of square", replace(square, value=abs(square.value))))
    return rows


def _event_size(plan: Plan, kept: Any) -> str:
    sides = (kept.width_mm, kept.height_mm)
    return words.size(plan, *(e.value for e in sides))


def _when(at: str) -> str:
    return datetime.fromisoformat(at).astimezone().strftime("%b %-d, %H:%M")


def _count(n: int, thing: str) -> str:
    return f"{n} {thing}{'' if n == 1 else 's'}"


def _step(said: str, view: str, label: str) -> Shown:
    return {"said": said, "view": view, "label": label}
