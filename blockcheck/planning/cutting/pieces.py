"""What to cut for the rest of the quilt, and from how much cloth.

Every figure shows its working in one line. Lengths are millimetres; exact values are kept, and
the working is written for people.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ...errors import PlanError
from ...units import INCH, MM_PER, format_length, to_step
from ..rows.seam_matches import half_block_cut

QUARTER = INCH / 4
YARD = 36 * INCH
USABLE = 40 * INCH


@dataclass(frozen=True)
class Figure:
    """One computed length with its working."""

    name: str
    value_mm: float
    working: str


@dataclass(frozen=True)
class CutPiece:
    """A piece to cut: size, how many, the working; `lengthwise` to lie along the selvage."""

    name: str
    width_mm: float
    height_mm: float
    count: int
    working: str
    lengthwise: bool = False


def written(mm: float, unit: str = "in", rounding: str = "nearest") -> str:
    """Write a length for a working: to 1/32 in, or to 1 mm."""
    return format_length(mm, unit=unit, fraction=32, rounding=rounding)


def decimal(mm: float, unit: str, digits: int) -> str:
    """Write an exact value as a decimal in the person's unit."""
    return f"{mm / MM_PER[unit]:.{digits}f} {unit}"


def grown(width_mm: float, height_mm: float, by_mm: float, unit: str, words: Sequence[str]) -> str:
    """Write the working of a size grown by as much on both sides."""
    by = written(by_mm, unit)
    return ", ".join(
        f"{written(mm, unit)} + 2 × {by} = {written(mm + 2 * by_mm, unit)}{word}"
        for mm, word in zip((width_mm, height_mm), words, strict=True)
    )


def require_positive(**lengths: float) -> None:
    """Refuse lengths that are not greater than zero; the argument's name is the word for it."""
    for name, value in lengths.items():
        if not (math.isfinite(value) and value > 0):
            raise PlanError(f"The {name.replace('_', ' ')} must be greater than zero.", "")


def sewn_width(cuts_mm: Sequence[float], *, seam_mm: float = QUARTER, unit: str = "in") -> Figure:
    """Width of pieces sewn side by side, raw edge to raw edge: sum - 2 × seam × (pieces - 1)."""
    seams = len(cuts_mm) - 1
    value = sum(cuts_mm) - 2 * seam_mm * seams
    require_positive(sewn_width=value)
    parts = " + ".join(written(c, unit) for c in cuts_mm)
    working = f"{parts} − {seams} seams × 2 × {written(seam_mm, unit)} = {written(value, unit)}"
    return Figure("sewn width", value, working)


def alternate_blocks(
    width_mm: float, height_mm: float, count: int, *, unit: str = "in"
) -> CutPiece:
    """Alternate blocks, cut to the blocks' common size."""
    require_positive(width=width_mm, height=height_mm)
    text = f"the size the blocks are trimmed to, {written(width_mm, unit)} × {written(height_mm, unit)}, {count} of them"
    return CutPiece("alternate block", width_mm, height_mm, count, text)


def alternate(rows: int, columns: int) -> tuple[int, int]:
    """Pieced and alternate blocks when places are filled in turn, beginning with a block."""
    places = rows * columns
    return (places + 1) // 2, places // 2


def half_blocks(
    width_mm: float,
    height_mm: float,
    count: int,
    *,
    across: str = "height",
    sashing_cut_mm: float | None = None,
    seam_mm: float = QUARTER,
    unit: str = "in",
) -> CutPiece:
    """Half blocks; `across` is the dimension that is halved."""
    if across not in ("width", "height"):
        raise PlanError(f"A block is halved in width or height, not in {across}.", "")
    whole = width_mm if across == "width" else height_mm
    half = half_block_cut(whole, sashing_cut_mm=sashing_cut_mm, seam_mm=seam_mm)
    if sashing_cut_mm is None:
        working = f"{written(whole, unit)} ÷ 2 + {written(seam_mm, unit)} = {written(half, unit)}"
    else:
        working = (
            f"({written(whole, unit)} − {written(sashing_cut_mm, unit)}) ÷ 2 + 2 × {written(seam_mm, unit)}"
            f" = {written(half, unit)}"
        )
    size = (half, height_mm) if across == "width" else (width_mm, half)
    return CutPiece("half block", *size, count, working)


