"""The plan as a project keeps it: read back from its JSON, and judged before it is kept."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator, Mapping
from typing import Any

from ..errors import PlanError, ProjectError
from ..planning.cutting.cloth import read_cloth
from ..planning.layouts.design import ALTERNATE, SETTINGS, check_sides
from ..planning.plan import Kind, Plan
from ..settings import Settings
from ..units import FRACTIONS
from .records import as_name, settings_in

MAX_COUNT = 500  # of rows, of blocks in a row, of seams in a block
MAX_PLAN_MM = 50_000.0
_MOST_MM = {
    "seam_mm": 60.0,
    "tolerance_mm": 60.0,
    "step_mm": 60.0,
    "sashing_cut_mm": 3000.0,
    "borders_mm": 3000.0,
    "chosen_mm": 3000.0,
    "fixed_width_mm": 3000.0,
    "fixed_height_mm": 3000.0,
}
LEAST_FABRIC_MM = 100.0
_LIKE = "Write it with its unit, like 1/8in, 6 1/2in or 16.5cm."


def plan_from(d: Mapping[str, Any]) -> Plan:
    """Read a plan; what it does not say is as `Plan` has it."""
    unknown = set(d) - {f.name for f in dataclasses.fields(Plan)}
    if unknown:
        raise ProjectError(
            f"The plan holds what this blockcheck does not know ({', '.join(sorted(unknown))}).",
            "Install the newer blockcheck.",
        )
    values: dict[str, Any] = {k: _frozen(v) for k, v in d.items()}
    known = {f.name for f in dataclasses.fields(Kind)}
    kinds = values.get("kinds", ())
    if not all(isinstance(k, dict) and set(k) <= known for k in kinds):
        raise ProjectError("The plan's kinds of blocks cannot be read.", "Export it again.")
    plan = Plan(**{**values, "kinds": tuple(Kind(**k) for k in kinds)})
    check_plan(plan)
    return plan


def _frozen(value: Any) -> Any:
    """Lists as tuples, all the way down."""
    if isinstance(value, dict):
        return {k: _frozen(v) for k, v in value.items()}
    return tuple(map(_frozen, value)) if isinstance(value, list) else value


def check_plan(plan: Plan) -> None:
    """Refuse a plan that cannot be meant.

    Raises
    ------
    PlanError, LengthError
        With the number that is wrong.
    """
    for f in dataclasses.fields(Plan):
        given = getattr(plan, f.name)
        length = f.name.endswith("_mm") or f.name == "cloth_height"
        if not length or (given is None and f.default is None):
            continue
        for value in _numbers(given):
            if not (isinstance(value, int | float) and 0 < value < math.inf):
                raise PlanError(f"The plan's {_said(f.name)} must be greater than zero.", _LIKE)
            if value > _MOST_MM.get(f.name, MAX_PLAN_MM):
                raise PlanError(f"The plan's {_said(f.name)} is more than any quilt has.", _LIKE)
            if f.name.startswith("fabric_width") and value < LEAST_FABRIC_MM:
                raise PlanError(
                    "The fabric width is less than any fabric's.", "Write it like 40in or 102cm."
                )
    for name, least in (("rows", 1), ("blocks_per_row", 1), ("seams_across", 0), ("seams_down", 0)):
        count = getattr(plan, name)
        if count is None:
            continue
        if not isinstance(count, int) or count < least:
            raise PlanError(f"The plan's {_said(name)} must be {least} or more.")
        if count > MAX_COUNT:
            raise PlanError(f"The plan's {_said(name)} must be {MAX_COUNT} or less.")
    for name, words in (
        ("unit", ("in", "cm")),
        ("fraction", FRACTIONS),
        ("setting", SETTINGS),
        ("shifted", (None, "rows", "columns")),
        ("sashing_between", (None, "rows", "blocks", "both")),
        ("cornerstones", (False, True)),
        ("border_corners", ("butted", "mitred")),
        ("alternate", (False, True)),
        ("guarded", (False, True)),
        ("keep_square", (None, False, True)),
    ):
        if getattr(plan, name) not in words:
            raise PlanError(f"The plan's {name} must be one of {', '.join(map(str, words))}.")
    for name, size in (("planned size", plan.planned_mm), ("size to trim to", plan.chosen_mm)):
        if size is not None and len(size) != 2:
            raise PlanError(f"The {name} is a width and a height.")
        if size is not None and min(size) <= 2 * plan.seam_mm:
            raise PlanError(
                f"The {name} is no larger than its own seam allowances.",
                "Give the unfinished size, with the seam allowance on all sides.",
            )
    _check_kinds(plan)
    check_sides(dict(plan.frame_mm), "frame")
    for border in plan.borders_mm:
        check_sides(dict(border) if isinstance(border, tuple) else {}, "border")
    if not 0 <= plan.allowance < 1:
        raise PlanError("The allowance for squaring up and shrinkage is a percentage, like 10 %.")
    for _, text in plan.in_hand:
        read_cloth(text, unit=plan.unit)
    if plan.least_seam_mm is not None and plan.least_seam_mm > plan.seam_mm:
        raise PlanError(
            "The least seam allowance that holds is more than the seam allowance.",
            "Write one that is less, like 7/32in.",
        )
    Settings.of(**settings_in(plan), unit=plan.unit)


def _numbers(given: Any) -> Iterator[Any]:
    """The numbers in a field of the plan; a side's or a fabric's name before one is left out."""
    if isinstance(given, tuple):
        for part in given:
            yield from _numbers(part[1] if _named(part) else part)
    else:
        yield given


def _named(part: Any) -> bool:
    return isinstance(part, tuple) and len(part) == 2 and isinstance(part[0], str)


def _check_kinds(plan: Plan) -> None:
    """Refuse kinds of blocks that cannot be told apart, and sizes that are none."""
    names = [as_name(name) for name in (plan.kind, *(k.name for k in plan.kinds))]
    if len({n.lower() for n in (*names, ALTERNATE)}) <= len(plan.kinds) + 1:
        raise PlanError("Every kind of block needs a name of its own.", f'Not "{ALTERNATE}".')
    for k in plan.kinds:
        for what, size in (("planned size", k.planned_mm), ("size to trim to", k.chosen_mm)):
            if size is None:
                continue
            if len(size) != 2 or not all(
                isinstance(mm, int | float) and mm < math.inf for mm in size
            ):
                raise PlanError(f"The {what} of {k.name} is a width and a height.")
            if min(size) <= 2 * plan.seam_mm:
                raise PlanError(f"{k.name} is no larger than its own seam allowances.")
    for name in (name for line in plan.repeat for name in line):
        if name not in (*names, ALTERNATE):
            raise PlanError(
                f"There is no kind of block called {name}.",
                f"There are: {', '.join((*names, ALTERNATE))}.",
            )


_CALLED = {"seam": "seam allowance", "least_seam": "least seam allowance", "step": "ruler line"}


def _said(name: str) -> str:
    """What a person calls a field of the plan."""
    bare = name.removesuffix("_mm")
    return _CALLED.get(bare, bare.replace("_", " "))
