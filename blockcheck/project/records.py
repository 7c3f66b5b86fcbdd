"""What a project hands out, and how it is written as JSON text. Lengths are in millimetres."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import PlanError, Problem, ProjectError
from ..measuring.results import Measurement
from ..planning.cutting.cloth import read_cloth
from ..planning.layouts.design import ALTERNATE, SETTINGS
from ..planning.plan import Kind, Plan
from ..profiles import LensProfile
from ..settings import Settings
from ..uncertainty import Estimate, Term
from ..units import FRACTIONS

STATES = ("measured", "trimmed", "set aside")
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
Point = tuple[float, float]


@dataclass(frozen=True)
class PhotoFile:
    """A photo that the project knows.

    Attributes
    ----------
    path : Path
        Where it was when it was added, from the project's present folder.
    sha256 : str
    camera : str or None
    at : str
        When it was added (UTC, ISO 8601).
    missing : bool
        Whether no file is there now.
    """

    path: Path
    sha256: str
    camera: str | None
    at: str
    missing: bool


@dataclass(frozen=True, eq=False)
class Kept:
    """One measurement of one block.

    Attributes
    ----------
    width_mm, height_mm : Estimate
    measurement : Measurement or None
        All that the photo gave; None where it was measured with a ruler.
    photo : str or None
        The photo's sha256.
    settings : mapping
        What it was measured with, by the names of `Settings`.
    problems : tuple of Problem
        The warnings that came with it.
    points_mm, centre_line_mm
        Marked on this measurement, in its block coordinates.
    """

    width_mm: Estimate
    height_mm: Estimate
    measurement: Measurement | None = None
    photo: str | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    points_mm: Mapping[str, Point] = field(default_factory=dict)
    centre_line_mm: tuple[Point, Point] | None = None

    @property
    def source(self) -> str:
        """Whether it comes from a "photo" or a "ruler"."""
        return "ruler" if self.measurement is None else "photo"

    @property
    def corners_mm(self) -> np.ndarray:
        """(4, 2) corners in block coordinates."""
        if self.measurement is not None:
            return self.measurement.corners_block_mm
        w, h = self.width_mm.value, self.height_mm.value
        return np.array([[0, 0], [w, 0], [w, h], [0, h]], float)

    @property
    def outline_mm(self) -> np.ndarray:
        """(N, 2) outline in block coordinates; a ruler's is the rectangle."""
        return self.corners_mm if self.measurement is None else self.measurement.outline_block_mm

    @property
    def guard_mm(self) -> float:
        """As of `Measurement.guard_mm`."""
        return max(self.width_mm.u95, self.height_mm.u95) / 2


@dataclass(frozen=True, eq=False)
class Event:
    """One line of a block's history: when, with which version, what, and the measurement if any."""

    at: str
    software: str
    what: str
    detail: str
    kept: Kept | None


@dataclass(frozen=True)
class Check:
    """A check standard measured: known sizes, measured ones, and the verdict's words."""

    at: str
    software: str
    known_mm: tuple[float, ...]
    measured: tuple[Estimate, ...]
    verdict: str
    path: Path | None
    sha256: str | None


