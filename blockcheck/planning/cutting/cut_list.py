"""What is cut for the rest of the quilt, fabric by fabric, and what closes the quilt."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from ...errors import PlanError
from ..plan import Plan
from . import finishing
from .cloth import Cloth, ClothPlan, as_cut, lay_on_cloth, read_cloth
from .finishing import Backing, Binding, QuiltingLines
from .pieces import CutPiece, Figure
from .workings import Measured, Parts

BACKGROUND = "background"
PARTS = {  # of the quilt: the fabric that each is cut from unless told
    "alternate blocks": BACKGROUND,
    "half blocks": BACKGROUND,
    "setting triangles": BACKGROUND,
    "clipped corners": "clipped corners",
    "frame": "frame",
    "sashing": "sashing",
    "cornerstones": "cornerstones",
    "border": "border",
}


@dataclass(frozen=True)
class Fabric:
    """All that is cut from one fabric.

    Attributes
    ----------
    name : str
    pieces : tuple of CutPiece
    usable_mm : float
    in_hand : tuple of Cloth
    allowance : float
    one_way : bool
        As of `lay_on_cloth`.
    seam_mm : float
    unit : str
    """

    name: str
    pieces: tuple[CutPiece, ...]
    usable_mm: float
    in_hand: tuple[Cloth, ...]
    allowance: float
    one_way: bool
    seam_mm: float
    unit: str

    @cached_property
    def cloth(self) -> ClothPlan:
        """The pieces laid on cloth; worked out when it is first asked for."""
        return lay_on_cloth(
            self.pieces,
            usable_mm=self.usable_mm,
            in_hand=self.in_hand,
            allowance=self.allowance,
            one_way=self.one_way,
            seam_mm=self.seam_mm,
            unit=self.unit,
        )


@dataclass(frozen=True)
class Finish:
    """The finished quilt and what closes it.

    Attributes
    ----------
    body : (Figure, Figure)
        Width and height inside the borders.
    width_mm, height_mm : float
        With the borders.
    batting, backing, binding
    lines : QuiltingLines
        Across a finished block.
    """

    body: tuple[Figure, Figure]
    width_mm: float
    height_mm: float
    batting: CutPiece
    backing: Backing
    binding: Binding
    lines: QuiltingLines


def fabrics(plan: Plan, pieces: Mapping[str, Sequence[CutPiece]]) -> tuple[Fabric, ...]:
    """Gather what is cut, by the fabric that the plan gives to each part of the quilt.

    Parameters
    ----------
    plan : Plan
    pieces : mapping of str to sequence of CutPiece
        By what they are cut for: the keys of `PARTS`, borders also with a number.

    Raises
    ------
    PlanError
        If the plan names a part that the quilt does not have, or a piece does not fit on its
        fabric.
    """
    made: dict[str, list[CutPiece]] = {}
    for part, some in pieces.items():
        along = said_of(part, plan.lengthwise) is not None
        name = said_of(part, dict(plan.fabrics)) or PARTS.get(part, part)
        made.setdefault(name, []).extend(replace(p, lengthwise=along) for p in some)
    for name in (*dict(plan.fabrics), *plan.lengthwise):
        if name not in pieces and name not in PARTS:
            raise PlanError(
                f"The plan names {name}, and the quilt has no such part of the quilt.",
                f"It has {', '.join(pieces) or 'none'}.",
            )
    return tuple(_fabric(plan, name, some) for name, some in made.items())


def said_of(part: str, said: Mapping[str, str] | Sequence[str]) -> str | None:
    """What is said of a part of the quilt; what is said of "border" is meant of every border."""
    for name in (part, part.rstrip(" 0123456789")):
        if name in said:
            return said[name] if isinstance(said, Mapping) else name
    return None


def _fabric(plan: Plan, name: str, some: Sequence[CutPiece]) -> Fabric:
    usable = dict(plan.fabric_widths_mm).get(name, plan.fabric_width_mm)
    hand = tuple(
        cloth
        for fabric, text in plan.in_hand
        if fabric == name
        for cloth in read_cloth(text, usable_mm=usable, unit=plan.unit)
    )
    one_way = name in plan.one_way
    as_cut(some, usable, plan.seam_mm, one_way, plan.unit)  # refuses what does not fit
    return Fabric(name, tuple(some), usable, hand, plan.allowance, one_way, plan.seam_mm, plan.unit)


def _likely(plan: Plan, parts: Sequence[float]) -> float:
    """How far a sewn row may measure off what is worked out.

    Every seam between two pieces takes up an allowance of each; where each is off by as much as
    still holds, all of them the same way, the row is off by twice that for every seam. Beyond the
    seams, as far as the plan calls good enough.
    """
    return plan.tolerance_mm + 2 * plan.give_mm * (len(parts) - 1)


def finish(
    plan: Plan,
    body_mm: tuple[float, float],
    worked_mm: tuple[float, float],
    parts_mm: tuple[Sequence[float], Sequence[float]],
    size_mm: tuple[float, float],
    block_mm: float,
) -> Finish:
    """Work out what closes the quilt.

    Parameters
    ----------
    plan : Plan
    body_mm, worked_mm, size_mm : (float, float)
        Finished size inside the borders, as it is worked out there, and with them.
    parts_mm : (sequence of float, sequence of float)
        What the body's width and height are made up of.
    block_mm : float
        Finished width of a block, for its quilting lines.
    """
    unit = plan.unit
    words = ("width", "height")
    body = tuple(
        Figure(
            name,
            mm,
            Measured(mm, worked, _likely(plan, parts)) if plan.body_mm else Parts(tuple(parts), mm),
        )
        for name, mm, worked, parts in zip(words, body_mm, worked_mm, parts_mm, strict=True)
    )
    parts = max(2, math.ceil(block_mm / finishing.LINES_APART_MM[unit] - 1e-9))
    backing = plan.backing_width_mm or plan.fabric_width_mm
    return Finish(
        (body[0], body[1]),
        *size_mm,
        finishing.batting(*size_mm, unit=unit),
        finishing.backing(*size_mm, usable_mm=backing, unit=unit),
        finishing.binding(*size_mm, usable_mm=plan.fabric_width_mm, unit=unit),
        finishing.quilting_lines(block_mm, parts, step_mm=plan.step_mm, unit=unit),
    )
