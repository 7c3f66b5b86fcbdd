"""Commands that keep a quilt's blocks in a project file."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from ..errors import BlockcheckError, LengthError, PlanError, ProjectError
from ..measuring.measure import measure_photo
from ..planning.plan import BlockRecord, Plan
from ..project import Project
from ..project.records import STATES, settings_in
from ..project.schema import locate
from ..settings import Settings
from ..uncertainty import Estimate, verdict
from ..units import format_exact, format_length, format_uncertainty
from .measuring import CAUTION, PROFILES, TURNED, _corners, _files, looks_turned
from .plan_options import changed, plan_options, plan_rows

PROJECT = click.argument("project", type=click.Path(path_type=Path))
ANSWERS = {"yes": "yes", "no": "NO", "too close to call": "too close to call"}


@click.command()
@PROJECT
@plan_options
def new(project: Path, **given: Any) -> None:
    """Make PROJECT, the file of one quilt, with its plan."""
    with in_words(), Project.create(project, changed(Plan(), given)) as quilt:
        click.echo(f"Made {quilt.path}.\n{_table(plan_rows(quilt.plan))}")
        click.echo(f"Next: blockcheck add {quilt.path} PHOTOS")


@click.command()
@PROJECT
@plan_options
def plan(project: Path, **given: Any) -> None:
    """Show PROJECT's plan; with options, change it. "none" takes a value away."""
    with in_words(), Project.open(project) as quilt:
        before = quilt.plan
        after = changed(before, given)
        if after != before:
            quilt.set_plan(after)
        click.echo(_table(plan_rows(after)))


@click.command()
@PROJECT
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--name", multiple=True, help="A new block's name; once for each block in the photo.")
@click.option("--again", multiple=True, metavar="NAME", help="The photo shows this block again.")
@click.option("--trimmed", is_flag=True, help="The blocks are trimmed now.")
@click.option("--note", default="", help="A note for the blocks.")
@click.option("--corners", help="A block's corners by hand, in photo pixels: x,y x,y x,y x,y.")
@click.option(
    "--focal", type=float, help="35 mm equivalent focal length, for photos that do not say."
)
@PROFILES
def add(
    project: Path,
    photos: tuple[Path, ...],
    name: tuple[str, ...],
    again: tuple[str, ...],
    trimmed: bool,
    note: str,
    corners: str | None,
    focal: float | None,
    profiles: Path | None,
) -> None:
    """Measure PHOTOS (files or folders) and keep their blocks in PROJECT.

    Each photo is kept as soon as it is measured. Without --name blocks are numbered.
    """
    by_hand, paths = _corners(corners), _files(photos)
    if name and again:
        raise click.UsageError("Give --name for new blocks or --again for known ones, not both.")
    if (name or again or by_hand) and len(paths) != 1:
        raise click.UsageError("--name, --again and --corners go with one photo at a time.")
    kept, said = 0, set[str]()
    with in_words(), Project.open(project) as quilt:
        given = {**settings_in(quilt.plan), "focal": focal, "profiles": profiles}
        names = _names(quilt, name, again)
        for path in paths:
            known = _known(quilt, path)
            if known and not again:
                click.echo(f"the same photo  {path.name} is in already, as block {known}.")
                kept += 1
                continue
            result = measure_photo(path, corners=by_hand, **given)
            if not result.ok:
                why = next(p for p in result.problems if p.level == "error")
                click.echo(f"NOT KEPT        {path.name}: {why.message} {why.hint}".rstrip())
                continue
            marked = any(quilt.latest(n).points_mm for n in again)
            called = quilt.add_result(
                result, names, settings=Settings.of(**given), trimmed=trimmed, notes=note
            )
            kept += 1
            for block in (b for b in quilt.blocks() if b.name in called):
                click.echo(
                    f"kept            {path.name}: block {block.name}, {_sizes(block, quilt.plan)}"
                )
                sides = block.width_mm.value, block.height_mm.value
                if quilt.plan.planned_mm and looks_turned(*sides, quilt.plan.planned_mm):
                    click.echo(f"                Note: {TURNED} Then: --again {block.name}")
            for p in result.problems:
                if p.code not in said:  # once is enough for a whole set of photos
                    click.echo(f"                Note: {p.message} {p.hint}")
                said.add(p.code)
            if marked:
                click.echo(
                    "                Mark its points again: they belong to the earlier photo."
                )
        click.echo(f"Photos in {quilt.path.name}: {kept} of {len(paths)}.")
    sys.exit(0 if kept == len(paths) else 1)


