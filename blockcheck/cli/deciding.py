"""Commands that say what to trim and cut: report, trim-sheet, size, trim, rows, cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import click

from ..planning.plan import BlockRecord
from ..planning.quilt import QuiltPlan, work_out
from ..project import Project
from ..project.records import check_plan
from ..report import words
from ..units import parse_size
from .measuring import need_suffix
from .project_file import PROJECT, in_words

PAPER = click.option(
    "--paper", type=click.Choice(["letter", "a4"]), default="letter", show_default=True
)


@click.command()
@PROJECT
@click.option(
    "--output",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The HTML file to write; else beside PROJECT.",
)
@PAPER
def report(project: Path, output: Path | None, paper: str) -> None:
    """Write PROJECT's report: sizes, trim lines, rows and cuts in one HTML file."""
    from ..report.html import write_report

    with in_words(), Project.open(project) as kept:
        blocks = kept.blocks()
        quilt = work_out(kept.plan, blocks)
        target = _target(output or kept.path.with_suffix(".html"), kept.path, ".html", ".htm")
        photos = {b.name: kept.photo(b.name) for b in blocks}
        try:
            write_report(target, quilt, blocks, title=kept.path.stem, photos=photos, paper=paper)
        except OSError as e:
            raise click.ClickException(f"{target} cannot be written ({e.strerror}).") from e
    click.echo(f"{words.headline(quilt)}\nWrote {target}. Open it in a browser, or print it.")


@click.command("trim-sheet")
@PROJECT
@click.argument("output", type=click.Path(path_type=Path, dir_okay=False))
@PAPER
def trim_sheet(project: Path, output: Path, paper: str) -> None:
    """Write PROJECT's trim sheet for the cutting table to OUTPUT, a PDF."""
    from ..report.trim_sheet import write_trim_sheet

    quilt, _, path = _worked_out(project)
    target = _target(output, path, ".pdf")
    _need(quilt, "size", quilt.trims)
    try:
        write_trim_sheet(target, quilt, title=path.stem, paper=paper)
    except OSError as e:
        raise click.ClickException(f"{target} cannot be written ({e.strerror}).") from e
    click.echo(f"Wrote {target}. {words.RULER_FIRST}")


@click.command()
@PROJECT
@click.option("--to", metavar="WxH", help="Look at this size to trim to, like 6x9.")
@click.option("--choose", is_flag=True, help="Keep the size of --to: everything else follows it.")
def size(project: Path, to: str | None, choose: bool) -> None:
    """Say which size all blocks of PROJECT can be trimmed to, and what sets the limit."""
    if choose and to is None:
        raise click.UsageError("--choose keeps the size that --to names: say --to WxH too.")
    with in_words(), Project.open(project) as kept:
        plan, blocks = kept.plan, kept.blocks()
        if to is not None:
            plan = replace(plan, chosen_mm=parse_size(to, plan.unit))
            check_plan(plan)
        quilt = work_out(plan, blocks)
        _need(quilt, "size", quilt.choice)
        if choose:
            kept.set_plan(plan)
    assert quilt.choice is not None
    lines = [words.headline(quilt), *words.reasons(quilt), ""]
    lines += [f"  {words.size_row(quilt, row)}" for row in quilt.choice.table]
    if quilt.below and quilt.plan.planned_mm is not None:
        lines += ["", f"Below the planned {words.size(quilt.plan, *quilt.plan.planned_mm)}:"]
        lines += [f"  {name}: {what}. {advice}" for name, what, advice in words.below(quilt)]
    lines.append("")
    for dimension, seam in quilt.seams.items():
        lines.append(f"{'Across' if dimension == 'width' else 'Down'} the block: {seam.sentence}")
    if "seams" in quilt.gaps:
        lines.append(quilt.gaps["seams"])
    lines += [*words.how_sure(quilt, blocks), words.RULER_FIRST]
    if choose:
        lines.append(f"Kept. To let go of it: blockcheck plan {project} --trim-to none")
    _say(lines)


