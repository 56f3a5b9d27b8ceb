"""Measurements, marks and statements to Waveform Annotation items (PS3.3 C.10.10)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import Final

from interchange.formats.dicom.conceptcodes import (
    ECG_FINDING,
    FORMULAS,
    OF_TEXT,
    OTHER,
    OVERALL_FINDING,
    QTC,
    WORDS,
    concept_code,
    named,
)
from interchange.formats.dicom.encoder import Item, coded
from interchange.formats.dicom.leadcodes import OWN_SCHEME
from interchange.formats.dicom.numbers import decimal_text, parse_decimal
from interchange.formats.dicom.placeholders import NO_TEXT
from interchange.formats.dicom.read_annotations import GROUP, VALUE
from interchange.formats.dicom.status import status_after
from interchange.formats.dicom.values import clean
from interchange.formats.dicom.view import CodeItem
from interchange.formats.dicom.wavepairs import marker, pairs
from interchange.model import Code, Extras, Mark, Measurement, Recording, Statement, Tracing
from interchange.vocabulary.concept_table import Scope

__all__ = ["GroupNumbers", "annotation_items"]

MAX_GROUP: Final = 65535
_TEXT_LIMIT: Final = 1024


class GroupNumbers:
    """Annotation group numbers: names of sets of marks that are numbers keep them, others get the next free ones."""

    def __init__(self, recording: Recording) -> None:
        names = dict.fromkeys(mark.group for mark in recording.marks if mark.group is not None)
        self.marks: dict[str, int] = {name: int(name) for name in names if _is_number(name)}
        taken = set(self.marks.values())
        free = (number for number in range(1, MAX_GROUP + 1) if number not in taken)
        self.statements: dict[int, int] = {}
        for group in dict.fromkeys(statement.group for statement in recording.statements):
            self.statements[group] = next(free)
        for name in names:
            if name not in self.marks:
                self.marks[name] = next(free, MAX_GROUP)

    def named(self) -> dict[int, str]:
        """Numbers whose set has another name."""
        return {number: name for name, number in self.marks.items() if str(number) != name}


def _is_number(name: str) -> bool:
    plain = name.isascii() and name.isdigit() and (name == "0" or name[0] != "0")
    return plain and len(name) < 6 and int(name) <= MAX_GROUP


def annotation_items(recording: Recording, numbers: GroupNumbers) -> Iterator[Item]:
    """Statements with their status, then measurements, then marks, each in the recording's order."""
    yield from _statements(recording.statements, numbers)
    for measurement in recording.measurements:
        yield _measurement(measurement, recording.tracings)
    yield from _marks(recording, numbers)


# Statements --------------------------------------------------------------------------------------------------------


def _statements(statements: tuple[Statement, ...], numbers: GroupNumbers) -> Iterator[Item]:
    status = status_after(statements)
    for index, statement in enumerate(statements):
        number = numbers.statements[statement.group]
        yield from _statement(statement, number)
        if index in status:
            yield _text_item(status[index], number)


def _statement(statement: Statement, number: int) -> Iterator[Item]:
    codes = [code for code in statement.codes if code.value and code.scheme]
    only = codes[0] if len(codes) == 1 and len(statement.codes) == 1 else None
    if statement.kind == "overall-finding" and only is not None and only.meaning == statement.text:
        yield _finding(OVERALL_FINDING, only, number, ())
        return
    yield _text_item(statement.text, number)
    for code in codes:
        yield _finding(ECG_FINDING, code, number, (coded(*OF_TEXT),))


def _text_item(text: str, number: int) -> Item:
    item = Item()
    item.text("UnformattedTextValue", text if clean(text, "ST").strip() else NO_TEXT)
    item.numbers("ReferencedWaveformChannels", 1, 0)
    item.numbers("AnnotationGroupNumber", number)
    return item


