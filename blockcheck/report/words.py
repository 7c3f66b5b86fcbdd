"""The sentences that the report, the trim sheet and the command line share."""

from __future__ import annotations

from collections.abc import Sequence

from ..planning.cutting.cut_list import Cut
from ..planning.plan import BlockRecord, Plan, called
from ..planning.quilt import QuiltPlan
from ..planning.rows.laying import SASHING
from ..planning.rows.seam_matches import SeamMatch
from ..planning.trimming.common_size import SizeRow
from ..planning.trimming.trim_lines import TrimPlan
from ..units import format_length, format_uncertainty

RULER_FIRST = "Measure with the ruler before the first cut."
CAUTION = (
    "Rotary cutters are sharp: cut away from yourself, keep your fingers behind the ruler's edge, "
    "close the blade after every cut. Irons and steam burn. Follow the makers' instructions."
)
AIM = {"width": "wide", "height": "high"}


def length(plan: Plan, mm: float, *, fraction: int = 0, rounding: str = "nearest") -> str:
    """Write a length in the plan's unit, to the plan's fraction unless told."""
    return format_length(mm, unit=plan.unit, fraction=fraction or plan.fraction, rounding=rounding)


def size(plan: Plan, width_mm: float, height_mm: float) -> str:
    """Write a size: ``6 1/8 × 9 in``."""
    wide = length(plan, width_mm, fraction=32).removesuffix(f" {plan.unit}")
    return f"{wide} × {length(plan, height_mm, fraction=32)}"


def names(several: Sequence[str], most: int = 12) -> str:
    """Write names in a row: ``A, B and C``; of very many the first and how many more."""
    shown = [called(name) for name in several[:most]]
    if len(several) > most:
        shown.append(f"{len(several) - most} more")
    return " and ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)


def headline(quilt: QuiltPlan) -> str:
    """Say in a sentence what the set can be trimmed to."""
    if quilt.size_mm is None:
        return quilt.gaps["size"]
    n, target = len(quilt.names), size(quilt.plan, *quilt.size_mm)
    who = {1: f"The one block, {called(quilt.names[0])},", 2: "Both blocks"}.get(
        n, f"All {n} blocks"
    )
    if quilt.plan.planned_mm is not None and not quilt.below:
        return f"{who} can be trimmed to the planned {target}."
    return f"{who} can be trimmed to {target}."


def reasons(quilt: QuiltPlan) -> tuple[str, ...]:
    """What limits the size, what the plan asked for, and what is set aside or uncertain."""
    plan, largest, said = quilt.plan, quilt.largest, []
    if largest is not None and quilt.size_mm is not None:
        if quilt.size_mm != (largest.width_mm, largest.height_mm):
            more = size(plan, largest.width_mm, largest.height_mm)
            said.append(f"The largest size that every block reaches is {more}.")
        by_name: dict[str, list[str]] = {}
        for limit in largest.limits:
            now = largest.width_mm if limit.dimension == "width" else largest.height_mm
            lacks = length(plan, limit.short_mm, fraction=32, rounding="up")
            goal = length(plan, now + largest.step_mm, fraction=32)
            words = (
                f"{lacks} short of {goal} {AIM[limit.dimension]}, most of it at the "
                f"{limit.side} edge"
            )
            by_name.setdefault(limit.name, []).append(words)
        said += [
            f"{sentence(called(name))} sets the limit: {'; '.join(parts)}."
            for name, parts in by_name.items()
        ]
        if len(largest.table) > 1 and len(largest.table[1].set_aside) <= 2:
            row = largest.table[1]
            said.append(
                f"Without {names(row.set_aside)} the other {row.reached} can be trimmed to "
                f"{size(plan, row.width_mm, row.height_mm)}."
            )
        if quilt.below and plan.planned_mm is not None:
            planned, target = size(plan, *plan.planned_mm), size(plan, *quilt.size_mm)
            said.append(
                f"The pattern asks for {planned}, which not every block reaches. If you trim to "
                f"{target}, cut everything else in the quilt to match."
            )
    if "planned" in quilt.gaps:
        said.append(quilt.gaps["planned"])
    if quilt.set_aside:
        said.append(f"Set aside and not counted: {names(quilt.set_aside)}.")
    if quilt.uncertain:
        said.append(
            f"The size of {names(quilt.uncertain)} is not certain enough to cut by: measure with "
            "the ruler, or take another photo with more of the mat's lines in view."
        )
    return tuple(said)


def size_row(quilt: QuiltPlan, row: SizeRow) -> str:
    """One line of the size table."""
    n = len(quilt.names)
    without = f", not {names(row.set_aside)}" if row.set_aside else ""
    return f"{size(quilt.plan, row.width_mm, row.height_mm)}: {row.reached} of {n} blocks{without}"


def below(quilt: QuiltPlan) -> tuple[tuple[str, str, str], ...]:
    """Each block that does not reach the planned size: its name, what is missing, what to do."""
    found = []
    for m in quilt.below:
        lack = length(quilt.plan, m.short_mm, fraction=32, rounding="up")
        where = {"middle": ", most of it in the middle", "all along": ", all along"}.get(
            m.end, f", most of it at the {m.end}"
        )
        what = f"{lack} short at the {m.side} edge{where}"
        advice = m.advice
        if m.name in quilt.too_close:
            what = f"too close to call: up to {lack} short at the {m.side} edge"
            advice = "Measure it with the ruler before you decide."
        found.append((sentence(called(m.name)), what, advice))
    return tuple(found)


