"""One record from a recording whose tracings fit into it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field, replace

from interchange.formats.contract import Note
from interchange.formats.scp.carried import Carried, text_blocks
from interchange.formats.scp.log import Log
from interchange.formats.scp.reader.build import build_recording
from interchange.formats.scp.reader.tracings import natural_groups
from interchange.formats.scp.syntax.document import parse_document
from interchange.formats.scp.syntax.frame import build_record
from interchange.formats.scp.syntax.header import build_fields
from interchange.formats.scp.syntax.leads import Leads, build_leads
from interchange.formats.scp.syntax.tables import build_tables
from interchange.formats.scp.text import holds, language_for
from interchange.formats.scp.writer.beats import Marked, place_marks
from interchange.formats.scp.writer.lines import lines_for
from interchange.formats.scp.writer.measures import build_section_7, build_section_10
from interchange.formats.scp.writer.people import Entry, build_entries, entries_for, texts_of
from interchange.formats.scp.writer.plan import FilePlan
from interchange.formats.scp.writer.signals import Signals, encode_signals, lead_code
from interchange.formats.scp.writer.statements import Reported, choose_statements
from interchange.model import Mark, Recording
from interchange.records import dataclass

__all__ = ["Single", "prepare"]


@dataclass(slots=True)
class Single:
    """A record in the making: everything but the lines of free text that it carries."""

    recording: Recording
    signals: Signals
    marked: Marked
    reported: Reported
    huffman: bool
    section_7: bytes | None
    section_10: bytes | None
    own_lines: list[str] = field(default_factory=list)

    def base(self) -> Recording:
        """What the reader makes of the record without lines; the samples are not decoded for it."""
        document = parse_document(self._bytes([], signals=False), Log())
        document = replace(document, rhythm=self.signals.rhythm, beat=self.signals.beat)
        carried = Carried(
            groups=self.signals.groups if self._needs_groups() else (),
            own_positions=self._has_own_positions(),
            codes_by_number=self.reported.has_codes,
        )
        return build_recording(document, (), carried, Log())

    def lines(self, base: Recording, wanted: Recording, order: Sequence[Mark], remarks: Sequence[str]) -> list[str]:
        """The lines to carry; in ASCII where other letters in them would change the character set of all fields."""
        lines = lines_for(base, wanted, order)
        entries = self._entries(remarks)
        if holds(self._language(entries), lines):
            return lines
        return lines_for(base, wanted, order, ascii_only=True)

    def record(self, remarks: Sequence[str], lines: Sequence[str]) -> bytes:
        """The bytes of the record with its remarks and the lines that it carries."""
        return self._bytes([*remarks, *text_blocks([*self._lines_of_the_record(), *lines])], signals=True)

    def _lines_of_the_record(self) -> list[str]:
        lines = list(self.own_lines)
        if self._needs_groups():
            groups = " ".join(f"{count}@{first}-{last}" for count, first, last in self.signals.groups)
            lines.append(f"scp.tracings: {groups}")
        if self._has_own_positions():
            lines.append("scp.positions: own")
        if self.reported.has_codes:
            lines.append("scp.codes: by number")
        return lines

    def _needs_groups(self) -> bool:
        """Whether the leads' sample numbers alone would make other tracings."""
        rhythm = self.signals.rhythm
        if rhythm is None:
            return False
        spans = {(lead.first, lead.last) for lead in self.signals.leads}
        natural = natural_groups(Leads(self.signals.leads, simultaneous=len(spans) == 1), rhythm.waves)
        return tuple((len(g.leads), g.first, g.last) for g in natural) != self.signals.groups

    def _has_own_positions(self) -> bool:
        return self.signals.beat is not None and self.section_7 is not None and not self.marked.positions

    def _bytes(self, texts: Sequence[str], signals: bool) -> bytes:
        entries = self._entries(texts)
        language = self._language(entries)
        bodies = {1: build_fields(build_entries(entries, language))}
        if self.signals.leads:
            bodies[3] = build_leads(self.signals.leads)
        if self.marked.section_4 is not None:
            bodies[4] = self.marked.section_4
        if signals:
            bodies.update(self.signals.bodies)
            if self.huffman and self.signals.bodies:
                bodies[2] = build_tables()
        if self.section_7 is not None:
            bodies[7] = self.section_7
        if self.reported.statements:
            bodies[8] = self.reported.section_8(language)
        if self.section_10 is not None:
            bodies[10] = self.section_10
        if self.reported.has_codes:
            bodies[11] = self.reported.section_11(language)
        return build_record(bodies)

    def _entries(self, texts: Sequence[str]) -> list[Entry]:
        return entries_for(self.recording.patient, self.recording.acquisition, texts, 5 in self.signals.bodies)

    def _language(self, entries: Sequence[Entry]) -> int:
        statements = self.reported.statements
        codes = [code.value or "" for statement in statements for code in statement.codes]
        return language_for([*texts_of(entries), *(statement.text for statement in statements), *codes])


def prepare(recording: Recording, file: FilePlan, huffman: bool) -> tuple[Single, list[Note]]:
    """Everything of one file but its lines; notes for the receipt."""
    signals = encode_signals(file, huffman)
    marked = place_marks(file, recording.marks, recording.measurements)
    reported = choose_statements(recording.statements)
    codes = {c.name: lead_code(c) for placed in file.rhythms for c in placed.tracing.channels}
    positions = marked.positions or {}
    single = Single(
        recording,
        signals,
        marked,
        reported,
        signals.huffman,
        build_section_7(recording.measurements, marked.spikes, positions, marked.qrs_types),
        build_section_10(recording.measurements, codes),
    )
    return single, [*signals.notes, *reported.notes]
