"""Names made from content, and patterns that find them again and nothing else.

A name ends with eight hexadecimal digits of a SHA-256, from its first letter on: a date such as 20310405 is never taken
for one, so that clearing up after an older record touches no file of anybody else.
"""

from __future__ import annotations

import hashlib
import re
from typing import Final

__all__ = ["fingerprint", "is_fresh", "leftovers_of"]

_MARK: Final = "[a-f]" + "[0-9a-f]" * 7
_FRESH: Final = re.compile(rf".+_{_MARK}", re.ASCII | re.DOTALL)


def fingerprint(data: bytes) -> str:
    """Eight digits of the SHA-256, from the first one that is a letter."""
    text = hashlib.sha256(data).hexdigest()
    match = re.search(_MARK, text)
    return match[0] if match else f"a{text[:7]}"


def leftovers_of(stem: str) -> tuple[str, ...]:
    """Patterns (``fnmatch``) of the files beside the header that writing the record ``stem`` makes."""
    return f"{stem}_{_MARK}.dat", f"{stem}_{_MARK}.hea", f"{stem}.*_{_MARK}", f"{stem}_{_MARK}.*_{_MARK}"


def is_fresh(name: str) -> bool:
    """Whether a name ends as those do that are made from content."""
    return _FRESH.fullmatch(name) is not None
