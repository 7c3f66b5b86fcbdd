"""Lengths in and out: the only module that reads and writes lengths for people.

Inside the program every length is a float in millimetres. The inch is exactly 25.4 mm
(agreement of 1959, NBS Circular 572 addendum).
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

from .errors import LengthError

MM_PER = {"mm": 1.0, "cm": 10.0, "in": 25.4}
INCH = MM_PER["in"]
FRACTIONS = (8, 16, 32)

_UNIT = re.compile(r'\s*(mm|cm|inches|inch|in|"|″|”)\.?\s*$', re.IGNORECASE)
_NUMBER = re.compile(
    r"(?:(?P<whole>\d+)[\s-]+)?(?P<num>\d+)\s*/\s*(?P<den>\d+)|(?P<dec>\d+\.?\d*|\.\d+)"
)
_VULGAR = {
    "¼": " 1/4",
    "½": " 1/2",
    "¾": " 3/4",
    "⅛": " 1/8",
    "⅜": " 3/8",
    "⅝": " 5/8",
    "⅞": " 7/8",
}
_HINT = 'Write it like 6 1/2in, 6-1/2", 6.5in, 165mm or 16.5cm.'


def parse_length(text: str | float, unit: str = "in") -> float:
    """Read a length.

    Parameters
    ----------
    text : str or float
        ``"6 1/2in"``, ``'6-1/2"'``, ``"16.5cm"``, ``"6.5"``; a number is millimetres.
    unit : {"in", "cm", "mm"}
        The unit of a text that names none.

    Returns
    -------
    float
        Millimetres, greater than zero.

    Raises
    ------
    LengthError
        If the text is not a length greater than zero.
    """
    if isinstance(text, int | float):
        value = float(text)
    else:
        body, unit = _split_unit(text, unit)
        value = _number(body, text) * MM_PER[unit]
    if not (math.isfinite(value) and value > 0):
        raise LengthError(f'"{text}" is not a length greater than zero.', _HINT)
    return value


def parse_size(text: str | tuple[float, float], unit: str = "in") -> tuple[float, float]:
    """Read a width and a height such as ``"6x9"``, ``"6 1/2 x 9in"`` or ``"16.5x20cm"``.

    A unit after the second number counts for the first too where that names none.

    Returns
    -------
    tuple of float
        Width and height in millimetres.
    """
    if not isinstance(text, str):
        return parse_length(text[0]), parse_length(text[1])
    parts = re.split(r"\s*[x×X*]\s*|\s+by\s+", text.strip())
    if len(parts) != 2 or not all(re.search(r"[\d¼½¾⅛⅜⅝⅞]", part) for part in parts):
        raise LengthError(f'"{text}" is not a size.', "Write width x height, like 6x9 or 15x23cm.")
    _, last = _split_unit(parts[1], unit)
    return parse_length(parts[0], last), parse_length(parts[1], last)


def _split_unit(text: str, default: str) -> tuple[str, str]:
    found = _UNIT.search(text)
    if not found:
        return text, default
    name = found.group(1).lower()
    return text[: found.start()], name if name in ("mm", "cm") else "in"


def _number(body: str, text: str) -> float:
    for mark, plain in _VULGAR.items():
        body = body.replace(mark, plain)
    found = _NUMBER.fullmatch(body.strip())
    if not found:
        raise LengthError(f'"{text}" is not a length.', _HINT)
    if found["dec"]:
        return float(found["dec"])
    if int(found["den"]) == 0:
        raise LengthError(f'"{text}" is not a length: a fraction cannot have 0 below.', _HINT)
    return int(found["whole"] or 0) + int(found["num"]) / int(found["den"])


def to_step(mm: float, step_mm: float, rounding: str = "nearest") -> float:
    """Round a length to a multiple of `step_mm`.

    Parameters
    ----------
    mm, step_mm : float
        Length and step in millimetres.
    rounding : {"nearest", "down", "up"}
        "down" never gives more cloth than there is; a length within 1e-6 steps of a
        mark counts as on it.
    """
    steps = mm / step_mm
    if rounding == "nearest":
        return math.floor(steps + 0.5) * step_mm
    if rounding == "down":
        return math.floor(steps + 1e-6) * step_mm
    if rounding == "up":
        return math.ceil(steps - 1e-6) * step_mm
    raise ValueError(f"rounding must be nearest, down or up, not {rounding!r}")


def format_about(mm: float, unit: str) -> str:
    """Write a length to three digits, for limits that are no measurements: ``78.7 in``."""
    return f"{float(f'{mm / MM_PER[unit]:.3g}'):g} {unit}"


def format_length(
    mm: float,
    *,
    unit: str = "in",
    fraction: int = 16,
    rounding: str = "nearest",
    sign: bool = False,
) -> str:
    """Write a length for a person: ``6 1/2 in`` or ``16.5 cm``.

    Parameters
    ----------
    mm : float
        Length in millimetres; may be negative.
    unit : {"in", "cm"}
        Inches as a fraction, or centimetres to 1 mm.
    fraction : {8, 16, 32}
        Finest part of an inch that is written.
    rounding : {"nearest", "down", "up"}
        See `to_step`; of the magnitude for a negative length.
    sign : bool
        Write a plus before a positive length.
    """
    minus = mm < 0
    if unit == "cm":
        value = to_step(abs(mm), 1.0, rounding) / 10
        text, zero = f"{value:.1f} cm", value == 0
    else:
        if fraction not in FRACTIONS:
            raise LengthError(f"The fraction must be 8, 16 or 32, not {fraction}.", "")
        inches = Fraction(
            round(to_step(abs(mm), INCH / fraction, rounding) * fraction / INCH), fraction
        )
        whole, part = divmod(inches, 1)
        words = [str(int(whole))] if whole or not part else []
        words += [f"{part.numerator}/{part.denominator}"] if part else []
        text, zero = " ".join(words) + " in", inches == 0
    lead = "" if zero else "−" if minus else "+" if sign else ""
    return lead + text


def format_size(width_mm: float, height_mm: float, *, unit: str = "in", fraction: int = 16) -> str:
    """Write a width and a height for a person: ``6 1/8 × 9 in``."""
    wide, high = (format_length(mm, unit=unit, fraction=fraction) for mm in (width_mm, height_mm))
    return f"{wide.removesuffix(f' {unit}')} × {high}"


def format_exact(mm: float, *, unit: str = "in", digits: int = 3) -> str:
    """Write a length as a decimal, where a fraction would hide what counts: ``3.980 in``."""
    return f"{mm / MM_PER[unit]:.{digits}f} {unit}"


def format_uncertainty(mm: float, *, unit: str = "in") -> str:
    """Write an uncertainty: thousandths of an inch or hundredths of a centimetre, never zero."""
    if unit == "cm":
        return f"{max(math.ceil(mm * 10 - 1e-9), 1) / 100:.2f} cm"
    return f"{max(math.ceil(mm / INCH * 1000 - 1e-9), 1) / 1000:.3f} in"
