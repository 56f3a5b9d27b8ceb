"""Samples to tracings (EN 1064 clauses 5.6 to 5.9)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.formats.scp.coding.rebuild import Rhythm, Wave
from interchange.formats.scp.syntax.document import Document
from interchange.formats.scp.syntax.leads import LAST_CODE, Lead, Leads
from interchange.model import Channel, Origin, Tracing
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Group", "lead_name", "natural_groups", "read_beat", "read_rhythms"]


@dataclass(frozen=True, slots=True)
class Group:
    """Leads (indices in section 3) that make one tracing of the samples ``first`` to ``last``."""

    leads: tuple[int, ...]
    first: int
    last: int

    @property
    def samples(self) -> int:
        """Samples of the tracing."""
        return self.last - self.first + 1


@lru_cache(maxsize=1024)
def lead_name(code: int, number: int) -> str:
    """The trade's name of a lead code; ``number`` (from 1) tells leads without a code apart."""
    from interchange.vocabulary import channel_name, lead_by_scp

    lead = lead_by_scp(code) if 0 < code <= LAST_CODE else None
    if lead is not None:
        return channel_name(lead)
    return f"lead {number}" if code == 0 else f"lead code {code}"


@lru_cache(maxsize=1024)
def _channel(code: int, number: int, step: int, lossy: str | None) -> Channel:
    """A channel in steps of ``step`` nanovolts."""
    from interchange.vocabulary import lead_by_scp

    row = lead_by_scp(code) if 0 < code <= LAST_CODE else None
    origin: Origin = "derived" if row is not None and row.origin == "derived" else "recorded"
    return Channel(
        lead_name(code, number),
        "uV",
        Fraction(step, 1000),
        origin="reconstructed" if lossy else origin,
        extras=(("scp.compression", lossy),) if lossy else (),
    )


def natural_groups(found: Leads, waves: Sequence[Wave]) -> list[Group]:
    """How leads make tracings where nothing else says it.

    Leads with the same samples belong together, in the order in which they come.  Leads that the record says were all
    recorded at the same time make one tracing, also where one of them is shorter.  A lead without any sample belongs
    to those that have its numbers; alone it makes no tracing.
    """
    there = {i: lead for i, lead in enumerate(found.leads) if _size(waves[i])}
    spans: dict[tuple[int, int], list[int]] = {}
    for index, lead in there.items():
        spans.setdefault((lead.first, lead.first + _size(waves[index]) - 1), []).append(index)
    if found.simultaneous and len(spans) > 1:
        whole = min(first for first, _ in spans), max(last for _, last in spans)
        held = sum(_size(waves[index]) for index in there)
        if (whole[1] - whole[0] + 1) * len(there) <= 2 * held:
            spans = {whole: sorted(there)}
    for index, lead in enumerate(found.leads):
        if index in there:
            continue
        for members in spans.values():
            if any((lead.first, lead.last) == (found.leads[i].first, found.leads[i].last) for i in members):
                members.append(index)
                break
    return [Group(tuple(sorted(members)), first, last) for (first, last), members in spans.items()]


def _size(wave: Wave) -> int:
    return 0 if wave.samples is None else wave.samples.size


def read_rhythms(document: Document, groups: Sequence[Group]) -> tuple[Tracing, ...]:
    """One tracing for each group; samples that a lead does not have are missing."""
    rhythm = document.rhythm
    if rhythm is None:
        return ()
    return tuple(_tracing(document, rhythm, group) for group in groups)


def _tracing(document: Document, rhythm: Rhythm, group: Group) -> Tracing:
    leads = document.leads.leads
    parts = []
    for index in group.leads:
        wave, lead = rhythm.waves[index], leads[index]
        parts.append(wave if _is_whole(wave, lead, group) else _placed(wave, lead.first - group.first, group.samples))
    return Tracing(
        channels=tuple(_channel(leads[index].code, index + 1, rhythm.step, rhythm.lossy) for index in group.leads),
        samples=_stacked(parts),
        rate=Fraction(1_000_000, rhythm.interval),
        missing=_missing(parts, group.samples),
        start=Fraction(max(group.first - 1, 0) * rhythm.interval, 1_000_000),
    )


def _is_whole(wave: Wave, lead: Lead, group: Group) -> bool:
    return wave.samples is not None and lead.first == group.first and wave.samples.size == group.samples


def _placed(wave: Wave, place: int, size: int) -> Wave:
    """A wave at its place in a longer tracing; everything around it is missing."""
    samples = np.zeros(size, dtype=np.int32)
    missing = np.ones(size, dtype=np.bool_)
    if wave.samples is not None:
        part = slice(place, place + wave.samples.size)
        samples[part] = wave.samples
        missing[part] = False if wave.missing is None else wave.missing
    return Wave(samples, missing)


def _stacked(waves: Sequence[Wave]) -> NDArray[Any]:
    """The samples as one array of the narrowest integers that hold them."""
    rows = np.array([wave.samples for wave in waves if wave.samples is not None])
    fits = int(rows.min()) >= -(2**15) and int(rows.max()) < 2**15
    found: NDArray[Any] = rows.astype(np.int16 if fits else np.int32)
    found.flags.writeable = False
    return found


def _missing(waves: Sequence[Wave], size: int) -> NDArray[np.bool_] | None:
    if all(wave.missing is None for wave in waves):
        return None
    return np.array([np.zeros(size, dtype=np.bool_) if w.missing is None else w.missing for w in waves])


def read_beat(document: Document, rhythms: Sequence[Group]) -> Tracing | None:
    """The reference beat of section 5 as a tracing; None where there is none that could be decoded."""
    beat = document.beat
    if beat is None:
        return None
    found = [index for index, wave in enumerate(beat.waves) if wave.samples is not None and wave.samples.size]
    if not found:
        return None
    size = max(w.samples.size for w in beat.waves if w.samples is not None)
    waves = [w if w.samples is not None and w.samples.size == size else _placed(w, 0, size) for w in beat.waves]
    rows = [index for index, wave in enumerate(beat.waves) if wave.samples is None or wave.samples.size]
    leads = document.leads.leads
    beats = document.beats
    fiducial = None
    if beats is not None and 1 <= beats.fiducial <= size:
        fiducial = Fraction((beats.fiducial - 1) * beat.interval, 1_000_000)
    return Tracing(
        channels=tuple(_channel(leads[index].code, index + 1, beat.step, None) for index in rows),
        samples=_stacked([waves[index] for index in rows]),
        rate=Fraction(1_000_000, beat.interval),
        missing=_missing([waves[index] for index in rows], size),
        kind="representative beat",
        of=0 if rhythms else None,
        fiducial=fiducial,
        beat=0,
    )
