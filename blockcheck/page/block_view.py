"""One block on its photo: what is drawn, and its sizes in words."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from typing import Any

import numpy as np

from ..planning.plan import BlockRecord, Plan
from ..project import Event, Kept
from ..project.places import SIDES
from ..report import words
from ..report.html import unbroken
from ..report.measured_words import as_fine
from ..report.screen_picture import on_photo
from ..uncertainty import Estimate
from ..units import format_exact, format_uncertainty

Shown = dict[str, Any]


def px(block: BlockRecord, places_mm: Any) -> list[list[float]]:
    """Places on a block in its photo's pixels."""
    assert block.corners_mm is not None
    assert block.corners_px is not None
    places = np.asarray(places_mm, float).reshape(-1, 2)
    found = on_photo(places, block.corners_mm, block.corners_px)
    return [[round(float(x), 2), round(float(y), 2)] for x, y in found]


def drawn(block: BlockRecord) -> Shown:
    """What is drawn of a block on its photo, in the photo's pixels."""
    if block.corners_px is None:
        return {"corners": [], "points": {}, "line": None, "outline": []}
    line = block.centre_line_mm
    names, places = list(block.points_mm), list(block.points_mm.values())
    return {
        "corners": [[float(x), float(y)] for x, y in block.corners_px],
        "outline": px(block, block.outline_mm),
        "points": dict(zip(names, px(block, places), strict=True)),
        "line": None if line is None else px(block, line),
    }


def labels(plan: Plan, block: BlockRecord, kept: Kept) -> list[Shown]:
    """Each side's length, a little inside its middle."""
    if kept.measurement is None or block.corners_mm is None:
        return []
    corners, middle = block.corners_mm, block.corners_mm.mean(axis=0)
    sides = (corners + np.roll(corners, -1, axis=0)) / 2
    inwards = np.array([0.2, 0.13, 0.2, 0.13])[:, None]
    places = px(block, sides + (middle - sides) * inwards)
    anchors = ("middle", "end", "middle", "start")
    return [
        {"at": at, "text": words.length(plan, e.value), "anchor": anchor}
        for at, e, anchor in zip(places, kept.measurement.sides_mm, anchors, strict=True)
    ]


def held(history: tuple[Event, ...], kept: Kept) -> list[int]:
    """The sides that were set by hand: as the last step says, else all of them."""
    if kept.measurement is None or not kept.measurement.by_hand:
        return []
    said = next(e.detail for e in reversed(history) if e.kept is not None)
    named = [k for k, side in enumerate(SIDES) if side in said.partition("by hand:")[2]]
    return named or [0, 1, 2, 3]


def sizes(plan: Plan, block: BlockRecord, kept: Any) -> list[Shown]:
    """The sizes in words, each with its ±."""

    def row(name: str, e: Any) -> Shown:
        return {
            "name": name,
            "size": words.length(plan, e.value),
            "u": format_uncertainty(e.u95, unit=plan.unit),
        }

    rows = [row("Width", block.width_mm), row("Height", block.height_mm)]
    m = kept.measurement
    if m is not None:
        rows += [
            row(f"{side.capitalize()} side", e) for side, e in zip(SIDES, m.sides_mm, strict=True)
        ]
        side, bow = max(zip(SIDES, m.bow_mm, strict=True), key=lambda one: one[1].value)
        rows.append(
            row(f"Largest bow, of the {side} side", bow) | {"size": as_fine(bow, plan.unit)}
        )
        square = m.out_of_square_mm
        rows.append(row("Out of square", replace(square, value=abs(square.value))))
    return rows


def budget(plan: Plan, block: BlockRecord) -> list[tuple[str, str, str]]:
    """What the ± of the width and of the height comes from, as `measure --budget` says it."""

    def of(e: Estimate, cause: str) -> str:
        us = [t.u for t in e.budget if t.name == cause]
        return format_exact(math.hypot(*us), unit=plan.unit, digits=4) if us else ""

    both = block.width_mm, block.height_mm
    causes = dict.fromkeys(t.name for e in both for t in e.budget)
    return [(cause, of(both[0], cause), of(both[1], cause)) for cause in causes]


def size(plan: Plan, width: Estimate, height: Estimate) -> str:
    """A block's size as it was measured, everywhere to the same fraction: ``6 × 9 1/16 in``."""
    wide = words.length(plan, width.value).removesuffix(f" {plan.unit}")
    return unbroken(f"{wide} × {words.length(plan, height.value)}")


def give_or_take(plan: Plan, width: Estimate, height: Estimate) -> str:
    """The larger ± of the two."""
    return f"±\N{NO-BREAK SPACE}{format_uncertainty(max(width.u95, height.u95), unit=plan.unit)}"


def when(at: str) -> str:
    return datetime.fromisoformat(at).astimezone().strftime("%b %-d, %H:%M")
