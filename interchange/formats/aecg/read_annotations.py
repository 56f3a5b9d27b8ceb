"""Annotation sets: measurements, marks and statements, with their place in time and their lead.

A measurement that stands inside a beat or another mark, or in a region of time of its own, belongs to that place and
becomes part of a mark; all others are measurements of the recording or of a lead.  The lead is said in one of three
ways: at the end of the code, by a boundary of the region, or by an annotation around it whose code is the lead.
"""

from __future__ import annotations

from interchange.formats.aecg.codes import CLASS_CODES, INTERPRETATION, OWN, STATEMENTS
from interchange.formats.aecg.concepts import lead_name, mark_concept
from interchange.formats.aecg.datatypes import code_of, code_text, interval
from interchange.formats.aecg.limits import MAX_NESTING
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import Node, place_of
from interchange.formats.aecg.place import Placed
from interchange.formats.aecg.plain_marks import add_plain_mark
from interchange.formats.aecg.read_header import Author, read_author
from interchange.formats.aecg.read_marks import plain_mark, read_mark
from interchange.formats.aecg.read_measurements import read_measurement
from interchange.formats.aecg.read_series import Series, lead_of
from interchange.formats.aecg.read_statements import read_interpretation
from interchange.formats.aecg.regions import region_of
from interchange.formats.aecg.scope import XSI_TYPE, AnnotationSet, Content, Scope
from interchange.model import Extras, Moment, Unread

__all__ = ["read_annotations"]


def read_annotations(series: Series, placed: Placed, content: Content, log: Log, beat: int | None) -> None:
    """Read the annotation sets of one series; ``beat``: number of the beat type that it shows, None for a rhythm."""
    zero = placed.series_zero(series)
    for outer in series.node.takes("subjectOf"):
        node = outer.take("annotationSet")
        if node is None:
            continue
        group = _group(node, log)
        stamp = node.take_any("activityTime", "activityType")
        when = _when(stamp, log)
        author = _author(node, log)
        made = _made(author, when)
        scope = Scope(AnnotationSet(series, placed, content, log, group, author, when, beat, zero, made))
        before = len(content.statements)
        prefix = f"{{{node.namespace}}}" if node.namespace else ""
        for component in node.takes("component"):
            if add_plain_mark(component, prefix, scope):
                continue
            component.unfold()
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


def _annotation(node: Node, scope: Scope) -> None:
    """Read one annotation and those inside it, in the order of the document."""
    code_node = node.take("code")
    own = code_node is not None and code_node.attributes.get("codeSystemName") == OWN
    full = code_of(code_node, scope.set.log)
    text = full.value or "" if full else ""
    upper = text.upper()
    if upper in STATEMENTS:  # they have no region in the model: that of a statement stays unread
        read_interpretation(node, upper, scope.inside(scope.region, False), _annotation)
        return
    support = node.find("support")
    own_region = support is not None
    region = region_of(node, scope)
    inner = scope.inside(region, own_region)
    if upper == INTERPRETATION:
        before = len(scope.set.content.statements)
        read_interpretation(node, upper, inner, _annotation)
        if support is not None and len(scope.set.content.statements) > before:
            support.used = False
        return
    value = node.take("value")
    kind = (value.get(XSI_TYPE) or "").rsplit(":", 1)[-1].upper() if value else ""
    coded = value.attributes.get("code", "").strip() if value else ""
    if upper in CLASS_CODES or (not own and mark_concept(text) and not _is_number(value)):
        read_mark(node, upper, full, value, coded, inner)
    elif lead_of(text) is not None and not own and value is None and node.find("component") is not None:
        inner.lead = lead_name(text)
    elif upper == "MDC_ECG_LEAD" and coded and lead_of(coded) is not None:
        inner.lead = lead_name(code_text(value))
    elif own and scope.mark is None and own_region and region.start is not None:
        plain_mark(node, text, full, value, inner)
    else:
        read_measurement(node, text, full, value, kind, own, inner)
    _children(node, inner)


def _children(node: Node, scope: Scope) -> None:
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
