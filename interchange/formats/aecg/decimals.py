"""Decimal text and exact fractions.

A fraction that a decimal can hold is written as the shortest one; any other with at least fourteen significant digits,
and with as many more as it takes to be read back as the same fraction.  A decimal of twelve significant digits or more
is read as the simplest fraction that rounds to it, so that a third of a second survives.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache

__all__ = ["decimal_text", "fraction_from", "simplest_between"]

SIGNIFICANT = 14
ENOUGH = 12
MAX_EXPONENT = 400
MAX_LENGTH = 1000


@lru_cache(maxsize=4096)
def fraction_from(text: str) -> Fraction | None:
    """The number that a decimal stands for; None when it is none, not finite, or beyond any sense."""
    body, mark, power = text.replace("E", "e").partition("e")
    whole, _, places = _unsigned(body).partition(".")
    if len(text) > MAX_LENGTH or not _is_digits(whole + places):
        return None
    if mark and not (_is_digits(_unsigned(power)) and len(power) <= 7):
        return None
    exponent = int(power) if mark else 0
    if abs(exponent) > MAX_EXPONENT:
        return None
    digits = (whole + places).lstrip("0")
    scale = exponent - len(places)
    value = Fraction(int(digits or 0)) * Fraction(10) ** scale
    if places and len(digits) >= ENOUGH:
        value = _simplest_that_rounds_to(value, Fraction(10) ** scale / 2)
    return -value if text.startswith("-") else value


def _unsigned(text: str) -> str:
    return text[1:] if text[:1] in ("+", "-") else text


def _is_digits(text: str) -> bool:
    return text.isascii() and text.isdigit()


@lru_cache(maxsize=4096)
def decimal_text(value: Fraction | int) -> str:
    """The shortest decimal that :func:`fraction_from` reads as exactly ``value``, without exponent.

    A fraction whose parts are so large that two hundred digits do not tell it is written to that length.
    """
    value = Fraction(value)
    sign, value = ("-", -value) if value < 0 else ("", value)
    if value.denominator == 1:
        return f"{sign}{value.numerator}"
    exact = _exact_places(value.denominator)
    if exact is not None and exact <= 200:
        text = _rounded(value, exact)
        if fraction_from(text) == value:
            return sign + text
        least = exact + 1
    else:
        least = _places_for(value, SIGNIFICANT)
    text = ""
    for places in range(least, max(least, 200) + 1):
        text = _rounded(value, places)
        if fraction_from(text) == value:
            break
    return sign + text


def simplest_between(low: Fraction, high: Fraction) -> Fraction:
    """The fraction of the smallest denominator in the closed interval, 0 <= low <= high."""
    path: list[int] = []
    while True:
        whole = low.numerator // low.denominator
        if whole == low or whole + 1 <= high:
            path.append(whole if whole == low else whole + 1)
            break
        path.append(whole)
        low, high = 1 / (high - whole), 1 / (low - whole)
    value = Fraction(path.pop())
    while path:
        value = path.pop() + 1 / value
    return value


def _simplest_that_rounds_to(value: Fraction, half: Fraction) -> Fraction:
    return simplest_between(max(value - half, Fraction(0)), value + half)


def _exact_places(denominator: int) -> int | None:
    """Decimal places that hold a fraction of this denominator exactly; None where no number of places does."""
    twos = (denominator & -denominator).bit_length() - 1
    rest, fives = denominator >> twos, 0
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    return max(twos, fives) if rest == 1 else None


def _places_for(value: Fraction, significant: int) -> int:
    """Decimal places that show at least so many significant digits."""
    whole = value.numerator // value.denominator
    places = max(significant - len(str(whole)), 1) if whole else significant
    while value * 10**places < 10 ** (significant - 1):
        places += 1
    return places


def _rounded(value: Fraction, places: int) -> str:
    scaled = (2 * value.numerator * 10**places + value.denominator) // (2 * value.denominator)
    digits = f"{scaled:0{places + 1}}"
    return f"{digits[:-places]}.{digits[-places:]}" if places else digits
