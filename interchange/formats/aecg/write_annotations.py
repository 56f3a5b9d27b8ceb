"""Annotation sets: measurements, marks and statements, each in the series that it belongs to.

Measurements of a lead are written as base code and a boundary that names the lead.  What the nomenclature has no code
for stands under this project's own code system name.  What an annotation cannot say (a status, the reason for a value
that is not there) becomes a line of text.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from itertools import groupby
from typing import TYPE_CHECKING, Literal

from interchange.formats.aecg.clock import Clock
from interchange.formats.aecg.codes import ACT_CODE, INTERPRETATION, MDC, OWN, SAME_UNIT, SECONDS, VOLTS
from interchange.formats.aecg.datatypes import plain
from interchange.formats.aecg.difference import lines_for
from interchange.formats.aecg.markup import WHITE
from interchange.formats.aecg.read_annotations import mark_concept, measured, tracing_at
from interchange.formats.aecg.read_series import lead_of
from interchange.formats.aecg.write_devices import add_device_author
from interchange.formats.aecg.write_series import Group
from interchange.formats.aecg.write_types import (
    TYPE,
    add,
    add_code,
    add_mdc,
    add_name,
    add_text,
    add_value,
    clean,
    code_attributes,
    is_token,
    null_flavor,
    ts,
)
from interchange.model import Code, Device, Extras, Mark, Measurement, Moment, PersonName, Recording, Statement, Tracing

if TYPE_CHECKING:
    from lxml import etree

    from interchange.vocabulary import Concept

__all__ = ["Written", "add_annotations", "content_lines"]

Scope = Literal["global", "per lead", "mark"]
Made = tuple[str, str, str]


@dataclass(slots=True)
class Written:
    """Indices of the recording's items in the order in which they were written, which is that of the reader."""

    measurements: list[int] = field(default_factory=list)
    marks: list[int] = field(default_factory=list)
    statements: list[int] = field(default_factory=list)
    groups: list[Group] = field(default_factory=list)


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


def analysing(devices: Iterable[Device]) -> Device | None:
    """The first analysing device."""
    return next((device for device in devices if device.role == "analysing"), None)


# Measurements ------------------------------------------------------------------------------------------------------


def _measurements(series: etree._Element, recording: Recording, first: bool, beat: int | None, done: Written) -> None:
    beats = _beats(recording)
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


def _beats(recording: Recording) -> int:
    """Number of representative beats that measurements are told apart by; none where there is no rhythm beside."""
    return sum(tracing.kind != "rhythm" for tracing in recording.tracings) if recording.rhythms else 0


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


@cache
def _concept(name: str, scope: Scope) -> Concept | None:
    from interchange.vocabulary import concept

    try:
        return concept(name, scope)
    except KeyError:
        return None


@cache
def measurement_code(concept: str, lead: bool, in_mark: bool, source: Code | None) -> tuple[tuple[str, str], ...]:
    """Attributes of the code of a measurement; empty for one that has words only."""
    scopes: tuple[Scope, ...] = ("per lead", "global", "mark") if lead else ("global", "per lead", "mark")
    if in_mark:
        scopes = ("mark", *scopes[:2])
    row = next((found for scope in scopes if (found := _concept(concept, scope)) is not None), None)
    if row is not None and row.aecg_code and not row.aecg_value and row.scope != "mark":
        return (("code", row.aecg_code), ("codeSystem", MDC), ("codeSystemName", "MDC"))
    if row is None and source is not None and code_attributes(source):
        return tuple(code_attributes(source).items())
    if concept == "other":
        return ()
    return (("code", concept), ("codeSystemName", OWN)) if is_token(concept) else ()


def _measurement(parent: etree._Element, entry: Measurement) -> None:
    node = _annotation(parent)
    code = measurement_code(entry.concept, entry.lead is not None, False, entry.source_code)
    _code(node, code, entry.source_code)
    _measured_value(node, entry)
    if entry.lead is not None:
        _lead_region(node, entry.lead)


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
        add_value(node, entry.value, _unit(entry.unit))
    elif entry.text:
        add_text(node, "value", entry.text, "ST")
    else:
        attributes = {TYPE: "PQ", "nullFlavor": null_flavor(entry.absent)}
        add(node, "value", attributes | ({"unit": entry.unit} if entry.unit and is_token(entry.unit) else {}))


