"""Integers and decimals from text and to text: fast, and never quietly wrong."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.formats.aecg.decimals import decimal_text, fraction_from, simplest_between
from interchange.formats.aecg.digits import DigitsError, digits_from, digits_text


def test_every_16_bit_value_is_written_as_python_writes_it() -> None:
    values = np.arange(-32768, 32768).astype(np.int16)
    assert digits_text(values) == " ".join(str(value) for value in range(-32768, 32768))


@given(st.lists(st.integers(-(2**31), 2**31 - 1), max_size=40), st.sampled_from((np.int32, np.int64)))
@settings(max_examples=60)
def test_wider_values_are_written_as_python_writes_them(values: list[int], dtype: type) -> None:
    assert digits_text(np.array(values, dtype=dtype)) == " ".join(str(value) for value in values)


@given(st.lists(st.integers(-(2**31), 2**31 - 1), max_size=40), st.sampled_from((" ", "\n", "\t", " \r\n ", "  ")))
@settings(max_examples=80)
def test_reading_agrees_with_int(values: list[int], blank: str) -> None:
    text = blank + blank.join(f"{value:+d}" if value % 3 == 0 else str(value) for value in values) + blank
    assert digits_from(text).values.tolist() == values


PIECES = (
    "1",
    "22",
    "-",
    "+",
    " ",
    "-3",
    "+4",
    "\n",
    ".",
    "5.5",
    ",",
    ";",
    "e",
    "E2",
    "0x1",
    "_",
    "a",
    "٣",
    "\u00a0",
    "--",
)


@given(st.lists(st.sampled_from(PIECES), max_size=8).map("".join))
@settings(max_examples=400)
def test_any_text_gives_its_numbers_or_an_error(text: str) -> None:
    try:
        read = digits_from(text)
    except DigitsError:
        return
    words = text.replace(";", " ").replace(",", " ").split()
    assert [Fraction(int(value), read.factor) for value in read.values] == [Fraction(word) for word in words]


@pytest.mark.parametrize(
    "text",
    [
        "1-2",
        "-",
        "1 -",
        "- 2",
        "1 - 2",
        "+-3",
        "-+1",
        "5-",
        "7 +",
        "1--2",
        "2147483648",
        "-2147483649",
        "9" * 30,
        "-" + "9" * 30,
        "1_0",
        "\u0663",
        "1,5 2,5",
        "1.5.2",
        "0x10",
        "nan",
        "inf",
        "1 2 a",
        "1e99",
        "1." + "1" * 20,
    ],
)
def test_what_is_no_list_of_numbers_is_refused(text: str) -> None:
    with pytest.raises(DigitsError) as caught:
        digits_from(text)
    assert text not in str(caught.value) or len(text) < 3


def test_the_ends_of_32_bits_are_taken() -> None:
    assert digits_from("2147483647 -2147483648").values.tolist() == [2**31 - 1, -(2**31)]


@pytest.mark.parametrize("text", ["", " ", "\n\t"])
def test_no_numbers_are_an_empty_list(text: str) -> None:
    assert digits_from(text).values.size == 0


@pytest.mark.parametrize(
    ("text", "values", "factor", "deviation"),
    [
        ("1.5 2 -3.25", [150, 200, -325], 100, "aecg.digits-decimals"),
        ("1e2 2.5e-1", [10000, 25], 100, "aecg.digits-decimals"),
        (".5 1.", [5, 10], 10, "aecg.digits-decimals"),
        ("1,2,-3", [1, 2, -3], 1, "aecg.digits-separators"),
        ("1, 2, -3,", [1, 2, -3], 1, "aecg.digits-separators"),
        ("1;2; 3", [1, 2, 3], 1, "aecg.digits-separators"),
    ],
)
def test_decimals_and_other_separators_are_taken_with_a_finding(
    text: str, values: list[int], factor: int, deviation: str
) -> None:
    read = digits_from(text)
    assert (read.values.tolist(), read.factor) == (values, factor)
    assert deviation in read.deviations


# Decimals ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Fraction(1, 500), "0.002"),
        (Fraction(488, 100), "4.88"),
        (Fraction(-5, 2), "-2.5"),
        (Fraction(7), "7"),
        (Fraction(0), "0"),
        (Fraction(1, 256), "0.00390625"),
        (Fraction(1, 3), "0.33333333333333"),
        (Fraction(1, 360), "0.0027777777777778"),
        (Fraction(1000, 360), "2.7777777777778"),
    ],
)
def test_decimals_are_the_shortest_exact_ones_or_have_fourteen_digits(value: Fraction, text: str) -> None:
    assert decimal_text(value) == text
    assert fraction_from(text) == value


@given(st.fractions(max_denominator=10**9), st.integers(-8, 8))
@settings(max_examples=300)
def test_every_fraction_comes_back(value: Fraction, power: int) -> None:
    scaled = value * Fraction(10) ** power
    text = decimal_text(scaled)
    assert fraction_from(text) == scaled
    exact = Fraction(text)
    assert abs(exact - scaled) <= abs(scaled) / 10**13


def test_a_decimal_that_looks_like_a_third_can_still_be_said() -> None:
    value = Fraction(333333333333, 10**12)
    assert fraction_from("0.333333333333") == Fraction(1, 3)
    assert fraction_from(decimal_text(value)) == value


@pytest.mark.parametrize("text", ["", ".", "-", "1,5", "NaN", "INF", "1e500", "1e", "0x1", "1 2", "\u0663", "1" * 2000])
def test_what_is_no_number_is_none(text: str) -> None:
    assert fraction_from(text) is None


@pytest.mark.parametrize(
    ("text", "value"),
    [("2.5e0", Fraction(5, 2)), ("+1E-3", Fraction(1, 1000)), ("123456789012", 123456789012), (".5", Fraction(1, 2))],
)
def test_other_forms_of_numbers(text: str, value: Fraction) -> None:
    assert fraction_from(text) == value


@given(st.fractions(0, 50, max_denominator=400), st.fractions(0, 1, max_denominator=1000))
@settings(max_examples=100)
def test_the_simplest_fraction_is_that_of_a_search(low: Fraction, width: Fraction) -> None:
    found = simplest_between(low, low + width)
    denominator = 1
    while -(-low.numerator * denominator // low.denominator) > (low + width) * denominator:
        denominator += 1
    assert low <= found <= low + width
    assert found.denominator == denominator
