"""Info strings: long texts cut into header lines, and put together again.

A header line has at most 255 bytes.  A longer text is cut between two characters; the piece that goes on ends with a
backslash, and the next line is a comment that begins with ``+``::

    # acquisition.remarks[0]: a very long text that does not fit into one line of a hea\\
    #+der and therefore goes on here

A backslash at the end of a line that no such line follows is an ordinary character.

Source: WFDB Applications Guide, header(5) (comments, length of lines); the continuation is this project's own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from interchange.formats.wfdb.header import LINE_LIMIT, Comment
from interchange.records import NamedTuple

__all__ = ["InfoString", "unwrapped", "wrapped"]

_MORE: Final = "\\"
_GOES_ON: Final = "+"
_ROOM: Final = LINE_LIMIT - 1 - len("#+") - len(_MORE)
"""Bytes of text in a line that goes on, without its line feed."""


class InfoString(NamedTuple):
    """A whole info string: number of its first line, and its text without the ``#`` and one blank behind it."""

    line: int
    text: str


def unwrapped(comments: Iterable[Comment]) -> list[InfoString]:
    """The texts of consecutive info strings, those that were cut put together."""
    found: list[tuple[int, list[str]]] = []
    last = 0
    for comment in comments:
        text = comment.text
        if text.startswith(_GOES_ON) and found and comment.line == last + 1 and found[-1][1][-1].endswith(_MORE):
            pieces = found[-1][1]
            pieces[-1] = pieces[-1][:-1]
            pieces.append(text[1:])
        else:
            found.append((comment.line, [text.removeprefix(" ")]))
        last = comment.line
    return [InfoString(line, "".join(pieces)) for line, pieces in found]


def wrapped(text: str) -> list[str]:
    """The header lines (with ``#``, without line feed) that hold ``text``, which has no line break in it."""
    if len(text.encode()) <= _ROOM:
        return [f"# {text}"]
    pieces = list(_pieces(text))
    lines = [f"# {pieces[0]}", *(f"#{_GOES_ON}{piece}" for piece in pieces[1:])]
    return [*(line + _MORE for line in lines[:-1]), lines[-1]]


def _pieces(text: str) -> Iterator[str]:
    """Parts of at most as many bytes as there is room for, cut between characters, not beside a blank if possible."""
    start, size = 0, len(text)
    while start < size:
        end, used = start, 0
        while end < size and used + (width := _width(text[end])) <= _ROOM:
            used += width
            end += 1
        if end < size:
            best = end
            while best > start + 1 and (text[best - 1] == " " or text[best] == " "):
                best -= 1
            end = best if best > start + 1 else end
        yield text[start:end]
        start = end


def _width(character: str) -> int:
    number = ord(character)
    return 1 if number < 0x80 else 2 if number < 0x800 else 3 if number < 0x10000 else 4
