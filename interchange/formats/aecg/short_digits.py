"""The integers of several leads at once, where none has more than four digits, as nearly all samples have.

The digits of each number are taken as one 32-bit word, the characters in front of it masked out, and summed in two
steps, for all numbers together: ten times a digit and the next one, then a hundred times a pair and the next one, each
by a multiplication that adds the word, moved by one place, to itself.  Leads are joined until the arrays fill the
processor's cache, which saves as much again.  Anything else, and anything that is not well-formed, is left to the long
way (:mod:`digits`); tests compare both.
"""

from __future__ import annotations

from functools import cache
from itertools import accumulate, pairwise
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    import numpy as np
    from numpy.typing import NDArray

__all__ = ["short_integers"]

MOST = 4
"""Digits of a number."""

GROUP = 2**15
"""Characters after which a group of leads is full: with more, the arrays no longer fit beside one another."""

LONGEST = 2**16
"""Characters of a lead; for a longer one this way is no faster than the long one, and takes more memory."""


def short_integers(texts: Iterable[str]) -> Iterator[NDArray[np.int16]]:
    """The integers of each text, ending before the first group with a text that has to go the long way.

    The texts come from an XML parser: of all characters below the blank they can hold white space only.
    """
    for group in _groups(texts):
        values = _integers(group)
        if values is None:
            return
        yield from values


def _groups(texts: Iterable[str]) -> Iterator[list[str]]:
    """The texts in order, joined to groups, up to one that is too long."""
    group: list[str] = []
    size = 0
    for text in texts:
        if len(text) > LONGEST:
            break
        group.append(text)
        size += len(text)
        if size >= GROUP:
            yield group
            group, size = [], 0
    if group:
        yield group


def _integers(texts: list[str]) -> list[NDArray[np.int16]] | None:
    """The integers of each text; None where one holds anything but well-formed ones of at most four digits.

    A number is a run of digits with one sign or nothing in front of it and a blank or nothing around that.  So there
    must be as many words as runs, and as many characters other than blanks as digits and signs in front of runs.
    """
    import numpy as np

    joined = " ".join(texts)
    if not joined.isascii():
        return None
    raw = b"    " + joined.encode("ascii") + b" "
    text = np.frombuffer(raw, dtype=np.uint8)
    digits = text - 48
    is_digit = digits < 10
    edges = (is_digit[1:] != is_digit[:-1]).nonzero()[0]
    before, last = edges[0::2], edges[1::2]
    length = last - before
    if length.size and int(length.max()) > MOST:
        return None
    sign, blank, count = text.take(before), text < 33, np.count_nonzero
    negative = sign == 45
    words, signs = count(blank[:-1] > blank[1:]), count(negative) + count(sign == 43)
    if words != length.size or text.size - count(blank) != count(is_digit) + signs:
        return None
    word: NDArray[Any] = np.ndarray((text.size - 3,), "<u4", digits, strides=(1,)).take(last - 3)
    word &= _masks().take(length)
    word *= 10 * 2**8 + 1
    word >>= 8
    word &= 0x00FF00FF
    word *= 100 * 2**16 + 1
    word >>= 16
    values = word.astype(np.int16)
    if signs:
        ones = -negative.view(np.int8)
        values ^= ones
        values -= ones
    starts = [0, *accumulate(len(text) + 1 for text in texts[:-1])]
    cuts = [*before.searchsorted([start + 3 for start in starts]).tolist(), values.size]
    return [values[begin:end] for begin, end in pairwise(cuts)]


@cache
def _masks() -> NDArray[np.uint32]:
    """By number of digits, the bytes of a word that hold them: the last ones, which are the high ones."""
    import numpy as np

    return np.array([0, 0xFF000000, 0xFFFF0000, 0xFFFFFF00, 0xFFFFFFFF], dtype=np.uint32)