def _unit(unit: str | None) -> str:
    return unit if unit is not None and is_token(unit) else "1"


def _region(node: etree._Element, code: str) -> etree._Element:
    roi = add(add(node, "support", {"typeCode": "SPRT"}), "supportingROI", {"classCode": "ROIBND", "moodCode": "EVN"})
    add(roi, "code", {"code": code, "codeSystem": ACT_CODE, "codeSystemName": "ActCode"})
    return roi


def _lead_region(node: etree._Element, lead: str) -> None:
    _lead_boundary(_region(node, "ROIPS"), lead)


@cache
def lead_code(lead: str) -> str | None:
    """The code of a boundary that names a lead; None for a channel that has none."""
    from interchange.vocabulary import lead_for_channel

    row = lead_for_channel(lead)
    return row.aecg_code or None if row is not None else None


def _lead_boundary(roi: etree._Element, lead: str) -> None:
    boundary = add(add(roi, "component", {"typeCode": "COMP"}), "boundary", {"classCode": "OBS", "moodCode": "EVN"})
    code = lead_code(lead)
    if code is not None:
        add_mdc(boundary, "code", code)
    elif is_token(lead):
        add(boundary, "code", {"code": lead, "codeSystemName": OWN})
    else:
        add_code(boundary, "code", Code(None, None, lead))


# Marks -------------------------------------------------------------------------------------------------------------


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
    roi = _region(node, "ROIPS" if mark.lead is None else "ROIFS")
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
        _lead_boundary(roi, mark.lead)
    for entry in mark.measurements:
        inner = _annotation(node)
        _code(
            inner, measurement_code(entry.concept, entry.lead is not None, True, entry.source_code), entry.source_code
        )
        _measured_value(inner, entry)
        _inner_region(inner, entry, tracing, clock)


def is_placed_measurement(mark: Mark) -> bool:
    """Whether a mark is nothing but a measurement with a region of its own, as the reader makes them."""
    if mark.concept != "other" or mark.source_code is None or len(mark.measurements) != 1:
        return False
    entry = mark.measurements[0]
    code = measurement_code(entry.concept, entry.lead is not None, True, entry.source_code)
    given = dict(entry.extras).keys() & {"aecg.start", "aecg.end"}
    same = entry.lead == mark.lead and not given and not (entry.text and (mark.text or entry.value is not None))
    return same and bool(code) and dict(code).get("code") == mark.source_code.value and mark_concept(code[0][1]) is None


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
    roi = _region(node, "ROIPS" if mark.lead is None else "ROIFS")
    clock.add_bounds(roi, start, end, relative)
    if mark.lead is not None:
        _lead_boundary(roi, mark.lead)


def _inner_region(node: etree._Element, entry: Measurement, tracing: Tracing, clock: Clock) -> None:
    """The span of a measurement inside a mark, where it has one of its own, and its lead."""
    given = dict(entry.extras)
    low, high = (_fraction(given.get(key)) for key in ("aecg.start", "aecg.end"))
    if low is not None or high is not None:
        relative = tracing.kind != "rhythm"
        begin = Fraction(0) if relative else tracing.start
        roi = _region(node, "ROIPS" if entry.lead is None else "ROIFS")
        low, high = (value + begin if value is not None else None for value in (low, high))
        clock.add_bounds(roi, low, high, relative)
        if entry.lead is not None:
            _lead_boundary(roi, entry.lead)
    elif entry.lead is not None:
        _lead_region(node, entry.lead)


def _fraction(text: str | None) -> Fraction | None:
    try:
        return Fraction(text) if text else None
    except (ValueError, ZeroDivisionError):
        return None


@cache
def mark_code(concept: str, source: Code | None) -> tuple[tuple[tuple[str, str], ...], str, str]:
    """Attributes of the code of a mark, its coded value, and for an instant which part of the wave it is."""
    system = (("codeSystem", MDC), ("codeSystemName", "MDC"))
    row = _concept(concept, "mark")
    if row is not None and row.part_of:
        wave, _, part = row.part_of.partition(":")
        base = _concept(wave, "mark")
        if base is not None and base.aecg_code:
            return (("code", base.aecg_code), *system), base.aecg_value, part
    if row is not None and row.aecg_code:
        return (("code", row.aecg_code), *system), row.aecg_value, ""
    if row is None and source is not None and code_attributes(source):
        return tuple(code_attributes(source).items()), "", ""
    if row is None and concept == "other":
        return (), "", ""
    return ((("code", concept), ("codeSystemName", OWN)) if is_token(concept) else ()), "", ""


