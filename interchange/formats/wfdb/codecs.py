"""Signal formats: bytes of a signal file to integers and back.

A signal file is one stream of samples; the packed formats pack that stream and not each signal.  A codec turns the
stream into integers and integers into the stream; frames and signals are the business of :mod:`signals`.

Source: WFDB Applications Guide, signal(5); sentinels of missing samples: WFDB Programmer's Guide (since 10.3.17).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["CODECS", "FLAC_BITS", "Codec"]

_Decoder = Callable[[memoryview, int], "NDArray[Any]"]
_Encoder = Callable[["NDArray[Any]"], bytes]


@dataclass(frozen=True, slots=True)
class Codec:
    """One signal format.

    ``bits`` is the width of a sample, ``lowest`` and ``highest`` the range of *true* samples, ``sentinel`` the value
    that stands for a missing one (None: the format has none).  ``count(nbytes)`` is the number of samples that so many
    bytes hold, ``decode(data, count)`` the first ``count`` of them, ``encode(values)`` the bytes.  For format 8 the
    values are differences.  ``stray`` counts the bits that should be zero and are not.
    """

    number: int
    bits: int
    sentinel: int | None
    count: Callable[[int], int]
    decode: _Decoder
    encode: _Encoder
    stray: Callable[[memoryview], int] | None = None

    @property
    def lowest(self) -> int:
        """The least true sample."""
        return -(1 << (self.bits - 1)) + (self.sentinel is not None)

    @property
    def highest(self) -> int:
        """The greatest true sample."""
        return (1 << (self.bits - 1)) - 1


def _whole(kind: str, flip: int = 0) -> tuple[_Decoder, _Encoder]:
    """Decoder and encoder of samples that are whole integers of numpy kind ``kind``; ``flip`` turns the sign bit."""

    def decode(data: memoryview, count: int) -> NDArray[Any]:
        import numpy as np

        raw: NDArray[Any] = np.frombuffer(data, dtype=kind, count=count)
        return (raw ^ raw.dtype.type(flip)).view(f"i{raw.itemsize}") if flip else raw

    def encode(values: NDArray[Any]) -> bytes:
        import numpy as np

        raw = np.ascontiguousarray(values, dtype=f"<i{np.dtype(kind).itemsize}")
        if flip:
            raw = raw.view(f"<u{raw.itemsize}") ^ np.dtype(f"<u{raw.itemsize}").type(flip)
        return raw.astype(kind, copy=False).tobytes()

    return decode, encode


def _decode_24(data: memoryview, count: int) -> NDArray[Any]:
    import numpy as np

    wide = np.zeros((count, 4), dtype=np.uint8)
    wide[:, 1:] = np.frombuffer(data, dtype=np.uint8, count=3 * count).reshape(count, 3)
    return wide.view("<i4").reshape(count) >> 8


def _encode_24(values: NDArray[Any]) -> bytes:
    import numpy as np

    wide = np.ascontiguousarray(values, dtype="<i4").view(np.uint8).reshape(-1, 4)
    return wide[:, :3].tobytes()


def _padded(data: memoryview, size: int) -> NDArray[Any]:
    """The bytes as uint8, filled up with zeros to ``size``."""
    import numpy as np

    raw = np.frombuffer(data, dtype=np.uint8, count=min(len(data), size))
    return raw if raw.size == size else np.concatenate([raw, np.zeros(size - raw.size, dtype=np.uint8)])


def _signed(values: NDArray[Any], bits: int) -> NDArray[Any]:
    """The low ``bits`` of each value as a signed number (int16)."""
    shift = 16 - bits
    return (values << shift).view("i2") >> shift


def _count_212(size: int) -> int:
    return size // 3 * 2 + (size % 3 == 2)


def _decode_212(data: memoryview, count: int) -> NDArray[Any]:
    import numpy as np

    pairs = -(-count // 2)
    raw = _padded(data, 3 * pairs).reshape(pairs, 3).astype(np.uint16)
    out = np.empty((pairs, 2), dtype=np.uint16)
    out[:, 0] = raw[:, 0] | raw[:, 1] << 8
    out[:, 1] = raw[:, 2] | (raw[:, 1] & 0xF0) << 4
    return _signed(out, 12).reshape(-1)[:count]


def _encode_212(values: NDArray[Any]) -> bytes:
    import numpy as np

    size = len(values)
    flat = np.zeros((size + 1) // 2 * 2, dtype=np.uint16)
    flat[:size] = values.astype(np.int16).view(np.uint16) & 0xFFF
    pairs = flat.reshape(-1, 2)
    out = np.empty((len(pairs), 3), dtype=np.uint8)
    out[:, 0] = pairs[:, 0] & 0xFF
    out[:, 1] = pairs[:, 0] >> 8 | pairs[:, 1] >> 8 << 4
    out[:, 2] = pairs[:, 1] & 0xFF
    return out.tobytes()[: size // 2 * 3 + size % 2 * 2]


def _count_310(size: int) -> int:
    return size // 4 * 3 + (size % 4 >= 2)


def _decode_310(data: memoryview, count: int) -> NDArray[Any]:
    import numpy as np

    groups = -(-count // 3)
    words = _padded(data, 4 * groups).view("<u2").reshape(groups, 2)
    out = np.empty((groups, 3), dtype=np.uint16)
    out[:, :2] = words >> 1
    out[:, 2] = words[:, 0] >> 11 | words[:, 1] >> 11 << 5
    return _signed(out, 10).reshape(-1)[:count]


def _encode_310(values: NDArray[Any]) -> bytes:
    import numpy as np

    three = _threes(values)
    words = np.empty((len(three), 2), dtype="<u2")
    words[:, 0] = three[:, 0] << 1 | (three[:, 2] & 31) << 11
    words[:, 1] = three[:, 1] << 1 | three[:, 2] >> 5 << 11
    return words.tobytes()[: len(values) // 3 * 4 + len(values) % 3 * 2]


def _stray_310(data: memoryview) -> int:
    import numpy as np

    return int(np.count_nonzero(np.frombuffer(data, dtype="<u2", count=len(data) // 2) & 1))


def _count_311(size: int) -> int:
    return size // 4 * 3 + (0, 0, 1, 2)[size % 4]


def _decode_311(data: memoryview, count: int) -> NDArray[Any]:
    import numpy as np

    groups = -(-count // 3)
    words = _padded(data, 4 * groups).view("<u4")
    out = np.empty((groups, 3), dtype=np.uint16)
    for place in range(3):
        out[:, place] = (words >> 10 * place) & 0x3FF
    return _signed(out, 10).reshape(-1)[:count]


def _encode_311(values: NDArray[Any]) -> bytes:
    three = _threes(values).astype("<u4")
    words: bytes = (three[:, 0] | three[:, 1] << 10 | three[:, 2] << 20).astype("<u4").tobytes()
    return words[: len(values) // 3 * 4 + (0, 2, 3)[len(values) % 3]]


def _stray_311(data: memoryview) -> int:
    import numpy as np

    return int(np.count_nonzero(np.frombuffer(data, dtype="<u4", count=len(data) // 4) >> 30))


def _threes(values: NDArray[Any]) -> NDArray[Any]:
    """The low ten bits of the values in rows of three, filled up with zeros."""
    import numpy as np

    size = len(values)
    three = np.zeros(-(-size // 3) * 3, dtype=np.uint16)
    three[:size] = values.astype(np.int16).view(np.uint16) & 0x3FF
    return three.reshape(-1, 3)


def _codec(number: int, kind: str, flip: int = 0, *, missing: bool = True) -> Codec:
    size = int(kind[-1])
    decode, encode = _whole(kind, flip)
    return Codec(number, 8 * size, -(1 << (8 * size - 1)) if missing else None, lambda n: n // size, decode, encode)


CODECS: Final[dict[int, Codec]] = {
    codec.number: codec
    for codec in (
        _codec(8, "i1", missing=False),
        _codec(16, "<i2"),
        Codec(24, 24, -(1 << 23), lambda n: n // 3, _decode_24, _encode_24),
        _codec(32, "<i4"),
        _codec(61, ">i2"),
        _codec(80, "u1", 0x80),
        _codec(160, "<u2", 0x8000),
        Codec(212, 12, -(1 << 11), _count_212, _decode_212, _encode_212),
        Codec(310, 10, -(1 << 9), _count_310, _decode_310, _encode_310, _stray_310),
        Codec(311, 10, -(1 << 9), _count_311, _decode_311, _encode_311, _stray_311),
    )
}
"""The formats that are plain bytes, by number."""

FLAC_BITS: Final = {508: 8, 516: 16, 524: 24}
"""Sample width of each FLAC format; :mod:`flac` reads and writes them."""
