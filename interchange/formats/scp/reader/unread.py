"""What of a record was not taken into the model: place, size, and a word on what it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from interchange.formats.scp.log import at
from interchange.formats.scp.maps import AGE_UNITS, HEIGHT_UNITS, WEIGHT_UNITS
from interchange.formats.scp.reader.tracings import Group
from interchange.formats.scp.syntax.document import Document
from interchange.formats.scp.syntax.frame import Section
from interchange.formats.scp.syntax.header import Field
from interchange.formats.scp.syntax.tags import tag_of
from interchange.formats.scp.syntax.values import Clock, Date, Number, Quantity
from interchange.model import Unread

if TYPE_CHECKING:
    from interchange.formats.scp.syntax.leadvalues import LeadValues
    from interchange.formats.scp.syntax.statements import Report

__all__ = ["find_unread"]

_NEW_SECTIONS = {
    12: "long-term rhythm data",
    13: "protocol and stress test data",
    14: "selected sequences",
    15: "beat-by-beat measurements",
    16: "measurements of selected beats",
    17: "pacing spike measurements",
    18: "further annotations",
}


def find_unread(document: Document, groups: list[Group]) -> tuple[Unread, ...]:
    """Everything that was left, in the order of the sections."""
    found = (
        _fields(document),
        _leads(document, groups),
        _measurements(document, bool(groups)),
        _sections(document),
        _gaps(document),
    )
    return tuple(entry for part in found for entry in part)


def _fields(document: Document) -> Iterator[Unread]:
    met: set[int] = set()
    for entry in document.header.fields:
        row = tag_of(entry.tag)
        place = at(entry.offset, 1)
        if row is None:
            owner = "a manufacturer's field" if 200 <= entry.tag <= 254 else "a field that is not defined"
            yield Unread(place, entry.size, f"{owner} (tag {entry.tag})")
        elif entry.raw and entry.value is None:
            yield Unread(place, entry.size, f"{row.name} that cannot be understood (tag {entry.tag})")
        elif entry.tag in met and not row.repeats:
            yield Unread(place, entry.size, f"{row.name} once more (tag {entry.tag})")
        elif _is_beyond_the_model(entry):
            yield Unread(place, entry.size, f"{row.name} without a meaning (tag {entry.tag})")
        met.add(entry.tag)


def _is_beyond_the_model(entry: Field) -> bool:
    """Whether a value was understood and has no place in the model: an unknown unit, an impossible date."""
    value = entry.value
    if isinstance(value, Quantity):
        units = {4: AGE_UNITS, 6: HEIGHT_UNITS, 7: WEIGHT_UNITS}[entry.tag]
        return value.value > 0 and value.unit not in units
    if isinstance(value, Date):
        return value.is_given and not value.is_possible and (value.month, value.day) != (0, 0)
    if isinstance(value, Clock):
        return not value.is_possible
    return isinstance(value, Number) and entry.tag == 8 and value.value not in (0, 1, 2, 9)


def _leads(document: Document, groups: list[Group]) -> Iterator[Unread]:
    """Leads without any sample that could be decoded and without a tracing that they belong to."""
    signal = document.rhythm_signal
    shown = {index for group in groups for index in group.leads}
    if signal is None or document.rhythm is None:
        return
    for index, block in enumerate(signal.blocks):
        if index not in shown:
            yield Unread(at(block.start, 6), block.end - block.start, f"data of lead {index + 1}, not decoded")


def _measurements(document: Document, has_rhythm: bool) -> Iterator[Unread]:
    found = document.globals
    if not has_rhythm and document.beats is not None and document.beats.zones:
        zones = document.beats.zones
        yield Unread(at(zones[0].offset, 4), 14 * len(zones), "QRS complexes of a rhythm that is not there")
    if not has_rhythm and found is not None and found.spikes:
        yield Unread(
            at(found.spikes[0].offset, 7), 10 * len(found.spikes), "pacing spikes of a rhythm that is not there"
        )
    if found is not None:
        yield from _blocks(document)
        if found.additional is not None and found.additional.tagged:
            tagged = found.additional.tagged
            yield Unread(at(found.additional.offset + 9, 7), len(tagged), "tagged measurements")
        if found.rest:
            yield Unread(at(found.rest_offset, 7), len(found.rest), "content of no known layout")
    if document.lead_values:
        yield from _surplus(document.lead_values)
    if document.coded is not None:
        yield from _logic(document.coded)


def _blocks(document: Document) -> Iterator[Unread]:
    """Measurement blocks that were left, those that lie together as one entry."""
    from interchange.formats.scp.reader.measures import sort_blocks

    blocks = sort_blocks(document)
    what = "single QRS complexes" if blocks.doubt == "measurements-single" else "beats that nothing names"
    runs: list[list[int]] = []
    for block in blocks.left:
        if runs and sum(runs[-1]) == block.offset:
            runs[-1][1] += 16
        else:
            runs.append([block.offset, 16])
    for start, size in runs:
        yield Unread(at(start, 7), size, f"measurements of {what}")


def _surplus(leads: Sequence[LeadValues]) -> Iterator[Unread]:
    from interchange.formats.scp.syntax.leadvalues import STANDARD

    for lead in leads:
        surplus = len(lead.values) - STANDARD
        if surplus > 0:
            place = at(lead.offset + 4 + 2 * STANDARD, 10)
            yield Unread(place, 2 * surplus, f"{surplus} further measurements of lead code {lead.code}")


def _logic(coded: Report) -> Iterator[Unread]:
    from interchange.formats.scp.syntax.statements import LOGIC

    for line in coded.lines:
        if line.type == LOGIC:
            yield Unread(at(line.offset, 11), 4 + len(line.text), "statement logic")


def _sections(document: Document) -> Iterator[Unread]:
    for section in document.frame.sections:
        what = _name(section)
        if what:
            yield Unread(at(section.offset, section.id), section.end - section.offset, what)


def _name(section: Section) -> str | None:
    if section.id <= 11:
        return "a manufacturer's interpretation" if section.id == 9 and section.body else None
    if section.id in _NEW_SECTIONS:
        return f"section {section.id}: {_NEW_SECTIONS[section.id]}, of unknown layout"
    owner = "a manufacturer's section" if 128 <= section.id <= 1023 else "a section that is not defined"
    return f"{owner} ({section.id})"


def _gaps(document: Document) -> Iterator[Unread]:
    """Bytes that belong to no section."""
    frame = document.frame
    end = 6
    for section in sorted(frame.sections, key=lambda s: s.offset):
        if section.offset > end:
            yield Unread(at(end), section.offset - end, "bytes between sections")
        end = max(end, section.offset + section.length)
    if end < len(frame.data):
        yield Unread(at(end), len(frame.data) - end, "bytes behind the last section")
