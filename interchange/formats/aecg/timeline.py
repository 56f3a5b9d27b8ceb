"""Which of several tracings holds an instant, found without a look at each."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence, Set
from fractions import Fraction
from itertools import pairwise

from interchange.model import Tracing
from interchange.records import dataclass

__all__ = ["TimeLine", "holding", "timeline"]


@dataclass(slots=True)
class TimeLine:
    """Tracings in the order of the document, and in that of time where no two of them overlap (else empty)."""

    among: Sequence[int]
    starts: Sequence[Fraction]
    ends: Sequence[Fraction]
    order: Sequence[int]
    begins: Sequence[Fraction]

    def at(self, instant: Fraction) -> int | None:
        """The first tracing that spans an instant, else the nearest one, the first of two that are equally near."""
        if len(self.among) == 1:
            return self.among[0]
        if not self.order:
            return self._nearest(range(len(self.among)), instant)
        after = bisect_right(self.begins, instant)
        return self._nearest(sorted(self.order[max(after - 1, 0) : after + 1]), instant)

    def _nearest(self, positions: Sequence[int], instant: Fraction) -> int | None:
        best: tuple[Fraction, int] | None = None
        for position in positions:
            start, end = self.starts[position], self.ends[position]
            if start <= instant < end:
                return self.among[position]
            gap = max(start - instant, instant - end)
            if best is None or gap < best[0]:
                best = (gap, position)
        return self.among[best[1]] if best else None


def timeline(tracings: Sequence[Tracing], ends: Sequence[Fraction], among: Sequence[int]) -> TimeLine:
    """The time line of some of the tracings; ``ends``: the end of every tracing."""
    starts, stops = [tracings[index].start for index in among], [ends[index] for index in among]
    order = sorted(range(len(among)), key=starts.__getitem__)
    apart = all(stops[a] <= starts[b] and starts[a] < starts[b] for a, b in pairwise(order))
    return TimeLine(among, starts, stops, order if apart else [], [starts[at] for at in order] if apart else [])


def holding(names: Sequence[Set[str]], among: Sequence[int], leads: Sequence[str]) -> Sequence[int]:
    """Those of the tracings that have the most of the leads; ``names``: the leads of every tracing."""
    if len(among) < 2 or not leads:
        return among
    found = {index: sum(lead in names[index] for lead in leads) for index in among}
    most = max(found.values())
    return [index for index in among if found[index] == most]
