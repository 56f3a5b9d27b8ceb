"""Exact arithmetic on the integers of channels."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.errors import RefusedError, UsageError
from interchange.leads.derivation import derivation
from interchange.leads.formula import Combination
from interchange.records import dataclass
from interchange.vocabulary import lead_for_channel

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Samples", "combine", "common_step", "derive"]

HIGHEST = 2**63 - 1


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """One channel: value = ``offset`` + ``step`` x integer, in a unit that all channels of one calculation share.

    ``name`` is the channel's name in the model, ``integers`` has the shape (samples,), ``missing`` is None or a bool
    array of the same shape, true where there is no sample.  A step may be negative.  Raises UsageError for other shapes
    and types and for a step of zero.
    """

    name: str
    integers: NDArray[np.integer[Any]]
    step: Fraction
    offset: Fraction = Fraction(0)
    missing: NDArray[np.bool_] | None = None

    def __post_init__(self) -> None:
        if self.integers.ndim != 1 or self.integers.dtype.kind not in "iu":
            raise UsageError("samples are a row of integers")
        if self.missing is not None and (self.missing.shape != self.integers.shape or self.missing.dtype != np.bool_):
            raise UsageError("missing is a row of bool as long as the samples")
        if not self.step:
            raise UsageError("a step of zero says nothing")

    def value(self, index: int) -> Fraction | None:
        """The exact value at ``index``, None where the sample is missing."""
        if self.missing is not None and self.missing[index]:
            return None
        return self.offset + self.step * int(self.integers[index])


def common_step(steps: Iterable[Fraction]) -> Fraction:
    """The greatest step of which every one of ``steps`` is a whole multiple (signs do not count).

    Raises ValueError where there is none to begin with.
    """
    top, bottom = 0, 1
    for step in steps:
        scale = math.lcm(bottom, step.denominator)
        top = math.gcd(top * (scale // bottom), step.numerator * (scale // step.denominator))
        bottom = scale
    if top == 0:
        raise ValueError("no step that is not zero")
    return Fraction(top, bottom)


def derive(name: str, sources: Iterable[Samples]) -> Samples:
    """The channel ``name`` calculated from ``sources``, which were sampled at the same instants and in one unit.

    Exact: the step of the result is the greatest in which every value is a whole number (half the step of I and II for
    aVR, aVL and aVF; the greatest common step of sources whose steps differ).  Missing where a source is missing.

    Raises UsageError where the lead does not follow from the sources or their lengths differ, RefusedError where no
    step holds all values in 64 bits.
    """
    target = lead_for_channel(name)
    recorded = by_lead(sources)
    how = derivation(target.id, recorded) if target is not None else None
    if how is None:
        recorded_already = target is not None and target.id in recorded
        raise UsageError("is recorded" if recorded_already else "does not follow from the leads given", name)
    return combine(how.combination, recorded, name)


def by_lead(sources: Iterable[Samples]) -> dict[str, Samples]:
    """The sources by lead id; of two channels of one lead the first."""
    recorded: dict[str, Samples] = {}
    for source in sources:
        row = lead_for_channel(source.name)
        if row is not None:
            recorded.setdefault(row.id, source)
    return recorded


def combine(combination: Combination, sources: Mapping[str, Samples], name: str = "") -> Samples:
    """The exact value of ``combination``, with the ``sources`` by lead id.

    Raises UsageError where the sources differ in length, RefusedError where no step holds all values in 64 bits.
    """
    parts = [(factor, sources[lead]) for lead, factor in combination.terms]
    size = same_length([part for _, part in parts])
    step = common_step(factor * part.step for factor, part in parts)
    factors = [whole(factor * part.step / step) for factor, part in parts]
    if (
        sum(abs(factor) * largest_amount(part.integers) for factor, (_, part) in zip(factors, parts, strict=True))
        > HIGHEST
    ):
        raise RefusedError("the scales of the leads have no common step that holds the samples in 64 bits", name)
    total = np.zeros(size, np.int64)
    for factor, (_, part) in zip(factors, parts, strict=True):
        total += factor * part.integers.astype(np.int64)
    missing = any_missing([part for _, part in parts])
    if missing is not None:
        total[missing] = 0
    total.flags.writeable = False
    return Samples(name, total, step, sum((factor * part.offset for factor, part in parts), Fraction(0)), missing)


def same_length(parts: list[Samples]) -> int:
    """The length of all ``parts``.  Raises UsageError where it differs."""
    sizes = {part.integers.size for part in parts}
    if len(sizes) != 1:
        raise UsageError("leads that are calculated together need the same number of samples")
    return sizes.pop()


def whole(number: Fraction) -> int:
    """``number``, which is known to be whole, as an integer."""
    if number.denominator != 1:
        raise ValueError("not a whole number")
    return number.numerator


def any_missing(parts: list[Samples]) -> NDArray[np.bool_] | None:
    """Where at least one of ``parts`` has no sample, None if that is nowhere."""
    masks = [part.missing for part in parts if part.missing is not None and part.missing.any()]
    return np.logical_or.reduce(masks) if masks else None


def largest_amount(integers: NDArray[np.integer[Any]]) -> int:
    """The largest amount among ``integers``, 0 where there are none."""
    return max(abs(int(integers.min())), abs(int(integers.max()))) if integers.size else 0
