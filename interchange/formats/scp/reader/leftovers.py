"""What of sections 4, 7, 8, 10 and 11 was not taken into the model (EN 1064 clauses 5.7, 5.10, 5.11, 5.13, 5.14)."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Final

from interchange.formats.scp.log import at
from interchange.formats.scp.maps import QTC_CONCEPTS, SPECIAL
from interchange.model import Unread

if TYPE_CHECKING:
    from interchange.formats.scp.carried import Carried
    from interchange.formats.scp.reader.measures import Sorted
    from interchange.formats.scp.syntax.beats import Beats
    from interchange.formats.scp.syntax.document import Document
    from interchange.formats.scp.syntax.globals import Additional, Globals, Measured
    from interchange.formats.scp.syntax.statements import Report
    from interchange.model import Tracing

__all__ = ["find_leftovers"]

_NOT_AVAILABLE: Final = 9999
_NOWHERE: Final = ((0, 0), (1, 1))
"""Start and end of a zone or area that is none."""


def find_leftovers(document: Document, has_rhythm: bool, beat: Tracing | None, carried: Carried) -> Iterator[Unread]:
    """Everything in these sections that was left, in their order."""
    if document.beats is not None:
        yield from _complexes(document, document.beats, has_rhythm, beat)
    if document.globals is not None:
        yield from _measurements(document, document.globals, has_rhythm, beat, carried)
    if document.report is not None:
        yield from _report(document.report, 8)
    yield from _leads(document)
    if document.coded is not None:
        yield from _report(document.coded, 11)
        yield from _coded(document.coded, document.report if carried.codes_by_number else None)


# Section 4 ---------------------------------------------------------------------------------------------------------


def _complexes(document: Document, beats: Beats, has_rhythm: bool, beat: Tracing | None) -> Iterator[Unread]:
    section = document.frame.section(4)
    zones = beats.zones
    if section is not None and beat is None and (beats.length or beats.fiducial):
        yield Unread(at(section.start, 4), 4, "length and fiducial of a reference beat that is not there")
    elif section is not None and beat is not None and beat.fiducial is None and beats.fiducial:
        yield Unread(at(section.start + 2, 4), 2, "a fiducial outside the reference beat")
    if not has_rhythm and zones:
        yield Unread(at(zones[0].offset, 4), 14 * len(zones), "QRS complexes of a rhythm that is not there")
    signal = document.rhythm_signal
    if not document.leads.subtracted and (signal is None or not signal.bimodal):
        yield from _unused(beats, has_rhythm)


def _unused(beats: Beats, has_rhythm: bool) -> Iterator[Unread]:
    """Zones and areas of a record that uses neither coding which needs them."""
    zones = [zone for zone in beats.zones if (zone.start, zone.end) not in _NOWHERE] if has_rhythm else []
    if zones:
        yield Unread(at(zones[0].offset + 2, 4), 8 * len(zones), "subtraction zones without any subtraction")
    areas = [
        area
        for zone, area in zip(beats.zones, beats.areas or (), strict=False)
        if (area.start, area.end) not in (*_NOWHERE, (zone.fiducial, zone.fiducial))
    ]
    if areas:
        yield Unread(at(areas[0].offset, 4), 8 * len(areas), "protected areas without any compression")


# Section 7 ---------------------------------------------------------------------------------------------------------


def _measurements(
    document: Document, found: Globals, has_rhythm: bool, beat: Tracing | None, carried: Carried
) -> Iterator[Unread]:
    from interchange.formats.scp.reader.measures import sort_blocks

    blocks = sort_blocks(document)
    shown = beat if blocks.is_of_beats else None
    lost = [
        block
        for number, (block, _) in enumerate(blocks.kept)
        if not (number == 0 and carried.own_positions) and _has_positions(block, None if number else shown)
    ]
    if lost:
        what = "positions of waves that have no place on a representative beat; their intervals were taken"
        yield Unread(at(lost[0].offset, 7), 10 * len(lost), what)
    yield from _blocks(blocks)
    if not has_rhythm and found.spikes:
        yield Unread(
            at(found.spikes[0].offset, 7), 10 * len(found.spikes), "pacing spikes of a rhythm that is not there"
        )
    yield from _types(document, found)
    if found.additional is not None:
        yield from _additional(found.additional)
    if found.rest:
        yield Unread(at(found.rest_offset, 7), len(found.rest), "content of no known layout")


def _blocks(blocks: Sorted) -> Iterator[Unread]:
    """Measurement blocks that were left, those that lie together as one entry."""
    what = "single QRS complexes" if blocks.doubt == "measurements-single" else "beats that nothing names"
    runs: list[list[int]] = []
    for block in blocks.left:
        if runs and sum(runs[-1]) == block.offset:
            runs[-1][1] += 16
        else:
            runs.append([block.offset, 16])
    for start, size in runs:
        yield Unread(at(start, 7), size, f"measurements of {what}")


def _has_positions(block: Measured, beat: Tracing | None) -> bool:
    """Whether a block has positions that lie on no beat."""
    values = (block.p_onset, block.p_offset, block.qrs_onset, block.qrs_offset, block.t_offset)
    given = [value for value in values if value not in SPECIAL and value != _NOT_AVAILABLE]
    return any(beat is None or Fraction(value, 1000) > beat.duration for value in given)


def _types(document: Document, found: Globals) -> Iterator[Unread]:
    """Beat types where section 4 does not say the same of the same complexes."""
    types = found.qrs_types or ()
    said = tuple(min(zone.type, 255) for zone in document.beats.zones) if document.beats is not None else ()
    if any(types) and types != said:
        spikes = sum(4 if spike.type is None else 10 for spike in found.spikes)
        place = found.offset + 6 + 16 * len(found.blocks) + spikes + 2
        yield Unread(at(place, 7), len(types), "beat types of QRS complexes that section 4 does not give")


def _additional(found: Additional) -> Iterator[Unread]:
    if found.formula == 255 and found.qtc and found.qtc not in SPECIAL:
        yield Unread(at(found.offset + 4, 7), 2, "a corrected QT interval that is said to be none")
    elif found.formula != 255 and found.formula not in QTC_CONCEPTS:
        yield Unread(at(found.offset + 6, 7), 1, "a formula of the corrected QT interval that is not defined")
    if found.tagged:
        yield Unread(at(found.offset + 9, 7), len(found.tagged), "tagged measurements")


# Sections 8, 10 and 11 ---------------------------------------------------------------------------------------------


def _report(report: Report, section: int) -> Iterator[Unread]:
    """What is said of a report, where there is no statement that it could be said of; statement logic."""
    from interchange.formats.scp.syntax.statements import LOGIC
    from interchange.formats.scp.syntax.values import Clock

    said = report.flag or report.date.is_given or report.time != Clock(0, 0, 0)
    if said and all(line.type == LOGIC for line in report.lines):
        yield Unread(at(report.offset, section), 8, "confirmation and date of a report without statements")
    for line in report.lines:
        if line.type == LOGIC:
            yield Unread(at(line.offset, section), 4 + len(line.text), "statement logic")


def _coded(coded: Report, report: Report | None) -> Iterator[Unread]:
    """Coded statements that are those of ``report`` by their numbers, where it has no such number."""
    numbers = {line.number for line in report.lines} if report is not None else set()
    for line in coded.lines if report is not None else ():
        if line.number not in numbers:
            yield Unread(at(line.offset, 11), 4 + len(line.text), "codes of a statement that is not there")


def _leads(document: Document) -> Iterator[Unread]:
    from interchange.formats.scp.syntax.leadvalues import STANDARD, owners

    section = document.frame.section(10)
    if section is not None and section.body[2:4].strip(b"\0"):
        yield Unread(at(section.start + 2, 10), len(section.body[2:4]), "bytes of a manufacturer's own meaning")
    blocks = document.lead_values
    for block, lead in zip(blocks, owners(blocks, [lead.code for lead in document.leads.leads]), strict=True):
        values = min(len(block.values), STANDARD)
        if lead is None:
            what = f"measurements of lead code {block.code}, of which section 3 has no further lead"
            yield Unread(at(block.offset, 10), 4 + 2 * values + block.rest, what)
        elif block.rest:
            surplus = len(block.values) - values
            what = f"{surplus} further measurements" if surplus else "a byte behind the measurements"
            yield Unread(at(block.offset + 4 + 2 * values, 10), block.rest, f"{what} of lead code {block.code}")
