"""QRS complexes of section 4, pacing spikes and positions of section 7 to marks (EN 1064 clauses 5.7 and 5.10)."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.maps import SPECIAL
from interchange.formats.scp.reader.measures import sort_blocks
from interchange.formats.scp.syntax.document import Document
from interchange.formats.scp.syntax.globals import Spike
from interchange.model import Absent, Mark, Measurement, Tracing

__all__ = ["POSITIONS", "read_beats", "read_positions", "read_spikes"]

POSITIONS: Final = (
    ("p-onset", "p_onset"),
    ("p-offset", "p_offset"),
    ("qrs-onset", "qrs_onset"),
    ("qrs-offset", "qrs_offset"),
    ("t-offset", "t_offset"),
)
"""Concept of a mark on the representative beat and its field of the measurement block."""


def read_beats(document: Document, rhythms: Sequence[Tracing]) -> Iterator[Mark]:
    """A point for each QRS of section 4, on the tracing that holds its fiducial."""
    if document.beats is None or not rhythms:
        return
    interval = Fraction(1, 1) / rhythms[0].rate
    for zone in document.beats.zones:
        if zone.fiducial:
            tracing, start = _place((zone.fiducial - 1) * interval, rhythms)
            yield Mark("beat", tracing, start, extras=(("scp.beat-type", str(zone.type)),))


def _place(time: Fraction, rhythms: Sequence[Tracing]) -> tuple[int, Fraction]:
    """Tracing and seconds on it of an instant of the recording; the first tracing where none covers it."""
    for index, tracing in enumerate(rhythms):
        if tracing.start <= time < tracing.start + tracing.duration:
            return index, time - tracing.start
    return 0, time - rhythms[0].start


def read_spikes(document: Document, rhythms: Sequence[Tracing], log: Log) -> Iterator[Mark]:
    """Pacing spikes with amplitude, effect, source, QRS and width."""
    found = document.globals
    if found is None or not rhythms:
        return
    end = max(tracing.start + tracing.duration for tracing in rhythms)
    count = len(document.beats.zones) if document.beats is not None else len(found.qrs_types or ())
    for spike in found.spikes:
        time = Fraction(spike.time, 1000)
        if time >= end:
            log.add("spike-time", at(spike.offset, 7), f"{spike.time} ms")
        if count and (spike.qrs or 0) > count:
            log.add("spike-qrs", at(spike.offset, 7), f"QRS {spike.qrs} of {count}")
        if 4 <= (spike.type or 0) <= 127 or (spike.source or 0) > 2:
            log.add("spike-code", at(spike.offset, 7), f"type {spike.type}, source {spike.source}")
        tracing, start = _place(time, rhythms)
        yield Mark("pacing-spike", tracing, start, measurements=tuple(_of_spike(spike)))


def _of_spike(spike: Spike) -> Iterator[Measurement]:
    absent = SPECIAL.get(spike.amplitude)
    yield Measurement("pacing-spike-amplitude", None if absent else spike.amplitude, "uV", absent=absent)
    if spike.type is None:
        return
    codes: tuple[tuple[str, int | None, str | None, dict[int, Absent]], ...] = (
        ("pacing-spike-effect", spike.type, None, {0: "unknown", 255: "not-measured"}),
        ("pacing-spike-source", spike.source, None, {0: "unknown"}),
        ("pacing-spike-qrs", spike.qrs, "1", {0: "not-applicable"}),
        ("pacing-spike-width", spike.width, "us", {0: "unknown"}),
    )
    for concept, value, unit, special in codes:
        reason = special.get(value or 0)
        yield Measurement(concept, None if reason else value, unit, absent=reason)


def read_positions(document: Document, beat: int, tracing: Tracing) -> Iterator[Mark]:
    """Onsets and offsets of the first measurement block on the representative beat (index ``beat``).

    None where the block may belong to a single complex: its positions count from another instant.
    """
    blocks = sort_blocks(document)
    if not blocks.kept or not blocks.is_of_beats:
        return
    block, _ = blocks.kept[0]
    for concept, name in POSITIONS:
        value = getattr(block, name)
        start = Fraction(value, 1000)
        if value not in SPECIAL and start <= tracing.duration:
            yield Mark(concept, beat, start)