def _finding(name: CodeItem, code: Code, number: int, modifiers: tuple[Item, ...]) -> Item:
    item = Item()
    item.code("ConceptNameCodeSequence", *name, modifiers)
    item.code("ConceptCodeSequence", code.value or "", code.scheme or "", code.meaning or "")
    item.numbers("ReferencedWaveformChannels", 1, 0)
    item.numbers("AnnotationGroupNumber", number)
    return item


# Measurements ------------------------------------------------------------------------------------------------------


def _measurement(measurement: Measurement, tracings: tuple[Tracing, ...]) -> Item:
    item = Item()
    index = _tracing_of(measurement, tracings)
    row = tracings[index].row(measurement.lead) if measurement.lead is not None else None
    item.numbers("ReferencedWaveformChannels", index + 1, 0 if row is None else row + 1)
    scope: Scope = "global" if measurement.lead is None else "per lead"
    lead = measurement.lead if row is None else None
    name = _name(measurement.concept, scope, lead, measurement.source_code)
    found = named(name, row is not None, False)
    if measurement.value is None and found.concept is not None and found.concept.scope == "mark":
        name = OTHER
    _named_value(item, name, measurement)
    return item


def _named_value(item: Item, name: CodeItem, measurement: Measurement) -> None:
    formula = FORMULAS.get(measurement.concept)
    if formula is not None and measurement.lead is None:
        own = name.scheme == OWN_SCHEME
        item.code("ConceptNameCodeSequence", *(QTC if own else name), (coded(*formula),))
    else:
        item.code("ConceptNameCodeSequence", *name)
    _put_words(item, measurement.text, measurement.extras)
    group = dict(measurement.extras).get(GROUP, "")
    if _is_number(group):
        item.numbers("AnnotationGroupNumber", int(group))
    if measurement.value is not None:
        item.decimals("NumericValue", measurement.value)
    if measurement.unit is not None or measurement.value is not None:
        unit = measurement.unit or "1"
        item.code("MeasurementUnitsCodeSequence", unit, "UCUM", "no units" if unit == "1" else unit)


def _put_words(item: Item, text: str | None, extras: Extras) -> None:
    """A result in words: the meaning of a coded value, in its own code where it came with one."""
    value, _, scheme = dict(extras).get(VALUE, "").rpartition(" ")
    if text and value:
        item.code("ConceptCodeSequence", value, scheme, text)
    elif text:
        item.code("ConceptCodeSequence", WORDS.value, WORDS.scheme, text)


def _name(concept: str, scope: Scope, lead: str | None, source: Code | None) -> CodeItem:
    if concept != "other":
        return concept_code(concept, scope, lead)
    if source is not None and source.value and source.scheme:
        return CodeItem(source.value, source.scheme, source.meaning or source.value)
    return CodeItem(OTHER.value, OTHER.scheme, source.meaning) if source is not None and source.meaning else OTHER


def _tracing_of(measurement: Measurement, tracings: tuple[Tracing, ...]) -> int:
    """The tracing that a measurement refers to: its representative beat if it has one, else the first with its lead."""
    if measurement.beat is not None:
        for index, tracing in enumerate(tracings):
            if tracing.kind != "rhythm" and (tracing.beat or 0) == measurement.beat:
                return index
    for index, tracing in enumerate(tracings):
        if measurement.lead is None or tracing.row(measurement.lead) is not None:
            return index
    return 0


# Marks -------------------------------------------------------------------------------------------------------------


def _marks(recording: Recording, numbers: GroupNumbers) -> Iterator[Item]:
    """Each mark, or one segment for the onset and the offset of a wave."""
    marks, tracings = recording.marks, recording.tracings
    found = pairs(marks)
    done: set[int] = set()
    for index, mark in enumerate(marks):
        if index in done:
            continue
        wave, end = found.get(index, ("", -1))
        if wave and all(_position(marks[at].start, tracings[mark.tracing]) is not None for at in (index, end)):
            done.add(end)
            span = replace(mark, concept=wave, end=marks[end].start)
            yield from _mark(span, tracings, numbers, (coded(*marker(end - index - 1)),))
        else:
            yield from _mark(mark, tracings, numbers)


