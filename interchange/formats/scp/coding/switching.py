"""Decoding one value at a time: several tables with switches between them, and long codes (EN 1064 clause 5.5).

The next twelve bits at every bit position come from :func:`.windows.windows`; a list for each table says which code a
window begins with.  Codes with longer prefixes are looked for bit by bit.
"""

from __future__ import annotations

from array import array
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.formats.scp.coding.windows import SPARE, WIDTH, windows
from interchange.formats.scp.syntax.tables import MOST_TABLES, Code, Table
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["decode_block"]


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    values: NDArray[Any]
    bits: int
    undecodable: bool
    ends: NDArray[np.int64]

    def end(self, count: int) -> int:
        """Bits that the first ``count`` values take."""
        return int(self.ends[count - 1]) if count else 0


@dataclass(frozen=True, slots=True, eq=False)
class _Lookup:
    """One table: the code of each window (None: longer, or none), and its longer codes by length and prefix."""

    codes: list[Code | None]
    longer: dict[tuple[int, int], Code]
    longest: int

    def find(self, block: bytes, place: int) -> Code | None:
        """A code with a prefix longer than a window at bit ``place``."""
        for length in sorted({length for length, _ in self.longer}):
            code = self.longer.get((length, _bits(block, place, length)))
            if code is not None:
                return code
        return None


@lru_cache(maxsize=MOST_TABLES)
def _lookup(table: Table) -> _Lookup:
    codes: list[Code | None] = [None] * (1 << WIDTH)
    longer = {}
    for code in table.codes:
        if code.length <= WIDTH:
            start = code.prefix << (WIDTH - code.length)
            width = 1 << (WIDTH - code.length)
            codes[start : start + width] = [code] * width
        else:
            longer[code.length, code.prefix] = code
    return _Lookup(codes, longer, max(code.length for code in table.codes))


def _bits(block: bytes, place: int, count: int) -> int:
    """``count`` (at most 32) bits at ``place``, the first one most significant; behind the end they are 0."""
    byte = place >> 3
    word = int.from_bytes(block[byte : byte + 5].ljust(5, b"\0"), "big")
    return word >> (40 - (place & 7) - count) & ((1 << count) - 1)


def decode_block(block: bytes, tables: tuple[Table, ...]) -> _Block:
    """The values of one block; every block begins with table 1."""
    lookups = [_lookup(table) for table in tables]
    size = 8 * len(block)
    view = (windows(np.frombuffer(block, dtype=np.uint8)) >> SPARE).data
    values = array("q")
    ends = array("q")
    current = lookups[0]
    place = 0
    undecodable = False
    while place < size:
        code = current.codes[view[place]] or current.find(block, place)
        if code is None:
            undecodable = size - place >= current.longest
            break
        end = place + code.length + code.extra
        if end > size:
            break
        if code.switches:
            if not 1 <= code.value <= len(tables):
                undecodable = True
                break
            current = lookups[code.value - 1]
        else:
            values.append(_original(block, end, code.extra) if code.extra else code.value)
            ends.append(end)
        place = end
    return _Block(np.array(values, dtype=np.int64), size, undecodable, np.array(ends, dtype=np.int64))


def _original(block: bytes, end: int, bits: int) -> int:
    """The signed value of the bits before ``end``."""
    value = _bits(block, end - bits, bits)
    return value - (1 << bits) if value >> (bits - 1) else value
