"""Borders: butted or mitred, cut to the measured middle."""

from __future__ import annotations

import math

from ...units import to_step
from ..cutting.pieces import ruler_line
from ..cutting.triangles import quarter_square
from ..cutting.workings import Butted, Mitred
from .design import SIDES, Border
from .patch import Patch, Point, Seam, Unit, rectangle, sewn


def bordered(body: Unit, border: Border, name: str, *, seam_mm: float, unit: str = "in") -> Unit:
    """The body with a border sewn round it.

    A butted border's left and right pieces are as long as the body is high, the others as long as
    the body and those two are wide. A mitred border's pieces reach from outer corner to outer
    corner; cut at 45 degrees, a piece's raw point lies (1 + √2) seam allowances beyond its sewn
    one, so each is cut (2 + 2√2) seam allowances longer.
    """
    if border.corners == "mitred":
        return _mitred(body, border, name, seam_mm, unit)
    whole = body
    for side in (s for s in ("left", "right", "top", "bottom") if s in border.sides_mm):
        wide, upright = border.sides_mm[side], side in ("left", "right")
        long = whole.height_mm if upright else whole.width_mm
        working = Butted(long, seam_mm)
        size = (wide, long) if upright else (long, wide)
        piece = rectangle(f"{name}, {side}", name, *size, seam_mm=seam_mm, working=working)
        pair = [piece, whole] if side in ("left", "top") else [whole, piece]
        whole = sewn(pair, "beside" if upright else "below")
    return whole


def _mitred(body: Unit, border: Border, name: str, seam: float, unit: str) -> Unit:
    b = border.sides_mm["top"]
    w, h = body.width_mm, body.height_mm
    inner: tuple[Point, ...] = ((b, b), (b + w, b), (b + w, b + h), (b, b + h))
    outer: tuple[Point, ...] = (
        (0.0, 0.0), (w + 2 * b, 0.0), (w + 2 * b, h + 2 * b), (0.0, h + 2 * b),
    )  # fmt: skip
    whole = body.moved(b, b)
    n = len(whole.patches)
    pieces, seams = list(whole.patches), list(whole.seams)
    for i, side in enumerate(SIDES):
        j = (i + 1) % 4
        long = math.dist(outer[i], outer[j])
        cut = to_step(quarter_square(long, seam_mm=seam).exact_mm, ruler_line(unit), "up")
        working = Mitred(long, seam, cut)
        strip = b + 2 * seam
        size = (cut, strip) if side in ("top", "bottom") else (strip, cut)
        outline = (outer[i], outer[j], inner[j], inner[i])
        pieces.append(Patch(f"{name}, {side}", name, outline, size, 1, working))
        seams.append(Seam(inner[i], inner[j], (0, n), (n + i, n + i + 1)))
    for i in range(4):  # at the piece's first corner it meets the piece before it
        before = n + (i - 1) % 4
        seams.append(Seam(inner[i], outer[i], (before, before + 1), (n + i, n + i + 1)))
    return Unit(tuple(pieces), tuple(seams), w + 2 * b, h + 2 * b)
