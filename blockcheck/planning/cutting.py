"""What to cut for the rest of the quilt. Every figure shows its working in one line.

Lengths are millimetres; exact values are kept, and the working is written for people.
Trade allowances are common practice; the exact ones are geometry.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ..errors import PlanError
from ..units import INCH, MM_PER, format_length, to_step
from .layout import half_block_cut

QUARTER = INCH / 4
YARD = 36 * INCH
USABLE = 40 * INCH
# the handbooks' √2, kept so that the tables come out as printed
_ROOT2_TRADE = 1.414


@dataclass(frozen=True)
class Figure:
    """One computed length with its working."""

    name: str
    value_mm: float
    working: str


@dataclass(frozen=True)
class CutPiece:
    """A piece to cut: size, how many, and the working."""

    name: str
    width_mm: float
    height_mm: float
    count: int
    working: str


def _f(mm: float, unit: str = "in") -> str:
    return format_length(mm, unit=unit, fraction=32)


def _exact(mm: float, unit: str, digits: int) -> str:
    """An exact value as a decimal, in the person's unit."""
    return f"{mm / MM_PER[unit]:.{digits}f} {unit}"


def _positive(**lengths: float) -> None:
    for name, value in lengths.items():
        if not (math.isfinite(value) and value > 0):
            raise PlanError(f"The {name.replace('_', ' ')} must be greater than zero.", "")


def sewn_width(cuts_mm: Sequence[float], *, seam_mm: float = QUARTER, unit: str = "in") -> Figure:
    """Width of pieces sewn side by side, raw edge to raw edge: sum - 2 × seam × (pieces - 1)."""
    seams = len(cuts_mm) - 1
    value = sum(cuts_mm) - 2 * seam_mm * seams
    _positive(sewn_width=value)
    parts = " + ".join(_f(c, unit) for c in cuts_mm)
    working = f"{parts} − {seams} seams × 2 × {_f(seam_mm, unit)} = {_f(value, unit)}"
    return Figure("sewn width", value, working)


def setting_pieces(width_mm: float, height_mm: float, count: int, *, unit: str = "in") -> CutPiece:
    """Setting rectangles, cut to the blocks' common size."""
    _positive(width=width_mm, height=height_mm)
    text = f"common cut size {_f(width_mm, unit)} × {_f(height_mm, unit)}, {count} pieces"
    return CutPiece("setting rectangle", width_mm, height_mm, count, text)


def alternate(rows: int, columns: int) -> tuple[int, int]:
    """Blocks and plain pieces when places are filled in turn, beginning with a block."""
    places = rows * columns
    return (places + 1) // 2, places // 2


def half_blocks(
    width_mm: float,
    height_mm: float,
    count: int,
    *,
    across: str = "height",
    strip_cut_mm: float | None = None,
    seam_mm: float = QUARTER,
    unit: str = "in",
) -> CutPiece:
    """Half blocks; `across` is the dimension that is halved."""
    if across not in ("width", "height"):
        raise PlanError(f"A block is halved in width or height, not in {across}.", "")
    whole = width_mm if across == "width" else height_mm
    half = half_block_cut(whole, strip_cut_mm=strip_cut_mm, seam_mm=seam_mm)
    if strip_cut_mm is None:
        working = f"{_f(whole, unit)} ÷ 2 + {_f(seam_mm, unit)} = {_f(half, unit)}"
    else:
        working = (
            f"({_f(whole, unit)} − {_f(strip_cut_mm, unit)}) ÷ 2 + 2 × {_f(seam_mm, unit)}"
            f" = {_f(half, unit)}"
        )
    size = (half, height_mm) if across == "width" else (width_mm, half)
    return CutPiece("half block", *size, count, working)


