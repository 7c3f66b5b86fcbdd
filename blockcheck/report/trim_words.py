"""The sentences about one block's trim lines: the cuts in the order of work, what is not to be had."""

from __future__ import annotations

from ..planning.plan import Plan
from ..planning.trimming.offcuts import Offcut
from ..planning.trimming.shortage import Missing
from ..planning.trimming.trim_lines import LEAVE_MM, SEEN_MM, TOLERANCE_MM, TrimPlan, sticks_out
from ..units import INCH, format_length

_OFF_CENTRE_MM = INCH / 64  # less is not worth a word
_ORDER = ("right", "top", "left", "bottom")  # of the cuts
_WHERE = {
    "": "all along",
    "left": "on the left",
    "right": "on the right",
    "middle": "in the middle",
}


def instructions(plan: Plan, trim: TrimPlan) -> tuple[str, ...]:
    """The cuts in the order of work: right and top, turn the block, left and bottom."""
    return tuple(said for _, said in steps(plan, trim))


def steps(plan: Plan, trim: TrimPlan) -> tuple[tuple[str, str], ...]:
    """The instructions, each with what it is: a side, "turn" or "leave"."""
    if trim.nothing_to_trim:
        return (("leave", f"leave it: no edge sticks out by more than {_fine(plan, LEAVE_MM)}"),)
    lines = {o.side: _cut(plan, o) for o in trim.offcuts}
    wide, high = (_fine(plan, mm) for mm in (trim.placement.width_mm, trim.placement.height_mm))
    turn = (
        f"Turn the block 180°; line up the ruler's {wide} and {high} lines with the two edges you "
        "just cut."
    )
    return (
        ("right", lines["right"]),
        ("top", lines["top"]),
        ("turn", turn),
        ("left", lines["left"]),
        ("bottom", lines["bottom"]),
    )


def problems(plan: Plan, trim: TrimPlan) -> tuple[str, ...]:
    """What could not be had: cloth, points' seam allowances, the centre line in the middle."""
    said = [f"The block is {lacking(plan, m)}." for m in trim.missing]
    said += [
        f"The point {p.name} would be cut off by {_fine(plan, p.short_mm)} at the {p.side} edge."
        for p in trim.cut_points
    ]
    if trim.off_centre_mm > _OFF_CENTRE_MM:
        said.append(f"The centre line is {_fine(plan, trim.off_centre_mm)} off the middle.")
    return tuple(said)


def lacking(plan: Plan, m: Missing) -> str:
    """What a block lacks of a size: ``1/8 in too narrow``."""
    lack = format_length(m.short_mm, unit=plan.unit, fraction=32, rounding="up")
    return f"{lack} too {'narrow' if m.side in ('left', 'right') else 'short'}"


def amount(plan: Plan, mm: float) -> str:
    """What comes off an edge at a place: ``1/8 in``, ``nothing``, or ``1/32 in missing``.

    What is missing is written to 1/32 in and rounded up, as everywhere. What comes off is written
    to the plan's fraction, and finer only where that would make nothing of a cut.
    """
    if mm <= -SEEN_MM:
        missing = -mm - TOLERANCE_MM
        return f"{format_length(missing, unit=plan.unit, fraction=32, rounding='up')} missing"
    fraction = plan.fraction if mm * plan.fraction >= INCH / 2 or mm <= LEAVE_MM else 32
    text = format_length(mm, unit=plan.unit, fraction=fraction)
    return "nothing" if mm < SEEN_MM or text == format_length(0.0, unit=plan.unit) else text


def places(plan: Plan, cut: Offcut) -> tuple[str, str, str]:
    """What comes off one edge at its two ends in reading order, and in its middle.

    The middle is empty unless it is plainly another amount: by more than a cut is worth, or cloth
    missing or sticking out there alone. Of an edge that is left as it is only what is missing.
    """
    off = sticks_out(cut)

    def written(mm: float) -> str:
        return amount(plan, mm if off else min(mm, 0.0))

    first, second = written(cut.first_mm), written(cut.second_mm)
    low, high = sorted((cut.first_mm, cut.second_mm))
    middle = []
    if low - cut.least_mm > LEAVE_MM or cut.least_mm <= -SEEN_MM < low:
        middle.append(written(cut.least_mm))
    if cut.most_mm - high > LEAVE_MM or high < SEEN_MM < cut.most_mm:
        middle.append(written(cut.most_mm))
    return first, second, " to ".join(text for text in middle if text not in (first, second))


def along(plan: Plan, cut: Offcut) -> tuple[tuple[str, str], ...]:
    """The amounts of `places`, each with its place; one, named "", where all are the same."""
    first, second, middle = places(plan, cut)
    ends = ("left", "right") if cut.side in ("top", "bottom") else ("top", "bottom")
    some = list(zip(ends, (first, second), strict=True))
    if first == second:
        some = [("ends" if middle else "", first)]
    return (*some, *([("middle", middle)] if middle else []))


def spoken(plan: Plan, cut: Offcut) -> str:
    """The amounts along an edge as a sentence has them: ``1/16 in at the top, 1/8 in at the bottom``."""
    return ", ".join(
        f"{text} {_WHERE.get(where) or f'at the {where}'}"
        for where, text in along(plan, cut)
        if sticks_out(cut) or "missing" in text
    )


def amounts(plan: Plan, trim: TrimPlan) -> tuple[str, ...]:
    """What to trim off right, top, left and bottom, in a few signs for a table."""
    by_side, found = {o.side: o for o in trim.offcuts}, []
    for side in _ORDER:
        said = {
            where: text.replace(f" {plan.unit}", "") for where, text in along(plan, by_side[side])
        }
        middle = said.pop("middle", "")
        ends = " to ".join(said.values())
        all_along = f"{ends}, {middle} in the middle" if middle else ends
        found.append(all_along.replace("nothing", "–"))
    return tuple(found)


def label_lines(plan: Plan, trim: TrimPlan) -> tuple[str, ...]:
    """What to trim, on a label: a line for each side to cut or with cloth missing, in the order of work."""
    if trim.nothing_to_trim:
        return ("No trimming needed.",)
    by_side = {o.side: o for o in trim.offcuts}
    said = [(side, spoken(plan, by_side[side]).removesuffix(" all along")) for side in _ORDER]
    return tuple(f"{side}: {text}" for side, text in said if text) or ("Nothing sticks out.",)


def _fine(plan: Plan, mm: float) -> str:
    return format_length(mm, unit=plan.unit, fraction=32)


def _cut(plan: Plan, cut: Offcut) -> str:
    """What comes off one edge, and where cloth is missing."""
    said = spoken(plan, cut)
    lead = f"{'' if sticks_out(cut) else 'nothing '}off the {cut.side} edge"
    return f"{lead}: {said}" if said else lead
