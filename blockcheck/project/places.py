"""Places on a block, measured with a ruler from its edges."""

from __future__ import annotations

import re

import numpy as np

from ..errors import LengthError, PlanError
from ..planning.plan import BlockRecord, called
from ..units import format_size, parse_length
from .records import Point

SIDES = ("top", "right", "bottom", "left")
OFF_CLOTH_MM = 3.0  # a ruler's reading at a corner may lie a little off the measured edge
_ZERO = re.compile(r'0+(\.0*)?\s*(in|cm|mm|")?')


def edge(block: BlockRecord, side: str) -> tuple[np.ndarray, np.ndarray]:
    """A place on one of the block's sides, and the unit vector from it inwards."""
    corners = np.asarray(block.corners_mm)  # every block of a project has them
    k = SIDES.index(side)
    along = corners[(k + 1) % 4] - corners[k]
    return corners[k], np.array([-along[1], along[0]]) / np.linalg.norm(along)


def read_place(text: str, block: BlockRecord, unit: str) -> Point:
    """Block coordinates of a place measured with a ruler from two of the block's edges.

    Parameters
    ----------
    text : str
        ``"3in,1/4in"`` from the left and the top edge, or with edges: ``"right 1/4in,bottom 2in"``.
    block : BlockRecord
    unit : str
        Of lengths that name none.

    Raises
    ------
    LengthError
        If it cannot be read.
    PlanError
        If it lies off the cloth.
    """
    parts = text.split(",")
    if len(parts) != 2:
        raise LengthError(
            f'"{text}" is not a place.', "Write the two lengths with a comma, like 3in,1/4in."
        )
    lines = []
    for part, usual, allowed in zip(parts, ("left", "top"), (SIDES[1::2], SIDES[::2]), strict=True):
        word = next((side for side in SIDES if part.split()[:1] == [side]), "")
        if word and word not in allowed:
            raise LengthError(
                f'"{text}" is not a place.',
                "The first length is from the left or right edge, the second from the top or bottom.",
            )
        length = part.strip().removeprefix(word).strip()
        away = 0.0 if _ZERO.fullmatch(length) else parse_length(length, unit)
        point, inwards = edge(block, word or usual)
        lines.append((inwards, inwards @ point + away))
    x, y = np.linalg.solve(np.array([n for n, _ in lines]), np.array([c for _, c in lines]))
    low, high = block.outline_mm.min(axis=0), block.outline_mm.max(axis=0)
    if not ((low - OFF_CLOTH_MM <= (x, y)).all() and ((x, y) <= high + OFF_CLOTH_MM).all()):
        size = format_size(block.width_mm.value, block.height_mm.value, unit=unit)
        raise PlanError(
            f'"{text}" lies off {called(block.name)}, which is {size}.',
            "Measure from its left and its top edge.",
        )
    return float(x), float(y)
