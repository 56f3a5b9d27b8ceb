"""DICOM waveforms of the four ECG storage classes (PS3.3 A.34.3, A.34.4, A.34.5, A.34.18).

``recognise``, ``read``, ``encode``, ``check``, ``RULES`` and ``ACCOUNT`` are what every format offers; nothing else is
loaded before it is used.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from interchange.formats.dicom.recognise import recognise

if TYPE_CHECKING:
    from interchange.findings import Finding, Rule
    from interchange.formats.contract import Account, Encoded
    from interchange.model import Recording
    from interchange.sources import Source

    RULES: tuple[Rule, ...]
    ACCOUNT: Account

__all__ = ["ACCOUNT", "RULES", "check", "encode", "read", "read_and_check", "recognise"]


def read(source: Source) -> Recording:
    """The recording in a DICOM file; SourceError names the place where nothing sound can be had."""
    from interchange.formats.dicom import reader

    return reader.read(source)


def encode(recording: Recording, name: str, options: Mapping[str, str]) -> Encoded:
    """The file ``name.dcm`` in the narrowest storage class that holds the recording; RefusedError where none does."""
    from interchange.formats.dicom import writer

    return writer.encode(recording, name, options)


def read_and_check(source: Source) -> tuple[Recording, tuple[Finding, ...]]:
    """The recording and all findings on conformance, from one parsing."""
    from interchange.formats.dicom import checker

    return checker.read_and_check(source)


def check(source: Source) -> tuple[Finding, ...]:
    """All findings on conformance, in the order of the file."""
    from interchange.formats.dicom import checker

    return checker.check(source)


def __getattr__(name: str) -> Any:
    if name == "RULES":
        from interchange.formats.dicom.rules import RULES as TABLE

        return TABLE
    if name == "ACCOUNT":
        from interchange.formats.dicom.account import ACCOUNT as TABLE_OF_FIELDS

        return TABLE_OF_FIELDS
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
