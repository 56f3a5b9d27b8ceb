"""Base time and base date: the last two fields of a record line, and what archives put there instead.

The format knows ``HH:MM:SS`` (digits may be dropped, decimals of the second occur) followed by ``DD/MM/YYYY``, without
any zone.  ``0:0:0 0/0/0`` means not recorded.  A stamp ``DD-Mon-YYYY HH:MM:SS`` in that place is the time at which a
file was made.

Sources: WFDB Applications Guide, header(5); headers of the PhysioNet Challenges 2020 and 2021.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

from interchange.records import NamedTuple

if TYPE_CHECKING:
    from interchange.formats.wfdb.notes import Notes

__all__ = ["Moment", "read_moment"]

_TIME: Final = re.compile(r"(\d{1,2}):(\d{1,2}):(\d{1,2})(?:\.(\d{0,12}))?", re.ASCII)
_DATE: Final = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{1,4})", re.ASCII)
_ISO: Final = r"(\d{4})-(\d{1,2})-(\d{1,2})"
_NAMED: Final = r"(\d{1,2})-([A-Za-z]{3})-(\d{4})"
_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_EARLIEST: Final = 1000
"""A year before it lacks digits."""


class Moment(NamedTuple):
    """When the record starts, as far as it is said.

    ``date`` is (year, month, day), ``time`` (hour, minute, second), ``fraction`` the decimals of the second as they
    are written.  ``left`` counts characters of the fields that were not taken (file stamps, impossible values).
    """

    date: tuple[int, int, int] | None = None
    time: tuple[int, int, int] | None = None
    fraction: str = ""
    left: int = 0


class _Date(NamedTuple):
    value: tuple[int, int, int]
    usual: bool
    named: bool


def read_moment(fields: list[str], line: int, notes: Notes) -> Moment:
    """Start of the record from the fields behind the number of samples, of which there is at least one."""
    first, second = fields[0], fields[1] if len(fields) > 1 else ""
    size = len(first) + len(second)
    date = _date(first)
    if date is not None and _TIME.fullmatch(second):
        if date.named:
            notes.line("wfdb.file-stamp", line)
            return Moment(left=size)
        notes.line("wfdb.time-order", line)
        first, second = second, first
    elif date is not None and not second:
        notes.line("wfdb.date-without-time", line)
        return Moment(date=_checked(date, line, notes))
    return _usual(first, second, line, notes)


def _usual(first: str, second: str, line: int, notes: Notes) -> Moment:
    """Time, then date; each may be impossible or of another form."""
    match, date = _TIME.fullmatch(first), _date(second)
    if match is None or (second and date is None):
        notes.line("wfdb.time-form", line)
    if date is not None and not any(date.value):
        if match is None or not any(int(part) for part in match.groups(default="0") if part):
            return Moment()
        date = None
    left = (len(first) if match is None else 0) + (len(second) if date is None and second.strip("0/") else 0)
    day = _checked(date, line, notes) if date is not None else None
    left += len(second) if date is not None and day is None else 0
    if match is None:
        return Moment(date=day, left=left)
    hour, minute, second_ = (int(match[i]) for i in (1, 2, 3))
    if hour > 23 or minute > 59 or second_ > 59:
        notes.line("wfdb.time-value", line)
        return Moment(date=day, left=left + len(first))
    return Moment(day, (hour, minute, second_), match[4] or "", left)


def _date(text: str) -> _Date | None:
    if match := _DATE.fullmatch(text):
        return _Date((int(match[3]), int(match[2]), int(match[1])), True, False)
    if match := re.fullmatch(_ISO, text, re.ASCII):
        return _Date((int(match[1]), int(match[2]), int(match[3])), False, False)
    match = re.fullmatch(_NAMED, text, re.ASCII)
    if match and match[2].lower() in _MONTHS:
        return _Date((int(match[3]), _MONTHS.index(match[2].lower()) + 1, int(match[1])), False, True)
    return None


def _checked(date: _Date, line: int, notes: Notes) -> tuple[int, int, int] | None:
    """The date if the calendar has it."""
    from interchange.model.basic import days_in

    year, month, day = date.value
    if not date.usual:
        notes.line("wfdb.time-form", line)
    if year < _EARLIEST or not 1 <= month <= 12 or not 1 <= day <= days_in(year, month):
        notes.line("wfdb.time-value", line)
        return None
    return date.value
