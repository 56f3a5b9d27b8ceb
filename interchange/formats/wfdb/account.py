"""Where each field of the model lives in a WFDB record."""

from __future__ import annotations

from typing import Final

from interchange.formats.contract import Account, Place

__all__ = ["ACCOUNT"]

_LINES: Final = Place("info strings, one field of the model a line", "text", "header(5)")

ACCOUNT: Final[Account] = {
    "patient": _LINES,
    "acquisition": _LINES,
    "measurements": _LINES,
    "marks": _LINES,
    "statements": _LINES,
    "trial": _LINES,
    "document_id": _LINES,
    "extras": _LINES,
    "tracings": _LINES,
}
