"""What is written where DICOM demands a value and the recording has none.

Each placeholder is fixed and recognisable, reads back as not given, and is listed as added.  Dates are of a year in
which no ECG could be stored; texts say what they are.
"""

from __future__ import annotations

from typing import Final

__all__ = ["NO_DATE", "NO_TEXT", "NO_TIME", "is_placeholder_text"]

NO_DATE: Final = "19000101"
"""Date of a moment whose day is not known (Content Date, Acquisition DateTime: type 1, PS3.3 C.10.8)."""

NO_TIME: Final = "000000"
"""Time of day beside :data:`NO_DATE`, or where only the day is known (Content Time: type 1)."""

NO_TEXT: Final = "NOT GIVEN"
"""Manufacturer, model, serial number, software (type 1 in PS3.3 C.7.5.2); sponsor and protocol of a trial (C.7.1.3)."""


def is_placeholder_text(text: str | None) -> bool:
    """Whether a text is the placeholder."""
    return text == NO_TEXT
