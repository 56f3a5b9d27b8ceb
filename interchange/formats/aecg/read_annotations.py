"""Annotation sets: measurements, marks and statements, with their place in time and their lead.

A measurement that stands inside a beat or another mark, or in a region of time of its own, belongs to that place and
becomes part of a mark; all others are measurements of the recording or of a lead.  The lead is said in one of three
ways: at the end of the code, by a boundary of the region, or by an annotation around it whose code is the lead.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Literal

from interchange.formats.aecg.codes import (
    CLASS_CODES,
    INTERPRETATION,
    OWN,
    SAME_UNIT,
    SECONDS,
    STATEMENTS,
    TIME_ABSOLUTE,
    TIME_RELATIVE,
    VOLTS,
)
from interchange.formats.aecg.datatypes import (
    absent_of,
    code_of,
    code_text,
    duration,
    factor,
    interval,
    physical,
    text_of,
)
from interchange.formats.aecg.limits import MAX_NESTING
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import Node, place_of
from interchange.formats.aecg.place import Placed
from interchange.formats.aecg.read_header import Author, read_author
from interchange.formats.aecg.read_series import Series, lead_of
from interchange.model import Absent, Code, Extras, Mark, Measurement, Moment, Statement, Tracing, Unread
from interchange.model.lines import decimal

if TYPE_CHECKING:
    from interchange.vocabulary import Concept

__all__ = ["Content", "mark_concept", "measured", "own_concept", "read_annotations", "tracing_at"]

_FORMULA = re.compile(r"bazett|fr[ei]d[eo]?ri|framingham|hodges|qtc[bf]\b", re.IGNORECASE)
"""Names of formulas that some put beside the code of a corrected QT interval without one (from memory of files)."""

XSI_TYPE = "{http://www.w3.org/2001/XMLSchema-instance}type"


@dataclass(slots=True)
class Content:
    """What the annotation sets of a document hold, and the devices and people that made them."""

    measurements: list[Measurement] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    statements: list[Statement] = field(default_factory=list)
    devices: list[tuple[Node, bool]] = field(default_factory=list)
    """Devices that made sets, and whether they are the author of statements."""
    interpretations: int = 0


@dataclass(frozen=True, slots=True)
class Region:
    """Where an annotation holds: a tracing, seconds on it, leads; nothing said = everything."""

    tracing: int | None = None
    start: Fraction | None = None
    end: Fraction | None = None
    part: Literal["whole", "start", "end", "peak"] = "whole"
    leads: tuple[str, ...] = ()


@dataclass(slots=True)
class _Set:
    """What all annotations of one set share; ``beat``: number of the beat type that the series shows."""

    series: Series
    placed: Placed
    content: Content
    log: Log
    group: str | None
    author: Author | None
    time: Moment | None
    beat: int | None
    made: Extras
    """Who made the set and when, for measurements and marks, which have no author of their own."""


EVERYWHERE = Region()


@dataclass(slots=True)
class _Scope:
    """What an annotation inherits from the one around it.

    ``own``: whether it says its region itself.  ``lead``: the lead of a container around it.  ``mark``: index of the
    mark that it belongs to.
    """

    set: _Set
    region: Region = EVERYWHERE
    own: bool = False
    lead: str | None = None
    mark: int | None = None
    depth: int = 0

    def inside(self, region: Region, own: bool) -> _Scope:
        """The scope inside an annotation with its region."""
        return _Scope(self.set, region, own, self.lead, self.mark, self.depth + 1)


def read_annotations(series: Series, placed: Placed, content: Content, log: Log, beat: int | None) -> None:
    """Read the annotation sets of one series; ``beat``: number of the beat type that it shows, None for a rhythm."""
    for outer in series.node.takes("subjectOf"):
        node = outer.take("annotationSet")
        if node is None:
            continue
        group = _group(node, log)
        stamp = node.take_any("activityTime", "activityType")
        when = _when(stamp, log)
        author = _author(node, log)
        scope = _Scope(_Set(series, placed, content, log, group, author, when, beat, _made(author, when)))
        before = len(content.statements)
        for component in node.takes("component"):
            inner = component.take("annotation")
            if inner is not None:
                _annotation(inner, scope)
        spoke = len(content.statements) > before
        if author is not None and author.device is not None:
            content.devices.append((author.device, spoke))
        if stamp is not None and not spoke and not scope.set.made:
            stamp.used = False


def _when(stamp: Node | None, log: Log) -> Moment | None:
    """When a set was made: the start of its activity time."""
    if stamp is None:
        return None
    stamp.get(XSI_TYPE)
    if stamp.name == "activityType":
        log.add("aecg.older-names", stamp)
    times = interval(stamp, log)
    if times.high is not None and times.low is not None:
        log.unread.append(Unread(place_of(stamp.element), 0, "end of an activity time"))
    return times.low or times.point or times.high


def _made(author: Author | None, when: Moment | None) -> Extras:
    """A person or organisation as the author of a set, with the time; a device stands among the devices."""
    if author is None or author.device is not None:
        return ()
    who = author.name
    pairs = (
        ("aecg.author", who),
        ("aecg.author-kind", "person" if author.person else None),
        ("aecg.time", str(when) if when else None),
    )
    return tuple((key, text) for key, text in pairs if text) if who else ()


def _group(node: Node, log: Log) -> str | None:
    """The name of the set: the words of its code, or the code."""
    code = code_of(node.take("code"), log)
    return (code.meaning or code.value) if code else None


def _author(node: Node, log: Log) -> Author | None:
    """The first author of a set; further ones stay unread."""
    outer = node.take("author")
    entity = outer.take("assignedEntity") if outer else None
    if entity is None:
        return None
    return read_author(entity, log)


# One annotation ----------------------------------------------------------------------------------------------------


def _annotation(node: Node, scope: _Scope) -> None:
    """Read one annotation and those inside it, in the order of the document."""
    code_node = node.take("code")
    own = code_node is not None and code_node.attributes.get("codeSystemName") == OWN
    full = code_of(code_node, scope.set.log)
    text = full.value or "" if full else ""
    own_region = node.find("support") is not None
    region = _region(node, scope)
    inner = scope.inside(region, own_region)
    upper = text.upper()
    if upper == INTERPRETATION or upper in STATEMENTS:
        _interpretation(node, upper, inner)
        return
    value = node.take("value")
    kind = (value.get(XSI_TYPE) or "").rsplit(":", 1)[-1].upper() if value else ""
    coded = value.attributes.get("code", "").strip() if value else ""
    if upper in CLASS_CODES or (not own and mark_concept(text) and not _is_number(value)):
        _mark(node, upper, full, value, coded, inner)
    elif lead_of(text) is not None and not own and value is None and node.find("component") is not None:
        inner.lead = _lead_name(text)
    elif upper == "MDC_ECG_LEAD" and coded and lead_of(coded) is not None:
        inner.lead = _lead_name(code_text(value))
    elif own and scope.mark is None and own_region and region.start is not None:
        _plain_mark(node, text, full, value, inner)
    else:
        _measurement(node, text, full, value, kind, own, inner)
    _children(node, inner)


def _children(node: Node, scope: _Scope) -> None:
    if scope.depth > MAX_NESTING:
        return
    for component in node.takes("component"):
        number = component.find("sequenceNumber")
        if number is not None:
            number.claim()
        inner = component.take("annotation")
        if inner is not None:
            _annotation(inner, scope)


def _is_number(value: Node | None) -> bool:
    return value is not None and "unit" in value.attributes


@cache
def _lead_name(code: str) -> str:
    from interchange.vocabulary import channel_name

    lead = lead_of(code)
    return channel_name(lead) if lead is not None else code


@cache
def mark_concept(refid: str) -> Concept | None:
    """The mark that a reference id names, None for an unknown one."""
    from interchange.vocabulary import concept_by_refid

    return concept_by_refid(refid, "mark") if refid else None


@cache
def _instants() -> dict[tuple[str, str], str]:
    """(wave, part) to the concept of that instant: ("p-wave", "start") to "p-onset"."""
    from interchange.vocabulary import concepts

    found: dict[tuple[str, str], str] = {}
    for row in concepts():
        wave, _, part = row.part_of.partition(":")
        if part and row.scope == "mark":
            found.setdefault((wave, part), row.id)
    return found


def _mark(node: Node, upper: str, full: Code | None, value: Node | None, coded: str, scope: _Scope) -> None:
    """A wave, beat, rhythm, stretch of noise or spike."""
    named = coded if upper in CLASS_CODES and coded else full.value or "" if full else ""
    concept = mark_concept(named)
    source = None
    words = code_of(value, scope.set.log) if value is not None else None
    if concept is None:
        scope.set.log.add("aecg.annotation-code", node)
        source = words or full
    name = concept.id if concept else "other"
    part = scope.region.part
    if concept is not None and part != "whole":
        instant = _instants().get((concept.id, part))
        name = instant or name
    _add_mark(node, name, source, scope)


def _plain_mark(node: Node, name: str, full: Code | None, value: Node | None, scope: _Scope) -> None:
    """A mark that the nomenclature has no code for, under this project's own name."""
    if value is not None:
        value.used = False
    _add_mark(node, name, None, scope)


