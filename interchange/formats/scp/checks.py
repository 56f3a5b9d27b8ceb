"""Conformance: everything that parsing and reading a record finds."""

from __future__ import annotations

from typing import TYPE_CHECKING

from interchange.errors import SourceError
from interchange.formats.scp.log import Log, at
from interchange.formats.scp.reader.record import read_document, recording_of
from interchange.formats.scp.syntax.document import Document, parse_document
from interchange.model import Recording
from interchange.sources import Source

if TYPE_CHECKING:
    from interchange.findings import Finding

__all__ = ["check_record", "read_and_check_record"]


def read_and_check_record(source: Source) -> tuple[Recording, tuple[Finding, ...]]:
    """The recording and all findings, from one parsing; SourceError when nothing sound can be had from it."""
    log = Log()
    recording, document = read_document(source, log)
    _check_acquisition(document, log)
    return recording, log.findings


def check_record(source: Source) -> tuple[Finding, ...]:
    """All findings on one file; of its further files whether they are there and sound."""
    log = Log()
    try:
        document = parse_document(source.data, log)
        recording_of(document, source, log)
        _check_acquisition(document, log)
    except SourceError as error:
        log.add("no-record", error.place or "offset 0", error.reason)
    return log.findings


def _check_acquisition(document: Document, log: Log) -> None:
    """Whether step and interval are those of a diagnostic recording."""
    signal, rhythm = document.rhythm_signal, document.rhythm
    if signal is None or rhythm is None:
        return
    if rhythm.step > 5000:
        log.add("step-coarse", at(signal.offset, 6), f"{rhythm.step} nV")
    if rhythm.interval > 2000:
        log.add("interval-coarse", at(signal.offset + 2, 6), f"{rhythm.interval} us")