# Statements --------------------------------------------------------------------------------------------------------


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


def device_name(device: Device) -> str:
    """Model and software of a device, as the reader names an author."""
    return " ".join(part.strip() for part in (device.model, *device.software[:1]) if part and part.strip())


@cache
def _statement_code(kind: str) -> str:
    row = _concept(kind, "global")
    return row.aecg_code if row is not None and row.aecg_code else "MDC_ECG_INTERPRETATION_STATEMENT"


def _statement(parent: etree._Element, entry: Statement) -> None:
    node = _annotation(parent)
    add_mdc(node, "code", _statement_code(entry.kind))
    if entry.text.strip(WHITE):
        add_text(node, "value", entry.text, "ST")
    else:
        add(node, "value", {TYPE: "ST", "nullFlavor": "NI"})
    for code in entry.codes:
        if _code_back(code) != Code():
            add_code(_annotation(node), "code", code)


# Lines -------------------------------------------------------------------------------------------------------------


def content_lines(recording: Recording, done: Written) -> list[str]:
    """Lines for what the annotations do not say, under the indices that the reader will give."""
    found: list[str] = []
    beats = _beats(recording)
    for at, index in enumerate(done.measurements):
        entry = recording.measurements[index]
        beat = entry.beat if entry.beat is not None and 0 <= entry.beat < beats else None
        found += lines_for(f"measurements[{at}]", entry, _measurement_back(entry, beat, False))
    homes = {index: group.tracings for group in _all_groups(done.groups) for index in group.tracings}
    for at, index in enumerate(done.marks):
        found += _mark_lines(f"marks[{at}]", recording.marks[index], recording.tracings, homes)
    numbers: Iterator[Statement] = _statements_back([recording.statements[index] for index in done.statements])
    for at, (index, back) in enumerate(zip(done.statements, numbers, strict=True)):
        found += lines_for(f"statements[{at}]", recording.statements[index], back)
    return found


def _all_groups(found: Iterable[Group]) -> Iterator[Group]:
    for group in found:
        yield group
        yield from _all_groups(group.derived)


def _seen_on(mark: Mark, tracings: Sequence[Tracing], home: Sequence[int]) -> tuple[int, Fraction, Fraction | None]:
    """Tracing, start and end of a mark as the reader will find them from its time."""
    end = mark.end if mark.end != mark.start else None
    if len(home) == 1:
        return mark.tracing, mark.start, end
    begin = tracings[mark.tracing].start
    found = tracing_at(tracings, [t.start + t.duration for t in tracings], home, mark.start + begin)
    if found is None or found == mark.tracing:
        return mark.tracing, mark.start, end
    moved = begin - tracings[found].start
    return found, mark.start + moved, end + moved if end is not None else None


def _mark_lines(path: str, mark: Mark, tracings: Sequence[Tracing], homes: dict[int, list[int]]) -> list[str]:
    back = tuple(_measurement_back(entry, None, True) for entry in mark.measurements)
    inner = [
        line
        for at, (entry, other) in enumerate(zip(mark.measurements, back, strict=True))
        for line in lines_for(f"{path}.measurements[{at}]", entry, other)
    ]
    if is_placed_measurement(mark):
        code = measurement_code(
            mark.measurements[0].concept, mark.lead is not None, True, mark.measurements[0].source_code
        )
        words = mark.source_code.meaning if mark.source_code else None
        given = Code(dict(code)["code"], dict(code).get("codeSystem") or dict(code).get("codeSystemName"), words)
        concept = "other"
        source: Code | None = _code_back(given)
    else:
        concept, source = _mark_back(mark.concept, mark.end in (None, mark.start), mark.source_code)
    tracing, start, end = _seen_on(mark, tracings, homes[mark.tracing])
    seen = replace(
        mark,
        tracing=tracing,
        start=start,
        end=end,
        concept=concept,
        source_code=source,
        text=_words(mark.text),
        lead=_lead_back(mark.lead),
        group=_words(mark.group),
    )
    return [*lines_for(path, mark, seen), *inner]


