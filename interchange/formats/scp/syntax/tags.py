"""The tags of section 1 (EN 1064 clause 5.4.5): what each holds, how long it is, whether it may be repeated.

All from memory but the forms of tags 10 and 34.
"""

from __future__ import annotations

from functools import cache
from typing import Final, Literal

from interchange.records import dataclass

__all__ = ["MANDATORY", "Kind", "Tag", "tag_of"]

Kind = Literal["text", "quantity", "date", "time", "byte", "word", "drug", "device", "history", "electrodes", "zone"]


@dataclass(frozen=True, slots=True)
class Tag:
    """One tag: its name, the kind of its value, its length where that is fixed, whether it may be repeated."""

    number: int
    name: str
    kind: Kind
    length: int | None
    repeats: bool
    codes: frozenset[int] | None


_TABLE: Final[dict[int, tuple[str, Kind, int | None]]] = {
    0: ("last name", "text", None),
    1: ("first name", "text", None),
    2: ("patient identification number", "text", None),
    3: ("second last name", "text", None),
    4: ("age", "quantity", 3),
    5: ("date of birth", "date", 4),
    6: ("height", "quantity", 3),
    7: ("weight", "quantity", 3),
    8: ("sex", "byte", 1),
    9: ("race", "byte", 1),
    10: ("drug", "drug", None),
    11: ("systolic blood pressure", "word", 2),
    12: ("diastolic blood pressure", "word", 2),
    13: ("diagnosis or referral indication", "text", None),
    14: ("acquiring device", "device", None),
    15: ("analysing device", "device", None),
    16: ("acquiring institution", "text", None),
    17: ("analysing institution", "text", None),
    18: ("acquiring department", "text", None),
    19: ("analysing department", "text", None),
    20: ("referring physician", "text", None),
    21: ("latest confirming physician", "text", None),
    22: ("technician", "text", None),
    23: ("room", "text", None),
    24: ("stat code", "byte", 1),
    25: ("date of acquisition", "date", 4),
    26: ("time of acquisition", "time", 3),
    27: ("baseline filter", "word", 2),
    28: ("low-pass filter", "word", 2),
    29: ("filter bit map", "byte", 1),
    30: ("free text", "text", None),
    31: ("sequence number", "text", None),
    32: ("medical history codes", "history", None),
    33: ("electrode configuration", "electrodes", 2),
    34: ("date and time zone", "zone", None),
    35: ("free text medical history", "text", None),
}
"""Number -> name, kind, length."""
_REPEATED: Final = frozenset({10, 13, 30, 32, 35})
_CODES: Final = {
    4: frozenset(range(6)),
    6: frozenset(range(4)),
    7: frozenset(range(5)),
    8: frozenset({0, 1, 2, 9}),
    9: frozenset({*range(4), *range(10, 256)}),
    24: frozenset(range(11)),
    29: frozenset(range(16)),
}
"""The codes of units, and of single bytes, that are defined."""
MANDATORY: Final = (2, 14, 25, 26)


@cache
def tag_of(number: int) -> Tag | None:
    """The tag of that number (a byte), None where none is defined."""
    row = _TABLE.get(number)
    return Tag(number, *row, number in _REPEATED, _CODES.get(number)) if row is not None else None
