"""Encoding with the default Huffman table, many values at a time (EN 1064 Annex C).

Every code has at most 26 bits, so that each 32-bit word of the stream is the place where at least one code begins:
the words are sums of the parts of the codes that fall into them.
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from interchange.formats.scp.coding.differences import differ
from interchange.formats.scp.syntax.tables import DEFAULT

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["best_order", "bits_needed", "pack"]

_REACH: Final = 8
"""Largest magnitude with a code of its own."""


@cache
def _codes() -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Code and length of the values -8 to 8."""
    codes = np.zeros(2 * _REACH + 1, dtype=np.int64)
    lengths = np.zeros(2 * _REACH + 1, dtype=np.int64)
    for code in DEFAULT.codes:
        if not code.extra:
            codes[code.value + _REACH] = code.prefix
            lengths[code.value + _REACH] = code.length
    return codes, lengths


def _coded(values: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Code and length of each value; values beyond 8 in magnitude behind an escape of ten bits."""
    own, own_lengths = _codes()
    near = np.clip(values, -_REACH, _REACH) + _REACH
    codes, lengths = own[near], own_lengths[near]
    far = np.flatnonzero(np.abs(values) > _REACH)
    if far.size:
        chosen = values[far]
        short = (chosen >= -128) & (chosen <= 127)
        codes[far] = np.where(short, 0b1111111110 << 8 | chosen & 0xFF, 0b1111111111 << 16 | chosen & 0xFFFF)
        lengths[far] = np.where(short, 18, 26)
    return codes, lengths


def bits_needed(samples: NDArray[Any], order: int) -> int | None:
    """Bits of the samples with differences of that order; None where a difference exceeds 16 bits."""
    values = differ(samples, order)
    if values.size and (int(values.min()) < -32768 or int(values.max()) > 32767):
        return None
    return int(_coded(values)[1].sum())


def best_order(leads: list[NDArray[Any]]) -> int:
    """The order of differences (2, 1 or 0) that takes least, among those that can hold all leads."""
    totals = []
    for order in (2, 1, 0):
        bits = [bits_needed(samples, order) for samples in leads]
        if None not in bits:
            totals.append((sum(-(-b // 8) for b in bits if b is not None), -order))
    return -min(totals)[1]


def pack(samples: NDArray[Any], order: int) -> bytes:
    """The block of one lead: differences of that order, coded, padded with zeros to a whole byte."""
    codes, lengths = _coded(differ(samples, order))
    if not codes.size:
        return b""
    ends = np.cumsum(lengths)
    starts = ends - lengths
    word = starts >> 5
    parts = codes << (64 - (starts & 31) - lengths)  # within the two words from ``word`` on
    firsts = np.flatnonzero(np.diff(word, prepend=-1))
    stream = np.zeros(int(word[-1]) + 3, dtype=np.uint64)
    unsigned = parts.view(np.uint64)
    stream[word[firsts]] += np.add.reduceat(unsigned >> np.uint64(32), firsts)
    stream[word[firsts] + 1] += np.add.reduceat(unsigned & np.uint64(0xFFFFFFFF), firsts)
    return stream.astype(">u4").tobytes()[: -(-int(ends[-1]) // 8)]
