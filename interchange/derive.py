"""Add the limb leads that follow exactly from those that were recorded.

Two limb leads that were sampled together give the other four (definition of the leads by electrode potentials).
Nothing is rounded: a derived lead gets the step in which all its values are whole, which for aVR, aVL and aVF is half
the step of I and II.  What was recorded is never touched, and a derived lead says that it is one and by which formula.
No chest lead follows from limb leads, and none is made; statistical estimates are not made either.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from interchange.errors import RefusedError, UsageError
from interchange.leads import LIMB_LEADS, Samples, derivations
from interchange.leads import derive as derived_samples
from interchange.model import Channel, Recording, Tracing
from interchange.vocabulary import channel_name, lead, lead_for_channel

__all__ = ["derivable_leads", "derive"]


def derive(recording: Recording, leads: Iterable[str] = LIMB_LEADS) -> Recording:
    """The recording with those of ``leads`` (channel names) that it lacks and that follow exactly from others.

    Every rhythm tracing gets its own, from leads of that tracing alone, behind its last limb lead.  Representative
    beats are left as they are: a median of beats does not obey the sums.  A tracing to which nothing can be added is
    the same object as before.  Leads take part when they are calibrated voltages with samples, stand in the tracing
    once, and were sampled at the same instants.  Raises UsageError for a name that is no lead, RefusedError where
    values need more than 32 bits.
    """
    wanted = tuple(_lead_id(name) for name in leads)
    tracings = tuple(_extended(tracing, wanted) for tracing in recording.tracings)
    if all(new is old for new, old in zip(tracings, recording.tracings, strict=True)):
        return recording
    return recording.with_(tracings=tracings)


def derivable_leads(tracing: Tracing, leads: Iterable[str] = LIMB_LEADS) -> tuple[str, ...]:
    """Names of those of ``leads`` that :func:`derive` would add to a tracing, in the order asked for."""
    wanted = tuple(_lead_id(name) for name in leads)
    return tuple(channel_name(lead(id_)) for id_ in _missing(tracing, wanted))


def _lead_id(name: str) -> str:
    row = lead_for_channel(name)
    if row is None:
        raise UsageError("is no lead", name)
    return row.id


def _sources(tracing: Tracing) -> dict[str, int]:
    """Rows that a lead may be derived from, by lead id."""
    found: dict[str, list[int]] = {}
    for index, channel in enumerate(tracing.channels):
        row = lead_for_channel(channel.name)
        if row is None or channel.unit != "uV" or channel.step <= 0:
            continue
        if tracing.missing is None or not tracing.missing[index].all():
            found.setdefault(row.id, []).append(index)
    single = {id_: rows[0] for id_, rows in found.items() if len(rows) == 1}
    skews = [tracing.channels[index].skew for index in single.values()]
    usual = max(skews, key=skews.count, default=None)
    return {id_: index for id_, index in single.items() if tracing.channels[index].skew == usual}


def _missing(tracing: Tracing, wanted: Sequence[str]) -> tuple[str, ...]:
    """Ids of the leads that can be added."""
    if tracing.kind != "rhythm":
        return ()
    there = {row.id for channel in tracing.channels if (row := lead_for_channel(channel.name)) is not None}
    known = derivations(_sources(tracing))
    return tuple(dict.fromkeys(id_ for id_ in wanted if id_ in known and id_ not in there))


def _extended(tracing: Tracing, wanted: Sequence[str]) -> Tracing:
    added = _missing(tracing, wanted)
    if not added:
        return tracing
    sources = {id_: (index, _samples(tracing, index)) for id_, index in _sources(tracing).items()}
    made = [_derived(tracing, id_, sources) for id_ in added]
    at = 1 + max((i for i, c in enumerate(tracing.channels) if _is_limb(c.name)), default=len(tracing.channels) - 1)
    channels = (*tracing.channels[:at], *(channel for channel, _ in made), *tracing.channels[at:])
    width = np.int32 if any(part.integers.dtype == np.int32 for _, part in made) else tracing.samples.dtype
    rows = [tracing.samples[:at], np.array([part.integers for _, part in made]), tracing.samples[at:]]
    samples = np.concatenate(rows).astype(np.promote_types(tracing.samples.dtype, width))
    return replace(tracing, channels=channels, samples=samples, missing=_mask(tracing, [p for _, p in made], at))


def _samples(tracing: Tracing, index: int) -> Samples:
    channel = tracing.channels[index]
    missing = None if tracing.missing is None else tracing.missing[index]
    return Samples(channel.name, tracing.samples[index], channel.step, channel.offset, missing)


def _derived(tracing: Tracing, id_: str, sources: dict[str, tuple[int, Samples]]) -> tuple[Channel, Samples]:
    """The channel and its samples, narrowed to 16 or 32 bits."""
    name = channel_name(lead(id_))
    how = derivations(sources)[id_]
    made = derived_samples(name, [part for _, part in sources.values()])
    low, high = (int(made.integers.min()), int(made.integers.max())) if made.integers.size else (0, 0)
    if low < -(2**31) or high >= 2**31:
        raise RefusedError("the derived lead needs more than 32 bits", name)
    narrow = np.int16 if low >= -(2**15) and high < 2**15 else np.int32
    parents = [tracing.channels[sources[source][0]] for source in how.sources]
    filters = {parent.filters for parent in parents}
    channel = Channel(
        name=name,
        step=made.step,
        offset=made.offset,
        filters=parents[0].filters if len(filters) == 1 else None,
        skew=parents[0].skew,
        origin="derived",
        derived_from=how.formula,
    )
    return channel, replace(made, integers=made.integers.astype(narrow))


def _mask(tracing: Tracing, made: Sequence[Samples], at: int) -> np.ndarray | None:
    """Missing where a source is missing."""
    if tracing.missing is None:
        return None
    nothing = np.zeros(tracing.length, dtype=np.bool_)
    rows = [nothing if part.missing is None else part.missing for part in made]
    return np.concatenate([tracing.missing[:at], np.array(rows), tracing.missing[at:]])


def _is_limb(name: str) -> bool:
    row = lead_for_channel(name)
    return row is not None and row.group in ("limb", "augmented-limb", "unaugmented-limb")
