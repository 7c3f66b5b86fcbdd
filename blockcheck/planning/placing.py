"""A rectangle of given size laid on a block, and what then falls off its sides."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from ..errors import PlanError
from .rectangles import DIRECTIONS, Array, Block, axes, frontiers_and_turns

SIDES = ("top", "right", "bottom", "left")
_SIGNS = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


@dataclass(frozen=True)
class Placement:
    """A rectangle laid on a block: centre, turn, size, and how far inside the guard it is."""

    x_mm: float
    y_mm: float
    turn_rad: float
    width_mm: float
    height_mm: float
    clearance_mm: float

    @property
    def corners_mm(self) -> Array:
        """Corners clockwise as seen, from the top left."""
        half = np.array([self.width_mm, self.height_mm]) / 2
        return np.array([self.x_mm, self.y_mm]) + (_SIGNS * half) @ axes(self.turn_rad)


def place(
    block: Block,
    width_mm: float,
    height_mm: float,
    *,
    points_mm: Array | None = None,
    seam_mm: float = 6.35,
    centre_mm: Array | None = None,
    upright: bool = True,
    max_turn: float = math.pi / 4,
) -> Placement:
    """Lay a rectangle on the block so that its wishes are met in order of weight.

    First the cloth (every corner inside, with the guard), then one seam allowance outside each
    point, then the centre line in the middle, then the largest and so most even offcut. One
    linear program in centre and small turn, solved again about its own answer until it stands
    (sequential linear programming).
    """
    points = np.empty((0, 2)) if points_mm is None else points_mm
    wishes = (points, seam_mm, centre_mm, upright, max_turn)
    laid = _settle(block, width_mm, height_mm, *wishes, None)
    if laid.clearance_mm < 0:  # cloth first: start again from the turn that has most of it
        tall, turns = frontiers_and_turns([block], np.array([width_mm]), max_turn)
        if tall[0, 0] > 0.9 * height_mm:
            other = _settle(block, width_mm, height_mm, *wishes, float(turns[0, 0]))
            laid = max(laid, other, key=lambda one: one.clearance_mm)
    return laid


def _settle(
    block: Block,
    width_mm: float,
    height_mm: float,
    points_mm: Array,
    seam_mm: float,
    centre_mm: Array | None,
    upright: bool,
    max_turn: float,
    start: float | None,
) -> Placement:
    """Solve `place` from one turn to start at: the given one, the centre line's or the block's."""
    normals, offsets = block.planes
    half = np.array([width_mm, height_mm]) / 2
    grown = _SIGNS * (half + block.guard_mm)
    turn = block.turn if start is None else start
    if centre_mm is not None and start is None:
        way = centre_mm[1] - centre_mm[0]
        along = math.atan2(way[1], way[0]) - (math.pi / 2 if upright else 0.0)
        turn = (along + math.pi / 2) % math.pi - math.pi / 2
    centre = block.outline_mm.mean(axis=0)
    if centre_mm is None:
        extent = block.outline_mm @ axes(turn).T
        centre = (extent.min(axis=0) + extent.max(axis=0)) / 2 @ axes(turn)
    limit = min(0.1 if start is None else 0.003, max_turn)
    for _ in range(6):
        frame = axes(turn)
        spin = np.array([frame[1], -frame[0]])
        # unknowns: dx, dy, dturn, clearance across and down, cut points, off centre, gain
        at, move = grown @ frame + centre, grown @ spin
        rows = [np.column_stack([*np.tile(normals, (4, 1)).T, (move @ normals.T).ravel()])]
        bound = [(offsets - at @ normals.T).ravel()]
        level = np.abs(normals @ frame[0]) < np.abs(normals @ frame[1])
        kind = [np.tile(np.column_stack([~level, level, 0 * level, 0 * level]), (4, 1))]
        for bow in block.pockets:
            side = int(np.argmax(DIRECTIONS @ frame @ bow.normal))
            way, dway = DIRECTIONS[side] @ frame, DIRECTIONS[side] @ spin
            rel = bow.points - centre
            rows.append(np.column_stack([np.tile(way, (len(rel), 1)), -(rel @ dway)]))
            bound.append(rel @ way - half[1 - side % 2] - block.guard_mm)
            corner = bow.corners(frame, side) * (half + block.guard_mm)
            swept = np.sum(bow.end_normals * (corner @ spin), axis=1)
            rows.append(np.column_stack([bow.end_normals, swept]))
            reach = np.sum(bow.end_normals * (corner @ frame + centre), axis=1)
            bound.append(bow.end_offsets - reach)
            kind.append(np.tile([side % 2, 1 - side % 2, 0.0, 0.0], (len(rel) + 2, 1)))
        for point in points_mm:
            for side in range(4):
                way, dway = DIRECTIONS[side] @ frame, DIRECTIONS[side] @ spin
                rel = point - centre
                rows.append(np.array([[*-way, rel @ dway]]))
                bound.append(np.array([half[1 - side % 2] - seam_mm - rel @ way]))
                kind.append(np.array([[0.0, 0.0, -1.0, 0.0]]))
        if centre_mm is not None:
            axis = 0 if upright else 1
            for end in centre_mm:
                rel = end - centre
                row = np.array([*-frame[axis], rel @ spin[axis]])
                for sign in (1.0, -1.0):
                    rows.append(sign * row[None])
                    bound.append(np.array([-sign * (rel @ frame[axis])]))
                    kind.append(np.array([[0.0, 0.0, 0.0, -1.0]]))
        matrix = np.hstack([np.vstack(rows), np.vstack(kind)])
        matrix = np.hstack([matrix, np.zeros((len(matrix), 2))])
        gain = np.zeros((2, 9))
        gain[[0, 1], [3, 4]], gain[[0, 1], [7, 8]] = 1.0, -1.0
        matrix = np.vstack([matrix, gain])
        limits = np.append(np.concatenate(bound), [0.0, 0.0])
        # clearance above zero counts 1; cloth that is missing counts far more
        cost = np.array([0.0, 0.0, 0.0, -1e4, -1e4, 1e2, 10.0, 1e4 - 1.0, 1e4 - 1.0])
        free = (None, None)
        wide = (block.turn - max_turn - turn, block.turn + max_turn - turn)
        swing = (max(-limit, min(wide[0], limit)), min(limit, max(wide[1], -limit)))
        found = linprog(
            cost,
            matrix,
            limits,
            bounds=[free, free, swing, *[(None, 1e4)] * 2, *[(0, None)] * 4],
            method="highs",
        )
        if not found.success:
            raise PlanError(f"No place for the rectangle was found on {block.name}.", "")
        dx, dy, dt = found.x[:3]
        centre, turn = centre + np.array([dx, dy]), turn + dt
        if abs(dt) < 1e-5 and math.hypot(dx, dy) < 1e-2:
            break
        limit *= 0.5 if abs(dt) > 0.9 * limit else 1.0
    laid = Placement(float(centre[0]), float(centre[1]), float(turn), width_mm, height_mm, 0.0)
    clear = _clearance(block, laid)
    return Placement(laid.x_mm, laid.y_mm, laid.turn_rad, width_mm, height_mm, clear)


def _clearance(block: Block, laid: Placement) -> float:
    """Least distance between the rectangle grown by the guard and the outline; negative outside."""
    normals, offsets = block.planes
    frame, g = axes(laid.turn_rad), block.guard_mm
    grown = Placement(
        laid.x_mm, laid.y_mm, laid.turn_rad, laid.width_mm + 2 * g, laid.height_mm + 2 * g, 0.0
    )
    room = [float((offsets - grown.corners_mm @ normals.T).min())]
    for bow in block.pockets:
        side = int(np.argmax(DIRECTIONS @ frame @ bow.normal))
        half = np.array([grown.width_mm, grown.height_mm]) / 2
        rel = (bow.points - [laid.x_mm, laid.y_mm]) @ frame.T @ DIRECTIONS[side]
        room.append(float((rel - half[1 - side % 2]).min()))
        corner = (bow.corners(frame, side) * half) @ frame + [laid.x_mm, laid.y_mm]
        room.append(float((bow.end_offsets - np.sum(bow.end_normals * corner, axis=1)).min()))
    return min(room)


@dataclass(frozen=True)
class Offcut:
    """What falls off one side: at its two ends in reading order, and at the least place.

    The ends are left and right for top and bottom, top and bottom for left and right.
    A negative number is cloth that is missing.
    """

    side: str
    first_mm: float
    second_mm: float
    least_mm: float


def offcuts(block: Block, laid: Placement) -> tuple[Offcut, ...]:
    """Distance from each side of the rectangle to the raw edge, straight out from the side."""
    frame = axes(laid.turn_rad)
    local = (block.outline_mm - [laid.x_mm, laid.y_mm]) @ frame.T
    half = np.array([laid.width_mm, laid.height_mm]) / 2
    a, b = local, np.roll(local, -1, axis=0)
    area = float(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]))
    edge = b - a
    outward = np.column_stack([edge[:, 1], -edge[:, 0]]) * math.copysign(1.0, area)
    facing = (outward @ DIRECTIONS.T).argmax(axis=1)
    result = []
    for side, name in enumerate(SIDES):
        axis, out = side % 2, DIRECTIONS[side]
        mine = (facing == side) & (np.abs(edge[:, axis]) > 1e-9)
        ends = np.array([-half[axis], half[axis]])
        if not mine.any():
            reach = np.full(2, float((local @ out).max()))
            inside = reach
        else:
            s0, s1, d0, d1 = a[mine, axis], b[mine, axis], a[mine] @ out, b[mine] @ out
            reach = np.empty(2)
            for i, s in enumerate(ends):
                away = np.maximum(np.minimum(s0, s1) - s, s - np.maximum(s0, s1))
                near = away <= max(0.0, float(away.min())) + 1e-9
                reach[i] = (d0 + (s - s0) / (s1 - s0) * (d1 - d0))[near].min()
            within = np.concatenate([s0, s1])
            keep = np.abs(within) <= half[axis]
            inside = np.append(np.concatenate([d0, d1])[keep], reach)
        gap = reach - half[1 - axis]
        result.append(
            Offcut(name, float(gap[0]), float(gap[1]), float(inside.min() - half[1 - axis]))
        )
    return tuple(result)