def _add_mark(
    node: Node, concept: str, source: Code | None, scope: _Scope, measurements: tuple[Measurement, ...] = ()
) -> None:
    tracing = scope.region.tracing if scope.region.tracing is not None else _first(scope)
    if tracing is None:
        return
    start, end = scope.region.start, scope.region.end
    if start is None:
        start, end = Fraction(0), scope.set.placed.tracings[tracing].duration
    words = text_of(node.take("text"))
    leads: tuple[str | None, ...] = scope.region.leads or (scope.lead,)
    for lead in leads:
        scope.set.content.marks.append(
            Mark(concept, tracing, start, end, lead, words, scope.set.group, measurements, source, scope.set.made)
        )
    scope.mark = len(scope.set.content.marks) - 1 if len(leads) == 1 else None


def _first(scope: _Scope) -> int | None:
    return scope.set.series.tracings[0] if scope.set.series.tracings else 0 if scope.set.placed.tracings else None


# Measurements ------------------------------------------------------------------------------------------------------


@cache
def measured(code: str, lead_known: bool) -> tuple[Concept | None, str | None]:
    """The measurement that a code names, and the lead at its end."""
    from interchange.vocabulary import concept_by_mdc, concept_by_refid, concepts, mdc_code

    scope: Literal["per lead", "global"] = "per lead" if lead_known else "global"
    other: Literal["per lead", "global"] = "global" if lead_known else "per lead"
    text = code.strip().upper()
    if text.isascii() and text.isdigit() and len(text) <= 10 and 131072 <= int(text) < 2**32:
        text = mdc_code(int(text))
    if ":" in text:
        known = concept_by_mdc(text)
        if known is not None:
            return known[0], _lead_name(known[1].mdc_refid) if known[1] else None
        return None, None
    row = concept_by_refid(text, scope) or concept_by_refid(text, other)
    if row is not None:
        return row, None
    if text.endswith("_GL") and concept_by_refid(text[:-3], "global"):
        return concept_by_refid(text[:-3], "global"), None
    base, _, tail = text.rpartition("_")
    while base:
        lead = lead_of(f"MDC_ECG_LEAD_{tail}")
        found = concept_by_refid(base, "per lead") if lead is not None else None
        if found is not None:
            return found, _lead_name(f"MDC_ECG_LEAD_{tail}")
        base, _, more = base.rpartition("_")
        tail = f"{more}_{tail}"
    own = code.strip()
    return next((c for c in concepts() if c.id == own and c.scope == scope), None), None


