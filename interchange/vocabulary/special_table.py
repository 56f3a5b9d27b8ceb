"""Numbers and words that do not mean what they say, by format."""

from __future__ import annotations

from functools import cache

from interchange.records import dataclass
from interchange.vocabulary.load import rows

__all__ = ["SpecialValue", "special", "special_values"]


@dataclass(frozen=True, slots=True)
class SpecialValue:
    """One value at one place of one format.

    ``read_as``: not-said, unknown, not-measured, wave-absent, rejected, not-applicable, withheld, undefined (there is
    a value but it is no number), missing-sample, default (a stated default applies), reference (points elsewhere),
    end, value (a true value that looks special) or warning (kept, and said).  ``write_when``: when a writer uses it;
    "never" is read only.
    """

    format: str
    place: str
    value: str
    meaning: str
    read_as: str
    write_when: str
    source: str
    confidence: str


@cache
def special_values() -> tuple[SpecialValue, ...]:
    """All special values in the order of the table."""
    return tuple(SpecialValue(*row) for row in rows("special-values.csv"))


def special(format: str, place: str) -> tuple[SpecialValue, ...]:
    """The special values of ``format`` ("scp", "aecg", "dicom", "wfdb") at ``place`` (as the table spells it)."""
    return tuple(row for row in special_values() if row.format == format and row.place == place)
