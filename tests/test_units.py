"""Lengths in and out, against the published inch and paper sizes."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from blockcheck.errors import LengthError
from blockcheck.units import (
    FRACTIONS,
    INCH,
    format_length,
    format_uncertainty,
    parse_length,
    parse_size,
    to_step,
)

LENGTHS = st.floats(min_value=2.0, max_value=5000.0)
UNITS = st.sampled_from([("in", f) for f in FRACTIONS] + [("cm", 16)])


def test_inch():
    """25.4 mm exactly: agreement of 1959, addendum to NBS Circular 572."""
    assert INCH == 25.4
    assert parse_length("1in") == 25.4
    assert parse_length("36in") == pytest.approx(914.4, rel=1e-15)  # the yard of the agreement


def test_paper():
    """A4 is 210 x 297 mm (ISO 216); letter is 8 1/2 x 11 in."""
    assert parse_size("21x29.7cm") == pytest.approx((210, 297))
    assert parse_size("210x297mm") == pytest.approx((210, 297))
    assert parse_size("8 1/2 x 11") == pytest.approx((215.9, 279.4))
    assert format_length(297, unit="cm") == "29.7 cm"
    assert format_length(215.9) == "8 1/2 in"


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("6 1/2in", 165.1),
        ('6-1/2"', 165.1),
        ("6½in", 165.1),
        ("½", 12.7),
        ("13/2 inches", 165.1),
        ("6.5", 165.1),
        (".5 in", 12.7),
        (" 6.5 IN. ", 165.1),
        ("16.5cm", 165),
        ("165 mm", 165),
        ("3.98in", 101.092),
        (165.1, 165.1),
        (4, 4),
    ],
)
def test_forms(text, mm):
    assert parse_length(text) == pytest.approx(mm, rel=1e-12)


def test_default_unit():
    assert parse_length("16.5", unit="cm") == 165
    assert parse_length("6.5in", unit="cm") == pytest.approx(165.1)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("6x17", (152.4, 431.8)),
        ("6 1/2 x 9in", (165.1, 228.6)),
        ("16.5x20cm", (165, 200)),
        ("15 × 43 cm", (150, 430)),
        ("6in X 43cm", (152.4, 430)),
        ("6 by 17", (152.4, 431.8)),
        ((150.0, "6in"), (150, 152.4)),
    ],
)
def test_sizes(text, size):
    assert parse_size(text) == pytest.approx(size)


@pytest.mark.parametrize(
    "text", ["", "in", "0in", "-3in", "1/0in", "six", "6 1/2 1/2", "6ft", "nan", "inf", -1.0, 0]
)
def test_no_length(text):
    with pytest.raises(LengthError):
        parse_length(text)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_no_finite_length(value):
    with pytest.raises(LengthError):
        parse_length(value)


@pytest.mark.parametrize("text", ["6", "6x", "x17", "6x17x2", "6x0"])
def test_no_size(text):
    with pytest.raises(LengthError):
        parse_size(text)


@pytest.mark.parametrize(
    ("inches", "options", "text"),
    [
        (6.5, {}, "6 1/2 in"),
        (6, {}, "6 in"),
        (0.25, {}, "1/4 in"),
        (0, {"sign": True}, "0 in"),
        (6.99, {"fraction": 8}, "7 in"),
        (6.99, {"fraction": 8, "rounding": "down"}, "6 7/8 in"),
        (6.01, {"fraction": 32, "rounding": "up"}, "6 1/32 in"),
        (-0.125, {}, "−1/8 in"),
        (0.125, {"sign": True}, "+1/8 in"),
        (-0.001, {}, "0 in"),
    ],
)
def test_written(inches, options, text):
    assert format_length(inches * 25.4, **options) == text


def test_no_such_fraction_or_rounding():
    with pytest.raises(LengthError):
        format_length(10, fraction=10)
    with pytest.raises(ValueError):
        to_step(10, 1, "sideways")


def test_uncertainty_is_never_written_as_zero():
    assert format_uncertainty(0.0) == "0.001 in"
    assert format_uncertainty(0.0, unit="cm") == "0.01 cm"
    assert format_uncertainty(0.01 * 25.4) == "0.010 in"
    assert format_uncertainty(0.31, unit="cm") == "0.04 cm"


@given(LENGTHS, UNITS)
def test_round_trip_within_half_a_step(mm, how):
    unit, fraction = how
    step = INCH / fraction if unit == "in" else 1.0
    back = parse_length(format_length(mm, unit=unit, fraction=fraction))
    assert abs(back - mm) <= step / 2 + 1e-9


@given(LENGTHS.filter(lambda mm: mm > 3.5), UNITS)
def test_rounding_down_never_exceeds(mm, how):
    """A cut is never rounded up past the cloth; a length on a mark stays on it."""
    unit, fraction = how
    step = INCH / fraction if unit == "in" else 1.0
    down = parse_length(format_length(mm, unit=unit, fraction=fraction, rounding="down"))
    up = parse_length(format_length(mm, unit=unit, fraction=fraction, rounding="up"))
    assert mm - step < down <= mm + 1.01e-6 * step
    assert mm - 1.01e-6 * step <= up < mm + step


@given(st.integers(1, 2000), st.sampled_from(FRACTIONS), st.sampled_from(["down", "nearest", "up"]))
def test_marks_stay(steps, fraction, rounding):
    mm = steps * INCH / fraction
    text = format_length(mm, fraction=fraction, rounding=rounding)
    assert parse_length(text) == pytest.approx(mm, rel=1e-12)
