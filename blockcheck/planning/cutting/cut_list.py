"""What is cut for the rest of the quilt, cloth by cloth, and what closes the quilt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ...units import INCH, format_length
from ..plan import Plan
from ..rows.laying import ALTERNATE, HALF, SASHING, Rows
from . import finishing, pieces
from .finishing import Binding, QuiltingLines
from .pieces import CutPiece, Figure, StripYield, Yardage

LINES_APART_MM = 2 * INCH  # marked quilting lines at most this far apart: common practice


@dataclass(frozen=True)
class Cut:
    """One kind of piece, the strips it is cut from, and what one strip gives.

    `per_strip` is None where a piece is longer than the fabric is wide and is joined.
    """

    piece: CutPiece
    strips: int
    strip_mm: float
    per_strip: StripYield | None


@dataclass(frozen=True)
class Fabric:
    """All that is cut from one fabric."""

    name: str
    cuts: tuple[Cut, ...]
    yardage: Yardage


@dataclass(frozen=True)
class Finish:
    """The finished quilt and what closes it.

    Attributes
    ----------
    body : (Figure, Figure)
        Width and height inside the borders.
    width_mm, height_mm : float
        With the borders.
    batting, backing, backing_cloth, binding
    lines : QuiltingLines
        Across a finished block or setting piece.
    """

    body: tuple[Figure, Figure]
    width_mm: float
    height_mm: float
    batting: CutPiece
    backing: CutPiece
    backing_cloth: Yardage
    binding: Binding
    lines: QuiltingLines


def cut_list(
    plan: Plan, rows: Rows, size_mm: tuple[float, float]
) -> tuple[CutPiece | None, tuple[Fabric, ...], Finish]:
    """Work out the half block, every fabric's pieces, and the finished quilt.

    Raises
    ------
    PlanError
        If sashing, a border or a piece comes out at nothing.
    """
    seam, unit, sashing = plan.seam_mm, plan.unit, plan.sashing_cut_mm
    upright = rows.along == "height"
    per = sum(p.name != SASHING for p in rows.pieces[0])
    high, wide = (per, len(rows.pieces)) if upright else (len(rows.pieces), per)
    inner_w, inner_h = size_mm[0] - 2 * seam, size_mm[1] - 2 * seam
    plain, between = [], []
    half = None
    if count := rows.count(ALTERNATE):
        plain.append(pieces.alternate_blocks(*size_mm, count, unit=unit))
    if count := rows.count(HALF):
        half = pieces.half_blocks(
            *size_mm,
            count,
            across=rows.along,
            sashing_cut_mm=sashing,
            seam_mm=seam,
            unit=unit,
        )
        plain.append(half)
    across, down = [inner_w] * wide, [inner_h] * high
    if sashing is not None:
        sewn = sashing - 2 * seam
        if rows.along == "width" and plan.setting == "offset":
            across = [mm for w in across for mm in (sewn, w)][1:]
        else:
            down = [mm for h in down for mm in (sewn, h)][1:]
        if plan.setting == "offset":
            long, way = (size_mm[0], "wide") if upright else (size_mm[1], "high")
            words = f"as long as a block is {way}, {format_length(long, unit=unit, fraction=32)}"
            cut = (long, sashing) if upright else (sashing, long)
            count = rows.count(SASHING)
            between.append(CutPiece("sashing between blocks", *cut, count, words))
        elif high > 1:
            between.append(
                pieces.sashing_between_rows(
                    wide * inner_w, sashing - 2 * seam, high, seam_mm=seam, unit=unit
                )
            )
    body = finishing.quilt_size(across, down, unit=unit)
    whole = (body[0].value_mm, body[1].value_mm)
    groups = [("alternate blocks and half blocks", plain), ("sashing", between)]
    for i, border in enumerate(plan.borders_mm, start=1):
        name = f"border {i}" if len(plan.borders_mm) > 1 else "border"
        sides, whole = pieces.borders(*whole, border - 2 * seam, seam_mm=seam, unit=unit)
        upright_pair = replace(sides[0], name=f"{name}, left and right", count=2)
        level_pair = replace(sides[2], name=f"{name}, top and bottom", count=2)
        groups.append((name, [upright_pair, level_pair]))
    usable = plan.fabric_width_mm
    panels, cloth = finishing.backing(*whole, usable_mm=usable, unit=unit)
    parts = max(2, math.ceil(inner_w / LINES_APART_MM - 1e-9))
    finish = Finish(
        body,
        *whole,
        finishing.batting(*whole, unit=unit),
        panels,
        cloth,
        finishing.binding(*whole, usable_mm=usable, unit=unit),
        finishing.quilting_lines(inner_w, parts, step_mm=plan.step_mm, unit=unit),
    )
    return half, tuple(_fabric(plan, name, some) for name, some in groups if some), finish


def _fabric(plan: Plan, name: str, wanted: Sequence[CutPiece]) -> Fabric:
    usable = plan.fabric_width_mm
    cloth = pieces.yardage(wanted, usable, seam_mm=plan.seam_mm, unit=plan.unit)
    cuts = []
    for piece, (_, strips, strip) in zip(wanted, cloth.strips, strict=True):
        long = piece.height_mm if strip == piece.width_mm else piece.width_mm
        one = pieces.pieces_from_strip(long, usable, unit=plan.unit) if long <= usable else None
        cuts.append(Cut(piece, strips, strip, one))
    return Fabric(name, tuple(cuts), cloth)
