"""Which leads, which seconds, in which arrangement: the sheet before anything has its place on paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction

from interchange.draw.columns import Stretch, System, laid_out
from interchange.draw.display import UNITS
from interchange.draw.leads import (
    CABRERA,
    STANDARD,
    Place,
    drawable,
    is_spike,
    main_group,
    place_for,
    sources_of,
    why_not_drawable,
)
from interchange.draw.matrix import SHAPES, Matrix
from interchange.draw.options import DrawOptions
from interchange.errors import UsageError
from interchange.model import Recording, Tracing
from interchange.records import dataclass
from interchange.show.layout import short

__all__ = ["Section", "planned", "spoken"]

SYSTEMS_PER_PAGE = 12
"""No page holds more."""
ROWS_PER_PAGE = 30
"""No page holds more: zero lines are at least 7 mm apart."""
BEAT_ROWS = 3
FULL_LIMB = 6
MOST_NAMES = 12


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """What belongs together on the sheet: the leads, one further tracing, one representative beat."""

    title: str
    systems: tuple[System, ...]
    notes: tuple[str, ...] = ()


def planned(recording: Recording, options: DrawOptions, width: int) -> tuple[Section, ...]:
    """The sections of a sheet whose rows may be ``width`` (hundredths of a millimetre) wide.

    Raises UsageError when there is nothing to draw or it would be far too much.
    """
    group = main_group(recording)
    sections = [_leads(recording, group, options, width)] if group else []
    for index, tracing in enumerate(recording.tracings):
        if index not in group:
            make = _rows if tracing.kind == "rhythm" else _beat
            sections.append(make(recording, (index,), options, width))
    found = tuple(section for section in sections if section.systems or section.notes)
    if not any(section.systems for section in found):
        raise UsageError("there is nothing to draw: no voltage in the chosen stretch of the recording")
    return found


def _leads(recording: Recording, group: Sequence[int], options: DrawOptions, width: int) -> Section:
    """The standard leads in their places, further leads of the same tracing after them."""
    places = [place_for(recording, name, group) for name in (CABRERA if options.cabrera else STANDARD)]
    there = {place.name for place in places if place.source}
    layout = options.layout
    if layout == "auto":
        layout = "3x4" if len(there) >= FULL_LIMB else "rows"
    if layout == "rows":
        return _rows(recording, group, options, width)
    spans = {index: _window(recording.tracings[index], options) for index in group}
    spans = {index: span for index, span in spans.items() if span[0] < span[1]}
    usable = [replace(p, source=None, words="no samples here") if _outside(p, spans) else p for p in places]
    extra = sources_of(recording, spans, [place.source for place in places if place.source])
    matrix = Matrix(*SHAPES[layout], spans, options.speed, width, options.most_pages * SYSTEMS_PER_PAGE)
    every = [*usable, *(Place(source.name, source) for source in extra)]
    systems, word = matrix.systems(every, _rhythm(recording, group, spans, options, matrix.columns > 1))
    title = _title(recording, group, spans.values())
    notes = [*filter(None, (word,)), *_turned(usable), *_remarks(recording, group)]
    return Section(title, _titled(systems, title), tuple(notes))


def _outside(place: Place, spans: dict[int, tuple[Fraction, Fraction]]) -> bool:
    return place.source is not None and place.source.index not in spans


def _rhythm(
    recording: Recording,
    group: Sequence[int],
    spans: dict[int, tuple[Fraction, Fraction]],
    options: DrawOptions,
    usual: bool,
) -> tuple[Place, ...]:
    """The rhythm rows: those asked for, else II or, where that is missing, V1."""
    wanted = options.rhythm if options.rhythm is not None else ("II", "V1") if usual else ()
    places = [place_for(recording, name, group) for name in wanted]
    there = [place for place in places if place.source and not _outside(place, spans)]
    if options.rhythm is None:
        return tuple(there[:1])
    if len(there) < len(wanted):
        raise UsageError("the tracing has no such lead that could be drawn", "--rhythm")
    return tuple(there)


def _rows(recording: Recording, group: Sequence[int], options: DrawOptions, width: int) -> Section:
    """Every channel in a row of its own, in as many systems as the length takes."""
    windows = [_window(recording.tracings[index], options) for index in group]
    begin, end = min(start for start, _ in windows), max(end for _, end in windows)
    sources = sources_of(recording, group)
    title = _title(recording, group, [(begin, end)])
    if begin >= end:
        return Section(title, ())
    if (end - begin) * options.speed * UNITS > width * options.most_pages * SYSTEMS_PER_PAGE:
        raise UsageError("the drawing would take too many pages; choose a stretch", "--start, --seconds")
    if len(sources) > options.most_pages * ROWS_PER_PAGE:
        raise UsageError("the drawing would take too many pages; choose fewer leads", "--leads")
    places = tuple(Place(source.name, source) for source in sources)
    systems = laid_out([Stretch(places, begin, end)], (), options.speed, width) if places else []
    return Section(title, _titled(systems, title), tuple(_remarks(recording, group)))


def _beat(recording: Recording, group: Sequence[int], options: DrawOptions, width: int) -> Section:
    """A representative beat: three rows, as many columns as there are leads, all of the same time."""
    tracing = recording.tracings[group[0]]
    places = [Place(source.name, source) for source in sources_of(recording, group)]
    stop = tracing.start + tracing.duration
    stretches = [
        Stretch(tuple(places[n : n + BEAT_ROWS]), tracing.start, stop) for n in range(0, len(places), BEAT_ROWS)
    ]
    systems = laid_out(stretches, (), options.speed, width, consecutive=False) if tracing.length else []
    title = _beat_title(tracing, group[0])
    return Section(title, _titled(systems, title), tuple(_remarks(recording, group)))


def _window(tracing: Tracing, options: DrawOptions) -> tuple[Fraction, Fraction]:
    """From when to when a tracing is drawn, on the recording's time; nothing where the end is not after the start."""
    begin, end = tracing.start, tracing.start + tracing.duration
    if options.start is not None:
        begin = max(begin, options.start)
    if options.seconds is not None:
        end = min(end, (options.start or Fraction(0)) + options.seconds)
    if options.at_most is not None:
        end = min(end, begin + options.at_most)
    return begin, max(end, begin)