def strips_between(
    length_finished_mm: float,
    strip_finished_mm: float,
    rows: int,
    *,
    seam_mm: float = QUARTER,
    unit: str = "in",
) -> CutPiece:
    """Strips between rows: one fewer than rows, as long as a row and its seam allowances."""
    _positive(row_length=length_finished_mm, strip_width=strip_finished_mm)
    wide, long = strip_finished_mm + 2 * seam_mm, length_finished_mm + 2 * seam_mm
    s = _f(seam_mm, unit)
    working = (
        f"{_f(strip_finished_mm, unit)} + 2 × {s} = {_f(wide, unit)} wide, "
        f"{_f(length_finished_mm, unit)} + 2 × {s} = {_f(long, unit)} long, {rows} rows − 1"
    )
    return CutPiece("strip between rows", wide, long, max(rows - 1, 0), working)


def frame(
    width_mm: float,
    height_mm: float,
    sides_mm: Mapping[str, float],
    *,
    name: str = "frame",
    seam_mm: float = QUARTER,
    unit: str = "in",
) -> tuple[tuple[CutPiece, ...], tuple[float, float]]:
    """Frame or border on any of the four sides; left and right are sewn on first.

    Parameters
    ----------
    width_mm, height_mm : float
        Finished size of what is framed.
    sides_mm : mapping
        Finished width for each of "top", "right", "bottom", "left" that has one.

    Returns
    -------
    pieces, (width, height)
        The pieces, and the finished size with the frame.
    """
    _positive(width=width_mm, height=height_mm)
    if unknown := set(sides_mm) - {"top", "right", "bottom", "left"}:
        raise PlanError(f"There is no side called {sorted(unknown)[0]}.", "")
    _positive(**{f"{k} side": v for k, v in sides_mm.items()})
    s, pieces, wide = _f(seam_mm, unit), [], width_mm
    for side in ("left", "right", "top", "bottom"):
        if side not in sides_mm:
            continue
        upright = side in ("left", "right")
        inner = (
            height_mm
            if upright
            else width_mm + sum(sides_mm.get(k, 0.0) for k in ("left", "right"))
        )
        strip, long = sides_mm[side] + 2 * seam_mm, inner + 2 * seam_mm
        working = (
            f"{_f(sides_mm[side], unit)} + 2 × {s} = {_f(strip, unit)} wide, "
            f"{_f(inner, unit)} + 2 × {s} = {_f(long, unit)} long"
        )
        size = (strip, long) if upright else (long, strip)
        pieces.append(CutPiece(f"{name}, {side}", *size, 1, working))
    wide += sides_mm.get("left", 0.0) + sides_mm.get("right", 0.0)
    high = height_mm + sides_mm.get("top", 0.0) + sides_mm.get("bottom", 0.0)
    return tuple(pieces), (wide, high)


def borders(
    width_mm: float,
    height_mm: float,
    finished_mm: float,
    *,
    seam_mm: float = QUARTER,
    unit: str = "in",
) -> tuple[tuple[CutPiece, ...], tuple[float, float]]:
    """One border of equal width all round."""
    sides = dict.fromkeys(("left", "right", "top", "bottom"), finished_mm)
    return frame(width_mm, height_mm, sides, name="border", seam_mm=seam_mm, unit=unit)


@dataclass(frozen=True)
class StripYield:
    """Pieces from one strip across the fabric, and what is left of it."""

    count: int
    left_mm: float
    working: str


def pieces_from_strip(
    piece_mm: float, usable_mm: float = USABLE, *, unit: str = "in"
) -> StripYield:
    """How many pieces one strip of the usable width gives."""
    _positive(piece=piece_mm, usable_width=usable_mm)
    count = math.floor(usable_mm / piece_mm + 1e-9)
    left = max(usable_mm - count * piece_mm, 0.0)
    working = f"{_f(usable_mm, unit)} ÷ {_f(piece_mm, unit)} = {count}, {_f(left, unit)} left"
    return StripYield(count, left, working)


@dataclass(frozen=True)
class Yardage:
    """Strips and cloth for one fabric; `exact_mm` before and `bought_mm` after rounding up."""

    strips: tuple[tuple[str, int, float], ...]
    exact_mm: float
    bought_mm: float
    working: str


