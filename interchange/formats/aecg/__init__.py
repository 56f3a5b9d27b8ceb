"""HL7 annotated ECG (aECG): the XML message of ANSI/HL7 V3 ECG, R1-2004, and of the normative editions.

``recognise``, ``read``, ``encode``, ``check``, ``RULES`` and ``ACCOUNT`` are what every format offers, and
``read_and_check`` does two of them in one go; nothing heavy is loaded before it is used.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from interchange.formats.aecg.recognise import recognise

if TYPE_CHECKING:
    from interchange.findings import Finding
    from interchange.formats.aecg.account import ACCOUNT
    from interchange.formats.aecg.rules import RULES
    from interchange.formats.contract import Encoded
    from interchange.model import Recording
    from interchange.sources import Source

__all__ = ["ACCOUNT", "RULES", "check", "encode", "read", "read_and_check", "recognise"]


def __getattr__(name: str) -> object:
    """The two tables, each loaded when it is asked for."""
    if name == "ACCOUNT":
        from interchange.formats.aecg.account import ACCOUNT

        return ACCOUNT
    if name == "RULES":
        from interchange.formats.aecg.rules import RULES

        return RULES
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def read(source: Source) -> Recording:
    """The recording; SourceError when no samples can be had from the document."""
    from interchange.formats.aecg import reader

    return reader.read(source)


def encode(recording: Recording, name: str, options: Mapping[str, str]) -> Encoded:
    """The document ``name.xml``, R1-2004 or with ``edition=2009`` the normative edition of that year."""
    from interchange.formats.aecg import writer

    return writer.encode(recording, name, options)


def read_and_check(source: Source) -> tuple[Recording, tuple[Finding, ...]]:
    """The recording and all findings on conformance, from one parsing and one reading."""
    from interchange.formats.aecg import checker

    return checker.read_and_check(source)


def check(source: Source) -> tuple[Finding, ...]:
    """All findings on conformance, in the order of the file."""
    from interchange.formats.aecg import checker

    return checker.check(source)
