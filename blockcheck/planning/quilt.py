"""From a plan and measured blocks to everything that is to be decided, cut and sewn.

Only puts the other planning modules' answers together. What cannot be worked out has its reason in
`QuiltPlan.gaps` under the name of what is missing, so that nothing is silently empty.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import TypeVar

import numpy as np

from ..errors import PlanError
from ..uncertainty import own_u, scale_u
from ..units import INCH, to_step
from .choice import Choice, choose, trims_of
from .cutting.cut_list import Fabric, Finish, fabrics, finish
from .cutting.pieces import CutPiece
from .kinds import by_kind, in_places, tie
from .layouts.design import ALTERNATE, HALF
from .layouts.layout import Layout, lay_out
from .layouts.planned import design_of, order_of
from .pairs import Pair, pairs
from .plan import BlockRecord, Plan
from .rows.laying import NoOrder, Rows, lay_rows
from .trimming.block import Block
from .trimming.sewn_seam import SewnSeam, seam_allowance_really_sewn
from .trimming.shortage import Missing, short_of
from .trimming.trim_lines import TrimPlan

T = TypeVar("T")
CERTAIN_MM = INCH / 32  # a size is certain enough where its U95 is what both its seams can give
NEAR_SEAM_MM = INCH / 64  # a trim line that comes nearer to a seam by less is not worth a word


class Lack(Enum):
    """What a part of the work waits for."""

    BLOCKS = "measured blocks"
    PLANNED = "planned size"
    SIZE = "size in common"


@dataclass(frozen=True)
class QuiltPlan:
    """Everything a quilter reads. Lengths are in millimetres.

    Attributes
    ----------
    plan : Plan
    names, set_aside : tuple of str
        The blocks that count, and those set aside.
    trimmed : mapping of str to BlockRecord
        Of the blocks that count, those that are trimmed: nothing is cut from them again before
        they are measured again.
    choice : Choice or None
        The size to trim to and all that goes with it; None where there is none.
    uncertain : tuple of str
        Blocks whose size is known less well than their seam allowances can give.
    unmarked : tuple of str
        Blocks without marked points whose trim lines come nearer than a seam allowance to where
        the plan has its points.
    seams : mapping of {"width", "height"} to SewnSeam
    rows : Rows or None
    layout : Layout or None
        The quilt top with every piece in its place.
    half_block : CutPiece or None
        For an offset setting.
    fabrics : tuple of Fabric
    finish : Finish or None
    kind : str
        Which kind of block the sizes and trim lines are of.
    others : tuple of QuiltPlan
        Sizes and trim lines of the plan's further kinds of blocks, each under its own plan.
    pairs : tuple of Pair
        Mirrored halves, compared.
    single_halves : tuple of str
        Halves without a mirrored one.
    gaps : mapping of str to Lack or str
        What could not be worked out: what it waits for, or the words of the `PlanError` that it
        ended in. Keys: "size", "planned", "seams", "trims", "rows", "cuts", "pairs", "tied".
    """

    plan: Plan
    names: tuple[str, ...] = ()
    set_aside: tuple[str, ...] = ()
    trimmed: Mapping[str, BlockRecord] = field(default_factory=dict)
    choice: Choice | None = None
    uncertain: tuple[str, ...] = ()
    unmarked: tuple[str, ...] = ()
    seams: Mapping[str, SewnSeam] = field(default_factory=dict)
    rows: Rows | None = None
    layout: Layout | None = None
    half_block: CutPiece | None = None
    fabrics: tuple[Fabric, ...] = ()
    finish: Finish | None = None
    kind: str = ""
    others: tuple[QuiltPlan, ...] = ()
    pairs: tuple[Pair, ...] = ()
    single_halves: tuple[str, ...] = ()
    gaps: Mapping[str, Lack | str] = field(default_factory=dict)

    @property
    def each(self) -> tuple[QuiltPlan, ...]:
        """One for every kind of block that there are blocks of; itself where there are none."""
        return tuple(q for q in (self, *self.others) if q.names) or (self,)

    @property
    def size_mm(self) -> tuple[float, float] | None:
        """The size to trim to."""
        return None if self.choice is None else self.choice.size_mm

    @property
    def below(self) -> tuple[Missing, ...]:
        """As of `Choice`."""
        return () if self.choice is None else self.choice.below

    @property
    def trims(self) -> tuple[TrimPlan, ...]:
        """As of `Choice`."""
        return () if self.choice is None else self.choice.trims


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
    kinds = by_kind(plan, [b for b in blocks if b.state != "set aside"])
    aside = by_kind(plan, [b for b in blocks if b.state == "set aside"])
    each = {
        kind: _sizes(plan.of_kind(kind), used, tuple(b.name for b in aside[kind]))
        for kind, used in kinds.items()
    }
    found = {kind: one.choice for kind, one in each.items() if one.choice is not None}
    if len(found) > 1:
        gaps: dict[str, Lack | str] = {}
        found = _try(gaps, "tied", lambda: tie(plan, found, kinds, _cloth)) or found
        each = {
            kind: replace(one, choice=found.get(kind), gaps={**one.gaps, **gaps})
            for kind, one in each.items()
        }
    each = {kind: replace(one, unmarked=_unmarked(one, kinds[kind])) for kind, one in each.items()}
    first = each.pop(plan.kind)
    gaps = dict(first.gaps)
    rows = None
    if first.choice is not None:
        rows = _try(gaps, "rows", lambda: _rows(plan, kinds, found))
    layout = None
    if found or (plan.planned_mm and plan.rows and plan.blocks_per_row):
        gaps.pop("cuts", None)
        layout = _try(gaps, "cuts", lambda: _layout(plan, found, kinds))
    cuts = layout and _try(gaps, "cuts", lambda: _cuts(plan, layout))
    halves = [b for k in plan.kinds if k.halves for b in kinds[k.name]]
    both = _try(gaps, "pairs", lambda: pairs(plan, halves))
    return replace(
        first,
        rows=rows,
        layout=layout,
        half_block=None if layout is None else layout.piece(HALF),
        fabrics=cuts[0] if cuts else (),
        finish=cuts[1] if cuts else None,
        kind=plan.kind,
        others=tuple(replace(one, kind=kind) for kind, one in each.items()),
        pairs=both[0] if both else (),
        single_halves=both[1] if both else (),
        gaps=gaps,
    )


def _sizes(plan: Plan, used: Sequence[BlockRecord], aside: tuple[str, ...]) -> QuiltPlan:
    """The size of one kind of block, and how its seams were sewn."""
    if not used:
        missing = dict.fromkeys(("size", "seams", "trims", "rows", "cuts"), Lack.BLOCKS)
        return QuiltPlan(plan, set_aside=aside, gaps=missing)
    gaps: dict[str, Lack | str] = {}
    if plan.planned_mm is None:
        gaps["planned"] = Lack.PLANNED
    cloth = [_cloth(b, plan) for b in used]
    seams = _try(gaps, "seams", lambda: _seams(plan, used)) or {}
    choice = _try(gaps, "size", lambda: choose(plan, used, cloth))
    if choice is None:
        gaps["trims"] = gaps["size"]
        gaps["rows"] = gaps["cuts"] = Lack.SIZE
    return QuiltPlan(
        plan,
        names=tuple(b.name for b in used),
        set_aside=aside,
        trimmed={b.name: b for b in used if b.state == "trimmed"},
        choice=choice,
        uncertain=tuple(
            b.name for b in used if max(b.width_mm.u95, b.height_mm.u95) > 2 * CERTAIN_MM
        ),
        seams=seams,
        gaps=gaps,
    )


def short_of_plan(plan: Plan, blocks: Sequence[BlockRecord]) -> frozenset[str]:
    """Blocks that do not reach the planned size of their kind: those of `QuiltPlan.below`."""
    found: set[str] = set()
    for kind, some in by_kind(plan, [b for b in blocks if b.state != "set aside"]).items():
        own = plan.of_kind(kind)
        if own.planned_mm is not None:
            cloth = [_cloth(b, own) for b in some]
            found |= short_of(cloth, *own.planned_mm)
    return frozenset(found)


def trims_at(
    plan: Plan, blocks: Sequence[BlockRecord], size_mm: tuple[float, float]
) -> tuple[TrimPlan, ...]:
    """Where each block is trimmed to a size that is only looked at: as `QuiltPlan.trims`."""
    plan = replace(plan, chosen_mm=size_mm)
    used = [b for b in blocks if b.state != "set aside"]
    return trims_of(plan, used, [_cloth(b, plan) for b in used], size_mm)


def _rows(
    plan: Plan, kinds: Mapping[str, Sequence[BlockRecord]], found: Mapping[str, Choice]
) -> Rows:
    """Seam matches of the blocks' rows, where the setting is one that they are worked out for."""
    alike = len({c.size_mm for c in found.values()}) == 1 and not any(k.halves for k in plan.kinds)
    mixed = bool(plan.kinds or plan.repeat)
    where = "blocks and rows" if plan.sashing_between == "both" else plan.sashing_between
    for there, what in (
        (plan.setting == "on point", "blocks on point"),
        (mixed and not alike, "blocks of several sizes or sewn in halves"),
        (
            mixed and any(ALTERNATE in line for line in order_of(plan)),
            "several kinds of blocks with alternate blocks",
        ),
        (bool(plan.frame_mm), "framed blocks"),
        (
            plan.sashing_between is not None,
            f"sashing between {where}",
        ),
    ):
        if there:
            raise PlanError(
                f"Seam matches are not worked out for {what}.",
                "Trim every block to size before you sew the rows, and pin at each seam.",
            )
    done = {t.name: _done(t) for c in found.values() for t in c.trims}
    size = found[plan.kind].size_mm
    if not mixed:
        return lay_rows(plan, kinds[plan.kind], size, done)
    one_kind = replace(plan, kinds=(), repeat=(), alternate=False)
    laid = lay_rows(one_kind, in_places(plan, kinds), size, done)
    why = NoOrder.KINDS if laid.arrangement else laid.no_order
    return replace(laid, arrangement=None, no_order=why)


