"""The next bits at every bit position, which both decoders look codes up with."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["SPARE", "WIDTH", "windows"]

WIDTH: Final = 12
"""Bits of a window by which codes are looked up."""
SPARE: Final = 16 - WIDTH
"""Bits of :func:`windows` behind those of a window."""


def windows(raw: NDArray[np.uint8]) -> NDArray[np.uint16]:
    """The next sixteen bits at every bit position; behind the end all bits are 0."""
    padded = np.zeros(raw.size + 4, dtype=np.uint8)
    padded[: raw.size] = raw
    words = np.ndarray((raw.size,), ">u4", padded.data, 0, (1,)).astype(np.uint32)
    found = np.empty((raw.size, 8), dtype=np.uint16)
    for bit in range(8):
        found[:, bit] = words >> (16 - bit)
    return found.reshape(-1)
