"""The sentences that the report, the trim sheet and the command line share."""

from __future__ import annotations

from collections.abc import Sequence

from ..planning.choice import Choice
from ..planning.plan import BlockRecord, Plan, called
from ..planning.quilt import QuiltPlan
from ..planning.trimming.common_size import SizeRow
from ..planning.trimming.shortage import Missing
from ..planning.trimming.trim_lines import SEEN_MM, TrimPlan
from ..uncertainty import Estimate
from ..units import format_length, format_size, format_uncertainty
from . import advice_words
from .gap_words import gap as gap
from .phrases import CAUTION as CAUTION
from .phrases import DOUBT as DOUBT
from .phrases import RULER_FIRST as RULER_FIRST
from .phrases import names as names
from .phrases import percent as percent
from .phrases import sentence as sentence
from .trim_words import lacking
from .working_words import working as working

AIM = {"width": "wide", "height": "high"}
MANY = 40  # beyond so many of a thing, an overview comes first and the rest is folded


def length(plan: Plan, mm: float, *, fraction: int = 0, rounding: str = "nearest") -> str:
    """Write a length in the plan's unit, to the plan's fraction unless told."""
    return format_length(mm, unit=plan.unit, fraction=fraction or plan.fraction, rounding=rounding)


def size(plan: Plan, width_mm: float, height_mm: float) -> str:
    """Write a size: ``6 1/8 × 9 in``."""
    return format_size(width_mm, height_mm, unit=plan.unit, fraction=32)


def listed(several: Sequence[str]) -> str:
    """Write things in a row: ``top, bottom and inner side``."""
    return " and ".join([", ".join(several[:-1]), several[-1]] if len(several) > 1 else several)


def signed(plan: Plan, mm: float) -> str:
    """Write a difference with its sign."""
    return format_length(mm, unit=plan.unit, fraction=32, sign=True)


def headline(quilt: QuiltPlan) -> str:
    """Say in a sentence what the set can be trimmed to."""
    if quilt.size_mm is None:
        return gap(quilt, "size")
    n, target = len(quilt.names), size(quilt.plan, *quilt.size_mm)
    who = {1: f"The one block, {called(quilt.names[0])},", 2: "Both blocks"}.get(
        n, f"All {n} blocks"
    )
    short = [t.name for t in quilt.trims if not t.fits]
    if short:
        reach = (
            f"{n - len(short)} of {n} blocks {'reaches' if n - len(short) == 1 else 'reach'} it"
            if n > len(short)
            else "no block reaches it"
        )
        without = f", not {names(short)}" if n > len(short) else ""
        return f"{_asked(quilt, target)}: {reach}{without}."
    if quilt.choice is None or quilt.choice.why not in ("planned", "chosen"):
        return f"{who} can be trimmed to {target}."
    if quilt.choice.why == "chosen":
        return f"{who} can be trimmed to the {target} that you chose."
    if all(t.nothing_to_trim for t in quilt.trims):
        verb = "is" if n == 1 else "are"
        return f"{who} {verb} the planned {target}: no trimming needed."
    if all(t.nothing_to_trim or t.some_sides_only for t in quilt.trims):
        verb, it = ("reaches", "it sticks") if n == 1 else ("reach", "they stick")
        return f"{who} {verb} the planned {target}: trim only where {it} out."
    return f"{who} can be trimmed to the planned {target}."


def _asked(quilt: QuiltPlan, target: str) -> str:
    """Where a size comes from that not every block reaches."""
    choice = quilt.choice
    if choice is None or choice.why not in ("chosen", "tied"):
        return f"Trim to {target}"
    if choice.why == "chosen":
        return f"You chose {target}"
    if choice.chosen_for:
        return f"You chose {target} for the kind {choice.chosen_for}"
    return f"The setting asks for {target}"


