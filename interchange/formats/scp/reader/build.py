"""A whole recording from a parsed record, without its further files and without the lines that it carries."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.formats.scp.carried import Carried, split_remarks
from interchange.formats.scp.log import Log, at
from interchange.formats.scp.reader.people import read_acquisition, read_patient
from interchange.formats.scp.reader.tracings import Group, natural_groups, read_beat, read_rhythms
from interchange.formats.scp.reader.unread import find_unread
from interchange.formats.scp.syntax.document import Document
from interchange.formats.scp.syntax.values import Text
from interchange.model import Mark, Measurement, Recording, Statement, Tracing

__all__ = ["build_recording", "carried_by"]


def carried_by(document: Document) -> tuple[tuple[str, ...], Carried]:
    """The remarks of a record, and the lines that its free texts carry."""
    return split_remarks(text.text for text in document.header.every(30, Text) if text.text)


def build_recording(document: Document, remarks: tuple[str, ...], carried: Carried, log: Log) -> Recording:
    """The recording that the fields of the record give."""
    groups = _groups(document, carried, log)
    rhythms = read_rhythms(document, groups)
    beat = read_beat(document, groups)
    tracings = (*rhythms, *((beat,) if beat is not None else ()))
    marks = _marks(document, rhythms, beat, carried, log)
    measurements = _measurements(document, log)
    return Recording(
        tracings=tracings,
        patient=read_patient(document.header),
        acquisition=read_acquisition(document.header, remarks),
        measurements=said(measurements, carried),
        marks=tuple(marks),
        statements=_statements(document, carried, log),
        unread=find_unread(document, groups, beat, carried),
        format="scp",
    )


def _marks(
    document: Document, rhythms: Sequence[Tracing], beat: Tracing | None, carried: Carried, log: Log
) -> list[Mark]:
    if document.beats is None and document.globals is None:
        return []
    from interchange.formats.scp.reader.marks import read_beats, read_positions, read_spikes

    marks = [*read_beats(document, rhythms), *read_spikes(document, rhythms, log)]
    if beat is not None and not carried.own_positions:
        marks += read_positions(document, len(rhythms), beat)
    return marks


def _measurements(document: Document, log: Log) -> tuple[Measurement, ...]:
    if document.globals is None and not document.lead_values:
        return ()
    from interchange.formats.scp.reader.measures import read_globals, read_lead_values

    return (*read_globals(document, log), *read_lead_values(document, log))


def _statements(document: Document, carried: Carried, log: Log) -> tuple[Statement, ...]:
    if document.report is None and document.coded is None:
        return ()
    from interchange.formats.scp.reader.statements import read_statements

    return read_statements(document, carried.codes_by_number, log)


def said(measurements: Sequence[Measurement], carried: Carried) -> tuple[Measurement, ...]:
    """The measurements without those that a line says were never spoken of."""
    if not carried.not_said:
        return tuple(measurements)
    gone = carried.not_said
    return tuple(
        m for m in measurements if (m.lead, m.concept) not in gone and (m.lead is None or ("*", m.concept) not in gone)
    )


def _groups(document: Document, carried: Carried, log: Log) -> list[Group]:
    """How leads make tracings: as a line says, where it fits the samples, else by their sample numbers."""
    if document.rhythm is None:
        return []
    leads, waves = document.leads.leads, document.rhythm.waves
    natural = natural_groups(document.leads, waves)
    if not carried.groups:
        return natural
    groups = []
    place = 0
    for count, first, last in carried.groups:
        groups.append(Group(tuple(range(place, min(place + count, len(leads)))), first, last))
        place += count
    held = sum(wave.samples.size for wave in waves if wave.samples is not None)
    fits = place == len(leads) and all(
        group.leads
        and group.first <= leads[index].first
        and waves[index].samples is not None
        and leads[index].first + waves[index].samples.size - 1 <= group.last  # type: ignore[union-attr]
        for group in groups
        for index in group.leads
    )
    if not fits or sum(len(group.leads) * group.samples for group in groups) > 4 * held:
        log.add("carried", at(document.frame.sections[0].start, 1), "grouping of leads")
        return natural
    return groups
