"""Waveform Annotation Sequence to measurements, marks and statements (PS3.3 C.10.10).

An item with a temporal range is a mark; one with a number is a measurement; text, or a coded finding, without a range
is a statement.  Positions count from 1, and so do groups and channels; channel 0 stands for all of its group.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import field, replace
from fractions import Fraction
from typing import Final

from interchange.formats.dicom.annotation_items import FINDINGS, Item, ItemReader
from interchange.formats.dicom.conceptcodes import OF_TEXT, OTHER, OVERALL_FINDING, WORDS, value_in_unit
from interchange.formats.dicom.read_waveform import Group
from interchange.formats.dicom.status import is_status, with_status
from interchange.formats.dicom.view import View
from interchange.formats.dicom.wavepairs import MarkList, ends_of, marks_between
from interchange.model import Code, Extras, Mark, Measurement, Moment, Statement
from interchange.records import dataclass

__all__ = ["GROUP", "VALUE", "Annotations", "read_annotations"]

GROUP: Final = "dicom.group"
"""Extra of a measurement: the number of the set of marks that it belongs to."""

VALUE: Final = "dicom.value"
"""Extra of an annotation: code and scheme of its coded value, whose meaning is the text."""


@dataclass(slots=True)
class Annotations:
    """What the sequence holds, in its order; ``waiting`` are statements by annotation group without a status yet."""

    measurements: list[Measurement] = field(default_factory=list)
    marks: MarkList = field(default_factory=MarkList)
    statements: list[Statement] = field(default_factory=list)
    waiting: dict[int | None, list[int]] = field(default_factory=dict)

    def add_statement(self, statement: Statement, number: int | None) -> None:
        """Append a statement of that annotation group, whose status may follow."""
        self.waiting.setdefault(number, []).append(len(self.statements))
        self.statements.append(statement)


def read_annotations(top: View, groups: list[Group], time: Moment | None) -> Annotations:
    """All annotations of the object."""
    reader = ItemReader(groups, time)
    items = [reader.item(view) for view in top.items("WaveformAnnotationSequence")]
    _put_on_beat(items, reader)
    sets = {item.group for item in items if item.spans is not None and item.group is not None}
    for item in items:
        item.in_set = item.group in sets
    found = Annotations()
    statement_groups: dict[int | None, int] = {}
    for item in items:
        _take(item, reader, found, statement_groups)
    return found


def _put_on_beat(items: list[Item], reader: ItemReader) -> None:
    """Marks of the representative beat that refer to the rhythm are put where they belong (with a finding).

    Objects of the retired scheme refer every mark to the first group.  A set of marks is the representative beat's
    when its fiducial point lies at that group's trigger position and every position of the set is within it.
    """
    beats = [
        (index, group.trigger)
        for index, group in zip(reader.index, reader.groups, strict=True)
        if index is not None and group.trigger and reader.tracings[index].kind == "representative beat"
    ]
    if len(beats) != 1:
        return
    beat, trigger = beats[0]
    length, rate = reader.tracings[beat].length, reader.tracings[beat].rate
    sets: dict[int, list[Item]] = {}
    for item in items:
        if item.group is not None and item.positions and item.name and item.name.scheme == "SCPECG":
            sets.setdefault(item.group, []).append(item)
    for members in sets.values():
        fiducial = any(m.concept and m.concept.id == "fiducial-point" and m.positions == (trigger,) for m in members)
        elsewhere = all(index != beat for member in members for index, _ in member.targets)
        if not (fiducial and elsewhere and all(p <= length for m in members for p in m.positions)):
            continue
        members[0].view.context.tolerate(
            "annotation-misplaced", members[0].view.at("ReferencedWaveformChannels"), f"{len(members)} marks"
        )
        for member in members:
            rows = {row for _, row in member.targets}
            member.targets = [(beat, row) for row in rows]
            member.spans = [(Fraction(position - 1) / rate, None) for position in member.positions]


def _take(item: Item, reader: ItemReader, found: Annotations, statement_groups: dict[int | None, int]) -> None:
    if item.spans is not None:
        if item.numbers and not _belongs_to_mark(item):
            found.measurements.extend(_measurements(item, reader))
        elif item.numbers and _joins(item, reader, found.marks.marks):
            found.marks.marks[-1] = replace(
                found.marks.marks[-1],
                measurements=(*found.marks.marks[-1].measurements, *_measurements(item, reader, on_mark=True)),
            )
        else:
            _take_marks(item, reader, found.marks)
    elif item.text is not None and item.name is None:
        if is_status(item.text) and found.waiting.get(item.group):
            for index in found.waiting.pop(item.group):
                found.statements[index] = with_status(found.statements[index], item.text)
        else:
            group = statement_groups.setdefault(item.group, len(statement_groups))
            found.add_statement(Statement(item.text, group=group, extras=_where(item, reader)), item.group)
    elif item.name is not None and (item.name.value, item.name.scheme) in FINDINGS and item.value is not None:
        _take_finding(item, found, statement_groups)
    elif item.concept is not None and item.concept.scope == "mark" and not item.numbers:
        item.spans = [(Fraction(0), None)]
        found.marks.add(_whole(item, reader))
    else:
        found.measurements.extend(_measurements(item, reader))


def _take_marks(item: Item, reader: ItemReader, marks: MarkList) -> None:
    """Marks as they are, or the two that a segment stands for."""
    between = marks_between(item.modifier)
    ends = ends_of(item.concept.id) if item.concept is not None and between is not None else None
    found = list(_marks(item, reader))
    if ends is None or between is None or len(found) != 1 or found[0].end is None:
        marks.add(iter(found))
        return
    onset = replace(found[0], concept=ends.onset, end=None)
    marks.add_pair(onset, replace(onset, concept=ends.offset, start=found[0].end), between)


def _belongs_to_mark(item: Item) -> bool:
    return item.concept is not None and item.concept.scope == "mark"


def _joins(item: Item, reader: ItemReader, marks: list[Mark]) -> bool:
    """Whether a number with a place belongs to the mark before it: same place, same channel."""
    if not marks or not item.targets or not item.spans:
        return False
    index, row = item.targets[0]
    lead = None if row is None else reader.tracings[index].channels[row].name
    last = marks[-1]
    return (last.tracing, last.start, last.end, last.lead) == (index, *item.spans[0], lead)


def _where(item: Item, reader: ItemReader) -> tuple[tuple[str, str], ...]:
    """Channels that a statement is about, when that is not a whole group."""
    names = [reader.tracings[index].channels[row].name for index, row in item.targets if row is not None]
    return (("dicom.leads", " ".join(names)),) if names else ()


def _take_finding(item: Item, found: Annotations, statement_groups: dict[int | None, int]) -> None:
    """A coded finding: a code of the text before it, or a statement of its own."""
    assert item.value is not None
    assert item.name is not None
    code = Code(item.value.value or None, item.value.scheme or None, item.value.meaning or None)
    if item.modifier is not None and item.modifier[:2] == OF_TEXT[:2] and found.statements:
        last = found.statements[-1]
        found.statements[-1] = replace(last, codes=(*last.codes, code))
        return
    kind = "overall-finding" if item.name[:2] == OVERALL_FINDING[:2] else "interpretation-statement"
    group = statement_groups.setdefault(item.group, len(statement_groups))
    statement = Statement(item.value.meaning or item.value.value, kind=kind, group=group, codes=(code,))
    found.add_statement(statement, item.group)


def _each(item: Item, reader: ItemReader) -> Iterator[tuple[int, str | None]]:
    """(tracing, lead) for every channel that is referred to; the first tracing where none is."""
    if not item.targets:
        yield 0, item.lead
    for index, row in item.targets:
        yield index, item.lead if row is None else reader.tracings[index].channels[row].name


def _source(item: Item) -> Code | None:
    if item.concept is not None or item.name is None:
        return None
    if item.name[:2] == OTHER[:2]:
        return None if item.name.meaning == OTHER.meaning else Code(meaning=item.name.meaning)
    return Code(item.name.value or None, item.name.scheme or None, item.name.meaning or None)


def _words(item: Item) -> str | None:
    """Text of an annotation, or the meaning of its coded value."""
    return item.text or (item.value.meaning or None if item.value else None)


def _value_code(item: Item) -> Extras:
    """The code of a coded value, unless it is only the project's own for words."""
    if item.value is None or item.value[:2] == WORDS[:2]:
        return ()
    return ((VALUE, f"{item.value.value} {item.value.scheme}".strip()),)


