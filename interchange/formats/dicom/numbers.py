"""Decimal strings (VR DS, PS3.5 6.2): 16 characters that hold exact fractions.

Written is the shortest form that reads back as the very value, else the form with the smallest error.  A decimal of
twelve digits or more is read as the simplest fraction that rounds to it, so that 1/360 survives sixteen characters.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from typing import Final

__all__ = ["decimal_text", "parse_decimal", "parse_decimals", "simplest_between"]

MAX_CHARACTERS: Final = 16
FULL_DIGITS: Final = 12
_DECIMAL: Final = re.compile(r"\s*([+-]?)(\d*)(?:\.(\d*))?(?:[eE]([+-]?\d{1,3}))?\s*", re.ASCII)
_MAX_READ: Final = 64


def parse_decimal(text: str) -> Fraction | None:
    """The exact value of a decimal string, None where it is none or has more than 64 characters."""
    if len(text) > _MAX_READ:
        return None
    return _parse(text)


@lru_cache(maxsize=4096)
def _parse(text: str) -> Fraction | None:
    found = _DECIMAL.fullmatch(text)
    if not found or not (found[2] or found[3]):
        return None
    places = found[3] or ""
    number = int((found[2] or "") + places)
    if found[1] == "-":
        number = -number
    exponent = int(found[4] or 0) - len(places)
    unit = Fraction(10) ** exponent
    value = number * unit
    if len(str(abs(number))) < FULL_DIGITS or value.denominator == 1:
        return value
    return simplest_between(value - unit / 2, value + unit / 2)


@lru_cache(maxsize=4096)
def parse_decimals(raw: bytes) -> tuple[Fraction, ...] | None:
    """The values of a decimal string attribute as stored: none where it is empty, None where one is malformed."""
    values = []
    for text in raw.decode("ascii", "replace").rstrip(" \0").split("\\"):
        value = parse_decimal(text)
        if value is None:
            return None if text.strip() else ()
        values.append(value)
    return tuple(values)


def simplest_between(low: Fraction, high: Fraction) -> Fraction:
    """The fraction with the smallest denominator in the closed interval."""
    if low < 0 < high or low == 0 or high == 0:
        return Fraction(0)
    if high < 0:
        return -simplest_between(-high, -low)
    terms: list[int] = []
    while True:
        whole = -(-low.numerator // low.denominator)
        if whole <= high:
            break
        terms.append(low.numerator // low.denominator)
        low, high = 1 / (high - terms[-1]), 1 / (low - terms[-1])
    value = Fraction(whole)
    for term in reversed(terms):
        value = term + 1 / value
    return value


@lru_cache(maxsize=4096)
def _text(numerator: int, denominator: int) -> str:
    value = Fraction(numerator, denominator)
    best, error = "0", abs(value)
    for candidate in _candidates(value):
        if len(candidate) > MAX_CHARACTERS:
            continue
        read = _parse(candidate)
        if read is None:
            continue
        miss = abs(read - value)
        if miss == 0:
            return candidate
        if miss < error:
            best, error = candidate, miss
    return best


def decimal_text(value: Fraction | int) -> str:
    """The decimal string to write, at most 16 characters."""
    if isinstance(value, int):
        text = str(value)
        return text if len(text) <= MAX_CHARACTERS else _text(value, 1)
    return _text(value.numerator, value.denominator)


def _candidates(value: Fraction) -> list[str]:
    """Ways to write the value, the plainest first: fixed point with falling precision, then with an exponent."""
    sign = "-" if value < 0 else ""
    size = abs(value)
    found: list[str] = []
    for places in range(MAX_CHARACTERS):
        scaled = round(size * 10**places)
        if scaled == size * 10**places:
            found.append(_fixed(sign, scaled, places))
            break
    exponent = _exponent(size)
    found.extend(_fixed(sign, round(size * 10**places), places) for places in range(MAX_CHARACTERS, -1, -1))
    for digits in range(MAX_CHARACTERS, 0, -1):
        power = digits - 1 - exponent
        mantissa = round(size * Fraction(10) ** power)
        text = str(mantissa).rstrip("0") or "0"
        dropped = len(str(mantissa)) - len(text)
        found.append(f"{sign}{text[0]}{'.' + text[1:] if text[1:] else ''}E{dropped + len(text) - 1 - power}")
    return found


def _fixed(sign: str, scaled: int, places: int) -> str:
    if not places:
        return f"{sign}{scaled}"
    digits = f"{scaled:0{places + 1}}"
    whole, rest = digits[:-places], digits[-places:]
    text = f"{sign}{whole}.{rest}"
    return f"{sign}.{rest}" if whole == "0" and len(text) > MAX_CHARACTERS else text


def _exponent(size: Fraction) -> int:
    """Decimal exponent of the first digit."""
    if size == 0:
        return 0
    guess = len(str(size.numerator)) - len(str(size.denominator))
    return guess if size >= Fraction(10) ** guess else guess - 1
