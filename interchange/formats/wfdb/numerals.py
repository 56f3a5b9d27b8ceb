"""Numbers as they stand in headers: exact, bounded, and without regard to the locale.

A decimal of twelve significant digits or more is taken as the simplest fraction that rounds to it, so that a rate of
1000/3 written in decimals is 1000/3 again.  Everything shorter is taken exactly as written.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from typing import Final

__all__ = ["decimal", "decimal_text", "integer"]

_DECIMAL: Final = r"([+-]?)(\d+\.?\d*|\.\d+)(?:[eE]([+-]?\d{1,2}))?"
_WIDEST: Final = 18
_LONGEST: Final = 64
_ROUNDED: Final = 12
"""Significant digits from which on a decimal counts as rounded."""


def integer(text: str) -> int | None:
    """The integer that ``text`` spells (at most 18 digits), else None."""
    digits = text[1:] if text[:1] in ("+", "-") else text
    return int(text) if digits.isdigit() and digits.isascii() and len(digits) <= _WIDEST else None


@lru_cache(maxsize=1024)
def decimal(text: str) -> Fraction | None:
    """The value of a C floating point number in decimal form (``360``, ``360.``, ``3.6e2``), else None.

    None too for what is longer than 64 characters or has an exponent of more than two digits: no header needs it.
    """
    if len(text) < _ROUNDED and text.isdigit() and text.isascii():
        return Fraction(int(text))
    match = re.fullmatch(_DECIMAL, text, re.ASCII) if len(text) <= _LONGEST else None
    if match is None:
        return None
    sign, mantissa, exponent = match.groups()
    whole, _, tail = mantissa.partition(".")
    digits = int(whole + tail)
    power = int(exponent or 0) - len(tail)
    value = _scaled(Fraction(digits), power)
    if len(str(digits)) >= _ROUNDED:
        half = _scaled(Fraction(1, 2), power)
        value = _simplest(value - half, value + half)
    return -value if sign == "-" else value


def decimal_text(value: Fraction, digits: int = 0) -> str:
    """The shortest exact decimal of ``value``; where there is none, its first 17 significant digits.

    With ``digits`` so many significant digits, also of a number that has fewer.  Plain notation between 1e-6 and 1e21,
    else with an exponent that both C and this package read.
    """
    twos, fives, rest = _count(value.denominator)
    places = max(twos, fives)
    if not digits and rest == 1 and places <= 40:
        return _placed(value.numerator * 10**places // value.denominator, -places)
    size = len(str(abs(value.numerator))) - len(str(value.denominator))
    power = size - (digits or 17)
    return _placed(round(value / _scaled(Fraction(1), power)), power, short=not digits)


def _placed(digits: int, power: int, *, short: bool = True) -> str:
    """Decimal text of ``digits`` times ten to the ``power``, without needless zeros if ``short``."""
    sign, text = ("-" if digits < 0 else ""), str(abs(digits))
    while short and power < 0 and text.endswith("0") and len(text) > 1:
        text, power = text[:-1], power + 1
    if text == "0" or 0 <= power <= 21 - len(text):
        return sign + text + "0" * (power if text != "0" else 0)
    if power < 0 and len(text) + power > -6:
        text = text.rjust(1 - power, "0")
        return f"{sign}{text[:power]}.{text[power:]}"
    exponent = power + len(text) - 1
    tail = text[1:].rstrip("0") if short else text[1:]
    return f"{sign}{text[0]}{'.' + tail if tail else ''}e{exponent:+03d}"


def _count(number: int) -> tuple[int, int, int]:
    """Powers of two and five in ``number``, and what is left without them."""
    twos = (number & -number).bit_length() - 1
    number >>= twos
    fives = 0
    while number % 5 == 0:
        number, fives = number // 5, fives + 1
    return twos, fives, number


def _scaled(value: Fraction, power: int) -> Fraction:
    scale = Fraction(10) ** abs(power)
    return value * scale if power >= 0 else value / scale


def _simplest(low: Fraction, high: Fraction) -> Fraction:
    """The fraction of least denominator between two positive bounds (continued fractions)."""
    if low <= 0:
        return Fraction(0)
    whole = -(-low.numerator // low.denominator)
    if whole <= high:
        return Fraction(whole)
    floor = low.numerator // low.denominator
    return floor + 1 / _simplest(1 / (high - floor), 1 / (low - floor))
