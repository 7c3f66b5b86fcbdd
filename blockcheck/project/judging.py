"""Whether an exported project can be one: judged before anything of it is taken over."""

from __future__ import annotations

import functools
import importlib.resources
import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np

from ..planning.trimming.block import Block
from .records import TOGETHER, Kept, Point, settings_from

AGREE_MM = 0.1  # how well sizes and corners of one measurement have to fit each other
SCHEMA = "exchange.schema.json"


def parse(text: str) -> Any:
    """JSON as RFC 8259 has it: no NaN, no key twice.

    Raises
    ------
    ValueError
        In a few words.
    """
    try:
        return json.loads(text, parse_constant=_no_number, object_pairs_hook=_once)
    except RecursionError as e:
        raise ValueError("lists nested without end") from e


def check_whole(whole: object) -> None:
    """Compare a project with the schema that lies beside this module.

    Raises
    ------
    ValueError
        With the place, and what should be there.
    """
    import fastjsonschema  # loaded by what imports a project alone

    try:
        _validator()(whole)
    except fastjsonschema.JsonSchemaValueException as e:
        name = str(e.name)
        place = name.removeprefix("data").lstrip(".") or "the file"
        due = e.message.removeprefix(name).strip()
        raise ValueError(f"{place} {due}"[:300]) from e


def check_kept(kept: Kept) -> None:
    """Compare a measurement with itself.

    Raises
    ------
    ValueError, PlanError
        With what does not fit.
    """
    m = kept.measurement
    numbers: list[float] = [kept.width_mm.value, kept.height_mm.value]
    if m is not None:
        several = (*m.sides_mm, *m.diagonals_mm, *m.angles_deg, *m.bow_mm)
        numbers += [e.value for e in several]
        arrays = (m.corners_px, m.corners_mm, m.outline_mm, m.corners_cov_mm2)
        shapes = [a.shape for a in arrays]
        if shapes[0] != (4, 2) or shapes[1] != (4, 2) or shapes[3] != (8, 8):
            raise ValueError("impossible corners")
        if len(shapes[2]) != 2 or shapes[2][1] != 2 or shapes[2][0] < 4:
            raise ValueError("an impossible outline")
        if not all(np.isfinite(a).all() for a in arrays):
            raise ValueError("impossible corners")
    estimates = (kept.width_mm, kept.height_mm) if m is None else (kept.width_mm, *several)
    if not all(map(math.isfinite, numbers)) or min(kept.width_mm.value, kept.height_mm.value) <= 0:
        raise ValueError("an impossible size")
    if any(not t.u >= 0 or not t.dof > 0 for e in estimates for t in e.budget):
        raise ValueError("an uncertainty below zero")
    Block("block", kept.outline_mm, kept.guard_mm)
    settings_from(kept.settings)
    photos = kept.settings.get(TOGETHER, [])
    if not isinstance(photos, list) or not all(isinstance(sha256, str) for sha256 in photos):
        raise ValueError("an impossible list of photos")
    if m is None:
        return
    found = _sizes_of(m.corners_mm)
    said = [e.value for e in (m.width_mm, m.height_mm, *m.sides_mm, *m.diagonals_mm)]
    if np.abs(np.subtract(found, said)).max() > AGREE_MM:
        raise ValueError("sizes that do not fit its corners")
    spread = np.linalg.eigvalsh((m.corners_cov_mm2 + m.corners_cov_mm2.T) / 2)
    if spread.min() < -1e-6 * max(spread.max(), 1e-9):
        raise ValueError("an impossible uncertainty of its corners")


def _sizes_of(corners_mm: np.ndarray) -> list[float]:
    """Width, height, sides and diagonals."""

    def far(p: Point | np.ndarray, q: Point | np.ndarray) -> float:
        return math.dist(p, q)

    after = np.roll(corners_mm, -1, axis=0)
    top, right, bottom, left = (corners_mm + after) / 2
    sides = [far(p, q) for p, q in zip(corners_mm, after, strict=True)]
    a, b, c, d = corners_mm
    return [far(left, right), far(top, bottom), *sides, far(a, c), far(b, d)]


@functools.cache
def _validator() -> Callable[[object], object]:
    import fastjsonschema

    text = importlib.resources.files(__package__).joinpath(SCHEMA).read_text("utf-8")
    made: Callable[[object], object] = fastjsonschema.compile(json.loads(text))
    return made


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is not a number")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("the same name twice in one object")
    return found
