"""The leads in rows and columns: 3 x 4, 6 x 2, 12 x 1 (the trade's printed convention, from memory)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from fractions import Fraction

from interchange.draw.columns import SQUARE, Stretch, System, laid_out
from interchange.draw.display import UNITS
from interchange.draw.leads import Place
from interchange.errors import UsageError
from interchange.records import dataclass

__all__ = ["SHAPES", "Matrix"]

SHAPES = {"3x4": (3, 4, Fraction(5, 2)), "6x2": (6, 2, Fraction(5)), "12x1": (12, 1, Fraction(10))}
"""Rows, columns, seconds of a column."""
SHORTEST = Fraction(1)
"""Seconds; a recording that would give shorter columns shows the same seconds in every column."""

CONSECUTIVE = "Columns follow each other in time without a gap."
SAME = "All columns show the same seconds."
ONE_BY_ONE = "The columns were recorded one after the other, not at the same time; the second stands below each."


@dataclass(frozen=True, slots=True)
class Matrix:
    """The shape, the stretch of time that each tracing offers, and the paper.

    ``spans``: from when to when each tracing can be drawn, by its index.  ``most``: systems that are not exceeded.
    """

    rows: int
    columns: int
    seconds: Fraction
    spans: dict[int, tuple[Fraction, Fraction]]
    speed: int
    width: int
    most: int

    def systems(self, places: Sequence[Place], rhythm: Sequence[Place]) -> tuple[list[System], str]:
        """All systems, block of time after block of time, and a word on how the columns follow each other."""
        length = max((end - start for start, end in self.spans.values()), default=Fraction(0))
        if length <= 0:
            return [], ""
        groups = [tuple(places[n : n + self.rows]) for n in range(0, len(places), self.rows)]
        if len(self.spans) > 1 or (self.columns > 1 and length < self.columns * SHORTEST):
            word = ONE_BY_ONE if len(self.spans) > 1 else SAME if self.columns > 1 else ""
            return self._each_from_its_start(groups, rhythm, length), word
        return self._consecutive(groups, rhythm), CONSECUTIVE if self.columns > 1 else ""

    def _consecutive(self, groups: Sequence[tuple[Place, ...]], rhythm: Sequence[Place]) -> list[System]:
        """Columns one after the other in time; leads beyond the last column go on below with the same time."""
        ((at, end),) = self.spans.values()
        seconds = self._column_seconds(end - at)
        block = seconds * self.columns
        spare = Fraction(self._spare(seconds), self.speed * UNITS)
        found: list[System] = []
        while at < end:
            until = end if end - at - block <= spare else at + block
            for number in range(0, len(groups), self.columns):
                stretches = self._block(groups[number : number + self.columns], at, until, seconds)
                found += laid_out(stretches, rhythm if number == 0 else (), self.speed, self.width)
            at = until
            self._guard(found)
        return found

    def _column_seconds(self, length: Fraction) -> Fraction:
        """Seconds of a column: the usual ones, or fewer (whole large squares) so that the last column is not empty."""
        if self.columns == 1 or length >= self.columns * self.seconds:
            return self.seconds
        square = Fraction(SQUARE, self.speed * UNITS)
        return max(math.floor(length / self.columns / square), 1) * square

    def _spare(self, seconds: Fraction) -> int:
        """Paper that is left beside the last column of a block."""
        wide = round(seconds * self.speed * UNITS)
        if wide > self.width:
            whole = self.width // SQUARE * SQUARE
            return self.width - (wide % whole or whole)
        in_one = self.width // wide
        return self.width - (self.columns % in_one or min(in_one, self.columns)) * wide

    def _block(
        self, groups: Sequence[tuple[Place, ...]], start: Fraction, end: Fraction, seconds: Fraction
    ) -> list[Stretch]:
        """One block of time; its last column takes all that is left."""
        stretches = []
        for number, group in enumerate(groups):
            begin = start + number * seconds
            finish = end if number == self.columns - 1 else min(begin + seconds, end)
            if begin < finish:
                stretches.append(Stretch(group, begin, finish))
        return stretches

    def _each_from_its_start(
        self, groups: Sequence[tuple[Place, ...]], rhythm: Sequence[Place], length: Fraction
    ) -> list[System]:
        """Each column begins where its own tracing does."""
        seconds = min(self.seconds, length) if len(self.spans) > 1 else length
        found: list[System] = []
        done = Fraction(0)
        while done < length:
            stretches = []
            for group in groups:
                start, end = self._range(group)
                begin, finish = start + done, min(start + done + seconds, end)
                if begin < finish:
                    stretches.append(Stretch(group, begin, finish))
            found += laid_out(stretches, (), self.speed, self.width, consecutive=False)
            done += seconds
            self._guard(found)
        for place in rhythm if length >= self.columns * SHORTEST else ():
            found += laid_out([Stretch((place,), *self._range((place,)))], (), self.speed, self.width)
        return found

    def _range(self, group: Iterable[Place]) -> tuple[Fraction, Fraction]:
        """From when to when there are samples of a group of leads; of empty places one column from the start."""
        spans = [self.spans[place.source.index] for place in group if place.source]
        if spans:
            return min(start for start, _ in spans), max(end for _, end in spans)
        first = min(start for start, _ in self.spans.values())
        return first, first + self.seconds

    def _guard(self, found: Sequence[System]) -> None:
        if len(found) > self.most:
            raise UsageError("the drawing would take too many pages; choose a stretch", "--start, --seconds")
