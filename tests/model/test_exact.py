"""Exact arithmetic on whole channels against plain Python fractions."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.model.exact import common_denominator, largest_magnitude, scaled

fractions = st.fractions(-(10**12), 10**12, max_denominator=10**9)
counts = st.lists(st.integers(-(2**31), 2**31 - 1), max_size=20)


@given(counts, fractions, fractions)
def test_scaled_is_exact(numbers: list[int], step: Fraction, offset: Fraction) -> None:
    denominator = common_denominator(step, offset)
    result = scaled(np.array(numbers, dtype=np.int32), step, offset, denominator)
    assert [int(n) for n in result] == [(offset + step * n) * denominator for n in numbers]


@given(fractions, fractions)
def test_the_common_denominator_is_the_least(one: Fraction, two: Fraction) -> None:
    denominator = common_denominator(one, two)
    assert (one * denominator).denominator == (two * denominator).denominator == 1
    for prime in (2, 3, 5, 7):
        if denominator % prime == 0:
            less = denominator // prime
            assert (one * less).denominator != 1 or (two * less).denominator != 1


def test_a_denominator_that_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="denominator"):
        scaled(np.array([1]), Fraction(1, 3), Fraction(0), 2)


@pytest.mark.parametrize("dtype", [np.int16, np.int32])
def test_the_most_negative_value_has_its_magnitude(dtype: type) -> None:
    low = np.iinfo(dtype).min
    assert largest_magnitude(np.array([0, low], dtype=dtype)) == -int(low)
    assert largest_magnitude(np.array([], dtype=dtype)) == 0


@pytest.mark.parametrize(
    "step", [Fraction(2**31), Fraction(2**31 - 1), Fraction(2**40), Fraction(2**62), Fraction(2**70)]
)
def test_where_64_bits_end_python_integers_go_on(step: Fraction) -> None:
    numbers = [2**31 - 1, -(2**31), 1, 0]
    result = scaled(np.array(numbers, dtype=np.int32), step, Fraction(2**61), 1)
    assert [int(n) for n in result] == [2**61 + int(step) * n for n in numbers]
