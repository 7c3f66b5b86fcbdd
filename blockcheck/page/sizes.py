"""Sizes that are only looked at: laid on every block ahead of the hand, each once."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Sequence

from ..errors import BlockcheckError
from ..planning.plan import BlockRecord
from ..planning.quilt import QuiltPlan
from ..planning.trimming.trim_lines import TrimPlan
from . import work

SHARE = 50  # blocks that a process lays a size on ahead, before it looks who waits
REST_S = 0.3  # after a size that was waited for: the hand on the slider asks for the next
Size = tuple[float, float]
Laid = tuple[TrimPlan, ...]


class Sizes:
    """Where each block is trimmed at each size of the table, for one state of a project.

    A size that is asked for goes before those that are laid ahead.

    Parameters
    ----------
    workers : Workers
    blocks : sequence of BlockRecord
    """

    def __init__(self, workers: work.Workers, blocks: Sequence[BlockRecord]) -> None:
        self._workers, self._blocks = workers, blocks
        self._laid: dict[tuple[str, Size], asyncio.Future[Laid]] = {}
        self._hurried: set[asyncio.Future[Laid]] = set()
        self._asked: dict[tuple[str, Size], asyncio.Event] = {}
        self._ahead: dict[str, asyncio.Task[None]] = {}

    async def at(self, one: QuiltPlan, size: Size) -> Laid:
        """Lay a size on every block of a kind.

        Raises
        ------
        PlanError
            If there is no place for it on one of them.
        """
        if size == one.size_mm:
            return one.trims
        key = one.kind, size
        self._asked_for(key).set()
        if key not in self._laid:
            laid = self._laid[key] = asyncio.ensure_future(self._at_once(one, size))
            self._hurried.add(laid)
            laid.add_done_callback(self._hurried.discard)
        return await self._answer(key)

    def begin(self, one: QuiltPlan, at: int) -> None:
        """Lay every size of a kind's table, those nearest to row `at` first."""
        assert one.choice is not None
        if one.kind not in self._ahead:
            rows = sorted(enumerate(one.choice.table), key=lambda row: abs(row[0] - at))
            sizes = [(row.width_mm, row.height_mm) for _, row in rows]
            self._ahead[one.kind] = asyncio.ensure_future(self._all(one, sizes))

    def end(self) -> None:
        """Lay nothing more ahead: the project has changed."""
        for task in self._ahead.values():
            task.cancel()

    async def _all(self, one: QuiltPlan, sizes: Sequence[Size]) -> None:
        await asyncio.sleep(REST_S)
        for size in sizes:
            key = one.kind, size
            if size == one.size_mm or key in self._laid:
                continue
            self._laid[key] = asyncio.ensure_future(self._by_and_by(one, size))
            with contextlib.suppress(BlockcheckError):  # it is said where the size is asked for
                await self._answer(key)

    async def _answer(self, key: tuple[str, Size]) -> Laid:
        laid = self._laid[key]
        try:
            return await asyncio.shield(laid)
        except BlockcheckError:
            self._laid.pop(key, None)  # the next to ask tries again
            raise

    async def _at_once(self, one: QuiltPlan, size: Size) -> Laid:
        """All processes share the blocks."""
        used = self._of(one)
        share = max(SHARE, -(-len(used) // work.PLANNING))
        return await self._together(one, used, size, share)

    async def _by_and_by(self, one: QuiltPlan, size: Size) -> Laid:
        """A share for each process, as long as no other size is waited for."""
        used, laid, asked = self._of(one), Laid(), self._asked_for((one.kind, size))
        for i in range(0, len(used), SHARE * work.PLANNING):
            while self._hurried and not asked.is_set():
                await asyncio.wait(self._hurried)
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(asked.wait(), REST_S)
            laid += await self._together(one, used[i : i + SHARE * work.PLANNING], size, SHARE)
        return laid

    async def _together(
        self, one: QuiltPlan, blocks: Sequence[BlockRecord], size: Size, share: int
    ) -> Laid:
        jobs = (
            self._workers.run("plan", work.trims_at, one.plan, blocks[i : i + share], size)
            for i in range(0, len(blocks), share)
        )
        return tuple(trim for some in await asyncio.gather(*jobs) for trim in some)

    def _asked_for(self, key: tuple[str, Size]) -> asyncio.Event:
        return self._asked.setdefault(key, asyncio.Event())

    def _of(self, one: QuiltPlan) -> list[BlockRecord]:
        names = frozenset(one.names)
        return [b for b in self._blocks if b.name in names]
