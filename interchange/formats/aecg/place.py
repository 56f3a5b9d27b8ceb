"""From segments to tracings: where each begins, and which segments are pieces of one tracing with gaps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import field, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from interchange.formats.aecg.limits import MAX_GAP_FACTOR, MAX_GAP_FLOOR
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.read_series import Row, Segment, Series
from interchange.formats.aecg.timeline import TimeLine, holding, timeline
from interchange.model import Moment, Tracing
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Placed", "placed"]


@dataclass(slots=True)
class Placed:
    """The tracings of a document, and what annotations need to find their place on them.

    ``zero``: moment of the recording's first sample, as far as it is known.  ``zone``: the zone that stands for times
    without one.  ``local``: per tracing, seconds of the first sample in the series' own relative time.
    ``ends``: per tracing, seconds from the recording's first sample to its end.  ``names``: per tracing, its channels.
    ``lines``, ``unions``: time lines by the first tracing of a series and a lead, and the channels of a series, made
    when they are needed.
    """

    tracings: list[Tracing]
    zero: Moment | None
    zone: int | None
    local: list[Fraction]
    ends: list[Fraction]
    names: list[frozenset[str]]
    lines: dict[tuple[int, str], TimeLine] = field(default_factory=dict)
    unions: dict[int, frozenset[str]] = field(default_factory=dict)

    def has(self, among: Sequence[int], name: str) -> bool:
        """Whether any tracing of a series has a channel of this name."""
        found = self.unions.get(among[0])
        if found is None:
            found = self.unions[among[0]] = frozenset[str]().union(*(self.names[index] for index in among))
        return name in found

    def line(self, among: Sequence[int], leads: Sequence[str]) -> TimeLine:
        """The time line of those tracings of a series that have the most of the leads."""
        if len(leads) > 1:
            return timeline(self.tracings, self.ends, holding(self.names, among, leads))
        leads = leads if leads and self.has(among, leads[0]) else ()
        key = among[0], leads[0] if leads else ""
        found = self.lines.get(key)
        if found is None:
            found = self.lines[key] = timeline(self.tracings, self.ends, holding(self.names, among, leads))
        return found

    def seconds(self, time: Moment) -> Fraction | None:
        """Seconds from the recording's first sample to a moment; None where that cannot be said."""
        return zoned(time, self.zone).minus(zoned(self.zero, self.zone)) if self.zero is not None else None

    def series_zero(self, entry: Series) -> Fraction:
        """What the own relative time of a series is at the recording's first sample.

        The relative time of a rhythm counts from the earliest effective time of its series (HL7 Terminology,
        TIME_RELATIVE), or from its earliest sample where no such instant is known; that of a beat from its own start.
        """
        low = entry.effective.low
        ahead = self.seconds(low) if entry.kind == "rhythm" and low is not None and low.is_instant else None
        if ahead is not None:
            return -ahead
        earliest = min(entry.tracings, key=lambda index: self.tracings[index].start)
        return self.local[earliest] - self.tracings[earliest].start


@dataclass(slots=True, eq=False)
class _Piece:
    """Segments that make one tracing.

    ``starts``: their first samples in it; ``rows``: its leads in order; ``given``: number of samples present;
    ``keys``: what tells the leads apart, made when a second segment comes.
    """

    segments: list[Segment]
    starts: list[int]
    length: int
    rows: list[Row]
    given: int
    keys: dict[tuple[Any, ...], Row] = field(default_factory=dict)

    @property
    def end(self) -> int:
        """The sample behind the last segment."""
        return self.starts[-1] + self.segments[-1].length

    def keyed(self) -> dict[tuple[Any, ...], Row]:
        """The leads by their keys; fewer than the leads where two cannot be told apart."""
        if not self.keys:
            self.keys = {_key(row): row for row in self.rows}
        return self.keys


def zoned(time: Moment, zone: int | None) -> Moment:
    """The moment in ``zone`` where it names none itself."""
    return replace(time, zone=zone) if time.zone is None and zone is not None and time.hour is not None else time


def placed(series: list[Series], document: Iterable[Moment | None], log: Log) -> Placed:
    """All segments as tracings; ``document``: what the message says of its time, best first."""
    zone = _zone(series, document)
    log.zones.update(t.zone is not None for t in _times(series) if t.hour is not None)
    rhythms = [(s, entry) for entry in series if entry.kind == "rhythm" for s in entry.segments]
    heads = [_absolute(s, entry, zone) for s, entry in rhythms]
    known = [
        head.plus(-_lead(s)) if _lead(s) else head
        for (s, _), head in zip(rhythms, heads, strict=True)
        if head is not None and head.is_instant
    ]
    relative = [s.relative - _lead(s) for s, _ in rhythms if s.relative is not None]
    zero = _earliest(known)
    found = Placed([], zero, zone, [], [], [])
    first = min(relative) if relative and zero is None else Fraction(0)
    numbers: list[int | None] = []
    for kind in ("rhythm", "representative beat"):
        for entry in series:
            if entry.kind == kind:
                of = _of(entry, series)
                _check_times(entry, zone, log)
                for piece in _pieces(entry, zone, log):
                    lead = piece.starts[0] * piece.segments[0].step
                    start = _start(piece.segments[0], entry, zero, zone, first, log) - lead
                    entry.tracings.append(len(found.tracings))
                    found.tracings.append(_tracing(piece, entry, start, of, rank(entry, series)))
                    found.local.append((piece.segments[0].relative or Fraction(0)) - lead)
                    note = piece.segments[0].controls.segment
                    numbers.append(note.tracing if note is not None else None)
    _in_noted_order(found, series, numbers)
    found.ends = [tracing.start + tracing.duration for tracing in found.tracings]
    found.names = [frozenset(tracing.names) for tracing in found.tracings]
    if zero is None:
        found.zero = next((h for h in (*heads, *_lows(series), *document) if h is not None), None)
    return found


