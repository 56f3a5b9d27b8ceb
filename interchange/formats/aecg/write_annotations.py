"""Annotation sets: measurements, marks and statements, each in the series that it belongs to.

Measurements of a lead are written as base code and a boundary that names the lead.  What the nomenclature has no code
for stands under this project's own code system name.  What an annotation cannot say (a status, the reason for a value
that is not there) becomes a line of text.
"""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby
from typing import TYPE_CHECKING

from interchange.formats.aecg.annotation_codes import is_placed_measurement, mark_code, measurement_code, statement_code
from interchange.formats.aecg.clock import Clock
from interchange.formats.aecg.codes import INTERPRETATION
from interchange.formats.aecg.markup import WHITE
from interchange.formats.aecg.write_devices import add_device_author, analysing, device_name
from interchange.formats.aecg.write_regions import add_lead_boundary, add_lead_region, add_region
from interchange.formats.aecg.write_series import Group, Written, beats_of
from interchange.formats.aecg.write_types import (
    TYPE,
    add,
    add_code,
    add_mdc,
    add_name,
    add_text,
    add_value,
    clean,
    code_back,
    is_token,
    null_flavor,
    ts,
    unit_of,
)
from interchange.model import Code, Device, Extras, Mark, Measurement, Moment, PersonName, Recording, Statement, Tracing

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["add_annotations"]


Made = tuple[str, str, str]


def add_annotations(
    series: etree._Element,
    recording: Recording,
    group: Group,
    clock: Clock,
    first: bool,
    beat: int | None,
    done: Written,
) -> None:
    """The annotation sets of one series; ``first``: it takes what belongs to the recording as a whole.

    ``beat``: the number of the beat type that a representative beat shows, None for a rhythm.
    """
    _measurements(series, recording, first, beat, done)
    _marks(series, recording, group, clock, done)
    if first:
        _statements(series, recording, done)


def _set(series: etree._Element) -> etree._Element:
    return add(add(series, "subjectOf", {"typeCode": "SUBJ"}), "annotationSet", {"classCode": "OBS", "moodCode": "EVN"})


def _annotation(parent: etree._Element) -> etree._Element:
    return add(add(parent, "component", {"typeCode": "COMP"}), "annotation", {"classCode": "OBS", "moodCode": "EVN"})


def _measurements(series: etree._Element, recording: Recording, first: bool, beat: int | None, done: Written) -> None:
    beats = beats_of(recording)
    chosen = [
        index
        for index, entry in enumerate(recording.measurements)
        if (beat is not None and entry.beat == beat) or (first and (entry.beat is None or not 0 <= entry.beat < beats))
    ]
    device = analysing(recording.acquisition.devices) if first else None
    made: Made = ("", "", "")
    runs = [(key, list(run)) for key, run in groupby(chosen, key=lambda at: _made(recording.measurements[at].extras))]
    if device is not None and not any(key == made for key, _ in runs):
        runs.insert(0, (made, []))
    for key, indices in runs:
        node = _set(series)
        if key != made:
            _add_made(node, key)
        elif device is not None:
            add_device_author(node, device)
            device = None
        for index in indices:
            _measurement(node, recording.measurements[index])
        done.measurements += indices


def _made(extras: Extras) -> Made:
    """Author, kind of author and time of a set that a person or organisation made; empty for others."""
    found = dict(extras)
    if "aecg.author" not in found:
        return "", "", ""
    return found["aecg.author"], found.get("aecg.author-kind", ""), found.get("aecg.time", "")


def _add_made(node: etree._Element, made: Made) -> None:
    """Time and author of such a set."""
    author, kind, when = made
    try:
        time = Moment.parse(when) if when else None
    except ValueError:
        time = None
    stamp = ts(time)
    if stamp is not None:
        add(node, "activityTime", {"value": stamp})
    _author(node, Statement("", author=author, author_kind="person" if kind == "person" else None), None)


def _measurement(parent: etree._Element, entry: Measurement) -> None:
    node = _annotation(parent)
    code = measurement_code(entry.concept, entry.lead is not None, False, entry.source_code)
    _code(node, code, entry.source_code)
    _measured_value(node, entry)
    if entry.lead is not None:
        add_lead_region(node, entry.lead)


def _code(node: etree._Element, attributes: tuple[tuple[str, str], ...], source: Code | None) -> None:
    if attributes:
        add(node, "code", dict(attributes))
    else:
        add_code(node, "code", Code(None, None, (source.meaning or source.value) if source else None))


def _measured_value(node: etree._Element, entry: Measurement) -> None:
    """The value: a quantity, words, or the reason why there is neither."""
    if entry.value is not None:
        if entry.text:
            add_text(node, "text", entry.text)
        add_value(node, entry.value, unit_of(entry.unit))
    elif entry.text:
        add_text(node, "value", entry.text, "ST")
    else:
        attributes = {TYPE: "PQ", "nullFlavor": null_flavor(entry.absent)}
        add(node, "value", attributes | ({"unit": entry.unit} if entry.unit and is_token(entry.unit) else {}))


def _marks(series: etree._Element, recording: Recording, group: Group, clock: Clock, done: Written) -> None:
    inside = set(group.tracings)
    chosen = [index for index, mark in enumerate(recording.marks) if mark.tracing in inside]

    def key(index: int) -> tuple[str | None, Made]:
        return recording.marks[index].group, _made(recording.marks[index].extras)

    for (name, made), indices in groupby(chosen, key=key):
        node = _set(series)
        if name is not None:
            add_code(node, "code", Code(None, None, name))
        if made[0]:
            _add_made(node, made)
        for index in indices:
            mark = recording.marks[index]
            _mark(node, mark, recording.tracings[mark.tracing], clock)
            done.marks.append(index)


