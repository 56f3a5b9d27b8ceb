"""Rows onto pages: as close as their lines allow without meeting, never scaled, on the next page where a page ends."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.draw.columns import System
from interchange.draw.display import UNITS
from interchange.draw.rows import Row
from interchange.records import dataclass

__all__ = ["TITLE", "Placed", "Stave", "packed"]

TITLE = 420
"""Height of the title above a system."""
TIMES = 300
"""Height of the times below it."""
CLEAR = 150
"""Paper between two lines where they come closest."""
CLOSEST = 7 * UNITS
"""Least distance of two zero lines."""
SPREAD = 12 * UNITS
"""A page with room to spare moves rows apart by at most this."""


@dataclass(frozen=True, slots=True, eq=False)
class Stave:
    """A system with its painted rows."""

    system: System
    rows: tuple[Row, ...]
    title: str

    @property
    def above(self) -> int:
        """From the top of the system to the first zero line."""
        return TITLE + int(self.rows[0].up.max())

    @property
    def below(self) -> int:
        """From the last zero line to the end of the system."""
        return int(self.rows[-1].down.max()) + TIMES

    def pitches(self) -> list[int]:
        """Distances from zero line to zero line."""
        return [_pitch(upper, lower) for upper, lower in zip(self.rows, self.rows[1:], strict=False)]

    @property
    def height(self) -> int:
        """Height of the whole system."""
        return self.above + sum(self.pitches()) + self.below


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A system on its page: ``top`` of its title, ``lines`` the zero lines of its rows, ``bottom`` of its times."""

    stave: Stave
    top: int
    lines: tuple[int, ...]
    bottom: int


def _pitch(upper: Row, lower: Row) -> int:
    size = min(upper.down.size, lower.up.size)
    closest = int((upper.down[:size] + lower.up[:size]).max())
    return max(_millimetres(closest + CLEAR), CLOSEST)


def _millimetres(value: int) -> int:
    """Rounded up to whole millimetres, so that every zero line lies on the grid."""
    return -(-value // UNITS) * UNITS


def packed(staves: Sequence[Stave], heights: Sequence[int]) -> list[list[Placed]]:
    """The systems page by page; ``heights``: of the first page and of every further one.  At least one row per page."""
    pages: list[list[Stave]] = [[]]
    used = 0
    for stave in staves:
        rest: Stave | None = stave
        while rest is not None:
            height = heights[0] if len(pages) == 1 else heights[1]
            if used + rest.height <= height:
                pages[-1].append(rest)
                used += rest.height
                break
            if pages[-1] and (rest.height <= heights[1] or used > height // 2):
                pages.append([])
                used = 0
                continue
            fits = _rows_that_fit(rest, height - used)
            if fits == 0 and pages[-1]:
                pages.append([])
                used = 0
                continue
            pages[-1].append(_part(rest, 0, max(fits, 1)))
            rest = _part(rest, max(fits, 1), len(rest.rows)) if len(rest.rows) > max(fits, 1) else None
            pages.append([])
            used = 0
    found = [page for page in pages if page]
    return [_spread(page, heights[0] if n == 0 else heights[1]) for n, page in enumerate(found)]


def _rows_that_fit(stave: Stave, height: int) -> int:
    for count in range(len(stave.rows) - 1, 0, -1):
        if _part(stave, 0, count).height <= height:
            return count
    return 0


def _part(stave: Stave, begin: int, end: int) -> Stave:
    title = stave.title if begin == 0 else "further rows of the same seconds"
    return Stave(stave.system, stave.rows[begin:end], title)


def _spread(page: Sequence[Stave], height: int) -> list[Placed]:
    """The zero lines of a page, its spare room shared among the rows."""
    rows = sum(len(stave.rows) for stave in page)
    spare = height - sum(stave.height for stave in page)
    more = min(max(spare, 0) // (rows + 1), SPREAD) // UNITS * UNITS
    placed = []
    at = 0
    for stave in page:
        line = _millimetres(at + stave.above + more // 2)
        lines = [line]
        for pitch in stave.pitches():
            line += pitch + more
            lines.append(line)
        bottom = line + stave.below
        placed.append(Placed(stave, lines[0] - stave.above, tuple(lines), bottom))
        at = bottom
    return placed
