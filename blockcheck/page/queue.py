"""Photos that were taken in: each is measured and kept, and every step is told at once."""

from __future__ import annotations

import asyncio
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import BlockcheckError
from ..files import sha256_of
from ..measuring.results import PhotoResult
from ..project.records import settings_in
from ..report import measured_words
from . import sets, work
from .block_view import give_or_take, size
from .events import Hub
from .intake import KINDS, Received
from .pictures import Pictures
from .shelf import Shelf
from .wording import on_page

ALIKE, DISTINCT = 0.98, 0.02  # correlation of two photos of one block, and more than of others
WAITING, MEASURING, KEPT, REFUSED, KNOWN = "waiting", "measuring", "kept", "refused", "known"


@dataclass(frozen=True)
class Item:
    """One photo in the queue, as it is told to the page.

    Attributes
    ----------
    id : int
    name : str
        The file's name in the project's folder of photos.
    sha256 : str
    state : {"waiting", "measuring", "kept", "refused", "known"}
    blocks : tuple of str
        Blocks that it gave, or that it is known for.
    sizes : tuple of str
        What those that it gave measure in it.
    said : tuple of str
        What is wrong and what to do, or what to know; sentences.
    code : str
        Of the problem that it was refused for.
    doubtful : tuple of (x, y)
        An outline that was not believed, in the photo's pixels.
    sides : tuple of int
        Its sides that are in doubt.
    kind : str
        Which kind of block it shows; as the plan's first, or as it was, where empty.
    again : str
        The block that it was taken of once more, where that was chosen.
    trimmed : bool
        Whether that block is trimmed now.
    like : str
        A known block of the same size: is it that one again?
    together : tuple of str
        The photos of a set that shows one block, each with its folder; `name` is the first then.
    """

    id: int
    name: str
    sha256: str
    state: str = WAITING
    blocks: tuple[str, ...] = ()
    sizes: tuple[str, ...] = ()
    said: tuple[str, ...] = ()
    code: str = ""
    doubtful: tuple[tuple[float, float], ...] = ()
    sides: tuple[int, ...] = ()
    kind: str = ""
    again: str = ""
    trimmed: bool = False
    like: str = ""
    together: tuple[str, ...] = ()


@dataclass
class _Line:
    """One project's photos."""

    items: dict[int, Item] = field(default_factory=dict)
    looked: bool = False
    last: asyncio.Task[None] | None = None  # the photo that was taken in last


