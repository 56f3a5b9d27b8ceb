"""The upper part of the first page: identity, circumstances, measurements, statements, J-point and ST levels."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.draw.about import (
    filters,
    measurement_pairs,
    name_text,
    recording_lines,
    st_caution,
    statement_lines,
)
from interchange.draw.display import UNITS, Item, Text
from interchange.draw.face import Face
from interchange.draw.levels import LevelTable, in_parts, level_table
from interchange.draw.options import DrawOptions
from interchange.draw.paper import MARGIN, Frame
from interchange.draw.text_block import Block, Line, set_block
from interchange.model import Recording

__all__ = ["Heading"]

NAME_SIZE, SMALL = 420, 210
LONG_NAME, LONG_NAME_SIZE = 60, 270
CELL, NAMES = 1950, 2200
SCALE_SIZE = 270
MOST_TABLE = 12
GREY = "#444444"
BETWEEN = 5 * UNITS


class Heading:
    """What stands above the tracing; :meth:`fit` makes it, ``rest`` is what goes on on the last page."""

    def __init__(self, recording: Recording, options: DrawOptions, face: Face, frame: Frame) -> None:
        self.recording, self.options, self.face, self.frame = recording, options, face, frame
        self.items: list[Item] = []
        self.rest: list[Line] = []
        self.remarks: list[str] = []
        self.height = 0

    def fit(self, most: int, notes: Sequence[str]) -> None:
        """Set everything in at most ``most`` of the page's height, from its upper edge."""
        table = self._short_table(most // 3)
        below = self._table_height(table) + self._scale_height(notes)
        room = most - MARGIN - below
        y = self._columns(MARGIN, room)
        if table is not None:
            y = self._levels(table, y)
        self.height = -(-self._scale(notes, y) // UNITS) * UNITS

    def _columns(self, top: int, room: int) -> int:
        """Identity, measurements and statements beside each other (upright pages: the last two below each other)."""
        whole = self.frame.across
        shares = (50, 50) if self.options.portrait else (38, 24, 38)
        widths = [whole * share // 100 - BETWEEN for share in shares]
        blocks = [Block(self.face, width) for width in widths]
        name = name_text(self.recording.patient)
        blocks[0].add([Line(name, True, NAME_SIZE if len(name) <= LONG_NAME else LONG_NAME_SIZE)])
        blocks[0].add(Line(text, bold) for text, bold in recording_lines(self.recording))
        pairs = measurement_pairs(self.recording)
        tab = widths[1] * 58 // 100
        blocks[1].add([Line("Measured" if pairs else "Nothing measured for the whole recording", True)])
        blocks[1].add(Line(name, value=value, tab=tab) for name, value in pairs)
        blocks[-1].add(Line(text, bold) for text, bold in statement_lines(self.recording.statements))
        x, bottom = self.frame.x, top
        for block, share in zip(blocks, shares, strict=True):
            lines, rest = block.cut(room)
            items, end = set_block(lines, x, top)
            self.items += items
            self.rest += rest
            bottom = max(bottom, end)
            x += whole * share // 100
        return bottom

    def _table_height(self, table: LevelTable | None) -> int:
        if table is None:
            return 0
        parts = in_parts(table, self._cells())
        return sum((len(part.rows) + 1) * SMALL * 135 // 100 for part in parts) + 2 * SMALL * 135 // 100

    def _short_table(self, most: int) -> LevelTable | None:
        """The table, if it is not too tall; else its values become lines of the last page."""
        table = level_table(self.recording, cabrera=self.options.cabrera)
        if table is None or self._table_height(table) <= most:
            return table
        block = Block(self.face, self.frame.across // 2 - BETWEEN)
        block.add([Line("J and ST levels in microvolts (millimetres at 10 mm/mV), as received", True)])
        for place, lead in enumerate(table.leads):
            cells = (f"{name} {cells[place]}" for name, cells in table.rows if cells[place])
            block.add([Line(f"{lead}: {', '.join(cells)}")])
        self.rest += block.lines
        self.remarks = ["J and ST levels: on the last page."]
        return None

    def _cells(self) -> int:
        return max((self.frame.across - NAMES) // CELL, 1)

    def _levels(self, table: LevelTable, y: int) -> int:
        """The table of J-point and ST levels."""
        step = SMALL * 135 // 100
        words = "J and ST levels in microvolts (millimetres at 10 mm/mV), as received"
        caution = st_caution(self.recording)
        self.items.append(Text(self.frame.x, y + step, words, SMALL, bold=True))
        if caution:
            start = self.frame.x + self.face.width(words, SMALL, True) + 300
            self.items.append(Text(start, y + step, self.face.shown(caution), SMALL))
        y += step
        for part in in_parts(table, self._cells()):
            y += step
            for place, lead in enumerate(part.leads):
                x = self.frame.x + NAMES + (place + 1) * CELL
                self.items.append(Text(x, y, self.face.shown(lead.replace("-", "−"), True), SMALL, "end", True))
            for name, cells in part.rows:
                y += step
                self.items.append(Text(self.frame.x, y, self.face.shown(name), SMALL))
                for place, cell in enumerate(cells):
                    x = self.frame.x + NAMES + (place + 1) * CELL
                    self.items.append(Text(x, y, self.face.shown(cell), SMALL, "end"))
        return y + step // 2

    def _scale_height(self, notes: Sequence[str]) -> int:
        block = Block(self.face, self.frame.across).add(self._scale_lines(notes))
        return block.height + 2 * UNITS

    def _scale_lines(self, notes: Sequence[str]) -> list[Line]:
        square = 1000 // self.options.speed
        step = 1000 // self.options.gain
        text = f"{self.options.scale}   {filters(self.recording)}   1 mm is {square} ms and {step / 1000:g} mV"
        said = [*self.remarks, *notes]
        return [Line(text, True, SCALE_SIZE), *([Line("  ".join(said), size=SMALL)] if said else [])]

    def _scale(self, notes: Sequence[str], y: int) -> int:
        """Speed, gain and filters right above the grid, and how the columns follow each other."""
        block = Block(self.face, self.frame.across).add(self._scale_lines(notes))
        items, end = set_block(block.lines, self.frame.x, y)
        self.items += items
        return end + UNITS
