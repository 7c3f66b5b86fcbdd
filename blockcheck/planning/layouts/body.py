"""Straight and offset settings: the blocks in rows, with sashing and half blocks."""

from __future__ import annotations

from collections.abc import Sequence

from ...errors import PlanError
from ..cutting.triangles import clipped_corner
from ..cutting.workings import (
    AsLongAs,
    ClippedBlock,
    Crossing,
    HalfBlock,
    LikeBlock,
    Strip,
    WholeRow,
    Working,
)
from .design import ALTERNATE, HALF, Design
from .patch import Patch, Point, Unit, rectangle, sewn

SASHING, CORNERSTONE = "sashing", "cornerstone"
_SAME_MM = 0.05  # sizes that differ by less are one size


def block(design: Design, kind: str, width_mm: float, height_mm: float) -> Unit:
    """A sewn block in its frame, or a plain one that fills the place."""
    if kind == ALTERNATE:
        return _plain(design, width_mm, height_mm)
    seam = design.seam_mm
    w, h = design.blocks_mm[kind]
    whole = rectangle(kind, "", w, h, seam_mm=seam)
    if kind in design.halves:
        half = rectangle(f"half of {kind}", "", w / 2, h, seam_mm=seam)
        whole = sewn([half, half], "beside")
    for side in (s for s in ("left", "right", "top", "bottom") if s in design.frame_mm):
        wide = design.frame_mm[side]
        upright = side in ("left", "right")
        long = whole.height_mm if upright else whole.width_mm
        size = (wide, long) if upright else (long, wide)
        working = Strip(wide, long, seam)
        strip = rectangle(f"frame, {side}", "frame", *size, seam_mm=seam, working=working)
        pair = [strip, whole] if side in ("left", "top") else [whole, strip]
        whole = sewn(pair, "beside" if upright else "below")
    return whole


def _plain(design: Design, w: float, h: float) -> Unit:
    """An alternate block; its corners clipped and triangles sewn back on where the design says."""
    seam, leg = design.seam_mm, design.clipped_mm
    size = (w + 2 * seam, h + 2 * seam)
    working = LikeBlock(size, bool(design.frame_mm))
    if not leg:
        return rectangle(ALTERNATE, "alternate blocks", w, h, seam_mm=seam, working=working)
    if 2 * leg >= min(w, h):
        raise PlanError(
            f"Triangles of {design.said(leg)} leave nothing of the alternate block's side.",
            "Choose smaller ones.",
        )
    clip = clipped_corner(leg, seam_mm=seam, unit=design.unit)
    outline = (
        (leg, 0.0), (w - leg, 0.0), (w, leg), (w, h - leg),
        (w - leg, h), (leg, h), (0.0, h - leg), (0.0, leg),
    )  # fmt: skip
    clipped = ClippedBlock(working, clip.working)
    middle = Patch("clipped alternate block", "alternate blocks", outline, size, 1, clipped)
    whole = Unit((middle,), (), w, h)
    corners: tuple[tuple[Point, Point, Point], ...] = (
        ((0.0, 0.0), (leg, 0.0), (0.0, leg)),
        ((w, 0.0), (w, leg), (w - leg, 0.0)),
        ((w, h), (w - leg, h), (w, h - leg)),
        ((0.0, h), (0.0, h - leg), (leg, h)),
    )
    square = clip.square
    for outer, a, b in corners:
        triangle = Patch(
            "clipped corner triangle",
            "clipped corners",
            (outer, a, b),
            (square.trade_mm, square.trade_mm),
            2,
            square.working,
        )
        whole = whole.sewn_to(Unit((triangle,)), a, b)
    return whole


def rows(design: Design) -> Unit:
    """The body of a straight or an offset setting."""
    if design.setting == "offset":
        return _offset(design)
    return _straight(design)


def _straight(d: Design) -> Unit:
    """Rows of blocks with sashing between blocks, between rows, or both."""
    places = [[d.kind_at(r, c) for c in range(d.blocks_per_row)] for r in range(d.rows)]
    widths = [_common(d, column, 0) for column in zip(*places, strict=True)]
    heights = [_common(d, row, 1) for row in places]
    seam = d.seam_mm
    parts: list[Unit] = []
    for kinds, high in zip(places, heights, strict=True):
        if parts and d.between_rows_mm:
            parts.append(_between_rows(d, widths))
        row: list[Unit] = []
        for kind, wide in zip(kinds, widths, strict=True):
            if row and d.between_blocks_mm:
                working = AsLongAs("block beside", high + 2 * seam)
                size = (d.between_blocks_mm, high)
                row.append(rectangle(SASHING, SASHING, *size, seam_mm=seam, working=working))
            row.append(block(d, kind, wide, high))
        parts.append(sewn(row, "beside"))
    return sewn(parts, "below")


