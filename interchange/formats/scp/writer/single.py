"""One record from a recording whose tracings fit into it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from interchange.formats.contract import Note
from interchange.formats.scp.carried import Carried, text_blocks
from interchange.formats.scp.log import Unwritten
from interchange.formats.scp.reader.build import build_recording
from interchange.formats.scp.reader.tracings import natural_groups
from interchange.formats.scp.syntax.document import parse_sections
from interchange.formats.scp.syntax.frame import build_record, frame_of
from interchange.formats.scp.syntax.header import build_fields
from interchange.formats.scp.syntax.leads import Leads, build_leads
from interchange.formats.scp.text import holds, language_for
from interchange.formats.scp.writer.lines import lines_for
from interchange.formats.scp.writer.people import Entry, build_entries, entries_for, texts_of
from interchange.formats.scp.writer.plan import FilePlan
from interchange.formats.scp.writer.signals import Signals, encode_signals, lead_code
from interchange.model import Mark, Recording
from interchange.records import dataclass

if TYPE_CHECKING:
    from interchange.formats.scp.writer.beats import Marked
    from interchange.formats.scp.writer.statements import Reported

__all__ = ["Single", "prepare"]


@dataclass(slots=True)
class Single:
    """A record in the making: everything but the lines of free text that it carries."""

    signals: Signals
    needs_groups: bool
    entries: list[Entry]
    marked: Marked | None
    reported: Reported | None
    section_7: bytes | None
    section_10: bytes | None
    own_lines: Sequence[str] = ()

    def base(self) -> Recording:
        """What the reader makes of the record without lines; the samples are not decoded for it."""
        samples = self.signals.beat, self.signals.rhythm
        document = parse_sections(frame_of(self._bodies([])), Unwritten(), samples)
        carried = Carried(
            groups=self.signals.groups if self.needs_groups else (),
            own_positions=self._has_own_positions(),
            codes_by_number=self._has_codes(),
        )
        return build_recording(document, (), carried, Unwritten())

    def lines(self, base: Recording, wanted: Recording, order: Sequence[Mark], remarks: Sequence[str]) -> list[str]:
        """The lines to carry; in ASCII where other letters in them would change the character set of all fields."""
        lines = lines_for(base, wanted, order)
        if not lines or holds(self._language(self._entries(remarks)), lines):
            return lines
        return lines_for(base, wanted, order, ascii_only=True)

    def record(self, remarks: Sequence[str], lines: Sequence[str]) -> bytes:
        """The bytes of the record with its remarks and the lines that it carries."""
        bodies = self._bodies([*remarks, *text_blocks([*self._lines_of_the_record(), *lines])])
        bodies.update(self.signals.bodies)
        if self.signals.huffman and self.signals.bodies:
            from interchange.formats.scp.syntax.tables import build_tables

            bodies[2] = build_tables()
        return build_record(bodies)

    @property
    def marks(self) -> tuple[Mark, ...]:
        """The marks that its sections hold, in the order in which a reader finds them."""
        return self.marked.order if self.marked is not None else ()

    def _lines_of_the_record(self) -> list[str]:
        lines = list(self.own_lines)
        if self.needs_groups:
            groups = " ".join(f"{count}@{first}-{last}" for count, first, last in self.signals.groups)
            lines.append(f"scp.tracings: {groups}")
        if self._has_own_positions():
            lines.append("scp.positions: own")
        if self._has_codes():
            lines.append("scp.codes: by number")
        return lines

    def _has_codes(self) -> bool:
        return self.reported is not None and self.reported.has_codes

    def _has_own_positions(self) -> bool:
        has_marks = self.marked is not None and self.marked.positions
        return self.section_7 is not None and self.section_7[0] > 0 and not has_marks

    def _bodies(self, texts: Sequence[str]) -> dict[int, bytes]:
        """The bodies of all sections but those of the samples."""
        entries = self._entries(texts)
        language = self._language(entries)
        bodies = {1: build_fields(build_entries(entries, language))}
        if self.signals.leads:
            bodies[3] = build_leads(self.signals.leads)
        if self.marked is not None and self.marked.section_4 is not None:
            bodies[4] = self.marked.section_4
        if self.section_7 is not None:
            bodies[7] = self.section_7
        if self.section_10 is not None:
            bodies[10] = self.section_10
        if self.reported is not None:
            bodies[8] = self.reported.section_8(language)
            if self.reported.has_codes:
                bodies[11] = self.reported.section_11(language)
        return bodies

    def _entries(self, texts: Sequence[str]) -> list[Entry]:
        return [*self.entries, *(Entry(30, text=text) for text in texts)]

    def _language(self, entries: Sequence[Entry]) -> int:
        statements = self.reported.statements if self.reported is not None else ()
        codes = [code.value or "" for statement in statements for code in statement.codes]
        return language_for([*texts_of(entries), *(statement.text for statement in statements), *codes])


def prepare(recording: Recording, file: FilePlan, huffman: bool) -> tuple[Single, list[Note]]:
    """Everything of one file but its lines; notes for the receipt."""
    signals = encode_signals(file, huffman)
    notes = list(signals.notes)
    marked = reported = None
    section_7 = section_10 = None
    if recording.marks or file.beat is not None:
        from interchange.formats.scp.writer.beats import place_marks

        marked = place_marks(file, recording.marks, recording.measurements)
    if recording.statements:
        from interchange.formats.scp.writer.statements import choose_statements

        reported = choose_statements(recording.statements)
        notes += reported.notes
    if recording.measurements or marked is not None:
        from interchange.formats.scp.writer.measures import build_section_7, build_section_10

        spikes, positions, types = (marked.spikes, marked.positions, marked.qrs_types) if marked else ((), None, ())
        section_7 = build_section_7(recording.measurements, spikes, positions or {}, types)
        section_10 = build_section_10(recording.measurements, _sure_codes(file))
    entries = entries_for(recording.patient, recording.acquisition, 5 in signals.bodies)
    single = Single(signals, _needs_groups(signals), entries, marked, reported, section_7, section_10)
    return single, notes


def _sure_codes(file: FilePlan) -> dict[str, int]:
    """Code of each lead's name; of leads with one code only the first, because a reader counts the blocks of a code."""
    found: dict[str, int] = {}
    used: set[int] = set()
    for channel in (channel for placed in file.rhythms for channel in placed.tracing.channels):
        code = lead_code(channel)
        if code not in used:
            found.setdefault(channel.name, code)
        used.add(code)
    return found


def _needs_groups(signals: Signals) -> bool:
    """Whether the leads' sample numbers alone would make other tracings."""
    if signals.rhythm is None:
        return False
    spans = {(lead.first, lead.last) for lead in signals.leads}
    natural = natural_groups(Leads(signals.leads, simultaneous=len(spans) == 1), signals.rhythm.waves)
    return tuple((len(g.leads), g.first, g.last) for g in natural) != signals.groups