def sashing_between_rows(
    length_finished_mm: float,
    sashing_finished_mm: float,
    rows: int,
    *,
    seam_mm: float = QUARTER,
    unit: str = "in",
) -> CutPiece:
    """Sashing between rows: one fewer than rows, as long as a row and its seam allowances."""
    require_positive(row_length=length_finished_mm, sashing_width=sashing_finished_mm)
    working = grown(sashing_finished_mm, length_finished_mm, seam_mm, unit, (" wide", " long"))
    return CutPiece(
        "sashing between rows",
        sashing_finished_mm + 2 * seam_mm,
        length_finished_mm + 2 * seam_mm,
        max(rows - 1, 0),
        f"{working}, {rows} rows − 1",
    )


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
    require_positive(width=width_mm, height=height_mm)
    if unknown := set(sides_mm) - {"top", "right", "bottom", "left"}:
        raise PlanError(f"There is no side called {sorted(unknown)[0]}.", "")
    require_positive(**{f"{k} side": v for k, v in sides_mm.items()})
    wide = width_mm + sides_mm.get("left", 0.0) + sides_mm.get("right", 0.0)
    high = height_mm + sides_mm.get("top", 0.0) + sides_mm.get("bottom", 0.0)
    pieces = []
    for side in ("left", "right", "top", "bottom"):
        if side not in sides_mm:
            continue
        upright = side in ("left", "right")
        inner = height_mm if upright else wide
        strip, long = sides_mm[side] + 2 * seam_mm, inner + 2 * seam_mm
        working = grown(sides_mm[side], inner, seam_mm, unit, (" wide", " long"))
        size = (strip, long) if upright else (long, strip)
        pieces.append(CutPiece(f"{name}, {side}", *size, 1, working))
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
    require_positive(piece=piece_mm, usable_width=usable_mm)
    count = math.floor(usable_mm / piece_mm + 1e-9)
    left = max(usable_mm - count * piece_mm, 0.0)
    rest = written(left, unit, "down")
    working = f"{written(usable_mm, unit)} ÷ {written(piece_mm, unit)} = {count}, {rest} left"
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
    """Strips across one fabric for each piece, and the length rounded up to 1/8 yd (10 cm).

    Each piece is laid the way that takes less cloth. A piece longer than the usable width is
    joined from strips end to end, one seam at each join: each piece for itself, or all as one
    long strip that is then cut, whichever takes fewer.
    """
    strips, words, total = [], [], 0.0
    for piece in pieces:
        if piece.count < 1:
            continue
        ways = []
        for strip, along in ((piece.width_mm, piece.height_mm), (piece.height_mm, piece.width_mm)):
            require_positive(strip=strip, piece=along, usable_width=usable_mm - 2 * seam_mm)
            per = math.floor(usable_mm / along + 1e-9)
            if per:
                need = math.ceil(piece.count / per)
            else:  # joined end to end
                each, lost = usable_mm - 2 * seam_mm, 2 * seam_mm
                apart = piece.count * math.ceil((along - lost) / each - 1e-9)
                need = min(apart, math.ceil((piece.count * along - lost) / each - 1e-9))
            ways.append((need * strip, need, strip))
        _, need, strip = min(ways)
        strips.append((piece.name, need, strip))
        words.append(f"{need} × {written(strip, unit)}")
        total += need * strip
    bought, buy = to_buy(total, unit)
    working = f"{' + '.join(words) or '0'} = {written(total, unit)}, buy {buy}"
    return Yardage(tuple(strips), total, bought, working)


def to_buy(mm: float, unit: str = "in") -> tuple[float, str]:
    """Cloth as shops sell it: up to 1/8 yd, or to 10 cm for who works in centimetres."""
    if unit == "cm":
        bought = to_step(mm, 100.0, "up")
        return bought, f"{bought / 1000:.1f} m"
    bought = to_step(mm, YARD / 8, "up")
    whole, part = divmod(round(bought / (YARD / 8)), 8)
    low = math.gcd(part, 8)
    words = [str(whole)] if whole or not part else []
    return bought, " ".join(words + ([f"{part // low}/{8 // low}"] if part else [])) + " yd"
