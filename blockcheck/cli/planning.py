"""The commands new and plan, and the plan as options."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import click

from ..errors import PlanError, typed
from ..planning.layouts.planned import trouble
from ..planning.plan import Plan, usual_in
from ..project import Project
from ..report import project_words as words
from ..units import format_length, parse_length, parse_size
from . import setting_options
from .command import command
from .options import PLANNED, PROJECT, REFERENCES, file_type, target, together, told
from .voice import Status, in_words, note, say, stop, tell, writing

# option: the plan's field, what it is
LENGTHS = {
    "seam-allowance": ("seam_mm", "Seam allowance."),
    "least-seam": (
        "least_seam_mm",
        told("The least seam allowance that still holds.", "1/32 in less than the allowance"),
    ),
    "tolerance": (
        "tolerance_mm",
        "How far off the plan, or apart at a seam match, is still good enough.",
    ),
    "ruler-line": ("step_mm", "Spacing of the ruler lines that sizes are rounded to."),
    "fixed-width": (
        "fixed_width_mm",
        told("Unfinished width to trim to, if it must be this one.", "none"),
    ),
    "fixed-height": (
        "fixed_height_mm",
        told("Unfinished height to trim to, if it must be this one.", "none"),
    ),
    **{name: (name.replace("-", "_"), text) for name, (text, _) in REFERENCES.items()},
    "fabric-width": ("fabric_width_mm", "Usable width of the fabric."),
    "sashing": ("sashing_cut_mm", told("Cut width of the sashing between blocks or rows.", "none")),
}
COUNTS = {
    "seams-across": "Seams that you cross going across a block.",
    "seams-down": "Seams that you cross going down a block.",
    "rows": told("Rows in the quilt.", "from the number of blocks"),
    "blocks-per-row": told(
        "Blocks in a row, counting alternate blocks.", "from the number of blocks"
    ),
}
NONE = "none"
_DEFAULTS = {f.name: f.default for f in fields(Plan)}


def plan_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command every option of the plan; what is not given comes as None or empty."""
    return together(
        [
            PLANNED,
            *(
                click.option(f"--{name}", metavar="LENGTH", help=told(text, _shown(name)))
                for name, (_, text) in LENGTHS.items()
            ),
            *(
                click.option(f"--{name}", metavar="COUNT", help=text)
                for name, text in COUNTS.items()
            ),
            click.option(
                "--trim-to",
                metavar="WxH",
                help=told("The size to trim to, if you choose it.", "what the blocks reach"),
            ),
            click.option(
                "--keep-square/--no-keep-square",
                default=None,
                help=told("Trim to a square, or not.", "where the planned size is square"),
            ),
            click.option(
                "--guarded/--no-guarded",
                default=None,
                help=told("Count a block only where its ± leaves no doubt, or not.", "not"),
            ),
            *setting_options.SETTING_OPTIONS,
            *setting_options.FABRIC_OPTIONS,
            click.option(
                "--unit",
                type=click.Choice(["in", "cm"]),
                help=told("Unit of the lengths you write and read.", "in"),
            ),
            click.option(
                "--fraction",
                type=click.Choice(["8", "16", "32"]),
                help=told("Finest part of an inch that is shown.", "16"),
            ),
        ]
    )(function)


def _shown(option: str) -> str:
    """An option's default in words, as a new plan has it."""
    if option in REFERENCES:
        return REFERENCES[option][1]
    value = _DEFAULTS[LENGTHS[option][0]]
    return format_length(value) if isinstance(value, float) else ""


@command("new")
@PROJECT
@plan_options
def new(project: Path, **given: Any) -> None:
    """A length without a unit is in --unit. Nothing that exists is written over."""
    with in_words(), Project.create(project, changed(Plan(), given)) as quilt:
        tell(f"Made {quilt.path}.")
        say(words.plan_table(quilt.plan))
        _note_trouble(quilt.plan)
        note(f"Next: {typed('add', quilt.path, 'PHOTOS')}")