def yardage(
    pieces: Sequence[CutPiece],
    usable_mm: float = USABLE,
    *,
    seam_mm: float = QUARTER,
    unit: str = "in",
) -> Yardage:
    """Strips across the fabric for each piece, and the length rounded up to 1/8 yd.

    Each piece is laid the way that takes less cloth. A piece longer than the usable width
    may be joined from strips end to end, one seam at each join.
    """
    strips, words, total = [], [], 0.0
    for piece in pieces:
        if piece.count < 1:
            continue
        ways = []
        for strip, along in ((piece.width_mm, piece.height_mm), (piece.height_mm, piece.width_mm)):
            _positive(strip=strip, piece=along, usable_width=usable_mm - 2 * seam_mm)
            per = math.floor(usable_mm / along + 1e-9)
            if per:
                need = math.ceil(piece.count / per)
            else:  # joined end to end
                sewn = piece.count * (along - 2 * seam_mm)
                need = math.ceil(sewn / (usable_mm - 2 * seam_mm) - 1e-9)
            ways.append((need * strip, need, strip))
        _, need, strip = min(ways)
        strips.append((piece.name, need, strip))
        words.append(f"{need} × {_f(strip, unit)}")
        total += need * strip
    bought = to_step(total, YARD / 8, "up")
    eighths = round(bought / (YARD / 8))
    working = f"{' + '.join(words) or '0'} = {_f(total, unit)}, buy {_yards(eighths)}"
    return Yardage(tuple(strips), total, bought, working)


def _yards(eighths: int) -> str:
    whole, part = divmod(eighths, 8)
    low = math.gcd(part, 8)
    words = [str(whole)] if whole or not part else []
    return " ".join(words + ([f"{part // low}/{8 // low}"] if part else [])) + " yd"


@dataclass(frozen=True)
class Square:
    """A square to cut triangles from: exact and as the trade rounds it."""

    name: str
    exact_mm: float
    trade_mm: float
    working: str


def half_square(finished_mm: float, *, seam_mm: float = QUARTER, unit: str = "in") -> Square:
    """Square for two triangles with finished legs: + (2 + √2) seams; the trade says + 7/8 in."""
    _positive(finished_leg=finished_mm)
    exact = finished_mm + (2 + math.sqrt(2)) * seam_mm
    trade = finished_mm + 3.5 * seam_mm
    working = (
        f"{_f(finished_mm, unit)} + {_f(3.5 * seam_mm, unit)} = {_f(trade, unit)} "
        f"(exact {_exact(exact, unit, 4)}), cut once corner to corner"
    )
    return Square("half-square triangles", exact, trade, working)


def quarter_square(finished_mm: float, *, seam_mm: float = QUARTER, unit: str = "in") -> Square:
    """Square for four triangles with a finished long side: + (2 + 2√2) seams; trade + 1 1/4."""
    _positive(finished_side=finished_mm)
    exact = finished_mm + (2 + 2 * math.sqrt(2)) * seam_mm
    trade = finished_mm + 5 * seam_mm
    working = (
        f"{_f(finished_mm, unit)} + {_f(5 * seam_mm, unit)} = {_f(trade, unit)} "
        f"(exact {_exact(exact, unit, 4)}), cut twice corner to corner"
    )
    return Square("quarter-square triangles", exact, trade, working)


