"""The checksum of records and sections (EN 1064 clause 5.2): CRC-CCITT with the initial value 0xFFFF.

The checksum of a record covers the same bytes as those of its sections.  Since the function is linear, the checksum of
two parts one after the other follows from those of the parts, so that no byte of a large section is looked at twice.
"""

from __future__ import annotations

from binascii import crc_hqx
from collections.abc import Iterable
from functools import cache
from typing import Final

__all__ = ["checksum", "checksum_over"]

_START: Final = 0xFFFF
_POLYNOMIAL: Final = 0x1021
_LARGE: Final = 4096
"""Bytes from which joining is quicker than looking at them again."""


def checksum(data: bytes | memoryview) -> int:
    """The checksum of the bytes; 0x29B1 for ``123456789``."""
    return crc_hqx(data, _START)


def checksum_over(data: bytes | memoryview, known: Iterable[tuple[int, int, int]]) -> int:
    """The checksum of all of ``data``, given those of some of its parts as (first byte, behind its last, checksum).

    The parts are in ascending order; one that overlaps the part before it is looked at again.
    """
    found = _START
    place = 0
    for first, end, part in known:
        if first >= place and end - first >= _LARGE:
            found = _joined(crc_hqx(data[place:first], found), part, end - first)
            place = end
    return crc_hqx(data[place:], found)


def _joined(first: int, second: int, size: int) -> int:
    """The checksum of two parts one after the other, given that of each and the size of the second in bytes."""
    rest = first ^ _START
    number = 0
    while size:
        if size & 1:
            rest = _product(rest, _power(number))
        size >>= 1
        number += 1
    return rest ^ second


@cache
def _power(number: int) -> int:
    """What 2 ** ``number`` bytes of zeros multiply a remainder by."""
    return 0x100 if number == 0 else _product(_power(number - 1), _power(number - 1))


def _product(one: int, other: int) -> int:
    """The product of two polynomials over GF(2), modulo that of the checksum."""
    found = 0
    for bit in range(15, -1, -1):
        found <<= 1
        if found & 0x10000:
            found ^= 0x10000 | _POLYNOMIAL
        if other >> bit & 1:
            found ^= one
    return found
