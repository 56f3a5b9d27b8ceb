"""The short way to a mark: an annotation in the strict form, read straight from the parser's tree.

Documents hold marks by the hundred, nearly all of one form: a class of mark, which one of it, a region that is one
stretch or instant of time and perhaps leads.  Such a mark is taken here without nodes in between; one attribute or
element more, an unknown code, a unit that is no time, and the long way with its findings is gone instead
(:mod:`read_annotations`).  Tests compare both ways.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from interchange.formats.aecg.codes import CLASS_CODES, OWN, TIME_ABSOLUTE, TIME_RELATIVE
from interchange.formats.aecg.concepts import instants, lead_name, mark_concept
from interchange.formats.aecg.datatypes import Interval, plain_moment, seconds_from
from interchange.formats.aecg.markup import Node
from interchange.formats.aecg.read_marks import add_mark
from interchange.formats.aecg.read_series import lead_of
from interchange.formats.aecg.regions import Bounds, has_channel, in_time, with_leads
from interchange.formats.aecg.scope import XSI_TYPE, Region, Scope
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from lxml import etree

    from interchange.model import Moment
    from interchange.vocabulary import Concept

__all__ = ["add_plain_mark"]

RELATION: tuple[list[str], ...] = ([], ["typeCode"])
STRUCTURE = frozenset(["classCode", "moodCode"])
CODED = frozenset(["code", "codeSystem", "codeSystemName"])
VALUED = frozenset([XSI_TYPE, "code", "codeSystem", "codeSystemName", "displayName"])
BOUNDS = (("low", "high"), ("low",), ("high",), ("center",))


class _Tags(NamedTuple):
    """Names of elements in the message's namespace."""

    annotation: tuple[str, ...]
    roi: tuple[str, ...]
    boundary: tuple[str, ...]
    value: str
    bounds: dict[str, str]


def add_plain_mark(component: Node, prefix: str, scope: Scope) -> bool:
    """Take the mark in a folded component of an annotation set; False, with nothing done, for anything else.

    ``prefix``: the message's namespace in braces, or nothing.
    """
    try:
        return not component.children and _add(component, _tags(prefix), scope)
    except ValueError:  # another number of children than the form has
        return False


def _add(component: Node, tags: _Tags, scope: Scope) -> bool:
    (annotation,) = outer = component.element
    code, *values, support = annotation
    (roi,) = support
    kind, *parts = roi
    if (annotation.tag, code.tag, support.tag, kind.tag) != tags.annotation or roi.tag not in tags.roi or len(kind):
        return False
    if outer.keys() not in RELATION or support.keys() not in RELATION or not CODED.issuperset(kind.keys()):
        return False
    if not STRUCTURE.issuperset(annotation.keys()) or not STRUCTURE.issuperset(roi.keys()):
        return False
    concept = _concept(code, values, tags)
    region = _region(parts, tags, scope) if concept is not None else None
    if concept is None or region is None:
        return False
    component.attributes.clear()
    add_mark(component, instants().get((concept.id, region.part)) or concept.id, None, scope.inside(region, True))
    return True


def _region(parts: list[etree._Element], tags: _Tags, scope: Scope) -> Region | None:
    """The region of one boundary in time and any number that name leads; nothing is noted before all are known."""
    times: tuple[etree._Element, Bounds] | None = None
    leads: list[str] = []
    for part in parts:
        (boundary,) = part
        named, *values = boundary
        given = dict(named.items())
        if (part.tag, boundary.tag, named.tag) != tags.boundary or len(named) or not CODED.issuperset(given):
            return None
        if part.keys() not in RELATION or not STRUCTURE.issuperset(boundary.keys()):
            return None
        name = given.get("code", "")
        bounds = _bounds(name, values[0], tags) if len(values) == 1 and times is None else None
        if bounds is not None:
            times = boundary, bounds
        elif not values and given.get("codeSystemName") != OWN and _is_lead(name, scope):
            leads.append(lead_name(name))
        else:
            return None
    if times is None:
        return None
    if len(leads) > 1 and len(scope.set.series.tracings) > 1:
        return None  # each lead may be on a tracing of its own
    return with_leads(in_time(Node("boundary", {}, times[0]), times[1], leads, scope), leads)


def _concept(code: etree._Element, values: list[etree._Element], tags: _Tags) -> Concept | None:
    """The concept of a class and a coded value, or of a code alone."""
    coded = dict(code.items())
    name = coded.get("code", "")
    if len(code) or not CODED.issuperset(coded) or (name.upper() in CLASS_CODES) is not bool(values):
        return None
    if not values:
        return mark_concept(name) if coded.get("codeSystemName") != OWN else None
    (value,) = values
    valued = dict(value.items())
    if value.tag != tags.value or len(value) or not VALUED.issuperset(valued):
        return None
    return mark_concept(valued.get("code", ""))


def _is_lead(name: str, scope: Scope) -> bool:
    """Whether a code is that of a lead that the series has."""
    return lead_of(name) is not None and not has_channel(name, scope) and has_channel(lead_name(name), scope)


def _bounds(name: str, value: etree._Element, tags: _Tags) -> Bounds | None:
    """The bounds or the center of a stretch of time."""
    if value.tag != tags.value or value.keys() != [XSI_TYPE]:
        return None
    given: dict[str, dict[str, str]] = {}
    for bound in value:
        at = tags.bounds.get(str(bound.tag))
        if at is None or len(bound):
            return None
        given[at] = dict(bound.items())
    if tuple(given) not in BOUNDS or len(given) != len(value):
        return None
    if name == TIME_RELATIVE:
        seconds = {at: _seconds(said) for at, said in given.items()}
        found = seconds.get("low"), seconds.get("high"), seconds.get("center")
        return None if None in seconds.values() else found
    if name == TIME_ABSOLUTE:
        moments = {at: _moment(said) for at, said in given.items()}
        times = Interval(moments.get("low"), moments.get("high"), moments.get("center"))
        return None if None in moments.values() else times
    return None


def _seconds(said: dict[str, str]) -> Fraction | None:
    return seconds_from(said.get("value", ""), said.get("unit", "")) if len(said) == 2 else None


def _moment(said: dict[str, str]) -> Moment | None:
    return plain_moment(said.get("value", "")) if said.keys() <= {"value", "inclusive"} else None


@lru_cache(maxsize=8)
def _tags(prefix: str) -> _Tags:
    return _Tags(
        tuple(prefix + name for name in ("annotation", "code", "support", "code")),
        (f"{prefix}supportingROI", f"{prefix}rOI"),
        (f"{prefix}component", f"{prefix}boundary", f"{prefix}code"),
        f"{prefix}value",
        {prefix + name: name for name in ("low", "high", "center")},
    )
