"""Sentences about cutting: the order of the cuts, the cloth they take, whether there is enough."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from ..planning.cutting.cloth import OnCloth
from ..planning.cutting.cut_list import Fabric
from ..planning.cutting.packing import Strip
from ..planning.cutting.pieces import CutPiece
from ..planning.cutting.workings import Measured
from ..planning.layouts import planned
from ..planning.plan import Plan
from ..planning.quilt import QuiltPlan
from . import words
from .quilt_picture import letters


def headline(quilt: QuiltPlan) -> str:
    """What the set can be trimmed to, and whether the cuts may be made by it."""
    said = words.headline(quilt)
    if all(one.size_mm is not None for one in (quilt, *quilt.others)):
        return said
    return f"{said} Cuts go by the planned size of what is not measured: do not cut yet."


def unused(plan: Plan) -> list[str]:
    """Fabrics that the plan says something of and nothing is cut from: no harm, but said."""
    hand, said = dict(plan.in_hand), []
    parts = ", ".join(planned.parts_of(plan))
    parts = f"What is cut: {parts}." if parts else "It has no borders, sashing or other parts yet."
    for name in planned.unused(plan):
        cloth = ", ".join(text for fabric, text in plan.in_hand if fabric == name)
        has = f" ({cloth} in hand)" if name in hand else ""
        said.append(
            f"Nothing is cut from {name}{has}: no part of this quilt is of that fabric. {parts}"
        )
    return said


def middle(quilt: QuiltPlan) -> list[str]:
    """Where the sewn quilt was measured to be far from what is worked out: one of them is wrong."""
    plan, said = quilt.plan, []
    for figure in quilt.finish.body if quilt.finish else ():
        how = figure.working
        if not isinstance(how, Measured) or abs(how.total_mm - how.worked_mm) <= how.likely_mm:
            continue
        more = how.total_mm - how.worked_mm
        by, likely, seams = (
            words.length(plan, mm, fraction=32)
            for mm in (abs(more), how.likely_mm, 2 * plan.seam_mm)
        )
        raw = abs(more - 2 * plan.seam_mm) <= how.likely_mm
        advice = (
            f"From raw edge to raw edge it measures {seams} more than it counts: take that off."
            if raw
            else "Measure it again, and look whether the plan has all its rows, blocks and sashing."
        )
        said.append(
            f"The {figure.name} measured through the middle is {by} {'more' if more > 0 else 'less'} "
            f"than what is worked out, and its seams explain {likely} at most: do not cut the "
            f"borders yet. {advice}"
        )
    return said


def piece(plan: Plan, one: CutPiece) -> str:
    """Name a piece with its count and size: ``12 × alternate block, 6 × 9 in``."""
    along = ", along the lengthwise grain" if one.lengthwise else ""
    return f"{one.count} × {one.name}, {words.size(plan, one.width_mm, one.height_mm)}{along}"


def order(plan: Plan, fabric: Fabric, *, lettered: bool = False) -> list[tuple[str, list[str]]]:
    """The cuts of a fabric, cloth by cloth: what is laid out, and its strips in their order.

    Beside a drawing (`lettered`) each piece is named with its letter there.
    """
    pieces = fabric.cloth.pieces
    names = [one.name for one in pieces]
    if lettered:
        names = [" ".join(pair) for pair in zip(letters(len(pieces)), names, strict=True)]
    laid = [(_from(one), one) for one in fabric.cloth.in_hand]
    if fabric.cloth.bolt is not None:
        rest = "From what is still to be bought" if fabric.in_hand else "From the bolt"
        laid.append((rest, fabric.cloth.bolt))
    return [(name, _strips(plan, one, names)) for name, one in laid]


def _from(one: OnCloth) -> str:
    turned = ", strips along its length" if one.turned else ""
    return f"From the cloth in hand ({one.cloth.said}{turned})"


def _strips(plan: Plan, laid: OnCloth, names: Sequence[str]) -> list[str]:
    """One sentence for each kind of strip, the widest first."""
    kinds: Counter[tuple[str, str]] = Counter()
    for strip in laid.strips:
        wide = words.length(plan, strip.wide_mm, fraction=32)
        kinds[wide, _gives(plan, strip, names)] += 1
    return [
        f"{n} strips {wide} wide, each: {gives}" if n > 1 else f"1 strip {wide} wide: {gives}"
        for (wide, gives), n in kinds.items()
    ]


def _gives(plan: Plan, strip: Strip, names: Sequence[str]) -> str:
    """What a strip is cut into, the widest pieces first."""
    found: Counter[str] = Counter()
    for p in sorted(strip.places, key=lambda p: -p.across_mm * p.along_mm):
        size = words.size(plan, p.across_mm, p.along_mm)
        found[f"{names[p.shape]}, {size}"] += 1
    return "; ".join(f"{n} × {text}" for text, n in found.items())


def cloth(plan: Plan, fabric: Fabric) -> list[str]:
    """How much cloth it takes, the allowance on a line of its own, and how near that is to least."""
    laid = fabric.cloth
    said = []
    if laid.suffices is not None:
        said.append(suffices(plan, fabric))
    if laid.bolt is None:
        return said
    wide = words.length(plan, fabric.usable_mm, fraction=32)
    need, more = (words.length(plan, mm, fraction=32) for mm in (laid.need_mm, laid.allowance_mm))
    said.append(f"The layout takes {need} of fabric {wide} wide.")
    if laid.allowance_mm:
        said.append(
            f"For squaring up and shrinkage {words.percent(fabric.allowance)} more: {more}."
        )
    said.append(f"Altogether {words.working(laid.working, plan.unit)}.")
    over = laid.need_mm / laid.bound_mm - 1
    least = words.length(plan, laid.bound_mm, fraction=32)
    if over < 0.005:
        said.append("No layout takes less.")
    else:
        said.append(
            f"No layout can take less than {least}; this one takes {words.percent(over)} more."
        )
    return said


def suffices(plan: Plan, fabric: Fabric) -> str:
    """Whether the cloth in hand is enough."""
    counts = Counter(c.said for c in fabric.in_hand)
    hand = words.listed([f"{n} × {said}" if n > 1 else said for said, n in counts.items()])
    laid = fabric.cloth
    if laid.suffices == "yes":
        return f"The cloth in hand ({hand}) is enough: everything is laid out on it."
    lack = words.length(plan, laid.need_mm, fraction=32, rounding="up")
    if laid.suffices == "no":
        return (
            f"The cloth in hand ({hand}) is not enough: the pieces together are larger than it. "
            f"{lack} more is needed."
        )
    return (
        f"No way was found to cut everything from the cloth in hand ({hand}), though the pieces "
        f"together are no larger than it. With {lack} more it can be done."
    )
