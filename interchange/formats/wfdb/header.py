"""The header of a record: text in, fields out.

A header is lines of text: one record line, then one line per signal (or per segment), and comments anywhere; comments
behind the last of those lines are the record's info strings.  Every deviation that can be understood is noted with its
line; what cannot be understood is a SourceError that names the line.  Nothing here knows files or the model.

Sources: WFDB Applications Guide, header(5); draft "WFDB Header File version 10"; dialects seen in public archives.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from interchange.errors import SourceError
from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.record_line import RecordLine, fields_of, read_record_line
from interchange.formats.wfdb.signal_line import SignalLine, read_signal_lines
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterator
    from fractions import Fraction

    from interchange.findings import Finding
    from interchange.formats.wfdb.moments import Moment

__all__ = ["Comment", "Header", "Leftover", "SegmentLine", "SignalLine", "parse_header"]

LINE_LIMIT: Final = 255
"""Longest line in bytes, its line feed included."""

_CONTROL: Final = r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029]|\r(?!\n)"
_PLAIN: Final = {ord("\n"): None, ord("\t"): None, ord("\r"): None}


class Comment(NamedTuple):
    """One comment: line number, what follows the ``#`` as it stands, and whether it is an info string."""

    line: int
    text: str
    info: bool


class SegmentLine(NamedTuple):
    """One segment of a multi-segment record: ``name`` is ``~`` for a gap, ``samples`` counts frames."""

    line: int
    name: str
    samples: int


class Leftover(NamedTuple):
    """Something of the header that was not taken: its line, its length in characters, a word on what it is."""

    line: int
    size: int
    what: str


class Header(NamedTuple):
    """A whole header.  ``rate`` is in frames per second, ``samples`` in frames (None: not stated).

    ``moment`` is None where nothing is said of the start.
    """

    name: str
    line: int
    rate: Fraction
    counter_rate: Fraction | None
    counter_base: Fraction | None
    samples: int | None
    moment: Moment | None
    signals: tuple[SignalLine, ...]
    segments: tuple[SegmentLine, ...] | None
    comments: tuple[Comment, ...]
    leftovers: tuple[Leftover, ...]
    findings: list[Finding]


def parse_header(data: bytes) -> Header:
    """The fields of a header file.  Raises SourceError, naming the line, for what cannot be understood."""
    notes = Notes()
    comments: list[tuple[int, str]] = []
    text = _text(data, notes)
    broken = text.replace("\r\n", "\n") if "\r" in text else text
    plain = broken.isascii() and broken.replace("\n", "").replace("\t", "").isprintable()
    every = broken.split("\n")
    _check_lines(text, every, plain, notes)
    lines = _content(every, comments, notes)
    if not lines:
        raise SourceError("holds no record line", "the header")
    number, first = lines[0]
    record = read_record_line(first, number, notes)
    count = record.signals if record.segments is None else record.segments
    body, rest = lines[1 : count + 1], lines[count + 1 :]
    if len(body) < count:
        kind = "signal" if record.segments is None else "segment"
        raise SourceError(f"states {count} {kind} lines, and there are {len(body)}", "the header")
    signals: list[SignalLine] = []
    segments: list[SegmentLine] | None = None
    if record.segments is None:
        signals = read_signal_lines(body, plain, notes)
    else:
        segments = [_segment(text, at) for at, text in body]
    last = body[-1][0] if body else number
    leftovers = [*_record_leftovers(record, number), *_surplus(rest, notes)]
    return Header(
        name=record.name,
        line=number,
        rate=record.rate,
        counter_rate=record.counter_rate,
        counter_base=record.counter_base,
        samples=record.samples,
        moment=record.moment,
        signals=tuple(signals),
        segments=None if segments is None else tuple(segments),
        comments=tuple(Comment(at, text, at > last) for at, text in comments),
        leftovers=tuple(leftovers),
        findings=notes.findings(),
    )


def _text(data: bytes, notes: Notes) -> str:
    if data.startswith(b"\xef\xbb\xbf"):
        notes.at("wfdb.header-byte-order-mark", "byte 0")
        data = data[3:]
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        notes.at("wfdb.header-encoding", f"byte {error.start}")
        return data.decode("latin-1")


def _content(lines: list[str], comments: list[tuple[int, str]], notes: Notes) -> list[tuple[int, str]]:
    """Numbered lines that are neither empty nor comments; comments go into their list."""
    found = []
    for number, line in enumerate(lines, 1):
        if line.startswith("#"):
            comments.append((number, line[1:]))
            continue
        bare = line.strip(" \t")
        if bare.startswith("#"):
            comments.append((number, bare[1:]))
            notes.line("wfdb.comment-indented", number)
        elif bare:
            found.append((number, bare))
    return found


def _check_lines(text: str, lines: list[str], plain: bool, notes: Notes) -> None:
    """Lines that are too long or hold control characters, of which plain text has none."""
    if len(max(lines, key=len)) * 4 >= LINE_LIMIT:
        for number, line in enumerate(lines, 1):
            if len(line) * 4 >= LINE_LIMIT and len(line.encode("utf-8", "replace")) >= LINE_LIMIT:
                notes.line("wfdb.header-line-length", number)
    if not plain and not text.translate(_PLAIN).isprintable() and re.search(_CONTROL, text):
        control = re.compile(_CONTROL)
        for number, line in enumerate(lines, 1):
            if control.search(line):
                notes.line("wfdb.header-control", number)


def _segment(text: str, line: int) -> SegmentLine:
    fields = fields_of(text)
    if len(fields) < 2 or not fields[1].isascii() or not fields[1].isdecimal() or len(fields[1]) > 15:
        raise SourceError("is no segment line (name and number of samples)", f"line {line}")
    return SegmentLine(line, fields[0], int(fields[1]))


def _record_leftovers(record: RecordLine, line: int) -> Iterator[Leftover]:
    if record.moment is not None and record.moment.left:
        yield Leftover(line, record.moment.left, "date or time that is none of the recording")
    if record.left:
        yield Leftover(line, record.left, "fields of the record line")


def _surplus(lines: list[tuple[int, str]], notes: Notes) -> Iterator[Leftover]:
    for line, text in lines:
        notes.line("wfdb.line-surplus", line)
        yield Leftover(line, len(text), "line beyond the stated number")
