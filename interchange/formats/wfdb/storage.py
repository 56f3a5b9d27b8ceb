"""Channels as signals: integers, gain and baseline of one signal file, and its bytes.

The samples keep their own step wherever the format can hold it, so that no sample changes.  A channel whose zero lies
between two integers gets a finer step, and one with a negative step is turned round; both are exact.

Source: WFDB Applications Guide, header(5) and signal(5); sentinels: WFDB Programmer's Guide.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, Literal

from interchange.compare.signal import TOLERANCE
from interchange.errors import RefusedError
from interchange.formats.contract import Note
from interchange.formats.wfdb.codecs import CODECS
from interchange.formats.wfdb.numerals import decimal, decimal_text, integer
from interchange.formats.wfdb.units import unit_text
from interchange.model import Channel, Tracing
from interchange.model.exact import largest_magnitude
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["NO_UNIT", "Signal", "SignalFile", "stored"]

_AUTOMATIC: Final = (16, 24, 32)
_FARTHEST: Final = 10**17
"""A baseline beyond it has more digits than headers are read with."""

NO_UNIT: Final = "other"
"""Stands for a unit that cannot stand in a header; an info string has the true one."""

_LOWEST: Final = 1 - 2**31
_HIGHEST: Final = 2**31 - 1
"""The least and the greatest true sample of 32 bits."""

_VERY_NEAR: Final = Fraction(1, 10**6)

_MILLIVOLT: Final = Fraction(1000)


class Signal(NamedTuple):
    """One signal line without file and format.

    ``gain`` is the whole field with baseline and unit; ``step`` and ``offset`` are what the stored integers have.
    """

    gain: str
    resolution: int
    zero: int
    initial: int
    checksum: int
    step: Fraction
    offset: Fraction


class SignalFile(NamedTuple):
    """One signal file: format, samples per frame, its signals, and its bytes."""

    format: int
    frame: int
    signals: tuple[Signal, ...]
    data: bytes


class _Scale(NamedTuple):
    """How a channel is stored: stored = sample x ``factor``; gain and unit of the gain field; the baseline.

    ``exact``: whether gain and baseline say step and offset exactly; where they do not an info string does.  ``off``:
    how far the baseline is from the true zero, in steps of the channel.
    """

    factor: int
    gain: str
    unit: str
    baseline: int
    exact: bool
    off: Fraction = Fraction(0)

    @property
    def is_far(self) -> bool:
        """Whether the baseline is farther off than a thousandth of a stored step."""
        return abs(self.off * self.factor) > TOLERANCE


def stored(
    tracing: Tracing, path: str, frame: int, first: int, frames: int, choice: str
) -> tuple[SignalFile, list[Note]]:
    """The signal file of a tracing that begins at sample ``first`` of a record of ``frames`` frames.

    ``choice``: "auto" or a format's number.  ``path`` names the tracing in notes.  Raises RefusedError where the
    samples do not fit the chosen format.
    """
    scales = [_fitting(tracing, row, path) for row in range(len(tracing.channels))]
    values, shifts = _values(tracing, scales)
    form = _format(values, choice, path)
    codec = CODECS[form]
    sentinel = codec.sentinel if codec.sentinel is not None else 0
    block = _placed(values, tracing.missing, sentinel, first, frames * frame)
    starts = block[:, 0].tolist() if block.size else [0] * len(scales)
    signals = []
    for channel, scale, shift, start, total in zip(tracing.channels, scales, shifts, starts, _sums(block), strict=True):
        step = channel.step / scale.factor
        gain = f"{scale.gain}({scale.baseline + shift}){scale.unit}"
        offset = channel.offset - shift * step
        if scale.is_far:  # then no info string may put right what everybody else sees
            offset -= scale.off * channel.step
        signals.append(Signal(gain, _resolution(channel), _zero(channel), start, total, step, offset))
    notes = [
        Note(kind, f"{path}.channels[{row}].{name}", reason)
        for row, (scale, shift) in enumerate(zip(scales, shifts, strict=True))
        for kind, name, reason in _told(scale, shift)
    ]
    return SignalFile(form, frame, tuple(signals), codec.encode(_stream(block, frame))), notes


def _told(scale: _Scale, shift: int) -> Iterator[tuple[Literal["changed", "info"], str, str]]:
    """Kind, field and reason of what the receipt should say about a scale."""
    if scale.factor == -1:
        yield (
            "changed",
            "step",
            "the signal is stored the other way round, since a gain must be positive; no value changes",
        )
    elif scale.factor != 1:
        yield "changed", "step", "a finer step puts zero on a whole number, or next to one; no value changes"
    if shift:
        yield "changed", "offset", "moved by whole steps to keep clear of the sentinel; no value changes"
    if scale.is_far:
        yield "changed", "offset", "no baseline is near enough to zero with samples of 32 bits"
    elif scale.off:
        part = "millionth" if abs(scale.off) <= _VERY_NEAR else "thousandth"
        yield "info", "offset", f"the baseline is off by at most a {part} of a step; an info string says it exactly"
    elif not scale.exact:
        yield "info", "step", "gain, baseline and unit cannot say it exactly; an info string does"


# --- scale


def _fitting(tracing: Tracing, row: int, path: str) -> _Scale:
    """The scale of a channel: exact if 32 bits hold the samples in it, else with the baseline that is nearest."""
    channel = tracing.channels[row]
    spelling = next((text for key, text in channel.extras if key == "wfdb.units"), "") if channel.unit is None else ""
    what = channel.unit, channel.step, channel.offset, spelling
    largest = max(largest_magnitude(tracing.samples[row]), 1)
    with contextlib.suppress(RefusedError):
        scale = _scaled(*what)
        if abs(scale.factor) == 1 or largest * abs(scale.factor) <= _HIGHEST:
            return scale
    try:
        return _scaled(*what, max(_HIGHEST // largest, 1))
    except RefusedError as error:
        raise RefusedError(error.reason, f"{path}.channels[{row}].offset") from None


@lru_cache(maxsize=256)
def _scaled(unit: str | None, step: Fraction, offset: Fraction, spelling: str, most: int | None = None) -> _Scale:
    """Gain and baseline of a step and offset, with a finer step where zero lies between two integers.

    ``most``: how many times finer it may be; then the baseline is the nearest that there is.
    """
    if unit is None or step == 0:
        exact = unit is None and step == 1 and offset.denominator == 1 and abs(offset) < _FARTHEST
        label = f"/{spelling}" if unit is None and spelling and unit_text(spelling) else ""
        return _Scale(1, "0", label, -offset.numerator if exact else 0, exact)
    sign, size = (-1 if step < 0 else 1), abs(step)
    true = -offset / size
    zero = true if most is None else _near(true, most)
    factor, size, baseline = sign * zero.denominator, size / zero.denominator, zero.numerator
    if abs(baseline) >= _FARTHEST:
        raise RefusedError("the offset is too many steps away from zero for a baseline")
    gain = (_MILLIVOLT if unit == "uV" else Fraction(1)) / size
    spelled = "mV" if unit == "uV" else unit_text(unit)
    text = _exact_text(gain)
    exact = spelled is not None and decimal(text) == gain and zero == true
    return _Scale(factor, text, f"/{spelled or NO_UNIT}", baseline, exact, (zero - true) * sign)


def _near(value: Fraction, most: int) -> Fraction:
    """A fraction within a millionth of ``value`` with a small denominator; the nearest with one of at most ``most``.

    A whole number that is near enough is taken as it is: a record that is read and written again stays the same.
    """
    if abs(round(value) - value) <= TOLERANCE:
        return Fraction(round(value))
    limit = 10
    while limit < most:
        found = value.limit_denominator(limit)
        if abs(found - value) <= min(_VERY_NEAR, TOLERANCE / found.denominator):
            return found
        limit *= 10
    return value.limit_denominator(most)


def _exact_text(value: Fraction) -> str:
    """A decimal that this package reads back as ``value``, the shortest of a few; else the plain one."""
    plain = decimal_text(value)
    if decimal(plain) == value:
        return plain
    for digits in (20, 24, 28, 32, 40, 48):
        longer = decimal_text(value, digits)
        if decimal(longer) == value:
            return longer
    return plain


# --- samples


def _values(tracing: Tracing, scales: Sequence[_Scale]) -> tuple[NDArray[Any], list[int]]:
    """Samples in the stored scale, and by how much each row was shifted to keep clear of the widest sentinel."""
    import numpy as np

    shifts = [0] * len(scales)
    narrow = tracing.samples.dtype == np.int16
    if all(scale.factor == 1 for scale in scales) and (narrow or not _outside(tracing.samples)):
        return tracing.samples, shifts
    values = tracing.samples.astype(np.int64)
    for row, scale in enumerate(scales):
        values[row] *= scale.factor
    for row in _outside(values):
        low, high = int(values[row].min()), int(values[row].max())
        shifts[row] = _LOWEST - low if low < _LOWEST else _HIGHEST - high
        values[row] += shifts[row]
    return values, shifts


def _outside(values: NDArray[Any]) -> list[int]:
    """Rows with a sample beyond the true samples of 32 bits."""
    low, high = values.min(axis=1, initial=0), values.max(axis=1, initial=0)
    rows: list[int] = ((low < _LOWEST) | (high > _HIGHEST)).nonzero()[0].tolist()
    return rows


def _format(values: NDArray[Any], choice: str, path: str) -> int:
    """The chosen format, or the narrowest of 16, 24 and 32 that holds every true sample."""
    low, high = (int(values.min()), int(values.max())) if values.size else (0, 0)
    for number in _AUTOMATIC if choice == "auto" else (int(choice),):
        codec = CODECS[number]
        if codec.lowest <= low and high <= codec.highest:
            return number
    what = "any format" if choice == "auto" else f"format {choice}"
    raise RefusedError(f"the samples do not fit {what} beside the sentinel of missing samples", f"{path}.samples")


def _placed(values: NDArray[Any], missing: NDArray[Any] | None, sentinel: int, first: int, length: int) -> NDArray[Any]:
    """The samples at their place in the record, the sentinel where there are none."""
    import numpy as np

    if missing is not None:
        values = np.where(
            missing, values.dtype.type(sentinel) if _holds(values, sentinel) else np.int64(sentinel), values
        )
    size = values.shape[1]
    if first == 0 and size == length:
        return values
    block = np.full((values.shape[0], length), sentinel, dtype=np.int32 if values.dtype.itemsize <= 4 else np.int64)
    block[:, first : first + size] = values
    return block


def _holds(values: NDArray[Any], number: int) -> bool:
    import numpy as np

    return bool(np.iinfo(values.dtype).min <= number)


def _sums(block: NDArray[Any]) -> list[int]:
    """Checksums as the header writes them: signed 16 bits."""
    import numpy as np

    if block.dtype == np.int16 and block.flags.c_contiguous:
        sums: list[int] = block.view(np.uint16).sum(axis=1, dtype=np.uint16).view(np.int16).tolist()
        return sums
    totals: list[int] = (block.sum(axis=1, dtype=np.int64) & 0xFFFF).astype(np.uint16).view(np.int16).tolist()
    return totals


def _stream(block: NDArray[Any], frame: int) -> NDArray[Any]:
    """The samples in the order of the file: frame by frame, those of one signal side by side."""
    count, length = block.shape
    if frame == 1:
        return block.T.reshape(-1)
    return block.reshape(count, length // frame, frame).transpose(1, 0, 2).reshape(-1)


# --- the rest of the line


def _resolution(channel: Channel) -> int:
    """The converter's bits, 0 where they are not known (header(5): 0 means the default)."""
    return channel.bits if channel.bits is not None and 0 < channel.bits <= 32 else 0


def _zero(channel: Channel) -> int:
    """The ADC zero, where the recording was read from a header that states one."""
    return integer(next((text for key, text in channel.extras if key == "wfdb.adc-zero"), "")) or 0
