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
    facing = (outward @ DIRECTIONS.T).argmax(axis=1).tolist()
    # plain numbers from here on: for so few points arrays take three times as long
    ends = list(zip(facing, local.tolist(), after.tolist(), strict=True))
    half = laid.width_mm / 2, laid.height_mm / 2
    return tuple(_offcut(side, ends, half) for side in range(4))


def _offcut(
    side: int, ends: list[tuple[int, list[float], list[float]]], half: tuple[float, float]
) -> Offcut:
    """What falls off one side: from the edges that face its way, each with its two ends."""
    axis, sign = side % 2, (-1.0, 1.0)[side in (1, 2)]
    reach, out = half[axis], half[1 - axis]
    edges = [
        (a[axis], b[axis], sign * a[1 - axis], sign * b[1 - axis])
        for facing, a, b in ends
        if facing == side and abs(b[axis] - a[axis]) > 1e-9
    ]
    if not edges:
        most = max(sign * a[1 - axis] for _, a, _ in ends) - out
        return Offcut(SIDES[side], most, most, most, most)
    first, second = (_at(edges, s) for s in (-reach, reach))
    inside = [first, second]
    inside += [d for s0, s1, d0, d1 in edges for s, d in ((s0, d0), (s1, d1)) if abs(s) <= reach]
    return Offcut(SIDES[side], first - out, second - out, min(inside) - out, max(inside) - out)


def _at(edges: list[tuple[float, float, float, float]], s: float) -> float:
    """How far out the nearest of the edges lies at a place along the side."""
    away = [max(min(s0, s1) - s, s - max(s0, s1)) for s0, s1, _, _ in edges]
    near = max(min(away), 0.0) + 1e-9
    return min(
        d0 + (s - s0) / (s1 - s0) * (d1 - d0)
        for far, (s0, s1, d0, d1) in zip(away, edges, strict=True)
        if far <= near
    )
