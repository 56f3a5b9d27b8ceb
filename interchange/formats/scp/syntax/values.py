"""Values of the fields of section 1 (EN 1064 clause 5.4.5)."""

from __future__ import annotations

import struct
from typing import Final

from interchange.formats.scp.syntax.device import Device
from interchange.records import dataclass

__all__ = [
    "ZONE_NOT_USED",
    "Clock",
    "Date",
    "Drug",
    "Electrodes",
    "History",
    "Number",
    "Quantity",
    "Text",
    "Value",
    "Zone",
]

ZONE_NOT_USED: Final = 0x7FFF


@dataclass(frozen=True, slots=True)
class Text:
    """A text without its NUL."""

    text: str


@dataclass(frozen=True, slots=True)
class Number:
    """A number of one or two bytes."""

    value: int


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value with the code of its unit.

    0 not said; age: 1 years, 2 months, 3 weeks, 4 days, 5 hours; height: 1 cm, 2 inch, 3 mm; weight: 1 kg, 2 g,
    3 pound, 4 ounce.
    """

    value: int
    unit: int


@dataclass(frozen=True, slots=True)
class Date:
    """A date; 0-0-0 is not given."""

    year: int
    month: int
    day: int

    @property
    def is_given(self) -> bool:
        """Whether there is any date."""
        return (self.year, self.month, self.day) != (0, 0, 0)

    @property
    def is_possible(self) -> bool:
        """Whether the calendar has this date."""
        if not (1 <= self.year <= 9999 and 1 <= self.month <= 12):
            return False
        from interchange.model.basic import days_in

        return 1 <= self.day <= days_in(self.year, self.month)

    @classmethod
    def parse(cls, value: bytes) -> Date:
        """From four bytes."""
        return cls(*struct.unpack_from("<HBB", value))

    def build(self) -> bytes:
        """The four bytes."""
        return struct.pack("<HBB", self.year, self.month, self.day)


@dataclass(frozen=True, slots=True)
class Clock:
    """A time of day."""

    hour: int
    minute: int
    second: int

    @property
    def is_possible(self) -> bool:
        """Whether a day has this time."""
        return self.hour <= 23 and self.minute <= 59 and self.second <= 59

    @classmethod
    def parse(cls, value: bytes) -> Clock:
        """From three bytes."""
        return cls(*value[:3])

    def build(self) -> bytes:
        """The three bytes."""
        return bytes((self.hour, self.minute, self.second))


@dataclass(frozen=True, slots=True)
class Drug:
    """A drug: table (0 = the standard's), class, drug in that class, name in words."""

    table: int
    group: int
    drug: int
    text: str


@dataclass(frozen=True, slots=True)
class History:
    """Medical history: table (0 = the standard's) and codes."""

    table: int
    codes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Electrodes:
    """Electrode placement of 12-lead and of XYZ systems, 0 = not said."""

    twelve: int
    xyz: int


@dataclass(frozen=True, slots=True)
class Zone:
    """Minutes east of UTC (None: not used), index of a zone table (0: not used), description."""

    minutes: int | None
    index: int
    text: str


Value = Device | Text | Number | Quantity | Date | Clock | Drug | History | Electrodes | Zone
