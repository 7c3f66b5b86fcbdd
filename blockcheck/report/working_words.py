"""How a cut size comes about, in one line: ``6 1/4 in ÷ 2 + 1/4 in = 3 3/8 in``."""

from __future__ import annotations

import math
from collections import Counter

from ..planning.cutting import workings as w
from ..planning.cutting.pieces import YARD
from ..units import MM_PER, format_length, format_size
from .phrases import percent

_LIKE = {
    "block beside": "as long as the block beside it is high",
    "block above": "as long as the block above it is wide",
    "side": "as long as the block's side",
    "row": "as long as a row",
    "column": "as long as a column",
}


def working(one: w.Working, unit: str) -> str:
    """Write a working in inches or centimetres, to 1/32 in or 1 mm."""

    def size(mm: float) -> str:
        return format_length(mm, unit=unit, fraction=32)

    def decimal(mm: float, digits: int) -> str:
        return f"{mm / MM_PER[unit]:.{digits}f} {unit}"

    def grown(mm: float, by: float) -> str:
        return f"{size(mm)} + 2 × {size(by)} = {size(mm + 2 * by)}"

    match one:
        case w.Parts((_,), total):
            return size(total)
        case w.Parts(parts, total):
            counts = Counter(size(mm) for mm in parts)
            added = " + ".join(f"{n} × {said}" if n > 1 else said for said, n in counts.items())
            return f"{added} = {size(total)}"
        case w.Measured():
            return "measured through the middle"
        case w.Strip(wide, long, seam):
            return f"{grown(wide, seam)} wide, {grown(long, seam)} long"
        case w.LikeBlock((across, down), framed):
            what = "a framed block" if framed else "a block"
            return f"as large as {what}, {format_size(across, down, unit=unit, fraction=32)}"
        case w.ClippedBlock(block, corner):
            return f"{working(block, unit)}; {working(corner, unit)}"
        case w.Clip(leg, seam, exact, mark, inside):
            return (
                f"{size(leg)} + 0.586 × {size(seam)} = {decimal(exact, 3)}, lay the ruler at "
                f"{size(mark)}; the point lies {size(inside)} inside"
            )
        case w.AsLongAs(other, cut):
            return f"{_LIKE[other]}, {size(cut)}"
        case w.WholeRow(row, seam):
            return f"row of {grown(row, seam)}"
        case w.Crossing():
            return "as wide as the sashing both ways"
        case w.HalfBlock(block, 0.0, seam, cut):
            return f"{size(block)} ÷ 2 + {size(seam)} = {size(cut)}"
        case w.HalfBlock(block, sashing, seam, cut):
            return f"({size(block)} − {size(sashing)}) ÷ 2 + 2 × {size(seam)} = {size(cut)}"
        case w.Butted(middle, seam):
            long = middle + 2 * seam
            return f"{size(middle)} through the middle + 2 × {size(seam)} = {size(long)} long"
        case w.Mitred(corners, seam, cut):
            return (
                f"{size(corners)} from corner to corner + 4.83 × {size(seam)}, rounded up to "
                f"{size(cut)} long; mitre the ends after sewing"
            )
        case w.Halved(finished, added, exact, times):
            return (
                f"{size(finished)} + {size(added)} = {size(finished + added)} (exact "
                f"{decimal(exact, 4)}), cut {'once' if times == 1 else 'twice'} corner to corner"
            )
        case w.Setting(finished, corner, added, total, cut):
            half = " ÷ 2" if corner else ""
            return (
                f"{size(finished)} × 1.414{half} + {size(added)} = {decimal(total, 3)}, "
                f"rounded up to {size(cut)}"
            )
        case w.Squares(square, triangles, each, count):
            return (
                f"{working(square, unit)}; {triangles} triangles ÷ {each} = {many(count, 'square')}"
            )
        case w.Joined(piece):
            return f"{working(piece, unit)}; longer than the fabric is wide: joined from strips"
        case w.Overhang(wide, high, by):
            return f"{grown(wide, by)}, {grown(high, by)}"
        case w.Panels(whole, 1, long, _, _, bought):
            return f"{working(whole, unit)}; 1 panel, {size(long)}, buy {to_buy(bought, unit)}"
        case w.Panels(whole, count, long, seams, total, bought):
            return (
                f"{working(whole, unit)}; {count} panels × {size(long)} ({seams} seams) = "
                f"{size(total)}, buy {to_buy(bought, unit)}"
            )
        case w.BindingStrips(wide, high, extra, usable, strips, strip, cloth, bought):
            return (
                f"(2 × {size(wide)} + 2 × {size(high)} + {size(extra)}) ÷ {size(usable)}, rounded up "
                f"to {many(strips, 'strip')}; {strips} × {size(strip)} = {size(cloth)}, buy "
                f"{to_buy(bought, unit)}"
            )
        case w.EqualGaps(wide, parts, exact, gap, last):
            said = f"{size(wide)} ÷ {parts} = {decimal(exact, 2)}, mark every {size(gap)}"
            if size(last) == size(gap):
                return said
            over = format_length(last - gap, unit=unit, fraction=32, sign=True)
            return f"{said}; the last gap is {size(last)} ({over})"
        case w.Bought(need, allowance, total, bought):
            return (
                f"{size(need)} + {percent(allowance)} = {size(total)}, buy {to_buy(bought, unit)}"
            )
        case w.InHand():
            return "all of it comes from the cloth in hand"
    return ""


def many(count: int, what: str) -> str:
    """Write how many of a thing there are."""
    return f"{count} {what}{'' if count == 1 else 's'}"


def to_buy(bought_mm: float, unit: str) -> str:
    """Write cloth as shops sell it: ``1 3/8 yd``, or ``1.3 m`` for who works in centimetres."""
    if unit == "cm":
        return f"{bought_mm / 1000:.1f} m"
    whole, part = divmod(round(bought_mm / (YARD / 8)), 8)
    low = math.gcd(part, 8)
    words = [str(whole)] if whole or not part else []
    return " ".join(words + ([f"{part // low}/{8 // low}"] if part else [])) + " yd"