def _mark(parent: etree._Element, mark: Mark, tracing: Tracing, clock: Clock) -> None:
    node = _annotation(parent)
    if is_placed_measurement(mark):
        _placed(node, mark, tracing, clock)
        return
    code, value, part = mark_code(mark.concept, mark.source_code)
    _code(node, code, mark.source_code)
    if mark.text:
        add_text(node, "text", mark.text)
    if value:
        add_mdc(node, "value", value, "CE")
    roi = add_region(node, "ROIPS" if mark.lead is None else "ROIFS")
    relative = tracing.kind != "rhythm"
    start = mark.start + (Fraction(0) if relative else tracing.start)
    end = mark.end + start - mark.start if mark.end not in (None, mark.start) else None
    if part == "start" and end is None:
        clock.add_bounds(roi, start, None, relative)
    elif part == "end" and end is None:
        clock.add_bounds(roi, None, start, relative)
    elif part == "peak" and end is None:
        clock.add_center(roi, start, relative)
    else:
        clock.add_bounds(roi, start, start if end is None else end, relative)
    if mark.lead is not None:
        add_lead_boundary(roi, mark.lead)
    for entry in mark.measurements:
        inner = _annotation(node)
        _code(
            inner, measurement_code(entry.concept, entry.lead is not None, True, entry.source_code), entry.source_code
        )
        _measured_value(inner, entry)
        _inner_region(inner, entry, tracing, clock)


def _placed(node: etree._Element, mark: Mark, tracing: Tracing, clock: Clock) -> None:
    """Code, words, value and region of such a measurement."""
    entry = mark.measurements[0]
    code = measurement_code(entry.concept, entry.lead is not None, True, entry.source_code)
    words = mark.source_code.meaning if mark.source_code else None
    add(node, "code", dict(code) | ({"displayName": clean(words)} if words else {}))
    if mark.text:
        add_text(node, "text", mark.text)
    _measured_value(node, entry)
    relative = tracing.kind != "rhythm"
    start = mark.start + (Fraction(0) if relative else tracing.start)
    end = start if mark.end is None else mark.end + start - mark.start
    roi = add_region(node, "ROIPS" if mark.lead is None else "ROIFS")
    clock.add_bounds(roi, start, end, relative)
    if mark.lead is not None:
        add_lead_boundary(roi, mark.lead)


def _inner_region(node: etree._Element, entry: Measurement, tracing: Tracing, clock: Clock) -> None:
    """The span of a measurement inside a mark, where it has one of its own, and its lead."""
    given = dict(entry.extras)
    low, high = (_fraction(given.get(key)) for key in ("aecg.start", "aecg.end"))
    if low is not None or high is not None:
        relative = tracing.kind != "rhythm"
        begin = Fraction(0) if relative else tracing.start
        roi = add_region(node, "ROIPS" if entry.lead is None else "ROIFS")
        low, high = (value + begin if value is not None else None for value in (low, high))
        clock.add_bounds(roi, low, high, relative)
        if entry.lead is not None:
            add_lead_boundary(roi, entry.lead)
    elif entry.lead is not None:
        add_lead_region(node, entry.lead)


def _fraction(text: str | None) -> Fraction | None:
    try:
        return Fraction(text) if text else None
    except (ValueError, ZeroDivisionError):
        return None


def _statements(series: etree._Element, recording: Recording, done: Written) -> None:
    """One set per author and time, one interpretation per group in it."""
    entries = list(enumerate(recording.statements))
    device = analysing(recording.acquisition.devices)

    def said(pair: tuple[int, Statement]) -> tuple[object, ...]:
        return (pair[1].author, pair[1].author_kind, pair[1].time)

    for _, run in groupby(entries, key=said):
        chosen = list(run)
        node = _set(series)
        time = ts(chosen[0][1].time)
        if time is not None:
            add(node, "activityTime", {"value": time})
        _author(node, chosen[0][1], device)
        for _, part in groupby(chosen, key=lambda pair: pair[1].group):
            outer = _annotation(node)
            add_mdc(outer, "code", INTERPRETATION)
            for index, entry in part:
                _statement(outer, entry)
                done.statements.append(index)


def _author(node: etree._Element, entry: Statement, device: Device | None) -> None:
    """Who said it: the analysing device where its name is that, another program by its name, or a person."""
    if entry.author_kind == "person":
        kind = add(_entity(node), "assignedAuthorType")
        person = add(kind, "assignedPerson", {"classCode": "PSN", "determinerCode": "INSTANCE"})
        if entry.author:
            add_name(person, PersonName(text=entry.author))
    elif entry.author_kind == "machine":
        known = device is not None and device_name(device) == entry.author
        add_device_author(node, device if known and device is not None else Device(model=entry.author))
    elif entry.author:
        organisation = add(
            _entity(node), "representedAuthoringOrganization", {"classCode": "ORG", "determinerCode": "INSTANCE"}
        )
        add_text(organisation, "name", entry.author)


def _entity(node: etree._Element) -> etree._Element:
    return add(add(node, "author", {"typeCode": "AUT"}), "assignedEntity", {"classCode": "ASSIGNED"})


def _statement(parent: etree._Element, entry: Statement) -> None:
    node = _annotation(parent)
    add_mdc(node, "code", statement_code(entry.kind))
    if entry.text.strip(WHITE):
        add_text(node, "value", entry.text, "ST")
    else:
        add(node, "value", {TYPE: "ST", "nullFlavor": "NI"})
    for code in entry.codes:
        if code_back(code) != Code():
            add_code(_annotation(node), "code", code)
