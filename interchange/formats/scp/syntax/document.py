"""A whole record: every section parsed, every finding about syntax and samples collected."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.device import Device
from interchange.formats.scp.syntax.frame import Frame, Section, parse_frame
from interchange.formats.scp.syntax.header import Header, parse_header
from interchange.formats.scp.syntax.leads import Leads, parse_leads
from interchange.formats.scp.syntax.signal import Signal, parse_signal
from interchange.records import dataclass

if TYPE_CHECKING:
    from interchange.formats.scp.coding.rebuild import Rhythm
    from interchange.formats.scp.syntax.beats import Beats
    from interchange.formats.scp.syntax.globals import Globals
    from interchange.formats.scp.syntax.leadvalues import LeadValues
    from interchange.formats.scp.syntax.statements import Report
    from interchange.formats.scp.syntax.tables import Tables

    Samples: TypeAlias = tuple[Rhythm | None, Rhythm | None]

__all__ = ["Document", "parse_document", "parse_sections"]


@dataclass(frozen=True, slots=True, eq=False)
class Document:
    """All sections that are defined up to protocol 2.x, and the samples; None for what the record does not have."""

    frame: Frame
    header: Header
    tables: Tables | None
    leads: Leads
    beats: Beats | None
    beat_signal: Signal | None
    rhythm_signal: Signal | None
    beat: Rhythm | None
    rhythm: Rhythm | None
    globals: Globals | None
    report: Report | None
    coded: Report | None
    lead_values: tuple[LeadValues, ...]

    @property
    def protocol(self) -> int:
        """Protocol version times ten."""
        return self.frame.protocol


def parse_document(data: bytes, log: Log) -> Document:
    """Parse a record.  SourceError only where no sections can be found at all."""
    return parse_sections(parse_frame(data, log), log)


def parse_sections(frame: Frame, log: Log, samples: Samples | None = None) -> Document:
    """Parse the sections of a record; ``samples``: the reference beat and the rhythm where they are known already."""
    return _Parser(frame, log).document(samples)


class _Parser:
    """Parses the sections in the order in which they depend on each other.

    What parses a section that many records do not have is loaded with the first one that has it.
    """

    def __init__(self, frame: Frame, log: Log) -> None:
        self.frame = frame
        self.log = log

    def document(self, samples: Samples | None) -> Document:
        header = self._header()
        tables = self._tables()
        leads = self._leads()
        beats = self._beats()
        beat_signal = self._signal(5, leads)
        rhythm_signal = self._signal(6, leads)
        self._check_coding(tables, leads, beats, beat_signal, rhythm_signal)
        beat, rhythm = samples or self._samples(tables, leads, beats, beat_signal, rhythm_signal)
        return Document(
            self.frame,
            header,
            tables,
            leads,
            beats,
            beat_signal,
            rhythm_signal,
            beat,
            rhythm,
            self._globals(beats),
            self._report(8, header.language),
            self._report(11, header.language),
            self._lead_values(leads),
        )

    def _missing(self, number: int) -> None:
        self.log.add("section-missing", at(self.frame.sections[0].start, 0), f"section {number}")

    def _header(self) -> Header:
        section = self.frame.section(1)
        if section is None:
            self._missing(1)
            return Header(())
        header = parse_header(section, self.log)
        device = header.first(14, Device)
        if device is not None and device.protocol != self.frame.protocol:
            place = next(at(entry.offset + 3 + 14, 1) for entry in header.fields if entry.value is device)
            self.log.add("device-protocol", place, f"{device.protocol} and {self.frame.protocol}")
        return header

    def _tables(self) -> Tables | None:
        section = self.frame.section(2)
        if section is None:
            return None
        from interchange.formats.scp.syntax.tables import parse_tables

        return parse_tables(section, self.log)

    def _beats(self) -> Beats | None:
        section = self.frame.section(4)
        if section is None:
            return None
        from interchange.formats.scp.syntax.beats import parse_beats

        return parse_beats(section, self.log)

    def _globals(self, beats: Beats | None) -> Globals | None:
        section = self.frame.section(7)
        if section is None:
            return None
        from interchange.formats.scp.syntax.globals import parse_globals

        return parse_globals(section, len(beats.zones) if beats is not None else None, self.log)

    def _leads(self) -> Leads:
        section = self.frame.section(3)
        if section is not None:
            return parse_leads(section, self.log)
        if self.frame.section(5) or self.frame.section(6):
            self._missing(3)
        return Leads(())

    def _signal(self, number: int, leads: Leads) -> Signal | None:
        section: Section | None = self.frame.section(number)
        if section is None:
            return None
        return parse_signal(section, leads.stated, len(leads.leads), self.log) if leads.leads else None

    def _check_coding(
        self, tables: Tables | None, leads: Leads, beats: Beats | None, beat: Signal | None, rhythm: Signal | None
    ) -> None:
        home = at(self.frame.sections[0].start, 0)
        if tables is not None and beat is None and rhythm is None:
            self.log.add("table-unused", home)
        if rhythm is None:
            self.log.add("rhythm-missing", home)
        bimodal = rhythm is not None and rhythm.bimodal > 0
        if beats is not None:
            from interchange.formats.scp.syntax.beats import check_ranges

            last = max((lead.last for lead in leads.leads if lead.samples), default=0)
            check_ranges(beats, last, leads.subtracted, bimodal, self.log)
        if self.frame.protocol >= 30 and (beats is not None or leads.subtracted or bimodal):
            self.log.add("legacy-coding", home)

    def _samples(
        self, tables: Tables | None, leads: Leads, beats: Beats | None, beat: Signal | None, rhythm: Signal | None
    ) -> Samples:
        if beat is None and rhythm is None:
            return None, None
        from interchange.formats.scp.coding.rebuild import rebuild_beat, rebuild_rhythm

        data = self.frame.data
        found = rebuild_beat(data, beat, leads, tables, beats, self.log) if beat is not None else None
        if rhythm is None:
            return found, None
        return found, rebuild_rhythm(data, rhythm, leads, tables, beats, found, self.log)

    def _report(self, number: int, language: int) -> Report | None:
        section = self.frame.section(number)
        if section is None:
            return None
        from interchange.formats.scp.syntax.statements import parse_report

        return parse_report(section, language, self.log)

    def _lead_values(self, leads: Leads) -> tuple[LeadValues, ...]:
        section = self.frame.section(10)
        if section is None:
            return ()
        from interchange.formats.scp.syntax.leadvalues import check_codes, parse_lead_values

        found = parse_lead_values(section, self.log)
        check_codes(found, [lead.code for lead in leads.leads], self.log)
        return found
