"""When was it recorded: is it said, can it be true?

Clocks of devices in the field are often wrong, by minutes or by years.  The present time comes from the caller
(``CheckConfig.now``); without it nothing is said about the future.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from interchange.checks.sources import DEFINITION, I25, PROJECT
from interchange.checks.view import View
from interchange.findings import Finding, Rule
from interchange.model import Moment

__all__ = ["RULES", "check"]

_MISSING = Rule(
    "time.not-said", "warning", "the time of the recording is not said", f"{I25} (marking of the record)",
    "It cannot be put in order with other tracings, and its age cannot be told.", "memory",
)  # fmt: skip
_PARTLY = Rule(
    "time.partly-said", "note", "date and time of day are not both said", f"{I25} (marking of the record)",
    "Serial tracings of one day cannot be put in order.", "memory",
)  # fmt: skip
_ZONE = Rule(
    "time.no-zone", "note", "the time has no zone", "IHE ITI: Consistent Time",
    "It is local time of an unknown place and must not be turned into another zone.", "memory",
)  # fmt: skip
_FUTURE = Rule(
    "time.in-the-future", "warning", "the time of the recording is in the future", DEFINITION,
    "The clock of the device, or of the computer that checks, is wrong.", "computed",
)  # fmt: skip
_EPOCH = Rule(
    "time.clock-start", "warning", "the day of the recording is one that clocks start from", PROJECT,
    "The clock was probably never set.", "proposal",
)  # fmt: skip
_OLD = Rule(
    "time.before-1990", "note", "the recording is dated before 1990", PROJECT,
    "Digital tracings of that age are rare: the clock may be wrong, or dates were shifted.", "proposal",
)  # fmt: skip
_STATEMENT = Rule(
    "time.statement-before-recording", "warning", "a statement is dated before the recording it speaks of", DEFINITION,
    "One of the two clocks is wrong, or the statement belongs to another tracing.", "computed",
)  # fmt: skip

RULES = (_MISSING, _PARTLY, _ZONE, _FUTURE, _EPOCH, _OLD, _STATEMENT)

_STARTS = ((1900, 1, 1), (1904, 1, 1), (1970, 1, 1), (1980, 1, 1), (1980, 1, 6), (2000, 1, 1))
_FURTHEST_EAST = 14 * 3600
"""A local time without zone may be so many seconds ahead of UTC."""
_FURTHEST_WEST = 12 * 3600


def check(view: View) -> Iterator[Finding]:
    """Findings on the time of the recording."""
    time = view.recording.acquisition.time
    place = "acquisition.time"
    if time is None or (time.year is None and time.hour is None):
        yield _MISSING.at(place)
        return
    if time.day is None or time.minute is None:
        yield _PARTLY.at(place)
    if time.zone is None and time.hour is not None:
        yield _ZONE.at(place)
    if time.year is not None:
        yield from _date(view, time, place)
    yield from _statements(view, time)


def _date(view: View, time: Moment, place: str) -> Iterator[Finding]:
    now = view.config.now
    if now is not None and _ahead(time, now) > view.config.exact("future"):
        yield _FUTURE.at(place)
    starts = {*_STARTS, *((m.year, m.month, m.day) for m in view.config.defaults.dates)}
    if (time.year, time.month, time.day) in starts:
        yield _EPOCH.at(place)
    elif time.year is not None and time.year < 1990:
        yield _OLD.at(place)


def _ahead(time: Moment, now: Moment) -> Fraction:
    """Seconds that ``time`` is surely later than ``now``; negative where it need not be."""
    earliest = Moment(
        time.year, time.month or 1, time.day or 1, time.hour or 0, time.minute or 0, time.second or Fraction(0)
    )
    present = Moment(now.year, now.month, now.day, now.hour, now.minute, now.second)
    difference = earliest.minus(present)
    if difference is None:
        return Fraction(-1)
    slack = Fraction(_FURTHEST_EAST) if time.zone is None else Fraction(60 * time.zone)
    own = Fraction(-_FURTHEST_WEST) if now.zone is None else Fraction(60 * now.zone)
    return difference - slack + own


def _statements(view: View, time: Moment) -> Iterator[Finding]:
    """Statements whose time is surely before that of the recording."""
    for index, statement in enumerate(view.recording.statements):
        for name in ("time", "confirmed_time"):
            moment: Moment | None = getattr(statement, name)
            if moment is None or time.year is None or moment.year is None:
                continue
            difference = moment.minus(time)
            earlier = difference is not None and difference < -view.config.exact("future")
            if earlier or _day_before(moment, time):
                yield _STATEMENT.at(f"statements[{index}].{name}")


def _day_before(moment: Moment, time: Moment) -> bool:
    """Whether the day is more than one day before, so that no zone can explain it."""
    from datetime import date

    if None in (moment.year, moment.month, moment.day, time.year, time.month, time.day):
        return False
    days = [date(m.year or 1, m.month or 1, m.day or 1).toordinal() for m in (moment, time)]
    return days[0] < days[1] - 1