def _measurement(
    node: Node, text: str, full: Code | None, value: Node | None, kind: str, own: bool, scope: _Scope
) -> None:
    """A measurement, or something with a code that no table has."""
    leads: tuple[str | None, ...] = (scope.region.leads if scope.own or scope.mark is None else ()) or (scope.lead,)
    concept, lead = measured(text, leads != (None,)) if text and not own else own_concept(text, leads != (None,))
    if lead is not None:
        leads = (lead,)
    if concept is None:
        scope.set.log.add("aecg.annotation-code", node)
    placed = scope.mark is None and scope.region.start is not None
    if value is None and placed:
        _add_mark(node, "other", full, scope)
        return
    if value is None and concept is None and node.find("component") is not None:
        return
    amount, unit, words, absent = _value(value, kind, concept, node, scope)
    if words is None and concept is not None and concept.id == "qtc-interval" and full is not None:
        words = full.meaning if _FORMULA.search(full.meaning or "") else None
    entry = Measurement(
        concept.id if concept else "other",
        amount,
        unit,
        None,
        absent,
        scope.set.beat if not placed and scope.mark is None else None,
        words if placed else words or text_of(node.take("text")),
        (full or Code()) if concept is None else None,
        _extent(scope) if scope.mark is not None else () if placed else scope.set.made,
    )
    entries = tuple(replace(entry, lead=name) for name in leads)
    if scope.mark is not None:
        mark = scope.set.content.marks[scope.mark]
        scope.set.content.marks[scope.mark] = replace(mark, measurements=(*mark.measurements, *entries))
    elif placed:
        _add_placed(node, full, entries, scope)
    else:
        scope.set.content.measurements.extend(entries)


