"""Lines of text in columns: what fits a height, and what has to go on elsewhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import field

from interchange.draw.display import Item, Text
from interchange.draw.face import Face, wrapped
from interchange.records import dataclass

__all__ = ["Block", "Line", "headline", "leading", "set_block"]

BODY = 240
"""Size of ordinary text."""
CONTINUED = " (continued)"
GOES_ON = "… goes on on the last page"
LEADING = 128
"""Distance of base lines in hundredths of the size."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a block: text, size, weight; ``value`` stands in a column of its own at ``tab``."""

    text: str
    bold: bool = False
    size: int = BODY
    value: str = ""
    tab: int = 0
    colour: str = "#1a1a1a"


@dataclass(slots=True)
class Block:
    """Wrapped lines with their height, ready to be put somewhere."""

    face: Face
    width: int
    lines: list[Line] = field(default_factory=list)

    def add(self, lines: Iterable[Line]) -> Block:
        """Wrap these lines into the block."""
        for line in lines:
            if line.value:
                self.lines += self._pair(line)
            else:
                room = self.width - (self.face.width(CONTINUED, line.size, True) if line.bold else 0)
                rows = wrapped(self.face, line.text, line.size, room, bold=line.bold, hanging=line.size)
                self.lines += [
                    Line(row if n == 0 else f"  {row}", line.bold, line.size, colour=line.colour)
                    for n, row in enumerate(rows)
                ]
        return self

    def _pair(self, line: Line) -> list[Line]:
        names = wrapped(self.face, line.text, line.size, line.tab - line.size // 2)
        values = wrapped(self.face, line.value, line.size, self.width - line.tab, bold=True)
        count = max(len(names), len(values))
        names += [""] * (count - len(names))
        values += [""] * (count - len(values))
        return [
            Line(name, False, line.size, value, line.tab, line.colour)
            for name, value in zip(names, values, strict=True)
        ]

    @property
    def height(self) -> int:
        """Height of all lines."""
        return sum(leading(line) for line in self.lines)

    def cut(self, height: int) -> tuple[list[Line], list[Line]]:
        """The lines that fit, with a word that the rest is further on, and the rest."""
        if self.height <= height:
            return self.lines, []
        room = height - BODY * LEADING // 100
        count = 0
        for line in self.lines:
            room -= leading(line)
            if room < 0:
                break
            count += 1
        return [*self.lines[:count], Line(GOES_ON, True)], [*self._headline(count), *self.lines[count:]]

    def _headline(self, count: int) -> list[Line]:
        """The heading that the rest stands under, once more."""
        heading = headline(self.lines[:count])
        return [heading] if heading is not None else []


def headline(lines: Sequence[Line]) -> Line | None:
    """The last heading among the lines, as it is repeated where they go on."""
    for line in reversed(lines):
        if line.bold and not line.text.startswith(" "):
            return Line(f"{line.text.removesuffix(CONTINUED)}{CONTINUED}", True)
    return None


def leading(line: Line) -> int:
    """Distance from the base line before to that of this line."""
    return line.size * LEADING // 100


def set_block(lines: Sequence[Line], x: int, y: int) -> tuple[list[Item], int]:
    """The lines from ``y`` on downwards, and where they end."""
    items: list[Item] = []
    for line in lines:
        y += leading(line)
        if line.text:
            items.append(Text(x, y, line.text, line.size, bold=line.bold, colour=line.colour))
        if line.value:
            items.append(Text(x + line.tab, y, line.value, line.size, bold=True, colour=line.colour))
    return items, y + (lines[-1].size // 3 if lines else 0)
