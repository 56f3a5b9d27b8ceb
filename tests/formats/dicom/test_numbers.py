"""Decimal strings (PS3.5 6.2, VR DS)."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydicom.valuerep import is_valid_ds

from interchange.formats.dicom.numbers import decimal_text, parse_decimal, simplest_between


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Fraction(5), "5"),
        (Fraction(-5), "-5"),
        (Fraction(5, 4), "1.25"),
        (Fraction(1, 20), "0.05"),
        (Fraction(0), "0"),
        (Fraction(5, 2048), "0.00244140625"),
        (Fraction(10) ** 20, "1E20"),
        (Fraction(1, 10**12), "0.000000000001"),
        (1000, "1000"),
    ],
)
def test_the_shortest_exact_form(value, text):
    assert decimal_text(value) == text


@pytest.mark.parametrize(
    "value", [Fraction(1, 3), Fraction(1, 360), Fraction(1000, 3), Fraction(2, 7), Fraction(1, 3000)]
)
def test_fractions_survive_sixteen_characters(value):
    text = decimal_text(value)
    assert len(text) <= 16
    assert parse_decimal(text) == value


@settings(max_examples=300, deadline=None)
@given(st.fractions(min_value=-(10**9), max_value=10**9, max_denominator=10**7))
def test_what_is_written_is_a_valid_decimal_string_close_to_the_value(value):
    text = decimal_text(value)
    assert len(text) <= 16
    assert is_valid_ds(text)
    read = parse_decimal(text)
    assert read is not None
    assert abs(read - value) <= max(abs(value) * Fraction(1, 10**9), Fraction(1, 10**13))


@settings(max_examples=200, deadline=None)
@given(st.integers(-(10**11), 10**11), st.integers(0, 10))
def test_decimals_of_up_to_eleven_digits_are_exact(number, places):
    value = Fraction(number, 10**places)
    if len(decimal_text(value)) < 12:
        assert parse_decimal(decimal_text(value)) == value


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "abc",
        "1,5",
        "1.2.3",
        "--1",
        "1e",
        "0x10",
        "1e9999999999",
        "nan",
        "inf",
        "\u0661",
        "1" * 65,
        "+",
        ".",
        "1 2",
    ],
)
def test_what_is_no_decimal_is_none(text):
    assert parse_decimal(text) is None


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("+1.50", Fraction(3, 2)),
        (" 7 ", Fraction(7)),
        ("1e-3", Fraction(1, 1000)),
        (".5", Fraction(1, 2)),
        ("5.", Fraction(5)),
        ("1E+2", Fraction(100)),
    ],
)
def test_tolerated_forms(text, value):
    assert parse_decimal(text) == value


@settings(max_examples=200, deadline=None)
@given(st.fractions(max_denominator=500), st.fractions(min_value=0, max_value=1, max_denominator=500))
def test_the_simplest_fraction_has_the_smallest_denominator(low, width):
    high = low + width
    found = simplest_between(low, high)
    assert low <= found <= high
    for denominator in range(1, found.denominator):
        assert -(-low.numerator * denominator // low.denominator) > high * denominator
