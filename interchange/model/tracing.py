"""A tracing: evenly sampled channels, exact.

Samples stay the integers that were stored; step, offset, rate and time are fractions.  The physical value of a sample
is ``offset + step * integer`` in the channel's unit, and nothing else is ever done to it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import field, replace
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Literal

from interchange.errors import UsageError
from interchange.model.basic import Extras
from interchange.model.exact import scaled, unscaled_digest
from interchange.records import dataclass

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from interchange.model.about import Filters

__all__ = ["Channel", "Kind", "Origin", "Tracing", "shared"]

Kind = Literal["rhythm", "representative beat"]
Origin = Literal["recorded", "derived", "reconstructed"]


@dataclass(frozen=True, slots=True)
class Channel:
    """One row of a tracing.

    ``name``: the trade's name of a lead ("I" ... "aVR" ... "V6", "V4R", "X"), for other signals their own label.
    ``label``: how the source named it, where that differs.  ``unit``: "uV" for every voltage, UCUM for others, None =
    not calibrated or not said.  Physical value = ``offset + step * integer`` in that unit.  ``skew``: seconds that
    this channel's samples were taken after the nominal instant.  ``origin``: ``derived`` = calculated from other leads
    (``derived_from`` says from what), ``reconstructed`` = samples are not exactly what was recorded.  ``bits``:
    resolution of the converter.
    """

    name: str
    unit: str | None = "uV"
    step: Fraction = Fraction(1)
    offset: Fraction = Fraction(0)
    label: str | None = None
    filters: Filters | None = None
    skew: Fraction = Fraction(0)
    origin: Origin = "recorded"
    derived_from: str | None = None
    bits: int | None = None
    extras: Extras = ()


def shared(channel: Channel) -> Channel:
    """The one object for all channels that equal this: what is the same object is compared in no time.

    For readers that keep channels by their bytes; long texts are not kept.
    """
    texts = (channel.name, channel.label, channel.derived_from, *(text for _, text in channel.extras))
    return _shared(channel) if sum(len(text or "") for text in texts) < 256 else channel


@lru_cache(maxsize=1024)
def _shared(channel: Channel) -> Channel:
    return channel


@dataclass(frozen=True, slots=True, eq=False)
class Tracing:
    """One rectangular block of evenly sampled channels.

    ``channels``: one per row of ``samples``.  ``samples``: integers of at most 32 bits, shape (channels, samples),
    read-only; 0 where missing.  ``rate``: samples per second.  ``missing``: None, or bool of the same shape, read-only.
    ``start``: seconds after the recording's first sample.  For a representative beat ``of`` is the index of the rhythm
    tracing that it was made from, ``fiducial`` the seconds from its first sample to the instant that the beats were
    aligned at, ``beat`` the number of the beat type (0 = the first).
    """

    channels: tuple[Channel, ...]
    samples: NDArray[np.integer[Any]]
    rate: Fraction
    missing: NDArray[np.bool_] | None = None
    start: Fraction = Fraction(0)
    kind: Kind = "rhythm"
    label: str | None = None
    of: int | None = None
    fiducial: Fraction | None = None
    beat: int | None = None
    extras: Extras = ()
    _digest: list[str] = field(default_factory=list, repr=False)

    def __post_init__(self) -> None:
        import numpy as np

        samples = self.samples
        if samples.ndim != 2 or len(self.channels) != samples.shape[0]:
            raise UsageError("samples must have the shape (channels, samples), one row per channel")
        if samples.dtype.kind not in "iu":
            raise UsageError("samples must be integers")
        if self.rate <= 0:
            raise UsageError("the rate must be above zero")
        if samples.dtype not in (np.int16, np.int32):
            samples = _narrowed(samples)
        missing = self.missing
        if missing is not None:
            if missing.shape != samples.shape:
                raise UsageError("the mask of missing samples must have the shape of the samples")
            if not missing.any():
                missing = None
            else:
                missing = np.array(missing, dtype=np.bool_)
                missing.flags.writeable = False
                if samples[missing].any():
                    samples = np.where(missing, samples.dtype.type(0), samples)
        if _can_change(samples) or not samples.flags.c_contiguous:
            samples = np.array(samples, order="C")
            samples.flags.writeable = False
        object.__setattr__(self, "samples", samples)
        object.__setattr__(self, "missing", missing)
        object.__setattr__(self, "_digest", [])

    @property
    def length(self) -> int:
        """Number of samples in each channel."""
        return int(self.samples.shape[1])

    @property
    def duration(self) -> Fraction:
        """Length in seconds: number of samples divided by the rate."""
        return self.length / self.rate

    @property
    def names(self) -> tuple[str, ...]:
        """The channels' names, in order."""
        return tuple(channel.name for channel in self.channels)

    @property
    def digest(self) -> str:
        """SHA-256 (hex) over lead names, rate, scale and samples.

        Scale and samples are taken together in lowest terms, so the same voltages stored with another step have the
        same digest; patient, time and every other header field play no part.
        """
        if not self._digest:
            self._digest.append(unscaled_digest(self))
        return self._digest[0]

    def has_content_of(self, other: Tracing) -> bool:
        """Whether names, units, scale, rate, samples and what is missing are the same, stored the same way.

        Then the digests are the same too; tracings with one digest may differ in how they are stored.
        """
        import numpy as np

        if self.rate != other.rate or (self.missing is None) != (other.missing is None):
            return False
        if self.missing is not None and not np.array_equal(self.missing, other.missing):  # type: ignore[arg-type]
            return False
        if self.channels != other.channels:
            scales = ([(c.name, c.unit, c.step, c.offset) for c in tracing.channels] for tracing in (self, other))
            if next(scales) != next(scales):
                return False
        return bool(np.array_equal(self.samples, other.samples))

    def row(self, name: str) -> int | None:
        """Index of the first channel of that name, None where there is none."""
        return next((i for i, channel in enumerate(self.channels) if channel.name == name), None)

    def physical(self) -> NDArray[np.float64]:
        """Values in each channel's own unit, shape (channels, samples); NaN where missing."""
        import numpy as np

        values = np.empty(self.samples.shape, dtype=np.float64)
        for row, channel in enumerate(self.channels):
            values[row] = self.samples[row]
            values[row] *= channel.step.numerator
            values[row] /= channel.step.denominator
            values[row] += float(channel.offset)
        if self.missing is not None:
            values[self.missing] = np.nan
        return values

    def microvolts(self) -> NDArray[np.float64]:
        """Microvolts, shape (channels, samples); NaN where missing and for channels that are no voltage."""
        values = self.physical()
        for row, channel in enumerate(self.channels):
            if channel.unit != "uV":
                values[row] = math.nan
        return values

    def take(self, rows: Sequence[int]) -> Tracing:
        """The tracing with these rows alone, in this order."""
        chosen = list(rows)
        return replace(
            self,
            channels=tuple(self.channels[row] for row in chosen),
            samples=self.samples[chosen],
            missing=None if self.missing is None else self.missing[chosen],
        )

    def scaled_to(self, row: int, denominator: int) -> Any:
        """Exact integers of one row: physical value times ``denominator`` (see ``interchange.model.exact.scaled``)."""
        return scaled(self.samples[row], self.channels[row].step, self.channels[row].offset, denominator)

    def __eq__(self, other: object) -> bool:
        """Equal in every field and in every sample as stored (the width of the integers plays no part)."""
        import numpy as np

        if not isinstance(other, Tracing):
            return NotImplemented
        if any(getattr(self, name) != getattr(other, name) for name in _PLAIN):
            return False
        if (self.missing is None) != (other.missing is None):
            return False
        if self.missing is not None and not np.array_equal(self.missing, other.missing):  # type: ignore[arg-type]
            return False
        return np.array_equal(self.samples, other.samples)

    def __hash__(self) -> int:
        return hash((self.channels, self.rate, self.start, self.length))


_PLAIN = ("channels", "rate", "start", "kind", "label", "of", "fiducial", "beat", "extras")


def _can_change(samples: NDArray[Any]) -> bool:
    """Whether somebody may still write to these samples: through the array itself or one that it is a view of."""
    import numpy as np

    held: object = samples
    while isinstance(held, np.ndarray):
        if held.flags.writeable:
            return True
        held = held.base
    return False


def _narrowed(samples: NDArray[Any]) -> NDArray[Any]:
    """The same integers as int16 or int32; UsageError beyond 32 bits."""
    import numpy as np

    low, high = (int(samples.min()), int(samples.max())) if samples.size else (0, 0)
    if low < -(2**31) or high >= 2**31:
        raise UsageError("samples need more than 32 bits")
    return samples.astype(np.int16 if low >= -(2**15) and high < 2**15 else np.int32)