@cache
def _mark_back(concept: str, point: bool, source: Code | None) -> tuple[str, Code | None]:
    """The concept and code that the reader will give back."""
    attributes, value, part = mark_code(concept, source)
    row = _concept(concept, "mark")
    if value or part:
        if part and not point:
            other = mark_concept(value)
            return (other.id if other else "other"), None
        return concept, None
    code = dict(attributes).get("code", "")
    if row is not None or concept != "other":
        return (concept if row is not None else "other"), None
    known = mark_concept(code)
    return (known.id, None) if known is not None else ("other", _code_back(source) if source else source)


def _words(text: str | None) -> str | None:
    return clean(text).strip(WHITE) or None if text else None


@cache
def _lead_back(lead: str | None) -> str | None:
    if lead is None or lead_code(lead) is not None:
        return lead
    known = lead_of(lead)
    if known is None:
        return lead if is_token(lead) else None
    from interchange.vocabulary import channel_name

    return channel_name(known)


def _measurement_back(entry: Measurement, beat: int | None, in_mark: bool) -> Measurement:
    """The measurement as the reader will give it back, without lines of text."""
    concept, unit, source = _concept_back(entry.concept, entry.lead is not None, in_mark, entry.source_code)
    back = replace(
        entry, concept=concept, source_code=source, beat=beat, lead=_lead_back(entry.lead), text=_words(entry.text)
    )
    if entry.value is not None:
        said = SAME_UNIT.get(_unit(entry.unit), _unit(entry.unit))
        same = said == unit or (not (said in VOLTS and unit == "uV") and not (said in SECONDS and unit in SECONDS))
        back = replace(back, unit=said if same else unit, absent=None)
        if not same:
            back = replace(back, value=None)
    elif back.text is None:
        reason = entry.absent if null_flavor(entry.absent) != "NI" else None
        said_or_own = entry.unit if entry.unit and is_token(entry.unit) else unit or None
        back = replace(back, absent=reason, unit=SAME_UNIT.get(said_or_own or "", said_or_own))
    else:
        back = replace(back, absent=None, unit=None)
    return back


@cache
def _concept_back(concept: str, lead: bool, in_mark: bool, source: Code | None) -> tuple[str, str, Code | None]:
    """Concept, its unit, and the source's code that the reader will give back."""
    attributes = dict(measurement_code(concept, lead, in_mark, source))
    code = attributes.get("code", "")
    if attributes.get("codeSystemName") == OWN:
        from interchange.formats.aecg.read_annotations import own_concept

        row = own_concept(code, lead)[0]
    else:
        row = measured(code, lead)[0] if code else None
    if row is None:
        return "other", "", _code_back(source) if source else Code()
    return row.id, row.unit, None


def _statements_back(entries: list[Statement]) -> Iterator[Statement]:
    """The statements as the reader will give them back: groups numbered as they come."""
    number = -1
    before: tuple[object, ...] | None = None
    for entry in entries:
        now = (entry.author, entry.author_kind, entry.time, entry.group)
        if now != before:
            number += 1
        before = now
        row = _concept(entry.kind, "global")
        kind = entry.kind if row is not None and row.aecg_code else "interpretation-statement"
        yield Statement(
            clean(entry.text).strip(WHITE),
            kind,
            number,
            tuple(back for back in map(_code_back, entry.codes) if back != Code()),
            _author_back(entry),
            entry.author_kind,
            entry.time if ts(entry.time) is not None else None,
        )


def _author_back(entry: Statement) -> str | None:
    words = _words(entry.author)
    return words if words is None or entry.author_kind == "machine" else plain(words)


def _code_back(code: Code) -> Code:
    attributes = code_attributes(code)
    if not attributes:
        words = _words(code.meaning or code.value)
        return Code(None, None, words)
    from interchange.formats.aecg.codes import SCHEMES

    scheme = (
        SCHEMES.get(attributes.get("codeSystem", ""))
        or attributes.get("codeSystem")
        or attributes.get("codeSystemName")
    )
    return Code(attributes["code"], _words(scheme), _words(attributes.get("displayName")))
