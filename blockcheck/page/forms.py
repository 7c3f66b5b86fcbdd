"""The plan as a form: every entry with its words, its drawing and how it is read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from ..errors import PlanError
from ..planning.plan import Plan
from ..units import INCH, format_exact, format_length, parse_length, parse_size

MARKS_MM = {"in": INCH / 8, "cm": 1.0}
SIDES = ("top", "right", "bottom", "left")
_DEFAULTS = {f.name: f.default for f in fields(Plan)}


@dataclass(frozen=True)
class Entry:
    """One entry of the plan.

    Attributes
    ----------
    name : str
        The plan's field.
    label, hint : str
        What a person reads.
    kind : {"length", "exact", "size", "count", "choice", "yes", "lengths"}
    drawing : str
        Which drawing explains it.
    choices : tuple of (str, str)
        Value and words.
    """

    name: str
    label: str
    hint: str
    kind: str
    drawing: str
    choices: tuple[tuple[str, str], ...] = ()


GROUPS: tuple[tuple[str, tuple[Entry, ...]], ...] = (
    (
        "The photos",
        (
            Entry(
                "card_side",
                "The printed card’s board, measured",
                "Lay your ruler along the board. Without this every size is less sure.",
                "exact",
                "card",
            ),
            Entry(
                "sheet_side",
                "The printed sheet’s long side, measured",
                "Only if you use the large reference sheet.",
                "exact",
                "sheet",
            ),
            Entry(
                "grid",
                "Spacing of the mat’s lines",
                "Only if no card is in the photos: 1 in or 1 cm.",
                "exact",
                "grid",
            ),
            Entry(
                "square",
                "Side of a plain paper square",
                "Only if you use one in place of the card.",
                "exact",
                "square",
            ),
            Entry(
                "cloth_height",
                "Height of the cloth’s face above the mat",
                "Cotton pieced and pressed: about 0.5 mm.",
                "exact",
                "height",
            ),
        ),
    ),
    (
        "The block",
        (
            Entry(
                "planned_mm",
                "Planned unfinished size",
                "As the pattern asks for, sewn, with its seam allowances: width × height.",
                "size",
                "planned",
            ),
            Entry("seam_mm", "Seam allowance", "Cloth outside the seam line.", "length", "seam"),
            Entry(
                "least_seam_mm",
                "Least seam allowance that still holds",
                "Left empty: the allowance less 1/32 in.",
                "length",
                "least",
            ),
            Entry(
                "keep_square",
                "Trim to a square",
                "Left empty: where the planned size is square.",
                "choice",
                "tolerance",
                (("", ""), ("True", "yes"), ("False", "no")),
            ),
            Entry(
                "guarded",
                "Count a block only where its ± leaves no doubt",
                "Without this a block counts as it measures, and the chance to be wrong is said.",
                "yes",
                "least",
            ),
            Entry(
                "tolerance_mm",
                "How far off is still good enough",
                "Off the plan, or apart where seams should match.",
                "length",
                "tolerance",
            ),
            Entry(
                "step_mm",
                "Ruler lines that sizes fall on",
                "The finest lines you like to cut by.",
                "length",
                "ruler",
            ),
            Entry(
                "seams_across",
                "Seams crossed going across a block",
                "With the planned size it tells how wide the seams were really sewn.",
                "count",
                "across",
            ),
            Entry(
                "seams_down",
                "Seams crossed going down a block",
                "The same from top to bottom.",
                "count",
                "down",
            ),
        ),
    ),
    (
        "The quilt",
        (
            Entry(
                "setting",
                "Setting",
                "Rows in line, every second one shifted by half a block, or blocks on a corner.",
                "choice",
                "setting",
                (("straight", "straight"), ("offset", "offset"), ("on point", "on point")),
            ),
            Entry(
                "shifted",
                "What an offset setting shifts",
                "Left empty: rows; columns with sashing.",
                "choice",
                "setting",
                (("", ""), ("rows", "rows"), ("columns", "columns")),
            ),
            Entry("rows", "Rows", "Left empty: from the number of blocks.", "count", "rows"),
            Entry(
                "blocks_per_row",
                "Blocks in a row",
                "Alternate blocks counted too.",
                "count",
                "columns",
            ),
            Entry(
                "alternate",
                "Pieced and alternate blocks take turns",
                "Plain blocks are then on the cutting list.",
                "yes",
                "alternate",
            ),
            Entry("sashing_cut_mm", "Sashing, cut width", "Left empty: none.", "length", "sashing"),
            Entry(
                "sashing_between",
                "Sashing between",
                "Left empty: the rows.",
                "choice",
                "sashing",
                (("", ""), ("rows", "rows"), ("blocks", "blocks"), ("both", "rows and blocks")),
            ),
            Entry(
                "cornerstones",
                "Cornerstones where sashing crosses",
                "Small squares of their own.",
                "yes",
                "sashing",
            ),
            Entry(
                "borders_mm",
                "Borders, cut widths",
                "The inner ones first, with semicolons between; top 2 in, bottom 2 in where not all sides.",
                "lengths",
                "borders",
            ),
            Entry(
                "border_corners",
                "Corners of the borders",
                "",
                "choice",
                "borders",
                (("butted", "butted"), ("mitred", "mitred")),
            ),
            Entry(
                "fabric_width_mm",
                "Usable width of the fabric",
                "Without the selvages.",
                "length",
                "fabric",
            ),
        ),
    ),
    (
        "How lengths are written",
        (
            Entry("unit", "Unit", "", "choice", "unit", (("in", "inches"), ("cm", "centimetres"))),
            Entry(
                "fraction",
                "Finest fraction of an inch",
                "",
                "choice",
                "fraction",
                (("8", "1/8"), ("16", "1/16"), ("32", "1/32")),
            ),
        ),
    ),
)


def entries(plan: Plan) -> list[tuple[str, list[tuple[Entry, str]]]]:
    """Every group with its entries and what the plan says."""
    return [(title, [(e, _text(plan, e)) for e in group]) for title, group in GROUPS]


def _text(plan: Plan, entry: Entry) -> str:
    value = getattr(plan, entry.name)
    if value is None:
        return ""
    if entry.kind == "exact":
        return format_exact(value, unit=plan.unit).rstrip()
    if entry.kind == "length":
        return format_length(value, unit=plan.unit, fraction=32)
    if entry.kind == "size":
        return " × ".join(format_length(v, unit=plan.unit, fraction=32) for v in value)
    if entry.kind == "lengths":
        return "; ".join(_border_text(plan, v) for v in value)
    return str(value)


def _border_text(plan: Plan, border: Any) -> str:
    """One border: its width, or its width on each side that has it."""
    if isinstance(border, int | float):
        return format_length(border, unit=plan.unit, fraction=32)
    return ", ".join(
        f"{side} {format_length(mm, unit=plan.unit, fraction=32)}" for side, mm in border
    )


def _border(text: str, unit: str) -> float | tuple[tuple[str, float], ...]:
    """Read one border."""
    parts = [part.split(maxsplit=1) for part in text.split(",")]
    if all(len(part) == 2 and part[0] in SIDES for part in parts):
        return tuple((side, parse_length(width, unit)) for side, width in parts)
    return parse_length(text, unit)


def read(plan: Plan, given: Mapping[str, Any]) -> Plan:
    """The plan with what the form says; an entry that reads as before stays as exact as it was.

    Raises
    ------
    LengthError, PlanError
        For an entry that cannot be read.
    """
    unit = str(given.get("unit", plan.unit))
    new: dict[str, Any] = {}
    for entry in (e for _, group in GROUPS for e in group if e.name in given):
        text = given[entry.name]
        if str(text).strip() == _text(plan, entry):
            continue
        new[entry.name] = _value(entry, text, unit)
    if new.get("unit", plan.unit) != plan.unit:
        new["step_mm"] = MARKS_MM.get(unit, plan.step_mm)  # the other ruler's lines
    if new.get("planned_mm", plan.planned_mm) != plan.planned_mm:
        new["chosen_mm"] = None  # it was chosen for another plan
    return replace(plan, **new)


def _value(entry: Entry, given: Any, unit: str) -> Any:
    if entry.kind == "yes":
        return given is True
    text = str(given).strip()
    if not text:
        if entry.kind == "lengths":
            return ()
        if _DEFAULTS[entry.name] is None:
            return None
        raise PlanError(f"“{entry.label}” cannot be empty.", "Write a length.")
    if entry.kind == "size":
        return parse_size(text, unit)
    if entry.kind == "lengths":
        return tuple(_border(part.strip(), unit) for part in text.split(";") if part.strip())
    if entry.kind == "count" or entry.name == "fraction":
        if not (text.isascii() and text.isdigit() and len(text) < 6):
            raise PlanError(f"“{text}” is not a whole number.", "Write it like 5.")
        return int(text)
    if entry.kind == "choice":
        if text not in [value for value, _ in entry.choices]:
            raise PlanError(f"“{text}” is not one of the choices of “{entry.label}”.")
        return text == "True" if entry.name == "keep_square" else text
    return parse_length(text, unit)
