"""The quilt's setting and fabrics as the plan has them, in words."""

from __future__ import annotations

from collections.abc import Sequence

from ..planning.plan import Plan, Sides
from ..units import format_length, format_size
from .phrases import percent


def rows(plan: Plan) -> list[tuple[str, str]]:
    """What the plan says of kinds of blocks, setting and fabrics, as pairs of words."""

    def length(mm: float) -> str:
        return format_length(mm, unit=plan.unit, fraction=plan.fraction)

    def size(both: tuple[float, float]) -> str:
        return format_size(*both, unit=plan.unit, fraction=plan.fraction)

    def sides(widths: Sides) -> str:
        return ", ".join(f"{side} {length(mm)}" for side, mm in widths)

    setting = [plan.setting]
    setting += [f"{plan.shifted} shifted"] if plan.shifted else []
    setting += [f"rows: {plan.rows}"] if plan.rows else []
    setting += [f"blocks per row: {plan.blocks_per_row}"] if plan.blocks_per_row else []
    setting += ["with alternate blocks"] if plan.alternate else []
    sashing = ""
    if plan.sashing_cut_mm is not None:
        where = {"rows": " between rows", "blocks": " between blocks", "both": " both ways"}
        sashing = length(plan.sashing_cut_mm) + where.get(plan.sashing_between or "", "")
        sashing += ", with cornerstones" if plan.cornerstones else ""
    kinds = []
    for k in plan.kinds:
        said = size(k.planned_mm) if k.planned_mm else "no planned size"
        said += f", trimmed to {size(k.chosen_mm)}" if k.chosen_mm else ""
        halves = ", sewn in halves" if k.halves else ""
        kinds.append(f"{k.name} ({said}{halves}{f', {k.motif}' if k.motif else ''})")
    borders = [sides(b) if isinstance(b, tuple) else length(b) for b in plan.borders_mm]
    body = size(plan.body_mm) if plan.body_mm else ""
    return [
        ("kinds of blocks", "; ".join([plan.kind, *kinds]) if kinds else ""),
        ("order", " / ".join(", ".join(line) for line in plan.repeat)),
        ("setting", ", ".join(setting)),
        ("sashing (cut)", sashing),
        ("frame (cut)", sides(plan.frame_mm)),
        ("clipped corners (finished)", length(plan.clipped_mm) if plan.clipped_mm else ""),
        ("borders (cut)", "; ".join(borders)),
        ("border corners", "mitred" if plan.border_corners == "mitred" else ""),
        ("measured inside the borders", body),
        ("fabric of", _pairs(plan.fabrics)),
        ("fabric width of", _pairs([(k, length(mm)) for k, mm in plan.fabric_widths_mm])),
        ("in hand", _pairs(plan.in_hand)),
        ("lengthwise", ", ".join(plan.lengthwise)),
        ("one-way print", ", ".join(plan.one_way)),
        ("squaring up and shrinkage", percent(plan.allowance) if plan.allowance != 0.1 else ""),
        ("backing width", length(plan.backing_width_mm) if plan.backing_width_mm else ""),
    ]


def _pairs(said: Sequence[tuple[str, str]]) -> str:
    return "; ".join(f"{what}: {text}" for what, text in said)
