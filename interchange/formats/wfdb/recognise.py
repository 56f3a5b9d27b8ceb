"""Whether bytes are a WFDB header, judged by their text alone."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from interchange.sources import Source

__all__ = ["recognise"]

_HEAD: Final = 1 << 16
_RECORD: Final = re.compile(r"[^\s<{\[\"]+[ \t]+-?\d+(?:[ \t]+[^\s]+)*", re.ASCII)
_SIGNAL: Final = re.compile(r"\S+[ \t]+\d{1,4}(?:x\d+)?(?::-?\d+)?(?:\+\d+)?(?:[ \t].*)?", re.ASCII | re.DOTALL)
_SEGMENT: Final = re.compile(r"\S+[ \t]+\d+[ \t]*", re.ASCII)
_RATE: Final = re.compile(r"[-+.\dEe]+(?:/[-+.\dEe]*(?:\([-+.\dEe]*\))?)?", re.ASCII)


def recognise(source: Source) -> bool:
    """Whether the first lines read like a record line and a signal or segment line (header(5)).

    A damaged header whose file is named ``.hea`` is recognised by its record line alone.
    """
    head = source.data[:_HEAD]
    if b"\0" in head:
        return False
    lines = [line.strip(" \t\r") for line in head.decode("latin-1").removeprefix("\xef\xbb\xbf").split("\n")]
    if len(source.data) > _HEAD:
        lines.pop()
    found = [line for line in lines if line and not line.startswith("#")][:2]
    if not found or not _RECORD.fullmatch(found[0]):
        return False
    fields = found[0].split()
    if len(fields) > 2 and not _RATE.fullmatch(fields[2]):
        return source.name.lower().endswith(".hea")
    if len(found) == 1:
        return source.name.lower().endswith(".hea") or fields[1] == "0"
    return bool(_SIGNAL.fullmatch(found[1]) or _SEGMENT.fullmatch(found[1]) or source.name.lower().endswith(".hea"))
