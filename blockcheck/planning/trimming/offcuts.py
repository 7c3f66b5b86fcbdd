"""What falls off the sides of a rectangle that is laid on a block."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .block import Block
from .placement import DIRECTIONS, SIDES, Placement
from .rectangles import axes


@dataclass(frozen=True)
class Offcut:
    """What falls off one side: at its two ends in reading order, at its least and most.

    The ends are left and right for top and bottom, top and bottom for left and right.
    A negative number is cloth that is missing.
    """

    side: str
    first_mm: float
    second_mm: float
    least_mm: float
    most_mm: float


def offcuts(block: Block, laid: Placement) -> tuple[Offcut, ...]:
    """Distance from each side of the rectangle to the raw edge, straight out from the side."""
    local = (block.outline_mm - [laid.x_mm, laid.y_mm]) @ axes(laid.turn_rad).T
    after = np.vstack([local[1:], local[:1]])
    edge = after - local
    area = float(local[:, 0] @ after[:, 1] - local[:, 1] @ after[:, 0])
    outward = np.column_stack([edge[:, 1], -edge[:, 0]]) * math.copysign(1.0, area)
    facing = (outward @ DIRECTIONS.T).argmax(axis=1)
    half = laid.width_mm / 2, laid.height_mm / 2
    result = []
    for side, name in enumerate(SIDES):
        axis, sign = side % 2, (-1.0, 1.0)[side in (1, 2)]
        mine = (facing == side) & (np.abs(edge[:, axis]) > 1e-9)
        s0, s1, d0, d1 = (z[mine, k] for k in (axis, 1 - axis) for z in (local, after))
        d0, d1 = sign * d0, sign * d1
        if not mine.any():
            reach = np.full(2, float((sign * local[:, 1 - axis]).max()))
            inside = reach
        else:
            s = np.array([[-half[axis]], [half[axis]]])
            away = np.maximum(np.minimum(s0, s1) - s, s - np.maximum(s0, s1))
            near = away <= np.maximum(away.min(axis=1, keepdims=True), 0.0) + 1e-9
            there = d0 + (s - s0) / (s1 - s0) * (d1 - d0)
            reach = np.where(near, there, np.inf).min(axis=1)
            within = np.abs(np.concatenate([s0, s1])) <= half[axis]
            inside = np.append(np.concatenate([d0, d1])[within], reach)
        first, second, least, most = (
            float(z) - half[1 - axis] for z in (*reach, inside.min(), inside.max())
        )
        result.append(Offcut(name, first, second, least, most))
    return tuple(result)
