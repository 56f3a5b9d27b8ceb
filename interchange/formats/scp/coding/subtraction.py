"""Adding back the reference beat (EN 1064 clauses 5.7 and 5.9).

In a subtraction zone of beat type 0, for n = SB ... SE,

    value(n) = residual(n) x step of section 6 + beat(n - FC + F) x step of section 5

with n and the index of the beat counted from 1, FC the fiducial of this QRS, F the fiducial of the reference beat.
Where a zone makes no sense the samples around its fiducial are not known: the QRS complex was taken out of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.beats import Beats, Zone
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Plan", "check_zones", "plan"]

Indices: TypeAlias = "NDArray[np.int64]"


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Where what is added to a lead: indices from 0 in the lead and in the beat, and what cannot be known."""

    places: Indices
    sources: Indices
    unknown: NDArray[np.bool_]
    overlaps: bool

    def add(self, samples: Indices, beat: Indices) -> None:
        """Add the beat to the samples, in place."""
        if self.overlaps:
            np.add.at(samples, self.places, beat[self.sources])
        else:
            samples[self.places] += beat[self.sources]


def plan(beats: Beats, length: int, first: int, size: int) -> Plan | None:
    """The plan for leads of ``size`` samples that begin with sample ``first``, and a beat of ``length`` samples.

    None where the zones together are much longer than the lead: they should not overlap at all.
    """
    zones = [zone for zone in beats.zones if _is_used(zone)]
    sound = [zone for zone in zones if _is_sound(zone)]
    start, fiducial, end = (
        np.array(values, dtype=np.int64)
        for values in ([z.start for z in sound], [z.fiducial for z in sound], [z.end for z in sound])
    )
    shift = fiducial - beats.fiducial  # the sample on which the beat's sample 0 (counted from 1) would fall
    low = np.maximum(np.maximum(start, shift + 1), first)
    high = np.minimum(np.minimum(end, shift + length), first + size - 1)
    widths = np.maximum(high - low + 1, 0)
    total = int(widths.sum())
    if total > 4 * size:
        return None
    before = np.cumsum(widths) - widths
    every = np.arange(total, dtype=np.int64)
    places = np.repeat(low - first - before, widths) + every
    sources = np.repeat(low - shift - 1 - before, widths) + every
    overlaps = np.unique(places).size < places.size
    return Plan(places, sources, _unknown(zones, beats.fiducial, length, first, size), overlaps)


def _is_used(zone: Zone) -> bool:
    """Whether something was subtracted here: one sample far from the fiducial, 0 or 1, is no zone."""
    return zone.is_subtracted and not (zone.start == zone.end <= 1 and zone.fiducial != zone.start)


def _is_sound(zone: Zone) -> bool:
    return zone.fiducial >= 1 and zone.start <= zone.fiducial <= zone.end


def _unknown(zones: list[Zone], fiducial: int, length: int, first: int, size: int) -> NDArray[np.bool_]:
    """The samples around the fiducials of zones that make no sense."""
    steps = np.zeros(size + 1, dtype=np.int64)
    for zone in zones:
        if not _is_sound(zone):
            low = min(zone.start or zone.fiducial, zone.fiducial - fiducial + 1) - first
            high = max(zone.end, zone.fiducial + length - fiducial) - first + 1
            steps[min(max(low, 0), size)] += 1
            steps[min(max(high, 0), size)] -= 1
    return np.cumsum(steps)[:size] > 0


def check_zones(beats: Beats, length: int, last: int, log: Log) -> None:
    """Zones that are longer than the beat of ``length`` samples."""
    for zone in beats.zones:
        shift = zone.fiducial - beats.fiducial
        if (
            _is_used(zone)
            and _is_sound(zone)
            and (zone.start < max(shift + 1, 1) or min(zone.end, last) > shift + length)
        ):
            detail = f"zone {zone.start} to {zone.end}, beat {shift + 1} to {shift + length}"
            log.add("zone-beat", at(zone.offset, 4), detail)
