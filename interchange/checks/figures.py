"""What the signal of one tracing is like, in numbers: the measures behind the findings on recording quality.

A tracing is looked at in stretches of about ten seconds, a few at a time, so that a day of ECG needs no more memory
than an hour.  Every measure is told as it is defined here; none of them judges anything.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from interchange.checks.view import Row, Strip
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Figures", "block_seconds", "figures"]

Floats: TypeAlias = "NDArray[np.float64]"
_STRETCH = 10
_AT_ONCE = 1 << 20
"""Samples (rows x length) that are worked on at once."""
_BLOCKS_PER_SECOND = 4
_NOISE_BLOCK = Fraction(1, 20)
_STEP_BLOCK = Fraction(1, 5)
MAINS = (50, 60)
_COARSE = 128
"""Points in which the slow part of a stretch is drawn."""
_FEW_MISSING = 0.2
_HALF = -float(np.log(1 - np.sqrt(0.5)))
"""Makes the square of 1 - exp(-x) one half at the edge."""
_SPIKE_SECONDS = 0.002
_PROMINENT = 3.0
"""From here on mains stand out of their neighbourhood and are taken out before noise is measured."""


@dataclass(frozen=True, slots=True)
class Figures:
    """Measures of the calibrated rows of a strip; the first axis of every array is the row.

    ``low``, ``high``: least and largest value in uV in blocks of a quarter of a second (NaN where no sample is).
    Per stretch, NaN where more than a fifth of the samples is missing: ``wander`` peak-to-peak of what is slower than
    the wander band, uV; ``mains`` root mean square in 1 Hz around 50 and 60 Hz, uV, ``prominence`` that divided by the
    root mean square of as wide a band beside it (last axis: 50, 60 Hz; NaN where the rate is too low); ``noise`` root
    mean square of what is faster than the noise band, without mains, in the quieter third of the time.  ``spike``:
    slope in mV/s with which the sharpest spike rises and falls back, and ``spike_at`` where, s.  ``step``: largest
    lasting change of level in uV, ``step_at`` where, s.  ``starts``: where the stretches begin, s.
    """

    rows: tuple[Row, ...]
    low: Floats
    high: Floats
    wander: Floats
    mains: Floats
    prominence: Floats
    noise: Floats
    spike: Floats
    spike_at: Floats
    step: Floats
    step_at: Floats
    starts: Floats


def block_seconds(strip: Strip) -> float:
    """Length of the blocks of ``low`` and ``high``, s."""
    return float(_block(strip.tracing.rate) / strip.tracing.rate)


def _block(rate: Fraction) -> int:
    return max(1, round(rate / _BLOCKS_PER_SECOND))


def figures(strip: Strip, wander_band: float = 0.7, noise_band: float = 20.0) -> Figures:
    """The measures of one tracing; rows without an amplitude scale and rows without any sample are left out."""
    rows = tuple(row for row in strip.rows if row.is_voltage and not row.empty)
    tracing = strip.tracing
    count = max(1, min(int(tracing.duration / _STRETCH), tracing.length))
    length = tracing.length // count
    group = max(1, _AT_ONCE // max(1, length * max(1, len(rows))))
    parts = [
        _measured(strip, rows, range(first, min(first + group, count)), length, wander_band, noise_band)
        for first in range(0, count, group)
    ]
    low, high = _ranges(strip, rows)
    joined = {name: np.concatenate([part[name] for part in parts], axis=1) for name in parts[0]}
    starts: Floats = np.arange(count, dtype=np.float64) * float(length / tracing.rate)
    return Figures(rows=rows, low=low, high=high, starts=starts, **joined)


def _ranges(strip: Strip, rows: tuple[Row, ...]) -> tuple[Floats, Floats]:
    """Least and largest value of every block."""
    tracing = strip.tracing
    size = min(_block(tracing.rate), tracing.length)
    count = max(1, tracing.length // size)
    low, high = np.empty((len(rows), count)), np.empty((len(rows), count))
    for at, row in enumerate(rows):
        codes = tracing.samples[row.index, : count * size].reshape(count, size)
        step, offset = float(row.channel.step), float(row.channel.offset)
        bottom, top = codes.min(axis=1) * step + offset, codes.max(axis=1) * step + offset
        if tracing.missing is not None and tracing.missing[row.index].any():
            bottom, top = _ranges_with_gaps(codes, tracing.missing[row.index, : count * size], step, offset)
        low[at], high[at] = np.minimum(bottom, top), np.maximum(bottom, top)
    return low, high


def _ranges_with_gaps(
    codes: NDArray[Any], gone: NDArray[np.bool_], step: float, offset: float
) -> tuple[Floats, Floats]:
    gone = gone.reshape(codes.shape)
    values = codes * step + offset
    empty = gone.all(axis=1)
    bottom = np.where(gone, np.inf, values).min(axis=1)
    top = np.where(gone, -np.inf, values).max(axis=1)
    return np.where(empty, np.nan, bottom), np.where(empty, np.nan, top)


def _measured(
    strip: Strip, rows: tuple[Row, ...], which: range, length: int, wander_band: float, noise_band: float
) -> dict[str, Floats]:
    """The measures of some stretches, shape (rows, stretches)."""
    rate = float(strip.tracing.rate)
    values = np.empty((len(rows), len(which), length))
    sound = np.ones((len(rows), len(which)), dtype=np.bool_)
    span = slice(which.start * length, which.stop * length)
    for at, row in enumerate(rows):
        part: Floats = strip.tracing.samples[row.index, span] * np.float64(row.channel.step)
        part += float(row.channel.offset)
        missing = strip.tracing.missing
        if missing is not None and missing[row.index, span].any():
            gone = missing[row.index, span]
            part = _bridged(part, gone)
            sound[at] = gone.reshape(len(which), length).mean(axis=1) <= _FEW_MISSING
        values[at] = part.reshape(len(which), length)
    found = {**_spikes(values, rate, which.start * length), **_steps(values, rate, which.start * length)}
    found |= _spectral(values, rate, wander_band, noise_band)
    for name in ("wander", "noise", "step"):
        found[name] = np.where(sound, found[name], np.nan)
    for name in ("mains", "prominence"):
        found[name] = np.where(sound[..., None], found[name], np.nan)
    return found


def _bridged(values: Floats, gone: NDArray[np.bool_]) -> Floats:
    """Straight lines over the gaps; zeros where nothing is there at all."""
    if gone.all():
        return np.zeros(values.shape)
    places = np.arange(values.size)
    return np.interp(places, places[~gone], values[~gone])


def _spikes(values: Floats, rate: float, first: int) -> dict[str, Floats]:
    """The sharpest spike of each stretch: it rises and falls back within 2 ms each, its top one or two samples wide.

    The lesser of the two slopes counts; a QRS is steep on one side of a sample, not on both.
    """
    reach = max(1, round(rate * _SPIKE_SECONDS))
    nothing = np.zeros(values.shape[:2])
    if values.shape[2] < 2 * reach + 2:
        return {"spike": nothing, "spike_at": nothing}
    found, places = nothing, nothing
    starts = first + np.arange(values.shape[1]) * values.shape[2]
    for width in (1, 2):
        before, after = values[..., : -2 * reach - width + 1], values[..., 2 * reach + width - 1 :]
        tops = [values[..., reach + i : values.shape[2] - reach - width + 1 + i] for i in range(width)]
        up = np.minimum.reduce(tops) - np.maximum(before, after)
        down = np.minimum(before, after) - np.maximum.reduce(tops)
        height = np.maximum(up, down, out=up)
        at = height.argmax(axis=2)
        top = np.take_along_axis(height, at[..., None], axis=2)[..., 0]
        places = np.where(top > found, (starts + at + reach) / rate, places)
        found = np.maximum(found, top)
    return {"spike": found * rate / reach / 1000, "spike_at": places}


def _steps(values: Floats, rate: float, first: int) -> dict[str, Floats]:
    """The largest change of level that lasts: medians over 0.2 s jump, and stay jumped for a second on each side."""
    size = max(1, round(rate * float(_STEP_BLOCK)))
    count = values.shape[2] // size
    nothing = np.zeros(values.shape[:2])
    lasting = round(1 / _STEP_BLOCK)
    if count < 2 * lasting + 1:
        return {"step": nothing, "step_at": nothing}
    blocks = values[..., : count * size].reshape(*values.shape[:2], count, size)
    medians = np.partition(blocks, size // 2, axis=3)[..., size // 2]
    windows = np.lib.stride_tricks.sliding_window_view(medians, lasting, axis=2)
    before, after = windows[..., : -lasting - 1, :], windows[..., lasting + 1 :, :]
    # after the block that holds the change: all five levels on one side of all five on the other
    rise = after.min(axis=3) - before.max(axis=3)
    fall = before.min(axis=3) - after.max(axis=3)
    change = np.maximum(rise, fall)
    at = change.argmax(axis=2)
    top = np.take_along_axis(change, at[..., None], axis=2)[..., 0]
    starts = first + np.arange(values.shape[1]) * values.shape[2]
    return {"step": np.maximum(top, 0.0), "step_at": (starts + (at + lasting) * size) / rate}


def _spectral(values: Floats, rate: float, wander_band: float, noise_band: float) -> dict[str, Floats]:
    """Wander, mains and noise from one Fourier transform of each stretch."""
    length = _smooth(values.shape[2])
    spectrum = np.fft.rfft(values[..., :length], axis=2)
    width = rate / length
    spectrum[..., 0] = 0
    found = {"wander": _wander(spectrum, length, int(np.ceil(wander_band / width)))}
    power = np.square(np.abs(spectrum)) * (2 / length**2)
    mains, prominence = zip(*(_line(power, width, frequency, rate) for frequency in MAINS), strict=True)
    found |= {"mains": np.stack(mains, axis=2), "prominence": np.stack(prominence, axis=2)}
    clear = found["prominence"] > _PROMINENT
    found["noise"] = _noise(_without_hum(spectrum, width, clear), length, rate, noise_band)
    return found


def _without_hum(spectrum: NDArray[np.complex128], width: float, clear: NDArray[np.bool_]) -> NDArray[np.complex128]:
    """Nothing within 1 Hz of a mains frequency and its harmonics, where that stands out; elsewhere as it is.

    (Taken out of a clean signal, so narrow a band would spread a part of each QRS over the whole stretch.)
    """
    frequencies = np.arange(spectrum.shape[2]) * width
    for which, frequency in enumerate(MAINS):
        if clear[..., which].any():
            harmonics = frequencies / frequency
            nearest = np.round(harmonics)
            hum = (nearest >= 1) & (np.abs(harmonics - nearest) * frequency <= 1)
            spectrum = np.where(clear[..., which][..., None] & hum, 0, spectrum)
    return spectrum


def _smooth(length: int) -> int:
    """The largest number up to ``length`` with no prime factor above 5: its transform is quick."""
    best = 1
    for twos in _powers(2, length):
        for threes in _powers(3, length // twos):
            for fives in _powers(5, length // (twos * threes)):
                best = max(best, twos * threes * fives)
    return best


def _powers(base: int, most: int) -> Iterator[int]:
    value = 1
    while value <= most:
        yield value
        value *= base


def _wander(spectrum: NDArray[np.complex128], length: int, bins: int) -> Floats:
    """Peak-to-peak of the slowest part, drawn in few points."""
    bins = min(bins, _COARSE // 2, spectrum.shape[2])
    if bins < 2:
        return np.zeros(spectrum.shape[:2])
    slow: Floats = np.fft.irfft(spectrum[..., :bins], n=_COARSE, axis=2) * (_COARSE / length)
    span: Floats = slow.max(axis=2) - slow.min(axis=2)
    return span


def _line(power: Floats, width: float, frequency: int, rate: float) -> tuple[Floats, Floats]:
    """Root mean square in 1 Hz around a frequency, and against that of 1 Hz beside it."""
    if frequency + 5 >= rate / 2 or width > 0.5:
        nothing = np.full(power.shape[:2], np.nan)
        return nothing, nothing
    inside = np.sqrt(_band(power, width, frequency - 0.5, frequency + 0.5))
    beside = (_band(power, width, frequency - 5, frequency - 1) + _band(power, width, frequency + 1, frequency + 5)) / 8
    return inside, inside / np.sqrt(np.maximum(beside, 1e-6))


def _band(power: Floats, width: float, low: float, high: float) -> Floats:
    band: Floats = power[..., int(np.ceil(low / width)) : int(np.floor(high / width)) + 1].sum(axis=2)
    return band


def _noise(spectrum: NDArray[np.complex128], length: int, rate: float, noise_band: float) -> Floats:
    """Root mean square above the noise band in short blocks; that of the quieter third lies outside the QRS."""
    size = max(2, round(rate * float(_NOISE_BLOCK)))
    count = length // size
    if count < 4 or not 0 < noise_band < rate / 2:
        return np.full(spectrum.shape[:2], np.nan)
    fast = np.fft.irfft(spectrum * _pass_band(spectrum.shape[2], rate / length, noise_band), n=length, axis=2)
    blocks = fast[..., : count * size].reshape(*spectrum.shape[:2], count, size)
    squares = np.einsum("rsbn,rsbn->rsb", blocks, blocks) / size
    third = count // 3
    quiet: Floats = np.sqrt(np.partition(squares, third, axis=2)[..., third])
    return quiet


def _pass_band(bins: int, width: float, noise_band: float) -> Floats:
    """Half the amplitude passes at the noise band.

    The edge is Gaussian: its response in time is short and does not ring, so that a tall QRS disturbs only its own
    neighbourhood.
    """
    frequencies = np.arange(bins) * width
    gain: Floats = np.square(1 - np.exp(-_HALF * np.square(frequencies / noise_band)))
    return gain
