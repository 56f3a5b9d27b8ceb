"""What a decoder hands over: the values of one lead's block, and where each of them ends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Plain", "Stream", "plain_stream"]


class Stream(Protocol):
    """The complete values that lie in one block, in the order of the file.

    ``values`` holds every value whose last bit is inside the block, padding taken for values included: only the
    sample count of section 3 says where the padding begins.  ``bits`` is the size of the block, ``undecodable``
    whether a bit string without meaning stopped the decoding before the end of the block.
    """

    @property
    def values(self) -> NDArray[Any]:
        """All complete values."""
        ...

    @property
    def bits(self) -> int:
        """Size of the block."""
        ...

    @property
    def undecodable(self) -> bool:
        """Whether a bit string without meaning was met."""
        ...

    def end(self, count: int) -> int:
        """Bits that the first ``count`` values take; ``count`` is at most the number of values."""
        ...


@dataclass(frozen=True, slots=True, eq=False)
class Plain:
    """A block of 16-bit integers."""

    values: NDArray[np.int16]
    bits: int
    undecodable: bool = False

    def end(self, count: int) -> int:
        """Bits that the first ``count`` values take."""
        return 16 * count


def plain_stream(block: bytes) -> Plain:
    """The whole 16-bit integers of a block (EN 1064 clause 5.9)."""
    return Plain(np.frombuffer(block, dtype="<i2", count=len(block) // 2), 8 * len(block))
