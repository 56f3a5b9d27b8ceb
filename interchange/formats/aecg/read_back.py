"""What the reader will make of written annotations, and the lines of text for the rest.

The annotations themselves are not read back while they are written, which would cost as much again; each rule here
mirrors one of the reader, and tests compare both on everything that the model can hold.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

from interchange.formats.aecg.annotation_codes import (
    concept_in,
    is_placed_measurement,
    lead_code,
    mark_code,
    measurement_code,
)
from interchange.formats.aecg.codes import OWN, SAME_UNIT, SECONDS, VOLTS
from interchange.formats.aecg.concepts import mark_concept, measured, own_concept
from interchange.formats.aecg.datatypes import plain
from interchange.formats.aecg.difference import lines_for
from interchange.formats.aecg.markup import WHITE
from interchange.formats.aecg.place import Placed
from interchange.formats.aecg.read_series import lead_of
from interchange.formats.aecg.write_series import Group, Written, beats_of, read_back_channel
from interchange.formats.aecg.write_types import clean, code_back, is_token, null_flavor, ts, unit_of, words_back
from interchange.model import Code, Mark, Measurement, Recording, Statement, Tracing

__all__ = ["content_lines"]


def content_lines(recording: Recording, done: Written) -> list[str]:
    """Lines for what the annotations do not say, under the indices that the reader will give."""
    found: list[str] = []
    beats = beats_of(recording)
    for at, index in enumerate(done.measurements):
        entry = recording.measurements[index]
        beat = entry.beat if entry.beat is not None and 0 <= entry.beat < beats else None
        found += lines_for(f"measurements[{at}]", entry, _measurement_back(entry, beat, False))
    homes = {index: group.tracings for group in _all_groups(done.groups) for index in group.tracings}
    shared = any(len(home) > 1 for home in homes.values())
    names = [_names(tracing) if shared else frozenset[str]() for tracing in recording.tracings]
    ends = [tracing.start + tracing.duration for tracing in recording.tracings]
    placed = Placed(list(recording.tracings), None, None, [], ends, names)
    for at, index in enumerate(done.marks):
        found += _mark_lines(f"marks[{at}]", recording.marks[index], homes, placed)
    numbers: Iterator[Statement] = _statements_back([recording.statements[index] for index in done.statements])
    for at, (index, back) in enumerate(zip(done.statements, numbers, strict=True)):
        found += lines_for(f"statements[{at}]", recording.statements[index], back)
    return found


def _all_groups(found: Iterable[Group]) -> Iterator[Group]:
    for group in found:
        yield group
        yield from _all_groups(group.derived)


def _names(tracing: Tracing) -> frozenset[str]:
    """The names that the reader will give a tracing's channels."""
    return frozenset(read_back_channel(channel).name for channel in tracing.channels)


def _seen_on(mark: Mark, home: Sequence[int], placed: Placed) -> tuple[int, Fraction, Fraction | None]:
    """Tracing, start and end of a mark as the reader will find them from its time and its lead."""
    end = mark.end if mark.end != mark.start else None
    if len(home) == 1:
        return mark.tracing, mark.start, end
    begin = placed.tracings[mark.tracing].start
    lead = _lead_back(mark.lead)
    found = placed.line(home, (lead,) if lead is not None else ()).at(mark.start + begin)
    if found is None or found == mark.tracing:
        return mark.tracing, mark.start, end
    moved = begin - placed.tracings[found].start
    return found, mark.start + moved, end + moved if end is not None else None


def _mark_lines(path: str, mark: Mark, homes: dict[int, list[int]], placed: Placed) -> list[str]:
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
        source: Code | None = code_back(given)
    else:
        concept, source = _mark_back(mark.concept, mark.end in (None, mark.start), mark.source_code)
    tracing, start, end = _seen_on(mark, homes[mark.tracing], placed)
    seen = replace(
        mark,
        tracing=tracing,
        start=start,
        end=end,
        concept=concept,
        source_code=source,
        text=words_back(mark.text),
        lead=_lead_back(mark.lead),
        group=words_back(mark.group),
    )
    return [*lines_for(path, mark, seen), *inner]


@lru_cache(maxsize=1024)
def _mark_back(concept: str, point: bool, source: Code | None) -> tuple[str, Code | None]:
    """The concept and code that the reader will give back."""
    attributes, value, part = mark_code(concept, source)
    row = concept_in(concept, "mark")
    if value or part:
        if part and not point:
            other = mark_concept(value)
            return (other.id if other else "other"), None
        return concept, None
    code = dict(attributes).get("code", "")
    if row is not None or concept != "other":
        return (concept if row is not None else "other"), None
    known = mark_concept(code)
    return (known.id, None) if known is not None else ("other", code_back(source) if source else source)


@lru_cache(maxsize=1024)
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
        entry, concept=concept, source_code=source, beat=beat, lead=_lead_back(entry.lead), text=words_back(entry.text)
    )
    if entry.value is not None:
        said = SAME_UNIT.get(unit_of(entry.unit), unit_of(entry.unit))
        same = said == unit or (not (said in VOLTS and unit == "uV") and not (said in SECONDS and unit in SECONDS))
        back = replace(back, unit=said if same else unit, absent=None)
        if not same:
            back = replace(back, value=None)
    elif back.text is None:
        reason = entry.absent if null_flavor(entry.absent) != "NI" else None
        said = SAME_UNIT.get(entry.unit, entry.unit) if entry.unit and is_token(entry.unit) else ""
        converted = (said in VOLTS and unit == "uV") or (said in SECONDS and unit in SECONDS)
        back = replace(back, absent=reason, unit=(unit if converted else said or unit) or None)
    else:
        back = replace(back, absent=None, unit=None)
    return back


@lru_cache(maxsize=1024)
def _concept_back(concept: str, lead: bool, in_mark: bool, source: Code | None) -> tuple[str, str, Code | None]:
    """Concept, its unit, and the source's code that the reader will give back."""
    attributes = dict(measurement_code(concept, lead, in_mark, source))
    code = attributes.get("code", "")
    if attributes.get("codeSystemName") == OWN:
        row = own_concept(code, lead)[0]
    else:
        row = measured(code, lead)[0] if code else None
    if row is None:
        return "other", "", code_back(source) if source else Code()
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
        row = concept_in(entry.kind, "global")
        kind = entry.kind if row is not None and row.aecg_code else "interpretation-statement"
        yield Statement(
            clean(entry.text).strip(WHITE),
            kind,
            number,
            tuple(back for back in map(code_back, entry.codes) if back != Code()),
            _author_back(entry),
            entry.author_kind,
            entry.time if ts(entry.time) is not None else None,
        )


def _author_back(entry: Statement) -> str | None:
    words = words_back(entry.author)
    return words if words is None or entry.author_kind == "machine" else plain(words)
