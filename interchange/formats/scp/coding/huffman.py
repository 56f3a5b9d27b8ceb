"""Decoding of Huffman codes, many at a time (EN 1064 clause 5.5 and Annex C).

How it works, for one code table without switches (the default table and nearly all others).  A window is the next
twelve bits at some bit position.  A table over all 4096 windows says which complete values a window begins with, and
how many bits they take; an original value behind an escape may run beyond the window, because only its length
matters for going on.  Then

1. the blocks are laid out with zeros between them, and the window at every bit position is built with eight strided
   stores,
2. one gather turns windows into advances, kept as ``bytes``, whose items Python reads fastest,
3. a walk through each block marks the positions at which a window is used (``i += advance[i]``),
4. gathers turn the used windows into values, and
5. originals are read from the bits behind their escapes, all at once.

A window without a complete value advances by one bit and counts no value, so that the walk always ends; the first such
place stops the block.  The last window may look beyond the end of its block: values are counted only as far as their
last bit is inside.  Several tables, and prefixes longer than a window, go one value at a time (:mod:`.switching`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import accumulate
from typing import TYPE_CHECKING, Final

import numpy as np

from interchange.formats.scp.coding.streams import Stream
from interchange.formats.scp.syntax.tables import Table
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["decode_blocks", "windows"]

WIDTH: Final = 12
"""Bits of a window."""
_ROW: Final = 8
"""Most values that are taken from one window."""
_BATCH: Final = 2**19
"""Bytes that are decoded at a time."""
_GAP: Final = 12
"""Bytes between blocks: more than three windows with their originals take."""


@dataclass(frozen=True, slots=True, eq=False)
class _Windows:
    """Over all windows: bits taken, values and their number, where each ends, extra bits behind the last."""

    advance: NDArray[np.uint8]
    counts: NDArray[np.uint8]
    values: NDArray[np.int16]
    ends: NDArray[np.uint8]
    extra: NDArray[np.uint8]


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """The values of one block; ``starts`` and ``used`` are the places and windows that gave them."""

    values: NDArray[np.int16]
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
        target = count + int(self.before[0])
        row = int(np.searchsorted(self.before, target, side="left")) - 1
        inside = int(self.table.ends[self.used[row], target - int(self.before[row]) - 1])
        return int(self.starts[row]) - self.first + inside

    def cut(self) -> _Block:
        """The same without values whose last bit lies beyond the block: they can only be in its last window."""
        if not self.starts.size:
            return self
        count = int(self.before[-1] - self.before[-2])
        room = self.bits - (int(self.starts[-1]) - self.first)
        beyond = sum(end > room for end in self.table.ends[self.used[-1], :count].tolist())
        if not beyond:
            return self
        return replace(self, values=self.values[:-beyond], undecodable=False)


def decode_blocks(data: bytes, blocks: Sequence[tuple[int, int]], tables: tuple[Table, ...]) -> list[Stream]:
    """The values of each block, given by start and end in ``data`` in bytes.

    A block that cannot be decoded to its end says so; it never fails.
    """
    if not _is_fast(tables):
        from interchange.formats.scp.coding.switching import decode_block

        return [decode_block(data[start:end], tables) for start, end in blocks]
    table = _build(tables[0])
    return [stream for part in _batches(blocks) for stream in _decode(data, part, table)]


def _is_fast(tables: tuple[Table, ...]) -> bool:
    return len(tables) == 1 and all(
        code.length <= WIDTH and not code.switches and code.extra <= 16 for code in tables[0].codes
    )


def _batches(blocks: Sequence[tuple[int, int]]) -> Iterator[list[tuple[int, int]]]:
    """The blocks in batches of bounded size: decoding takes some hundred bytes of memory for each byte."""
    batch: list[tuple[int, int]] = []
    size = 0
    for start, end in blocks:
        if batch and size + end - start > _BATCH:
            yield batch
            batch, size = [], 0
        batch.append((start, end))
        size += end - start
    if batch:
        yield batch


def _decode(data: bytes, blocks: Sequence[tuple[int, int]], table: _Windows) -> list[Stream]:
    raw = np.frombuffer(b"".join(_spaced(data, blocks)), dtype=np.uint8)
    sizes = [8 * (end - start) for start, end in blocks]
    firsts = [0, *accumulate(size + 8 * _GAP for size in sizes)][:-1]
    view = windows(raw)
    marks = _walk(table.advance.take(view).tobytes(), firsts, sizes)
    starts = np.flatnonzero(np.frombuffer(marks, dtype=np.bool_))
    used = view[starts]
    values, before = _values(raw, table, starts, used)
    lows = np.searchsorted(starts, firsts)
    highs = np.searchsorted(starts, [first + size for first, size in zip(firsts, sizes, strict=True)])
    whole = bool(table.counts[used].all())
    return [
        _block(first, size, slice(int(low), int(high)), starts, used, values, before, table, whole)
        for first, size, low, high in zip(firsts, sizes, lows, highs, strict=True)
    ]


def _spaced(data: bytes, blocks: Sequence[tuple[int, int]]) -> Iterator[bytes]:
    for start, end in blocks:
        yield data[start:end]
        yield bytes(_GAP)


def windows(raw: NDArray[np.uint8], width: int = WIDTH) -> NDArray[np.uint16]:
    """The next ``width`` (at most 16) bits at every bit position; behind the end all bits are 0."""
    padded = np.zeros(raw.size + 2, dtype=np.uint32)
    padded[: raw.size] = raw
    words = padded[:-2] << 16 | padded[1:-1] << 8 | padded[2:]
    found = np.empty((raw.size, 8), dtype=np.uint16)
    for bit in range(8):
        found[:, bit] = words >> (24 - width - bit) & ((1 << width) - 1)
    return found.reshape(-1)


def _walk(advance: bytes, firsts: Sequence[int], sizes: Sequence[int]) -> bytearray:
    """A mark at every bit position where a window is used; the walk may run a few windows into the gap."""
    marks = bytearray(len(advance))
    for first, size in zip(firsts, sizes, strict=True):
        place = first
        end = first + size
        while place < end:
            marks[place] = 1
            place += advance[place]
            marks[place] = 1
            place += advance[place]
            marks[place] = 1
            place += advance[place]
    return marks


def _values(
    raw: NDArray[np.uint8], table: _Windows, starts: NDArray[np.int64], used: NDArray[np.uint16]
) -> tuple[NDArray[np.int16], NDArray[np.int64]]:
    """All values, and how many of them lie before each used window (one item more than windows)."""
    counts = table.counts[used]
    before = np.zeros(used.size + 1, dtype=np.int64)
    np.cumsum(counts, out=before[1:])
    rows = used.astype(np.int64) * _ROW - before[:-1]
    values = table.values.reshape(-1).take(np.repeat(rows, counts) + np.arange(before[-1]))
    extra = table.extra[used]
    escaped = np.flatnonzero(extra)
    if escaped.size:
        bits = extra[escaped].astype(np.int64)
        place = starts[escaped] + table.advance[used[escaped]] - bits
        values[before[escaped + 1] - 1] = _originals(raw, place, bits)
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
    bits: int,
    rows: slice,
    starts: NDArray[np.int64],
    used: NDArray[np.uint16],
    values: NDArray[np.int16],
    before: NDArray[np.int64],
    table: _Windows,
    whole: bool,
) -> _Block:
    """What lies in one block: its own windows, up to the first without a value, up to the last whole value."""
    stop = rows.stop
    if not whole:
        empty = np.flatnonzero(before[rows.start : stop] == before[rows.start + 1 : stop + 1])
        stop = rows.start + int(empty[0]) if empty.size else stop
    part = slice(rows.start, stop)
    found = _Block(
        values[int(before[rows.start]) : int(before[stop])],
        bits,
        stop < rows.stop,
        first,
        starts[part],
        used[part],
        before[rows.start : stop + 1],
        table,
    )
    return found.cut()


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
    value = np.array([0 if code.extra else code.value for code in table.codes], dtype=np.int16)

    taken = np.zeros(size, dtype=np.int64)
    counts = np.zeros(size, dtype=np.uint8)
    behind = np.zeros(size, dtype=np.uint8)
    values = np.zeros((size, _ROW), dtype=np.int16)
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
    return _Windows(np.maximum(taken, 1).astype(np.uint8), counts, values, ends, behind)
