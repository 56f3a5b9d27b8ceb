"""First and second differences (EN 1064 clause 5.9 and Annex C)."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["MOST", "differ", "undo"]

MOST: Final = 2**31 - 1
"""Largest value that is followed; samples have 16 bits."""


def undo(stored: NDArray[Any], order: int) -> NDArray[np.int32] | None:
    """The samples behind stored differences of order 0, 1 or 2, along the last axis; None beyond 31 bits.

    The first value (order 1) or the first two (order 2) are originals.
    """
    if not order and stored.dtype == np.int16:
        return stored.astype(np.int32)
    values = stored.astype(np.int64)
    if order == 2 and values.shape[-1] > 1:
        values[..., 1] -= values[..., 0]
        np.cumsum(values[..., 1:], axis=-1, out=values[..., 1:])
        if _beyond(values):
            return None
    if order:
        np.cumsum(values, axis=-1, out=values)
    return None if _beyond(values) else values.astype(np.int32)


def _beyond(values: NDArray[np.int64]) -> bool:
    return values.size > 0 and max(-int(values.min()), int(values.max())) > MOST


def differ(samples: NDArray[Any], order: int) -> NDArray[np.int64]:
    """What is stored for samples: differences of order 0, 1 or 2."""
    stored = samples.astype(np.int64)
    if order == 1:
        stored[1:] = np.diff(stored)
    elif order == 2 and stored.size > 2:
        stored[2:] = np.diff(stored, 2)
    return stored
