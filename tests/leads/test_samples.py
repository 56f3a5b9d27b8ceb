"""Exact arithmetic on channels."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.errors import RefusedError, UsageError
from interchange.leads import Samples, combine, common_step, derivation, derive, parse

from .electrodes import TEXTBOOK

STEPS = st.fractions(Fraction(1, 1000), 10, max_denominator=1000)
COUNTS = st.lists(st.integers(-(2**15), 2**15 - 1), min_size=4, max_size=4)


def channel(name, integers, step=1, offset=0, missing=None, dtype=np.int16):
    return Samples(name, np.array(integers, dtype), Fraction(step), Fraction(offset), missing)


def values(samples):
    return [samples.value(index) for index in range(samples.integers.size)]


def solved(pair, target):
    """Coefficients of ``target`` in the two leads of ``pair``, by Cramer's rule on RA and LL."""
    (a, b), (c, d) = ([TEXTBOOK[name].get(e, 0) for name in pair] for e in ("RA", "LL"))
    x, y = (TEXTBOOK[target].get(e, 0) for e in ("RA", "LL"))
    det = Fraction(a * d - b * c)
    return (x * d - b * y) / det, (a * y - x * c) / det


limb = st.sampled_from(["I", "II", "III", "aVR", "aVL", "aVF"])


@settings(max_examples=150, deadline=None)
@given(limb, limb, limb, COUNTS, COUNTS, STEPS, STEPS, STEPS, STEPS)
def test_derived_values_are_exact_whatever_the_steps(first, second, target, one, two, step1, step2, off1, off2):
    if len({first, second, target}) < 3:
        return
    a, b = channel(first, one, step1, off1), channel(second, two, step2, -off2)
    p, q = solved((first, second), target)
    expected = [p * v + q * w for v, w in zip(values(a), values(b), strict=True)]
    result = derive(target, [a, b])
    assert values(result) == expected
    assert result.name == target
    assert result.integers.dtype == np.int64
    assert not result.integers.flags.writeable


@pytest.mark.parametrize(("name", "step"), [("III", 5), ("aVR", "2.5"), ("aVL", "2.5"), ("aVF", "2.5"), ("VR", "5/3")])
def test_steps_of_leads_from_i_and_ii(name, step):
    assert derive(name, [channel("I", [1], 5), channel("II", [2], 5)]).step == Fraction(step)


def test_different_steps_meet_in_the_greatest_common_one():
    result = derive("III", [channel("I", [10], Fraction("4.88")), channel("II", [10], 5)])
    assert (result.step, result.value(0)) == (Fraction("0.04"), Fraction("1.2"))


def test_offsets_count():
    result = derive("III", [channel("I", [1], 5, 100), channel("II", [3], 5, 250)])
    assert (result.offset, result.value(0)) == (150, 160)


def test_a_negative_step_is_a_sign():
    result = derive("III", [channel("I", [7], -5), channel("II", [3], 5)])
    assert (result.step, result.value(0)) == (5, 50)


def test_missing_where_a_source_is_missing():
    a = channel("I", [9, 9, 9, 9], missing=np.array([True, False, False, False]))
    b = channel("II", [1, 2, 3, 4], missing=np.array([False, False, True, False]))
    result = derive("III", [a, b])
    assert result.missing.tolist() == [True, False, True, False]
    assert values(result) == [None, -7, None, -5]
    assert result.integers.tolist() == [0, -7, 0, -5]
    assert derive("III", [channel("I", [1], missing=np.array([False])), channel("II", [1])]).missing is None


def test_sources_are_left_alone():
    a, b = channel("I", [1, 2]), channel("II", [3, 4])
    derive("aVR", [a, b])
    assert (a.integers.tolist(), b.integers.tolist()) == ([1, 2], [3, 4])


def test_extreme_integers():
    low, high = -(2**15), 2**15 - 1
    assert derive("III", [channel("I", [low]), channel("II", [high])]).value(0) == high - low
    top = channel("I", [2**62], dtype=np.int64)
    assert derive("III", [top, channel("II", [0])]).value(0) == -(2**62)
    unsigned = channel("I", [2**63], dtype=np.uint64)
    with pytest.raises(RefusedError, match="64 bits"):
        derive("III", [unsigned, channel("II", [0])])
    with pytest.raises(RefusedError, match="64 bits"):
        derive("III", [top, channel("II", [-(2**62)], dtype=np.int64)])
    with pytest.raises(RefusedError, match="64 bits"):
        derive(
            "III", [channel("I", [30000], Fraction(1, 10**15 + 37)), channel("II", [30000], Fraction(1, 10**15 + 91))]
        )


def test_empty_channels():
    assert derive("III", [channel("I", []), channel("II", [])]).integers.size == 0


def test_names_of_channels_are_taken_as_the_model_has_them():
    found = derive("J", [channel("A", [5]), channel("D", [2])])
    assert (found.name, found.value(0)) == ("J", 3)


@pytest.mark.parametrize(
    ("target", "names", "message"),
    [
        ("V1", ["I", "II"], "does not follow"),
        ("III", ["I", "V1"], "does not follow"),
        ("Resp", ["I", "II"], "does not follow"),
        ("I", ["I", "II"], "is recorded"),
        ("III", [], "does not follow"),
    ],
)
def test_what_cannot_be_derived(target, names, message):
    with pytest.raises(UsageError, match=message):
        derive(target, [channel(name, [1]) for name in names])


def test_lengths_must_agree():
    with pytest.raises(UsageError, match="number of samples"):
        derive("III", [channel("I", [1]), channel("II", [1, 2])])


@pytest.mark.parametrize(
    "fields",
    [
        {"integers": np.zeros((2, 2), np.int16)},
        {"integers": np.zeros(2)},
        {"integers": np.zeros(2, bool)},
        {"step": Fraction(0)},
        {"missing": np.zeros(3, bool)},
        {"missing": np.zeros(2, np.int8)},
    ],
)
def test_samples_of_another_shape(fields):
    with pytest.raises(UsageError):
        Samples(**{"name": "I", "integers": np.zeros(2, np.int16), "step": Fraction(1), **fields})


@settings(max_examples=80)
@given(st.lists(st.fractions(max_denominator=10**6).filter(bool), min_size=1, max_size=5))
def test_the_common_step_divides_all_and_is_the_greatest(steps):
    step = common_step(steps)
    wholes = [s / step for s in steps]
    assert step > 0
    assert all(w.denominator == 1 for w in wholes)
    assert np.gcd.reduce(np.array([abs(w.numerator) for w in wholes], dtype=object)) == 1


def test_no_common_step_of_nothing():
    for steps in ([], [Fraction(0)]):
        with pytest.raises(ValueError, match="no step"):
            common_step(steps)


def test_combine_takes_any_sum():
    result = combine(parse("I + III - II"), {n: channel(n, [v]) for n, v in (("I", 1), ("II", 5), ("III", 9))}, "sum")
    assert (result.name, result.value(0)) == ("sum", 5)
    assert derivation("III", ["I", "II"]).combination == parse("II - I")
