"""A rectangle of given size laid on a block: cloth first, then points, then the centre line."""

from __future__ import annotations

import math
from collections.abc import Generator, Sequence
from dataclasses import dataclass

import numpy as np

from ...errors import PlanError
from .block import Array, Block
from .rectangles import axes, frontiers_and_turns

SIDES = ("top", "right", "bottom", "left")
DIRECTIONS = np.array([[0.0, -1.0], [1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])
_SIGNS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
# what a millimetre costs: missing cloth, a point's shortage, off centre, an edge inside the trim
# line as far as it may; evenness gains 1
_CLOTH, _POINT, _CENTRE, _GIVEN = 1e6, 1e4, 1e2, 3.0
_FAR = 1e4
_MISSED = 1e-3  # more missing than this, and it does not fit
_EVENED = 0.05  # more missing than has to be, where that spares the other two sides
_MAX_TURN = math.pi / 4  # from the block's own
_NEAR = 0.03  # radians that one linear program bridges
_TOGETHER = 32  # programs in one call of the solver


@dataclass(frozen=True)
class Placement:
    """A rectangle laid on a block: centre, turn and size, in block coordinates.

    Attributes
    ----------
    clearance_mm : float
        Least distance by which it is inside the outline less the guard; negative outside, as it
        may be by what the block's edges give.
    spare_mm : (float, float)
        By how much it could grow to the left and right each, and up and down each; negative
        where it would have to shrink.
    lack_mm : float
        What is missing even where the edges give all they may; 0 where it fits.
    """

    x_mm: float
    y_mm: float
    turn_rad: float
    width_mm: float
    height_mm: float
    clearance_mm: float
    spare_mm: tuple[float, float] = (0.0, 0.0)
    lack_mm: float = 0.0

    @property
    def corners_mm(self) -> Array:
        """Corners clockwise as seen, from the top left."""
        half = np.array([self.width_mm, self.height_mm]) / 2
        return np.array([self.x_mm, self.y_mm]) + (_SIGNS * half) @ axes(self.turn_rad)


@dataclass(frozen=True, eq=False)
class Wishes:
    """What a placement is asked for.

    Attributes
    ----------
    block : Block
    half : (2,) array
        Of the rectangle's width and height.
    points : (N, 2) array
        Marked points in block coordinates, to lie a seam allowance, `seam`, inside.
    centre : (2, 2) array or None
        Two points of the motif's centre line.
    axis : {0, 1}
        0 where that line runs along the height, 1 along the width.
    """

    block: Block
    half: Array
    points: Array
    seam: float
    centre: Array | None
    axis: int


def place_all(
    wishes: Sequence[Wishes], best: Sequence[tuple[float, float]] | None = None
) -> list[Placement]:
    """Lay a rectangle on each block so that its wishes are met in order of weight.

    First the cloth (the rectangle grown by the guard lies inside, but for what its edges may
    give), then one seam allowance outside each point, then the centre line in the middle. A wish
    outweighs the next at least tenfold per millimetre. Last, no giving against evenness (the
    rectangle could still grow as far as possible, across and down), three to one: a motif is not
    moved by 1/8 in to win back 1/64 in of a seam allowance. One linear program in centre and small
    turn, solved again about its own answer until it stands (sequential linear programming); those
    of many blocks go to the solver together, which costs less.

    Where the cloth is not to be had the centre is looked for once more with `_EVENED` more missing
    at most, so that a hair of width is not bought with 1/32 in of height.

    `best` has for each the height that `frontiers_and_turns` gives for its width, and the turn,
    where they are known already.
    """
    starts = [_own_turn(one) for one in wishes]
    if best is not None:  # nearer to where it comes to lie, if it is one step away
        starts = [
            turn if height > 0 and abs(turn - own) < _NEAR else own
            for own, (height, turn) in zip(starts, best, strict=True)
        ]
    laid = _settle_all([_settle(one, turn) for one, turn in zip(wishes, starts, strict=True)])
    # cloth first: start those that are short again from the turn that has most of it
    short: dict[float, list[int]] = {}
    for i, one in enumerate(laid):
        if one.lack_mm > 1e-3:
            short.setdefault(2 * wishes[i].half[0], []).append(i)
    again: dict[int, float] = {}
    for width, own in short.items():
        if best is None:
            tall, turns = frontiers_and_turns([wishes[i].block for i in own], np.array([width]))
            found = list(zip(tall[:, 0], turns[:, 0], strict=True))
        else:
            found = [best[i] for i in own]
        for i, (height, turn) in zip(own, found, strict=True):
            # from a turn within a step of where it lies it would only come to lie there again
            if height > 0.9 * 2 * wishes[i].half[1] and abs(turn - laid[i].turn_rad) > _NEAR:
                again[i] = float(turn)
    others = _settle_all([_settle(wishes[i], turn) for i, turn in again.items()])
    for i, other in zip(again, others, strict=True):
        laid[i] = min(laid[i], other, key=lambda one: one.lack_mm)
    return laid


def _settle_all(work: Sequence[_Placing]) -> list[Placement]:
    """Let every placing ask, answer all together, until each has settled."""
    done: dict[int, Placement] = {}
    left = dict(enumerate(work))
    answers: dict[int, Array | None] = dict.fromkeys(left)
    while left:
        asked = {}
        for i, one in list(left.items()):
            try:
                asked[i] = one.send(answers[i])
            except StopIteration as end:
                done[i] = end.value
                del left[i]
        answers = dict(zip(asked, _solve(list(asked.values())), strict=True))
    return [done[i] for i in range(len(work))]


def _own_turn(wishes: Wishes) -> float:
    """The block's own turn, or the centre line's."""
    if wishes.centre is None:
        return wishes.block.turn
    way = wishes.centre[1] - wishes.centre[0]
    along = math.atan2(way[1], way[0]) - (math.pi / 2 if wishes.axis == 0 else 0.0)
    return (along + math.pi / 2) % math.pi - math.pi / 2


@dataclass(frozen=True, eq=False)
class _Contacts:
    """How an outline surrounds a rectangle, all in the rectangle's own frame.

    Every outline point lies outside one side; where neighbours lie outside different sides, the
    edge between them goes round a corner of the rectangle, which must be inside that edge. That
    is the whole condition: no outline edge then enters the rectangle, bowed inwards or not.
    """

    points: Array
    sides: Array
    normals: Array
    offsets: Array
    corners: Array

    @classmethod
    def of(cls, outline: Array, half: Array) -> _Contacts:
        """Give each point the side it is farthest outside of (or least inside)."""
        beyond = np.abs(outline) - half
        upright = beyond[:, 1] >= beyond[:, 0]
        sides = np.where(
            upright, np.where(outline[:, 1] < 0, 0, 2), np.where(outline[:, 0] > 0, 1, 3)
        )
        after = np.append(sides[1:], sides[:1])
        k = np.flatnonzero(sides != after)
        p, edge = outline[k], outline[(k + 1) % len(outline)] - outline[k]
        normals = np.column_stack([edge[:, 1], -edge[:, 0]])
        normals /= np.hypot(edge[:, 0], edge[:, 1])[:, None]
        offsets = (normals * p).sum(axis=1)
        flip = np.where(offsets < 0, -1.0, 1.0)  # the rectangle's centre is inside
        normals, offsets = normals * flip[:, None], offsets * flip
        one, other = DIRECTIONS[sides[k]], DIRECTIONS[after[k]]
        corners = one + other
        across = np.flatnonzero(~corners.any(axis=1))
        if len(across):  # past a whole side: round both its corners
            way = one[across][:, ::-1]
            way = way * np.sign(np.sum(normals[across] * way, axis=1))[:, None]
            corners[across] = one[across] + way
            corners = np.vstack([corners, other[across] + way])
            normals = np.vstack([normals, normals[across]])
            offsets = np.append(offsets, offsets[across])
        return cls(outline, sides, normals, offsets, corners)

    def slack(self, half: Array) -> Array:
        """Room at each point, then at each corner."""
        out = DIRECTIONS[self.sides]
        at_points = (out * self.points).sum(axis=1) - half[1 - self.sides % 2]
        at_corners = self.offsets - (self.normals * self.corners * half).sum(axis=1)
        return np.append(at_points, at_corners)

    def rows(self, half: Array, columns: int) -> Array:
        """Rates at which the slacks are used up by a shift, a turn, and growth; then zeros."""
        found = np.zeros((len(self.points) + len(self.corners), columns))
        at_points, at_corners = np.split(found, [len(self.points)])
        out, level = DIRECTIONS[self.sides], self.sides % 2
        at_points[:, :2] = out
        at_points[:, 2] = out[:, 1] * self.points[:, 0] - out[:, 0] * self.points[:, 1]
        at_points[:, 3], at_points[:, 4] = level, 1 - level
        q = self.corners * half
        at_corners[:, :2] = self.normals
        at_corners[:, 2] = self.normals[:, 1] * q[:, 0] - self.normals[:, 0] * q[:, 1]
        at_corners[:, 3:5] = self.normals * self.corners
        return found


def _settle(wishes: Wishes, turn: float) -> _Placing:
    """Solve a placement from a turn to start at, each time about the last answer."""
    block = wishes.block
    half = wishes.half + block.guard_mm
    extent = block.outline_mm @ axes(turn).T
    centre = (extent.min(axis=0) + extent.max(axis=0)) / 2 @ axes(turn)
    limit = 0.1  # radians of one step
    touch = _Contacts.of((block.outline_mm - centre) @ axes(turn).T, half)
    spare, lacks = (0.0, 0.0), np.zeros(2)
    for _ in range(12):
        low, high = (block.turn + k * _MAX_TURN - turn for k in (-1, 1))
        swing = max(-limit, min(low, limit)), min(limit, max(high, -limit))
        step = yield _program(touch, half, wishes, axes(turn), centre, swing)
        if step is None:
            raise PlanError(
                f"There is no place for a piece of that size on {block.name}.",
                "Choose a size nearer to the block's own.",
            )
        centre, turn = centre + step[:2] @ axes(turn), turn + float(step[2])
        spare, lacks = (float(step[3]), float(step[4])), step[5:7]
        before, touch = touch, _Contacts.of((block.outline_mm - centre) @ axes(turn).T, half)
        # what the tangents leave out is half the square of the turn: 0.3 micrometres here
        if abs(step[2]) < 2e-3 and np.array_equal(before.sides, touch.sides):
            break
        limit *= 0.5 if abs(step[2]) > 0.9 * limit else 1.0
    if lacks.max() > _MISSED:  # does not fit: where it lies is still to be even
        most = lacks + _EVENED
        step = yield _program(touch, half, wishes, axes(turn), centre, (0.0, 0.0), most)
        if step is not None:
            centre = centre + step[:2] @ axes(turn)
            touch = _Contacts.of((block.outline_mm - centre) @ axes(turn).T, half)
    room, given = (float(touch.slack(some).min()) for some in (half, half - block.give_mm))
    width, height = 2 * wishes.half
    x, y = (float(z) for z in centre)
    return Placement(x, y, turn, float(width), float(height), room, spare, max(-given, 0.0))


@dataclass(frozen=True, eq=False)
class _Program:
    """A linear program: least cost · x with matrix · x <= bound and low <= x <= high."""

    cost: Array
    matrix: Array
    bound: Array
    low: Array
    high: Array


_Placing = Generator[_Program, Array | None, Placement]


def _program(
    touch: _Contacts,
    half: Array,
    wishes: Wishes,
    frame: Array,
    centre: Array,
    swing: tuple[float, float],
    most: Array | None = None,
) -> _Program:
    """The best small move: dx, dy in the rectangle's frame, turn, growth across and down.

    `most` bounds the missing cloth across and down, which then weighs no more than given cloth.
    """
    points = (wishes.points - centre) @ frame.T
    n = len(points)
    # then come missing and given cloth across and down, each point's shortage, and off centre
    columns = 9 + n + (wishes.centre is not None)
    rows = [touch.rows(half, columns)]
    bound = [touch.slack(half)]
    missing = np.zeros((2, columns))
    for k in (3, 5, 7):
        missing[[0, 1], [k, k + 1]] = -1.0
    rows.append(missing)
    bound.append(np.zeros(2))
    if n:
        kept = np.zeros((4 * n, columns))
        out = np.tile(DIRECTIONS, (n, 1))
        place = np.repeat(points, 4, axis=0)
        kept[:, :2] = -out
        kept[:, 2] = out[:, 0] * place[:, 1] - out[:, 1] * place[:, 0]
        kept[np.arange(4 * n), 9 + np.arange(4 * n) // 4] = -1.0
        rows.append(kept)
        reach = np.tile(wishes.half[[1, 0, 1, 0]], n) - wishes.seam
        bound.append(reach - np.sum(out * place, axis=1))
    if wishes.centre is not None:
        ends = (wishes.centre - centre) @ frame.T
        k = wishes.axis
        middle = np.zeros((2, columns))
        middle[:, k] = -1.0
        middle[:, 2] = ends[:, 1] if k == 0 else -ends[:, 0]
        for sign in (1.0, -1.0):
            signed = sign * middle
            signed[:, -1] = -1.0
            rows.append(signed)
            bound.append(-sign * ends[:, k])
    cost = np.zeros(columns)
    cost[3:9] = -1.0, -1.0, _CLOTH, _CLOTH, _GIVEN, _GIVEN
    cost[9:] = _POINT
    if wishes.centre is not None:
        cost[-1] = _CENTRE
    low, high = np.zeros(columns), np.full(columns, _FAR)
    low[:5] = -_FAR
    low[2], high[2] = swing
    high[7:9] = wishes.block.give_mm
    if most is not None:
        high[5:7], cost[5:7] = most, _GIVEN
    return _Program(cost, np.vstack(rows), np.concatenate(bound), low, high)


def _solve(programs: Sequence[_Program]) -> list[Array | None]:
    """Answers of independent programs, put together a few at a time.

    `milp` without whole-number unknowns is the solver of `linprog` at half its cost per call.
    """
    answers: list[Array | None] = []
    for i in range(0, len(programs), _TOGETHER):
        some = programs[i : i + _TOGETHER]
        x = _found(some)
        if x is None:  # one of them is hard on the solver: each by itself, then without presolve
            for one in some:
                alone = _found([one])
                answers.append(_found([one], presolve=False) if alone is None else alone)
            continue
        answers += np.split(x, np.cumsum([len(p.cost) for p in some])[:-1])
    return answers


def _found(some: Sequence[_Program], *, presolve: bool = True) -> Array | None:
    from scipy.optimize import Bounds, LinearConstraint, milp  # a project's list needs none
    from scipy.sparse import block_diag

    found = milp(
        np.concatenate([p.cost for p in some]),
        constraints=LinearConstraint(
            block_diag([p.matrix for p in some], format="csc"),
            -np.inf,
            np.concatenate([p.bound for p in some]),
        ),
        bounds=Bounds(
            np.concatenate([p.low for p in some]), np.concatenate([p.high for p in some])
        ),
        options={"presolve": presolve},
    )
    return None if found.x is None else np.asarray(found.x)
