"""Whether bytes are a record of this format."""

from __future__ import annotations

from interchange.formats.scp.syntax.frame import looks_like_record
from interchange.sources import Source

__all__ = ["recognise"]


def recognise(source: Source) -> bool:
    """By the mark in section 0, or, for records made before 2005, by length, pointers and checksum."""
    return looks_like_record(source.data)
