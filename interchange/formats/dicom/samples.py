"""Waveform Data: bytes to integers and back (PS3.3 C.10.9.1, PS3.5 8.3).

Samples lie interleaved, one value per channel, then the next instant, without padding between them.  The number of
bytes is checked before anything is allocated.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from interchange.errors import SourceError
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["CELLS", "Cell", "beyond_stored", "decode", "padding_mask", "unused_value"]


class Cell(NamedTuple):
    """One sample interpretation: its bits allocated and how numpy calls it; ``companding`` for the 8-bit laws."""

    bits: int
    dtype: str
    signed: bool
    companding: str = ""


CELLS: Final = {
    "SB": Cell(8, "i1", True),
    "UB": Cell(8, "u1", False),
    "MB": Cell(8, "u1", True, "mu"),
    "AB": Cell(8, "u1", True, "A"),
    "SS": Cell(16, "i2", True),
    "US": Cell(16, "u2", False),
    "SL": Cell(32, "i4", True),
    "UL": Cell(32, "u4", False),
    "SV": Cell(64, "i8", True),
    "UV": Cell(64, "u8", False),
}
"""Waveform Sample Interpretation (5400,1006), PS3.3 Table C.10-10."""


def decode(
    raw: bytes | memoryview, cell: Cell, channels: int, samples: int, little: bool, word: bool, place: str
) -> tuple[NDArray[Any], NDArray[Any], int]:
    """The samples as stored and their values, both of shape (channels, samples), and the bytes that were too many.

    The two differ for companded samples only, whose values are those of ITU-T G.711.  ``word``: the value
    representation is OW, which in big endian order swaps 8-bit samples in pairs.  SourceError where bytes are missing.
    """
    import numpy as np

    expected = channels * samples * (cell.bits // 8)
    padded = expected + expected % 2
    if len(raw) < expected:
        raise SourceError(
            f"{channels} channels of {samples} samples need {expected} bytes of waveform data, {len(raw)} are there",
            place,
        )
    if not little and cell.bits > 16:
        raise SourceError("samples of more than 16 bits in big endian order cannot be read safely", place)
    if not little and cell.bits == 8 and word:
        raw = np.frombuffer(raw[: len(raw) & ~1], dtype=">u2").astype("<u2").tobytes()
    kind = np.dtype(cell.dtype).newbyteorder("<" if little else ">")
    flat = np.frombuffer(raw, dtype=kind, count=channels * samples).reshape(samples, channels)
    stored = np.ascontiguousarray(flat.T, dtype=cell.dtype)
    values = _law(cell.companding)[stored] if cell.companding else stored
    if cell.bits == 64 or cell.dtype == "u4":
        values = _narrow(stored, place)
    return stored, values, max(len(raw) - padded, 0)


def _narrow(stored: NDArray[Any], place: str) -> NDArray[Any]:
    """The same integers in 64 signed bits; SourceError for what has more than 32."""
    import numpy as np

    if stored.size and (int(stored.min()) < -(2**31) or int(stored.max()) >= 2**31):
        raise SourceError("samples need more than 32 bits", place)
    return stored.astype(np.int64)


def _law(name: str) -> NDArray[Any]:
    """The 256 values of the companding laws (ITU-T G.711, from memory): 14 bits for mu, 13 bits for A."""
    import numpy as np

    code = np.arange(256, dtype=np.int32)
    if name == "mu":
        code = ~code & 0xFF
        size = (((code & 0x0F) << 1) + 33 << ((code & 0x70) >> 4)) - 33
        return np.where(code & 0x80, -size, size).astype(np.int16)
    code = code ^ 0x55
    segment = (code & 0x70) >> 4
    size = np.where(segment == 0, ((code & 0x0F) << 1) + 1, ((code & 0x0F) << 1) + 33 << np.maximum(segment - 1, 0))
    return np.where(code & 0x80, size, -size).astype(np.int16)


def padding_mask(stored: NDArray[Any], raw: bytes, cell: Cell, little: bool) -> NDArray[Any] | None:
    """Where the samples equal the padding value, compared before scaling; None where none does."""
    import numpy as np

    kind = np.dtype(cell.dtype).newbyteorder("<" if little else ">")
    if len(raw) < kind.itemsize:
        return None
    mask = stored == np.frombuffer(raw, dtype=kind, count=1)[0]
    return mask if mask.any() else None


def beyond_stored(values: NDArray[Any], mask: NDArray[Any] | None, signed: bool, bits: int) -> int:
    """How many samples do not fit in the bits that are said to be stored."""
    low, high = (-(1 << bits - 1), (1 << bits - 1) - 1) if signed else (0, (1 << bits) - 1)
    if not values.size or (int(values.min()) >= low and int(values.max()) <= high):
        return 0
    outside = (values < low) | (values > high)
    if mask is not None:
        outside &= ~mask
    return int(outside.sum())


def unused_value(samples: NDArray[Any], bits: int) -> int | None:
    """A value of so many signed bits that no sample has, the lowest that there is; None where all are taken."""
    import numpy as np

    low, high = -(1 << bits - 1), (1 << bits - 1) - 1
    if not samples.size or low < int(samples.min()):
        return low
    if int(samples.max()) < high:
        return high
    taken = np.unique(samples.reshape(-1).astype(np.int64))
    gaps = np.flatnonzero(np.diff(taken) > 1)
    return int(taken[gaps[0]]) + 1 if gaps.size else None
