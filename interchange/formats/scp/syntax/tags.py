"""The tags of section 1 (EN 1064 clause 5.4.5): what each holds, how long it is, whether it may be repeated.

All from memory but the forms of tags 10 and 34.
"""

from __future__ import annotations

from typing import Final, Literal

from interchange.records import dataclass

__all__ = ["MANDATORY", "TAGS", "Kind", "Tag"]

Kind = Literal["text", "quantity", "date", "time", "byte", "word", "drug", "device", "history", "electrodes", "zone"]


@dataclass(frozen=True, slots=True)
class Tag:
    """One tag: its name, the kind of its value, its length where that is fixed, whether it may be repeated."""

    number: int
    name: str
    kind: Kind
    length: int | None = None
    repeats: bool = False
    codes: frozenset[int] | None = None


_UNITS: Final = {"age": frozenset(range(6)), "height": frozenset(range(4)), "weight": frozenset(range(5))}

_TABLE: Final = (
    Tag(0, "last name", "text"),
    Tag(1, "first name", "text"),
    Tag(2, "patient identification number", "text"),
    Tag(3, "second last name", "text"),
    Tag(4, "age", "quantity", 3, codes=_UNITS["age"]),
    Tag(5, "date of birth", "date", 4),
    Tag(6, "height", "quantity", 3, codes=_UNITS["height"]),
    Tag(7, "weight", "quantity", 3, codes=_UNITS["weight"]),
    Tag(8, "sex", "byte", 1, codes=frozenset({0, 1, 2, 9})),
    Tag(9, "race", "byte", 1),
    Tag(10, "drug", "drug", repeats=True),
    Tag(11, "systolic blood pressure", "word", 2),
    Tag(12, "diastolic blood pressure", "word", 2),
    Tag(13, "diagnosis or referral indication", "text", repeats=True),
    Tag(14, "acquiring device", "device"),
    Tag(15, "analysing device", "device"),
    Tag(16, "acquiring institution", "text"),
    Tag(17, "analysing institution", "text"),
    Tag(18, "acquiring department", "text"),
    Tag(19, "analysing department", "text"),
    Tag(20, "referring physician", "text"),
    Tag(21, "latest confirming physician", "text"),
    Tag(22, "technician", "text"),
    Tag(23, "room", "text"),
    Tag(24, "stat code", "byte", 1, codes=frozenset(range(11))),
    Tag(25, "date of acquisition", "date", 4),
    Tag(26, "time of acquisition", "time", 3),
    Tag(27, "baseline filter", "word", 2),
    Tag(28, "low-pass filter", "word", 2),
    Tag(29, "filter bit map", "byte", 1, codes=frozenset(range(16))),
    Tag(30, "free text", "text", repeats=True),
    Tag(31, "sequence number", "text"),
    Tag(32, "medical history codes", "history", repeats=True),
    Tag(33, "electrode configuration", "electrodes", 2),
    Tag(34, "date and time zone", "zone"),
    Tag(35, "free text medical history", "text", repeats=True),
)

TAGS: Final[dict[int, Tag]] = {tag.number: tag for tag in _TABLE}
MANDATORY: Final = (2, 14, 25, 26)
