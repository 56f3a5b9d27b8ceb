"""Channels as signals: integers, gain and baseline of one signal file, and its bytes.

The samples keep their own step wherever the format can hold it, so that no sample changes.  A channel whose zero lies
between two integers gets a finer step, and one with a negative step is turned round; both are exact.

Source: WFDB Applications Guide, header(5) and signal(5); sentinels: WFDB Programmer's Guide.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, NamedTuple

from interchange.errors import RefusedError
from interchange.formats.contract import Note
from interchange.formats.wfdb.codecs import CODECS
from interchange.formats.wfdb.numerals import decimal, decimal_text, integer
from interchange.formats.wfdb.units import unit_text
from interchange.model import Channel, Tracing

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Signal", "SignalFile", "stored"]

_AUTOMATIC: Final = (16, 24, 32)
_BASELINES: Final = 2**31
_MILLIVOLT: Final = Fraction(1000)
_UNCALIBRATED: Final = "0"


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
    """How a channel is stored: stored = sample x ``factor``; the gain field; the baseline."""

    factor: int
    gain: str
    baseline: int
    problem: str


def stored(
    tracing: Tracing, path: str, frame: int, first: int, frames: int, choice: str
) -> tuple[SignalFile, list[Note]]:
    """The signal file of a tracing that begins at sample ``first`` of a record of ``frames`` frames.

    ``choice``: "auto" or a format's number.  ``path`` names the tracing in notes.  Raises RefusedError where the
    samples do not fit the chosen format.
    """
    scales = [_scale(channel) for channel in tracing.channels]
    values, notes = _values(tracing, scales, path)
    form = _format(values, choice, path)
    codec = CODECS[form]
    sentinel = codec.sentinel if codec.sentinel is not None else 0
    block = _placed(values, tracing.missing, sentinel, first, frames * frame)
    signals = tuple(
        Signal(
            scale.gain,
            _resolution(channel),
            _zero(channel),
            start,
            total,
            channel.step / scale.factor,
            channel.offset,
        )
        for channel, scale, start, total in zip(
            tracing.channels,
            scales,
            block[:, 0].tolist() if block.size else [0] * len(scales),
            _sums(block),
            strict=True,
        )
    )
    return SignalFile(form, frame, signals, codec.encode(_stream(block, frame))), notes


# --- scale


def _scale(channel: Channel) -> _Scale:
    return _scaled(channel.unit, channel.step, channel.offset, _spelling(channel))


def _spelling(channel: Channel) -> str:
    """The unit of an uncalibrated signal as its own header spelled it."""
    return next((text for key, text in channel.extras if key == "wfdb.units"), "") if channel.unit is None else ""


@lru_cache(maxsize=256)
def _scaled(unit: str | None, step: Fraction, offset: Fraction, spelling: str) -> _Scale:
    problem = ""
    sign = -1 if step < 0 else 1
    factor, size = sign, abs(step)
    if size == 0:
        return _Scale(1, _UNCALIBRATED, 0, "a step of zero cannot be a gain")
    zero = -offset / size
    if zero.denominator != 1:
        factor, size, zero = sign * zero.denominator, size / zero.denominator, zero * zero.denominator
    baseline = zero.numerator
    if abs(baseline) >= _BASELINES:
        problem = "the baseline needs more than 32 bits"
        baseline = max(-_BASELINES + 1, min(_BASELINES - 1, baseline))
    if unit is None:
        text = _UNCALIBRATED + f"({baseline})" + (f"/{spelling}" if unit_text(spelling or " ") else "")
        return _Scale(factor, text, baseline, problem)
    gain = (_MILLIVOLT if unit == "uV" else Fraction(1)) / size
    label = "mV" if unit == "uV" else unit_text(unit)
    written = _exact_text(gain)
    if decimal(written) != gain:
        problem = "the gain has no decimal that reads back as it is"
    if label is None:
        label, problem = "NU", "the unit cannot stand in a header"
    return _Scale(factor, f"{written}({baseline})/{label}", baseline, problem)


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


def _values(tracing: Tracing, scales: Sequence[_Scale], path: str) -> tuple[NDArray[Any], list[Note]]:
    """Samples times their factors, as integers of 32 bits or fewer."""
    import numpy as np

    notes = [
        Note("changed", f"{path}.channels[{row}].step", scale.problem)
        for row, scale in enumerate(scales)
        if scale.problem
    ]
    if all(scale.factor == 1 for scale in scales):
        return tracing.samples, notes
    values = tracing.samples.astype(np.int64)
    for row, scale in enumerate(scales):
        most = max(abs(int(values[row].min())), abs(int(values[row].max()))) if values.shape[1] else 0
        if most * abs(scale.factor) >= 2**31:
            raise RefusedError(
                "step and offset have no common step that 32 bits hold", f"{path}.channels[{row}].offset"
            )
        values[row] *= scale.factor
        if scale.factor != -1:
            notes.append(Note("changed", f"{path}.channels[{row}].step", "a finer step puts zero on a whole number"))
    return values, notes


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