def _layout(
    plan: Plan, found: Mapping[str, Choice], kinds: Mapping[str, Sequence[BlockRecord]]
) -> Layout:
    """The quilt top, blocks that are still to be measured as they are planned."""
    sizes = {kind: choice.size_mm for kind, choice in found.items()}
    for kind in kinds:
        planned = plan.kind_named(kind).planned_mm
        if kind not in sizes and planned is not None:
            sizes[kind] = planned
    halves = {k.name for k in plan.kinds if k.halves}
    count = sum(math.ceil(len(some) / (2 if k in halves else 1)) for k, some in kinds.items())
    return lay_out(design_of(plan, sizes, count))


def _cuts(plan: Plan, layout: Layout) -> tuple[tuple[Fabric, ...], Finish]:
    first = next(iter(layout.design.blocks_mm.values()))
    parts = (layout.across_mm, layout.down_mm)
    size = (layout.width_mm, layout.height_mm)
    return (
        fabrics(plan, layout.pieces()),
        finish(plan, layout.body_mm, layout.worked_mm, parts, size, first[0]),
    )


def _try(gaps: dict[str, Lack | str], what: str, work: Callable[[], T]) -> T | None:
    """Do a part of the work; where it cannot be done, keep the reason and go on without it."""
    try:
        return work()
    except PlanError as e:
        gaps[what] = str(e)
        return None


