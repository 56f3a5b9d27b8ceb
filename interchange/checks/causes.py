"""Why do the limb leads not fit together?

Each cause is tried on a stretch of the tracing: undo it, and see whether every sum then holds.  A cause is named only
when next to nothing of the misfit is left and no other cause explains as much.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from itertools import combinations
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from interchange.leads import RELATIONS, Samples, parse
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Cause", "find_cause"]

Kind = Literal["sign", "unaugmented", "exchanged", "scale", "skew"]
_STRETCH = 10
"""Seconds on each side of the place where the misfit is largest."""
_LONGEST_SKEW = Fraction(1, 25)
_AUGMENTED = ("aVR", "aVL", "aVF")
_ROUND = (10.0, 5.0, 2.0, 100.0, 1000.0)
_ORDER: tuple[Kind, ...] = ("sign", "unaugmented", "exchanged", "skew", "scale")
_LEFT = 0.05
"""Share of the misfit that may remain."""
_CLEARLY = 3.0
"""How many times as much another kind of cause must leave unexplained."""

Row: TypeAlias = "NDArray[np.float64]"


@dataclass(frozen=True, slots=True)
class Cause:
    """What explains the misfit.  ``amount``: factor of a scale, seconds of a skew (positive: the lead is late)."""

    kind: Kind
    leads: tuple[str, ...]
    amount: float = 0.0


def find_cause(channels: Sequence[Samples], at: int, rate: Fraction) -> Cause | None:
    """The one cause that explains the misfit of the limb leads around sample ``at``; None where none does.

    Nothing is said where two leads explain it equally well.
    """
    reach = int(_STRETCH * rate)
    low = max(0, min(at, channels[0].integers.size - reach) - reach)
    leads = _microvolts(channels, low, low + 2 * reach)
    relations = [parse(text).terms for text in RELATIONS if set(parse(text).leads) <= leads.keys()]
    summed = {name for terms in relations for name, _ in terms}
    involved = [name for name in leads if name in summed]
    if not relations:
        return None
    before = _misfit(leads, relations)
    rounding = max(float(sample.step) for sample in channels)
    tried = [
        (_misfit(undone, relations), cause)
        for cause, undone in _candidates({name: leads[name] for name in involved}, relations, rate)
    ]
    good = [(left, cause) for left, cause in tried if left <= max(_LEFT * before, 2 * rounding)]
    if not good:
        return None
    left, best = min(good, key=lambda pair: (pair[0], _ORDER.index(pair[1].kind)))
    rivals = [cause for other, cause in good if cause != best and other <= _CLEARLY * left + rounding]
    return None if any(not _same_thing(best, rival) for rival in rivals) else best


def _same_thing(best: Cause, rival: Cause) -> bool:
    """A scale of -1 is a wrong sign; neighbouring shifts of one lead are one shift."""
    return best.leads == rival.leads


def _microvolts(channels: Sequence[Samples], low: int, high: int) -> dict[str, Row]:
    """Values by lead without their means, 0 where any of them is missing."""
    there = np.ones(channels[0].integers[low:high].size, dtype=np.bool_)
    for sample in channels:
        if sample.missing is not None:
            there &= ~sample.missing[low:high]
    found = {}
    for sample in channels:
        row = sample.integers[low:high][there].astype(np.float64) * float(sample.step)
        found[sample.name] = row - row.mean() if row.size else row
    return found


def _misfit(leads: Mapping[str, Row], relations: Sequence[Sequence[tuple[str, Fraction]]]) -> float:
    """The largest root mean square among the sums."""
    largest = 0.0
    for terms in relations:
        total = sum((float(factor) * leads[name] for name, factor in terms), np.zeros(1))
        largest = max(largest, float(np.sqrt(np.mean(np.square(total)))))
    return largest


def _candidates(
    leads: Mapping[str, Row], relations: Sequence[Sequence[tuple[str, Fraction]]], rate: Fraction
) -> Iterator[tuple[Cause, Mapping[str, Row]]]:
    """Every cause, with the leads as they would be without it."""
    for name in leads:
        yield Cause("sign", (name,)), {**leads, name: -leads[name]}
    augmented = [name for name in _AUGMENTED if name in leads]
    if augmented:
        yield Cause("unaugmented", tuple(augmented)), {**leads, **{name: 1.5 * leads[name] for name in augmented}}
    for one, other in combinations(leads, 2):
        yield Cause("exchanged", (one, other)), {**leads, one: leads[other], other: leads[one]}
    for name in leads:
        predicted = _predicted(name, leads, relations)
        if predicted is None:
            continue
        yield from _scaled(name, leads, predicted)
        yield from _shifted(name, leads, predicted, rate)


def _predicted(name: str, leads: Mapping[str, Row], relations: Sequence[Sequence[tuple[str, Fraction]]]) -> Row | None:
    """The lead as the others have it, by the first sum that it is in."""
    for terms in relations:
        own = next((factor for lead, factor in terms if lead == name), None)
        if own is not None:
            rest = [float(-factor / own) * leads[lead] for lead, factor in terms if lead != name]
            return np.sum(rest, axis=0)  # type: ignore[no-any-return]
    return None


def _scaled(name: str, leads: Mapping[str, Row], predicted: Row) -> Iterator[tuple[Cause, Mapping[str, Row]]]:
    power = float(np.dot(predicted, predicted))
    factor = float(np.dot(leads[name], predicted)) / power if power else 0.0
    if factor > 0 and not 0.95 < factor < 1.05:
        yield Cause("scale", (name,), _rounded(factor)), {**leads, name: leads[name] / factor}


def _rounded(factor: float) -> float:
    """A factor that is nearly a round one is that one."""
    for value in (*_ROUND, *(1 / value for value in _ROUND)):
        if abs(factor / value - 1) < 0.02:
            return value
    return factor


def _shifted(
    name: str, leads: Mapping[str, Row], predicted: Row, rate: Fraction
) -> Iterator[tuple[Cause, Mapping[str, Row]]]:
    """The shift with which the lead is most like its prediction."""
    reach = min(int(_LONGEST_SKEW * rate), (leads[name].size - 1) // 4)
    if reach < 1:
        return
    middle = slice(reach, leads[name].size - reach)

    def moved(by: int) -> Row:
        return leads[name][middle.start + by : middle.stop + by]

    def distance(by: int) -> float:
        return float(np.square(moved(by) - predicted[middle]).sum())

    best = min((by for by in range(-reach, reach + 1) if by), key=distance)
    others = {lead: row[middle] for lead, row in leads.items()}
    yield Cause("skew", (name,), float(best / rate)), {**others, name: moved(best)}
