"""Conformance of a record: everything that reading notices, and what makes it unreadable."""

from __future__ import annotations

from typing import TYPE_CHECKING

from interchange.errors import SourceError
from interchange.findings import Finding
from interchange.formats.wfdb.reader import read
from interchange.formats.wfdb.rules import BY_ID

if TYPE_CHECKING:
    from interchange.sources import Source

__all__ = ["check"]


def check(source: Source) -> tuple[Finding, ...]:
    """All findings, in the order of the file; what cannot be read is one finding with place and reason."""
    try:
        return read(source).findings
    except SourceError as error:
        rule = BY_ID["wfdb.unreadable"]
        return (Finding(rule.id, rule.severity, error.place, error.reason, rule.clause),)