def _add_placed(node: Node, full: Code | None, entries: tuple[Measurement, ...], scope: _Scope) -> None:
    """A measurement with a region of time of its own: a mark per lead that holds it."""
    words = node.take("text")
    for entry in entries:
        if words is not None:
            words.used = False
        region = replace(scope.region, leads=(entry.lead,) if entry.lead else ())
        _add_mark(node, "other", full, _Scope(scope.set, region, True), (entry,))


def _extent(scope: _Scope) -> Extras:
    """The span of a measurement inside a mark, where it is another than the mark's: seconds on the tracing."""
    if not scope.own or scope.region.start is None or scope.mark is None:
        return ()
    mark, region = scope.set.content.marks[scope.mark], scope.region
    if (region.start, region.end) == (mark.start, mark.end) and region.part == "whole":
        return ()
    start = region.start if region.part != "end" else None
    end = region.end if region.part != "end" else region.start
    pairs = (("aecg.start", start), ("aecg.end", end))
    return tuple((key, decimal(value)) for key, value in pairs if value is not None)


@cache
def own_concept(text: str, lead: bool) -> tuple[Concept | None, str | None]:
    """The concept under this project's own name, in the form of :func:`measured`."""
    from interchange.vocabulary import concept

    for scope in ("per lead", "global", "mark") if lead else ("global", "mark", "per lead"):
        try:
            return concept(text, scope), None
        except KeyError:
            continue
    return None, None


def _value(
    value: Node | None, kind: str, concept: Concept | None, node: Node, scope: _Scope
) -> tuple[int | Fraction | None, str | None, str | None, Absent | None]:
    """Number, unit, words and the reason for neither."""
    if value is None:
        return None, concept.unit or None if concept else None, None, None
    absent = absent_of(value)
    if "code" in value.attributes:
        code = code_of(value)
        return None, None, (code.meaning or code.value) if code else None, absent
    if kind in ("ST", "ED", "SC") or (not kind and "value" not in value.attributes):
        words = text_of(value)
        if words is None and absent is None and concept is not None and concept.kind not in ("text", "code"):
            scope.set.log.add("aecg.annotation-value", node)
        return None, None, words, absent
    amount, unit = physical(value, scope.set.log)
    amount, unit = _in_unit(amount, unit, concept, node, scope)
    if amount is None:
        return None, unit or (concept.unit or None if concept else None), None, absent
    return (amount.numerator if amount.denominator == 1 else amount), unit, None, absent


def _in_unit(
    amount: Fraction | None, unit: str | None, concept: Concept | None, node: Node, scope: _Scope
) -> tuple[Fraction | None, str | None]:
    """The number in the unit of its concept where the units can be converted."""
    unit = SAME_UNIT.get(unit or "", unit or "") or None
    if concept is None:
        if amount is not None and unit in VOLTS:
            return amount * factor(VOLTS[unit]), "uV"
        return amount, unit
    wanted = concept.unit
    if unit in VOLTS and wanted == "uV":
        return amount * factor(VOLTS[unit]) if amount is not None else None, "uV"
    if unit in SECONDS and wanted in SECONDS:
        return amount * factor(SECONDS[unit]) / factor(SECONDS[wanted]) if amount is not None else None, wanted
    if amount is not None and unit != wanted and not (unit is None and wanted in ("", "1")):
        scope.set.log.add("aecg.annotation-unit", node)
    return amount, unit


