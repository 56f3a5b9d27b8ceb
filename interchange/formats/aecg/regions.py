"""Regions of interest: where an annotation holds, in time and in leads."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from interchange.formats.aecg.codes import OWN, TIME_ABSOLUTE, TIME_RELATIVE
from interchange.formats.aecg.concepts import lead_name
from interchange.formats.aecg.datatypes import Interval, code_of, code_text, duration, interval
from interchange.formats.aecg.markup import Node
from interchange.formats.aecg.read_series import lead_of
from interchange.formats.aecg.scope import XSI_TYPE, Region, Scope
from interchange.model import Moment

__all__ = ["Bounds", "has_channel", "home_of", "in_time", "region_of", "with_leads"]

Bounds = tuple[Fraction | None, Fraction | None, Fraction | None] | Interval
"""Low, high and a single instant: seconds in relative time, or moments."""


def region_of(node: Node, scope: Scope) -> Region:
    """The region of an annotation; that of the annotation around it where it has none of its own."""
    support = node.take("support")
    roi = support.take_any("supportingROI", "rOI") if support else None
    if roi is None:
        return scope.region
    code_text(roi.take("code"))
    leads: list[str] = []
    times: tuple[Node, Bounds] | None = None
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
        if text in (TIME_ABSOLUTE, TIME_RELATIVE) and times is not None:
            scope.set.log.add("aecg.boundary-repeated", boundary)
            boundary.used = False
        elif text == TIME_ABSOLUTE:
            times = boundary, interval(value, scope.set.log)
        elif text == TIME_RELATIVE:
            times = boundary, _durations(value, scope)
        elif has_channel(name, scope) or lead_of(name) is not None or (code is not None and code.scheme == OWN):
            leads.append(name if has_channel(name, scope) else lead_name(name))
            if value is not None:
                value.used = False
        else:
            boundary.used = component.used = False
    region = in_time(*times, leads, scope) if times is not None else scope.region
    for name in leads:
        if not has_channel(name, scope):
            scope.set.log.add("aecg.boundary-lead", roi)
    return with_leads(region, leads)


def with_leads(region: Region, leads: list[str]) -> Region:
    """The region in these leads; the region itself where none is named."""
    return region._replace(leads=tuple(leads)) if leads else region


def has_channel(name: str, scope: Scope) -> bool:
    """Whether a channel that is no lead has this name."""
    return scope.set.placed.has(scope.set.series.tracings, name)


def in_time(node: Node, bounds: Bounds, leads: Sequence[str], scope: Scope) -> Region:
    """The region of the times that the boundary ``node`` says, on a tracing with ``leads``.

    Relative times count from the start of the beat for a representative beat, from that of the series for a rhythm.
    """
    if isinstance(bounds, Interval):
        low, high, point = (_seconds(time, scope) for time in (bounds.low, bounds.high, bounds.point))
    else:
        zero = scope.set.zero
        low, high, point = bounds if not zero else (t - zero if t is not None else None for t in bounds)
    if low is None and high is None and point is None:
        scope.set.log.add("aecg.boundary-time", node)
        return scope.region
    return _on_tracing(node, low, high, point, leads, scope)


def _seconds(time: Moment | None, scope: Scope) -> Fraction | None:
    if time is not None and time.hour is not None:
        scope.set.log.zones.add(time.zone is not None)
    return scope.set.placed.seconds(time) if time is not None else None


def _durations(value: Node | None, scope: Scope) -> tuple[Fraction | None, Fraction | None, Fraction | None]:
    """Bounds, or a center or single value, in seconds; a width makes the bound that is missing."""
    if value is None:
        return None, None, None
    log = scope.set.log
    low, high = duration(value.take("low"), log), duration(value.take("high"), log)
    point = duration(value.take("center") or value, log) if low is None and high is None else None
    width = value.find("width")
    length = duration(width, log) if width is not None and (low is None or high is None) else None
    if width is None or length is None:
        return low, high, point
    width.used = low is not None or high is not None or point is not None
    if low is not None:
        return low, low + length, None
    if high is not None:
        return high - length, high, None
    return (point - length / 2, point + length / 2, None) if point is not None else (None, None, None)


def _on_tracing(
    node: Node,
    low: Fraction | None,
    high: Fraction | None,
    point: Fraction | None,
    leads: Sequence[str],
    scope: Scope,
) -> Region:
    """The region on the tracing that has its leads and holds its first instant.

    Times are in seconds from the recording's first sample.
    """
    at = low if low is not None else high if high is not None else point
    assert at is not None
    if low is not None and high is not None and high < low:
        scope.set.log.add("aecg.boundary-order", node)
    placed, among = scope.set.placed, scope.set.series.tracings
    if len(among) == 1:
        chosen: int | None = among[0]
    else:
        chosen = placed.line(among, leads or ((scope.lead,) if scope.lead is not None else ())).at(at)
    if chosen is None:
        return scope.region
    begin = placed.tracings[chosen].start
    if at < begin or at > placed.ends[chosen]:
        scope.set.log.add("aecg.boundary-outside", node)
    if begin:
        low, high = (t - begin if t is not None else None for t in (low, high))
        at -= begin
    if low is None and high is None:
        return Region(chosen, at, None, "peak")
    if low is None or high is None:
        return Region(chosen, at, None, "start" if high is None else "end")
    return Region(chosen, low, None if high == low else high)


def home_of(tracing: int, lead: str | None, scope: Scope) -> int:
    """The tracing for one lead of a region that begins on ``tracing``: that one, unless only others have the lead."""
    placed, among = scope.set.placed, scope.set.series.tracings
    if lead is None or len(among) < 2 or lead in placed.names[tracing]:
        return tracing
    if not placed.has(among, lead):
        return tracing
    others = placed.line(among, (lead,))
    start = scope.region.start
    found = others.at(start + placed.tracings[tracing].start if start is not None else others.starts[0])
    return found if found is not None else tracing
