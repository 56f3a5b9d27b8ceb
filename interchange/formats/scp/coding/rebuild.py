"""From sections 3 to 6 to samples: expanding, adding the reference beat (EN 1064 clauses 5.6 to 5.9, Annex C).

The order of steps is that of the decoder: stored values, differences undone, bimodal zones expanded, reference beat
added.  Every lead stands for itself: one that is damaged does not take the others with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import gcd
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from interchange.formats.scp.coding.samples import Plain, counts_that_fit, streams, take, take_all
from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.leads import Leads
from interchange.formats.scp.syntax.signal import Signal
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interchange.formats.scp.coding.bimodal import Scheme
    from interchange.formats.scp.coding.streams import Stream
    from interchange.formats.scp.coding.subtraction import Plan
    from interchange.formats.scp.syntax.beats import Beats
    from interchange.formats.scp.syntax.tables import Tables

__all__ = ["Rhythm", "Wave", "rebuild_beat", "rebuild_rhythm"]

_FACTORS: Final = (4, 2, 3, 5, 6, 8, 10, 12, 16)
"""Decimation factors that are tried where no interval says it, the usual one first."""


@dataclass(frozen=True, slots=True, eq=False)
class Wave:
    """The samples of one lead, and which of them are not known (None: all are).

    ``samples`` is None where nothing of the lead could be decoded.
    """

    samples: NDArray[np.int32] | None
    missing: NDArray[np.bool_] | None = None


_NO_BEAT: Final = Wave(np.zeros(0, dtype=np.int32))


@dataclass(frozen=True, slots=True, eq=False)
class Rhythm:
    """All leads: ``step`` in nanovolts, ``interval`` in microseconds; ``lossy`` says why samples are no originals."""

    waves: tuple[Wave, ...]
    step: int
    interval: int
    lossy: str | None = None


def rebuild_beat(
    data: bytes, signal: Signal, leads: Leads, tables: Tables | None, beats: Beats | None, log: Log
) -> Rhythm:
    """The reference beat of each lead (section 5)."""
    found = streams(data, signal, tables)
    count = _beat_samples(data, signal, found, beats, log)
    if count is None:
        return Rhythm((Wave(None),) * len(found), signal.step, signal.interval)
    waves = tuple(
        _NO_BEAT
        if _is_empty(signal, number) and not leads.subtracted
        else _padded(take(data, signal, number, stream, count, log), count)
        for number, stream in enumerate(found)
    )
    return Rhythm(waves, signal.step, signal.interval)


def _is_empty(signal: Signal, number: int) -> bool:
    """Whether a lead has no bytes at all: then it has no reference beat."""
    return signal.blocks[number].start == signal.blocks[number].end


def _padded(samples: NDArray[np.int32] | None, count: int) -> Wave:
    """The samples with those that are missing at the end marked as such, as long as the count is not absurd."""
    if samples is None or samples.size == count or count > 2 * samples.size + 1024:
        return Wave(samples)
    missing = np.arange(count) >= samples.size
    return Wave(np.concatenate([samples, np.zeros(count - samples.size, dtype=np.int32)]), missing)


def _beat_samples(
    data: bytes, signal: Signal, found: Sequence[Stream | None], beats: Beats | None, log: Log
) -> int | None:
    """Samples of the reference beat: from its length in section 4, else from what is stored."""
    if beats is not None and beats.length:
        count, rest = divmod(1000 * beats.length, signal.interval)
        if rest:
            log.add("beat-length", at(signal.offset, 5), f"{beats.length} ms of {signal.interval} us")
            count += 2 * rest >= signal.interval
        return count
    there = [stream for stream in found if stream is not None and stream.bits]
    if not there:
        return None
    if all(isinstance(stream, Plain) for stream in there):
        return max(stream.values.size for stream in there)
    log.add("beat-count", at(signal.offset, 5))
    return min(stream.values.size for stream in there)


def rebuild_rhythm(
    data: bytes,
    signal: Signal,
    leads: Leads,
    tables: Tables | None,
    beats: Beats | None,
    reference: Rhythm | None,
    log: Log,
) -> Rhythm:
    """The rhythm of each lead (section 6), as far as it can be had without doubt."""
    found = streams(data, signal, tables)
    counts = [lead.samples for lead in leads.leads]
    nothing = Rhythm((Wave(None),) * len(counts), signal.step, signal.interval)
    if _is_bimodal(signal, found, counts):
        if beats is None or beats.areas is None or reference is None:
            log.add("bimodal-incomplete", at(signal.offset + 5, 6))
            return nothing
        expanded = _expanded(data, signal, leads, found, beats, reference, log)
        if expanded is None:
            log.add("bimodal-incomplete", at(signal.offset + 5, 6))
            return nothing
        waves, interval, lossy = expanded, reference.interval, "bimodal"
        log.add("bimodal", at(signal.offset + 5, 6))
    else:
        interval, lossy = signal.interval, None
        taken = take_all(data, signal, found, counts, log)
        waves = tuple(_padded(samples, count) for samples, count in zip(taken, counts, strict=True))
    rhythm = Rhythm(waves, signal.step, interval, lossy)
    return _with_beats(rhythm, signal, leads, beats, reference, log) if leads.subtracted else rhythm


def _is_bimodal(signal: Signal, found: Sequence[Stream | None], counts: Sequence[int]) -> bool:
    """Whether the data are bimodal; a flag that is neither 0 nor 1 counts only where too few values are stored."""
    if signal.bimodal <= 1:
        return bool(signal.bimodal)
    short = [s is not None and s.values.size < count for s, count in zip(found, counts, strict=True)]
    return all(short)


def _expanded(
    data: bytes,
    signal: Signal,
    leads: Leads,
    found: Sequence[Stream | None],
    beats: Beats,
    reference: Rhythm,
    log: Log,
) -> tuple[Wave, ...] | None:
    """All leads at full rate; None where no reading of the rule fits."""
    from interchange.formats.scp.coding.bimodal import expand, stored_count, stretches

    areas = [(area.start, area.end) for area in beats.areas or ()]
    parts = [stretches(lead.first, lead.last, areas) if lead.samples else [] for lead in leads.leads]
    scheme = _scheme(data, signal, found, parts, reference, log)
    if scheme is None:
        return None
    waves = []
    for number, stream in enumerate(found):
        count = stored_count(parts[number], scheme)
        stored = take(data, signal, number, stream, count, log)
        whole = stored is not None and stored.size == count
        waves.append(Wave(expand(stored, parts[number], scheme) if stored is not None and whole else None))
    return tuple(waves)


def _scheme(
    data: bytes,
    signal: Signal,
    found: Sequence[Stream | None],
    parts: Sequence[Sequence[Any]],
    reference: Rhythm,
    log: Log,
) -> Scheme | None:
    """The decimation factor, and how the rest of a zone is counted: what fits the stored data of most leads."""
    from interchange.formats.scp.coding.bimodal import MOST_DECIMATED, Scheme, stored_count

    factor, rest = divmod(signal.interval, reference.interval)
    if rest or factor > MOST_DECIMATED:
        return None
    factors = (factor,) if factor > 1 else _FACTORS
    schemes = [Scheme(factor, rounds_up) for factor in factors for rounds_up in (True, False)]
    fit = [counts_that_fit(data, signal, found, [stored_count(p, scheme) for p in parts]) for scheme in schemes]
    best = fit.index(max(fit))
    chosen = schemes[best]
    if not fit[best] and factor == 1:
        return None
    place = at(signal.offset, 6)
    if factor == 1:
        log.add("bimodal-factor", place, f"factor {chosen.factor}")
    if fit[best] and not chosen.rounds_up:
        log.add("bimodal-counts", place, "rests of zones have no value")
    return chosen


def _with_beats(
    rhythm: Rhythm, signal: Signal, leads: Leads, beats: Beats | None, reference: Rhythm | None, log: Log
) -> Rhythm:
    """The rhythm with the reference beat added back, in the greatest common step of both."""
    from interchange.formats.scp.coding.subtraction import check_zones, plan

    if beats is None or reference is None or reference.interval != rhythm.interval:
        log.add("subtraction-incomplete", at(signal.offset, 6))
        return Rhythm((Wave(None),) * len(rhythm.waves), rhythm.step, rhythm.interval)
    if not any(zone.is_subtracted for zone in beats.zones):
        log.add("subtraction-incomplete", at(signal.offset, 6), "no beat of type 0")
    step = gcd(rhythm.step, reference.step)
    plans: dict[tuple[int, int, int], Plan | None] = {}
    waves = []
    for number, (wave, lead, beat) in enumerate(zip(rhythm.waves, leads.leads, reference.waves, strict=True)):
        if wave.samples is None:
            waves.append(wave)
            continue
        chosen = None
        if beat.samples is not None:
            key = (beat.samples.size, lead.first, wave.samples.size)
            if key not in plans:
                plans[key] = plan(beats, *key)
                check_zones(beats, beat.samples.size, lead.first + wave.samples.size - 1, log)
            chosen = plans[key]
        if chosen is None or beat.samples is None:
            log.add("subtraction-incomplete", at(lead.offset, 3), f"lead {number + 1}")
            waves.append(Wave(None))
            continue
        added = _added(wave, beat, chosen, rhythm.step // step, reference.step // step)
        if added.samples is None:
            log.add("value-overflow", at(signal.blocks[number].start, 6), f"lead {number + 1}")
        waves.append(added)
    coarser = "requantised" if rhythm.step > reference.step else None
    if coarser and not rhythm.lossy:
        log.add("requantised", at(signal.offset, 6), f"{rhythm.step} nV, beat {reference.step} nV")
    return Rhythm(tuple(waves), step, rhythm.interval, rhythm.lossy or coarser)


def _added(wave: Wave, beat: Wave, chosen: Plan, scale: int, beat_scale: int) -> Wave:
    from interchange.formats.scp.coding.differences import MOST

    assert wave.samples is not None
    assert beat.samples is not None
    samples = wave.samples.astype(np.int64) * scale
    chosen.add(samples, beat.samples.astype(np.int64) * beat_scale)
    if samples.size and max(-int(samples.min()), int(samples.max())) > MOST:
        return Wave(None)
    missing = chosen.unknown if wave.missing is None else chosen.unknown | wave.missing
    if beat.missing is not None:
        missing = missing.copy()
        missing[chosen.places[beat.missing[chosen.sources]]] = True
    return Wave(samples.astype(np.int32), missing if missing.any() else None)
