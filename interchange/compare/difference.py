"""One difference, and all of them together."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from interchange.records import dataclass

__all__ = ["PROTECTED", "Comparison", "Difference", "Protected"]

Protected = Literal["signal", "timing", "leads", "identity"]
PROTECTED: tuple[Protected, ...] = ("signal", "timing", "leads", "identity")
"""The classes that a conversion never changes unless it was accepted."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A value that is not the same on both sides.

    ``path``: field of the model with indices (those of the first recording; of the second for what only it has).
    ``before`` and ``after``: the values as text, None where a side has none.  ``kind``: ``changed`` (both have one),
    ``left`` (only the first), ``added`` (only the second).  ``protected``: the protected class that it belongs to.
    """

    path: str
    kind: Literal["changed", "left", "added"]
    before: str | None
    after: str | None
    protected: Protected | None = None


@dataclass(frozen=True, slots=True)
class Comparison:
    """All differences in the order of the model.

    ``sample_error``: largest difference of a sample in microvolts over all voltages present on both sides.
    ``time_error``: largest difference of a sample's time in seconds.
    """

    differences: tuple[Difference, ...]
    sample_error: Fraction = Fraction(0)
    time_error: Fraction = Fraction(0)

    @property
    def same(self) -> bool:
        """Whether nothing differs."""
        return not self.differences

    @property
    def same_samples(self) -> bool:
        """Whether no difference belongs to the signal, its timing or its leads."""
        return not any(d.protected in ("signal", "timing", "leads") for d in self.differences)

    @property
    def samples_identical(self) -> bool:
        """Whether every sample of every lead, in whatever unit, has exactly its value and its time on both sides."""
        moved = any(".samples[" in d.path for d in self.differences)
        return self.same_samples and not moved and not self.sample_error and not self.time_error
