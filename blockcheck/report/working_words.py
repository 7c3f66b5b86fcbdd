"""How a cut size comes about, in one line: ``6 1/4 in ÷ 2 + 1/4 in = 3 3/8 in``."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from ..planning.cutting import workings as w
from ..planning.cutting.pieces import YARD
from ..units import INCH, MM_PER, format_length, format_size, to_step
from .phrases import percent

_LIKE = {
    "block beside": "as long as the block beside it is high",
    "block above": "as long as the block above it is wide",
    "side": "as long as the block's side",
    "row": "as long as a row",
    "column": "as long as a column",
}


@dataclass(frozen=True)
class _Marks:
    """How finely the lengths of a working are written: on a ruler's marks, or with more digits."""

    unit: str
    digits: int  # after the point; of inches, 0 stands for 1/32 in

    @property
    def step_mm(self) -> float:
        return MM_PER[self.unit] / 10**self.digits if self.digits else INCH / 32

    def written(self, mm: float) -> float:
        """The length as it reads once it is written."""
        return to_step(mm, self.step_mm)

    def text(self, mm: float) -> str:
        rough = format_length(mm, unit=self.unit, fraction=32)
        on_mark = _MARKS[self.unit][0].written(mm)
        if abs(on_mark - self.written(mm)) < 1e-6:
            return rough
        value = self.written(mm) / MM_PER[self.unit]
        return f"{f'{value:.{self.digits}f}'.rstrip('0')} {self.unit}"

    def exact(self, *lengths_mm: float) -> bool:
        """Whether the lengths are what they read as."""
        return all(abs(self.written(mm) - mm) < 1e-3 for mm in lengths_mm)


_MARKS = {
    "in": (_Marks("in", 0), _Marks("in", 3), _Marks("in", 4)),
    "cm": (_Marks("cm", 1), _Marks("cm", 2), _Marks("cm", 3)),
}


