"""Signal files that are FLAC streams: formats 508, 516 and 524 (8, 16 and 24 bits).

Each signal is a channel (at most eight in a file), the rate field says 96000 whatever the true rate.  The stream is
decoded by soundfile, which comes with the extra ``flac`` and is imported only here.  A short stream can unfold to very
much: what is decoded is bounded by the size of the stream and by the number of samples that the header asks for.

Source: WFDB Applications Guide, signal(5) (text of the 10.7 development version).
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Final

from interchange.errors import InterchangeError, SourceError
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["FLAC_CHANNELS", "Unfolded", "decode_flac", "encode_flac"]

FLAC_CHANNELS: Final = 8
FLAC_RATE: Final = 96000
BASE_LIMIT: Final = 1 << 24
PER_BYTE: Final = 64
"""A stream may unfold to 2**24 samples plus 64 for each of its bytes (a limit of this project)."""

_BLOCK: Final = 1 << 16
_SUBTYPES: Final = {"PCM_S8": 8, "PCM_16": 16, "PCM_24": 24}


class Unfolded(NamedTuple):
    """What a stream holds: integers of shape (samples, channels), its sample width in bits and its rate field."""

    samples: NDArray[Any]
    bits: int
    rate: int


def decode_flac(data: bytes, channels: int, most: int | None, place: str) -> Unfolded:
    """At most ``most`` samples of each channel (None: all).

    Raises SourceError, naming ``place``, for a stream that is damaged, has another number of channels, or unfolds
    beyond the limit; InterchangeError where the decoder is not installed.
    """
    import numpy as np

    soundfile = _soundfile()
    limit = (BASE_LIMIT + PER_BYTE * len(data)) // max(channels, 1)
    blocks: list[NDArray[Any]] = []
    done = 0
    try:
        with soundfile.SoundFile(io.BytesIO(data)) as stream:
            bits = _SUBTYPES.get(stream.subtype, 0)
            if stream.format != "FLAC" or not bits:
                raise SourceError("is no FLAC stream of 8, 16 or 24 bits", place)
            if stream.channels != channels:
                raise SourceError(f"the FLAC stream has {stream.channels} channels, and {channels} are stated", place)
            while most is None or done < most:
                want = _BLOCK if most is None else min(_BLOCK, most - done)
                block = stream.read(want, dtype="int32", always_2d=True)
                if not len(block):
                    break
                blocks.append(block >> 32 - bits)
                done += len(block)
                if done > limit:
                    raise SourceError("the FLAC stream unfolds to more samples than its size allows", place)
            rate = int(stream.samplerate)
    except (soundfile.SoundFileError, RuntimeError, ValueError, OSError, AssertionError):
        raise SourceError("the FLAC stream is damaged", place) from None
    kind = np.int16 if bits <= 16 else np.int32
    whole = np.concatenate(blocks) if blocks else np.zeros((0, channels), dtype=np.int32)
    return Unfolded(whole.astype(kind), bits, rate)


def encode_flac(samples: NDArray[Any], bits: int) -> bytes:
    """The FLAC stream of integers of shape (samples, channels) that fit ``bits`` (8, 16 or 24)."""
    import numpy as np

    soundfile = _soundfile()
    out = io.BytesIO()
    subtype = next(name for name, width in _SUBTYPES.items() if width == bits)
    wide = np.ascontiguousarray(samples, dtype=np.int32) << 32 - bits
    soundfile.write(out, wide, FLAC_RATE, subtype=subtype, format="FLAC")
    return out.getvalue()


def _soundfile() -> Any:
    try:
        import soundfile
    except (ImportError, OSError):
        raise InterchangeError('FLAC signal files need the extra: pip install "field-ecg-interchange[flac]"') from None
    return soundfile