def _marks(item: Item, reader: ItemReader) -> Iterator[Mark]:
    concept = item.concept.id if item.concept else "note" if item.name is None else "other"
    for index, lead in _each(item, reader):
        for start, end in item.spans or ():
            yield Mark(
                concept,
                index,
                start,
                end,
                lead=lead,
                text=_words(item),
                group=None if item.group is None else str(item.group),
                source_code=_source(item),
                extras=_value_code(item),
            )


def _whole(item: Item, reader: ItemReader) -> Iterator[Mark]:
    """A mark about the whole extent of what it refers to."""
    for mark in _marks(item, reader):
        yield replace(mark, end=reader.tracings[mark.tracing].duration)


def _measurements(item: Item, reader: ItemReader, on_mark: bool = False) -> Iterator[Measurement]:
    concept = item.concept.id if item.concept else "other"
    extras = _value_code(item)
    if item.in_set and not on_mark:
        extras = (*extras, (GROUP, str(item.group)))
    values: tuple[Fraction | None, ...] = item.numbers or (None,)
    for index, lead in _each(item, reader):
        tracing = reader.tracings[index]
        for number in values:
            value, unit = _value(item, number)
            zero = value == 0 and item.name is not None and item.name.scheme == "SCPECG"
            absent = zero and item.concept is not None and item.concept.kind in ("interval", "rate")
            if absent:
                item.view.context.tolerate("zero-interval", item.view.at("NumericValue"))
            yield Measurement(
                concept,
                None if absent else value,
                unit,
                lead=None if on_mark else lead,
                absent="not-measured" if absent else None,
                beat=(tracing.beat or 0) if tracing.kind == "representative beat" and not on_mark else None,
                text=_words(item),
                source_code=_source(item),
                extras=extras,
            )


def _value(item: Item, number: Fraction | None) -> tuple[int | Fraction | None, str | None]:
    """The number in the concept's own unit; another unit is kept as it is."""
    unit = item.unit
    if item.concept is not None and item.concept.unit:
        factor = value_in_unit(unit, item.concept.unit)
        if factor is not None:
            unit = item.concept.unit if item.unit is not None else None
            number = None if number is None else number * factor[0] / factor[1]
    if unit == "1":
        unit = None
    if number is not None and number.denominator == 1:
        return number.numerator, unit
    return number, unit