def setting_triangles(
    finished_mm: float, *, seam_mm: float = QUARTER, unit: str = "in"
) -> tuple[Square, Square]:
    """Squares for side and corner triangles of blocks set on point, rounded up to 1/8 in.

    With 1.414 for √2, as the handbooks' table has it; the exact value is always less.
    """
    _positive(finished_block=finished_mm)
    root = math.sqrt(2)
    long, leg = finished_mm * _ROOT2_TRADE, finished_mm * _ROOT2_TRADE / 2
    side = to_step(long + 5 * seam_mm, INCH / 8, "up")
    corner = to_step(leg + 3.5 * seam_mm, INCH / 8, "up")
    return (
        Square(
            "side triangles",
            finished_mm * root + (2 + 2 * root) * seam_mm,
            side,
            f"{_f(finished_mm, unit)} × 1.414 + {_f(5 * seam_mm, unit)} = {_exact(long + 5 * seam_mm, unit, 3)}, "
            f"up to {_f(side, unit)}",
        ),
        Square(
            "corner triangles",
            finished_mm / root + (2 + root) * seam_mm,
            corner,
            f"{_f(finished_mm, unit)} × 1.414 ÷ 2 + {_f(3.5 * seam_mm, unit)} = "
            f"{_exact(leg + 3.5 * seam_mm, unit, 3)}, up to {_f(corner, unit)}",
        ),
    )


@dataclass(frozen=True)
class ClippedCorner:
    """A plain rectangle's corner, cut off so that a triangle is sewn back on.

    Attributes
    ----------
    mark_mm : float
        Where to lay the ruler: this far from the cut rectangle's corner along both raw edges.
    exact_mm : float
        The same before rounding to the ruler's mark.
    point_inside_mm : float
        How far the point then lies inside the raw edge, once the triangle is sewn on.
    square : Square
        The square that two such triangles are cut from.
    working : str
    """

    mark_mm: float
    exact_mm: float
    point_inside_mm: float
    square: Square
    working: str


def clipped_corner(
    leg_finished_mm: float,
    *,
    seam_mm: float = QUARTER,
    step_mm: float = INCH / 8,
    unit: str = "in",
) -> ClippedCorner:
    """Clip a rectangle's corner to match a block whose corner triangle has a finished leg.

    With the cut corner at the origin the sewn line is x + y = leg + 2 × seam, and the cut lies
    one seam allowance nearer the corner: it meets the raw edges at leg + (2 - √2) × seam.
    The mark is rounded down, which takes off less; the point then lies nearer the raw edge by
    as much as the rounding took.
    """
    _positive(finished_leg=leg_finished_mm)
    exact = leg_finished_mm + (2 - math.sqrt(2)) * seam_mm
    mark = to_step(exact, step_mm, "down")
    inside = mark + (math.sqrt(2) - 1) * seam_mm - leg_finished_mm
    working = (
        f"{_f(leg_finished_mm, unit)} + 0.586 × {_f(seam_mm, unit)} = {_exact(exact, unit, 3)}, "
        f"lay the ruler at {_f(mark, unit)}; the point lies {_f(inside, unit)} inside"
    )
    square = half_square(leg_finished_mm, seam_mm=seam_mm, unit=unit)
    return ClippedCorner(mark, exact, inside, square, working)


def quilt_size(
    columns_mm: Sequence[float], rows_mm: Sequence[float], *, unit: str = "in"
) -> tuple[Figure, Figure]:
    """Finished width and height: the sums of the finished columns and rows, strips with them."""
    result = []
    for name, parts in (("width", columns_mm), ("height", rows_mm)):
        _positive(**{name: sum(parts)})
        text = " + ".join(_f(p, unit) for p in parts)
        result.append(Figure(name, sum(parts), f"{text} = {_f(sum(parts), unit)}"))
    return result[0], result[1]


@dataclass(frozen=True)
class Binding:
    """Binding: length with joins and corners, strips, and cloth."""

    length_mm: float
    strips: int
    cloth_mm: float
    working: str


def binding(
    width_mm: float,
    height_mm: float,
    *,
    strip_mm: float = 2.5 * INCH,
    usable_mm: float = USABLE,
    extra_mm: float = 12 * INCH,
    unit: str = "in",
) -> Binding:
    """Binding strips: (2 × width + 2 × height + 12 in) ÷ usable width, rounded up."""
    _positive(width=width_mm, height=height_mm, strip=strip_mm, usable_width=usable_mm)
    length = 2 * width_mm + 2 * height_mm + extra_mm
    strips = math.ceil(length / usable_mm - 1e-9)
    cloth = strips * strip_mm
    working = (
        f"(2 × {_f(width_mm, unit)} + 2 × {_f(height_mm, unit)} + {_f(extra_mm, unit)}) ÷ "
        f"{_f(usable_mm, unit)} → {strips} strips × {_f(strip_mm, unit)} = {_f(cloth, unit)}"
    )
    return Binding(length, strips, cloth, working)


