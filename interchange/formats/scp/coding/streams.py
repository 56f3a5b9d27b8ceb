"""What a decoder hands over: the values of one lead's block, and where each of them ends."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Stream"]


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
