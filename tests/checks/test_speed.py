"""A check of twelve leads costs milliseconds, and time grows with size, not with its square."""

from fractions import Fraction
from time import perf_counter

import numpy as np

from interchange.checks import check_recording
from interchange.model import Channel, Mark, Measurement, Tracing
from tests.checks.build import recording, twelve


def best_of(times, function):
    found = []
    for _ in range(times):
        start = perf_counter()
        function()
        found.append(perf_counter() - start)
    return min(found)


def test_twelve_leads_of_ten_seconds():
    """Measured: 5 to 8 ms; the bound leaves room for a slow and busy machine."""
    made = twelve()
    check_recording(made)
    assert best_of(10, lambda: check_recording(made)) < 0.06


def test_time_is_linear_in_marks_and_measurements():
    def crowded(count):
        marks = tuple(Mark("r-peak", 0, Fraction(n, 1000), group=str(n)) for n in range(count))
        measurements = tuple(Measurement("qt-interval", 400, "ms", beat=n) for n in range(count))
        levels = tuple(Measurement("j-amplitude", 10, "uV", lead="I", beat=n) for n in range(count))
        return twelve(marks=marks, measurements=(*measurements, *levels))

    small, large = crowded(500), crowded(4000)
    check_recording(small)
    ratio = best_of(3, lambda: check_recording(large)) / best_of(3, lambda: check_recording(small))
    assert ratio < 24  # eight times as much; squared it would be 64


def test_time_is_linear_in_channels_that_are_alike():
    def many(count):
        row = np.arange(500, dtype=np.int16) % 97
        samples = np.tile(row, (count, 1))
        return recording(Tracing(tuple(Channel(f"V{1 + n % 9}") for n in range(count)), samples, Fraction(500)))

    small, large = many(50), many(400)
    check_recording(small)
    ratio = best_of(3, lambda: check_recording(large)) / best_of(3, lambda: check_recording(small))
    assert ratio < 24
