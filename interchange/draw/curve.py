"""From samples to lines: exact places, gaps where samples are missing, extremes where many samples share a column.

Nothing is smoothed, interpolated or thinned away: below eighty samples per millimetre every sample is a point of the
line; above that each column of a twentieth of a millimetre keeps its first, least, greatest and last sample.
"""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.draw.display import UNITS
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interchange.draw.leads import Source

__all__ = ["Curve", "Window", "curve", "median_level"]

DENSE = 80
"""Samples per millimetre from which on columns are drawn instead of samples."""
COLUMN = 5
"""Width of such a column in hundredths of a millimetre."""
FARTHEST = 10_000_000
"""Coordinates beyond this (a hundred metres) are all the same to a page."""


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of a tracing (seconds after its first sample, both ends included) and the scale it is drawn at."""

    start: Fraction
    end: Fraction
    speed: int
    gain: int

    @property
    def width(self) -> int:
        """Width on paper in hundredths of a millimetre."""
        return round((self.end - self.start) * self.speed * UNITS)


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """The line of one lead in one window.

    ``paths``: unbroken pieces, integers of shape (points, 2): x from the window's start, y *up* from the zero line, in
    hundredths of a millimetre.  ``holes``: stretches of x without samples.  ``missing``: there is no sample at all.
    """

    paths: tuple[NDArray[Any], ...]
    holes: tuple[tuple[int, int], ...]

    @property
    def missing(self) -> bool:
        """Whether there is no sample at all in the window."""
        return not self.paths


def curve(source: Source, window: Window, shift: Fraction = Fraction(0)) -> Curve:
    """The curve of a lead in a window; ``shift`` (microvolts) is taken off every value."""
    first, last = _samples_in(source, window)
    if last < first:
        return Curve((), ((0, window.width),))
    tracing, row = source.tracing, source.row
    channel = tracing.channels[row]
    index = np.arange(first, last + 1, dtype=np.float64)
    across = float(tracing.rate) / (window.speed * UNITS)  # samples per unit
    offset = float((channel.skew - window.start) * window.speed * UNITS)
    x: NDArray[np.float64] = index / across + offset
    step, base = float(channel.step), float(channel.offset - source.sign * shift)
    y = tracing.samples[row, first : last + 1].astype(np.float64)
    y *= step
    y += base
    y *= source.sign * window.gain * UNITS / 1000
    np.clip(y, -FARTHEST, FARTHEST, out=y)
    gone = None if tracing.missing is None else tracing.missing[row, first : last + 1]
    runs = [(0, x.size)] if gone is None or not gone.any() else _runs(~gone)
    dense = across * UNITS > DENSE
    per_column = max(int(across * COLUMN), 2)
    paths = []
    for begin, end in runs:
        keep = _columns(y[begin:end], per_column) if dense else slice(None)
        paths.append(_points(x[begin:end][keep], y[begin:end][keep]))
    return Curve(tuple(paths), _holes(paths, window.width, max(1 / across, 1.0)))


def _samples_in(source: Source, window: Window) -> tuple[int, int]:
    """First and last sample whose instant lies in the window."""
    skew, rate = source.tracing.channels[source.row].skew, source.tracing.rate
    first = max(math.ceil((window.start - skew) * rate), 0)
    last = min(math.floor((window.end - skew) * rate), source.tracing.length - 1)
    return first, last


def _runs(there: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Begin and end of each run of samples that are there."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], there, [False]))))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _columns(y: NDArray[np.float64], per_column: int) -> NDArray[Any]:
    """Indices of the first, least, greatest and last sample of each column, in time order."""
    whole = y.size // per_column * per_column
    block = y[:whole].reshape(-1, per_column)
    start = np.arange(0, whole, per_column)
    chosen = [start, start + block.argmin(axis=1), start + block.argmax(axis=1), start + per_column - 1]
    return np.unique(np.concatenate((*chosen, np.arange(whole, y.size))))


def _points(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[Any]:
    """Whole coordinates, without points that repeat or lie within a level stretch."""
    points = np.rint(np.column_stack((x, y))).astype(np.int32)
    if len(points) > 2:
        level = points[1:, 1] == points[:-1, 1]
        inside = np.zeros(len(points), dtype=bool)
        inside[1:-1] = level[:-1] & level[1:]
        points = points[~inside]
    return points


def _holes(paths: list[NDArray[Any]], width: int, interval: float) -> tuple[tuple[int, int], ...]:
    """Stretches that no line covers; one sampling interval at either end of the window is none."""
    edges = [0, *(int(value) for path in paths for value in (path[0, 0], path[-1, 0])), width]
    found = []
    for number, (left, right) in enumerate(zip(edges[::2], edges[1::2], strict=True)):
        at_end = number in (0, len(paths))
        if right - left > (interval + 1 if at_end else 0):
            found.append((left, right))
    return tuple(found)


def median_level(source: Source, window: Window) -> Fraction:
    """Median of the lead in the window in microvolts, as a whole number; 0 where nothing is there."""
    first, last = _samples_in(source, window)
    if last < first:
        return Fraction(0)
    tracing, row = source.tracing, source.row
    values = tracing.samples[row, first : last + 1]
    if tracing.missing is not None:
        values = values[~tracing.missing[row, first : last + 1]]
    if not values.size:
        return Fraction(0)
    channel = tracing.channels[row]
    return source.sign * (channel.offset + channel.step * round(float(np.median(values))))
