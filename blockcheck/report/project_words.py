"""The sentences about a project: its plan, its blocks, and what became of each."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import in_one_line, typed
from ..planning.plan import BlockRecord, Plan
from ..planning.quilt import short_of_plan
from ..project.places import SIDES
from ..project.records import Event, Kept, PhotoFile
from ..uncertainty import Estimate
from ..units import format_exact, format_length, format_size, format_uncertainty
from . import setting_words

if TYPE_CHECKING:
    from ..measuring.results import Measurement


def length(plan: Plan, mm: float, *, sign: bool = False) -> str:
    """Write a length in the plan's unit and fraction."""
    return format_length(mm, unit=plan.unit, fraction=plan.fraction, sign=sign)


def size(plan: Plan, both: tuple[float, float], *, fraction: int = 0) -> str:
    """Write a width and a height in the plan's unit, to the plan's fraction unless told."""
    return format_size(*both, unit=plan.unit, fraction=fraction or plan.fraction)


def with_u(plan: Plan, e: Estimate) -> str:
    """Write a size with its ±."""
    return f"{length(plan, e.value)} ± {format_uncertainty(e.u95, unit=plan.unit)}"


def sizes(plan: Plan, block: BlockRecord | Kept) -> str:
    """Write a block's width and height."""
    return f"{with_u(plan, block.width_mm)} wide, {with_u(plan, block.height_mm)} high"


def table(rows: Sequence[Sequence[str]]) -> str:
    """Write rows of words in columns, each row on one line."""
    rows = [[in_one_line(cell) for cell in row] for row in rows]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(f"{cell:<{w}}" for cell, w in zip(row, widths, strict=True)).rstrip()
        for row in rows
    )


def plan_table(plan: Plan) -> str:
    """Write what the plan says."""

    def exact(mm: float | None) -> str:
        digits = 3 if plan.unit == "in" else 2
        return "" if mm is None else format_exact(mm, unit=plan.unit, digits=digits)

    def fine(mm: float) -> str:
        return format_length(mm, unit=plan.unit, fraction=32)

    planned = plan.planned_mm and size(plan, plan.planned_mm)
    trim_to = plan.chosen_mm and size(plan, plan.chosen_mm, fraction=32)
    fixed = [
        f"{length(plan, mm)} {word}"
        for mm, word in ((plan.fixed_width_mm, "wide"), (plan.fixed_height_mm, "high"))
        if mm is not None
    ]
    seams = [
        f"{n} {word}"
        for n, word in ((plan.seams_across, "across"), (plan.seams_down, "down"))
        if n is not None
    ]
    rows = [
        ("planned size (unfinished)", planned or "not given"),
        ("trim to", trim_to or ""),
        ("squares only", {True: "yes", False: "no", None: ""}[plan.keep_square]),
        ("seam allowance", length(plan, plan.seam_mm)),
        ("least seam allowance", "" if plan.least_seam_mm is None else fine(plan.least_seam_mm)),
        ("judged", "with a guard band" if plan.guarded else ""),
        ("tolerance", length(plan, plan.tolerance_mm)),
        ("ruler lines", length(plan, plan.step_mm)),
        ("fixed", ", ".join(fixed)),
        ("card side", exact(plan.card_side) or "not measured: taken as printed"),
        ("sheet side", exact(plan.sheet_side)),
        ("plain square", exact(plan.square)),
        ("mat lines", exact(plan.grid)),
        ("cloth height", exact(plan.cloth_height)),
        ("fabric width", length(plan, plan.fabric_width_mm)),
        ("seams in a block", ", ".join(seams)),
        *setting_words.rows(plan),
    ]
    return table([(name, text) for name, text in rows if text])


def block_list(name: str, plan: Plan, blocks: Sequence[BlockRecord]) -> str:
    """Write the blocks with their sizes, beside the planned size where there is one."""
    title = f"{in_one_line(name)}: {len(blocks)} block{'s'[: len(blocks) != 1]}"
    head = ["block", *(["kind"] if plan.kinds else []), "state", "width", "±", "height", "±"]
    if plan.planned_mm:
        title += f", planned {size(plan, plan.planned_mm)} unfinished"
        head += ["width off", "height off", "planned size"]
    if not blocks:
        return title
    short = short_of_plan(plan, blocks) if plan.planned_mm else frozenset()
    rows = [_list_row(b, plan, b.name in short) for b in blocks]
    return f"{title}\n{table([(*head, 'note'), *rows])}"