class Queue:
    """The photos of all projects since the start."""

    def __init__(
        self,
        shelf: Shelf,
        hub: Hub,
        workers: work.Workers,
        pictures: Pictures,
        profiles: Path | None,
    ) -> None:
        self._shelf, self._hub, self._workers, self._pictures = shelf, hub, workers, pictures
        self.profiles = profiles
        self._lines: dict[str, _Line] = {}
        self._numbers = itertools.count(1)
        self._tasks: set[asyncio.Task[None]] = set()
        self._looks: dict[tuple[str, int, int], np.ndarray] = {}
        self._room = asyncio.Semaphore(workers.cores + 1)  # one lies ready, so that none waits

    def items(self, project: str) -> list[Item]:
        """A project's photos since the start, the latest first."""
        return list(self._lines.setdefault(project, _Line()).items.values())[::-1]

    def item(self, project: str, number: int) -> Item:
        """One of them.

        Raises
        ------
        BlockcheckError
            If there is none of that number.
        """
        found = self._lines.setdefault(project, _Line()).items.get(number)
        if found is None:
            raise BlockcheckError("This photo is not in the queue any more.", "Take it again.")
        return found

    def file(self, project: str, item: Item) -> Path:
        """Where a photo lies."""
        return self._shelf.photos(project) / item.name

    def add(
        self,
        project: str,
        received: Received | Sequence[Received],
        again: str = "",
        trimmed: bool = False,
        kind: str = "",
    ) -> Item:
        """Put a photo into the queue, or several that show one block together."""
        photos = [received] if isinstance(received, Received) else received
        folder = self._shelf.photos(project)
        names = tuple(r.path.relative_to(folder).as_posix() for r in photos)
        item = Item(
            next(self._numbers),
            names[0],
            photos[0].sha256,
            kind=kind,
            again=again,
            trimmed=trimmed,
            together=() if isinstance(received, Received) else names,
        )
        self._set(project, item)
        line = self._lines[project]
        line.last = asyncio.get_running_loop().create_task(self._do(project, item, line.last))
        self._tasks.add(line.last)
        line.last.add_done_callback(self._tasks.discard)
        return item

    async def look(self, project: str) -> None:
        """Take up photos that lie in the folder and are not known: a start before ended early."""
        line = self._lines.setdefault(project, _Line())
        if line.looked:
            return
        line.looked = True
        here = {item.name for item in line.items.values()}
        for received in await asyncio.to_thread(_unknown, self._shelf, project):
            if received.path.name not in here:
                self.add(project, received)

    def add_set(self, project: str, photos: Sequence[Received], *given: Any) -> Item:
        """Put photos that show one block together into the queue, once."""
        folder = photos[0].path.parent
        for item in self.items(project):
            if item.together and self.file(project, item).parent == folder:
                if item.state != REFUSED:
                    return item
                self._gone(project, item.id)
        return self.add(project, photos, *given)

    def drop(self, project: str, number: int) -> None:
        """Take a photo that gave no block out of the queue and off the disk."""
        item = self.item(project, number)
        if item.state == REFUSED:
            for name in item.together or (item.name,):
                (self._shelf.photos(project) / name).unlink(missing_ok=True)
        if item.state in (REFUSED, KNOWN, KEPT):
            self._gone(project, number)

    def _gone(self, project: str, number: int) -> None:
        del self._lines[project].items[number]
        self._hub.tell(project, "gone", {"id": number})

    def kept(self, project: str, number: int, blocks: Sequence[str]) -> None:
        """Say that a refused photo was mended by hand."""
        item = self.item(project, number)
        self._set(project, replace(item, state=KEPT, blocks=tuple(blocks), said=(), doubtful=()))

    def settled(self, project: str, number: int, block: str = "") -> None:
        """The question whether it is a known block is answered: `block`, or a new one."""
        item = self.item(project, number)
        blocks = (block,) if block else item.blocks
        self._set(project, replace(item, like="", blocks=blocks))

    def _set(self, project: str, item: Item) -> None:
        self._lines.setdefault(project, _Line()).items[item.id] = item
        self._hub.tell(project, "photo", vars(item))

    async def _do(self, project: str, item: Item, before: asyncio.Task[None] | None) -> None:
        try:
            await self._measure(project, item, before)
        except BlockcheckError as e:
            said = tuple(on_page(s) for s in (e.message, e.hint) if s)
            self._set(project, replace(item, state=REFUSED, said=said, code=e.code))

    async def _measure(self, project: str, item: Item, before: asyncio.Task[None] | None) -> None:
        known = () if item.together else await asyncio.to_thread(self._known, project, item)
        if known and not item.again:
            self._set(project, replace(item, state=KNOWN, blocks=known))
            return
        async with self._room:
            self._set(project, replace(item, state=MEASURING))
            given = await asyncio.to_thread(self._given, project)
            if item.together:
                paths = await asyncio.to_thread(
                    sets.ordered, self._shelf, project, item.together, item.again
                )
                done = await self._workers.run("measure", work.together, paths, given)
            else:
                path = self.file(project, item)
                done = await self._workers.run("measure", work.measure, path, given)
        self._pictures.put(item.sha256, done.pictures)
        if done.look is not None:
            self._looks[_place(item.sha256, done.result.blocks[0].corners_px)] = done.look
        result = done.result
        if not result.ok:
            self._set(project, _refused(item, result))
            return
        if before is not None:  # blocks are numbered as their photos were taken in
            await asyncio.wait([before])
        item = await asyncio.to_thread(self._keep, project, item, done)
        self._set(project, item)
        if len(item.blocks) == 1 and not item.again:
            like = await self._alike(project, item.blocks[0])
            if like and self._lines[project].items.get(item.id) == item:
                self._set(project, replace(item, like=like))

    async def _alike(self, project: str, name: str) -> str:
        """The known block that a new one may be: of its size, and looking most like it."""
        near = await asyncio.to_thread(_of_one_size, self._shelf, project, name)
        own = near.pop(name, None)
        if own is None or not near:
            return ""
        looks = {}
        for one, (path, sha256, corners) in {name: own, **near}.items():
            try:
                at = _place(sha256, corners)
                if at not in self._looks:
                    found = await self._workers.run("edit", work.look_of, path, corners)
                    self._looks[at] = found
                looks[one] = self._looks[at]
            except BlockcheckError:
                continue  # its photo is gone: nothing is suggested of it
        new = looks.pop(name, None)
        alike = (
            sorted(
                ((float((new * other).sum()), one) for one, other in looks.items()), reverse=True
            )
            if new is not None
            else []
        )
        if not alike or alike[0][0] < ALIKE:
            return ""
        second = alike[1][0] if len(alike) > 1 else 0.0
        return alike[0][1] if alike[0][0] - second > DISTINCT else ""

    def _known(self, project: str, item: Item) -> tuple[str, ...]:
        with self._shelf.open(project) as quilt:
            return quilt.names_in(item.sha256)

    def _given(self, project: str) -> dict[str, Any]:
        return {**settings_in(self._shelf.read(project).plan), "profiles": self.profiles}

    def _keep(self, project: str, item: Item, done: work.Measured) -> Item:
        """Keep the photo's blocks; says which they are, and what they measure."""
        result = done.result
        with self._shelf.open(project) as quilt:
            names = quilt.add_result(
                result,
                [item.again] if item.again else None,
                settings=done.settings,
                trimmed=item.trimmed,
                kind=item.kind,
            )
            plan = quilt.plan
        said = [on_page(f"{p.message} {p.hint}".strip()) for p in result.problems]
        sizes, planned = [], plan.of_kind(item.kind or plan.kind).planned_mm
        for block in result.blocks:
            both = block.width_mm, block.height_mm
            sizes.append(f"{size(plan, *both)} {give_or_take(plan, *both)}")
            if planned and measured_words.sideways(both[0].value, both[1].value, planned):
                said.append(measured_words.SIDEWAYS)
        if item.together:
            said.insert(0, f"From {measured_words.photos_named(result)}.")
            place = result.path.relative_to(self._shelf.photos(project))
            item = replace(item, name=place.as_posix(), sha256=result.sha256 or item.sha256)
        return replace(item, state=KEPT, blocks=tuple(names), sizes=tuple(sizes), said=tuple(said))


