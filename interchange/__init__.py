"""Take a 12-lead ECG in one open format and hand it on in another, with a receipt.

>>> import interchange
>>> recording = interchange.read("tracing.scp")                      # doctest: +SKIP
>>> receipt = interchange.convert("tracing.scp", "tracing.dcm")      # doctest: +SKIP

Names are imported on first use, so that nobody pays for what they do not use.
"""

from __future__ import annotations

from interchange._version import __version__

TYPE_CHECKING = False  # what type checkers take for true; importing typing for it would double the time to start
if TYPE_CHECKING:
    from typing import Any

    from interchange.api import check, compare, convert, read, write
    from interchange.errors import (
        InterchangeError,
        InternalError,
        RefusedError,
        SourceError,
        TargetError,
        UsageError,
    )
    from interchange.findings import Finding, Rule
    from interchange.model import (
        Acquisition,
        Channel,
        Code,
        Device,
        Filters,
        Identifier,
        Mark,
        Measurement,
        Moment,
        Patient,
        Person,
        PersonName,
        Quantity,
        Recording,
        Site,
        Statement,
        Study,
        Tracing,
        Trial,
        Unread,
    )

_HOME = {
    **dict.fromkeys(("check", "compare", "convert", "read", "write"), "interchange.api"),
    **dict.fromkeys(
        ("InterchangeError", "InternalError", "RefusedError", "SourceError", "TargetError", "UsageError"),
        "interchange.errors",
    ),
    **dict.fromkeys(("Finding", "Rule"), "interchange.findings"),
    **dict.fromkeys(
        (
            "Acquisition",
            "Channel",
            "Code",
            "Device",
            "Filters",
            "Identifier",
            "Mark",
            "Measurement",
            "Moment",
            "Patient",
            "Person",
            "PersonName",
            "Quantity",
            "Recording",
            "Site",
            "Statement",
            "Study",
            "Tracing",
            "Trial",
            "Unread",
        ),
        "interchange.model",
    ),
}

__all__ = [
    "Acquisition",
    "Channel",
    "Code",
    "Device",
    "Filters",
    "Finding",
    "Identifier",
    "InterchangeError",
    "InternalError",
    "Mark",
    "Measurement",
    "Moment",
    "Patient",
    "Person",
    "PersonName",
    "Quantity",
    "Recording",
    "RefusedError",
    "Rule",
    "Site",
    "SourceError",
    "Statement",
    "Study",
    "TargetError",
    "Tracing",
    "Trial",
    "Unread",
    "UsageError",
    "__version__",
    "check",
    "compare",
    "convert",
    "read",
    "write",
]


def __getattr__(name: str) -> Any:
    home = _HOME.get(name)
    if home is None:
        raise AttributeError(f"module 'interchange' has no attribute {name!r}")
    import importlib

    value = getattr(importlib.import_module(home), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