def _in_noted_order(found: Placed, series: list[Series], numbers: list[int | None]) -> None:
    """Put the tracings in the order of the writer's numbers, where all have one."""
    known = [number for number in numbers if number is not None]
    if len(known) < len(numbers) or known == sorted(known):
        return
    order = sorted(range(len(known)), key=lambda at: known[at])
    new = {old: at for at, old in enumerate(order)}
    moved = [found.tracings[old] for old in order]
    found.tracings = [replace(t, of=new[t.of]) if t.of is not None else t for t in moved]
    found.local = [found.local[old] for old in order]
    for entry in series:
        entry.tracings = [new[at] for at in entry.tracings]


def rank(entry: Series, series: list[Series]) -> int:
    """Which of the rhythm series this is, 0 for the first."""
    return [other for other in series if other.kind == "rhythm"].index(entry) if entry.kind == "rhythm" else 0


def _check_times(entry: Series, zone: int | None, log: Log) -> None:
    """Findings on the effective time of a series against its samples, and on the kind of time of a beat."""
    if entry.kind != "rhythm":
        if any(segment.head is not None for segment in entry.segments):
            log.add("aecg.beat-time", entry.node)
        return
    low, high = (zoned(t, zone) if t is not None else None for t in (entry.effective.low, entry.effective.high))
    for segment in entry.segments:
        head = _absolute(segment, entry, zone) if segment.head is not None else None
        if head is None or not head.is_instant:
            continue
        early = head.minus(low) if low is not None else None
        late = high.minus(head) if high is not None else None
        if (early is not None and early < 0) or (late is not None and late < (segment.length - 1) * segment.step):
            log.add("aecg.effective-time", segment.node)


def _of(entry: Series, series: list[Series]) -> int | None:
    """The rhythm tracing that a series was derived from: the first of its parent series."""
    while entry.parent is not None:
        entry = series[entry.parent]
        if entry.kind == "rhythm" and entry.tracings:
            return entry.tracings[0]
    return None


def _lead(segment: Segment) -> Fraction:
    """Seconds of the tracing that lie before a segment, by the writer's note."""
    note = segment.controls.segment
    return note.first * segment.step if note is not None else Fraction(0)


def _times(series: list[Series]) -> list[Moment]:
    """Every time that places samples."""
    heads = [segment.head for entry in series for segment in entry.segments]
    return [time for time in (*heads, *_lows(series)) if time is not None]


def _lows(series: list[Series]) -> list[Moment | None]:
    return [entry.effective.low or entry.effective.point for entry in series if entry.kind == "rhythm"]


def _zone(series: list[Series], document: Iterable[Moment | None]) -> int | None:
    """The first zone that any time of the samples names."""
    return next((t.zone for t in (*_times(series), *document) if t is not None and t.zone is not None), None)


def _earliest(moments: list[Moment]) -> Moment | None:
    earliest: Moment | None = None
    for time in moments:
        ahead = time.minus(earliest) if earliest is not None else None
        if earliest is None or (ahead is not None and ahead < 0):
            earliest = time
    return earliest


def _absolute(segment: Segment, series: Series, zone: int | None) -> Moment | None:
    """The moment of a segment's first sample, from its head or from the effective time of the series."""
    if segment.head is not None:
        return zoned(segment.head, zone)
    low = series.effective.low or series.effective.point
    if low is None or not low.is_instant:
        return None
    return zoned(low, zone).plus(segment.relative or Fraction(0))


def _start(
    segment: Segment, series: Series, zero: Moment | None, zone: int | None, first: Fraction, log: Log
) -> Fraction:
    """Seconds from the recording's first sample to that of the segment."""
    if series.kind != "rhythm" and segment.head is None:
        return Fraction(0)
    head = _absolute(segment, series, zone)
    if head is not None and zero is not None:
        seconds = head.minus(zero)
        if seconds is not None:
            return seconds
    if zero is None and segment.relative is not None:
        return segment.relative - first
    if len(series.segments) > 1:
        log.add("aecg.start-unknown", segment.node)
    return Fraction(0)


# Joining -----------------------------------------------------------------------------------------------------------


