"""Waveform Annotation Sequence to measurements, marks and statements (PS3.3 C.10.10).

An item with a temporal range is a mark, and where it has a number too the mark holds a measurement; a number without a
range is a measurement; text, or a coded finding, without a range is a statement.  Positions count from 1, and so do
groups and channels; channel 0 stands for all of its group.  What an item has beside that stays unread.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import field, replace
from fractions import Fraction
from typing import Final

from interchange.formats.dicom.annotation_items import FINDINGS, TIMES, Item, ItemReader
from interchange.formats.dicom.conceptcodes import (
    OF_TEXT,
    OTHER,
    OVERALL_FINDING,
    WORDS,
    is_of_quantity,
    value_in_unit,
)
from interchange.formats.dicom.read_waveform import Group
from interchange.formats.dicom.status import is_status, with_status
from interchange.formats.dicom.view import View
from interchange.formats.dicom.wavepairs import MarkList, ends_of, marks_between
from interchange.model import Code, Extras, Mark, Measurement, Moment, Statement, Tracing
from interchange.records import dataclass

__all__ = ["GROUP", "VALUE", "Annotations", "read_annotations"]

GROUP: Final = "dicom.group"
"""Extra of a measurement: the number of the set of marks that it belongs to."""

VALUE: Final = "dicom.value"
"""Extra of an annotation: code and scheme of its coded value, whose meaning is the text."""

LEADS: Final = "dicom.leads"
"""Extra of a statement: names of the channels that it refers to."""

GROUPS: Final = "dicom.groups"
"""Extra of a statement: numbers of the multiplex groups that it refers to, where they are not the first alone."""


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
    found_items = map(reader.item, top.items("WaveformAnnotationSequence"))
    items = [item for item in found_items if item is not None]
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
            member.spans = {beat: [(Fraction(position - 1) / rate, None) for position in member.positions]}


def _take(item: Item, reader: ItemReader, found: Annotations, statement_groups: dict[int | None, int]) -> None:
    named_mark = item.concept is not None and item.concept.scope == "mark"
    if item.text is not None and item.name is None:
        _take_text(item, reader, found, statement_groups)
    elif item.spans is not None and item.numbers:
        _take_placed(item, reader, found)
    elif item.spans is not None:
        _take_marks(item, reader, found.marks)
    elif item.name is not None and item.name[:2] in FINDINGS and item.value is not None:
        _take_finding(item, reader, found, statement_groups)
    elif item.unplaced and not item.numbers and (named_mark or item.value is None):
        item.view.dataset.taken.clear()  # a mark without a place says nothing
    elif named_mark and not item.numbers:
        item.spans = {index: [(Fraction(0), reader.tracings[index].duration)] for index, _ in _each(item, reader)}
        found.marks.add(_marks(item, reader))
    else:
        found.measurements.extend(_measurements(item, reader))


def _take_text(item: Item, reader: ItemReader, found: Annotations, statement_groups: dict[int | None, int]) -> None:
    """A note, a status of statements before it, or a statement; numbers and codes beside a text stay unread."""
    assert item.text is not None
    if item.numbers or item.unit is not None or item.value is not None:
        item.view.leave("NumericValue", "MeasurementUnitsCodeSequence", "ConceptCodeSequence")
        item.value = None
    if item.spans is not None:
        found.marks.add(_marks(item, reader))
    elif is_status(item.text) and found.waiting.get(item.group):
        for index in found.waiting.pop(item.group):
            found.statements[index] = with_status(found.statements[index], item.text)
    else:
        group = statement_groups.setdefault(item.group, len(statement_groups))
        found.add_statement(Statement(item.text, group=group, extras=_where(item, reader)), item.group)


def _take_placed(item: Item, reader: ItemReader, found: Annotations) -> None:
    """A number with a place: it belongs to the mark before it, or a mark of its own holds it."""
    assert item.spans is not None
    of_mark = item.concept is not None and item.concept.scope == "mark"
    counts = {len(spans) for spans in item.spans.values()}
    if of_mark and _joins(item, reader, found.marks.marks):
        last = found.marks.marks[-1]
        inner = _measurements(item, reader, on_mark=True)
        found.marks.marks[-1] = replace(last, measurements=(*last.measurements, *inner))
    elif item.concept is not None and of_mark and not item.concept.unit:
        item.view.leave("NumericValue", "MeasurementUnitsCodeSequence")  # what is measured is not said
        _take_marks(item, reader, found.marks)
    elif counts == {1} or counts == {len(item.numbers)}:
        found.marks.add(_holders(item, reader))
    else:
        item.view.leave(*TIMES)  # which number belongs where is not said
        found.measurements.extend(_measurements(item, reader))


def _holders(item: Item, reader: ItemReader) -> Iterator[Mark]:
    """Marks that only hold a measurement: one for each place, or one for all numbers of an item with one place."""
    assert item.spans is not None
    source = Code(*(part or None for part in item.name)) if item.name is not None else None
    group = None if item.group is None else str(item.group)
    for index, lead in _each(item, reader):
        spans = item.spans[index]
        values = tuple(_values(item, reader, index, lead, ()))
        for at, (start, end) in enumerate(spans):
            held = values if len(spans) == 1 else values[at : at + 1]
            yield Mark("other", index, start, end, lead, group=group, measurements=held, source_code=source)


def _take_marks(item: Item, reader: ItemReader, marks: MarkList) -> None:
    """Marks as they are, or the two that a segment stands for."""
    if item.unit is not None:
        item.view.leave("MeasurementUnitsCodeSequence")
    between = marks_between(item.modifier)
    ends = ends_of(item.concept.id) if item.concept is not None and between is not None else None
    found = list(_marks(item, reader))
    if ends is None or between is None or len(found) != 1 or found[0].end is None:
        marks.add(iter(found))
        return
    onset = replace(found[0], concept=ends.onset, end=None)
    marks.add_pair(onset, replace(onset, concept=ends.offset, start=found[0].end), between)


def _joins(item: Item, reader: ItemReader, marks: list[Mark]) -> bool:
    """Whether a number with a place belongs to the mark before it: same place, same channel."""
    if not marks or not item.targets or not item.spans:
        return False
    index, row = item.targets[0]
    lead = None if row is None else reader.tracings[index].channels[row].name
    last = marks[-1]
    return (last.tracing, last.start, last.end, last.lead) == (index, *item.spans[index][0], lead)


def _where(item: Item, reader: ItemReader) -> Extras:
    """Channels and groups that a statement is about, when that is not the first group as a whole."""
    if len(item.targets) < 2 and item.targets in ([], [(0, None)]):
        return ()
    names = [reader.tracings[index].channels[row].name for index, row in item.targets if row is not None]
    groups = dict.fromkeys(reader.numbers[index] for index, _ in item.targets)
    found: Extras = ((LEADS, " ".join(names)),) if names else ()
    if not names or len(names) < len(item.targets) or any(index for index, _ in item.targets):
        found = (*found, (GROUPS, " ".join(map(str, groups))))
    return found


def _take_finding(item: Item, reader: ItemReader, found: Annotations, statement_groups: dict[int | None, int]) -> None:
    """A coded finding: a code of the text before it, or a statement of its own; all else beside it stays unread."""
    assert item.value is not None
    assert item.name is not None
    if item.numbers or item.unit is not None:
        item.view.leave("NumericValue", "MeasurementUnitsCodeSequence")
    code = Code(item.value.value or None, item.value.scheme or None, item.value.meaning or None)
    if item.modifier is not None and item.modifier[:2] == OF_TEXT[:2] and found.statements:
        last = found.statements[-1]
        found.statements[-1] = replace(last, codes=(*last.codes, code))
        return
    kind = "overall-finding" if item.name[:2] == OVERALL_FINDING[:2] else "interpretation-statement"
    group = statement_groups.setdefault(item.group, len(statement_groups))
    words, where = item.value.meaning or item.value.value, _where(item, reader)
    statement = Statement(words, kind=kind, group=group, codes=(code,), extras=where)
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
    assert item.spans is not None
    concept = item.concept.id if item.concept else "note" if item.name is None else "other"
    for index, lead in _each(item, reader):
        for start, end in item.spans[index]:
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


def _measurements(item: Item, reader: ItemReader, on_mark: bool = False) -> Iterator[Measurement]:
    targets = list(_each(item, reader))
    if len(targets) > 1 and not on_mark:
        targets = _different(targets, item, reader)
    extras: Extras = ((GROUP, str(item.group)),) if item.in_set and not on_mark else ()
    for index, lead in targets:
        yield from _values(item, reader, index, lead, extras, on_mark)


def _different(targets: list[tuple[int, str | None]], item: Item, reader: ItemReader) -> list[tuple[int, str | None]]:
    """The targets whose measurements differ: the model knows leads and beats, no groups.

    A value of rhythm and representative beat as a whole is one of the recording; the reference then stays unread.
    """
    found: dict[tuple[str | None, int | None], tuple[int, str | None]] = {}
    for index, lead in targets:
        found.setdefault((lead, _beat(reader.tracings[index])), (index, lead))
    whole = (None, None) in found
    kept = [target for (lead, beat), target in found.items() if not (whole and lead is None and beat is not None)]
    if len(kept) < len(found):
        item.view.leave("ReferencedWaveformChannels")
    return kept


def _beat(tracing: Tracing) -> int | None:
    return (tracing.beat or 0) if tracing.kind == "representative beat" else None


def _values(
    item: Item, reader: ItemReader, index: int, lead: str | None, extras: Extras, on_mark: bool = False
) -> Iterator[Measurement]:
    """One measurement for each number of an item, or one without a number."""
    concept = item.concept.id if item.concept else "other"
    values: tuple[Fraction | None, ...] = item.numbers or (None,)
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
            beat=None if on_mark else _beat(reader.tracings[index]),
            text=_words(item),
            source_code=_source(item),
            extras=(*_value_code(item), *extras),
        )


def _value(item: Item, number: Fraction | None) -> tuple[int | Fraction | None, str | None]:
    """The number in the concept's own unit; another unit is kept as it is."""
    unit = item.unit
    if item.concept is not None and item.concept.unit:
        factor = value_in_unit(unit, item.concept.unit)
        if factor is not None:
            unit = item.concept.unit if item.unit is not None else None
            number = None if number is None else number * factor[0] / factor[1]
        elif number is not None and not is_of_quantity(unit, item.concept.unit):
            place = item.view.at("MeasurementUnitsCodeSequence")
            item.view.context.tolerate_once("measurement-unit", place, f"{unit} for {item.concept.unit}")
    if unit == "1":
        unit = None
    if number is not None and number.denominator == 1:
        return number.numerator, unit
    return number, unit
