"""Conformance of an aECG document: valid against the schema of its edition, and right in what a schema cannot say.

The schema is that of the edition that the document seems to follow, validated by libxml2 (:mod:`schema`).  The rest
are the findings of the reader, which looks at every value that it takes in.  Messages name elements, attributes and
what was expected, and never quote a value.

The document is read first.  What the reader has already shown to be a list of integers needs no second look by
libxml2, which would spend nearly all of its time on them: such a list, valid by its type
(``xs:list`` of ``xs:integer``), is replaced by an empty one, which is just as valid, before the rest is judged.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from interchange.errors import SourceError
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import Document, parse
from interchange.formats.aecg.reader import read_document
from interchange.formats.aecg.schema import validate

if TYPE_CHECKING:
    from interchange.findings import Finding
    from interchange.model import Recording
    from interchange.sources import Source

__all__ = ["check", "read_and_check"]


def check(source: Source) -> tuple[Finding, ...]:
    """All findings on conformance in the order of the file; one that says so for a document that cannot be read."""
    log = Log()
    try:
        document = parse(source.data)
    except SourceError as error:
        log.add("aecg.well-formed", None, error.reason, error.place)
        return log.findings()
    try:
        read_document(document, log)
    except SourceError as error:
        log.add("aecg.no-series" if "series" in error.reason else "aecg.well-formed", None, error.reason, error.place)
    return _with_schema(document, log)


def read_and_check(source: Source) -> tuple[Recording, tuple[Finding, ...]]:
    """What the reader and :func:`check` give, from one parsing and one reading; SourceError as from the reader."""
    log = Log()
    try:
        document = parse(source.data)
        recording = read_document(document, log)
    except SourceError as error:
        raise error.in_file(source.shown) from None
    return recording, _with_schema(document, log)


def _with_schema(document: Document, log: Log) -> tuple[Finding, ...]:
    """The findings of the schema and those of the reader; the document's samples are gone after this."""
    for digits in log.integers:
        digits.text = None
    judged = Log()
    validate(document.root, judged)
    findings = (*judged.findings(), *log.findings())
    return tuple(sorted(findings, key=_line_of)) if len(findings) > 1 else findings


def _line_of(finding: Finding) -> int:
    line = finding.place.rpartition("line ")[2].partition(",")[0]
    return int(line) if line.isdecimal() else 0
