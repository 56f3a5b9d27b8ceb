"""Which windows a decoder uses: the chain ``place += advance`` through each block, many places at a time.

Where a window begins depends on all windows before it, which asks for a loop.  But two readings of one stream that
begin at different places soon fall into step, and from there on they are one.  So readings begin at every 512th bit,
go forward side by side, and end where another reading has been: the chain is then pieced together from the reading
that began with the block, the one that it ran into, and so on.

It is exact for every stream: where the chain comes to a reading that fell into step with no other, this one just goes
on alone, one window at a time.  The time is linear whatever the bits are: readings side by side end after a number of
rounds, and of those that go on alone no two visit the same place.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Places: TypeAlias = NDArray[np.int64]

__all__ = ["GAP", "LONGEST", "used_places"]

_CHUNK: Final = 512
"""Bits between the places where readings begin."""
_STRIDE: Final = 6
"""Windows that are read before it is looked at whether others have been there."""
LONGEST: Final = 28
"""Most bits of a window with the original value behind it."""
GAP: Final = -(-_STRIDE * LONGEST // 8) + 3
"""Bytes that have to lie behind each block: readings run on into them."""
_FEW: Final = 12
"""Readings that are not worth going side by side."""
_MOST_ROUNDS: Final = 40
"""Rounds after which what has not fallen into step goes on alone."""
_MOST_READINGS: Final = 0xFFF0
_END: Final = 0xFFFF
"""Owner of the places behind a block."""


def used_places(view: NDArray[np.uint16], advance: Places, blocks: Sequence[tuple[int, int]]) -> Places:
    """The bit positions at which a window is used, ascending; in the gap behind a block some may follow.

    ``view``: the next bits at every bit position; ``advance``: bits that a window uses, at most 28; ``blocks``: first
    and behind-last bit of each, with ``GAP`` bytes behind it.
    """
    return _Readings(view, advance, blocks).places()


class _Readings:
    """Readings are numbered from 1; ``owner`` says for every place which one was there, 0 for none."""

    def __init__(self, view: NDArray[np.uint16], advance: Places, blocks: Sequence[tuple[int, int]]) -> None:
        self.view = view
        self.advance = advance
        self.owner = np.zeros(view.size, dtype=np.uint16)
        self.firsts: list[tuple[int, int]] = []  # of each block the first place and the reading that begins there
        size = sum(end - first for first, end in blocks)
        chunk = max(_CHUNK, size // _MOST_READINGS * 2)
        starts: list[int] = []
        for first, end in blocks:
            self.owner[end : end + 8 * GAP] = _END
            if first < end:
                self.firsts.append((first, len(starts) + 1))
                starts += range(first, end, chunk) if size > _FEW * chunk else (first,)
        self.starts = np.array(starts, dtype=np.int64)
        self.target = np.zeros(len(starts) + 1, dtype=np.uint16)  # the reading that each one ran into, and where
        self.met = np.zeros(len(starts) + 1, dtype=np.int64)
        self.read: list[tuple[Places, NDArray[np.uint16]]] = []  # places, and the readings that were there

    def places(self) -> Places:
        """All places of the chains."""
        self._together()
        begins = self._begins()
        parts = [places[places >= begins.take(readings)] for places, readings in self.read]
        found = np.concatenate(parts) if parts else self.starts
        if int(self.view.size) < 2**31:
            found = found.astype(np.int32)  # sorts twice as fast
        found.sort()
        return found.astype(np.int64)

    def _together(self) -> None:
        """All readings side by side, until only few have not met another: their places stand in ``met``."""
        places = self.starts
        readings = np.arange(1, places.size + 1, dtype=np.uint16)
        for _ in range(_MOST_ROUNDS):
            if places.size <= _FEW:
                break
            seen = self.owner.take(places)
            there = seen.nonzero()[0]
            if there.size:
                ended = readings.take(there)
                self.target[ended] = seen.take(there)
                self.met[ended] = places.take(there)
                fresh = seen == 0
                places, readings = places[fresh], readings[fresh]
            steps = np.empty((_STRIDE, places.size), dtype=np.int64)
            for row in steps:
                row[:] = places
                places = places + self.advance.take(self.view.take(places))
            self.owner[steps] = readings
            self.read.append((steps, readings))
        self.met[readings] = places

    def _begins(self) -> Places:
        """From which place on each reading belongs to the chain of its block; beyond all places where it never does."""
        target, met = self.target.tolist(), self.met.tolist()
        begins = [self.view.size] * len(target)
        for first, number in self.firsts:
            place, reading = first, number
            while reading != _END:
                begins[reading] = place
                if not target[reading]:
                    target[reading], met[reading] = self._alone(reading, met[reading])
                place, reading = met[reading], target[reading]
        return np.array(begins, dtype=np.int64)

    def _alone(self, reading: int, place: int) -> tuple[int, int]:
        """Let a reading go on one window at a time; the one that it runs into, and where."""
        owner, view, advance = self.owner.data, self.view.data, self.advance.data
        path = []
        while not owner[place]:
            owner[place] = reading
            path.append(place)
            place += advance[view[place]]
        self.read.append((np.array(path, dtype=np.int64), np.full(len(path), reading, dtype=np.uint16)))
        return owner[place], place
