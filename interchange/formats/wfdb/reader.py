"""From a header and the files beside it to a recording of the model."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from interchange.errors import SourceError
from interchange.findings import Finding
from interchange.formats.wfdb.assembly import cut, tracing_of
from interchange.formats.wfdb.comments import told
from interchange.formats.wfdb.header import Header, Leftover, parse_header
from interchange.formats.wfdb.infostrings import InfoString, unwrapped
from interchange.formats.wfdb.layout import Span, is_layout, spans
from interchange.formats.wfdb.model_lines import is_own
from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.signals import read_signals
from interchange.formats.wfdb.told import with_lines
from interchange.model import Extras, Moment, Recording, Tracing, Unread
from interchange.model.lines import decimal
from interchange.sources import Source

__all__ = ["read"]

Fetch = Callable[[str, int], "bytes | None"]
"""Bytes of a neighbour by plain name, and the header line that names it (0: none)."""

_PART: Final = "Part of record "
_INFOS: Final = "the info strings"


def read(source: Source) -> Recording:
    """The recording that a header and its files hold.

    Raises SourceError, naming the line, for what cannot be understood; everything tolerated is a finding.
    """
    header = parse_header(source.data)
    notes = Notes()
    if source.stem and header.name != source.stem:
        notes.line("wfdb.name-differs", header.line)

    def fetch(name: str, line: int) -> bytes | None:
        try:
            return source.neighbour(name)
        except SourceError as error:
            raise SourceError(error.reason, f"line {line}" if line else _INFOS) from None

    return _Record(header, fetch, notes, whole=True).recording()


class _Record:
    """One record while it is read; only a ``whole`` one may name further records in its info strings."""

    def __init__(self, header: Header, fetch: Fetch, notes: Notes, *, whole: bool) -> None:
        self.header = header
        self.fetch = fetch
        self.notes = notes
        self.whole = whole
        self.leftovers: list[Leftover] = list(header.leftovers)
        self.unread: list[Unread] = []
        self.findings: list[Finding] = []

    def recording(self) -> Recording:
        """The recording with its findings and what was not taken."""
        infos = unwrapped(comment for comment in self.header.comments if comment.info)
        layout = spans(info.text for info in infos) if self.whole else []
        tracings = self._tracings(layout)
        own = [info.text for info in infos if is_own(info.text)]
        others = [info for info in infos if not is_own(info.text) and not self._is_ours(info.text, layout)]
        recording = with_lines(self._plain(others), tracings, own, self.notes, self.unread)
        self.unread.extend(Unread(f"line {left.line}", left.size, left.what) for left in self.leftovers)
        self.unread.extend(
            Unread(f"line {comment.line}", len(comment.text), "comment that is no info string")
            for comment in self.header.comments
            if not comment.info and comment.text.strip(" \t")
        )
        findings = (*self.header.findings, *self.notes.findings(), *self.findings)
        return recording.with_(unread=tuple(self.unread), findings=findings)

    @staticmethod
    def _is_ours(text: str, layout: Sequence[Span]) -> bool:
        return (bool(layout) and is_layout(text)) or text.startswith(_PART)

    def _tracings(self, layout: Sequence[Span]) -> list[Tracing | None]:
        blocks = read_signals(self.header, lambda line: self.fetch(line.file, line.line), self.notes, self.leftovers)
        found = cut(self.header, blocks, layout, self.notes) if layout else None
        if found is None:
            if layout:
                self.notes.at("wfdb.layout", _INFOS)
            return [tracing_of(self.header, block, self.notes) for block in blocks]
        return [
            self._further(span) if span.record is not None else tracing
            for span, tracing in zip(layout, found, strict=True)
        ]

    def _further(self, span: Span) -> Tracing | None:
        """The tracing of a further record, None (and a finding) where it cannot be had."""
        place = f"further record of tracing {span.number + 1}"
        try:
            data = self.fetch(f"{span.record}.hea", 0)
            if data is None:
                self.notes.at("wfdb.further-record", place)
                return None
            part = _Record(parse_header(data), self.fetch, Notes(), whole=False).recording()
        except SourceError as error:
            self.notes.at("wfdb.further-record", place, error.place)
            return None
        self.findings.extend(replace(finding, place=f"{place}, {finding.place}") for finding in part.findings)
        self.unread.extend(replace(left, place=f"{place}, {left.place}") for left in part.unread)
        return part.tracings[0] if part.tracings else None

    def _plain(self, infos: Sequence[InfoString]) -> Recording:
        """The recording without tracings and lines of the model: header fields, customary keys, remarks."""
        story = told(infos, self.notes)
        acquisition = replace(story.acquisition, remarks=tuple(story.remarks))
        moment = _moment(self.header)
        if moment is not None:
            acquisition = replace(acquisition, time=moment)
        return Recording(
            patient=story.patient,
            acquisition=acquisition,
            statements=tuple(story.statements),
            extras=_counter(self.header),
            format="wfdb",
        )


def _moment(header: Header) -> Moment | None:
    said = header.moment
    if said.date is None and said.time is None:
        return None
    year, month, day = said.date or (None, None, None)
    if said.time is None:
        return Moment(year, month, day)
    hour, minute, second = said.time
    return Moment(year, month, day, hour, minute, second + Fraction(f"0.{said.fraction or 0}"))


def _counter(header: Header) -> Extras:
    """Counter frequency and base value, which only this format knows."""
    found = []
    if header.counter_rate is not None and header.counter_rate != header.rate:
        found.append(("wfdb.counter-frequency", decimal(header.counter_rate)))
    if header.counter_base:
        found.append(("wfdb.counter-base", decimal(header.counter_base)))
    return tuple(found)
