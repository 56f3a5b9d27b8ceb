"""The two ways to write a number of the MDC nomenclature (ISO/IEEE 11073-10101): ``2:1`` and 131073.

The first names partition and term, as DICOM does; the second is partition x 65536 + term.
"""

from __future__ import annotations

__all__ = ["mdc_32bit", "mdc_code", "plain_code"]


def plain_code(code: str) -> str:
    """``code`` without blanks: one DICOM table prints ``2: 33792``."""
    return "".join(code.split())


def mdc_32bit(code: str) -> int:
    """``2:1`` as 131073.  Raises ValueError for text that is no partition and term."""
    partition, _, term = plain_code(code).partition(":")
    if not (_is_number(partition) and _is_number(term)):
        raise ValueError("not an MDC code of the form partition:term")
    return int(partition) * 65536 + int(term)


def mdc_code(number: int) -> str:
    """131073 as ``2:1``.  Raises ValueError for a number that is negative or has more than 32 bits."""
    if not 0 <= number < 2**32:
        raise ValueError("not a 32-bit number")
    return f"{number >> 16}:{number & 0xFFFF}"


def _is_number(text: str) -> bool:
    return 0 < len(text) <= 5 and text.isascii() and text.isdigit() and int(text) < 65536
