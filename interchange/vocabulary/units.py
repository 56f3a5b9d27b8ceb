"""Exact conversion between the units that measurements of an ECG come in (UCUM)."""

from __future__ import annotations

from fractions import Fraction
from typing import Final

__all__ = ["converted"]

_SCALES: Final[dict[str, tuple[str, Fraction]]] = {
    "ns": ("time", Fraction(1, 10**9)),
    "us": ("time", Fraction(1, 10**6)),
    "ms": ("time", Fraction(1, 1000)),
    "s": ("time", Fraction(1)),
    "min": ("time", Fraction(60)),
    "nV": ("voltage", Fraction(1, 10**9)),
    "uV": ("voltage", Fraction(1, 10**6)),
    "mV": ("voltage", Fraction(1, 1000)),
    "V": ("voltage", Fraction(1)),
    "Hz": ("rate", Fraction(1)),
    "/s": ("rate", Fraction(1)),
    "/min": ("rate", Fraction(1, 60)),
    "{beats}/min": ("rate", Fraction(1, 60)),
    "{H.B.}/min": ("rate", Fraction(1, 60)),
    "uV/s": ("slope", Fraction(1, 10**6)),
    "mV/s": ("slope", Fraction(1, 1000)),
    "V/s": ("slope", Fraction(1)),
}
"""Unit -> (quantity, size in its base unit)."""


def converted(value: int | Fraction, unit: str | None, wanted: str | None) -> Fraction | None:
    """The value in another unit, exactly; None where the two do not measure the same or one is unknown.

    A value without a unit is taken to be in the wanted one.
    """
    if unit in (None, wanted):
        return Fraction(value)
    one, other = _SCALES.get(unit or ""), _SCALES.get(wanted or "")
    if one is None or other is None or one[0] != other[0]:
        return None
    return value * one[1] / other[1]