def _titled(systems: Sequence[System], title: str) -> tuple[System, ...]:
    """The first system bears the title, the others say from when they go on."""
    return tuple(
        replace(system, title=title if number == 0 else f"continued, from {spoken(system.columns[0].start)} s")
        for number, system in enumerate(systems)
    )


def _title(recording: Recording, group: Sequence[int], spans: Iterable[tuple[Fraction, Fraction]]) -> str:
    tracings = [recording.tracings[index] for index in group]
    numbers = ", ".join(str(index + 1) for index in group)
    many = f" of {len(recording.tracings)}" if len(recording.tracings) > 1 else ""
    label = next((f", {short(tracing.label, 160)}" for tracing in tracings if tracing.label), "")
    rates = " and ".join(dict.fromkeys(spoken(tracing.rate) for tracing in tracings))
    windows = list(spans)
    begin = min((start for start, _ in windows), default=Fraction(0))
    end = max((stop for _, stop in windows), default=Fraction(0))
    last = max(tracing.start + tracing.duration for tracing in tracings)
    until = "" if end == last else f" (recorded until {spoken(last)} s)"
    word = "Tracing" if len(group) == 1 else "Tracings"
    return f"{word} {numbers}{many}: {spoken(begin)} s to {spoken(end)} s{until}, {rates} samples/s{label}"


def _beat_title(tracing: Tracing, index: int) -> str:
    of = f" of tracing {tracing.of + 1}" if tracing.of is not None else ""
    kind = f", beat type {tracing.beat}" if tracing.beat is not None else ""
    label = f", {short(tracing.label, 160)}" if tracing.label else ""
    return f"Tracing {index + 1}: representative beat{of}{kind}, {spoken(tracing.rate)} samples/s{label}"


def _turned(places: Iterable[Place]) -> list[str]:
    found = [place.source for place in places if place.source and place.source.sign < 0]
    return [f"{source.name} is the recorded {source.channel.name} with its sign turned." for source in found]


def _remarks(recording: Recording, group: Sequence[int]) -> list[str]:
    """What has to be said about these tracings: channels that cannot be drawn to scale, marked pacing spikes."""
    spikes = any(mark.tracing in group and is_spike(mark) for mark in recording.marks)
    found = _left_out(recording, group)
    return [*found, "Ticks below a line: pacing spikes that the file marks."] if spikes else found


def _left_out(recording: Recording, group: Iterable[int]) -> list[str]:
    names = [
        f"{channel.name} ({why_not_drawable(channel)})"
        for index in group
        for channel in recording.tracings[index].channels
        if not drawable(channel)
    ]
    more = f" and {len(names) - MOST_NAMES} more" if len(names) > MOST_NAMES else ""
    return [f"Not drawn: {', '.join(names[:MOST_NAMES])}{more}."] if names else []


def spoken(value: Fraction) -> str:
    """A number of seconds or samples for people, at most three decimals."""
    if value.denominator == 1:
        return str(value.numerator)
    return f"{float(value):.3f}".rstrip("0").rstrip(".")
