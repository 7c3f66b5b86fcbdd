"""Points and the centre line, tapped on the photo or measured with the ruler."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ..errors import PlanError, ProjectError
from ..measuring.results import Measurement
from ..planning.plan import BlockRecord
from ..project import Project
from ..project.places import SIDES, read_place
from ..report import words
from ..report.screen_picture import on_block, on_photo

Given = Mapping[str, Any]


def mark(quilt: Project, given: Given) -> None:
    """Mark a block's points and centre line, given in the photo's pixels."""
    name = given["name"]
    block = block_of(quilt, name)
    if "points" in given:
        points = {str(p): xy for p, xy in dict(given["points"]).items()}
        places = _to_block(block, list(points.values()))
        quilt.set_points(name, dict(zip(points, places, strict=True)))
    if "line" in given:
        ends = _to_block(block, given["line"] or [])
        _set_line(quilt, name, ends)


def by_ruler(quilt: Project, given: Given) -> None:
    """Mark a place by its two lengths from two edges, or the centre line by one at each end.

    "across" and "down" are [edge, length]: of a point from a left or right, and a top or bottom
    edge; "line" is [edge, length, length]: from one edge, at both ends of it.

    Raises
    ------
    LengthError, PlanError
        If a length cannot be read, or the place lies off the cloth.
    """
    name, unit = given["name"], quilt.plan.unit
    block = block_of(quilt, name)
    if "line" in given:
        edge, first, last = (str(v) for v in given["line"])
        upright = edge in ("left", "right")
        ends = ("top", "bottom") if upright else ("left", "right")
        places = []
        for end, length in zip(ends, (first, last), strict=True):
            both = (_from(edge, length), f"{end} 0")
            places.append(read_place(",".join(both if upright else both[::-1]), block, unit))
        _set_line(quilt, name, places)
        return
    place = ",".join(_from(*(str(v) for v in given[way])) for way in ("across", "down"))
    points = dict(quilt.latest(name).points_mm)
    called = str(given.get("point", "")).strip() or _next(points)
    quilt.set_points(name, {**points, called: read_place(place, block, unit)})


def unmark(quilt: Project, given: Given) -> None:
    """Take one point away, or the centre line."""
    name = given["name"]
    if "point" not in given:
        quilt.set_centre_line(name, None)
        return
    points = dict(quilt.latest(name).points_mm)
    del points[str(given["point"])]
    quilt.set_points(name, points)


def _from(edge: str, length: str) -> str:
    """As `read_place` reads it; a comma parts its two lengths, so a decimal comma is a point."""
    if edge not in SIDES:
        raise ValueError("a block has four edges")
    return f"{edge} {length.strip().replace(',', '.')}"


def _next(points: Mapping[str, Any]) -> str:
    return next(str(n) for n in range(1, len(points) + 2) if str(n) not in points)


def _set_line(quilt: Project, name: str, ends: list[tuple[float, float]]) -> None:
    if ends and np.allclose(ends[0], ends[1], atol=1.0):
        raise PlanError("A centre line needs two different places.")
    quilt.set_centre_line(name, (ends[0], ends[1]) if ends else None)


def block_of(quilt: Project, name: str) -> BlockRecord:
    """A block by its name.

    Raises
    ------
    ProjectError
        If there is none.
    """
    for block in quilt.blocks():
        if block.name == name:
            return block
    quilt.latest(name)  # says why
    raise ProjectError(f"There is no block {name}.", "Choose one from the list.")


def _to_block(block: BlockRecord, places_px: Any) -> list[tuple[float, float]]:
    """Block coordinates of places in the photo that lie on the cloth."""
    if not len(places_px):
        return []
    if block.corners_px is None or block.corners_mm is None:
        raise ProjectError(
            f"{words.sentence(block.name)} was measured with a ruler: it has no photo."
        )
    found = on_block(np.asarray(places_px, float), block.corners_px, block.corners_mm)
    low, high = block.outline_mm.min(axis=0) - 3, block.outline_mm.max(axis=0) + 3
    if not (np.isfinite(found).all() and (found >= low).all() and (found <= high).all()):
        raise PlanError("A mark lies off the block.", "Put it on the cloth.")
    return [(float(x), float(y)) for x, y in found]


def to_photo(block: BlockRecord, places_mm: Any) -> list[list[float]]:
    """Places on a block in its photo's pixels; none where it has no photo."""
    if not len(places_mm) or block.corners_px is None or block.corners_mm is None:
        return []
    found = on_photo(np.asarray(places_mm, float), block.corners_mm, block.corners_px)
    return [[float(x), float(y)] for x, y in found]


def carried(before: Measurement, after: Measurement, kept: Any) -> tuple[Any, Any]:
    """Marks of an earlier measurement in the new one's block coordinates: the same pixels."""

    def moved(places: Any) -> list[tuple[float, float]]:
        if not len(places):
            return []
        px = on_photo(np.asarray(places, float), before.corners_block_mm, before.corners_px)
        new = on_block(px, after.corners_px, after.corners_block_mm)
        return [(float(x), float(y)) for x, y in new]

    points = dict(zip(kept.points_mm, moved(list(kept.points_mm.values())), strict=True))
    line = moved(kept.centre_line_mm or [])
    return points, (line[0], line[1]) if line else None
