"""Marks to section 4 and to spikes and positions of section 7 (EN 1064 clauses 5.7 and 5.10)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Final

from interchange.formats.scp.maps import ABSENT
from interchange.formats.scp.reader.marks import POSITIONS
from interchange.formats.scp.syntax.beats import Area, Zone, build_beats
from interchange.formats.scp.syntax.globals import Spike
from interchange.formats.scp.writer.plan import FilePlan, Placed, beat_length
from interchange.model import Mark, Measurement
from interchange.records import dataclass

__all__ = ["Marked", "place_marks"]

_MOST_SPIKES: Final = 255
_LARGEST: Final = 0xFFFF
_BEAT_KINDS: Final = "beat"


@dataclass(frozen=True, slots=True)
class Marked:
    """What marks become: section 4, spikes, positions; and the marks in the order in which a reader finds them."""

    section_4: bytes | None = None
    qrs_types: tuple[int, ...] = ()
    spikes: tuple[Spike, ...] = ()
    positions: Mapping[str, int] | None = None
    order: tuple[Mark, ...] = ()


def place_marks(file: FilePlan, marks: Sequence[Mark], measurements: Sequence[Measurement]) -> Marked:
    """Places for the marks of the recording (their ``tracing`` counts the recording's tracings) in one file."""
    section_4, types, beats = _beats(file, marks)
    spikes, spiked = _spikes(file, marks)
    positions, placed = _positions(file, marks, measurements)
    return Marked(section_4, types, spikes, positions, (*beats, *spiked, *placed))


def _beats(file: FilePlan, marks: Sequence[Mark]) -> tuple[bytes | None, tuple[int, ...], tuple[Mark, ...]]:
    """Section 4 goes with the reference beat: its length, its fiducial, the QRS of the rhythm."""
    if file.beat is None:
        return None, (), ()
    beat = file.beat.tracing
    length = beat_length(beat) or 0
    fiducial = 0 if beat.fiducial is None else round(beat.fiducial * beat.rate) + 1
    found = sorted(
        ((sample, mark) for mark in marks if (sample := _sample(file, mark)) is not None), key=lambda e: e[0]
    )
    found = _one_each(found)[:_LARGEST]
    types = _types([mark for _, mark in found])
    zones = [Zone(kind, 0, sample, 0) for kind, (sample, _) in zip(types, found, strict=True)]
    areas = [Area(sample, sample) for sample, _ in found]
    small = tuple(min(kind, 255) for kind in types)
    return build_beats(length, min(fiducial, _LARGEST), zones, areas), small, tuple(mark for _, mark in found)


def _one_each(found: list[tuple[int, Mark]]) -> list[tuple[int, Mark]]:
    """The first mark of each sample."""
    return [entry for place, entry in enumerate(found) if not place or found[place - 1][0] != entry[0]]


def _sample(file: FilePlan, mark: Mark) -> int | None:
    """Number of the sample that a beat's mark falls on; None for other marks and other tracings."""
    from interchange.vocabulary import concept

    placed = _rhythm_of(file, mark)
    if placed is None or mark.lead is not None or mark.end is not None:
        return None
    try:
        kind = concept(mark.concept, "mark").kind
    except KeyError:
        return None
    sample = round(mark.start * placed.tracing.rate)
    if kind != _BEAT_KINDS or not 0 <= sample < placed.tracing.length:
        return None
    return placed.first + sample


def _rhythm_of(file: FilePlan, mark: Mark) -> Placed | None:
    return next((placed for placed in file.rhythms if placed.index == mark.tracing), None)


def _types(marks: Sequence[Mark]) -> list[int]:
    """Beat types: as the source numbers them, else 0 for the class that most beats have and 1, 2 ... for the others."""
    counts = Counter(mark.concept for mark in marks)
    ranked = [name for name, _ in counts.most_common()]
    found = []
    for mark in marks:
        text = dict(mark.extras).get("scp.beat-type", "")
        known = int(text) if text.isascii() and text.isdigit() and len(text) < 6 else None
        found.append(known if known is not None and known <= _LARGEST else ranked.index(mark.concept))
    return found


def _spikes(file: FilePlan, marks: Sequence[Mark]) -> tuple[tuple[Spike, ...], tuple[Mark, ...]]:
    found = []
    for mark in marks:
        placed = _rhythm_of(file, mark)
        if mark.concept != "pacing-spike" or placed is None or mark.lead is not None or mark.end is not None:
            continue
        start = Fraction(placed.first - 1) / placed.tracing.rate + mark.start
        if 0 <= round(start * 1000) <= _LARGEST:
            found.append((_spike(round(start * 1000), mark), mark))
    found = found[:_MOST_SPIKES]
    return tuple(spike for spike, _ in found), tuple(mark for _, mark in found)


def _spike(time: int, mark: Mark) -> Spike:
    values = {m.concept: m for m in mark.measurements}
    amplitude = values.get("pacing-spike-amplitude")
    if amplitude is None or amplitude.value is None or not -32768 <= round(amplitude.value) <= 32767:
        microvolts = ABSENT.get((amplitude.absent if amplitude else None) or "not-measured", 29999)
    else:
        microvolts = round(amplitude.value)
    effect = values.get("pacing-spike-effect")
    unknown = 255 if effect is not None and effect.absent == "not-measured" else 0
    return Spike(
        time,
        microvolts,
        _code(effect, 254) or unknown,
        _code(values.get("pacing-spike-source"), 255),
        _code(values.get("pacing-spike-qrs"), _LARGEST),
        _code(values.get("pacing-spike-width"), _LARGEST),
    )


def _code(m: Measurement | None, largest: int) -> int:
    if m is None or m.value is None or not 0 <= round(m.value) <= largest:
        return 0
    return round(m.value)


def _positions(
    file: FilePlan, marks: Sequence[Mark], measurements: Sequence[Measurement]
) -> tuple[Mapping[str, int] | None, tuple[Mark, ...]]:
    """Onsets and offsets on the reference beat, where they are whole milliseconds and agree with the intervals."""
    if file.beat is None:
        return None, ()
    names = [concept for concept, _ in POSITIONS]
    found: dict[str, Mark] = {}
    for mark in marks:
        whole = (mark.start * 1000).denominator == 1 and 0 <= mark.start <= file.beat.tracing.duration
        if (
            mark.tracing == file.beat.index
            and mark.concept in names
            and mark.lead is None
            and mark.end is None
            and whole
        ):
            found.setdefault(mark.concept, mark)
    if not found:
        return None, ()
    places = {name: int(mark.start * 1000) for name, mark in found.items()}
    said = {m.concept: m.value for m in measurements if m.lead is None and not m.beat}
    for name, begin, end in (
        ("p-duration", "p-onset", "p-offset"),
        ("pr-interval", "p-onset", "qrs-onset"),
        ("qrs-duration", "qrs-onset", "qrs-offset"),
        ("qt-interval", "qrs-onset", "t-offset"),
    ):
        length = places[end] - places[begin] if begin in places and end in places else None
        if said.get(name) != length and name in said:
            return None, ()
    return places, tuple(found[name] for name in names if name in found)
