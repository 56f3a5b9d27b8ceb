"""Decoding of Huffman codes, many at a time (EN 1064 clause 5.5 and Annex C).

How it works, for one code table without switches (the default table and nearly all others).  A window is the next
twelve bits at some bit position.  A table over all 4096 windows says which complete values a window begins with, and
how many bits they take; an original value behind an escape may run beyond the window, because only its length
matters for going on.  Then

1. the blocks are laid out with zeros between them, and the window at every bit position is built with eight strided
   stores,
2. the windows that are used one after the other are found (:mod:`.paths`),
3. gathers turn the used windows into values, and
4. originals are read from the bits behind their escapes, all at once.

A window without a complete value has no meaning; the first such place stops the block.  The last window may look
beyond the end of its block: values are counted only as far as their last bit is inside.  Several tables, and prefixes
longer than a window, go one value at a time (:mod:`.switching`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache, lru_cache
from itertools import accumulate
from typing import TYPE_CHECKING, Final

import numpy as np

from interchange.formats.scp.coding.paths import GAP, LONGEST, used_places
from interchange.formats.scp.coding.windows import SPARE, WIDTH, windows
from interchange.formats.scp.syntax.tables import DEFAULT, Table

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interchange.formats.scp.coding.streams import Stream

__all__ = ["decode_blocks"]

_ROW: Final = 8
"""Most values that are taken from one window."""
_BATCH: Final = 2**19
"""Bytes that are decoded at a time."""
_KEPT: Final = 24 * 2**20


class _Windows:
    """The window table of a code table whose prefixes fit into a window.

    Over all windows: bits taken (also by the sixteen bits that :func:`windows` gives), number of values, the values
    in rows, where each ends, extra bits behind the last.
    """

    def __init__(self, table: Table) -> None:
        size = 1 << WIDTH
        code_at = np.full(size, -1, dtype=np.int16)
        for number, code in enumerate(table.codes):
            start = code.prefix << (WIDTH - code.length)
            code_at[start : start + (1 << (WIDTH - code.length))] = number
        length = np.array([code.length for code in table.codes], dtype=np.int64)
        extra = np.array([code.extra for code in table.codes], dtype=np.int64)
        value = np.array([0 if code.extra else code.value for code in table.codes], dtype=np.int16)

        taken = np.zeros(size, dtype=np.int64)
        behind = np.zeros(size, dtype=np.int64)
        self.counts = np.zeros(size, dtype=np.int64)
        values = np.zeros((size, _ROW), dtype=np.int16)
        self.ends = np.zeros((size, _ROW), dtype=np.uint8)
        going = np.arange(size)
        for column in range(_ROW):
            code = code_at[(going << np.minimum(taken[going], WIDTH)) & (size - 1)]
            fits = (code >= 0) & (taken[going] + length[code] <= WIDTH)
            going, code = going[fits], code[fits]
            taken[going] += length[code] + extra[code]
            values[going, column] = value[code]
            self.ends[going, column] = taken[going]
            behind[going] = extra[code]
            self.counts[going] += 1
            going = going[extra[code] == 0]
        self.values = values.reshape(-1)
        self.extra = behind
        self.is_complete = bool(self.counts.all())
        self.advance = np.where(self.counts == 0, LONGEST, taken)
        self.wide_advance = np.repeat(self.advance, 1 << SPARE)


class _Block:
    """The values of one block: what the windows ``first`` to ``last`` (behind it) of a batch hold."""

    __slots__ = ("_batch", "_first", "_last", "_start", "bits", "undecodable", "values")

    def __init__(self, batch: _Batch, start: int, bits: int, first: int, last: int, undecodable: bool) -> None:
        self.values = batch.values[int(batch.before[first]) : int(batch.before[last])]
        self.bits = bits
        self.undecodable = undecodable
        self._batch = batch
        self._start = start
        self._first = first
        self._last = last
        beyond = self._beyond() if last > first else 0
        if beyond:
            self.values = self.values[:-beyond]
            self.undecodable = False

    def _beyond(self) -> int:
        """How many values have their last bit beyond the block: they can only be in its last window."""
        batch, row = self._batch, self._last - 1
        room = self.bits + self._start - int(batch.starts[row])
        window = batch.used[row]
        if batch.table.advance[window] <= room:
            return 0
        return int(np.count_nonzero(batch.table.ends[window] > room))  # behind the last value there are zeros

    def end(self, count: int) -> int:
        """Bits that the first ``count`` values take."""
        if count == 0:
            return 0
        batch = self._batch
        before = batch.before[self._first : self._last + 1]
        target = count + int(before[0])
        row = int(np.searchsorted(before, target, side="left")) - 1
        place = self._first + row
        inside = int(batch.table.ends[batch.used[place], target - int(before[row]) - 1])
        return int(batch.starts[place]) - self._start + inside


class _Batch:
    """The windows of some blocks: where they begin, which they are, how many values lie before each, all values."""

    def __init__(self, data: bytes, blocks: Sequence[tuple[int, int]], table: _Windows) -> None:
        self.table = table
        self.sizes = [8 * (end - start) for start, end in blocks]
        self.firsts = [0, *accumulate(size + 8 * GAP for size in self.sizes)][:-1]
        self.ends = [first + size for first, size in zip(self.firsts, self.sizes, strict=True)]
        view = windows(np.frombuffer(b"".join(_spaced(data, blocks)), dtype=np.uint8))
        spans = list(zip(self.firsts, self.ends, strict=True))
        self.starts = used_places(view, table.wide_advance, spans)
        self.used = (view.take(self.starts) >> SPARE).astype(np.int64)
        counts = table.counts.take(self.used)
        self.before = np.zeros(self.used.size + 1, dtype=np.int64)
        np.cumsum(counts, out=self.before[1:])
        self.values = self._values(counts)
        self._put_originals(view)

    def _values(self, counts: NDArray[np.int64]) -> NDArray[np.int16]:
        """The values of all windows: the steps from each one's place in the table to the next one's, added up."""
        there = counts.nonzero()[0] if not self.table.is_complete else slice(None)
        rows, counts = self.used[there] * _ROW, counts[there]
        if not rows.size:
            return np.zeros(0, dtype=np.int16)
        steps = np.ones(int(self.before[-1]), dtype=np.int64)
        steps[0] = rows[0]
        steps[self.before[:-1][there][1:]] = np.diff(rows) - counts[:-1] + 1
        return self.table.values.take(np.cumsum(steps))

    def _put_originals(self, view: NDArray[np.uint16]) -> None:
        """The signed values behind escapes, at most 16 bits each."""
        extra = self.table.extra.take(self.used)
        escaped = extra.nonzero()[0]
        if escaped.size:
            bits = extra.take(escaped)
            place = self.starts.take(escaped) + self.table.advance.take(self.used.take(escaped)) - bits
            self.values[self.before.take(escaped + 1) - 1] = view.take(place).view(np.int16) >> (16 - bits)

    def blocks(self) -> Iterator[Stream]:
        """What lies in each block: its windows up to the first without a value, values up to the last whole one."""
        lows = np.searchsorted(self.starts, self.firsts).tolist()
        highs = np.searchsorted(self.starts, self.ends).tolist()
        for first, bits, low, high in zip(self.firsts, self.sizes, lows, highs, strict=True):
            stop = high
            if not self.table.is_complete:
                empty = np.flatnonzero(self.table.counts.take(self.used[low:high]) == 0)
                stop = low + int(empty[0]) if empty.size else high
            yield _Block(self, first, bits, low, stop, stop < high)


def decode_blocks(data: bytes, blocks: Sequence[tuple[int, int]], tables: tuple[Table, ...]) -> list[Stream]:
    """The values of each block, given by start and end in ``data`` in bytes.

    A block that cannot be decoded to its end says so; it never fails.
    """
    if tables[0] is DEFAULT and len(tables) == 1:
        table = _of_the_default()
    elif _is_fast(tables):
        table = _of(tables[0])
    else:
        from interchange.formats.scp.coding.switching import decode_block

        return [decode_block(data[start:end], tables) for start, end in blocks]
    _keep_memory()
    return [stream for part in _batches(blocks) for stream in _Batch(data, part, table).blocks()]


def _is_fast(tables: tuple[Table, ...]) -> bool:
    return len(tables) == 1 and all(
        code.length <= WIDTH and not code.switches and code.extra <= 16 for code in tables[0].codes
    )


@cache
def _keep_memory() -> None:
    """Let the C library keep the memory of large arrays that are freed: getting it anew takes a third of the time.

    Where it hands large blocks back to the system at once, freeing one that was never touched, and so never took any
    memory, makes it raise the size from which it does so; elsewhere this does nothing.
    """
    np.empty(_KEPT, dtype=np.uint8)


@cache
def _of_the_default() -> _Windows:
    return _Windows(DEFAULT)


@lru_cache(maxsize=4)
def _of(table: Table) -> _Windows:
    return _Windows(table)


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


def _spaced(data: bytes, blocks: Sequence[tuple[int, int]]) -> Iterator[bytes]:
    for start, end in blocks:
        yield data[start:end]
        yield bytes(GAP)
