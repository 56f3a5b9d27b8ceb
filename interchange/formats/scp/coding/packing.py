"""Encoding with the default Huffman table, many values at a time (EN 1064 Annex C).

Every code has at most 26 bits, so that it lies in at most two 32-bit words of the stream: the words are sums of the
parts of the codes that fall into them.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.formats.scp.coding.differences import differ
from interchange.formats.scp.syntax.tables import DEFAULT

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["best_order", "bits_needed", "pack", "pack_all"]

_LOW, _HIGH = -32768, 32767


@cache
def _table() -> tuple[NDArray[np.uint32], NDArray[np.uint8]]:
    """Code and length of every value of 16 bits, at the place of its bits taken as a whole number.

    Values beyond 8 in magnitude stand behind an escape of ten bits, in 8 bits where these hold them, else in 16.
    """
    values = np.arange(1 << 16, dtype=np.uint32)
    codes: NDArray[np.uint32] = values | np.uint32(0b1111111111 << 16)
    lengths = np.full(1 << 16, 26, dtype=np.uint8)
    for part in (slice(0, 128), slice(-128, None)):
        codes[part] = 0b1111111110 << 8 | values[part] & 0xFF
        lengths[part] = 18
    for code in DEFAULT.codes:
        if not code.extra:
            codes[code.value], lengths[code.value] = code.prefix, code.length
    return codes, lengths


def _places(values: NDArray[np.int64]) -> NDArray[np.uint16] | None:
    """Where the values stand in the table; None where one of them exceeds 16 bits."""
    if values.size and (int(values.min()) < _LOW or int(values.max()) > _HIGH):
        return None
    return values.astype(np.int16).view(np.uint16)


def bits_needed(samples: NDArray[Any], order: int) -> int | None:
    """Bits of the samples with differences of that order; None where a difference exceeds 16 bits."""
    places = _places(differ(samples, order))
    return None if places is None else int(_table()[1].take(places).sum())


def best_order(leads: Sequence[NDArray[Any]]) -> int:
    """The order of differences (2, 1 or 0) that takes least, among those that can hold all leads."""
    totals = []
    for order in (2, 1, 0):
        bits = [bits_needed(samples, order) for samples in leads]
        if None not in bits:
            totals.append((sum(-(-b // 8) for b in bits if b is not None), -order))
    return -min(totals)[1]


def pack(samples: NDArray[Any], order: int) -> bytes:
    """The block of one lead: differences of that order, coded, padded with zeros to a whole byte."""
    return pack_all([samples], order)[0]


def pack_all(leads: Sequence[NDArray[Any]], order: int) -> list[bytes]:
    """The blocks of all leads.  ValueError where a difference exceeds 16 bits."""
    found = [_places(differ(samples, order)) for samples in leads]
    places = [part for part in found if part is not None]
    if len(places) < len(found):
        raise ValueError("a difference exceeds 16 bits")
    if not sum(part.size for part in places):
        return [b""] * len(places)
    every = np.concatenate(places)
    lengths = _table()[1].take(every).astype(np.int64)
    ends = np.cumsum(lengths)
    counts = [part.size for part in places]
    bits = np.diff(np.concatenate([[0], ends])[np.cumsum([0, *counts])])
    firsts = np.cumsum([0, *(-(-bits // 32)).tolist()])  # every lead begins with a word of its own
    shift = 32 * firsts[:-1] - (np.cumsum(bits) - bits)
    stream = _stream(_table()[0].take(every), lengths, ends - lengths + np.repeat(shift, counts), int(firsts[-1]))
    return [stream[4 * a : 4 * a + -(-b // 8)] for a, b in zip(firsts.tolist(), bits.tolist(), strict=False)]


def _stream(codes: NDArray[np.uint32], lengths: NDArray[np.int64], starts: NDArray[np.int64], words: int) -> bytes:
    """The codes at their bit positions, which are in ascending order."""
    word = starts >> 5
    parts = codes.astype(np.uint64) << (64 - (starts & 31) - lengths).astype(np.uint64)  # in the two words from there
    firsts = np.flatnonzero(np.diff(word, prepend=-1))
    stream = np.zeros(words + 1, dtype=np.uint64)
    stream[word[firsts]] += np.add.reduceat(parts >> np.uint64(32), firsts)
    stream[word[firsts] + 1] += np.add.reduceat(parts & np.uint64(0xFFFFFFFF), firsts)
    return stream.astype(">u4").tobytes()
