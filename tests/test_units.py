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


@pytest.mark.parametrize(
    ("read", "text", "says"),
    [
        (parse_length, "0in", '"0in" is not a length greater than zero.'),
        (parse_length, "six", '"six" is not a length.'),
        (parse_length, "sixin", '"sixin" is not a length.'),
        (parse_length, "1/0in", '"1/0in" is not a length: a fraction cannot have 0 below.'),
    ],
)
def test_a_refused_length_is_named_as_it_was_written_with_what_to_write(read, text, says):
    with pytest.raises(LengthError) as refused:
        read(text)
    assert str(refused.value) == f'{says} Write it like 6 1/2in, 6-1/2", 6.5in, 165mm or 16.5cm.'


def test_a_refused_size_or_fraction_says_what_to_write():
    with pytest.raises(LengthError) as refused:
        parse_size("6")
    assert str(refused.value) == '"6" is not a size. Write width x height, like 6x9 or 15x23cm.'
    with pytest.raises(LengthError) as refused:
        format_length(1.0, fraction=7)
    assert str(refused.value) == "The fraction must be 8, 16 or 32, not 7."
    with pytest.raises(ValueError, match="not 'sideways'"):
        to_step(1.0, 1.0, "sideways")


def test_a_size_without_a_unit_is_in_the_one_asked_for_and_rounding_is_to_the_nearest():
    assert parse_size("10x15", "cm") == (100, 150)
    assert [to_step(mm, 1.0) for mm in (1.4, 1.6)] == [1.0, 2.0]


def test_centimetres_have_a_sign_unless_they_are_zero():
    assert format_length(-0.2, unit="cm") == "0.0 cm"
    assert format_length(-10, unit="cm") == "−1.0 cm"
    assert format_length(10, unit="cm", sign=True) == "+1.0 cm"


@pytest.mark.parametrize(
    ("mm", "unit", "text"),
    [(1.0, "cm", "0.10 cm"), (1.01, "cm", "0.11 cm"), (50, "cm", "5.00 cm"), (0, "cm", "0.01 cm"),
     (25.4, "in", "1.000 in"), (25.41, "in", "1.001 in"), (0, "in", "0.001 in")],
)  # fmt: skip
def test_an_uncertainty_is_rounded_up_and_never_to_nothing(mm, unit, text):
    assert format_uncertainty(mm, unit=unit) == text