def reasons(quilt: QuiltPlan) -> tuple[str, ...]:
    """What sets the size, what the plan asked for, what it costs, and what is doubtful."""
    plan, choice, said = quilt.plan, quilt.choice, []
    if choice is not None:
        said += _why(quilt, choice)
        said += _cut_off(quilt, choice)
        said += _doubts(choice)
    said += [gap(quilt, part) for part in ("planned", "tied") if part in quilt.gaps]
    if quilt.set_aside:
        said.append(f"Set aside and not counted: {names(quilt.set_aside)}.")
    if quilt.uncertain:
        said.append(
            f"The size of {names(quilt.uncertain)} is not certain enough to cut by: measure with "
            "the ruler, or take another photo with more of the mat's lines in view."
        )
    if plan.guarded:
        said.append(
            "Judged with a guard band: a block counts only where its ± leaves no doubt that it "
            "is large enough."
        )
    return tuple(said)


def _why(quilt: QuiltPlan, choice: Choice) -> list[str]:
    """Why it is this size, and what the pattern asked for."""
    plan, said = quilt.plan, []
    if choice.passed_over is not None:
        first, losing = choice.passed_over
        said.append(
            f"At {size(plan, *first)}, points of {names(losing)} would be cut off. At this size "
            "every marked point keeps its seam allowance."
        )
    told = choice.why == "chosen" or (
        choice.why == "tied" and any(not t.fits for t in choice.trims)
    )
    if told and choice.largest_mm not in (None, choice.size_mm):
        said.append(
            f"The largest size that every block reaches is {size(plan, *choice.largest_mm or ())}."
        )
    if choice.why == "tied":
        said.append(
            "The quilt's setting ties this size to the other kinds of blocks: they share a row or "
            "a column."
        )
    by_name: dict[str, list[str]] = {}
    for limit in choice.limits if choice.why == "largest" else ():
        lacks = length(plan, limit.short_mm, fraction=32, rounding="up")
        goal = length(plan, limit.next_mm, fraction=32)
        words = (
            f"{lacks} short of {goal} {AIM[limit.dimension]}, most of it at the {limit.side} edge"
        )
        by_name.setdefault(limit.name, []).append(words)
    said += [
        f"{sentence(called(name))} sets the limit: {'; '.join(parts)}."
        for name, parts in by_name.items()
    ]
    more = [row for row in choice.table if row.reached < len(quilt.names)]
    if choice.why == "largest" and more and len(more[0].set_aside) <= min(2, len(quilt.names) // 3):
        said.append(
            f"Without {names(more[0].set_aside)}, the other {more[0].reached} can be trimmed to "
            f"{size(plan, more[0].width_mm, more[0].height_mm)}."
        )
    if plan.planned_mm is not None and choice.size_mm != plan.planned_mm:
        planned, target = size(plan, *plan.planned_mm), size(plan, *choice.size_mm)
        n, short = len(quilt.names), len({m.name for m in choice.below})
        reach = f", which {short} of {n} blocks {'does' if short == 1 else 'do'} not reach"
        reach = {0: "", n: ", which no block reaches"}.get(short, reach)
        said.append(
            f"The pattern asks for {planned}{reach}. If you trim to {target}, cut everything else "
            "in the quilt to match."
        )
    return said


def _cut_off(quilt: QuiltPlan, choice: Choice) -> list[str]:
    """Which points the size cuts off, and where nothing is known of points."""
    plan, said = quilt.plan, []
    lost = [
        f"point {p.name} of {called(t.name)} by {length(plan, p.short_mm, fraction=32)} at the {p.side}"
        for t in choice.trims
        for p in t.cut_points
    ]
    if lost:
        more = f"; and {len(lost) - 6} more" if len(lost) > 6 else ""
        said.append(f"At this size points would be cut off: {'; '.join(lost[:6])}{more}.")
    if quilt.unmarked and plan.planned_mm is not None:
        pairs = zip(plan.planned_mm, choice.size_mm, strict=True)
        near = length(plan, max(p - mm for p, mm in pairs) / 2, fraction=32)
        every = len(quilt.unmarked) == len(quilt.names)
        where = "any block" if every and len(quilt.names) > 1 else names(quilt.unmarked)
        said.append(
            f"No points are marked on {where}. This size is trimmed {near} closer to the seams than "
            "the pattern's, so a point at the edge may be cut off: look before you trim, or mark "
            "the points (blockcheck mark)."
        )
    return said


def _doubts(choice: Choice) -> list[str]:
    """The decisions that are least sure, with the chance that they are wrong."""
    fits = {t.name: t.fits for t in choice.trims}
    close = sorted(
        (n for n, p in choice.doubts.items() if p > DOUBT), key=lambda n: -choice.doubts[n]
    )
    said = []
    for reached, words in ((True, "is really too small"), (False, "really is large enough")):
        some = [n for n in close if fits[n] is reached]
        if not some:
            continue
        each = ", ".join(f"{called(n)} ({percent(choice.doubts[n])})" for n in some[:6])
        more = f" and {len(some) - 6} more" if len(some) > 6 else ""
        said.append(
            f"A close call, with the chance that the block {words}: {each}{more}. Measure with the "
            "ruler before you cut."
        )
    return said


def size_row(quilt: QuiltPlan, row: SizeRow) -> str:
    """One line of the size table."""
    wide, reached, without = _size_cells(quilt, row)
    return f"{wide}: {reached}{f', not {without}' if without else ''}"


def size_table(quilt: QuiltPlan) -> tuple[tuple[str, str, str], ...]:
    """The size table: each size, how many blocks reach it, which do not."""
    return tuple(_size_cells(quilt, row) for row in quilt.choice.table) if quilt.choice else ()


def _size_cells(quilt: QuiltPlan, row: SizeRow) -> tuple[str, str, str]:
    n = len(quilt.names)
    tags = [
        word
        for word, one in (("planned", quilt.plan.planned_mm), ("trim to", quilt.size_mm))
        if one is not None and abs(one[0] - row.width_mm) + abs(one[1] - row.height_mm) < 1e-6
    ]
    tag = f" ({', '.join(tags)})" if tags else ""
    without = names(row.set_aside) if 0 < row.reached < n else ""
    reached = f"{row.reached or 'none'} of {n} block{'s'[: n != 1]}"
    return f"{size(quilt.plan, row.width_mm, row.height_mm)}{tag}", reached, without


def measured_rows(
    quilt: QuiltPlan, blocks: Sequence[BlockRecord]
) -> tuple[tuple[str, str, str], ...]:
    """Each block that counts: its name, its width and its height with their ±."""
    plan = quilt.plan

    def written(e: Estimate) -> str:
        return f"{length(plan, e.value)} ± {format_uncertainty(e.u95, unit=plan.unit)}"

    return tuple(
        (b.name, written(b.width_mm), written(b.height_mm)) for b in blocks if b.name in quilt.names
    )


def below(quilt: QuiltPlan) -> tuple[tuple[str, str, str], ...]:
    """Each block that does not reach the planned size: its name, what is short, what to do."""
    by_name: dict[str, list[Missing]] = {}
    for m in quilt.below:
        by_name.setdefault(m.name, []).append(m)
    found = []
    for name, lacks in by_name.items():
        what = " and ".join(_short(quilt, m) for m in lacks)
        left = " and ".join(
            f"{_seam_left(quilt, m)} {'on the left and right' if _across(m) else 'at the top and bottom'}"
            for m in lacks
        )
        what += f". Sewn in as it is, its seam allowances come to {left}"
        advice = advice_words.SHORT[lacks[0].remedy]
        reach = quilt.choice.may_reach.get(name, 0.0) if quilt.choice else 0.0
        if reach > DOUBT:
            what += f". Too close to call: a {percent(reach)} chance that it is large enough"
            advice = "Measure it with the ruler before you decide."
        found.append((sentence(called(name)), what, advice))
    return tuple(found)


def _across(m: Missing) -> bool:
    return m.side in ("left", "right")


def _short(quilt: QuiltPlan, m: Missing) -> str:
    where = {"middle": f", most of it in the middle of the {m.side} edge", "all along": ""}.get(
        m.end, f", most of it at the {m.end} of the {m.side} edge"
    )
    return f"{lacking(quilt.plan, m)}{where}"


def _seam_left(quilt: QuiltPlan, m: Missing) -> str:
    if m.seam_left_mm <= 0:
        return "nothing"
    return length(quilt.plan, m.seam_left_mm, fraction=32, rounding="down")


def trim_state(quilt: QuiltPlan, plan: TrimPlan) -> str:
    """Say what is out of the ordinary about trimming a block, as an ending to its name."""
    if not plan.fits:
        return ": does not reach the size"
    if plan.cut_points:
        return ": a point would be cut off"
    given = ""
    if plan.given_mm >= SEEN_MM:
        left = quilt.plan.seam_mm - plan.given_mm
        least = length(quilt.plan, left, fraction=32, rounding="down")
        given = f"; its seam allowance comes to {least} where cloth is missing"
    if plan.nothing_to_trim:
        return f": no trimming needed{given}"
    return f": trim only where it sticks out{given}" if plan.some_sides_only else given


def trim_note(quilt: QuiltPlan, trim: TrimPlan) -> str:
    """What is out of the ordinary about a block, for a table."""
    if trim.nothing_to_trim and not trim.cut_points:
        return "leave it"
    return trim_state(quilt, trim).removeprefix(": ").partition(";")[0]


def how_sure(quilt: QuiltPlan, blocks: Sequence[BlockRecord]) -> tuple[str, ...]:
    """Put the uncertainty in plain words."""
    used = [b for b in blocks if b.name in quilt.names]
    sizes = sorted((e for b in used for e in (b.width_mm, b.height_mm)), key=lambda e: e.u95)
    if not sizes:
        return ()
    low, high = (format_uncertainty(e.u95, unit=quilt.plan.unit) for e in (sizes[0], sizes[-1]))
    spread = low if low == high else f"{low.removesuffix(f' {quilt.plan.unit}')} to {high}"
    said = [
        f"The measured sizes are good to ± {spread}: about 95 of every 100 are at least that close to "
        "the true size."
    ]
    if sizes[-1].budget:
        most = max(sizes[-1].budget, key=lambda t: t.u).name
        said.append(f"Where the ± is largest, most of it comes from the {most}.")
    if not quilt.plan.guarded:
        give = length(quilt.plan, quilt.plan.give_mm, fraction=32)
        left = quilt.plan.seam_mm - quilt.plan.give_mm
        least = length(quilt.plan, left, fraction=32, rounding="down")
        said.append(
            "Blocks are judged as they measure. A block reaches a size when its edges come within "
            f"{give} of the trim lines, which leaves a seam allowance of at least {least}."
        )
    elif any(b.guard_mm > 0 for b in used):
        guard = format_uncertainty(max(b.guard_mm for b in used), unit=quilt.plan.unit)
        said.append(
            f"To allow for it, the trim lines stay up to {guard} inside the measured edges."
        )
    for b in used:
        for w, h in b.other_sizes_mm[-1:]:
            plan = quilt.plan
            now = size(plan, b.width_mm.value, b.height_mm.value)
            said.append(
                f"{sentence(called(b.name))} measures {now} now and measured "
                f"{size(plan, w.value, h.value)} before, more apart than their ± explains. The last "
                "reading counts; unless you pressed or resewed the block, measure it once more."
            )
    if ruler := [b.name for b in used if b.source == "ruler"]:
        said.append(f"Measured with a ruler, not from a photo: {names(ruler)}.")
    return tuple(said)


def finish(quilt: QuiltPlan) -> tuple[tuple[str, str], ...]:
    """What closes the quilt, each with its working in a line."""
    done = quilt.finish
    if done is None:
        return ()
    inside = " inside the borders" if quilt.plan.borders_mm else ""
    rows = [(f"{f.name.capitalize()}{inside}", f.working) for f in done.body]
    rows += [
        ("Backing", done.backing.panels.working),
        ("Batting", done.batting.working),
        ("Binding", done.binding.working),
        ("Quilting lines across a finished block", done.lines.working),
    ]
    return tuple((name, working(one, quilt.plan.unit)) for name, one in rows)
