"""Sums of leads that must be zero, and how far from zero rounding alone can take them.

I + III = II and the like follow from the definition of the leads, so they hold whatever electrodes were exchanged; they
break when channels differ in time, scale, sign or filter, or when a label is wrong.  A sum that is zero throughout says
nothing: one of the leads was calculated from the others.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.leads.formula import Combination, parse
from interchange.leads.samples import (
    Samples,
    any_missing,
    by_lead,
    common_step,
    derive,
    largest_amount,
    same_length,
    whole,
)
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["RELATIONS", "Residual", "residual", "residuals", "rounding_tolerance"]

RELATIONS = (
    "I + III - II",
    "aVR + aVL + aVF",
    "2*aVR + I + II",
    "2*aVL - I + III",
    "2*aVF - II - III",
    "2*aVL - 2*I + II",
    "2*aVF - 2*II + I",
    "NehbD + NehbJ - NehbA",
)
"""Sums that are zero when their leads were recorded at the same time (from the definitions of the leads by electrode
potentials).  The two with I and II alone say something only where III was not recorded."""
WITHOUT_III = RELATIONS[5:7]
BLOCK = 1 << 16
HIGHEST = (2**63 - 1) // BLOCK
"""Largest sum that is calculated in 64 bits: a whole block of them can still be added up."""
TWINS = {"aVR": ("-aVR", "VR"), "aVL": ("VL",), "aVF": ("VF",)}
"""Leads that are an augmented lead but for a factor."""


@dataclass(frozen=True, slots=True)
class Residual:
    """What one sum that must be zero comes to, in the unit of the samples.

    ``tolerance``: the largest amount that rounding each lead to its step can cause.  ``compared``: samples at which
    all leads are there; ``beyond``: how many of these exceed the tolerance.  ``largest``: the largest amount and
    ``at`` its first sample (None where nothing was compared).  ``mean`` is exact, ``rms`` a float.  A mean of half a
    step or more below zero on a sum within one step is the mark of a source that rounds downwards.
    """

    relation: str
    tolerance: Fraction
    compared: int
    beyond: int
    largest: Fraction
    at: int | None
    mean: Fraction
    rms: float

    @property
    def leads(self) -> tuple[str, ...]:
        """Ids of the leads in the sum."""
        return parse(self.relation).leads

    @property
    def holds(self) -> bool:
        """Whether rounding explains all of it."""
        return self.beyond == 0

    @property
    def calculated(self) -> bool:
        """Whether it is zero throughout, so that one lead must have been calculated from the others."""
        return self.compared > 0 and self.largest == 0


def rounding_tolerance(combination: Combination, steps: Mapping[str, Fraction]) -> Fraction:
    """The largest amount by which ``combination`` moves when each lead is rounded to a multiple of its step."""
    return sum((abs(factor) * steps[lead] / 2 for lead, factor in combination.terms), Fraction(0))


def residuals(channels: Iterable[Samples]) -> tuple[Residual, ...]:
    """Every relation whose leads are all among ``channels`` (recorded at the same instants, in one unit).

    Of two channels of one lead the first is taken; -aVR, VR, VL and VF stand for the augmented lead where that was not
    recorded.  Raises UsageError where lengths differ.
    """
    found = by_lead(channels)
    for name, twins in TWINS.items():
        twin = next((twin for twin in twins if twin in found), None)
        if name not in found and twin is not None:
            found[name] = derive(name, [found[twin]])
    names = [text for text in RELATIONS if set(parse(text).leads) <= found.keys()]
    return tuple(residual(text, found) for text in names if not ("III" in found and text in WITHOUT_III))


def residual(relation: str, channels: Mapping[str, Samples]) -> Residual:
    """What the sum ``relation`` comes to over ``channels`` (by lead id).

    Raises UsageError where lengths differ, KeyError where a lead is not there.
    """
    combination = parse(relation)
    parts = [(factor, channels[lead]) for lead, factor in combination.terms]
    size = same_length([part for _, part in parts])
    tolerance = rounding_tolerance(combination, {lead: channels[lead].step for lead in combination.leads})
    offset = sum((factor * part.offset for factor, part in parts), Fraction(0))
    unit = common_step([*(factor * part.step for factor, part in parts), *([offset] if offset else [])])
    there = any_missing([part for _, part in parts])
    tally = _Tally(tolerance, unit)
    for start, sums in _sums(parts, unit, whole(offset / unit), size):
        tally.add(sums, start, None if there is None else ~there[start : start + len(sums)])
    return tally.result(relation)


def _sums(
    parts: list[tuple[Fraction, Samples]], unit: Fraction, offset: int, size: int
) -> Iterator[tuple[int, NDArray[Any]]]:
    """The sum in units, block by block: 64-bit integers where they hold it, else Python integers."""
    factors = [whole(factor * part.step / unit) for factor, part in parts]
    for start in range(0, size, BLOCK):
        blocks = [part.integers[start : start + BLOCK] for _, part in parts]
        bound = abs(offset) + sum(abs(f) * largest_amount(b) for f, b in zip(factors, blocks, strict=True))
        kind: type = np.int64 if bound <= HIGHEST else object
        total: NDArray[Any] = np.full(blocks[0].size, offset, kind)
        for factor, block in zip(factors, blocks, strict=True):
            total += factor * block.astype(kind)
        yield start, total


class _Tally:
    """Running figures of a sum in units of ``unit``."""

    def __init__(self, tolerance: Fraction, unit: Fraction) -> None:
        self._tolerance, self._unit = tolerance, unit
        self._limit = min(math.floor(tolerance / unit), 2**63 - 1)
        self._compared = self._beyond = self._total = self._largest = 0
        self._at: int | None = None
        self._squares = 0.0

    def add(self, sums: NDArray[Any], start: int, there: NDArray[np.bool_] | None) -> None:
        places = np.arange(len(sums)) if there is None else np.flatnonzero(there)
        if not places.size:
            return
        amounts = abs(sums[places])
        top = int(amounts.argmax())
        if self._at is None or int(amounts[top]) > self._largest:
            self._largest, self._at = int(amounts[top]), start + int(places[top])
        self._compared += places.size
        self._beyond += int(np.count_nonzero(amounts > self._limit))
        self._total += int(sums[places].sum())
        self._squares += float(np.square(amounts.astype(np.float64)).sum())

    def result(self, relation: str) -> Residual:
        count = self._compared
        return Residual(
            relation=relation,
            tolerance=self._tolerance,
            compared=count,
            beyond=self._beyond,
            largest=self._largest * self._unit,
            at=self._at,
            mean=Fraction(self._total, count) * self._unit if count else Fraction(0),
            rms=math.sqrt(self._squares / count) * float(self._unit) if count else 0.0,
        )