def to_json(value: object) -> str:
    """JSON text of plain values and arrays; floats are written so that they read back the same."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, default=np.ndarray.tolist)


def estimate_to(e: Estimate) -> dict[str, Any]:
    """JSON object of an estimate; null stands for endless degrees of freedom."""
    budget = [[t.name, t.u, None if math.isinf(t.dof) else t.dof] for t in e.budget]
    return {"value": e.value, "budget": budget}


def estimate_from(d: Mapping[str, Any]) -> Estimate:
    """Read `estimate_to`."""
    terms = (
        Term(n, float(u), math.inf if dof is None else float(dof)) for n, u, dof in d["budget"]
    )
    return Estimate(float(d["value"]), tuple(terms))


def sizes_to(kept: Kept) -> dict[str, Any]:
    """JSON object of the sizes: every field of a photo's measurement, a ruler's width and height."""
    from_what = kept if kept.measurement is None else kept.measurement
    names: tuple[str, ...] = ("width_mm", "height_mm")
    if kept.measurement is not None:
        names = tuple(f.name for f in dataclasses.fields(Measurement))
    return {name: _plain(getattr(from_what, name)) for name in names}


def _plain(value: Any) -> Any:
    if isinstance(value, Estimate):
        return estimate_to(value)
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    return value.tolist() if isinstance(value, np.ndarray) else value


def kept_from(
    sizes: Mapping[str, Any],
    *,
    photo: str | None,
    settings: Mapping[str, Any],
    problems: Sequence[Mapping[str, str]],
    points: Mapping[str, Sequence[float]],
    centre_line: Sequence[Sequence[float]] | None,
) -> Kept:
    """Read a measurement from the parts that the file and the JSON export keep."""
    measurement = None
    if photo is not None:
        kinds = {f.name: str(f.type) for f in dataclasses.fields(Measurement)}
        measurement = Measurement(**{k: _READ[kinds[k]](v) for k, v in sizes.items()})
    return Kept(
        estimate_from(sizes["width_mm"]),
        estimate_from(sizes["height_mm"]),
        measurement,
        photo,
        dict(settings),
        tuple(Problem(**p) for p in problems),
        {name: as_point(xy) for name, xy in points.items()},
        None if centre_line is None else (as_point(centre_line[0]), as_point(centre_line[1])),
    )


def kept_of(row: Mapping[str, Any], photo: str | None) -> Kept:
    """Read a measurement from its row; photo: the sha256 of its photo."""
    return kept_from(
        json.loads(row["sizes"]),
        photo=photo,
        settings=json.loads(row["settings"]),
        problems=json.loads(row["problems"]),
        points=json.loads(row["points"]),
        centre_line=json.loads(row["centre_line"]),
    )


_READ: dict[str, Any] = {  # by the types of the fields of `Measurement`
    "np.ndarray": lambda v: np.array(v, dtype=np.float64),
    "Estimate": estimate_from,
    "tuple[Estimate, ...]": lambda v: tuple(estimate_from(e) for e in v),
    "bool": bool,
}


def as_name(text: str) -> str:
    """A name fit for a table: one line, not empty, 80 characters at most."""
    name = text.strip()
    if not name or len(name) > 80 or not name.isprintable():
        raise ProjectError(
            f"{text!r} cannot be a name.", "Use 1 to 80 letters, digits and signs, on one line."
        )
    return name


def as_text(text: str, what: str) -> str:
    """Text that can be written as UTF-8."""
    try:
        text.encode()
    except UnicodeEncodeError as e:
        raise ProjectError(
            f"The {what} holds bytes that are not text.", "Change it, then do this step again."
        ) from e
    return text


def as_point(xy: Sequence[float]) -> Point:
    """A point of two finite numbers, or `ProjectError`."""
    x, y = (float(v) for v in xy)
    if not (math.isfinite(x) and math.isfinite(y)):
        raise ProjectError("A point needs two numbers, in millimetres from the top left corner.")
    return x, y


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
    if not 0 <= plan.allowance < 1:
        raise PlanError("The allowance for squaring up and shrinkage is a part, like 10 %.")
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


def settings_in(plan: Plan) -> dict[str, Any]:
    """What the plan says about measuring a photo, as keywords of `Settings.of`."""
    names = ("card_side", "sheet_side", "square", "grid", "cloth_height")
    return {"planned": plan.planned_mm, **{name: getattr(plan, name) for name in names}}


def settings_from(kept: Mapping[str, Any]) -> Settings:
    """Settings as a measurement keeps them, as they were."""
    profiles = (
        LensProfile(**{**p, "covariance": np.array(p["covariance"])})
        for p in kept.get("profiles", ())
    )
    return Settings(**{**kept, "profiles": tuple(profiles)})
