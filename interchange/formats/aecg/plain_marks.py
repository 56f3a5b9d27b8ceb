"""The short way to a mark: an annotation in the strict form, read straight from the parser's tree.

Documents hold marks by the hundred, nearly all of one form: a class of mark, which one of it, a region that is one
stretch or instant of time and perhaps leads.  Such a mark is taken here without nodes in between; one attribute or
element more, an unknown code, a unit that is no time, and the long way with its findings is gone instead
(:mod:`read_annotations`).  Tests compare both ways.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from interchange.formats.aecg.codes import CLASS_CODES, OWN, TIME_ABSOLUTE, TIME_RELATIVE
from interchange.formats.aecg.concepts import instants, lead_name, mark_concept
from interchange.formats.aecg.datatypes import Interval, plain_moment, seconds_from
from interchange.formats.aecg.markup import Node
from interchange.formats.aecg.read_marks import add_mark
from interchange.formats.aecg.read_series import lead_of
from interchange.formats.aecg.regions import absolute, has_channel, relative, with_leads
from interchange.formats.aecg.scope import XSI_TYPE, Scope

if TYPE_CHECKING:
    from lxml import etree

    from interchange.vocabulary import Concept

__all__ = ["add_plain_mark"]

RELATION: tuple[list[str], ...] = ([], ["typeCode"])
STRUCTURE = frozenset(["classCode", "moodCode"])
CODED = frozenset(["code", "codeSystem", "codeSystemName"])
VALUED = frozenset([XSI_TYPE, "code", "codeSystem", "codeSystemName", "displayName"])
BOUNDS = (["low", "high"], ["low"], ["high"], ["center"])

Bounds = tuple[Fraction | None, Fraction | None, Fraction | None] | Interval


class _Tags(NamedTuple):
    """Names of elements in the message's namespace."""

    annotation: tuple[str, ...]
    roi: tuple[str, ...]
    boundary: tuple[str, ...]
    code: str
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
    if (annotation.tag, code.tag, support.tag, kind.tag) != tags.annotation or roi.tag not in tags.roi:
        return False
    if outer.keys() not in RELATION or support.keys() not in RELATION or len(kind):
        return False
    if not STRUCTURE.issuperset(annotation.keys()) or not STRUCTURE.issuperset(roi.keys()):
        return False
    if not CODED.issuperset(kind.keys()):
        return False
    concept = _concept(code, values, tags)
    times: tuple[etree._Element, Bounds] | None = None
    leads: list[str] = []
    for part in parts:
        (boundary,) = part
        named = boundary[0] if len(boundary) else boundary
        if part.tag != tags.boundary[0] or boundary.tag != tags.boundary[1] or named.tag != tags.code or len(named):
            return False
        if part.keys() not in RELATION or not STRUCTURE.issuperset(boundary.keys()):
            return False
        given = dict(named.items())
        name = given.get("code", "")
        if not CODED.issuperset(given) or given.get("codeSystemName") == OWN:
            return False
        if len(boundary) == 1 and _is_lead(name, scope):
            leads.append(lead_name(name))
        elif len(boundary) == 2 and times is None:
            bounds = _bounds(name, boundary[1], tags)
            if bounds is None:
                return False
            times = boundary, bounds
        else:
            return False
    if concept is None or times is None:
        return False
    at, bounds = Node("boundary", {}, times[0]), times[1]
    region = absolute(at, bounds, scope) if isinstance(bounds, Interval) else relative(at, *bounds, scope)
    component.attributes.clear()
    inner = scope.inside(with_leads(region, leads), True)
    add_mark(component, instants().get((concept.id, region.part)) or concept.id, None, inner)
    return True


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
    names = [tags.bounds.get(str(bound.tag), "") for bound in value]
    if names not in BOUNDS:
        return None
    given = [dict(bound.items()) for bound in value]
    if any(len(bound) for bound in value):
        return None
    if name == TIME_RELATIVE:
        seconds = [
            seconds_from(entry.get("value", ""), entry.get("unit", "")) if len(entry) == 2 else None for entry in given
        ]
        if None in seconds:
            return None
        found = dict(zip(names, seconds, strict=True))
        return found.get("low"), found.get("high"), found.get("center")
    if name == TIME_ABSOLUTE:
        moments = [
            plain_moment(entry.get("value", "")) if entry.keys() <= {"value", "inclusive"} else None for entry in given
        ]
        if None in moments:
            return None
        times = dict(zip(names, moments, strict=True))
        return Interval(times.get("low"), times.get("high"), times.get("center"))
    return None


@lru_cache(maxsize=8)
def _tags(prefix: str) -> _Tags:
    return _Tags(
        tuple(prefix + name for name in ("annotation", "code", "support", "code")),
        (f"{prefix}supportingROI", f"{prefix}rOI"),
        (f"{prefix}component", f"{prefix}boundary"),
        f"{prefix}code",
        f"{prefix}value",
        {prefix + name: name for name in ("low", "high", "center")},
    )