def _pieces(series: Series, zone: int | None, log: Log) -> list[_Piece]:
    """The segments of a series grouped to tracings, in order."""
    pieces: list[_Piece] = []
    noted: dict[int, _Piece] = {}
    for segment in series.segments:
        note = segment.controls.segment
        home = noted.get(note.tracing) if note is not None else pieces[-1] if pieces else None
        if home is not None and _join(home, segment, series, zone):
            continue
        if home is not None and not _is_apart(home, segment):
            log.add("aecg.sets-not-joined", segment.node)
        pieces.append(_piece(segment))
        if note is not None:
            noted[note.tracing] = pieces[-1]
    return pieces


def _piece(segment: Segment) -> _Piece:
    """A tracing that begins with this segment, as long as was noted where the samples present justify that."""
    rows = [*segment.rows, *segment.absent]
    given = sum(row.samples.size for row in segment.rows)
    note = segment.controls.segment
    first, length = (note.first, max(note.length, note.first + segment.length)) if note else (0, segment.length)
    if not _fits(length, len(rows), given):
        first, length = 0, segment.length
    return _Piece([segment], [first], length, rows, given)


def _fits(length: int, leads: int, given: int) -> bool:
    return length * leads <= MAX_GAP_FLOOR + MAX_GAP_FACTOR * given


def _key(row: Row) -> tuple[Any, ...]:
    """What must be the same for a lead to go on in a later set."""
    channel = row.channel
    return (
        row.code.upper(),
        channel.name,
        channel.step,
        channel.offset,
        channel.unit,
        channel.filters,
        channel.skew,
        row.row,
    )


def _is_apart(home: _Piece, segment: Segment) -> bool:
    """Whether two segments share no lead, or differ in rate: then they are tracings of their own by nature."""
    names = {row.channel.name for row in home.rows}
    return segment.step != home.segments[0].step or not names & {row.channel.name for row in segment.rows}


def _join(home: _Piece, segment: Segment, series: Series, zone: int | None) -> bool:
    """Add a later segment to a tracing when its leads, rate and time fit; whether it was added."""
    first = home.segments[0]
    note = segment.controls.segment
    if segment.step != first.step:
        return False
    leads, known = {_key(row): row for row in segment.rows}, home.keyed()
    new = {key: row for key, row in leads.items() if key not in known}
    if (new and note is None) or len(known) < len(home.rows) or len(leads) < len(segment.rows):
        return False
    begin = note.first if note is not None else _offset(first, segment, series, zone, home.starts[0])
    if begin is None or begin < home.end:
        return False
    length = max(home.length, begin + segment.length)
    given = home.given + sum(row.samples.size for row in segment.rows)
    if not _fits(length, len(home.rows) + len(new), given):
        return False
    home.segments.append(segment)
    home.starts.append(begin)
    home.length, home.given = length, given
    home.rows.extend(new.values())
    known.update(new)
    return True


def _offset(first: Segment, segment: Segment, series: Series, zone: int | None, start: int) -> int | None:
    """Samples from the tracing's first to the segment's, None when it lies between two samples or cannot be said."""
    a, b = _absolute(first, series, zone), _absolute(segment, series, zone)
    seconds = b.minus(a) if a is not None and b is not None else None
    if seconds is None and first.relative is not None and segment.relative is not None:
        seconds = segment.relative - first.relative
    if seconds is None:
        return None
    samples = seconds / segment.step
    return int(samples) + start if samples.denominator == 1 else None


# Building ----------------------------------------------------------------------------------------------------------


def _tracing(piece: _Piece, series: Series, start: Fraction, of: int | None, rank: int) -> Tracing:
    rows = piece.rows
    rows.sort(key=lambda row: row.row if row.row is not None else -1)
    extras = [("aecg.series", str(rank))] if rank else []
    if series.id is not None:
        extras.append(("aecg.series-id", _id_text(series)))
    samples, missing = _stacked(rows, piece)
    return Tracing(
        tuple(row.channel for row in rows),
        samples,
        1 / piece.segments[0].step,
        missing,
        start,
        series.kind,
        of=of,
        extras=tuple(extras),
    )


def _id_text(series: Series) -> str:
    id = series.id
    return f"{id.issuer}^{id.value}" if id and id.issuer else id.value if id else ""


def _stacked(rows: list[Row], piece: _Piece) -> tuple[NDArray[Any], NDArray[Any] | None]:
    """Samples and mask, with every segment at its place and everything else missing."""
    import numpy as np

    length = piece.length
    if len(piece.segments) == 1 and all(row.samples.size == length and row.missing is None for row in rows):
        stacked = np.stack([row.samples for row in rows])
        stacked.flags.writeable = False  # so that the tracing takes it as it is
        return stacked, None
    samples = np.zeros((len(rows), length), dtype=np.int32)
    missing = np.ones((len(rows), length), dtype=np.bool_)
    places = {id(row): at for at, row in enumerate(rows)}
    by_key = {_key(row): at for at, row in enumerate(rows)}
    for begin, segment in zip(piece.starts, piece.segments, strict=True):
        for row in segment.rows:
            at = places[id(row)] if id(row) in places else by_key[_key(row)]
            end = begin + row.samples.size
            samples[at, begin:end] = row.samples
            missing[at, begin:end] = False if row.missing is None else row.missing
    return samples, missing