def _mark(
    mark: Mark, tracings: tuple[Tracing, ...], numbers: GroupNumbers, modifiers: tuple[Item, ...] = ()
) -> Iterator[Item]:
    item = Item()
    tracing = tracings[mark.tracing]
    row = tracing.row(mark.lead) if mark.lead is not None else None
    place = Item()
    place.numbers("ReferencedWaveformChannels", mark.tracing + 1, 0 if row is None else row + 1)
    _put_place(place, mark, tracing)
    if mark.group is not None:
        place.numbers("AnnotationGroupNumber", numbers.marks[mark.group])
    held = _held(mark)
    if held is not None:
        _named_value(item, _held_name(mark, held), held)
        item.update(place)
        yield item
        return
    if mark.concept == "note" and mark.text and clean(mark.text, "ST").strip():
        item.text("UnformattedTextValue", mark.text)
    else:
        item.code("ConceptNameCodeSequence", *_name(mark.concept, "mark", None, mark.source_code), modifiers)
        _put_words(item, mark.text, mark.extras)
    item.update(place)
    yield item
    for measurement in mark.measurements:
        if measurement.value is None:
            continue
        inner = Item()
        code = concept_code(measurement.concept, "mark")
        row_of = named(code, False, False).concept
        if row_of is not None and row_of.scope == "mark":
            _named_value(inner, code, measurement)
            inner.update(place)
            yield inner


def _held(mark: Mark) -> Measurement | None:
    """The measurement of a mark that is nothing but the place of one."""
    if mark.concept != "other" or mark.text or len(mark.measurements) != 1:
        return None
    held = mark.measurements[0]
    if held.value is None or held.lead not in (None, mark.lead):
        return None
    found = named(_held_name(mark, held), mark.lead is not None, False).concept
    return None if found is not None and found.scope == "mark" and not found.unit else held


def _held_name(mark: Mark, held: Measurement) -> CodeItem:
    return _name(held.concept, "global" if mark.lead is None else "per lead", None, held.source_code)


def _put_place(item: Item, mark: Mark, tracing: Tracing) -> None:
    """Temporal range: samples counted from 1 where the instants are samples, else seconds after the start.

    Seconds are used on a tracing that starts with the recording only, since the standard does not say whether they
    count from the start of the group or of the object; elsewhere the nearest sample is given.
    """
    start = _position(mark.start, tracing)
    end = None if mark.end is None else _position(mark.end, tracing)
    if start is not None and mark.end is None:
        _positions(item, "POINT", start)
    elif start is not None and end is not None:
        _positions(item, "SEGMENT", start, end)
    elif start is not None and mark.end == tracing.duration:
        _positions(item, "BEGIN", start)
    elif tracing.start == 0 and _exact(mark):
        item.text("TemporalRangeType", "POINT" if mark.end is None else "SEGMENT")
        item.decimals("ReferencedTimeOffsets", mark.start, *(() if mark.end is None else (mark.end,)))
    elif mark.end is None:
        _positions(item, "POINT", _nearest(mark.start, tracing))
    else:
        _positions(item, "SEGMENT", _nearest(mark.start, tracing), _nearest(mark.end, tracing))


def _exact(mark: Mark) -> bool:
    """Whether the instants survive as decimal strings closely enough to be worth more than the nearest sample."""
    return all(
        value is None or abs((parse_decimal(decimal_text(value)) or 0) - value) < Fraction(1, 10**9)
        for value in (mark.start, mark.end)
    )


def _position(seconds: Fraction, tracing: Tracing) -> int | None:
    """The sample, counted from 1, at that instant; None where there is none."""
    position = seconds * tracing.rate + 1
    if position.denominator != 1 or not 1 <= position <= tracing.length:
        return None
    return position.numerator


def _nearest(seconds: Fraction, tracing: Tracing) -> int:
    return min(max(round(seconds * tracing.rate) + 1, 1), tracing.length)


def _positions(item: Item, kind: str, *positions: int) -> None:
    item.text("TemporalRangeType", kind)
    item.numbers("ReferencedSamplePositions", *positions)
