"""What a DICOM file may ask for before it is refused.

The numbers are far above anything that an ECG needs; they bound the memory and the time that a hostile file can cost.
"""

from __future__ import annotations

from typing import Final

__all__ = ["MAX_DEPTH", "MAX_ELEMENTS", "MAX_INFLATED", "MAX_TEXT"]

MAX_DEPTH: Final = 32
"""Sequences nested in each other."""

MAX_ELEMENTS: Final = 4_000_000
"""Elements and items in one data set (a day of annotated beats needs about a million)."""

MAX_INFLATED: Final = 1024**3
"""Bytes that a deflated data set may unpack to."""

MAX_TEXT: Final = 16 * 1024**2
"""Bytes of one text value; what is longer is left unread and listed."""