def batting(
    width_mm: float, height_mm: float, *, overhang_mm: float = 4 * INCH, unit: str = "in"
) -> CutPiece:
    """Batting: the quilt and an overhang on every side (4 in is common practice)."""
    _positive(width=width_mm, height=height_mm)
    w, h = width_mm + 2 * overhang_mm, height_mm + 2 * overhang_mm
    o = _f(overhang_mm, unit)
    working = (
        f"{_f(width_mm, unit)} + 2 × {o} = {_f(w, unit)}, "
        f"{_f(height_mm, unit)} + 2 × {o} = {_f(h, unit)}"
    )
    return CutPiece("batting", w, h, 1, working)


def backing(
    width_mm: float,
    height_mm: float,
    *,
    overhang_mm: float = 4 * INCH,
    usable_mm: float = USABLE,
    seam_mm: float = INCH / 2,
    unit: str = "in",
) -> tuple[CutPiece, Yardage]:
    """Backing panels of the usable width sewn side by side, whichever way takes less cloth."""
    whole = batting(width_mm, height_mm, overhang_mm=overhang_mm, unit=unit)
    if usable_mm <= 2 * seam_mm:
        raise PlanError("The usable width is not wider than its seams.", "")
    ways = []
    for wide, long, seams in (
        (whole.width_mm, whole.height_mm, "upright seams"),
        (whole.height_mm, whole.width_mm, "level seams"),
    ):
        panels = max(1, math.ceil((wide - 2 * seam_mm) / (usable_mm - 2 * seam_mm) - 1e-9))
        ways.append((panels * long, panels, long, seams))
    total, panels, long, seams = min(ways)
    bought = to_step(total, YARD / 8, "up")
    working = (
        f"{whole.working}; {panels} panels × {_f(long, unit)} ({seams}) = {_f(total, unit)}, "
        f"buy {_yards(round(bought / (YARD / 8)))}"
    )
    piece = CutPiece("backing panel", usable_mm, long, panels, working)
    return piece, Yardage((("backing", panels, long),), total, bought, working)


@dataclass(frozen=True)
class QuiltingLines:
    """A width divided by marked lines.

    Attributes
    ----------
    exact_mm, gap_mm : float
        The equal part, and the same to the nearest ruler mark.
    lines_mm : tuple of float
        Where to mark, from the first edge.
    last_gap_mm, last_off_mm : float
        The last gap, and by how much it is wider (narrower if negative) than the others.
    working : str
    """

    exact_mm: float
    gap_mm: float
    lines_mm: tuple[float, ...]
    last_gap_mm: float
    last_off_mm: float
    working: str


def quilting_lines(
    width_mm: float, parts: int, *, step_mm: float = INCH / 8, unit: str = "in"
) -> QuiltingLines:
    """Divide a measured width into equal parts, to the nearest ruler mark."""
    _positive(width=width_mm, parts=parts, step=step_mm)
    exact = width_mm / parts
    gap = to_step(exact, step_mm) if parts > 1 else exact
    last = width_mm - (parts - 1) * gap
    if gap <= 0 or last <= 0:
        raise PlanError(
            f"{_f(width_mm, unit)} cannot be divided into {parts} parts on these marks.",
            "Use fewer parts or finer marks.",
        )
    off = last - gap
    working = (
        f"{_f(width_mm, unit)} ÷ {parts} = {_exact(exact, unit, 2)}, mark every {_f(gap, unit)}; "
        f"the last gap is {_f(last, unit)} ({format_length(off, unit=unit, fraction=32, sign=True)})"
    )
    lines = tuple(k * gap for k in range(1, parts))
    return QuiltingLines(exact, gap, lines, last, off, working)
