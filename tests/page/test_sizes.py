"""Sizes looked at: each is laid once, and the one that is waited for goes first."""

import asyncio
from collections import Counter
from types import SimpleNamespace

import pytest

from blockcheck.errors import PlanError
from blockcheck.page import sizes
from blockcheck.page.sizes import Sizes

TABLE = [(150.0, 220.0 + k) for k in range(5)]
BLOCKS = [SimpleNamespace(name=str(n)) for n in range(230)]
ONE = SimpleNamespace(
    kind="block",
    names=tuple(b.name for b in BLOCKS),
    size_mm=TABLE[2],
    trims="its own",
    plan=None,
    choice=SimpleNamespace(
        table=[SimpleNamespace(width_mm=w, height_mm=h) for w, h in TABLE],
    ),
)


class Slow:
    """Processes that are asked for one thing after the other."""

    def __init__(self):
        self.asked = []

    async def run(self, pool, job, plan, blocks, size):
        self.asked.append((size, len(blocks)))
        await asyncio.sleep(0)
        if size == (0, 0):
            raise PlanError("There is no place for it.")
        return tuple((b.name, size) for b in blocks)


def test_sizes_are_laid_ahead_and_each_once(monkeypatch):
    monkeypatch.setattr(sizes, "REST_S", 0.0)

    async def look():
        workers = Slow()
        laid = Sizes(workers, BLOCKS)
        assert await laid.at(ONE, TABLE[2]) == "its own"
        laid.begin(ONE, 2)
        laid.begin(ONE, 4)
        found = [await laid.at(ONE, TABLE[k]) for k in (1, 1, 3, 0, 4)]
        assert found[0] == tuple((b.name, TABLE[1]) for b in BLOCKS)
        return workers.asked

    blocks = Counter()
    for size, count in asyncio.run(look()):
        blocks[size] += count
    assert blocks == dict.fromkeys((TABLE[k] for k in (0, 1, 3, 4)), len(BLOCKS))


def test_a_size_that_is_waited_for_goes_before_those_ahead(monkeypatch):
    monkeypatch.setattr(sizes, "REST_S", 0.0)

    async def look():
        workers = Slow()
        laid = Sizes(workers, BLOCKS)
        laid.begin(ONE, 0)
        while not workers.asked:
            await asyncio.sleep(0)
        await laid.at(ONE, TABLE[4])
        return workers.asked

    asked = [size for size, _ in asyncio.run(look())]
    assert asked[-2:] == [TABLE[4]] * 2
    assert set(asked[:-2]) == {TABLE[0]}  # what was begun, and no other


def test_a_rest_ends_when_its_own_size_is_waited_for(monkeypatch):
    async def look():
        monkeypatch.setattr(sizes, "REST_S", 0.0)
        laid = Sizes(Slow(), BLOCKS)
        laid.begin(ONE, 0)
        hurried = asyncio.ensure_future(laid.at(ONE, TABLE[4]))
        while (ONE.kind, TABLE[0]) not in laid._laid:
            await asyncio.sleep(0)
        monkeypatch.setattr(sizes, "REST_S", 1000.0)
        await hurried
        return await asyncio.wait_for(laid.at(ONE, TABLE[0]), 20)

    assert len(asyncio.run(look())) == len(BLOCKS)


def test_a_size_without_a_place_is_said_each_time_and_ends_nothing_else():
    async def look():
        laid = Sizes(Slow(), BLOCKS)
        for _ in range(2):
            with pytest.raises(PlanError):
                await laid.at(ONE, (0, 0))
        laid.begin(ONE, 0)
        assert len(await laid.at(ONE, TABLE[3])) == len(BLOCKS)
        laid.end()

    asyncio.run(look())
