"""The integers of a lead, from text and to text, fast and without ever being silently wrong.

Reading: the characters are checked first (a general integer reader takes ``1-2`` for two numbers), the numbers are
read as 64-bit, and their range is checked after that.  Writing: eight bytes of text for each value from a
table, then the padding is taken out.  Both agree with the plain way, which tests show.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any

from interchange.formats.aecg.decimals import fraction_from
from interchange.records import dataclass

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["Digits", "DigitsError", "TooWideError", "digits_from", "digits_text"]

INTEGERS = b"0123456789+- \t\r\n"
MAX_PLACES = 12
FEW, MANY = 2**12, 2**15
"""Values below which a table of texts goes: the small one does for most leads and is made in a tenth of the time."""

DECIMAL = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"


class DigitsError(ValueError):
    """The text holds no numbers that can be taken; the message says why, without quoting it."""


class TooWideError(DigitsError):
    """The text holds a number beyond 32 bits."""


@dataclass(frozen=True, slots=True)
class Digits:
    """What was read: values of at most 32 bits, the factor that decimals were multiplied by (else 1), deviations."""

    values: NDArray[np.integer[Any]]
    factor: int = 1
    deviations: tuple[str, ...] = ()


def digits_from(text: str) -> Digits:
    """The integers in ``text``, separated by any white space.

    Decimals are multiplied by the power of ten that makes all of them whole (``factor``); commas and semicolons are
    taken as separators where they cannot be decimal signs.  Raises DigitsError for anything else and for numbers
    beyond 32 bits.
    """
    if not text.isascii():
        raise DigitsError("holds characters that are no digits")
    raw = text.encode("ascii")
    values = _integers(raw)
    if values is not None:
        return Digits(_narrow(values))
    return _other_digits(text, raw.translate(None, INTEGERS))


def digits_text(values: NDArray[np.integer[Any]]) -> str:
    """The integers as decimal text with one blank between them."""
    import numpy as np

    if values.size == 0:
        return ""
    values = np.ascontiguousarray(values)
    low, high = int(values.min()), int(values.max())
    half = FEW if low >= -FEW and high < FEW else MANY
    if low < -half or high >= half:
        return " ".join(map(str, values.tolist()))
    cells = _table(half).take(values.astype(np.intp) + half)
    return cells.tobytes().translate(None, b"\0")[:-1].decode("ascii")


def _integers(raw: bytes) -> NDArray[np.int64] | None:
    """The integers, None when there is anything but well-formed ones.

    The reader of numpy stops at what it does not know, takes ``1-2`` for two numbers, a lone sign for zero and ``- 2``
    for one number.  The counts tell: words, words that end with a digit, and numbers read must be the same.  Numbers
    beyond 64 bits come out as the largest one and fall to the range check.
    """
    import numpy as np

    if not raw.strip():
        return np.zeros(0, dtype=np.int64)
    plain = np.frombuffer(raw, dtype=np.uint8)
    digit, inside = plain > 47, plain > 32
    words = int(np.count_nonzero(inside[1:] > inside[:-1])) + int(inside[0])
    if int(np.count_nonzero(digit[:-1] > inside[1:])) + int(digit[-1]) != words:
        return None
    try:
        values = np.fromstring(raw, dtype=np.int64, sep=" ")
    except (ValueError, DeprecationWarning):
        return None
    return values if values.size == words else None


def _other_digits(text: str, strange: bytes) -> Digits:
    """Decimals, and numbers with other separators; ``strange`` are the characters that integers do not have."""
    if strange.translate(None, b".eE,;"):
        raise DigitsError("holds characters that are no digits")
    deviations: list[str] = []
    text = _separated(text, deviations)
    if b"." in strange or b"e" in strange.lower():
        values, factor = _decimals(text)
        return Digits(values, factor, (*deviations, "aecg.digits-decimals"))
    integers = _integers(text.encode("ascii"))
    if integers is None:
        raise DigitsError("holds a sign that stands alone or inside a number")
    return Digits(_narrow(integers), 1, tuple(deviations))


def _narrow(values: NDArray[np.int64]) -> NDArray[np.integer[Any]]:
    """The same integers as int16 or int32."""
    import numpy as np

    low, high = (int(values.min()), int(values.max())) if values.size else (0, 0)
    if low < -(2**31) or high >= 2**31:
        raise TooWideError("holds a number that needs more than 32 bits")
    return values.astype(np.int16 if low >= -(2**15) and high < 2**15 else np.int32)


def _separated(text: str, deviations: list[str]) -> str:
    """Semicolons, and commas that are no decimal signs, as blanks."""
    if ";" in text:
        deviations.append("aecg.digits-separators")
        text = text.replace(";", " ")
    if "," in text:
        followed = re.findall(r",(\s|.|$)", text, re.DOTALL)
        alone = len(text.split()) == 1
        if not alone and not all(after == "" or after.isspace() for after in followed):
            raise DigitsError("holds commas that may be separators or decimal signs")
        if "aecg.digits-separators" not in deviations:
            deviations.append("aecg.digits-separators")
        text = text.replace(",", " ")
    return text


def _decimals(text: str) -> tuple[NDArray[np.integer[Any]], int]:
    """Decimals as integers times one power of ten."""
    import numpy as np

    numbers: list[Fraction] = []
    form = re.compile(DECIMAL, re.ASCII)
    for token in text.split():
        value = _plain_decimal(token) if form.fullmatch(token) else None
        if value is None:
            raise DigitsError("holds something that is no number")
        numbers.append(value)
    places = 0
    for value in numbers:
        while (value * 10**places).denominator != 1:
            places += 1
            if places > MAX_PLACES:
                raise DigitsError(f"holds decimals of more than {MAX_PLACES} places")
    scaled = [int(value * 10**places) for value in numbers]
    if scaled and (min(scaled) < -(2**31) or max(scaled) >= 2**31):
        raise TooWideError("holds decimals that need more than 32 bits")
    return np.array(scaled, dtype=np.int32), 10**places


def _plain_decimal(token: str) -> Fraction | None:
    """The decimal as it is written; rounding rules for long ones have no place among samples."""
    mantissa, _, exponent = token.lower().partition("e")
    if len(token) > 40 or (exponent and abs(int(exponent)) > MAX_PLACES + 10):
        return None
    return Fraction(token) if len(mantissa) < 12 or fraction_from(token) is not None else None


@cache
def _table(half: int) -> NDArray[np.uint64]:
    """The text of each value from -half to half - 1 in eight bytes: NULs in front, a blank at the end."""
    import numpy as np

    values = np.arange(-half, half, dtype=np.int64)
    rest = np.abs(values)
    cells = np.zeros((2 * half, 8), dtype=np.uint8)
    cells[:, 7] = 32
    shown = np.ones(2 * half, dtype=np.bool_)
    column = 6
    while shown.any():
        cells[:, column] = np.where(shown, 48 + rest % 10, cells[:, column])
        rest //= 10
        sign = shown & (rest == 0) & (values < 0)
        cells[sign, column - 1] = 45
        shown &= rest > 0
        column -= 1
    return cells.view(np.uint64).reshape(2 * half)