def _list_row(block: BlockRecord, plan: Plan, short: bool) -> tuple[str, ...]:
    """A block beside the planned size of its kind, judged as `size` judges it."""
    row = [block.name, *([block.kind or plan.kind] if plan.kinds else []), block.state]
    first, own = plan.planned_mm, plan.kind_named(block.kind).planned_mm
    both = (block.width_mm, block.height_mm)
    for e in both:
        row += [length(plan, e.value), format_uncertainty(e.u95, unit=plan.unit)]
    if first is not None and own is None:
        row += ["", "", ""]
    elif first is not None and own is not None:
        off = [e.value - mm for e, mm in zip(both, own, strict=True)]
        row += [length(plan, mm, sign=True) for mm in off]
        verdict = "not reached" if short else "reached"
        if short and min(off) > -plan.give_mm:  # large enough from middle to middle
            verdict += ": not sure enough" if plan.guarded else f": crooked{_by(plan, block)}"
        row.append("" if block.state == "set aside" else verdict)
    return (*row, block.note)


def _by(plan: Plan, block: BlockRecord) -> str:
    """How far a block is out of square and its edges bow, where that is worth a word."""
    skew, bow, said = block.out_of_square_mm, block.bow_mm, []
    if skew is not None and abs(skew.value) > skew.u95:
        said.append(
            f"diagonals {format_length(abs(skew.value), unit=plan.unit, fraction=32)} apart"
        )
    if bow is not None and bow.value > max(plan.give_mm, bow.u95):
        said.append(f"an edge bows by {format_length(bow.value, unit=plan.unit, fraction=32)}")
    return "".join(f", {what}" for what in said)


def block_story(
    plan: Plan,
    name: str,
    block: BlockRecord | None,
    photo: PhotoFile | None,
    history: Sequence[Event],
) -> str:
    """Write all that is known of a block; `block` is None where it was removed."""
    latest = [e.kept for e in history if e.kept][-1]
    rows = [("measured from", "a ruler's reading" if photo is None else str(photo.path))]
    if photo is not None and photo.missing:
        rows.append(("", "this photo is MISSING; its numbers are kept"))
    if photo is not None and photo.camera:
        rows.append(("camera", photo.camera))
    both = (("width", latest.width_mm), ("height", latest.height_mm))
    rows += [(side, with_u(plan, e)) for side, e in both]
    if latest.measurement is not None:
        rows += _shape(plan, latest.measurement)
    for side, e in both:
        rows += [
            (f"{side}, 1 sigma: {t.name}", format_exact(t.u, unit=plan.unit, digits=4))
            for t in e.budget
        ]
    rows += [("warning", f"{p.message} {p.hint}") for p in latest.problems]
    rows += [
        (f"point {point}", ", ".join(length(plan, v) for v in xy))
        for point, xy in latest.points_mm.items()
    ]
    if latest.centre_line_mm:
        ends = (", ".join(length(plan, v) for v in xy) for xy in latest.centre_line_mm)
        rows.append(("centre line", " to ".join(ends)))
    if block and block.note:
        rows.append(("note", block.note))
    kind = f", {block.kind or plan.kind}" if block and plan.kinds else ""
    lines = [f"Block {name}: {block.state if block else 'removed'}{kind}"]
    lines += [table([(f"  {a}", b) for a, b in rows]), "History"]
    for event in history:
        when = datetime.fromisoformat(event.at).astimezone().strftime("%Y-%m-%d %H:%M")
        said = sizes(plan, event.kept) if event.kept else event.detail
        lines.append(f"  {when}  {event.what}{': ' if said else ''}{said}")
    return "\n".join(lines)


def _shape(plan: Plan, found: Measurement) -> list[tuple[str, str]]:
    """The four sides, how far out of square, and the bow of each side."""
    square = found.out_of_square_mm
    rows = [
        (f"{side} side", with_u(plan, e)) for side, e in zip(SIDES, found.sides_mm, strict=True)
    ]
    rows.append(("out of square", _fine(plan, Estimate(abs(square.value), square.budget))))
    rows += [
        (f"{side} side's bow", _fine(plan, e)) for side, e in zip(SIDES, found.bow_mm, strict=True)
    ]
    return rows


def _fine(plan: Plan, e: Estimate) -> str:
    """Write a small length with its ±, as finely as that."""
    unit = plan.unit
    written = format_exact(e.value, unit=unit, digits=2 if unit == "cm" else 3)
    return f"{written} ± {format_uncertainty(e.u95, unit=unit)}"


def gone(project: Path, removed: Sequence[str], photos: Sequence[PhotoFile]) -> list[str]:
    """Say which blocks were removed and which photos are missing."""
    said = [
        f"removed: {name} (to bring it back: {typed('restore', project, name)})" for name in removed
    ]
    said += [f"missing photo: {p.path} (its numbers are kept)" for p in photos if p.missing]
    return said
