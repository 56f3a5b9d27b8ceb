"""How much is read before it is called too much.

Every count in a file is held against the bytes that are there; these limits bound what the bytes themselves may ask
for.  ``with limits(bytes=10_000_000): ...`` sets others for the work inside; the environment variable
INTERCHANGE_LIMITS ("bytes=10000000 channels=64") for a whole process.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from contextvars import ContextVar
from functools import cache

from interchange.errors import UsageError

__all__ = ["DEFAULTS", "ENVIRONMENT", "limit", "limits"]

ENVIRONMENT = "INTERCHANGE_LIMITS"

DEFAULTS: dict[str, tuple[int, str]] = {
    "bytes": (2 * 1024**3, "bytes of one file"),
    "unpacked": (1024**3, "bytes that a compressed file (gzip, deflated DICOM) may unpack to"),
    "samples": (10**9, "samples of all channels of a recording together"),
    "channels": (4096, "channels of one tracing"),
    "text": (16 * 1024**2, "bytes of one text value"),
    "xml_depth": (200, "XML elements inside one another"),
    "xml_markup": (6_000_000, "XML elements and attributes of one document"),
    "xml_attributes": (256, "XML attributes of one element, in a document that has sixteen times as many or more"),
    "sequence_depth": (32, "DICOM sequences inside one another"),
    "elements": (4_000_000, "DICOM elements of one file"),
}
"""Name -> (default, what it counts)."""

_set: ContextVar[dict[str, int] | None] = ContextVar("limits", default=None)


def limit(name: str) -> int:
    """The limit that holds now."""
    chosen = _set.get()
    if chosen is not None and name in chosen:
        return chosen[name]
    return _process()[name]


@contextlib.contextmanager
def limits(**values: int) -> Iterator[None]:
    """Other limits for the work inside; UsageError for a name that there is not or a value below one."""
    for name, value in values.items():
        _check(name, value, "limits")
    token = _set.set({**(_set.get() or {}), **values})
    try:
        yield
    finally:
        _set.reset(token)


@cache
def _process() -> dict[str, int]:
    """The defaults, and what the environment variable says instead; read once."""
    found = {name: default for name, (default, _) in DEFAULTS.items()}
    for part in os.environ.get(ENVIRONMENT, "").split():
        name, sign, text = part.partition("=")
        value = int(text) if sign and text.isascii() and text.isdigit() and len(text) < 20 else 0
        _check(name, value, ENVIRONMENT)
        found[name] = value
    return found


def _check(name: str, value: int, place: str) -> None:
    if name not in DEFAULTS:
        raise UsageError(f"there is no such limit; the limits are {', '.join(DEFAULTS)}", place)
    if value < 1:
        raise UsageError(f"{name} must be a whole number, at least 1", place)
