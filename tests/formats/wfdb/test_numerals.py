"""Numbers of headers: exact where they are short, the simplest fraction where they were rounded."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.formats.wfdb.numerals import decimal, decimal_text, integer

READ = [
    ("360", Fraction(360)),
    ("360.", Fraction(360)),
    ("3.6e2", Fraction(360)),
    (".5", Fraction(1, 2)),
    ("1.5E3", Fraction(1500)),
    ("1.052e+04", Fraction(10520)),
    ("-2.5", Fraction(-5, 2)),
    ("0", Fraction(0)),
    ("62.4725", Fraction(24989, 400)),
    ("333.333333333333", Fraction(1000, 3)),
    ("0.002777777777777778", Fraction(1, 360)),
    ("333.33333333", Fraction(33333333333, 10**8)),
    ("1000.000000000000", Fraction(1000)),
]
REFUSED = ["", "abc", "1,5", "0x10", "inf", "nan", "1e400", "1e", ".", "1_0", "١٢", "1 ", "9" * 65, "1e1e1", "--1"]


@pytest.mark.parametrize(("text", "value"), READ)
def test_a_decimal_is_exact_or_the_simplest_fraction_that_rounds_to_it(text: str, value: Fraction) -> None:
    assert decimal(text) == value


@pytest.mark.parametrize("text", REFUSED)
def test_what_is_no_plain_decimal_is_none(text: str) -> None:
    assert decimal(text) is None


@pytest.mark.parametrize(
    ("text", "value"),
    [("12", 12), ("-5", -5), ("+7", 7), ("12.0", None), ("", None), ("1_0", None), ("1" * 19, None), ("²", None)],
)
def test_integers(text: str, value: int | None) -> None:
    assert integer(text) == value


WRITTEN = [
    (Fraction(1000), "1000"),
    (Fraction(5, 2), "2.5"),
    (Fraction(24989, 400), "62.4725"),
    (Fraction(0), "0"),
    (Fraction(-1, 8), "-0.125"),
    (Fraction(1, 3), "0.33333333333333333"),
    (Fraction(10) ** 25, "1e+25"),
]


@pytest.mark.parametrize(("value", "text"), WRITTEN)
def test_the_shortest_exact_decimal_is_written(value: Fraction, text: str) -> None:
    assert decimal_text(value) == text


@settings(max_examples=200, deadline=None)
@given(st.fractions(min_value=Fraction(1, 10**6), max_value=10**9, max_denominator=10**6))
def test_every_fraction_comes_back_with_enough_digits(value: Fraction) -> None:
    assert any(decimal(decimal_text(value, digits)) == value for digits in (0, 20, 24, 28, 32, 40, 48))


def test_the_text_of_a_rate_is_what_c_reads_too() -> None:
    assert float(decimal_text(Fraction(1000, 3))) == pytest.approx(1000 / 3, abs=1e-12)