@command("plan")
@PROJECT
@plan_options
@click.option("--picture", metavar="FILE", type=file_type(), help="Draw the whole quilt (.svg).")
def plan(project: Path, picture: Path | None, **given: Any) -> None:
    """What you do not name stays as it is; "none" takes a value away.

    The defaults shown are those of a new plan.
    """
    with in_words(), Project.open(project) as quilt:
        before = quilt.plan
        after = changed(before, given)
        if after != before:
            quilt.set_plan(after)
        say(words.plan_table(after))
        _note_unused(after)
        if picture is None:
            _note_trouble(after)
        if given["measured_middle"] and after.body_mm is not None:
            _note_middle(quilt)
        if picture is not None:
            _draw(quilt, picture)


def _note_trouble(plan: Plan) -> None:
    """Say why the quilt cannot be worked out from a plan that is kept all the same."""
    if why := trouble(plan):
        note(f"This plan is kept, but the quilt cannot be worked out from it: {why}")


def _note_unused(plan: Plan) -> None:
    """Say which fabrics of the plan nothing is cut from; loads what that takes only then."""
    if plan.in_hand or plan.one_way or plan.fabric_widths_mm:
        from ..report import cutting_words

        said = cutting_words.unused(plan)
        for line in said:
            note(line)
        if said:
            note('Give a part that fabric with --fabric PART=FABRIC, or say --have "FABRIC=none".')


def _note_middle(quilt: Project) -> None:
    """Say what was measured and what is worked out, side by side."""
    from ..planning.quilt import work_out
    from ..report import cutting_words
    from ..report.words import finish

    found = work_out(quilt.plan, quilt.blocks())
    for name, working in finish(found)[: 2 if found.finish else 0]:
        note(f"{name}: {working}")
    for line in cutting_words.middle(found):
        note(line)


def _draw(quilt: Project, picture: Path) -> None:
    """Write the whole quilt to scale; blocks that are not measured yet as they are planned."""
    from ..planning.quilt import work_out
    from ..report.gap_words import gap
    from ..report.quilt_picture import quilt_picture

    path = target(picture, quilt.path, ".svg")
    found = work_out(quilt.plan, quilt.blocks())
    if found.layout is None:
        stop(Status.BLOCKS, f"{gap(found, 'cuts')} The plan is kept as it is above.")
    with writing(path):
        path.write_text(quilt_picture(found.layout, quilt.plan), encoding="utf-8")
    note(f"Wrote {path}. Open it in a browser.")


def changed(plan: Plan, given: dict[str, Any]) -> Plan:
    """The plan with the given options; "none" takes away what a plan can do without.

    Raises
    ------
    LengthError, PlanError
        For an option that cannot be read.
    """
    unit = given["unit"] or plan.unit
    new: dict[str, Any] = {"unit": unit, **usual_in(plan, unit)}
    for option, field in (("planned", "planned_mm"), ("trim_to", "chosen_mm")):
        if text := given[option]:
            new[field] = None if text == NONE else parse_size(text, unit)
    if given["planned"] and new["planned_mm"] != plan.planned_mm and not given["trim_to"]:
        new["chosen_mm"] = None  # it was chosen for another plan
    for option, (field, _) in LENGTHS.items():
        if text := given[option.replace("-", "_")]:
            new[field] = _or_none(field, text, lambda t: parse_length(t, unit))
    for option in COUNTS:
        field = option.replace("-", "_")
        if text := given[field]:
            new[field] = _or_none(field, text, _count)
    if given["fraction"]:
        new["fraction"] = int(given["fraction"])
    for name in ("keep_square", "guarded"):
        if given[name] is not None:
            new[name] = given[name]
    new.update(setting_options.changed(plan, given, unit))
    return replace(plan, **new)


def _or_none(field: str, text: str, read: Callable[[str], Any]) -> Any:
    return None if text == NONE and _DEFAULTS[field] is None else read(text)


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit()):
        raise PlanError(f'"{text}" is not a whole number.', "Write it like 5.")
    return int(text)
