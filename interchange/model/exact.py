"""Exact arithmetic on whole channels: integers times a fraction, without ever going through a float.

int64 is used where a bound shows that nothing can overflow, Python integers otherwise.
"""

from __future__ import annotations

import hashlib
import math
from fractions import Fraction
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interchange.model.tracing import Tracing

__all__ = ["common_denominator", "largest_magnitude", "scaled", "unscaled_digest"]

_SAFE = 2**62

_FEW = 64
"""Samples of a channel that are looked at first for a common divisor."""


def common_denominator(*fractions: Fraction) -> int:
    """The least integer that turns each of the fractions into a whole number."""
    return math.lcm(*(f.denominator for f in fractions))


def largest_magnitude(samples: NDArray[Any]) -> int:
    """The largest absolute value in an integer array, exact also for its most negative value."""
    return max(-int(samples.min()), int(samples.max()), 0) if samples.size else 0


def scaled(samples: NDArray[Any], step: Fraction, offset: Fraction, denominator: int) -> NDArray[Any]:
    """``(offset + step * samples) * denominator`` as exact integers, same shape.

    ``denominator`` must turn step and offset into whole numbers.  The result is int64, or an object array of Python
    integers where 64 bits might not do.
    """
    import numpy as np

    factor, shift = step * denominator, offset * denominator
    if factor.denominator != 1 or shift.denominator != 1:
        raise ValueError("the denominator does not turn step and offset into whole numbers")
    bound = abs(factor.numerator) * largest_magnitude(samples) + abs(shift.numerator)
    kind: Any = np.int64 if bound < _SAFE and abs(factor.numerator) < _SAFE else object
    return samples.astype(kind) * factor.numerator + shift.numerator


def unscaled_digest(tracing: Tracing) -> str:
    """SHA-256 over names, units, rate, and the values in lowest terms (see :attr:`Tracing.digest`).

    The values of a channel are little-endian integers of 16, 32 or 64 bits, the fewest that hold all of them, or
    decimal text where 64 bits do not.
    """
    import numpy as np

    digest = hashlib.sha256(f"tracing {tracing.rate} {tracing.length}".encode())
    coprime = np.gcd.reduce(tracing.samples[:, :_FEW].astype(np.int64), axis=1) == 1
    for row, channel in enumerate(tracing.channels):
        gone = None if tracing.missing is None else tracing.missing[row]
        gone = gone if gone is not None and gone.any() else None
        samples = tracing.samples[row] if gone is None else tracing.samples[row][~gone]
        if coprime[row] and channel.step > 0 and channel.offset == 0:  # so nearly always
            step, values = channel.step, samples
        else:
            step, values = _lowest_terms(samples, channel.step, channel.offset)
        digest.update(f"|{channel.name}|{channel.unit}|{step}|".encode())
        if gone is not None:
            digest.update(b"missing" + np.packbits(gone).tobytes())
        if values.dtype == object:
            digest.update(",".join(map(str, values.tolist())).encode())
        else:
            digest.update(_narrow(values).data)
    return digest.hexdigest()


def _lowest_terms(samples: NDArray[Any], step: Fraction, offset: Fraction) -> tuple[Fraction, NDArray[Any]]:
    """The values as (step, integers) with the largest positive step that holds them all."""
    import numpy as np

    if offset == 0:
        divisor = _common_divisor(samples)
        if divisor == 0:
            return Fraction(0), np.zeros(samples.shape, dtype=np.int16)
        sign = -1 if step < 0 else 1
        return abs(step) * divisor, samples.astype(np.int64) // divisor * sign
    denominator = common_denominator(step, offset)
    values = scaled(samples, step, offset, denominator)
    divisor = _common_divisor(values)
    if divisor == 0:
        return Fraction(0), np.zeros(samples.shape, dtype=np.int16)
    return Fraction(divisor, denominator), _compact(values // divisor)


def _narrow(values: NDArray[Any]) -> NDArray[Any]:
    """The same integers, little endian and contiguous, in the fewest of 2, 4 or 8 bytes that hold all of them."""
    import numpy as np

    kind = "<i2"
    if values.dtype.itemsize > 2 and values.size:
        low, high = int(values.min()), int(values.max())
        kind = next((kind for kind, bits in (("<i2", 15), ("<i4", 31)) if -(2**bits) <= low and high < 2**bits), "<i8")
    return np.ascontiguousarray(values, dtype=kind)


def _compact(values: NDArray[Any]) -> NDArray[Any]:
    """Python integers as int64 where all of them fit, so that equal values are equal bytes."""
    import numpy as np

    if values.dtype == object and all(-_SAFE < value < _SAFE for value in values.tolist()):
        return values.astype(np.int64)
    return values


def _common_divisor(values: NDArray[Any]) -> int:
    """Greatest common divisor of all values, 0 if all are zero; stops early, since it is nearly always 1."""
    import numpy as np

    flat = values.reshape(-1)
    if flat.dtype == object:
        return math.gcd(*flat.tolist()) if flat.size else 0
    divisor = 0
    width = _FEW
    start = 0
    while start < flat.size:
        divisor = math.gcd(divisor, int(np.gcd.reduce(flat[start : start + width].astype(np.int64))))
        if divisor == 1:
            return 1
        start, width = start + width, width * 4
    return divisor
