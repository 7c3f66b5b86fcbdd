"""Cloth as it is bought and left over, and what is cut from which.

Trade sizes (fat quarters of 18 × 22 in, quarter yards) and the 10 % for squaring up and shrinkage
are common practice.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from ...errors import LengthError, PlanError
from ...units import INCH, format_length, parse_length, parse_size
from .packing import Packer, Shape, Strip
from .pieces import QUARTER, USABLE, YARD, CutPiece, require_positive, to_buy
from .workings import Bought, InHand, Joined, Working

ALLOWANCE = 0.10
FAT_QUARTER_MM = (22 * INCH, 18 * INCH)
_HINT = "Write it like 1 1/4yd, 1.2m, fat quarter, 3 fat quarters, quarter yard or 14x20in."


@dataclass(frozen=True)
class Cloth:
    """One piece of cloth in hand.

    Attributes
    ----------
    said : str
        As the person called it.
    width_mm, length_mm : float
        Usable width, and length along the selvage.
    measured : bool
        A scrap whose size was measured; of cloth named as it was bought, some is lost to squaring
        up and shrinkage.
    """

    said: str
    width_mm: float
    length_mm: float
    measured: bool = False

    def usable_mm(self, allowance: float) -> float:
        """The length that squaring up and shrinkage leave."""
        return self.length_mm / (1 if self.measured else 1 + allowance)


@dataclass(frozen=True)
class OnCloth:
    """Strips on one piece of cloth; `turned` where they run along its length."""

    cloth: Cloth
    strips: tuple[Strip, ...]
    turned: bool = False


@dataclass(frozen=True)
class ClothPlan:
    """Everything that is cut from one fabric, and whether there is enough of it.

    Attributes
    ----------
    pieces : tuple of CutPiece
        As they are cut: what is longer than the fabric is wide stands here as the strips that it
        is joined from. A `Place.shape` counts in these.
    in_hand : tuple of OnCloth
        The cloth in hand that is used, with its layout.
    bolt : OnCloth or None
        What has to be bought yet, with its layout.
    need_mm, bound_mm : float
        Length of the bolt that the layout takes, and the least that any layout could take: the
        pieces' area over the usable width, or the longest piece.
    allowance_mm : float
        Added for squaring up and shrinkage.
    bought_mm : float
        Both, rounded up as shops sell it.
    suffices : {"yes", "no", "not found"} or None
        Whether the cloth in hand is enough: "no" where it is smaller than the pieces' area, "not
        found" where only no layout was found. None where there is no cloth in hand.
    working : Bought or InHand
    """

    pieces: tuple[CutPiece, ...]
    in_hand: tuple[OnCloth, ...]
    bolt: OnCloth | None
    need_mm: float
    bound_mm: float
    allowance_mm: float
    bought_mm: float
    suffices: str | None
    working: Working


def read_cloth(text: str, *, usable_mm: float = USABLE, unit: str = "in") -> tuple[Cloth, ...]:
    """Read cloth in hand: "1 1/4yd", "3 fat quarters", "quarter yard", or a scrap's "14x20in".

    Raises
    ------
    LengthError
        If the text is none of these.
    """
    said = " ".join(text.split())
    if found := re.fullmatch(r"(?:(\d{1,2}) )?fat quarters?", said, re.IGNORECASE):
        return (Cloth("fat quarter", *FAT_QUARTER_MM),) * int(found[1] or 1)
    if found := re.fullmatch(r"(?:(\d{1,2}) )?quarter yards?", said, re.IGNORECASE):
        return (Cloth("quarter yard", usable_mm, YARD / 4),) * int(found[1] or 1)
    units = r"(.+?) ?(yd|yds|yards?|m|metres?|meters?)\.?"
    try:
        if found := re.fullmatch(units, said, re.IGNORECASE):
            each = YARD if found[2].lower().startswith("y") else 1000.0
            return (Cloth(said, usable_mm, parse_length(found[1], "mm") * each),)
        return (Cloth(said, *parse_size(said, unit), measured=True),)
    except LengthError as e:
        raise LengthError(f'"{said}" is not a piece of cloth.', _HINT) from e


def read_allowance(text: str) -> float:
    """Read the part of a cloth's length that is lost: "10%".

    Raises
    ------
    PlanError
        If the text is no percentage.
    """
    found = re.fullmatch(r"(\d+(?:\.\d+)?) ?%?", text.strip())
    if found is None or float(found[1]) >= 100:
        raise PlanError(f'"{text}" is not a percentage.', "Write it like 10%.")
    return float(found[1]) / 100


def lay_on_cloth(
    pieces: Sequence[CutPiece],
    *,
    usable_mm: float = USABLE,
    in_hand: Sequence[Cloth] = (),
    allowance: float = ALLOWANCE,
    one_way: bool = False,
    seam_mm: float = QUARTER,
    unit: str = "in",
) -> ClothPlan:
    """Lay all pieces of one fabric on the cloth in hand, the smallest first, and on the bolt.

    Parameters
    ----------
    pieces : sequence of CutPiece
    usable_mm : float
        Usable width of the bolt.
    in_hand : sequence of Cloth
    allowance : float
        Part of the length that squaring up and shrinkage may take.
    one_way : bool
        Whether the print has a direction: every piece then lies as it is drawn.

    Raises
    ------
    PlanError
        If a piece is larger than the cloth in a way that joining cannot mend.
    """
    require_positive(usable_width=usable_mm)
    if not 0 <= allowance < 1:
        raise PlanError("The allowance for squaring up and shrinkage is a percentage, like 10 %.")
    wanted = as_cut(pieces, usable_mm, seam_mm, one_way, unit)
    left = [p.count for p in wanted]
    laid = []
    for cloth in sorted(in_hand, key=lambda c: c.width_mm * c.length_mm):
        size = (cloth.width_mm, cloth.usable_mm(allowance))
        ways = [
            OnCloth(cloth, _on(wanted, left, size, one_way, turned), turned)
            for turned in (False, True)
        ]
        best = max(ways, key=lambda one: (round(_area(one.strips)), not one.turned))
        if best.strips:
            laid.append(best)
            for place in (p for s in best.strips for p in s.places):
                left[place.shape] -= 1
    bolt, need, bound = None, 0.0, 0.0
    if any(left):
        strips = _on(wanted, left, (usable_mm, math.inf), one_way)
        need = sum(s.wide_mm for s in strips)
        bolt = OnCloth(Cloth("bolt", usable_mm, need, measured=True), strips)
        waiting = [p for n, p in zip(left, wanted, strict=True) if n]
        longest = max(_least(p, usable_mm, one_way) for p in waiting)
        bound = max(_area(strips) / usable_mm, longest)
    more = need * allowance
    bought = to_buy(need + more, unit) if bolt else 0.0
    working = Bought(need, allowance, need + more, bought) if bolt else InHand()
    suffices = None
    if in_hand:
        room = sum(c.width_mm * c.usable_mm(allowance) for c in in_hand)
        area = sum(p.count * p.width_mm * p.height_mm for p in wanted)
        suffices = "yes" if bolt is None else "no" if area > room else "not found"
    return ClothPlan(wanted, tuple(laid), bolt, need, bound, more, bought, suffices, working)


def as_cut(
    pieces: Sequence[CutPiece], usable_mm: float, seam_mm: float, one_way: bool, unit: str
) -> tuple[CutPiece, ...]:
    """The pieces, those longer than the fabric is wide as the strips that they are joined from.

    Raises
    ------
    PlanError
        If a piece does not fit on the fabric however it is joined.
    """
    return tuple(q for p in pieces for q in _joined(p, usable_mm, seam_mm, one_way, unit))


def _on(
    wanted: Sequence[CutPiece],
    left: Sequence[int],
    size: tuple[float, float],
    one_way: bool,
    turned: bool = False,
) -> tuple[Strip, ...]:
    """Strips of a piece of cloth, across its width or, turned, along its length."""
    width, length = size[::-1] if turned else size
    shapes, index = [], []
    for i, p in enumerate(wanted):
        shape = _shape(replace(p, count=left[i]), one_way)
        if turned:
            shape = replace(shape, across_mm=shape.along_mm, along_mm=shape.across_mm)
        sides = [(shape.across_mm, shape.along_mm), (shape.along_mm, shape.across_mm)]
        fits = [a <= width + 1e-6 and b <= length + 1e-6 for a, b in sides[: 1 + shape.turns]]
        if left[i] and any(fits):
            shapes.append(shape)
            index.append(i)
    if not shapes:
        return ()
    packer = Packer(shapes, width)
    strips = packer.shortest()
    if sum(s.wide_mm for s in strips) > length + 1e-6:
        strips = packer.fullest(length)
    return tuple(
        replace(s, places=tuple(replace(p, shape=index[p.shape]) for p in s.places)) for s in strips
    )


def _area(strips: Sequence[Strip]) -> float:
    return sum(p.across_mm * p.along_mm for s in strips for p in s.places)


def _shape(piece: CutPiece, one_way: bool) -> Shape:
    """How a piece may lie: as drawn where the print has a direction, else along its grain."""
    size = (piece.width_mm, piece.height_mm)
    if one_way:
        return Shape(*size, piece.count, turns=False)
    if piece.lengthwise:
        return Shape(min(size), max(size), piece.count, turns=False)
    return Shape(*size, piece.count)


def _least(piece: CutPiece, usable: float, one_way: bool) -> float:
    """The shortest that a piece can lie along the cloth."""
    shape = _shape(piece, one_way)
    ways = [(shape.across_mm, shape.along_mm)]
    ways += [(shape.along_mm, shape.across_mm)] if shape.turns else []
    return min(along for across, along in ways if across <= usable + 1e-6)


def _joined(
    piece: CutPiece, usable: float, seam: float, one_way: bool, unit: str
) -> list[CutPiece]:
    """The piece, or strips across the cloth that it is joined from where it is too long.

    Each piece is joined for itself, or all as one long strip that is then cut, whichever takes
    fewer strips; every join takes a seam allowance from both ends.
    """
    if piece.count < 1:
        return []
    require_positive(piece_width=piece.width_mm, piece_height=piece.height_mm)
    shape = _shape(piece, one_way)
    high, long = sorted((shape.across_mm, shape.along_mm))
    if not shape.turns:
        high, long = shape.along_mm, shape.across_mm
    if long <= usable + 1e-6:
        return [piece]
    lost = 2 * seam
    if piece.lengthwise or (shape.turns and high > usable) or usable <= lost:
        wide = format_length(usable, unit=unit, fraction=32)
        raise PlanError(
            f"The {piece.name} does not fit on fabric {wide} wide.",
            "Choose wider fabric.",
        )
    apart = math.ceil((long - lost) / (usable - lost) - 1e-9)
    joined = math.ceil((piece.count * long - lost) / (usable - lost) - 1e-9)
    full, ends, total = piece.count * (apart - 1), piece.count, long + (apart - 1) * lost
    if joined < piece.count * apart:
        full, ends, total = joined - 1, 1, piece.count * long + (joined - 1) * lost
    rest = total - (full // ends) * usable
    working = Joined(piece.working)
    parts = [
        CutPiece(f"strip for {piece.name}", usable, high, full, working),
        CutPiece(f"last strip for {piece.name}", rest, high, ends, working),
    ]
    return [p for p in parts if p.count]