def _refused(item: Item, result: PhotoResult) -> Item:
    """Why a photo gave no block; of a set, what is wrong with each photo too."""
    said = [p for p in result.problems if p.level == "error"]
    said += [p for p in result.problems if p.level != "error" and item.together]
    doubtful = None if item.together else result.doubtful
    return replace(
        item,
        state=REFUSED,
        said=tuple(on_page(s) for p in said for s in (p.message, p.hint) if s),
        code=said[0].code,
        doubtful=() if doubtful is None else tuple(doubtful.corners_px),
        sides=() if doubtful is None else tuple(doubtful.sides),
    )


def _place(sha256: str, corners_px: np.ndarray) -> tuple[str, int, int]:
    """A block in a photo: the photo, and the block's middle there."""
    x, y = np.round(corners_px.mean(axis=0)).astype(int)
    return sha256, int(x), int(y)


def _of_one_size(shelf: Shelf, project: str, name: str) -> dict[str, tuple[Path, str, np.ndarray]]:
    """A block and those of its size, each with its photo and its corners there."""
    blocks = {b.name: b for b in shelf.read(project).blocks}
    new, found = blocks.get(name), {}
    if new is None:
        return {}
    with shelf.open(project) as quilt:
        for b in blocks.values():
            pairs = ((b.width_mm, new.width_mm), (b.height_mm, new.height_mm))
            photo = quilt.photo(b.name)
            if (
                b.corners_px is not None
                and photo is not None
                and not photo.missing
                and all(abs(x.value - y.value) <= math.hypot(x.u95, y.u95) for x, y in pairs)
            ):
                found[b.name] = (photo.path, photo.sha256, b.corners_px)
        return found


def _unknown(shelf: Shelf, project: str) -> list[Received]:
    folder = shelf.photos(project)
    if not folder.is_dir():
        return []
    found = []
    with shelf.open(project) as quilt:
        for path in sorted(folder.iterdir()):
            if path.suffix in KINDS and path.is_file() and not path.name.startswith("."):
                sha256 = sha256_of(path)
                if sha256 is not None and not quilt.names_in(sha256):
                    found.append(Received(path, sha256))
    return found