@click.command("list")
@PROJECT
def list_blocks(project: Path) -> None:
    """Show the blocks of PROJECT with their sizes."""
    with in_words(), Project.open(project) as quilt:
        blocks, the_plan = quilt.blocks(), quilt.plan
        rows = [_list_row(b, the_plan) for b in blocks]
        head = ["block", "state", "width", "±", "height", "±"]
        said = f"{quilt.path.name}: {len(blocks)} block{'s'[: len(blocks) != 1]}"
        if the_plan.planned_mm:
            planned = " × ".join(_length(mm, the_plan) for mm in the_plan.planned_mm)
            said += f", planned {planned} unfinished, tolerance {_length(the_plan.tolerance_mm, the_plan)}"
            head += ["width fits", "height fits"]
        click.echo(said)
        if rows:
            click.echo(_table([(*head, "note"), *rows]))
        for name in quilt.removed():
            click.echo(f"removed: {name} (to have it back: blockcheck restore {quilt.path} {name})")
        for photo in quilt.photos():
            if photo.missing:
                click.echo(f"missing photo: {photo.path} (its numbers are kept)")
        if rows:
            click.echo(CAUTION)


@click.command()
@PROJECT
@click.argument("name")
def show(project: Path, name: str) -> None:
    """Show all that PROJECT knows of the block NAME."""
    with in_words(), Project.open(project) as quilt:
        history, the_plan = quilt.history(name), quilt.plan
        latest = [e.kept for e in history if e.kept][-1]
        block = next((b for b in quilt.blocks() if b.name == name), None)
        click.echo(f"Block {name}: {block.state if block else 'removed'}")
        photo = quilt.photo(name)
        rows = [("measured from", "a ruler's reading" if photo is None else str(photo.path))]
        if photo is not None and photo.missing:
            rows.append(("", "this photo is MISSING; its numbers are kept"))
        if photo is not None and photo.camera:
            rows.append(("camera", photo.camera))
        for side, e in (("width", latest.width_mm), ("height", latest.height_mm)):
            rows.append((side, _with_u(e, the_plan)))
        for side, e in (("width", latest.width_mm), ("height", latest.height_mm)):
            rows += [
                (f"{side}, 1 sigma: {t.name}", format_exact(t.u, unit=the_plan.unit, digits=4))
                for t in e.budget
            ]
        rows += [("warning", f"{p.message} {p.hint}") for p in latest.problems]
        rows += [
            (f"point {point}", ", ".join(_length(v, the_plan) for v in xy))
            for point, xy in latest.points_mm.items()
        ]
        if latest.centre_line_mm:
            ends = (", ".join(_length(v, the_plan) for v in xy) for xy in latest.centre_line_mm)
            rows.append(("centre line", " to ".join(ends)))
        if block and block.note:
            rows.append(("note", block.note))
        click.echo(_table([(f"  {a}", b) for a, b in rows]))
        click.echo("History")
        for event in history:
            when = datetime.fromisoformat(event.at).astimezone().strftime("%Y-%m-%d %H:%M")
            sizes = _sizes(event.kept, the_plan) if event.kept else event.detail
            click.echo(f"  {when}  {event.what}{': ' if sizes else ''}{sizes}")


@click.command()
@PROJECT
@click.argument("name")
@click.option("--name", "new_name", help="Another name.")
@click.option("--state", type=click.Choice(STATES))
@click.option("--note", help='A note; "" takes it away.')
def change(
    project: Path, name: str, new_name: str | None, state: str | None, note: str | None
) -> None:
    """Change the name, the state or the note of the block NAME."""
    if new_name is None and state is None and note is None:
        raise click.UsageError("Say what to change: --name, --state or --note.")
    with in_words(), Project.open(project) as quilt:
        if state is not None:
            quilt.set_state(name, state)
            click.echo(f"Block {name} is {state}.")
        if note is not None:
            quilt.note(name, note)
            click.echo(f"Block {name} has {'the note: ' + note if note else 'no note'}.")
        if new_name is not None:
            quilt.rename(name, new_name)
            click.echo(f"Block {name} is called {new_name.strip()} now.")


@click.command()
@PROJECT
@click.argument("name")
def remove(project: Path, name: str) -> None:
    """Take the block NAME out of PROJECT; `restore` brings it back."""
    with in_words(), Project.open(project) as quilt:
        quilt.remove(name)
        click.echo(f"Block {name} is removed. To have it back: blockcheck restore {project} {name}")


