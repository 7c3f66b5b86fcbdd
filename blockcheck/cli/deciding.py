"""Commands that say what to trim and cut: size, trim, rows, cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from ..errors import typed
from ..planning.plan import BlockRecord, called
from ..planning.quilt import QuiltPlan, work_out
from ..planning.trimming.trim_lines import TrimPlan
from ..project import Project
from ..project.plans import check_plan
from ..report import advice_words, cutting_words, rows_words, trimmed_words, words
from ..units import parse_size
from .as_json import to_json
from .command import command
from .options import JSON, PROJECT
from .voice import Status, in_words, note, say, stop


@command("size")
@PROJECT
@click.option("--to", metavar="WxH", help="Look at this size to trim to, like 6x9.")
@click.option("--choose", is_flag=True, help="Keep the size of --to: everything else follows it.")
@JSON
def size(project: Path, to: str | None, choose: bool, as_json: bool) -> None:
    """Also which block sets the limit, and what setting a block aside would gain."""
    if choose and to is None:
        stop(Status.USAGE, "--choose keeps the size that --to names: say --to WxH too.")
    with in_words(), Project.open(project) as kept:
        plan, blocks = kept.plan, kept.blocks()
        if to is not None:
            plan = replace(plan, chosen_mm=parse_size(to, plan.unit))
            check_plan(plan)
        quilt = work_out(plan, blocks)
        if not any(one.choice for one in quilt.each):
            stop(Status.BLOCKS, words.gap(quilt, "size"))
        if choose:
            kept.set_plan(plan)
    if as_json:
        others = {one.kind: _size_parts(one) for one in quilt.others}
        say(to_json("size", **_size_parts(quilt), others=others))
        return
    lines: list[str] = []
    for one in quilt.each:
        lines += ["", f"{words.sentence(one.kind)}:"] if len(quilt.each) > 1 else []
        lines += _size(one, blocks)
    _say(lines)
    note(words.RULER_FIRST)
    if choose:
        undo = typed("plan", project, "--trim-to", "none")
        note(f"Kept as the size to trim to. To undo it: {undo}")


def _size_parts(quilt: QuiltPlan) -> dict[str, Any]:
    """What is told as JSON of the size of one kind of block."""
    parts = ("size_mm", "choice", "uncertain", "unmarked", "set_aside", "seams")
    gaps = {part: words.gap(quilt, part) for part in quilt.gaps}
    return {**{part: getattr(quilt, part) for part in parts}, "gaps": gaps}


def _size(quilt: QuiltPlan, blocks: Sequence[BlockRecord]) -> list[str]:
    """What is said of the size of one kind of block."""
    lines = [words.headline(quilt), *words.reasons(quilt), ""]
    if quilt.choice is None:
        return lines
    lines += [f"  {words.size_row(quilt, row)}" for row in quilt.choice.table]
    if quilt.below and quilt.plan.planned_mm is not None:
        lines += ["", f"Below the planned {words.size(quilt.plan, *quilt.plan.planned_mm)}:"]
        lines += [f"  {name}: {what}. {advice}" for name, what, advice in words.below(quilt)]
    lines.append("")
    for dimension, seam in quilt.seams.items():
        lines.append(
            f"{'Across' if dimension == 'width' else 'Down'} the block: {advice_words.sewn(quilt.plan, seam)}"
        )
    if "seams" in quilt.gaps:
        lines.append(words.gap(quilt, "seams"))
    return [*lines, *trimmed_words.after_trimming(quilt, blocks), *words.how_sure(quilt, blocks)]


@command("trim")
@PROJECT
@click.argument("names", nargs=-1, metavar="[NAME]...")
@JSON
def trim(project: Path, names: tuple[str, ...], as_json: bool) -> None:
    """All blocks, or those named."""
    quilt, blocks = _worked_out(project)
    for name in names if blocks else ():
        if name not in {b.name for b in blocks}:
            stop(
                Status.PROJECT,
                f"There is no block {name}. The blocks are {words.names([b.name for b in blocks])}.",
            )
        if any(name in one.set_aside for one in (quilt, *quilt.others)):
            stop(Status.BLOCKS, f"{name} is set aside, so it has no trim lines.")
    if not any(one.trims for one in quilt.each):
        stop(Status.BLOCKS, words.gap(quilt, "trims"))
    kinds = [
        (one, [t for t in one.trims if not names or t.name in names])
        for one in (quilt, *quilt.others)
    ]
    if as_json:
        told = [(q, [_trim_parts(q, t) for t in some]) for q, some in kinds]
        others = {q.kind: {"size_mm": q.size_mm, "trims": some} for q, some in told[1:]}
        say(to_json("trim", size_mm=quilt.size_mm, trims=told[0][1], others=others))
        return
    lines: list[str] = []
    for one, chosen in kinds:
        if chosen and one.size_mm is not None:
            of = f" ({one.kind})" if len(quilt.each) > 1 else ""
            lines.append(f"Trim to {words.size(one.plan, *one.size_mm)}{of}.")
        for block in chosen:
            name = words.sentence(called(block.name))
            lines += ["", f"{name}{trimmed_words.state(one, block)}"]
            lines += [f"  {problem}" for problem in trimmed_words.problems(one, block)]
            steps = [line for _, line in trimmed_words.steps(one, block)]
            lines += [f"  {i}. {words.sentence(step)}" for i, step in enumerate(steps, start=1)]
    _say(lines)
    note(f"\n{words.RULER_FIRST} {words.CAUTION}")


def _trim_parts(quilt: QuiltPlan, trim: TrimPlan) -> dict[str, Any]:
    """What is told as JSON of one block's trim lines, and whether they are still to be cut."""
    since = trimmed_words.verdict(quilt, trim.name)
    return vars(trim) | {
        "state": "measured" if since is None else "trimmed",
        "to_cut": trimmed_words.to_cut(quilt, trim.name),
        "since": since and since.state,
    }


