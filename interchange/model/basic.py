"""The small values that the rest of the model is made of: moments, quantities, identifiers, codes, names.

Three things are kept apart everywhere.  *Known* is a value.  *Not said* is None (or an empty tuple).  *Said to be
absent* is None together with a reason in the owner's ``absent`` (see :class:`Absent`).
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import Literal

from interchange.records import dataclass

__all__ = [
    "Absent",
    "AbsentFields",
    "Code",
    "Extras",
    "Identifier",
    "Moment",
    "Person",
    "PersonName",
    "Quantity",
    "days_in",
]

Absent = Literal["unknown", "not-measured", "wave-absent", "rejected", "undefined", "not-applicable", "withheld"]
"""Why a value that was spoken of is not there.

``unknown``: a value exists, the source does not know it; ``not-measured``: nobody measured it; ``wave-absent``: the
wave is not there; ``rejected``: lead or beat was rejected; ``undefined``: measured, and without a number (an axis
without direction); ``not-applicable``; ``withheld``: known and kept back.
"""

AbsentFields = tuple[tuple[str, Absent], ...]
"""Fields of the owner that the source speaks of without a value, with the reason: ``(("sex", "unknown"),)``."""

Extras = tuple[tuple[str, str], ...]
"""What only one format knows, as (key, text) in a fixed order; the key begins with the format: ``wfdb.adc-zero``."""

_MOMENT = (
    r"(?:(?P<year>\d{4})(?:-(?P<month>\d\d)(?:-(?P<day>\d\d))?)?)?"
    r"(?:T(?P<hour>\d\d)(?::(?P<minute>\d\d)(?::(?P<second>\d\d(?:\.\d+)?|\d+/\d+))?)?)?"
    r"(?P<zone>Z|[+-]\d\d:\d\d)?"
)


@dataclass(frozen=True, slots=True)
class Moment:
    """A date, a time of day, or both, as far as they were said.

    ``second`` is exact.  ``zone`` is minutes east of UTC, None where it was not said.  A time of day may come without
    a date (WFDB base time) and a date without its day (HL7 TS).  ``str()`` gives ISO 8601 as far as it is known
    ("2031-04-05T14:03:07.25+02:00", "2031-04", "T14:03"); :meth:`parse` takes that back.
    """

    year: int | None = None
    month: int | None = None
    day: int | None = None
    hour: int | None = None
    minute: int | None = None
    second: Fraction | None = None
    zone: int | None = None

    def __post_init__(self) -> None:
        if not self.is_valid():
            raise ValueError("no such date or time")

    def is_valid(self) -> bool:
        """Whether the parts make a real date and time of day (a leap second passes)."""
        if self.year is not None and not 1 <= self.year <= 9999:
            return False
        if (self.month is not None and self.year is None) or (self.day is not None and self.month is None):
            return False
        if self.month is not None and not 1 <= self.month <= 12:
            return False
        year, month, day = self.year, self.month, self.day
        if day is not None and year is not None and month is not None and not 1 <= day <= days_in(year, month):
            return False
        if (self.minute is not None and self.hour is None) or (self.second is not None and self.minute is None):
            return False
        return (
            (self.hour is None or 0 <= self.hour <= 23)
            and (self.minute is None or 0 <= self.minute <= 59)
            and (self.second is None or 0 <= self.second < 61)
            and (self.zone is None or -24 * 60 < self.zone < 24 * 60)
        )

    @classmethod
    def parse(cls, text: str) -> Moment:
        """The moment that ``str()`` wrote; ValueError for anything else."""
        found = re.fullmatch(_MOMENT, text, re.ASCII)
        if not found or not text:
            raise ValueError("no date or time in the form of ISO 8601")
        part = found.groupdict()
        numbers = {key: int(part[key]) if part[key] else None for key in ("year", "month", "day", "hour", "minute")}
        zone = None
        if part["zone"] == "Z":
            zone = 0
        elif part["zone"]:
            sign = -1 if part["zone"][0] == "-" else 1
            zone = sign * (int(part["zone"][1:3]) * 60 + int(part["zone"][4:6]))
        try:
            second = Fraction(part["second"]) if part["second"] else None
        except ZeroDivisionError:
            raise ValueError("no such date or time") from None
        return cls(**numbers, second=second, zone=zone)

    def __str__(self) -> str:
        text = ""
        if self.year is not None:
            text = "-".join([f"{self.year:04}", *(f"{part:02}" for part in (self.month, self.day) if part is not None)])
        if self.hour is not None:
            text += f"T{self.hour:02}"
            if self.minute is not None:
                text += f":{self.minute:02}"
            if self.second is not None:
                text += f":{_seconds(self.second)}"
        if self.zone is not None:
            hours, minutes = divmod(abs(self.zone), 60)
            text += f"{'-' if self.zone < 0 else '+'}{hours:02}:{minutes:02}"
        return text

    @property
    def date(self) -> Moment | None:
        """The date alone, None where none was said."""
        return Moment(self.year, self.month, self.day) if self.year is not None else None

    @property
    def is_instant(self) -> bool:
        """Whether date and time of day are known to the second (the zone may be missing)."""
        return self.day is not None and self.second is not None

    def plus(self, seconds: Fraction | int) -> Moment:
        """This moment ``seconds`` later, same zone; needs date (to the day) and time of day to the second."""
        if self.year is None or self.month is None or self.day is None or self.second is None:
            raise ValueError("only a moment known to the second can be moved")
        from datetime import date

        assert self.hour is not None
        assert self.minute is not None
        total = Fraction(self.hour * 3600 + self.minute * 60) + self.second + seconds
        days, rest = divmod(total, 86400)
        try:
            moved = date.fromordinal(date(self.year, self.month, self.day).toordinal() + int(days))
        except OverflowError:
            raise ValueError("no such date or time") from None
        hours, rest = divmod(rest, 3600)
        minutes, rest = divmod(rest, 60)
        return replace(
            self, year=moved.year, month=moved.month, day=moved.day, hour=int(hours), minute=int(minutes), second=rest
        )

    def minus(self, other: Moment) -> Fraction | None:
        """Seconds from ``other`` to this; None unless both are known to the second and both or neither have a zone."""
        if not (self.is_instant and other.is_instant) or (self.zone is None) != (other.zone is None):
            return None
        return self._seconds_of_era() - other._seconds_of_era()

    def _seconds_of_era(self) -> Fraction:
        from datetime import date

        assert self.year
        assert self.month
        assert self.day
        assert self.second is not None
        days = date(self.year, self.month, self.day).toordinal()
        return (
            Fraction(days * 86400 + (self.hour or 0) * 3600 + (self.minute or 0) * 60)
            + self.second
            - 60 * (self.zone or 0)
        )


def days_in(year: int, month: int) -> int:
    """Days of a month in the Gregorian calendar."""
    if month == 2:
        return 29 if year % 4 == 0 and (year % 100 != 0 or year % 400 == 0) else 28
    return 30 if month in (4, 6, 9, 11) else 31


def _seconds(value: Fraction) -> str:
    """Seconds as a decimal with two digits before the point; as n/d where no decimal is exact."""
    denominator = value.denominator
    for prime in (2, 5):
        while denominator % prime == 0:
            denominator //= prime
    if denominator != 1:
        return f"{value.numerator}/{value.denominator}"
    places = 0
    while (value * 10**places).denominator != 1:
        places += 1
    whole, rest = divmod(int(value * 10**places), 10**places)
    return f"{whole:02}.{rest:0{places}}" if places else f"{whole:02}"


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its UCUM unit: an age ("a", "mo", "wk", "d", "h"), a height ("cm"), a weight ("kg"), a pressure."""

    value: int | Fraction
    unit: str

    def __str__(self) -> str:
        return f"{self.value} {self.unit}"


