"""The quilt's rows drawn to scale: places with their blocks, and the seams that miss."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..planning.plan import BlockRecord, called
from ..planning.quilt import QuiltPlan
from ..planning.rows.laying import SASHING, TO_SEW
from ..report import rows_words, words

Shown = dict[str, Any]


def rows(quilt: QuiltPlan, blocks: Sequence[BlockRecord]) -> Shown:
    """Every piece's rectangle in millimetres of the finished quilt, row by row."""
    laid, plan = quilt.rows, quilt.plan
    if laid is None or quilt.size_mm is None:
        return {"places": [], "gap": words.gap(quilt, "rows"), "misses": [], "data": {}}
    own = {called(b.name): b.name for b in blocks}
    upright, seam = laid.along == "height", plan.seam_mm
    across = quilt.size_mm[0 if upright else 1] - 2 * seam
    sashing = plan.sashing_cut_mm
    gap = sashing - 2 * seam if sashing and plan.setting != "offset" else 0.0
    places: list[Shown] = []
    order = []
    for r, row in enumerate(laid.pieces):
        start, over = 0.0, r * (across + gap)
        for c, piece in enumerate(row):
            long = piece.cut_mm - 2 * seam
            x, y, w, h = (over, start, across, long) if upright else (start, over, long, across)
            name = own.get(piece.name)
            places.append(
                {
                    "x": x,
                    "y": y,
                    "w": w,
                    "h": h,
                    "block": name,
                    "kind": _kind(piece.name, name),
                    "said": piece.name,
                    "row": r,
                    "column": c,
                }
            )
            if name is not None:
                order.append(name)
            start += long
    width = max(p["x"] + p["w"] for p in places)
    height = max(p["y"] + p["h"] for p in places)
    misses = [
        {"said": rows_words.seam_match(quilt, laid, one), **_at(quilt, one, across, gap, upright)}
        for one in laid.check.missing
    ]
    return {
        "places": places,
        "width": width,
        "height": height,
        "em": max(width / 24, height / 40),
        "upright": upright,
        "misses": misses,
        "uneven": [rows_words.side_match(quilt, laid, one) for one in laid.check.uneven],
        "better": bool(suggested(quilt, blocks)),
        "left_over": laid.left_over,
        "data": {"order": order, "upright": upright},
    }


def suggested(quilt: QuiltPlan, blocks: Sequence[BlockRecord]) -> list[str]:
    """The order that meets better than the present one; none if there is none."""
    laid, plan = quilt.rows, quilt.plan
    better = laid.better(plan.tolerance_mm / 8) if laid else None
    own = {called(b.name): b.name for b in blocks}
    return [own[name] for row in better.rows for name in row if name in own] if better else []


def _kind(said: str, name: str | None) -> str:
    if name is not None:
        return "block"
    return {SASHING: "sashing", TO_SEW: "missing"}.get(said, "plain")


def _at(quilt: QuiltPlan, one: Any, across: float, gap: float, upright: bool) -> Shown:
    """Where a seam match lies: as far along as the two rows' own lengths bring it."""
    laid, seam = quilt.rows, quilt.plan.seam_mm
    assert laid is not None
    planned = sum(p.planned_mm - 2 * seam for p in laid.pieces[one.rows[0]])
    long = sum(laid.check.lengths_mm[r] for r in one.rows) / 2
    along, over = one.planned_mm / planned * long, one.rows[1] * (across + gap) - gap / 2
    return {"x": over, "y": along} if upright else {"x": along, "y": over}
