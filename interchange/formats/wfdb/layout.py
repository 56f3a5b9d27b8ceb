"""Which tracing goes where: into the record itself, or into a further record that the first one names.

One record holds tracings whose rates are whole multiples of the slowest, each in its own span of samples; outside it
the signals are missing.  A representative beat, a tracing that starts between two samples, a rate that shares no frame
with the others, and a tracing that would make the record several times as long each become a record of their own.

Info strings of the first record say so in words::

    # Tracing 2 of 3: signals 13 to 14, samples 5000 to 19999
    # Tracing 3 of 3: record NAME_1f2e3d4c

Samples are counted from 0 in the signal's own rate; the tracing starts at the first of them.  The words are this
project's own; that signals are missing outside their time follows WPG.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Final

from interchange.model import Tracing
from interchange.records import NamedTuple

__all__ = ["Plan", "Slot", "Span", "is_layout", "layout_line", "plan", "record_line", "spans"]

_PADDING: Final = 3
_FREE: Final = 1 << 20
"""A record may grow by three times its true samples plus about a million missing ones before a tracing moves out."""

_LINE: Final = re.compile(
    r"Tracing (\d{1,6}) of (\d{1,6}): "
    r"(?:signals? (\d{1,6})(?: to (\d{1,6}))?, samples (\d{1,15}) to (-?\d{1,15})|record (\S+))",
    re.ASCII,
)


class Slot(NamedTuple):
    """A tracing inside the record: its number, samples per frame, and the sample at which it begins."""

    number: int
    frame: int
    first: int


class Plan(NamedTuple):
    """The record's frame rate (None without tracings), its tracings, and which have records of their own."""

    rate: Fraction | None
    slots: tuple[Slot, ...]
    others: tuple[int, ...]


class Span(NamedTuple):
    """One line of the layout as read: tracing ``number`` of ``total``, and signals and samples or a record's name."""

    number: int
    total: int
    signals: range
    samples: range
    record: str | None


def plan(tracings: Sequence[Tracing]) -> Plan:
    """Where each tracing goes."""
    inside: list[int] = []
    others: list[int] = []
    for index, tracing in enumerate(tracings):
        (inside if _fits([tracings[i] for i in inside], tracing) else others).append(index)
    if not inside and tracings:
        return Plan(tracings[0].rate, (Slot(0, 1, 0),), tuple(others[1:]))
    if not inside:
        return Plan(None, (), ())
    rate = min(tracings[i].rate for i in inside)
    slots = tuple(Slot(i, int(tracings[i].rate / rate), int(tracings[i].start * tracings[i].rate)) for i in inside)
    return Plan(rate, slots, tuple(others))


def _fits(inside: list[Tracing], tracing: Tracing) -> bool:
    """Whether the tracing can stand in one record with those that are inside already."""
    if (
        not tracing.channels
        or tracing.kind != "rhythm"
        or tracing.start < 0
        or (tracing.start * tracing.rate).denominator != 1
    ):
        return False
    every = [*inside, tracing]
    slowest = min(t.rate for t in every)
    if any((t.rate / slowest).denominator != 1 for t in every):
        return False
    if inside and not tracing.length:
        return False
    end = max(t.start + t.duration for t in every)
    true = sum(t.length * len(t.channels) for t in every)
    whole = sum(end * t.rate * len(t.channels) for t in every)
    return whole <= (1 + _PADDING) * true + _FREE


def layout_line(slot: Slot, count: int, signals: range, length: int) -> str:
    """The info string for a tracing in the record: ``signals`` counts from 0, ``length`` samples of each."""
    who = f"signal {signals.start + 1}" if len(signals) == 1 else f"signals {signals.start + 1} to {signals.stop}"
    return f"Tracing {slot.number + 1} of {count}: {who}, samples {slot.first} to {slot.first + length - 1}"


def record_line(index: int, count: int, name: str) -> str:
    """The info string for a tracing that is a record of its own."""
    return f"Tracing {index + 1} of {count}: record {name}"


def spans(texts: Iterable[str]) -> list[Span]:
    """The layout that info strings tell; empty unless they tell it once for every tracing."""
    found: dict[int, Span] = {}
    for text in texts:
        match = _LINE.fullmatch(text)
        if match is None:
            continue
        index, count = int(match[1]) - 1, int(match[2])
        low, high = int(match[3] or 1) - 1, int(match[4] or match[3] or 0)
        first, last = int(match[5] or 0), int(match[6] or -1)
        if index in found:
            return []
        found[index] = Span(index, count, range(low, high), range(first, last + 1), match[7])
    if (
        not found
        or sorted(found) != list(range(len(found)))
        or any(span.total != len(found) for span in found.values())
    ):
        return []
    return [found[index] for index in range(len(found))]


def is_layout(text: str) -> bool:
    """Whether the info string is a line of the layout."""
    return _LINE.fullmatch(text) is not None