def working(one: w.Working, unit: str) -> str:
    """Write a working in inches or centimetres, so that it comes true as it is written.

    Lengths are written to 1/32 in or 1 mm; where a sum would not come out by these, with more
    digits, and with ≈ where no digits help.
    """

    def mark(mm: float) -> str:
        return format_length(mm, unit=unit, fraction=32)

    def size(mm: float) -> str:
        """A length to go on reckoning with: one digit more, or two, where a mark is not it."""
        return next((m for m in _MARKS[unit] if m.exact(mm)), _MARKS[unit][1]).text(mm)

    def decimal(mm: float, digits: int) -> str:
        return f"{mm / MM_PER[unit]:.{digits}f} {unit}"

    def sums(
        say: Callable[[_Marks], str],
        of: Callable[..., float],
        terms: Sequence[float],
        total: float,
    ) -> str:
        """What is said of the terms, and their total: as fine as it takes to come true."""

        def true(m: _Marks) -> bool:
            off = of(*map(m.written, terms)) - m.written(total)
            return abs(off) < m.step_mm / 2 - 1e-6

        rough, *finer = _MARKS[unit]
        finer.sort(key=lambda m: not m.exact(*terms, total))
        marks = next((m for m in (rough, *finer) if true(m)), None)
        if marks is None:
            return f"{say(_MARKS[unit][-1])} ≈ {_MARKS[unit][-1].text(total)}"
        return f"{say(marks)} = {marks.text(total)}"

    def grown(mm: float, by: float) -> str:
        return sums(
            lambda m: f"{m.text(mm)} + 2 × {m.text(by)}",
            lambda a, b: a + 2 * b,
            (mm, by),
            mm + 2 * by,
        )

    match one:
        case w.Parts((_,), total):
            return mark(total)
        case w.Parts(parts, total):
            return sums(
                lambda m: _added(m.text(mm) for mm in parts), lambda *mm: sum(mm), parts, total
            )
        case w.Measured(total, worked):
            return f"{mark(total)}, measured through the middle; worked out {mark(worked)}"
        case w.Strip(wide, long, seam):
            return f"{grown(wide, seam)} wide, {grown(long, seam)} long"
        case w.LikeBlock((across, down), framed):
            what = "a framed block" if framed else "a block"
            return f"as large as {what}, {format_size(across, down, unit=unit, fraction=32)}"
        case w.ClippedBlock(rectangle, corner):
            return f"{working(rectangle, unit)}; {working(corner, unit)}"
        case w.Clip(leg, seam, exact, laid, inside):
            return (
                f"{size(leg)} + 0.586 × {size(seam)} = {decimal(exact, 3)}, lay the ruler at "
                f"{mark(laid)} on both edges and cut across the corner; the triangle's point will lie "
                f"{mark(inside)} inside the raw edge"
            )
        case w.AsLongAs(other, cut):
            return f"{_LIKE[other]}, {mark(cut)}"
        case w.WholeRow(row, seam):
            return f"row of {grown(row, seam)}"
        case w.Crossing():
            return "as wide as the sashing both ways"
        case w.HalfBlock(block, 0.0, seam, cut):
            return sums(
                lambda m: f"{m.text(block)} ÷ 2 + {m.text(seam)}",
                lambda a, b: a / 2 + b,
                (block, seam),
                cut,
            )
        case w.HalfBlock(block, sashing, seam, cut):
            return sums(
                lambda m: f"({m.text(block)} − {m.text(sashing)}) ÷ 2 + 2 × {m.text(seam)}",
                lambda a, s, b: (a - s) / 2 + 2 * b,
                (block, sashing, seam),
                cut,
            )
        case w.Butted(middle, seam):
            border = sums(
                lambda m: f"{m.text(middle)} through the middle + 2 × {m.text(seam)}",
                lambda a, b: a + 2 * b,
                (middle, seam),
                middle + 2 * seam,
            )
            return f"{border} long"
        case w.Mitred(corners, seam, cut):
            return (
                f"{size(corners)} from corner to corner + 4.83 × {size(seam)}, rounded up to "
                f"{mark(cut)} long; mitre the ends after sewing"
            )
        case w.Halved(finished, added, exact, times):
            square = sums(
                lambda m: f"{m.text(finished)} + {m.text(added)}",
                lambda a, b: a + b,
                (finished, added),
                finished + added,
            )
            return (
                f"{square} (exact {decimal(exact, 4)}), cut "
                f"{'once' if times == 1 else 'twice'} corner to corner"
            )
        case w.Setting(finished, corner, added, total, cut):
            half = " ÷ 2" if corner else ""
            return (
                f"{size(finished)} × 1.414{half} + {size(added)} = {decimal(total, 3)}, "
                f"rounded up to {mark(cut)}"
            )
        case w.Squares(square_cut, triangles, each, count):
            return f"{working(square_cut, unit)}; {triangles} triangles ÷ {each} = {many(count, 'square')}"
        case w.Joined(piece):
            return f"{working(piece, unit)}; longer than the fabric is wide: joined from strips"
        case w.Overhang(wide, high, by):
            return f"{grown(wide, by)}, {grown(high, by)}"
        case w.Panels(whole, 1, long, _, _, bought):
            return f"{working(whole, unit)}; 1 panel, {mark(long)}, buy {to_buy(bought, unit)}"
        case w.Panels(whole, count, long, seams, total, bought):
            cloth = sums(
                lambda m: f"{count} panels × {m.text(long)} ({seams} seams)",
                lambda mm: count * mm,
                (long,),
                total,
            )
            return f"{working(whole, unit)}; {cloth}, buy {to_buy(bought, unit)}"
        case w.BindingStrips(wide, high, extra, usable, strips, strip, whole_mm, bought):
            cloth = sums(
                lambda m: f"{strips} × {m.text(strip)}", lambda mm: strips * mm, (strip,), whole_mm
            )
            return (
                f"(2 × {size(wide)} + 2 × {size(high)} + {size(extra)}) ÷ {size(usable)}, rounded up "
                f"to {many(strips, 'strip')}; {cloth}, buy {to_buy(bought, unit)}"
            )
        case w.EqualGaps(wide, gaps, exact, gap, last):
            said = f"{size(wide)} ÷ {gaps} = {decimal(exact, 2)}, mark every {mark(gap)}"
            if mark(last) == mark(gap):
                return said
            over = format_length(last - gap, unit=unit, fraction=32, sign=True)
            return f"{said}; the last gap is {mark(last)} ({over})"
        case w.Bought(need, allowance, total, bought):
            more = sums(
                lambda m: f"{m.text(need)} + {percent(allowance)}",
                lambda mm: mm * (1 + allowance),
                (need,),
                total,
            )
            return f"{more}, buy {to_buy(bought, unit)}"
        case w.InHand():
            return "all of it comes from the cloth in hand"
    return ""


def _added(said: Iterable[str]) -> str:
    """Lengths added up, those alike counted: ``2 × 6 in + 1 in``."""
    counts = Counter(said)
    return " + ".join(f"{n} × {text}" if n > 1 else text for text, n in counts.items())


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
