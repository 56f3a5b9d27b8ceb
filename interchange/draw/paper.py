"""The page around the tracing: grid, margins, ruler, foot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.draw.display import UNITS, Item, Stroke, Text
from interchange.draw.face import Face, wrapped
from interchange.draw.options import DrawOptions
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["COARSE", "FINE", "Frame", "foot", "frame_for", "grid"]

SQUARE = 5 * UNITS
MARGIN = 7 * UNITS
FINE, COARSE = "#f3cfcb", "#e2a09a"
"""Colours of the grid: light enough to leave the line alone, strong enough to count squares on a copy."""
FINE_WIDTH, COARSE_WIDTH = 10, 20
RULER = 50 * UNITS
FOOT_TEXT = 190
INK, SOFT = "#1a1a1a", "#444444"


@dataclass(frozen=True, slots=True)
class Frame:
    """A page and the rectangle of whole large squares in the middle of its width."""

    width: int
    height: int
    x: int
    across: int

    @property
    def right(self) -> int:
        """Right edge of the rectangle."""
        return self.x + self.across


def frame_for(options: DrawOptions) -> Frame:
    """The page's size and its columns of large squares."""
    width, height = options.page
    across = (width - 2 * MARGIN) // SQUARE * SQUARE
    return Frame(width, height, (width - across) // 2, across)


def grid(x: int, y: int, width: int, height: int) -> list[Item]:
    """Lines every millimetre, stronger ones every five; width and height are whole large squares."""
    fine: list[NDArray[Any]] = []
    coarse: list[NDArray[Any]] = []
    for step, lines in ((UNITS, fine), (SQUARE, coarse)):
        for at in range(0, width + 1, step):
            if step == SQUARE or at % SQUARE:
                lines.append(_line(x + at, y, x + at, y + height))
        for at in range(0, height + 1, step):
            if step == SQUARE or at % SQUARE:
                lines.append(_line(x, y + at, x + width, y + at))
    return [
        Stroke("fine-grid", tuple(fine), FINE_WIDTH, FINE, "millimetre grid"),
        Stroke("coarse-grid", tuple(coarse), COARSE_WIDTH, COARSE, "five-millimetre grid"),
    ]


def _line(x: int, y: int, end_x: int, end_y: int) -> NDArray[Any]:
    return np.array([(x, y), (end_x, end_y)], dtype=np.int32)


def foot(frame: Frame, face: Face, lines: Sequence[str], number: int, count: int) -> tuple[list[Item], int]:
    """Cautions on the left, ruler and page number on the right; and the height of it all with the margin below."""
    room = frame.across - RULER - 8 * UNITS
    rows = [row for line in lines for row in wrapped(face, line, FOOT_TEXT, room)]
    step = FOOT_TEXT * 125 // 100
    height = max(len(rows) * step, 9 * UNITS) + MARGIN
    y = frame.height - height
    items: list[Item] = [
        Text(frame.x, y + step * (place + 1), row, FOOT_TEXT, colour=SOFT) for place, row in enumerate(rows)
    ]
    left, at = frame.right - RULER, y + 3 * UNITS
    ticks = [_line(left + n * SQUARE, at - (150 if n % 2 == 0 else 90), left + n * SQUARE, at) for n in range(11)]
    ruler = (_line(left, at, frame.right, at), *ticks)
    items.append(Stroke("ruler", ruler, 20, INK, "ruler of 50 mm"))
    items.append(Text(left, at + 260, "50 mm: true to scale if this measures 50 mm", FOOT_TEXT, colour=SOFT))
    items.append(Text(frame.right, at + 260 + 300, f"Page {number} of {count}", 240, "end", True))
    return items, height
