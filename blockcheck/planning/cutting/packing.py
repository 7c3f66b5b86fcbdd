"""Cutting layouts: pieces laid into strips of cloth so that as little as can be is used.

Cloth is cut the way a rotary cutter does it, by straight cuts from edge to edge: strips across the
cloth first, each strip into columns, each column into pieces. Which strips are worth cutting is
found by column generation (Gilmore and Gomory 1965): a linear program over the strips found so far
prices the pieces, and two knapsacks, up a column and along a strip, look for a strip that is worth
more than its cloth. SciPy's `milp` (HiGHS) then chooses whole strips.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...errors import PlanError
from ...units import INCH
from ..solver import milp

Ints = NDArray[np.int_]
Floats = NDArray[np.float64]
_GRIDS_MM = (INCH / 32, 1.0, 0.1)  # the coarsest on which every length falls is used


@dataclass(frozen=True)
class Shape:
    """Pieces of one size to be cut.

    Attributes
    ----------
    across_mm, along_mm : float
        Size across the cloth's width and along its length.
    count : int
    turns : bool
        Whether the piece may also be cut turned by a quarter.
    """

    across_mm: float
    along_mm: float
    count: int
    turns: bool = True


@dataclass(frozen=True)
class Place:
    """One piece on the cloth: which shape, where its first corner lies, how large it lies there."""

    shape: int
    x_mm: float
    y_mm: float
    across_mm: float
    along_mm: float


@dataclass(frozen=True)
class Strip:
    """A strip from edge to edge: where it begins along the cloth, how wide it is, what it gives."""

    y_mm: float
    wide_mm: float
    places: tuple[Place, ...]


@dataclass(frozen=True)
class _Pattern:
    """One way to cut a strip: columns of a width, each a stack of ways to lay a piece."""

    high: int
    columns: tuple[tuple[int, tuple[int, ...]], ...]
    gives: tuple[int, ...]


class Packer:
    """Layouts of the same pieces on cloth of one width.

    Parameters
    ----------
    shapes : sequence of Shape
    width_mm : float
        The cloth's usable width.
    limit_s : float
        How long to look for strips, and how long to choose among them.

    Raises
    ------
    PlanError
        If a piece is wider than the cloth whichever way it may lie.
    """

    def __init__(self, shapes: Sequence[Shape], width_mm: float, limit_s: float = 0.7) -> None:
        lengths = [mm for s in shapes for mm in (s.across_mm, s.along_mm)]
        self.unit = next((g for g in _GRIDS_MM if all(_on(mm, g) for mm in lengths)), _GRIDS_MM[-1])
        self.shapes, self.limit = shapes, limit_s
        self.width = math.floor(width_mm / self.unit + 1e-3)
        ways = []
        for k, s in enumerate(shapes):
            size = tuple(math.ceil(mm / self.unit - 1e-3) for mm in (s.across_mm, s.along_mm))
            lying = {size, size[::-1]} if s.turns else {size}
            ways += [(k, a, b) for a, b in sorted(lying) if a <= self.width]
        if missing := set(range(len(shapes))) - {k for k, _, _ in ways}:
            wide = shapes[min(missing)].across_mm
            raise PlanError(f"A piece {wide:.0f} mm wide does not fit across the cloth.")
        self.kind, self.across, self.along = np.array(sorted(ways, key=lambda w: w[1])).T
        self.patterns: dict[tuple[int, tuple[int, ...]], _Pattern] = {}
        self.whole: list[list[_Pattern]] = []  # layouts of all pieces, found without choosing

    def shortest(self) -> tuple[Strip, ...]:
        """Strips that give all pieces and take as little of the length as could be found."""
        from scipy.optimize import LinearConstraint  # takes long to load

        demand = np.array([s.count for s in self.shapes])
        self._look(demand)
        pool = self._pool()
        gives, high = np.array([p.gives for p in pool]).T, np.array([p.high for p in pool])
        found = milp(
            high,
            constraints=[LinearConstraint(gives, demand, np.inf)],
            integrality=np.ones(len(pool)),
            options={"time_limit": self.limit},
        )
        tries = [np.array([one.count(p) for p in pool]) for one in self.whole]
        if found.x is not None:  # else there was no time to choose
            tries.append(np.round(found.x).astype(int))
        return self._lay(pool, min(tries, key=lambda chosen: int(high @ chosen)), demand)

    def fullest(self, length_mm: float) -> tuple[Strip, ...]:
        """Strips on a piece of cloth of a length that give as much of the pieces' area as found."""
        from scipy.optimize import Bounds, LinearConstraint

        length = math.floor(length_mm / self.unit + 1e-3)
        demand = np.array([s.count for s in self.shapes])
        self._look(demand, length)
        pool = [p for p in self._pool() if p.high <= length]
        if not pool:
            return ()
        gives, high = np.array([p.gives for p in pool]).T, np.array([p.high for p in pool])
        n, k = len(pool), len(demand)
        area = np.array([s.across_mm * s.along_mm for s in self.shapes])
        found = milp(
            np.concatenate([1e-6 * area.sum() * high / high.sum(), -area]),  # strips, pieces
            constraints=[
                LinearConstraint(np.hstack([gives, -np.eye(k)]), 0, np.inf),
                LinearConstraint(np.append(high, np.zeros(k))[None], 0, length),
            ],
            integrality=np.ones(n + k),
            bounds=Bounds(0, np.append(np.full(n, np.inf), demand)),
            options={"time_limit": self.limit},
        )
        if found.x is None:
            return ()
        return self._lay(pool, np.round(found.x[:n]).astype(int), demand)

    def _pool(self) -> list[_Pattern]:
        return list(self.patterns.values())

    def _look(self, demand: Ints, length: int | None = None) -> None:
        """Gather strips that may be worth cutting: for all pieces, then for what rounding leaves."""
        until = time.monotonic() + self.limit
        for w in range(len(self.kind)):
            self._add(int(self.along[w]), self._alike(w, demand), demand)
        for lying in (1, -1):  # two layouts to begin with, pieces on end and on their side
            strips = list(self._greedy(demand, lying, length))
            self.whole += [strips] if length is None else []
        left = demand
        while left.any() and time.monotonic() < until:
            prices, used = self._prices(left)
            before = len(self.patterns)
            for high, columns in self._worth(prices, left, length):
                self._add(high, columns, left, prices)
            if len(self.patterns) == before or time.monotonic() > until:
                whole = np.floor(used + 1e-6).astype(int)
                rest = left - np.array([p.gives for p in self._pool()]).T[:, : len(used)] @ whole
                rest = np.maximum(rest, 0)
                if (rest == left).all():
                    if len(self.patterns) == before:
                        break
                    continue
                left = rest

    def _alike(self, w: int, demand: Ints) -> list[tuple[int, tuple[int, ...]]]:
        """A strip of one way only."""
        count = min(self.width // self.across[w], demand[self.kind[w]])
        return [(int(self.across[w]), (w,))] * int(count)

    def _greedy(self, demand: Ints, lying: int, length: int | None) -> Iterator[_Pattern]:
        """Strips one after the other, each opened by the tallest piece as all lie."""
        area = np.zeros(len(demand))
        area[self.kind] = self.across * self.along
        feet: dict[int, int] = {}
        for w in np.argsort(-lying * self.along, kind="stable"):
            if length is None or self.along[w] <= length:
                feet.setdefault(int(self.kind[w]), int(w))
        left = demand.copy()
        for w in sorted(feet.values(), key=lambda w: -self.along[w]):
            while left[self.kind[w]] > 0:
                strip = self._add(int(self.along[w]), [(int(self.across[w]), (w,))], left, area)
                left -= np.array(strip.gives)
                yield strip

    def _add(
        self,
        high: int,
        columns: Sequence[tuple[int, tuple[int, ...]]],
        left: Ints,
        prices: Floats | None = None,
    ) -> _Pattern:
        """Keep a strip, less what it gives too much of; what then fits in is added."""
        waiting, kept = left.copy(), []

        def take(some: Iterable[int], wide: int, room: int) -> list[int]:
            taken = []
            for w in some:
                fits = self.across[w] <= wide and self.along[w] <= room
                if fits and waiting[self.kind[w]] > 0:
                    waiting[self.kind[w]] -= 1
                    taken.append(w)
                    room -= int(self.along[w])
            return taken

        best = []
        if prices is not None:
            best = list(np.argsort(-prices[self.kind], kind="stable"))
            best = [int(w) for w in best if prices[self.kind[w]] > 0 for _ in range(9)]
        for _, stack in columns:
            if some := take(stack[:1], self.width, high):
                wide = int(self.across[some[0]])
                some += take(stack[1:], wide, high - int(self.along[some[0]]))
                kept.append(some)
        for some in kept:
            wide = int(self.across[some[0]])
            some += take(best, wide, high - sum(int(self.along[w]) for w in some))
        width = self.width - sum(int(self.across[some[0]]) for some in kept)
        for w in best:
            if some := take((w,), width, high):
                some += take(best, int(self.across[w]), high - int(self.along[w]))
                width -= int(self.across[w])
                kept.append(some)
        high = max((sum(int(self.along[w]) for w in some) for some in kept), default=0)
        gives = tuple(int(n) for n in left - waiting)
        made = tuple((int(self.across[some[0]]), tuple(some)) for some in kept)
        strip = _Pattern(high, made, gives)
        return self.patterns.setdefault((high, gives), strip) if kept else strip

    def _prices(self, demand: Ints) -> tuple[Floats, Floats]:
        """What a piece of each shape is worth in length of cloth, and how often strips are cut."""
        from scipy.optimize import linprog

        pool = self._pool()
        gives = np.array([p.gives for p in pool]).T
        found = linprog([p.high for p in pool], A_ub=-gives, b_ub=-demand, method="highs")
        return -found.ineqlin.marginals, found.x

    def _worth(
        self, prices: Floats, left: Ints, length: int | None
    ) -> Iterator[tuple[int, list[tuple[int, tuple[int, ...]]]]]:
        """For every width that a strip may have the one worth most, where it is worth its cloth."""
        ways = np.flatnonzero(left[self.kind] > 0)
        kind, across, along = self.kind[ways], self.across[ways], self.along[ways]
        highs = np.unique(along)
        if length is not None:
            highs = highs[highs <= length]
        if not len(highs):
            return
        # a column is as wide as the piece at its foot; on it stand others that are no wider
        wides = np.unique(across)
        row = np.searchsorted(wides, across)
        many = np.repeat(left[kind][:, None], len(wides), axis=1)
        worth = np.repeat(prices[kind][:, None], len(wides), axis=1)
        stack, of_stack = _knapsack(along, worth, many, int(highs[-1]), row)
        rest = highs - along[:, None]
        there = rest >= 0
        worth = np.where(there, prices[kind][:, None] + stack[row[:, None], np.maximum(rest, 0)], 0)
        many = np.where(there, left[kind][:, None], 0)
        strip, of_strip = _knapsack(across, worth, many, self.width, np.zeros_like(row))
        for r in np.argsort(highs - strip[:, -1]):
            if strip[r, -1] <= highs[r] * (1 + 1e-6):
                break
            columns = []
            for foot in of_strip(int(r), self.width):
                others = of_stack(int(row[foot]), int(rest[foot, r]))
                columns.append((int(across[foot]), tuple(int(ways[w]) for w in (foot, *others))))
            yield int(highs[r]), columns

    def _lay(self, pool: Sequence[_Pattern], chosen: Ints, demand: Ints) -> tuple[Strip, ...]:
        """Put the strips on the cloth, the widest first, and leave out what nobody needs."""
        waiting, unit, y = demand.copy(), self.unit, 0.0
        strips = []
        order = sorted(
            (i for i in range(len(pool)) for _ in range(chosen[i])), key=lambda i: -pool[i].high
        )
        for i in order:
            x, high, places = 0, 0, []
            for _, stack in sorted(pool[i].columns, reverse=True):
                at = wide = 0
                for w in sorted(stack, key=lambda w: -self.across[w]):
                    k, across, along = int(self.kind[w]), int(self.across[w]), int(self.along[w])
                    if waiting[k] > 0:
                        waiting[k] -= 1
                        places.append(
                            Place(k, x * unit, y + at * unit, across * unit, along * unit)
                        )
                        at, wide = at + along, max(wide, across)
                x, high = x + wide, max(high, at)
            if places:
                strips.append(Strip(y, high * unit, tuple(places)))
                y += high * unit
        return tuple(strips)


def _knapsack(
    sizes: Ints, values: Floats, most: Ints, capacity: int, first: Ints
) -> tuple[Floats, Callable[[int, int], list[int]]]:
    """Bounded knapsacks side by side: best value at every capacity, and what is in it.

    Parameters
    ----------
    sizes : (N,)
    values, most : (N, R)
        Of each thing in each of R knapsacks, and how many of it there are.
    capacity : int
    first : (N,)
        The first knapsack that a thing may go into; all after it too.
    """
    best = np.zeros((values.shape[1], capacity + 1))
    taken: list[tuple[int, int, int, NDArray[np.bool_]]] = []
    for i, size in enumerate(sizes):
        r, many = int(first[i]), 1
        available = np.minimum(most[i, r:], capacity // size)
        total = 0
        while total < available.max(initial=0):
            many = min(many, int(available.max()) - total)
            total += many
            step = many * int(size)
            gain = np.where(total <= available, many * values[i, r:], -np.inf)
            with_it = best[r:, :-step] + gain[:, None]
            better = with_it > best[r:, step:] + 1e-9
            best[r:, step:] = np.where(better, with_it, best[r:, step:])
            taken.append((i, many, r, better))
            many *= 2

    def content(row: int, at: int) -> list[int]:
        found: list[int] = []
        for i, many, r, better in reversed(taken):
            step = many * int(sizes[i])
            if row >= r and at >= step and better[row - r, at - step]:
                found += [i] * many
                at -= step
        return found

    return best, content


def _on(mm: float, grid: float) -> bool:
    return abs(mm / grid - round(mm / grid)) < 1e-3
