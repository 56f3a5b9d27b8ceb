"""Sections 8 and 11 to statements (EN 1064 clauses 5.11 and 5.14)."""

from __future__ import annotations

from dataclasses import replace

from interchange.formats.scp.log import Log
from interchange.formats.scp.maps import SCHEME_STATEMENT, acronym_meaning
from interchange.formats.scp.reader.people import time_moment, zone_of
from interchange.formats.scp.syntax.document import Document
from interchange.formats.scp.syntax.statements import CODED, LOGIC, Line, Report
from interchange.model import Code, Statement

__all__ = ["read_statements"]


def read_statements(document: Document, codes_by_number: bool, log: Log) -> tuple[Statement, ...]:
    """All statements: the report in words, then the coded one.

    ``codes_by_number``: the coded statements are known to be those of the report with the same numbers.
    """
    report, coded = document.report, document.coded
    zone = zone_of(document.header)
    words = [_statement(line, report, 0, zone) for line in report.lines] if report is not None else []
    if coded is None:
        return tuple(words)
    if report is not None and (report.flag, report.date, report.time) != (coded.flag, coded.date, coded.time):
        log.add("reports-differ", f"section 11, offset {coded.offset}")
    if codes_by_number and report is not None:
        numbers = [line.number for line in report.lines]
        for line in coded.lines:
            if line.number in numbers:
                index = numbers.index(line.number)
                words[index] = replace(words[index], codes=(*words[index].codes, *_codes(line)))
        return tuple(words)
    group = 1 if words else 0
    return (*words, *(_statement(line, coded, group, zone) for line in coded.lines if line.type != LOGIC))


def _statement(line: Line, report: Report, group: int, zone: int | None) -> Statement:
    codes = _codes(line) if line.type == CODED else ()
    meanings = [code.meaning for code in codes if code.meaning]
    return Statement(
        text=", ".join(meanings) if meanings and len(meanings) == len(codes) else line.text,
        group=group,
        codes=codes,
        time=time_moment(report.date, report.time, zone),
        confirmed={0: False, 1: True, 2: False}.get(report.flag),
        overread=True if report.flag == 2 else None,
    )


def _codes(line: Line) -> tuple[Code, ...]:
    """The acronyms of a coded statement; modifiers are acronyms too."""
    return tuple(Code(part, SCHEME_STATEMENT, acronym_meaning(part)) for part in line.text.split())
