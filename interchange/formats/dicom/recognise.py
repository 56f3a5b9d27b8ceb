"""Is it a DICOM file?  Judged by the first bytes, without loading anything else of the format."""

from __future__ import annotations

from typing import Final

from interchange.sources import Source

__all__ = ["PREAMBLE", "bare_data_set", "looks_like_dicom", "recognise"]

PREAMBLE: Final = 128
PREFIX: Final = b"DICM"
_VALUE_REPRESENTATIONS: Final = (
    b"AE AS AT CS DA DS DT FD FL IS LO LT OB OD OF OL OV OW PN SH SL SQ SS ST SV TM UC UI UL UN UR US UT UV"
)
_LONGEST_FIRST_VALUE: Final = 1024


def recognise(source: Source) -> bool:
    """Whether the bytes begin like a DICOM file (PS3.10 7.1)."""
    return looks_like_dicom(source.data)


def looks_like_dicom(data: bytes) -> bool:
    """Whether the bytes begin with preamble and prefix, or with a bare data set of group 0002 or 0008."""
    return data[PREAMBLE : PREAMBLE + 4] == PREFIX or bare_data_set(data) is not None


def bare_data_set(data: bytes) -> bool | None:
    """Whether a data set without preamble has explicit value representations; None where the bytes are none.

    Judged by the first element: a tag of group 0002 or 0008 with a low element number, and a value representation, or
    a length that fits in the file.
    """
    if len(data) < 12 or data[0] not in (2, 8) or data[1] or data[3]:
        return None
    code = data[4:6]
    if code.isalpha() and code in _VALUE_REPRESENTATIONS.split():
        return True
    length = int.from_bytes(data[4:8], "little")
    return False if data[0] == 8 and 0 < length <= min(len(data) - 8, _LONGEST_FIRST_VALUE) else None