# Statements --------------------------------------------------------------------------------------------------------


def _interpretation(node: Node, upper: str, scope: _Scope) -> None:
    """An interpretation: its parts are statements of one group, in order."""
    group = scope.set.content.interpretations
    if upper != INTERPRETATION:
        group = max(group - 1, 0) if scope.set.content.statements else group
        scope.set.content.interpretations = max(scope.set.content.interpretations, group + 1)
        _statement(node, STATEMENTS[upper], group, scope)
        return
    scope.set.content.interpretations += 1
    before = len(scope.set.content.statements)
    own = text_of(node.take("text"))
    value = node.take("value")
    if value is not None:
        value.get(XSI_TYPE)
        said = text_of(value)
        if own and said:
            scope.set.content.statements.append(_said(said, "interpretation-statement", group, (), scope))
        own = own or said
    if own:
        scope.set.content.statements.append(_said(own, "interpretation-statement", group, (), scope))
    for component in node.takes("component"):
        number = component.find("sequenceNumber")
        if number is not None:
            number.claim()
        inner = component.take("annotation")
        if inner is None:
            continue
        code = inner.find("code")
        name = (code.attributes.get("code") or "").strip().upper() if code else ""
        if name in STATEMENTS:
            inner.take("code")
            code_of(code)
            _statement(inner, STATEMENTS[name], group, scope)
        else:
            _annotation(inner, scope.inside(scope.region, False))
    if len(scope.set.content.statements) == before:
        scope.set.content.interpretations -= 1


def _statement(node: Node, kind: str, group: int, scope: _Scope) -> None:
    value = node.take("value")
    codes: list[Code] = []
    text = None
    if value is not None:
        value.get(XSI_TYPE)
        if "code" in value.attributes:
            code = code_of(value)
            if code is not None:
                codes.append(code)
                text = code.meaning or code.value
        else:
            text = text_of(value) or ("" if value.get("nullFlavor") == "NI" else None)
    beside = text_of(node.take("text"))
    for component in node.takes("component"):
        inner = component.find("annotation")
        if inner is None or inner.find("value") is not None:
            component.used = False
            continue
        component.take("annotation")
        code = code_of(inner.take("code"), scope.set.log)
        if code is not None:
            codes.append(code)
    if text is None:
        text, beside = beside, None
    if text is None:
        return
    scope.set.content.statements.append(_said(text, kind, group, tuple(codes), scope))
    if beside and beside != text:
        scope.set.content.statements.append(_said(beside, "interpretation-comment", group, (), scope))


def _said(text: str, kind: str, group: int, codes: tuple[Code, ...], scope: _Scope) -> Statement:
    author = scope.set.author
    who: str | None = None
    what: Literal["machine", "person"] | None = None
    if author is not None and author.device is not None:
        who, what = _device_name(author.device), "machine"
    elif author is not None and author.person is not None:
        who, what = author.person or None, "person"
    return Statement(text, kind, group, codes, who or (author.organisation if author else None), what, scope.set.time)


def _device_name(node: Node) -> str | None:
    """Model and software of a device, as the author of what it says."""
    parts = [child.text for child in node.children if child.name in ("manufacturerModelName", "softwareName")]
    return " ".join(part for part in parts if part) or None


# Regions -----------------------------------------------------------------------------------------------------------


