"""Whether bytes are a WFDB header, judged by their text alone."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from interchange.sources import Source

__all__ = ["recognise"]

_HEAD: Final = 1 << 16
_RATE: Final = r"[-+.\dEe]+(?:/[-+.\dEe]*(?:\([-+.\dEe]*\))?)?"
_FORMAT: Final = r"\d{1,4}(?:x\d+)?(?::-?\d+)?(?:\+\d+)?"
_OTHER_BLANKS: Final = frozenset("\r\f\v")
"""What parts lines and is no part of a field; blanks and tabs stand between fields."""


def recognise(source: Source) -> bool:
    """Whether the first lines read like a record line and a signal or segment line (header(5)).

    A damaged header whose file is named ``.hea`` is recognised by its record line alone.
    """
    head = source.data[:_HEAD]
    if b"\0" in head:
        return False
    lines = head.decode("latin-1").removeprefix("\xef\xbb\xbf").split("\n")
    if len(source.data) > _HEAD:
        lines.pop()
    found = []
    for line in lines:
        bare = line.strip(" \t\r")
        if bare and not bare.startswith("#"):
            found.append(bare)
            if len(found) == 2:
                break
    fields = _fields(found[0]) if found else None
    if fields is None or not _is_record(fields):
        return False
    if len(fields) > 2 and not _is_rate(fields[2]):
        return source.name.lower().endswith(".hea")
    if len(found) == 1:
        return source.name.lower().endswith(".hea") or fields[1] == "0"
    return _is_part(found[1]) or source.name.lower().endswith(".hea")


def _fields(line: str) -> list[str] | None:
    """What blanks and tabs part; None where the line holds other white space."""
    if not _OTHER_BLANKS.isdisjoint(line):
        return None
    return [field for field in line.replace("\t", " ").split(" ") if field]


def _is_record(fields: list[str]) -> bool:
    """Whether a name that is no mark-up and a number begin the line."""
    if len(fields) < 2 or any(sign in fields[0] for sign in '<{["'):
        return False
    return _is_digits(fields[1].removeprefix("-"))


def _is_rate(field: str) -> bool:
    return not field.strip("+-.0123456789Ee") or re.fullmatch(_RATE, field, re.ASCII) is not None


def _is_part(line: str) -> bool:
    """Whether a name, and a signal format or a number of samples, begin the line."""
    fields = line.replace("\t", " ").split(" ")
    name, form = fields[0], next(filter(None, fields[1:]), "")
    if not _OTHER_BLANKS.isdisjoint(name):
        return False
    if _is_digits(form) and len(form) <= 4:
        return True
    if re.fullmatch(_FORMAT, form, re.ASCII):
        return True
    return _is_digits(form) and len(list(filter(None, fields))) == 2


def _is_digits(text: str) -> bool:
    return text.isdigit() and text.isascii()
