"""Conformance of an aECG document (placeholder until the rules on content follow)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from interchange.errors import SourceError
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import parse
from interchange.formats.aecg.reader import read_document

if TYPE_CHECKING:
    from interchange.findings import Finding
    from interchange.sources import Source

__all__ = ["check"]


def check(source: Source) -> tuple[Finding, ...]:
    """Findings of the reader."""
    log = Log()
    try:
        read_document(parse(source.data), log)
    except SourceError as error:
        log.add("aecg.well-formed", None, error.reason, error.place)
    return log.findings()