def _done(trim: TrimPlan) -> tuple[float, float]:
    """A block's width and height once it is trimmed: less than the size where it is short."""
    laid = trim.placement
    return (
        laid.width_mm + 2 * min(laid.spare_mm[0], 0.0),
        laid.height_mm + 2 * min(laid.spare_mm[1], 0.0),
    )


def _cloth(record: BlockRecord, plan: Plan) -> Block:
    """What a rectangle must fit in.

    A trimmed block was cut along the ruler: where it measures as the size that was chosen or
    planned, or as one on the ruler lines, it is taken as that size, and needs no guard because
    nothing more is cut from it.
    """
    sizes = (record.width_mm, record.height_mm)
    marks = tuple(to_step(e.value, plan.step_mm) for e in sizes)
    for size in (plan.chosen_mm, plan.planned_mm, marks):
        if record.state != "trimmed" or size is None:
            continue
        if all(abs(s - e.value) <= e.u95 for s, e in zip(size, sizes, strict=True)):
            w, h = size
            corners = np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]])
            return Block(record.name, corners, 0.0, plan.give_mm)
    return record.cloth(plan)


def _unmarked(quilt: QuiltPlan, used: Sequence[BlockRecord]) -> tuple[str, ...]:
    """Blocks without marked points that are trimmed nearer to them than a seam allowance.

    The plan has its points one seam allowance inside the planned size, and they lie in the
    middle of the block; without a plan nothing is known of them.
    """
    planned, size = quilt.plan.planned_mm, quilt.size_mm
    if planned is None or size is None:
        return ()
    inside = max(p - mm for p, mm in zip(planned, size, strict=True)) / 2
    if inside <= NEAR_SEAM_MM:
        return ()
    return tuple(b.name for b in used if not b.points_mm and b.state != "trimmed")


def _seams(plan: Plan, used: Sequence[BlockRecord]) -> Mapping[str, SewnSeam]:
    untrimmed = [b for b in used if b.state == "measured"]
    counts = {"width": plan.seams_across, "height": plan.seams_down}
    if plan.planned_mm is None or not any(counts.values()):
        missing = "how many seams lie across and down a block (--seams-across, --seams-down)"
        if plan.planned_mm is None:
            missing = "the planned size and " + missing
        raise PlanError(f"To learn how wide your seams really are, tell the plan {missing}.")
    if not untrimmed:
        raise PlanError(
            "How wide the seams were sewn can be told only from blocks that are not trimmed yet."
        )
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
            )
    return found
