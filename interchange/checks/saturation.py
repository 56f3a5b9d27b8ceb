"""Waves that are cut off at the end of the range."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.checks.view import Row
from interchange.model import Tracing
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Run", "saturated_runs"]

_SHORTEST = 5
_STEPS = 3
"""A wave that is cut off comes in with at least so many steps in one sample; a round top comes in with one."""
_STUCK_SECONDS = Fraction(1, 2)
_STUCK_AWAY = 1000.0
"""A lead stuck at the end of its range is so far (uV) from where it usually is."""


@dataclass(frozen=True, slots=True)
class Run:
    """Equal samples at the end of the range: first sample, one past the last, value in uV."""

    start: int
    stop: int
    level: float


def saturated_runs(tracing: Tracing, row: Row, shortest: Fraction, edge: float) -> tuple[Run, ...]:
    """Runs of equal samples at the least or largest value of a row that a wave was cut off at, in order.

    A run counts when it lasts ``shortest`` seconds and five samples, and is entered or left with at least ``edge``
    mV/s and three steps; or when it lasts half a second, more than 1 mV away from the median of the lead.
    """
    codes = tracing.samples[row.index]
    gone = None if tracing.missing is None else tracing.missing[row.index]
    there = codes if gone is None else codes[~gone]
    if not there.size:
        return ()
    step = abs(float(row.channel.step))
    size = max(_SHORTEST, int(np.ceil(float(shortest * tracing.rate))))
    steep = max(_STEPS * step, edge * 1000 / float(tracing.rate))
    stuck = max(size, int(_STUCK_SECONDS * tracing.rate))
    found = []
    for level in {int(there.min()), int(there.max())}:
        flags = codes == level if gone is None else (codes == level) & ~gone
        for start, stop in _runs_of(flags, size):
            value = level * float(row.channel.step) + float(row.channel.offset)
            if _edge(codes, start, stop) * step >= steep or (
                stop - start >= stuck and abs(float(np.median(there)) - level) * step > _STUCK_AWAY
            ):
                found.append(Run(start, stop, value))
    return tuple(sorted(found, key=lambda run: run.start))


def _runs_of(flags: NDArray[np.bool_], shortest: int) -> list[tuple[int, int]]:
    """Start and stop of the runs of at least ``shortest`` flags."""
    places = np.flatnonzero(flags)
    if places.size < shortest:
        return []
    breaks = np.flatnonzero(np.diff(places) > 1)
    starts = places[np.concatenate(([0], breaks + 1))]
    stops = places[np.concatenate((breaks, [places.size - 1]))] + 1
    return [(int(a), int(b)) for a, b in zip(starts, stops, strict=True) if b - a >= shortest]


def _edge(codes: NDArray[np.integer[Any]], start: int, stop: int) -> int:
    """The larger of the two differences at the ends of a run, in codes."""
    before = abs(int(codes[start]) - int(codes[start - 1])) if start > 0 else 0
    after = abs(int(codes[stop]) - int(codes[stop - 1])) if stop < codes.size else 0
    return max(before, after)
