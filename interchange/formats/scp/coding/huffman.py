"""Decoding of Huffman codes, many at a time (EN 1064 clause 5.5 and Annex C).

How it works, for one code table without switches (the default table and nearly all others).  A window is the next
twelve bits at some bit position.  A table over all 4096 windows says which complete values a window begins with, and
how many bits they take; an original value behind an escape may run beyond the window, because only its length
matters for going on.  Then

1. the window at every bit position of all blocks is built with eight strided stores,
2. one gather turns windows into advances, kept as ``bytes``, whose items Python reads fastest,
3. a walk through each block marks the positions at which a window is used (``i += advance[i]``),
4. gathers turn the used windows into values, and
5. originals are read from the bits behind their escapes, all at once.

A window without a complete value advances by one bit and counts no value, so that the walk always ends; the first such
place stops the block.  Windows look beyond the end of a block, values are counted only as far as their last bit is
inside.  Several tables, and prefixes longer than a window, go one value at a time (:mod:`.switching`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from interchange.formats.scp.coding.streams import Stream
from interchange.formats.scp.syntax.tables import Table

__all__ = ["decode_blocks", "windows"]

WIDTH: Final = 12
"""Bits of a window."""
_ROW: Final = 8
"""Most values that are taken from one window."""


@dataclass(frozen=True, slots=True, eq=False)
class _Windows:
    """Over all windows: bits taken, values and their number, where each ends, extra bits behind the last."""

    advance: NDArray[np.uint8]
    counts: NDArray[np.uint8]
    values: NDArray[np.int32]
    ends: NDArray[np.uint8]
    extra: NDArray[np.uint8]
    longest_extra: int


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    values: NDArray[Any]
    bits: int
    undecodable: bool
    first: int
    starts: NDArray[np.int64]
    used: NDArray[np.uint16]
    before: NDArray[np.int64]
    table: _Windows

    def end(self, count: int) -> int:
        """Bits that the first ``count`` values take."""
        if count == 0:
            return 0
        row = int(np.searchsorted(self.before, count, side="left")) - 1
        inside = int(self.table.ends[self.used[row], count - int(self.before[row]) - 1])
        return int(self.starts[row]) - self.first + inside


def decode_blocks(data: bytes, blocks: list[tuple[int, int]], tables: tuple[Table, ...]) -> list[Stream]:
    """The values of each block (start and end in ``data``, in bytes, ascending and not overlapping).

    The blocks need not touch.  A block that cannot be decoded to its end says so; it never fails.
    """
    if not _is_fast(tables):
        from interchange.formats.scp.coding.switching import decode_block

        return [decode_block(data[start:end], tables) for start, end in blocks]
    table = _build(tables[0])
    base = min((start for start, _ in blocks), default=0)
    limit = max((end for _, end in blocks), default=0)
    raw = np.frombuffer(data, dtype=np.uint8)[base:limit]
    view = windows(raw)
    marks = _walk(table.advance.take(view).tobytes(), [(8 * (s - base), 8 * (e - base)) for s, e in blocks])
    starts = np.flatnonzero(np.frombuffer(marks, dtype=np.uint8))
    used = view[starts]
    values, before = _values(raw, table, starts, used)
    return [_block(8 * (s - base), 8 * (e - base), starts, used, values, before, table) for s, e in blocks]


def _is_fast(tables: tuple[Table, ...]) -> bool:
    return len(tables) == 1 and all(
        code.length <= WIDTH and not code.switches and code.extra <= 16 for code in tables[0].codes
    )


def windows(raw: NDArray[np.uint8], width: int = WIDTH) -> NDArray[np.uint16]:
    """The next ``width`` (at most 16) bits at every bit position; behind the end all bits are 0."""
    padded = np.zeros(raw.size + 2, dtype=np.uint32)
    padded[: raw.size] = raw
    words = padded[:-2] << 16 | padded[1:-1] << 8 | padded[2:]
    found = np.empty((raw.size, 8), dtype=np.uint16)
    for bit in range(8):
        found[:, bit] = words >> (24 - width - bit) & ((1 << width) - 1)
    return found.reshape(-1)


def _walk(advance: bytes, blocks: list[tuple[int, int]]) -> bytearray:
    """A mark at every bit position where a window is used."""
    marks = bytearray(len(advance))
    for start, end in blocks:
        place = start
        while place < end:
            marks[place] = 1
            place += advance[place]
    return marks


def _values(
    raw: NDArray[np.uint8], table: _Windows, starts: NDArray[np.int64], used: NDArray[np.uint16]
) -> tuple[NDArray[np.int32], NDArray[np.int64]]:
    """All values, and how many of them lie before each used window (one item more than windows)."""
    counts = table.counts[used]
    before = np.zeros(used.size + 1, dtype=np.int64)
    np.cumsum(counts, out=before[1:])
    values = table.values[used][np.arange(_ROW) < counts[:, None]]
    extra = table.extra[used]
    escaped = np.flatnonzero(extra)
    if escaped.size:
        place = starts[escaped] + table.advance[used[escaped]] - extra[escaped]
        values[before[escaped + 1] - 1] = _originals(raw, place, extra[escaped].astype(np.int64))
    return values, before


def _originals(raw: NDArray[np.uint8], place: NDArray[np.int64], bits: NDArray[np.int64]) -> NDArray[np.int64]:
    """The signed values of ``bits`` (at most 16) bits at bit positions ``place``; bits behind the end are 0."""
    padded = np.zeros(raw.size + 8, dtype=np.int64)
    padded[: raw.size] = raw
    byte = np.minimum(place >> 3, raw.size)
    word = padded[byte] << 16 | padded[byte + 1] << 8 | padded[byte + 2]
    found = word >> (24 - (place & 7) - bits) & ((1 << bits) - 1)
    signed: NDArray[np.int64] = found - ((found >> (bits - 1)) << bits)
    return signed


def _block(
    first: int,
    end: int,
    starts: NDArray[np.int64],
    used: NDArray[np.uint16],
    values: NDArray[np.int32],
    before: NDArray[np.int64],
    table: _Windows,
) -> _Block:
    """What lies in one block: its own windows, up to the first without a value, up to the last whole value."""
    low, high = np.searchsorted(starts, (first, end))
    stop = high
    if high > low:
        empty = np.flatnonzero(np.diff(before[low : high + 1]) == 0)
        stop = low + int(empty[0]) if empty.size else high
    offset = int(before[low])
    counted = before[low : stop + 1] - offset
    found = _Block(
        values[offset : int(before[stop])],
        end - first,
        stop < high,
        first,
        starts[low:stop],
        used[low:stop],
        counted,
        table,
    )
    whole = found.values.size
    while whole and found.end(whole) > found.bits:
        whole -= 1
    cut = whole < found.values.size
    return _Block(
        found.values[:whole], found.bits, found.undecodable and not cut, first, found.starts, found.used, counted, table
    )


@lru_cache(maxsize=4)
def _build(table: Table) -> _Windows:
    """The window table of a code table whose prefixes fit into a window."""
    size = 1 << WIDTH
    code_at = np.full(size, -1, dtype=np.int16)
    for number, code in enumerate(table.codes):
        start = code.prefix << (WIDTH - code.length)
        code_at[start : start + (1 << (WIDTH - code.length))] = number
    length = np.array([code.length for code in table.codes], dtype=np.int64)
    extra = np.array([code.extra for code in table.codes], dtype=np.int64)
    value = np.array([0 if code.extra else code.value for code in table.codes], dtype=np.int32)

    taken = np.zeros(size, dtype=np.int64)
    counts = np.zeros(size, dtype=np.uint8)
    behind = np.zeros(size, dtype=np.uint8)
    values = np.zeros((size, _ROW), dtype=np.int32)
    ends = np.zeros((size, _ROW), dtype=np.uint8)
    going = np.ones(size, dtype=bool)
    every = np.arange(size)
    for column in range(_ROW):
        code = code_at[(every << np.minimum(taken, WIDTH)) & (size - 1)]
        going &= (code >= 0) & (taken + length[code] <= WIDTH)
        chosen = code[going]
        taken[going] += length[chosen] + extra[chosen]
        values[going, column] = value[chosen]
        ends[going, column] = taken[going]
        behind[going] = extra[chosen]
        counts[going] += 1
        going &= behind == 0
    advance = np.maximum(taken, 1).astype(np.uint8)
    return _Windows(advance, counts, values, ends, behind, int(extra.max(initial=0)))
