"""Decoding one value at a time: several tables with switches between them, and long prefixes (EN 1064 clause 5.5)."""

from __future__ import annotations

from array import array
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interchange.formats.scp.syntax.tables import Code, Table

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


class _Bits:
    """Reads up to 32 bits at any position; bits behind the end are 0, whoever reads them must check."""

    def __init__(self, block: bytes) -> None:
        self._padded = block + bytes(8)
        self.size = 8 * len(block)

    def at(self, place: int, count: int) -> int:
        """``count`` bits at ``place``, the first one most significant."""
        byte = place >> 3
        word = int.from_bytes(self._padded[byte : byte + 5], "big")
        return word >> (40 - (place & 7) - count) & ((1 << count) - 1)


class _Prefixes:
    """Finds the code that some bits begin with: by length, shortest first."""

    def __init__(self, table: Table) -> None:
        self.lengths = sorted({code.length for code in table.codes})
        self._codes = {(code.length, code.prefix): code for code in table.codes}

    def find(self, bits: _Bits, place: int) -> Code | None:
        """The code at ``place``, None where no prefix matches."""
        for length in self.lengths:
            code = self._codes.get((length, bits.at(place, length)))
            if code is not None:
                return code
        return None


def decode_block(block: bytes, tables: tuple[Table, ...]) -> _Block:
    """The values of one block; every block begins with table 1."""
    bits = _Bits(block)
    prefixes = [_Prefixes(table) for table in tables]
    values = array("q")
    ends = array("q")
    current = 0
    place = 0
    undecodable = False
    while place < bits.size:
        code = prefixes[current].find(bits, place)
        if code is None:
            undecodable = bits.size - place >= prefixes[current].lengths[-1]
            break
        end = place + code.length + code.extra
        if end > bits.size:
            break
        if code.switches:
            if not 1 <= code.value <= len(tables):
                undecodable = True
                break
            current = code.value - 1
        else:
            values.append(_signed(bits.at(end - code.extra, code.extra), code.extra) if code.extra else code.value)
            ends.append(end)
        place = end
    return _Block(np.array(values, dtype=np.int64), bits.size, undecodable, np.array(ends, dtype=np.int64))


def _signed(value: int, bits: int) -> int:
    return value - (1 << bits) if value >> (bits - 1) else value
