"""SCP-ECG: EN 1064:2005+A1:2007 = ISO 11073-91064:2009 (protocol 1.x and 2.x), read and written.

Records of protocol 3.0 (ISO 41064) are read as far as their sections are those of 2.x.  Layout and coding live in
``syntax`` and ``coding``, free of the model; ``reader`` and ``writer`` connect them with it; ``facts`` says how sure
each fact is, ``rules`` what a record must be.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from interchange.formats.scp.recognise import recognise

if TYPE_CHECKING:
    from interchange.findings import Finding, Rule
    from interchange.formats.contract import Account, Encoded
    from interchange.model import Recording
    from interchange.sources import Source

    RULES: tuple[Rule, ...]
    ACCOUNT: Account

__all__ = ["ACCOUNT", "RULES", "check", "encode", "is_further", "read", "read_and_check", "recognise"]


def read(source: Source) -> Recording:
    """The recording; SourceError when nothing sound can be had from it."""
    from interchange.formats.scp.reader import read_record

    return read_record(source)


def encode(recording: Recording, name: str, options: Mapping[str, str]) -> Encoded:
    """The files of a record named ``name``: the main one, and further ones for what one record cannot hold."""
    from interchange.formats.scp.writer import encode_record

    return encode_record(recording, name, options)


def is_further(data: bytes) -> bool:
    """Whether a file says that it is a further file of another record."""
    return b"scp.part-of: " in data


def read_and_check(source: Source) -> tuple[Recording, tuple[Finding, ...]]:
    """What ``read`` and ``check`` give, from one parsing; SourceError where ``read`` raises it."""
    from interchange.formats.scp.checks import read_and_check_record

    return read_and_check_record(source)


def check(source: Source) -> tuple[Finding, ...]:
    """All findings on conformance, in the order in which the parts of the record are read."""
    from interchange.formats.scp.checks import check_record

    return check_record(source)


def __getattr__(name: str) -> Any:
    if name == "RULES":
        from interchange.formats.scp.rules import rules

        return rules()
    if name == "ACCOUNT":
        from interchange.formats.scp.account import ACCOUNT as TABLE_OF_FIELDS

        return TABLE_OF_FIELDS
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