def _between_rows(d: Design, widths: Sequence[float]) -> Unit:
    """Sashing below a row: one strip, or as long as the blocks with cornerstones between."""
    seam, high = d.seam_mm, d.between_rows_mm
    if not d.cornerstones:
        gaps = d.between_blocks_mm * (len(widths) - 1)
        long = sum(widths) + gaps
        return rectangle(SASHING, SASHING, long, high, seam_mm=seam, working=WholeRow(long, seam))
    parts: list[Unit] = []
    for wide in widths:
        if parts:
            size = (d.between_blocks_mm, high)
            parts.append(
                rectangle(CORNERSTONE, "cornerstones", *size, seam_mm=seam, working=Crossing())
            )
        working = AsLongAs("block above", wide + 2 * seam)
        parts.append(rectangle(SASHING, SASHING, wide, high, seam_mm=seam, working=working))
    return sewn(parts, "beside")


def _common(d: Design, kinds: Sequence[str], side: int) -> float:
    """The width that the blocks of a column share, or the height of a row."""
    sizes = {k: d.framed(k)[side] for k in dict.fromkeys(kinds) if k != ALTERNATE}
    sizes = sizes or {k: d.framed(k)[side] for k in d.blocks_mm}
    low, high = min(sizes, key=sizes.__getitem__), max(sizes, key=sizes.__getitem__)
    if sizes[high] - sizes[low] > _SAME_MM:
        line, way = (("column", "width"), ("row", "height"))[side]
        raise PlanError(
            f"{low} and {high} share a {line} but differ in {way}: "
            f"{d.said(sizes[low])} and {d.said(sizes[high])} finished.",
            f"Trim them to one size, frame the smaller one, or give each a {line} of its own.",
        )
    return sizes[low]


def _offset(d: Design) -> Unit:
    """Rows, or columns, of which every second one is shifted by half a block."""
    across = d.shifted == "columns"
    sizes = [d.framed(k) for k in dict.fromkeys(d.repeat[0]) if k != ALTERNATE]
    sizes = sizes or [d.framed(k) for k in d.blocks_mm]
    if any(abs(a - b) > _SAME_MM for s in sizes for a, b in zip(s, sizes[0], strict=True)):
        raise PlanError(
            "In an offset setting all kinds of blocks must have one size.",
            "Trim them to one size, or frame the smaller ones.",
        )
    w, h = sizes[0]
    inside, apart = d.between_blocks_mm, d.between_rows_mm  # along a row, and between rows
    lines, per = d.rows, d.blocks_per_row
    if across:
        inside, apart, lines, per = apart, inside, per, lines
    along, over = (h, w) if across else (w, h)
    half = (along - inside) / 2
    if half <= 0:
        raise PlanError("The sashing leaves nothing of the half block.", "Choose narrower sashing.")
    parts: list[Unit] = []
    turn, length = 0, per * along + (per - 1) * inside
    for line in range(lines):
        if parts and apart:
            working = AsLongAs("column" if across else "row", length + 2 * d.seam_mm)
            parts.append(_piece(d, SASHING, SASHING, length, apart, working))
        odd = line % 2 == 1
        row: list[Unit] = []
        for _ in range(per - odd):
            row.append(block(d, d.repeat[0][turn % len(d.repeat[0])], w, h))
            turn += 1
        if odd:
            row = [_half(d, half, over), *row, _half(d, half, over)]
        if inside:
            working = AsLongAs("side", over + 2 * d.seam_mm)
            strip = _piece(d, SASHING, SASHING, inside, over, working)
            row = [u for unit in row for u in (strip, unit)][1:]
        parts.append(sewn(row, "below" if across else "beside"))
    return sewn(parts, "beside" if across else "below")


def _half(d: Design, along: float, over: float) -> Unit:
    seam, strip = d.seam_mm, d.between_rows_mm if d.shifted == "columns" else d.between_blocks_mm
    whole, sashing = 2 * along + strip + 2 * seam, strip + 2 * seam if strip else 0.0
    working = HalfBlock(whole, sashing, seam, along + 2 * seam)
    return _piece(d, HALF, "half blocks", along, over, working)


def _piece(d: Design, name: str, fabric: str, along: float, over: float, working: Working) -> Unit:
    size = (over, along) if d.shifted == "columns" else (along, over)
    return rectangle(name, fabric, *size, seam_mm=d.seam_mm, working=working)
