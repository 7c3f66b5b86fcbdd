"""The sentences about one block's trim lines: the cuts in the order of work, what is not to be had."""

from __future__ import annotations

from ..planning.plan import Plan
from ..planning.trimming.offcuts import Offcut
from ..planning.trimming.trim_lines import LEAVE_MM, SEEN_MM, TrimPlan, sticks_out
from ..units import INCH, format_length

_OFF_CENTRE_MM = INCH / 64  # less is not worth a word


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
    said = []
    if not trim.fits:
        worst = min(trim.offcuts, key=lambda o: min(o.first_mm, o.second_mm, o.least_mm))
        short = format_length(trim.given_mm, unit=plan.unit, fraction=32, rounding="up")
        said.append(f"The block is {short} short, most of it at the {worst.side} edge.")
    said += [
        f"The point {p.name} would be cut off by {_fine(plan, p.short_mm)} at the {p.side} edge."
        for p in trim.cut_points
    ]
    if trim.off_centre_mm > _OFF_CENTRE_MM:
        said.append(f"The centre line is {_fine(plan, trim.off_centre_mm)} off the middle.")
    return tuple(said)


def bulges(cut: Offcut) -> bool:
    """Whether an edge sticks out between its ends only."""
    return sticks_out(cut) and max(cut.first_mm, cut.second_mm) < SEEN_MM


def amount(plan: Plan, mm: float) -> str:
    """Write what falls off an edge: ``1/8 in``, ``nothing``, or ``1/32 in short``."""
    text = _plain(plan, abs(mm))
    if text == _plain(plan, 0.0):
        return "nothing"
    return f"{text} short" if mm < 0 else text


def amounts(plan: Plan, trim: TrimPlan) -> tuple[str, ...]:
    """What to trim off right, top, left and bottom, in a few signs for a table."""
    found = []
    by_side = {o.side: o for o in trim.offcuts}
    for side in ("right", "top", "left", "bottom"):
        cut = by_side[side]
        ends = [
            _plain(plan, abs(mm)).removesuffix(f" {plan.unit}")
            + (" short" if mm <= -SEEN_MM else "")
            for mm in (cut.first_mm, cut.second_mm)
        ]
        if not sticks_out(cut) and min(cut.first_mm, cut.second_mm) > -SEEN_MM:
            found.append("–")
        else:
            middle = _plain(plan, cut.most_mm).removesuffix(f" {plan.unit}")
            ends = [f"{middle} in the middle"] if bulges(cut) else ends
            found.append(ends[0] if len(set(ends)) == 1 else " to ".join(ends))
    return tuple(found)


def label_lines(plan: Plan, trim: TrimPlan) -> tuple[str, ...]:
    """What to trim, on a label: a line for each side that sticks out, in the order of work."""
    if trim.nothing_to_trim:
        return ("No trimming needed.",)
    by_side, said = {o.side: o for o in trim.offcuts}, []
    for side in ("right", "top", "left", "bottom"):
        cut = by_side[side]
        if not sticks_out(cut):
            continue
        ends = ("left", "right") if side in ("top", "bottom") else ("top", "bottom")
        first, second = (amount(plan, mm) for mm in (cut.first_mm, cut.second_mm))
        along = f"{first} at the {ends[0]}, {second} at the {ends[1]}"
        if bulges(cut):
            along = f"{amount(plan, cut.most_mm)} in the middle"
        said.append(f"{side}: {first if first == second and not bulges(cut) else along}")
    return tuple(said) or ("Nothing sticks out.",)


def _plain(plan: Plan, mm: float) -> str:
    return format_length(mm, unit=plan.unit, fraction=plan.fraction)


def _fine(plan: Plan, mm: float) -> str:
    return format_length(mm, unit=plan.unit, fraction=32)


def _cut(plan: Plan, cut: Offcut) -> str:
    """What comes off one edge, at its ends; in its middle where it only bulges."""
    ends = ("left", "right") if cut.side in ("top", "bottom") else ("top", "bottom")
    nothing = format_length(0.0, unit=plan.unit)
    parts, sizes = [], []
    for value, end in zip((cut.first_mm, cut.second_mm), ends, strict=True):
        where = f"on the {end}" if end in ("left", "right") else f"at the {end}"
        fraction = 32 if value < 0 else plan.fraction
        size = format_length(abs(value), unit=plan.unit, fraction=fraction)
        if abs(value) < SEEN_MM or size == nothing:
            size = "nothing"
        elif value < 0:
            size += " short"
        sizes.append(size)
        parts.append(f"{size} {where}")
    if sizes[0] == sizes[1] and not bulges(cut):
        parts = [f"{sizes[0]} all along"]
    elif bulges(cut):
        parts.insert(1, f"{_fine(plan, cut.most_mm)} in the middle")
    if sticks_out(cut):
        return f"off the {cut.side} edge: {', '.join(parts)}"
    if min(cut.first_mm, cut.second_mm) > -SEEN_MM:
        return f"nothing off the {cut.side} edge"
    return f"nothing off the {cut.side} edge: {', '.join(p for p in parts if 'short' in p)}"
