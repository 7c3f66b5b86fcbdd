"""From a plan and measured blocks to everything that is to be decided, cut and sewn.

Only puts the other planning modules' answers together. What cannot be worked out is a plain
sentence in `QuiltPlan.gaps` under the name of what is missing, so that nothing is silently empty.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np

from ..errors import PlanError
from ..uncertainty import own_u, scale_u
from ..units import to_step
from .cutting.cut_list import Fabric, Finish, cut_list
from .cutting.pieces import CutPiece
from .plan import BlockRecord, Plan
from .rows.laying import Rows, lay_rows
from .trimming.block import Block
from .trimming.common_size import (
    CommonSize,
    Missing,
    SewnSeam,
    below_size,
    common_size,
    seam_allowance_really_sewn,
)
from .trimming.trim_lines import TrimPlan, trim_all

T = TypeVar("T")
SLIVER = 0.8  # of the smallest block: less is a sliver laid across it, not a block trimmed


@dataclass(frozen=True)
class QuiltPlan:
    """Everything a quilter reads. Lengths are in millimetres.

    Attributes
    ----------
    plan : Plan
    names, set_aside : tuple of str
        The blocks that count, and those set aside.
    largest : CommonSize or None
        The largest common size with its table and limits.
    size_mm : (float, float) or None
        The size to trim to: the planned one where every block reaches it, else the largest.
    below : tuple of Missing
        Blocks that do not reach the planned size with their guard.
    too_close : tuple of str
        Those of `below` that may reach it: what was measured to lack is within its U95.
    uncertain : tuple of str
        Blocks whose size is known less well than half a ruler line.
    seams : mapping of {"width", "height"} to SewnSeam
    trims : tuple of TrimPlan
        In the order of the records.
    rows : Rows or None
    half_block : CutPiece or None
        For an offset setting.
    fabrics : tuple of Fabric
    finish : Finish or None
    gaps : mapping of str to str
        What could not be worked out, and why, in a sentence with what to do. Keys: "size",
        "planned", "seams", "trims", "rows", "cuts".
    """

    plan: Plan
    names: tuple[str, ...] = ()
    set_aside: tuple[str, ...] = ()
    largest: CommonSize | None = None
    size_mm: tuple[float, float] | None = None
    below: tuple[Missing, ...] = ()
    too_close: tuple[str, ...] = ()
    uncertain: tuple[str, ...] = ()
    seams: Mapping[str, SewnSeam] = field(default_factory=dict)
    trims: tuple[TrimPlan, ...] = ()
    rows: Rows | None = None
    half_block: CutPiece | None = None
    fabrics: tuple[Fabric, ...] = ()
    finish: Finish | None = None
    gaps: Mapping[str, str] = field(default_factory=dict)


def work_out(plan: Plan, blocks: Sequence[BlockRecord]) -> QuiltPlan:
    """Work out sizes, trim lines, rows and cuts for a set of blocks.

    Parameters
    ----------
    plan : Plan
    blocks : sequence of BlockRecord
        All blocks of the quilt; those set aside count for nothing.

    Returns
    -------
    QuiltPlan
        Nothing is raised for what is missing or does not go together: `gaps` says it.
    """
    used = [b for b in blocks if b.state != "set aside"]
    aside = tuple(b.name for b in blocks if b.state == "set aside")
    if not used:
        none = "There are no measured blocks yet. Add a photo of a block first."
        missing = dict.fromkeys(("size", "seams", "trims", "rows", "cuts"), none)
        return QuiltPlan(plan, set_aside=aside, gaps=missing)
    gaps: dict[str, str] = {}
    if plan.planned_mm is None:
        gaps["planned"] = "The plan gives no planned size, so nothing is compared with a pattern."
    cloth = [_cloth(b, plan.step_mm) for b in used]
    guard = {b.name: b.guard_mm for b in cloth}
    seams = _try(gaps, "seams", lambda: _seams(plan, used)) or {}
    largest, size, below = _try(gaps, "size", lambda: _sizes(plan, used, cloth)) or (None, None, ())
    if size is None:
        gaps["trims"] = gaps["size"]
        gaps["rows"] = gaps["cuts"] = (
            "This can be worked out once the blocks have a size in common."
        )
        trims, rows, cuts = None, None, None
    else:
        trims = _try(gaps, "trims", lambda: _trims(plan, used, cloth, size))
        rows = _try(gaps, "rows", lambda: lay_rows(plan, used, size))
        if rows is None:
            gaps["cuts"] = "What else to cut can be worked out once the rows are."
        cuts = rows and _try(gaps, "cuts", lambda: cut_list(plan, rows, size))
    half, fabrics, finish = cuts or (None, (), None)
    return QuiltPlan(
        plan,
        names=tuple(b.name for b in used),
        set_aside=aside,
        largest=largest,
        size_mm=size,
        below=below,
        # a lack counts the guard, half of U95, on both sides
        too_close=tuple(
            name
            for name in dict.fromkeys(m.name for m in below)
            if all(m.short_mm <= 4 * guard[name] for m in below if m.name == name)
        ),
        uncertain=tuple(
            b.name for b in used if max(b.width_mm.u95, b.height_mm.u95) > plan.step_mm / 2
        ),
        seams=seams,
        trims=trims or (),
        rows=rows,
        half_block=half,
        fabrics=fabrics,
        finish=finish,
        gaps=gaps,
    )


def _try(gaps: dict[str, str], what: str, work: Callable[[], T]) -> T | None:
    """Do a part of the work; where it cannot be done, keep the reason and go on without it."""
    try:
        return work()
    except PlanError as e:
        gaps[what] = str(e)
        return None


def _cloth(record: BlockRecord, step_mm: float) -> Block:
    """What a rectangle must fit in.

    A trimmed block was cut along the ruler: where it measures as a size on the ruler's marks it
    is taken as that size, and needs no guard because nothing more is cut from it.
    """
    sizes = (record.width_mm, record.height_mm)
    w, h = (to_step(e.value, step_mm) for e in sizes)
    near = all(abs(s - e.value) <= e.u95 for s, e in zip((w, h), sizes, strict=True))
    if record.state == "trimmed" and near:
        return Block(record.name, np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]]))
    return record.block


def _sizes(
    plan: Plan, used: Sequence[BlockRecord], cloth: Sequence[Block]
) -> tuple[CommonSize, tuple[float, float], tuple[Missing, ...]]:
    """The largest common size, the size to trim to, and what does not reach the planned size."""
    largest = common_size(
        cloth,
        step_mm=plan.step_mm,
        fix_width_mm=plan.fixed_width_mm,
        fix_height_mm=plan.fixed_height_mm,
    )
    size = (largest.width_mm, largest.height_mm)
    least = [
        min(e.value for e in side)
        for side in zip(*((b.width_mm, b.height_mm) for b in used), strict=True)
    ]
    if any(mm < SLIVER * smallest for mm, smallest in zip(size, least, strict=True)):
        raise PlanError(
            f"The block {largest.limits[0].name} is too small for the fixed size.",
            "Set it aside, or do not fix the width or height.",
        )
    if plan.planned_mm is None:
        return largest, size, ()
    below = below_size(cloth, *plan.planned_mm, seam_mm=plan.seam_mm)
    return largest, size if below else plan.planned_mm, below


def _trims(
    plan: Plan, used: Sequence[BlockRecord], cloth: Sequence[Block], size_mm: tuple[float, float]
) -> tuple[TrimPlan, ...]:
    return trim_all(
        cloth,
        *size_mm,
        points_mm=[record.points_mm for record in used],
        seam_mm=plan.seam_mm,
        centre_lines_mm=[record.centre_line_mm for record in used],
        unit=plan.unit,
    )


def _seams(plan: Plan, used: Sequence[BlockRecord]) -> Mapping[str, SewnSeam]:
    untrimmed = [b for b in used if b.state == "measured"]
    counts = {"width": plan.seams_across, "height": plan.seams_down}
    if plan.planned_mm is None or not any(counts.values()):
        missing = "how many seams you cross going over the block (--seams-across, --seams-down)"
        if plan.planned_mm is None:
            missing = "the planned size and " + missing
        raise PlanError(
            f"How wide the seams were really sewn can be worked out once the plan says {missing}."
        )
    if not untrimmed:
        raise PlanError("How wide the seams were sewn can be told only from untrimmed blocks.")
    found = {}
    for (name, count), planned in zip(counts.items(), plan.planned_mm, strict=True):
        sizes = [b.width_mm if name == "width" else b.height_mm for b in untrimmed]
        if count:
            found[name] = seam_allowance_really_sewn(
                [e.value for e in sizes],
                planned,
                count,
                seam_mm=plan.seam_mm,
                u_mm=math.sqrt(sum(own_u(e) ** 2 for e in sizes) / len(sizes)),
                u_common_mm=max(scale_u(e) for e in sizes),
                unit=plan.unit,
            )
    return found
