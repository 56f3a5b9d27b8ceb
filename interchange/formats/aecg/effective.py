"""Effective times: what of them the places of the samples do not say already.

The samples have the time that counts.  An effective time that begins or ends elsewhere is kept beside: that of the
message in the extras of the recording, that of a series among what was not read.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from interchange.formats.aecg.place import Placed, zoned
from interchange.formats.aecg.read_series import Series
from interchange.model import Moment

__all__ = ["effective_extras", "leave_effective"]

Bounds = tuple[frozenset[Fraction], frozenset[Fraction]]
"""Seconds at which samples begin, and at which they end: the last one, and one step behind it."""


def effective_extras(times: Sequence[Moment | None], placed: Placed) -> list[tuple[str, str]]:
    """Start and end of the message's effective time where the samples begin or end at another moment.

    ``times``: its low, its center or value, its high.
    """
    low, high = times[0] or times[1], times[2]
    starts, ends = _overall(placed)
    found: list[tuple[str, str]] = []
    if low is not None and placed.zero is not None and not _says(low, starts, placed):
        found.append(("aecg.effective-time", str(low)))
    if high is not None and not _says(high, ends, placed):
        found.append(("aecg.effective-end", str(high)))
    return found


def leave_effective(series: Sequence[Series], placed: Placed) -> None:
    """Give back to the unread what effective times of series say and the samples do not.

    The samples are those of the recording, of the series, and of the one that it was derived from.
    """
    overall = _overall(placed)
    for entry in series:
        if entry.effective_node is None:
            continue
        timed = entry.kind == "rhythm" or any(segment.head is not None for segment in entry.segments)
        own = entry.tracings if timed else []
        parent = series[entry.parent].tracings if entry.parent is not None else []
        among = (overall, _bounds(own, placed), _bounds(parent, placed))
        starts, ends = (frozenset[Fraction]().union(*(part[side] for part in among)) for side in (0, 1))
        times = entry.effective
        for name, time, known in (("low", times.low, starts), ("high", times.high, ends), ("", times.point, starts)):
            if time is not None and (not entry.tracings or not _says(time, known, placed)):
                part = entry.effective_node.find(name) or entry.effective_node
                part.used = False


def _overall(placed: Placed) -> Bounds:
    """Where the rhythms begin and end together, or all tracings where there is no rhythm."""
    rhythms = [at for at, tracing in enumerate(placed.tracings) if tracing.kind == "rhythm"]
    return _bounds(rhythms or list(range(len(placed.tracings))), placed)


def _bounds(tracings: Sequence[int], placed: Placed) -> Bounds:
    if not tracings:
        return frozenset(), frozenset()
    last = max(tracings, key=lambda at: placed.ends[at])
    end = placed.ends[last]
    starts = min(placed.tracings[at].start for at in tracings)
    return frozenset([starts]), frozenset([end, end - 1 / placed.tracings[last].rate])


def _says(time: Moment, known: frozenset[Fraction], placed: Placed) -> bool:
    """Whether a time is one of the known ones, or is less exact and does not contradict it."""
    if time == placed.zero and 0 in known:
        return True
    if time.is_instant:
        return placed.seconds(time) in known
    zero = placed.zero
    if zero is None or not zero.is_instant:
        return False
    moments = (zoned(zero, placed.zone).plus(seconds) for seconds in known)
    return any(_is_part(zoned(time, placed.zone), moment) for moment in moments)


def _is_part(time: Moment, whole: Moment) -> bool:
    """Whether each part that a less exact time has is the same in a moment."""
    names = ("year", "month", "day", "hour", "minute", "zone")
    return all(getattr(time, name) in (None, getattr(whole, name)) for name in names)
