"""Bimodal data: full rate in protected areas, decimated elsewhere (EN 1064 clause 5.9 and Annex C).

The standard's own interpolation could not be looked up.  Here a stored value stands for the centre of its group of
samples, values between two centres lie on the line between them, and the ends of a zone hold the nearest value;
nothing is interpolated across the border of a protected area.  All in integers: halves are rounded up.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["MOST_DECIMATED", "Scheme", "Stretch", "expand", "stored_count", "stretches"]

MOST_DECIMATED: Final = 16
"""Largest decimation factor that is followed (500 to 125 samples per second is 4)."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A number of samples that follow each other, all protected or all not."""

    samples: int
    protected: bool


@dataclass(frozen=True, slots=True)
class Scheme:
    """A reading of the rule: decimation factor, and whether the rest of a zone has a value of its own."""

    factor: int
    rounds_up: bool = True

    def values(self, stretch: Stretch) -> int:
        """How many values are stored for a stretch."""
        if stretch.protected:
            return stretch.samples
        return -(-stretch.samples // self.factor) if self.rounds_up else stretch.samples // self.factor


def stretches(first: int, last: int, areas: Sequence[tuple[int, int]]) -> list[Stretch]:
    """The stretches of samples ``first`` to ``last``; areas that touch or overlap are taken together."""
    found: list[Stretch] = []
    place = first
    for low, high in sorted(areas):
        start, end = max(low, place), min(high, last)
        if start > end:
            continue
        if start > place:
            found.append(Stretch(start - place, False))
        if found and found[-1].protected:
            found[-1] = Stretch(found[-1].samples + end - start + 1, True)
        else:
            found.append(Stretch(end - start + 1, True))
        place = end + 1
    if place <= last:
        found.append(Stretch(last - place + 1, False))
    return found


def stored_count(parts: Sequence[Stretch], scheme: Scheme) -> int:
    """How many values are stored for all stretches."""
    return sum(scheme.values(part) for part in parts)


def expand(values: NDArray[np.int32], parts: Sequence[Stretch], scheme: Scheme) -> NDArray[np.int32]:
    """The samples at full rate."""
    found = []
    place = 0
    for part in parts:
        count = scheme.values(part)
        stored = values[place : place + count]
        if part.protected:
            found.append(stored)
        elif count:
            found.append(_interpolate(stored.astype(np.int64), part.samples, scheme.factor))
        else:
            nearest = values[place - 1 : place] if place else values[:1]
            found.append(np.repeat(nearest if nearest.size else np.zeros(1, dtype=np.int32), part.samples))
        place += count
    return np.concatenate(found) if found else np.zeros(0, dtype=np.int32)


def _interpolate(stored: NDArray[np.int64], samples: int, factor: int) -> NDArray[np.int32]:
    """Lines between the centres of groups; places are doubled, so that centres are whole numbers."""
    starts = factor * np.arange(stored.size, dtype=np.int64)
    sizes = np.minimum(factor, samples - starts)
    centres = 2 * starts + sizes - 1
    places = np.clip(2 * np.arange(samples, dtype=np.int64), centres[0], centres[-1])
    left = np.clip(np.searchsorted(centres, places, side="right") - 1, 0, max(stored.size - 2, 0))
    right = np.minimum(left + 1, stored.size - 1)
    width = np.maximum(centres[right] - centres[left], 1)
    part = (stored[right] - stored[left]) * (places - centres[left])
    found: NDArray[np.int32] = (stored[left] + (2 * part + width) // (2 * width)).astype(np.int32)
    return found