@click.command()
@PROJECT
@click.argument("names", nargs=-1, metavar="[NAME]...")
def trim(project: Path, names: tuple[str, ...]) -> None:
    """Say where to trim the blocks of PROJECT, or those named."""
    quilt, blocks, _ = _worked_out(project)
    for name in names:
        if name not in {b.name for b in blocks}:
            raise click.ClickException(
                f"There is no block {name}. The blocks are {words.names([b.name for b in blocks])}."
            )
        if name in quilt.set_aside:
            raise click.ClickException(f"{name} is set aside, so it has no trim lines.")
    _need(quilt, "trims", quilt.trims)
    assert quilt.size_mm is not None
    lines = [f"Trim to {words.size(quilt.plan, *quilt.size_mm)}."]
    for one in quilt.trims:
        if names and one.name not in names:
            continue
        lines += ["", f"{words.sentence(words.called(one.name))}{words.trim_state(quilt, one)}"]
        lines += [f"  {problem}" for problem in one.problems]
        steps = one.instructions(unit=quilt.plan.unit, fraction=quilt.plan.fraction)
        lines += [f"  {i}. {words.sentence(step)}" for i, step in enumerate(steps, start=1)]
    _say([*lines, "", f"{words.RULER_FIRST} {words.CAUTION}"])


@click.command()
@PROJECT
def rows(project: Path) -> None:
    """Say how the rows of PROJECT meet as the blocks measure now, and what to ease."""
    quilt, _, _ = _worked_out(project)
    _need(quilt, "rows", quilt.rows)
    assert quilt.rows is not None
    plan, laid = quilt.plan, quilt.rows
    line = "column" if laid.along == "height" else "row"
    lines = [*words.rows_verdict(quilt), ""]
    for i, (pieces, long) in enumerate(zip(laid.pieces, laid.check.lengths_mm, strict=True), 1):
        each = ", ".join(f"{p.name} ({words.length(plan, p.cut_mm)})" for p in pieces)
        lines.append(f"  {line} {i}: {each}; {words.length(plan, long)} sewn")
    missing = [one for one in laid.check.matches if one.meets != "yes"]
    lines += ["", *(f"  {words.seam_match(quilt, one)}" for one in missing)] if missing else []
    if quilt.half_block is not None:
        half = quilt.half_block
        lines += ["", f"Half block: {words.size(plan, half.width_mm, half.height_mm)}"]
        lines.append(f"  {half.working}")
    _say(lines)


@click.command()
@PROJECT
def cut(project: Path) -> None:
    """Say what to cut for the rest of PROJECT's quilt, with the working of every figure."""
    quilt, _, _ = _worked_out(project)
    _need(quilt, "cuts", quilt.finish)
    assert quilt.finish is not None
    plan, done, lines = quilt.plan, quilt.finish, [words.headline(quilt)]
    for fabric in quilt.fabrics:
        lines += ["", f"{words.sentence(fabric.name)}: {fabric.yardage.working}"]
        for one in fabric.cuts:
            wide, high = one.piece.width_mm, one.piece.height_mm
            lines.append(f"  {one.piece.count} × {one.piece.name}, {words.size(plan, wide, high)}")
            lines += [f"      {one.piece.working}", f"      {words.strips(quilt, one)}"]
    if not quilt.fabrics:
        lines.append("The plan has no alternate blocks, sashing or borders to cut.")
    lines += ["", f"The finished quilt: {words.size(plan, done.width_mm, done.height_mm)}"]
    lines += [f"  {name}: {working}" for name, working in words.finish(quilt)]
    lines.append(f"  Quilting lines across a finished block: {done.lines.working}")
    _say([*lines, "", f"{words.RULER_FIRST} {words.CAUTION}"])


def _worked_out(project: Path) -> tuple[QuiltPlan, tuple[BlockRecord, ...], Path]:
    with in_words(), Project.open(project) as kept:
        blocks = kept.blocks()
        return work_out(kept.plan, blocks), blocks, kept.path


def _need(quilt: QuiltPlan, what: str, there: object) -> None:
    """End the command with the reason where a part could not be worked out."""
    if not there:
        raise click.ClickException(quilt.gaps[what])


def _target(output: Path, project: Path, *suffixes: str) -> Path:
    """Refuse to write over the project itself, a photo or another project."""
    if output.resolve() == project.resolve():
        raise click.ClickException(
            f"{output} is the project itself. Name another file for what is written."
        )
    need_suffix(output, *suffixes)
    return output


def _say(lines: Sequence[str]) -> None:
    click.echo("\n".join(lines))


COMMANDS = (report, trim_sheet, size, trim, rows, cut)
