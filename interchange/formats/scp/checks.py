"""Conformance: everything that parsing and reading a record finds."""

from __future__ import annotations

from interchange.errors import SourceError
from interchange.findings import Finding
from interchange.formats.scp.log import Log
from interchange.formats.scp.reader.build import build_recording, carried_by
from interchange.formats.scp.syntax.document import parse_document
from interchange.sources import Source

__all__ = ["check_record"]


def check_record(source: Source) -> tuple[Finding, ...]:
    """All findings on one file; further files are checked on their own."""
    log = Log()
    try:
        document = parse_document(source.data, log)
        remarks, carried = carried_by(document)
        build_recording(document, remarks, carried, log)
    except SourceError as error:
        log.add("no-record", error.place or "offset 0", error.reason)
    return log.findings
