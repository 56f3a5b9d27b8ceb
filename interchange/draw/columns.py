"""Columns side by side as far as the paper goes, and on in the next system: a set of rows with one time axis.

Times are seconds after the recording's first sample; widths hundredths of a millimetre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from interchange.draw.display import UNITS
from interchange.draw.leads import Place
from interchange.records import dataclass

__all__ = ["LABEL_ROOM", "SQUARE", "Cell", "Column", "Stretch", "System", "laid_out"]

SQUARE = 5 * UNITS
"""A large square of the grid."""
GAP = 5 * UNITS
"""Paper between columns that do not follow each other in time."""
LABEL_ROOM = 32 * UNITS
"""Paper that the name of a lead may need, however short its line."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Leads that stand below each other in one column, and from when to when."""

    places: tuple[Place, ...]
    start: Fraction
    end: Fraction


@dataclass(frozen=True, slots=True, eq=False)
class Cell:
    """One lead in one column; ``start`` and ``end`` are seconds on its own tracing (0 for an empty place)."""

    place: Place
    start: Fraction = Fraction(0)
    end: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """One column of a system: where it begins, how wide it is, from when to when, its cells."""

    x: int
    width: int
    start: Fraction
    end: Fraction
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True, eq=False)
class System:
    """Rows with a common time axis; ``rhythm`` is the column of the rows that run below all others.

    ``consecutive``: each column begins where the one before it ends.
    """

    columns: tuple[Column, ...]
    rhythm: Column | None = None
    consecutive: bool = True
    title: str = ""

    @property
    def width(self) -> int:
        """Width of all columns."""
        return self.columns[-1].x + self.columns[-1].width


def laid_out(
    stretches: Sequence[Stretch], rhythm: Sequence[Place], speed: int, width: int, *, consecutive: bool = True
) -> list[System]:
    """Stretches side by side as far as ``width`` goes, then in the next system; one wider than that is divided."""
    systems: list[System] = []
    columns: list[Column] = []
    for piece in _divided(stretches, speed, width):
        wide = _wide(piece, speed)
        x = _next(columns[-1], consecutive) if columns else 0
        if columns and x + max(wide, 0 if consecutive else LABEL_ROOM) > width:
            systems.append(_system(columns, rhythm, consecutive))
            columns, x = [], 0
        columns.append(_column(piece, x, wide))
    if columns:
        systems.append(_system(columns, rhythm, consecutive))
    return systems


def _next(column: Column, consecutive: bool) -> int:
    """Where the column after this one begins."""
    if consecutive:
        return column.x + column.width
    return column.x + max(column.width, LABEL_ROOM) + GAP


def _wide(piece: Stretch, speed: int) -> int:
    return round((piece.end - piece.start) * speed * UNITS)


def _divided(stretches: Sequence[Stretch], speed: int, width: int) -> list[Stretch]:
    """The stretches, those wider than the paper in pieces of whole large squares."""
    most = Fraction(max(width // SQUARE * SQUARE, SQUARE), speed * UNITS)
    pieces: list[Stretch] = []
    for stretch in stretches:
        rest = stretch
        while _wide(rest, speed) > width:
            cut = rest.start + most
            pieces.append(replace(rest, end=cut))
            rest = replace(rest, start=cut)
        pieces.append(rest)
    return pieces


def _column(piece: Stretch, x: int, width: int) -> Column:
    return Column(x, width, piece.start, piece.end, tuple(_cell(place, piece) for place in piece.places))


def _cell(place: Place, piece: Stretch) -> Cell:
    if place.source is None:
        return Cell(place)
    zero = place.source.tracing.start
    return Cell(place, piece.start - zero, piece.end - zero)


def _system(columns: Sequence[Column], rhythm: Sequence[Place], consecutive: bool) -> System:
    whole = columns[-1].x + columns[-1].width
    piece = Stretch(tuple(rhythm), columns[0].start, columns[-1].end)
    return System(tuple(columns), _column(piece, 0, whole) if rhythm else None, consecutive)
