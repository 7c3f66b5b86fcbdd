"""What a project hands out, and how it is written as JSON text. Lengths are in millimetres."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import Problem, ProjectError
from ..measuring.results import Measurement
from ..planning.plan import Plan
from ..profiles import profile_from
from ..settings import Settings
from ..uncertainty import Estimate, Term

STATES = ("measured", "trimmed", "set aside")
TOGETHER = "together"  # among a measurement's settings
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
        What it was measured with, by the names of `Settings`, and `TOGETHER` where it comes from
        several photos: their sha256.
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
    def seen_in(self) -> frozenset[str | None]:
        """The sha256 of the photos that it comes from; None stands for a ruler."""
        return frozenset([self.photo, *self.settings.get(TOGETHER, ())])

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


def settings_in(plan: Plan) -> dict[str, Any]:
    """What the plan says about measuring a photo, as keywords of `Settings.of`."""
    names = ("card_side", "sheet_side", "square", "grid", "cloth_height")
    return {"planned": plan.planned_mm, **{name: getattr(plan, name) for name in names}}


def settings_from(kept: Mapping[str, Any]) -> Settings:
    """Settings as a measurement keeps them, as they were.

    What none can be raises LengthError, ValueError, KeyError or TypeError.
    """
    apart = ("planned", "profiles", TOGETHER)
    given = {name: value for name, value in kept.items() if name not in apart}
    planned = None if kept.get("planned") is None else tuple(kept["planned"])
    profiles = tuple(profile_from(entry) for entry in kept.get("profiles", ()))
    return dataclasses.replace(Settings.of(**given, planned=planned), profiles=profiles)