def trim_state(quilt: QuiltPlan, plan: TrimPlan) -> str:
    """Say what is out of the ordinary about trimming a block, as an ending to its name."""
    if not plan.fits:
        return ": does not reach the size"
    if plan.cut_points:
        return ": a point would be cut off"
    if max(max(o.first_mm, o.second_mm) for o in plan.offcuts) < quilt.plan.step_mm / 8:
        return ": nothing to trim"
    return ""


def seam_match(quilt: QuiltPlan, one: SeamMatch) -> str:
    """Say which seams fail to match, by how much, and what to ease."""
    rows, plan = quilt.rows, quilt.plan
    line = "column" if rows is not None and rows.along == "height" else "row"
    off = length(plan, abs(one.step_mm))
    doubt = ", too close to call" if one.meets == "too close to call" else ""
    first, second = (
        f"the {'seam ' if name.startswith('after ') else ''}{name} in {line} {r + 1}"
        for r, name in zip(one.rows, one.names, strict=True)
    )
    return f"{sentence(first)} and {second} are {off} apart{doubt}. {one.advice}".rstrip()


def rows_verdict(quilt: QuiltPlan) -> tuple[str, ...]:
    """Say how the rows meet as the blocks measure now, and what trimming or another order does."""
    rows, plan = quilt.rows, quilt.plan
    if rows is None or quilt.size_mm is None:
        return (quilt.gaps["rows"],)
    said = []
    miss = sum(j.meets == "no" for j in rows.check.matches)
    close = sum(j.meets == "too close to call" for j in rows.check.matches)
    matches, tolerance = len(rows.check.matches), length(plan, plan.tolerance_mm, fraction=32)
    if not matches:
        said.append(rows.note)
    elif miss or close:
        doubt = f" and {close} {'is' if close == 1 else 'are'} too close to call" if close else ""
        said.append(
            f"As the blocks measure now, {miss} of {matches} seam matches "
            f"{'is' if miss == 1 else 'are'} off by more than {tolerance}{doubt}. Once every block is "
            f"trimmed to {size(plan, *quilt.size_mm)}, they all meet."
        )
    else:
        said.append(
            f"As the blocks measure now, all {matches} seam matches meet within {tolerance}."
        )
    if plan.rows is None or plan.blocks_per_row is None:
        line = f"{len(rows.pieces)} {'columns' if rows.along == 'height' else 'rows'}"
        said.append(
            f"The plan does not say how many rows, or how many blocks per row; {line} are drawn."
        )
    if rows.to_sew:
        said.append(
            f"{_count(rows.to_sew, 'place')} still without a block and drawn at the planned size."
        )
    if rows.left_over:
        said.append(f"There is no place left for {names(rows.left_over)}.")
    if rows.arrangement is not None:
        worst, now = rows.arrangement.worst_mm, rows.check.worst_mm
        if worst < now - plan.tolerance_mm / 8:
            order = "; ".join(
                f"{'column' if rows.along == 'height' else 'row'} {i}: "
                + ", ".join(name for name in row if name != SASHING)
                for i, row in enumerate(rows.arrangement.rows, 1)
            )
            said.append(
                f"Untrimmed, the rows meet better in this order, off by {length(plan, worst)} at "
                f"worst instead of {length(plan, now)}: {order}."
            )
        elif matches:
            said.append("No other order of the blocks meets better.")
    elif matches:
        said.append(rows.note)
    return tuple(said)


def how_sure(quilt: QuiltPlan, blocks: Sequence[BlockRecord]) -> tuple[str, ...]:
    """Put the uncertainty in plain words."""
    used = [b for b in blocks if b.name in quilt.names]
    sizes = sorted((e for b in used for e in (b.width_mm, b.height_mm)), key=lambda e: e.u95)
    if not sizes:
        return ()
    low, high = (format_uncertainty(e.u95, unit=quilt.plan.unit) for e in (sizes[0], sizes[-1]))
    spread = low if low == high else f"{low} to {high}"
    said = [
        f"Every measured size is good to ± {spread}: about 95 of every 100 are at least that close to "
        "the truth."
    ]
    if sizes[-1].budget:
        most = max(sizes[-1].budget, key=lambda t: t.u).name
        said.append(f"Where the ± is largest, most of it comes from: {most}.")
    if any(b.guard_mm > 0 for b in used):
        guard = format_uncertainty(max(b.guard_mm for b in used), unit=quilt.plan.unit)
        said.append(
            f"To allow for it, the trim lines stay up to {guard} inside the measured edges."
        )
    if ruler := [b.name for b in used if b.source == "ruler"]:
        said.append(f"Measured with a ruler and not from a photo: {names(ruler)}.")
    return tuple(said)


def strips(quilt: QuiltPlan, cut: Cut) -> str:
    """Say how many strips a kind of piece takes and what one strip gives."""
    wide = length(quilt.plan, cut.strip_mm, fraction=32)
    many = f"{cut.strips} strip{'s' if cut.strips > 1 else ''} {wide} wide"
    if cut.per_strip is None:
        return f"{many}, joined end to end"
    return f"{many}; pieces from one strip: {cut.per_strip.working}"


def finish(quilt: QuiltPlan) -> tuple[tuple[str, str], ...]:
    """What closes the quilt, each with its working in a line."""
    done = quilt.finish
    if done is None:
        return ()
    inside = " inside the borders" if quilt.plan.borders_mm else ""
    rows = [(f"{f.name.capitalize()}{inside}", f.working) for f in done.body]
    rows += [
        ("Backing", done.backing_cloth.working),
        ("Batting", done.batting.working),
        ("Binding", done.binding.working),
    ]
    return tuple(rows)


def _count(n: int, thing: str) -> str:
    return f"1 {thing} is" if n == 1 else f"{n} {thing}s are"


def sentence(text: str) -> str:
    """Begin with a capital and leave the rest as it is, for it may hold names."""
    return text[:1].upper() + text[1:]
