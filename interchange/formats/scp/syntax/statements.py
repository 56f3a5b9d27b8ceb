"""Sections 8 and 11, interpretation in words and in codes (EN 1064 clauses 5.11 and 5.14)."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.frame import Section
from interchange.formats.scp.syntax.values import Clock, Date
from interchange.formats.scp.text import encode, read_text
from interchange.records import dataclass

__all__ = ["CODED", "LOGIC", "TEXT", "Line", "Report", "build_coded", "build_report", "parse_report"]

CODED: Final = 1
TEXT: Final = 2
LOGIC: Final = 3
_HEADER: Final = 9
_PREFIX: Final = struct.Struct("<BH")


@dataclass(frozen=True, slots=True)
class Line:
    """One statement: its number, its text, its type (None in section 8), and the offset of the statement."""

    number: int
    text: str
    type: int | None
    offset: int


@dataclass(frozen=True, slots=True)
class Report:
    """One report.  ``flag``: 0 original, 1 confirmed, 2 overread and not confirmed; other values as stored."""

    flag: int
    date: Date
    time: Clock
    lines: tuple[Line, ...]
    offset: int


def parse_report(section: Section, language: int, log: Log) -> Report | None:
    """Section 8 or 11, as many statements as are there."""
    body = section.body
    if len(body) < _HEADER:
        log.add("report-length" if body.strip(b"\0") else "section-empty", section.place(), f"{len(body)} bytes")
        return None
    flag, date, time, count = body[0], Date.parse(body[1:5]), Clock.parse(body[5:8]), body[8]
    if flag > 2:
        log.add("report-flag", section.place(), f"flag {flag}")
    if (date.is_given and not date.is_possible) or not time.is_possible:
        log.add("report-date", section.place(1))
    raw = _split(section, count, log)
    numbers = [number for number, _, _ in raw]
    if numbers != list(range(1, len(numbers) + 1)):
        log.add("report-sequence", section.place(_HEADER))
    typed = section.id == 11
    return Report(flag, date, time, tuple(_line(entry, typed, language, log) for entry in raw), section.start)


def _split(section: Section, count: int, log: Log) -> list[tuple[int, bytes, int]]:
    """Number, bytes and offset of each statement; in section 11 the bytes begin with the type."""
    extra = 0
    found, end = _walk(section.body, count, extra)
    if section.id == 11 and not _fills(section.body, end):
        other, other_end = _walk(section.body, count, 1)
        if len(other) == count and _fills(section.body, other_end):
            log.add("statement-length", section.place(_HEADER))
            found, end, extra = other, other_end, 1
    if len(found) < count:
        log.add("report-length", section.place(min(end, len(section.body))), f"{len(found)} of {count} statements")
    elif not _fills(section.body, end):
        log.add("report-spare", section.place(end), f"{len(section.body) - end} bytes")
    return [(number, text, section.start + place) for number, text, place in found]


def _walk(body: bytes, count: int, extra: int) -> tuple[list[tuple[int, bytes, int]], int]:
    found = []
    place = _HEADER
    for _ in range(count):
        if place + _PREFIX.size > len(body):
            break
        number, length = _PREFIX.unpack_from(body, place)
        end = place + _PREFIX.size + length + extra
        if end > len(body):
            break
        found.append((number, body[place + _PREFIX.size : end], place))
        place = end
    return found, place


def _fills(body: bytes, end: int) -> bool:
    return len(body) - end <= 1 and not body[end:].strip(b"\0")


def _line(entry: tuple[int, bytes, int], typed: bool, language: int, log: Log) -> Line:
    number, raw, offset = entry
    kind = None
    section = 11 if typed else 8
    if typed:
        kind, raw = (raw[0], raw[1:]) if raw else (0, b"")
        if kind not in (CODED, TEXT, LOGIC):
            log.add("statement-type", at(offset + _PREFIX.size, section), f"type {kind}")
        if kind != TEXT:  # parts of a coded statement may end with NUL each
            raw = b" ".join(part for part in raw.split(b"\0") if part) + b"\0"
    text, broken = read_text(raw, language)
    for name in broken:
        log.add(name, at(offset + _PREFIX.size, section))
    return Line(number, text, kind, offset)


def _header(flag: int, date: Date, time: Clock, count: int) -> bytes:
    return bytes((flag,)) + date.build() + time.build() + bytes((count,))


def build_report(flag: int, date: Date, time: Clock, texts: Sequence[str], language: int) -> bytes:
    """The body of section 8; at most 255 statements of at most 65,534 bytes."""
    parts = [_header(flag, date, time, len(texts))]
    for number, text in enumerate(texts, 1):
        raw = encode(text, language)
        parts.append(_PREFIX.pack(number, len(raw)) + raw)
    return b"".join(parts)


def build_coded(flag: int, date: Date, time: Clock, statements: Sequence[tuple[int, int, str]], language: int) -> bytes:
    """The body of section 11 from (number, type, text); the length counts the type byte."""
    parts = [_header(flag, date, time, len(statements))]
    for number, kind, text in statements:
        raw = encode(text, language, 0xFFFE)
        parts.append(_PREFIX.pack(number, len(raw) + 1) + bytes((kind,)) + raw)
    return b"".join(parts)