def _region(node: Node, scope: _Scope) -> Region:
    """The region of an annotation; that of the annotation around it where it has none of its own."""
    support = node.take("support")
    roi = support.take_any("supportingROI", "rOI") if support else None
    if roi is None:
        return scope.region
    code_text(roi.take("code"))
    leads: list[str] = []
    region = scope.region
    for component in roi.takes("component"):
        boundary = component.take("boundary")
        if boundary is None:
            continue
        code = code_of(boundary.take("code"), scope.set.log)
        name = (code.value or code.meaning or "") if code else ""
        text = name.upper()
        value = boundary.take("value")
        if value is not None:
            value.get(XSI_TYPE)
        if text == TIME_ABSOLUTE:
            region = _absolute(boundary, value, scope)
        elif text == TIME_RELATIVE:
            region = _relative(boundary, value, scope)
        elif _has_channel(name, scope) or lead_of(name) is not None or (code is not None and code.scheme == OWN):
            leads.append(name if _has_channel(name, scope) else _lead_name(name))
            if value is not None:
                value.used = False
        else:
            boundary.used = component.used = False
    for name in leads:
        if not _has_channel(name, scope):
            scope.set.log.add("aecg.boundary-lead", roi)
    return replace(region, leads=tuple(leads)) if leads else region


def _has_channel(name: str, scope: _Scope) -> bool:
    """Whether a channel that is no lead has this name."""
    return any(scope.set.placed.tracings[index].row(name) is not None for index in scope.set.series.tracings)


def _absolute(node: Node, value: Node | None, scope: _Scope) -> Region:
    times = interval(value, scope.set.log)
    low, high, point = (_seconds(t, scope) for t in (times.low, times.high, times.point))
    if low is None and high is None and point is None:
        scope.set.log.add("aecg.boundary-time", node)
        return scope.region
    return _on_tracing(node, low, high, point, scope)


def _seconds(time: Moment | None, scope: _Scope) -> Fraction | None:
    if time is not None and time.hour is not None:
        scope.set.log.zones.add(time.zone is not None)
    return scope.set.placed.seconds(time) if time is not None else None


def _relative(node: Node, value: Node | None, scope: _Scope) -> Region:
    """Relative times: on the beat for a representative beat, from the start of the series for a rhythm."""
    low = high = point = None
    if value is not None:
        low, high = duration(value.take("low"), scope.set.log), duration(value.take("high"), scope.set.log)
        if low is None and high is None:
            point = duration(value.take("center") or value, scope.set.log)
    if low is None and high is None and point is None:
        scope.set.log.add("aecg.boundary-time", node)
        return scope.region
    for tracing in scope.set.series.tracings[:1]:
        zero = scope.set.placed.local[tracing] - scope.set.placed.tracings[tracing].start
        if zero:
            low, high, point = (t - zero if t is not None else None for t in (low, high, point))
    return _on_tracing(node, low, high, point, scope)


def _on_tracing(
    node: Node, low: Fraction | None, high: Fraction | None, point: Fraction | None, scope: _Scope
) -> Region:
    """The region on the tracing that holds its first instant; times in seconds from the recording's first sample."""
    at = next(t for t in (low, high, point) if t is not None)
    if low is not None and high is not None and high < low:
        scope.set.log.add("aecg.boundary-order", node)
    chosen = tracing_at(scope.set.placed.tracings, scope.set.placed.ends, scope.set.series.tracings, at)
    if chosen is None:
        return scope.region
    begin = scope.set.placed.tracings[chosen].start
    if not begin <= at <= scope.set.placed.ends[chosen]:
        scope.set.log.add("aecg.boundary-outside", node)
    if begin:
        low, high = (t - begin if t is not None else None for t in (low, high))
        at -= begin
    if low is None and high is None:
        return Region(chosen, at, None, "peak")
    if low is None or high is None:
        return Region(chosen, at, None, "start" if high is None else "end")
    return Region(chosen, low, None if high == low else high)


def tracing_at(
    tracings: Sequence[Tracing], ends: Sequence[Fraction], chosen: Sequence[int], at: Fraction
) -> int | None:
    """Which of the chosen tracings holds an instant: the first that spans it, else the nearest one."""
    best: tuple[Fraction, int] | None = None
    for index in chosen:
        start, end = tracings[index].start, ends[index]
        if start <= at < end:
            return index
        gap = max(start - at, at - end)
        if best is None or gap < best[0]:
            best = (gap, index)
    return best[1] if best else None
