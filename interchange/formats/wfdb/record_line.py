"""The record line: ``name[/segments] signals [rate[/counter[(base)]] [samples [time [date]]]]``.

Source: WFDB Applications Guide, header(5); draft "WFDB Header File version 10".
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from interchange.errors import SourceError
from interchange.formats.wfdb.numerals import decimal, integer
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from interchange.formats.wfdb.moments import Moment
    from interchange.formats.wfdb.notes import Notes

__all__ = ["RecordLine", "fields_of", "read_record_line"]

DEFAULT_RATE: Final = Fraction(250)
SLOWEST: Final = Fraction(1, 1_000_000)
FASTEST: Final = Fraction(1_000_000_000)
"""Frame rates outside these bounds are taken for damage (a limit of this project)."""

_LONGEST_NAME: Final = 50
_LONGEST_SUFFIX: Final = 4
_RATE: Final = r"([^/(]*)(?:/([^(]*)(?:\(([^)]*)\))?)?"


class RecordLine(NamedTuple):
    """The fields of a record line; ``left`` counts the characters of fields that were not understood.

    ``moment`` is None where nothing is said of the start.
    """

    name: str
    segments: int | None
    signals: int
    rate: Fraction
    counter_rate: Fraction | None
    counter_base: Fraction | None
    samples: int | None
    moment: Moment | None
    left: int


def read_record_line(text: str, line: int, notes: Notes) -> RecordLine:
    """The fields of a record line.  Raises SourceError for a count or rate that is impossible."""
    fields = fields_of(text)
    name, segments = _name(fields[0], line, notes)
    signals = integer(fields[1]) if len(fields) > 1 else None
    if signals is None or signals < 0:
        raise SourceError("states no number of signals", f"line {line}")
    rate, counter_rate, counter_base = _rates(fields[2] if len(fields) > 2 else "", line, notes)
    samples, rest = _samples(fields[3:], line, notes)
    if samples is None and signals and segments is None:
        notes.line("wfdb.samples-missing", line)
    left = sum(map(len, rest[2:]))
    if left:
        notes.line("wfdb.record-field", line)
    moment = _moment(rest[:2], line, notes) if rest else None
    return RecordLine(name, segments, signals, rate, counter_rate, counter_base, samples, moment, left)


def fields_of(text: str) -> list[str]:
    """The fields of a line that blanks and tabs part; none stand at its ends."""
    return [field for field in text.replace("\t", " ").split(" ") if field]


def _moment(fields: list[str], line: int, notes: Notes) -> Moment:
    from interchange.formats.wfdb.moments import read_moment

    return read_moment(fields, line, notes)


def _is_plain(text: str, longest: int) -> bool:
    """Whether the text is letters and digits of ASCII, one to ``longest``."""
    return len(text) <= longest and text.isascii() and text.isalnum()


def _name(field: str, line: int, notes: Notes) -> tuple[str, int | None]:
    name, slash, count = field.partition("/")
    segments = integer(count) if slash else None
    if slash and (segments is None or segments < 1):
        raise SourceError("states no number of segments, or a name with a path", f"line {line}")
    bare, _, suffix = name.rpartition(".")
    if bare and _is_plain(suffix, _LONGEST_SUFFIX):
        notes.line("wfdb.name-suffix", line)
        name = bare
    if not _is_plain(name.replace("_", "x").replace("-", "x"), _LONGEST_NAME):
        notes.line("wfdb.name-characters", line)
    return name, segments


def _rates(field: str, line: int, notes: Notes) -> tuple[Fraction, Fraction | None, Fraction | None]:
    if not field:
        notes.line("wfdb.rate-missing", line)
        return DEFAULT_RATE, None, None
    if "/" not in field and "(" not in field:
        plain = _possible(field)
        if plain is not None:
            return plain, None, None
    match = re.fullmatch(_RATE, field, re.DOTALL)
    rate = _possible(match[1]) if match else None
    if match is None or rate is None:
        raise SourceError("states no possible sampling frequency", f"line {line}")
    counter = decimal(match[2]) if match[2] else None
    base = decimal(match[3]) if match[3] else None
    if (match[2] and counter is None) or (match[3] and base is None):
        notes.line("wfdb.number-form", line)
    return rate, counter if counter is not None and counter > 0 else None, base


@lru_cache(maxsize=256)
def _possible(text: str) -> Fraction | None:
    """The rate that the text spells, None for an impossible one."""
    rate = decimal(text)
    return rate if rate is not None and SLOWEST <= rate <= FASTEST else None


def _samples(fields: list[str], line: int, notes: Notes) -> tuple[int | None, list[str]]:
    """Number of frames, and the fields that follow; a date or time in its place means that it was left out."""
    if not fields:
        return None, []
    count = integer(fields[0])
    if count is None:
        exact = decimal(fields[0])
        if exact is None or exact.denominator != 1:
            notes.line("wfdb.record-field", line)
            return None, fields
        notes.line("wfdb.number-form", line)
        count = exact.numerator
    if count < 0:
        notes.line("wfdb.record-field", line)
        return None, fields[1:]
    return count or None, fields[1:]
