"""Regions of interest: where an annotation holds, in time and in leads."""

from __future__ import annotations

from collections.abc import Sequence, Set
from fractions import Fraction

from interchange.formats.aecg.codes import OWN, TIME_ABSOLUTE, TIME_RELATIVE
from interchange.formats.aecg.concepts import lead_name
from interchange.formats.aecg.datatypes import Interval, code_of, code_text, duration, interval
from interchange.formats.aecg.markup import Node
from interchange.formats.aecg.read_series import lead_of
from interchange.formats.aecg.scope import XSI_TYPE, Region, Scope
from interchange.model import Moment, Tracing

__all__ = ["Bounds", "has_channel", "holding", "home_of", "in_time", "region_of", "tracing_at", "with_leads"]

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
    names = scope.set.placed.names
    return any(name in names[index] for index in scope.set.series.tracings)


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
    names = leads or ((scope.lead,) if scope.lead is not None else ())
    chosen = tracing_at(placed.tracings, placed.ends, holding(placed.names, among, names), at)
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


def holding(names: Sequence[Set[str]], among: Sequence[int], leads: Sequence[str]) -> Sequence[int]:
    """Those of the tracings that have the most of the leads; ``names``: the leads of every tracing."""
    if len(among) < 2 or not leads:
        return among
    found = {index: sum(lead in names[index] for lead in leads) for index in among}
    most = max(found.values())
    return [index for index in among if found[index] == most]


def home_of(tracing: int, lead: str | None, scope: Scope) -> int:
    """The tracing for one lead of a region that begins on ``tracing``: that one, unless only others have the lead."""
    placed, among = scope.set.placed, scope.set.series.tracings
    if lead is None or len(among) < 2 or lead in placed.names[tracing]:
        return tracing
    others = [index for index in among if lead in placed.names[index]]
    if not others:
        return tracing
    start = scope.region.start
    at = start + placed.tracings[tracing].start if start is not None else placed.tracings[others[0]].start
    found = tracing_at(placed.tracings, placed.ends, others, at)
    return found if found is not None else tracing


def tracing_at(
    tracings: Sequence[Tracing], ends: Sequence[Fraction], chosen: Sequence[int], at: Fraction
) -> int | None:
    """Which of the chosen tracings holds an instant: the first that spans it, else the nearest one."""
    if len(chosen) == 1:
        return chosen[0]
    best: tuple[Fraction, int] | None = None
    for index in chosen:
        start, end = tracings[index].start, ends[index]
        if start <= at < end:
            return index
        gap = max(start - at, at - end)
        if best is None or gap < best[0]:
            best = (gap, index)
    return best[1] if best else None