@command("rows")
@PROJECT
@JSON
def rows(project: Path, as_json: bool) -> None:
    """As the blocks measure now, with what to ease."""
    quilt, _ = _worked_out(project)
    _need(quilt, "rows", quilt.rows)
    assert quilt.rows is not None
    plan, laid = quilt.plan, quilt.rows
    if as_json:
        shown = {**vars(laid), "note": rows_words.no_order(laid)}
        del shown["no_order"]
        say(to_json("rows", unit=plan.unit, rows=shown, half_block=quilt.half_block))
        return
    line = rows_words.line(laid)
    lines = [*rows_words.rows_verdict(quilt), ""]
    for number, pieces, sewn in rows_words.order(quilt, laid):
        lines.append(f"  {line} {number}: {pieces}; {sewn} sewn")
    missing = rows_words.misses(quilt, laid, laid.check)
    lines += ["", *(f"  {one}" for one in missing)] if missing else []
    if quilt.half_block is not None:
        half = quilt.half_block
        lines += ["", f"Half block: {words.size(plan, half.width_mm, half.height_mm)}"]
        lines.append(f"  {words.working(half.working, plan.unit)}")
    _say(lines)


@command("cut")
@PROJECT
@JSON
def cut(project: Path, as_json: bool) -> None:
    """Alternate blocks, half blocks, sashing, borders, backing, batting, binding."""
    quilt, _ = _worked_out(project)
    _need(quilt, "cuts", quilt.finish)
    assert quilt.finish is not None
    if as_json:
        say(
            to_json(
                "cut",
                unit=quilt.plan.unit,
                size_mm=quilt.size_mm,
                fabrics=[vars(f) | {"cloth": f.cloth} for f in quilt.fabrics],
                finish=quilt.finish,
                unused=cutting_words.unused(quilt.plan),
                doubts=cutting_words.middle(quilt),
            )
        )
        return
    plan, done = quilt.plan, quilt.finish
    lines = [cutting_words.headline(quilt), *cutting_words.middle(quilt)]
    for fabric in quilt.fabrics:
        lines += ["", f"{words.sentence(fabric.name)}:"]
        for piece in fabric.pieces:
            lines.append(f"  {cutting_words.piece(plan, piece)}")
            lines.append(f"      {words.working(piece.working, plan.unit)}")
        for name, strips in cutting_words.order(plan, fabric):
            lines += [f"  {name}:", *(f"      {strip}" for strip in strips)]
        lines += [f"  {line}" for line in cutting_words.cloth(plan, fabric)]
    if not quilt.fabrics:
        lines.append("The plan has no alternate blocks, sashing or borders to cut.")
    lines += ["", *unused] if (unused := cutting_words.unused(plan)) else []
    lines += ["", f"The finished quilt: {words.size(plan, done.width_mm, done.height_mm)}"]
    lines += [f"  {name}: {working}" for name, working in words.finish(quilt)]
    _say(lines)
    note(f"\n{words.RULER_FIRST} {words.CAUTION}")


def _worked_out(project: Path) -> tuple[QuiltPlan, tuple[BlockRecord, ...]]:
    with in_words(), Project.open(project) as kept:
        blocks = kept.blocks()
        return work_out(kept.plan, blocks), blocks


def _need(quilt: QuiltPlan, what: str, there: object) -> None:
    """End the command with the reason where a part could not be worked out."""
    if not there:
        stop(Status.BLOCKS, words.gap(quilt, what))


def _say(lines: Sequence[str]) -> None:
    say("\n".join(lines))