@click.command()
@PROJECT
@click.argument("name")
def restore(project: Path, name: str) -> None:
    """Bring the removed block NAME back."""
    with in_words(), Project.open(project) as quilt:
        quilt.restore(name)
        click.echo(f"Block {name} is back.")


@click.command()
@PROJECT
@click.argument("output", type=click.Path(path_type=Path, dir_okay=False))
def export(project: Path, output: Path) -> None:
    """Write PROJECT's sizes to OUTPUT.csv, or all of it to OUTPUT.json."""
    with in_words(), Project.open(project) as quilt:
        if _kind(output) == ".csv":
            quilt.export_csv(output)
        else:
            quilt.export_json(output)
        click.echo(f"Wrote {output}.")


@click.command("import")
@PROJECT
@click.argument("source", type=click.Path(path_type=Path, dir_okay=False))
def import_(project: Path, source: Path) -> None:
    """Import ruler sizes (SOURCE.csv) or a whole project (SOURCE.json)."""
    with in_words():
        if _kind(source) == ".csv":
            with Project.open(project) as quilt:
                done = quilt.import_csv(source)
                click.echo(
                    f"New measurements in {quilt.path.name}: {', '.join(done)}."
                    if done
                    else f"Everything in {source.name} is in {quilt.path.name} already."
                )
            return
        fresh = not locate(project).exists()
        with Project.create(project) if fresh else Project.open(project) as quilt:
            try:
                quilt.import_json(source)
            except BlockcheckError:
                if fresh:
                    quilt.close()
                    quilt.path.unlink()
                raise
            click.echo(f"{quilt.path.name} holds all of {source.name} now.")


@contextmanager
def in_words() -> Iterator[None]:
    """End the command with one clear sentence instead of a traceback."""
    try:
        yield
    except (LengthError, PlanError) as e:
        raise click.UsageError(str(e)) from e
    except BlockcheckError as e:
        raise click.ClickException(str(e)) from e


def _names(quilt: Project, name: Sequence[str], again: Sequence[str]) -> list[str] | None:
    """The names given, or None; a new name must be new, a known one known."""
    there = {b.name for b in quilt.blocks()} | set(quilt.removed())
    for n in name:
        if n.strip() in there:
            raise ProjectError(
                f"There is a block {n} already.",
                f"If the photo shows it again: --again {n}; if not, choose another name.",
            )
    for n in again:
        quilt.latest(n)
    return list(name or again) or None


def _known(quilt: Project, path: Path) -> str:
    """Names of the blocks that this very photo has given already; where it lies now is noted."""
    try:
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""  # measuring says what is wrong with it
    names, removed = quilt.names_in(digest), quilt.removed()
    if names:
        quilt.found(digest, path)
    return ", ".join(n + " (removed)" * (n in removed) for n in names)


def _kind(path: Path) -> str:
    kind = path.suffix.lower()
    if kind not in (".csv", ".json"):
        raise click.UsageError(f"{path.name} must end in .csv or .json.")
    return kind


def _list_row(block: BlockRecord, plan: Plan) -> tuple[str, ...]:
    row = [block.name, block.state]
    sizes = (block.width_mm, block.height_mm)
    for e in sizes:
        row += [_length(e.value, plan), format_uncertainty(e.u95, unit=plan.unit)]
    for e, planned in zip(sizes, plan.planned_mm or (), strict=False):
        says = verdict(e.value, e.u, planned - plan.tolerance_mm, planned + plan.tolerance_mm)
        over = format_length(e.value - planned, unit=plan.unit, fraction=plan.fraction, sign=True)
        row.append(f"{ANSWERS[says]} ({over})")
    return (*row, block.note)


def _length(mm: float, plan: Plan) -> str:
    return format_length(mm, unit=plan.unit, fraction=plan.fraction)


def _with_u(e: Estimate, plan: Plan) -> str:
    return f"{_length(e.value, plan)} ± {format_uncertainty(e.u95, unit=plan.unit)}"


def _sizes(block: Any, plan: Plan) -> str:
    return f"{_with_u(block.width_mm, plan)} wide, {_with_u(block.height_mm, plan)} high"


def _table(rows: Sequence[Sequence[str]]) -> str:
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(f"{cell:<{w}}" for cell, w in zip(row, widths, strict=True)).rstrip()
        for row in rows
    )


COMMANDS = (new, plan, add, list_blocks, show, change, remove, restore, export, import_)
