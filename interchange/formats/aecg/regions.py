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
from interchange.model import Moment, Tracing

__all__ = ["absolute", "has_channel", "region_of", "relative", "tracing_at", "with_leads"]


def region_of(node: Node, scope: Scope) -> Region:
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
            region = absolute(boundary, interval(value, scope.set.log), scope)
        elif text == TIME_RELATIVE:
            region = relative(boundary, *_durations(value, scope), scope)
        elif has_channel(name, scope) or lead_of(name) is not None or (code is not None and code.scheme == OWN):
            leads.append(name if has_channel(name, scope) else lead_name(name))
            if value is not None:
                value.used = False
        else:
            boundary.used = component.used = False
    for name in leads:
        if not has_channel(name, scope):
            scope.set.log.add("aecg.boundary-lead", roi)
    return with_leads(region, leads)


def with_leads(region: Region, leads: list[str]) -> Region:
    """The region in these leads; the region itself where none is named."""
    return region._replace(leads=tuple(leads)) if leads else region


def has_channel(name: str, scope: Scope) -> bool:
    """Whether a channel that is no lead has this name."""
    return any(scope.set.placed.tracings[index].row(name) is not None for index in scope.set.series.tracings)


def absolute(node: Node, times: Interval, scope: Scope) -> Region:
    """The region of calendar times, said by the boundary ``node``."""
    low, high, point = (_seconds(t, scope) for t in (times.low, times.high, times.point))
    if low is None and high is None and point is None:
        scope.set.log.add("aecg.boundary-time", node)
        return scope.region
    return _on_tracing(node, low, high, point, scope)


def _seconds(time: Moment | None, scope: Scope) -> Fraction | None:
    if time is not None and time.hour is not None:
        scope.set.log.zones.add(time.zone is not None)
    return scope.set.placed.seconds(time) if time is not None else None


def _durations(value: Node | None, scope: Scope) -> tuple[Fraction | None, Fraction | None, Fraction | None]:
    """Bounds, or a center or single value, in seconds."""
    low = high = point = None
    if value is not None:
        low, high = duration(value.take("low"), scope.set.log), duration(value.take("high"), scope.set.log)
        if low is None and high is None:
            point = duration(value.take("center") or value, scope.set.log)
    return low, high, point


def relative(node: Node, low: Fraction | None, high: Fraction | None, point: Fraction | None, scope: Scope) -> Region:
    """The region of relative times: on the beat for a representative beat, from the series' start for a rhythm."""
    if low is None and high is None and point is None:
        scope.set.log.add("aecg.boundary-time", node)
        return scope.region
    zero = scope.set.zero
    if zero:
        low, high, point = (t - zero if t is not None else None for t in (low, high, point))
    return _on_tracing(node, low, high, point, scope)


def _on_tracing(
    node: Node, low: Fraction | None, high: Fraction | None, point: Fraction | None, scope: Scope
) -> Region:
    """The region on the tracing that holds its first instant; times in seconds from the recording's first sample."""
    at = low if low is not None else high if high is not None else point
    assert at is not None
    if low is not None and high is not None and high < low:
        scope.set.log.add("aecg.boundary-order", node)
    chosen = tracing_at(scope.set.placed.tracings, scope.set.placed.ends, scope.set.series.tracings, at)
    if chosen is None:
        return scope.region
    begin = scope.set.placed.tracings[chosen].start
    if at < begin or at > scope.set.placed.ends[chosen]:
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
