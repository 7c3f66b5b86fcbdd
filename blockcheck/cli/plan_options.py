"""The plan as options, and in words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import click

from ..errors import PlanError
from ..planning.plan import Plan
from ..units import INCH, format_exact, format_length, parse_length, parse_size

# option: the plan's field, what it is
LENGTHS = {
    "seam-allowance": ("seam_mm", "Seam allowance."),
    "least-seam": (
        "least_seam_mm",
        "The least seam allowance that still holds; 1/32 in less than the allowance unless told.",
    ),
    "tolerance": (
        "tolerance_mm",
        "How far off the plan, or apart at a seam match, is still good enough.",
    ),
    "ruler-line": ("step_mm", "Spacing of the ruler lines that sizes are rounded to."),
    "fixed-width": ("fixed_width_mm", "Width of the common size, where it is fixed."),
    "fixed-height": ("fixed_height_mm", "Height of the common size, where it is fixed."),
    "card-side": ("card_side", "The printed card's board as you measured it, like 3.98in."),
    "sheet-side": ("sheet_side", "The printed sheet's long side as you measured it."),
    "square": ("square", "Side of a plain square in the photos."),
    "grid": ("grid", "Spacing of the mat's lines, where there is no card."),
    "cloth-height": ("cloth_height", "Height of the cloth's face above the mat."),
    "fabric-width": ("fabric_width_mm", "Usable width of the fabric."),
    "sashing": ("sashing_cut_mm", "Cut width of the sashing between blocks or rows."),
}
COUNTS = {
    "seams-across": "Seams that you cross going across a block.",
    "seams-down": "Seams that you cross going down a block.",
    "rows": "Rows in the quilt.",
    "blocks-per-row": "Blocks in a row, alternate blocks counted too.",
}
NONE = "none"
_DEFAULTS = {f.name: f.default for f in fields(Plan)}
_MARKS = {"in": INCH / 8, "cm": 1.0}


def plan_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command every option of the plan; what is not given comes as None or empty."""
    options = [
        click.option(
            "--planned", help="Planned unfinished size of a block, width x height, like 6x9."
        ),
        *(click.option(f"--{name}", help=text) for name, (_, text) in LENGTHS.items()),
        *(click.option(f"--{name}", help=text) for name, text in COUNTS.items()),
        click.option("--trim-to", metavar="WxH", help="The size to trim to, where you choose it."),
        click.option(
            "--keep-square/--no-keep-square",
            default=None,
            help="Trim to a square; on where the planned size is square.",
        ),
        click.option(
            "--guarded/--no-guarded",
            default=None,
            help="Count a block only where its ± leaves no doubt; off unless told.",
        ),
        click.option("--setting", type=click.Choice(["straight", "offset"])),
        click.option(
            "--alternate/--no-alternate",
            default=None,
            help="Pieced and alternate blocks take turns, or not.",
        ),
        click.option("--border", multiple=True, help="Cut width of a border, inner ones first."),
        click.option("--unit", type=click.Choice(["in", "cm"]), help="Unit of what is printed."),
        click.option("--fraction", type=click.Choice(["8", "16", "32"])),
    ]
    for option in reversed(options):
        command = option(command)
    return command


def changed(plan: Plan, given: dict[str, Any]) -> Plan:
    """The plan with the given options; "none" takes away what a plan can do without.

    Raises
    ------
    LengthError, PlanError
        For an option that cannot be read.
    """
    unit = given["unit"] or plan.unit
    new: dict[str, Any] = {"unit": unit}
    if unit != plan.unit:
        new["step_mm"] = _MARKS[unit]  # the other ruler's marks
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
    if given["border"]:
        widths = [] if given["border"] == (NONE,) else given["border"]
        new["borders_mm"] = tuple(parse_length(width, unit) for width in widths)
    if given["fraction"]:
        new["fraction"] = int(given["fraction"])
    for name in ("setting", "alternate", "keep_square", "guarded"):
        if given[name] is not None:
            new[name] = given[name]
    return replace(plan, **new)


def _or_none(field: str, text: str, read: Callable[[str], Any]) -> Any:
    return None if text == NONE and _DEFAULTS[field] is None else read(text)


def _count(text: str) -> int:
    if not (text.isascii() and text.isdigit()):
        raise PlanError(f'"{text}" is not a whole number.', "Write it like 5.")
    return int(text)


def plan_rows(plan: Plan) -> list[tuple[str, str]]:
    """What the plan says, as pairs of words."""

    def length(mm: float) -> str:
        return format_length(mm, unit=plan.unit, fraction=plan.fraction)

    def exact(mm: float | None) -> str:
        return "" if mm is None else format_exact(mm, unit=plan.unit)

    def fine(mm: float) -> str:
        return format_length(mm, unit=plan.unit, fraction=32)

    planned = plan.planned_mm and " × ".join(map(length, plan.planned_mm))
    fixed = [
        f"{length(mm)} {word}"
        for mm, word in ((plan.fixed_width_mm, "wide"), (plan.fixed_height_mm, "high"))
        if mm is not None
    ]
    seams = [
        f"{n} {word}"
        for n, word in ((plan.seams_across, "across"), (plan.seams_down, "down"))
        if n is not None
    ]
    setting = [plan.setting]
    setting += [f"rows: {plan.rows}"] if plan.rows else []
    setting += [f"blocks per row: {plan.blocks_per_row}"] if plan.blocks_per_row else []
    setting += ["with alternate blocks"] if plan.alternate else []
    rows = [
        ("planned size (unfinished)", planned or "not given"),
        ("trim to", "" if plan.chosen_mm is None else " × ".join(map(fine, plan.chosen_mm))),
        ("squares only", {True: "yes", False: "no", None: ""}[plan.keep_square]),
        ("seam allowance", length(plan.seam_mm)),
        ("least seam allowance", "" if plan.least_seam_mm is None else fine(plan.least_seam_mm)),
        ("judged", "with a guard band" if plan.guarded else ""),
        ("tolerance", length(plan.tolerance_mm)),
        ("ruler lines", length(plan.step_mm)),
        ("fixed", ", ".join(fixed)),
        ("card side", exact(plan.card_side) or "not measured: taken as printed"),
        ("sheet side", exact(plan.sheet_side)),
        ("plain square", exact(plan.square)),
        ("mat lines", exact(plan.grid)),
        ("cloth height", exact(plan.cloth_height)),
        ("fabric width", length(plan.fabric_width_mm)),
        ("seams in a block", ", ".join(seams)),
        ("setting", ", ".join(setting)),
        ("sashing (cut)", "" if plan.sashing_cut_mm is None else length(plan.sashing_cut_mm)),
        ("borders (cut)", ", ".join(map(length, plan.borders_mm))),
    ]
    return [(name, text) for name, text in rows if text]
