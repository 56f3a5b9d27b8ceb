"""One amplitude step for all leads, in whole nanovolts (EN 1064 clauses 5.8 and 5.9).

Exact wherever 16 bits and whole nanovolts allow it: first the common step that the channels have, then the greatest
common step of the values that occur.  Otherwise the step that moves samples least.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from interchange.errors import RefusedError
from interchange.model.exact import common_denominator, largest_magnitude, scaled
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Row", "Scaled", "scale"]

_LARGEST_STEP: Final = 0xFFFF
_LOW, _HIGH = -32768, 32767


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """The samples of one lead; physical value in microvolts = ``offset + step * integer``.

    ``missing`` is True where a sample is not known and its integer means nothing; None where all are known.
    """

    samples: NDArray[Any]
    step: Fraction
    offset: Fraction
    missing: NDArray[np.bool_] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Scaled:
    """Counts of ``step`` nanovolts for every row; ``exact`` is False where some value was moved."""

    step: int
    rows: tuple[NDArray[Any], ...]
    exact: bool


def scale(rows: Sequence[Row]) -> Scaled:
    """The rows in one step; 0 for samples that are missing, which have no part in the choice of the step.

    RefusedError for amplitudes beyond what 16 bits of the largest step hold (2.1 V).
    """
    if all(row.missing is None for row in rows):
        return _scaled(rows)
    found = _scaled([_known(row) for row in rows])
    return Scaled(found.step, tuple(map(_with_gaps, rows, found.rows)), found.exact)


def _known(row: Row) -> Row:
    return row if row.missing is None else Row(row.samples[~row.missing], row.step, row.offset)


def _with_gaps(row: Row, known: NDArray[Any]) -> NDArray[Any]:
    if row.missing is None:
        return known
    counts = np.zeros(row.samples.size, known.dtype)
    counts[~row.missing] = known
    return counts


def _scaled(rows: Sequence[Row]) -> Scaled:
    as_they_are = _as_they_are(rows)
    if as_they_are is not None:
        return as_they_are
    denominator = common_denominator(*(f * 1000 for row in rows for f in (row.step, row.offset)))
    values = [scaled(row.samples, row.step * 1000, row.offset * 1000, denominator) for row in rows]
    if 2 * _LARGEST_STEP * denominator >= 2**62:
        values = [value.astype(object) for value in values]
    for step in _exact_steps(rows, values, denominator):
        counts = [value // (step * denominator) for value in values]
        if all(_fits(count) for count in counts):
            return Scaled(step, tuple(count.astype(np.int32) for count in counts), True)
    return _rounded(rows, values, denominator)


def _as_they_are(rows: Sequence[Row]) -> Scaled | None:
    """The samples themselves where they are counts of one step of whole nanovolts already."""
    first = rows[0].step if rows else Fraction(0)
    step = first * 1000
    if step.denominator != 1 or not 1 <= step <= _LARGEST_STEP:
        return None
    for row in rows:
        if row.offset or row.step != first or not (row.samples.dtype == np.int16 or _fits(row.samples)):
            return None
    return Scaled(int(step), tuple(row.samples for row in rows), True)


def _fits(counts: NDArray[Any]) -> bool:
    return not counts.size or (int(counts.min()) >= _LOW and int(counts.max()) <= _HIGH)


def _exact_steps(rows: Sequence[Row], values: Sequence[NDArray[Any]], denominator: int) -> Iterator[int]:
    """Steps in nanovolts of which every value is a multiple, to be tried in this order."""
    natural = _greatest_common(*(f * 1000 for row in rows for f in (row.step, row.offset)))
    is_step = natural.denominator == 1 and 1 <= natural <= _LARGEST_STEP
    if is_step:
        yield int(natural)
    common = math.gcd(*(_divisor(value) for value in values))
    if common == 0:
        yield int(natural) if is_step else 1000
    elif common % denominator == 0:
        yield _largest_divisor(common // denominator)


def _greatest_common(*fractions: Fraction) -> Fraction:
    denominator = common_denominator(*fractions)
    return Fraction(math.gcd(*(int(f * denominator) for f in fractions)), denominator)


def _divisor(values: NDArray[Any]) -> int:
    """Greatest common divisor of all values, 0 if all are 0."""
    if not values.size:
        return 0
    return math.gcd(*values.tolist()) if values.dtype == object else int(np.gcd.reduce(values))


def _largest_divisor(number: int) -> int:
    """The largest divisor of a number that a step can be."""
    if number <= _LARGEST_STEP:
        return number
    return next(step for step in range(_LARGEST_STEP, 0, -1) if number % step == 0)


def _rounded(rows: Sequence[Row], values: Sequence[NDArray[Any]], denominator: int) -> Scaled:
    """Every value to the nearest multiple of the step that moves the worst of them least."""
    largest = max(largest_magnitude(value) for value in values)
    smallest = max(1, -(-largest // (_HIGH * denominator)))
    if smallest > _LARGEST_STEP:
        raise RefusedError("the amplitudes exceed what the format can hold (16 bits of 65535 nV)", "tracings.samples")
    near = {max(smallest, min(round(row.step * 1000), _LARGEST_STEP)) for row in rows}
    candidates = sorted({smallest, *near})
    best = min(candidates, key=lambda step: _error(values, step * denominator))
    counts = [_nearest(value, best * denominator).astype(np.int32) for value in values]
    return Scaled(best, tuple(counts), _error(values, best * denominator) == 0)


def _nearest(values: NDArray[Any], step: int) -> NDArray[Any]:
    if 2 * step + 2 * largest_magnitude(values) >= 2**63:
        values = values.astype(object)
    rounded: NDArray[Any] = (2 * values + step) // (2 * step)
    return rounded


def _error(values: Sequence[NDArray[Any]], step: int) -> int:
    return max((largest_magnitude(value - _nearest(value, step) * step) for value in values), default=0)