@dataclass(frozen=True, slots=True)
class Identifier:
    """An id with whoever gave it out; ``issuer`` is a name or an OID, None where it was not said.

    ``kind`` is what sort of id it is when the source says so ("temporary", "national", "visit" ...).
    """

    value: str
    issuer: str | None = None
    kind: str | None = None


@dataclass(frozen=True, slots=True)
class Code:
    """A coded idea: ``value`` in ``scheme`` (a name as DICOM writes it, or an OID), ``meaning`` in words.

    Words alone are a code without value and scheme.
    """

    value: str | None = None
    scheme: str | None = None
    meaning: str | None = None


@dataclass(frozen=True, slots=True)
class PersonName:
    """A name in its parts; ``text`` alone where the source gives it undivided.

    ``second_family`` is a mother's or birth name that stands beside the family name.  ``script`` says in which
    writing this form is ("ideographic", "phonetic"); None is the ordinary alphabetic form.
    """

    family: str | None = None
    given: str | None = None
    middle: str | None = None
    prefix: str | None = None
    suffix: str | None = None
    second_family: str | None = None
    text: str | None = None
    script: Literal["ideographic", "phonetic"] | None = None

    def __str__(self) -> str:
        if self.text:
            return self.text
        before = " ".join(filter(None, (self.prefix, self.given, self.middle)))
        after = " ".join(filter(None, (self.family, self.second_family, self.suffix)))
        return f"{after}, {before}" if after and before else after or before


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who had to do with the recording: name, ids, organisation."""

    name: PersonName | None = None
    ids: tuple[Identifier, ...] = ()
    organisation: str | None = None

    def __str__(self) -> str:
        return str(self.name) if self.name else ", ".join(i.value for i in self.ids)
