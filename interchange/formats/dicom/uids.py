"""Unique identifiers made from content (PS3.5 9 and B.2: root 2.25 with a UUID as one decimal number).

The UUID is of version 8 (RFC 9562), whose bits are free: 32 of them mark an identifier that this program derived,
the rest is a hash.  So the same content gets the same identifier everywhere, and a reader can tell an identifier that
was only made because the format demands one from one that somebody gave out.
"""

from __future__ import annotations

import hashlib
from typing import Final

__all__ = ["derived_uid", "is_derived", "is_uid"]

ROOT: Final = "2.25."
MARK: Final = 0xEC6F1E1D


def derived_uid(purpose: str, *content: bytes | memoryview) -> str:
    """The identifier for ``purpose`` that follows from ``content``."""
    digest = hashlib.sha256(purpose.encode())
    for part in content:
        digest.update(len(part).to_bytes(8, "little"))
        digest.update(part)
    number = MARK << 96 | int.from_bytes(digest.digest()[:12], "big")
    number = number & ~(0xF << 76) | 8 << 76
    number = number & ~(0x3 << 62) | 2 << 62
    return f"{ROOT}{number}"


def is_derived(uid: str) -> bool:
    """Whether this program made the identifier from content."""
    tail = uid.removeprefix(ROOT)
    return tail != uid and tail.isascii() and tail.isdigit() and len(tail) <= 39 and int(tail) >> 96 == MARK


def is_uid(uid: str) -> bool:
    """Whether the text is a unique identifier: numbers without leading zeros between points, at most 64 characters."""
    parts = uid.split(".")
    return len(uid) <= 64 and all(
        part.isascii() and part.isdigit() and (part == "0" or part[0] != "0") for part in parts
    )
