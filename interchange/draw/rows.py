"""One row of the sheet: pulse, lines, labels, and how far they reach above and below the zero line.

A row is made around its own zero line (y = 0, upwards) and the start of its time axis (x = 0); where it goes on the
page is decided later, from how far its neighbours reach.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.draw.columns import LABEL_ROOM, Cell, Column, System
from interchange.draw.curve import Curve, Window, curve, median_level
from interchange.draw.display import UNITS
from interchange.draw.face import Face, clipped
from interchange.draw.leads import Source, is_spike
from interchange.draw.options import DrawOptions
from interchange.model import Mark, Recording
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["BIN", "Label", "Row", "painted_rows", "pulse_zone"]

BIN = UNITS
"""Width of the steps in which a row's reach is kept."""
BEFORE_PULSE, AFTER_PULSE = 2 * UNITS, 3 * UNITS
PULSE_SECONDS = Fraction(1, 5)
"""The calibration pulse: 1 mV for 200 ms (the trade's printed convention)."""
LABEL, SMALL = 290, 210
"""Sizes of lead names and of remarks."""
WIDE_HOLE = 12 * UNITS
FAR_OFF = 10 * UNITS
"""A median farther than this from zero moves the zero line."""
TICK = 250
GREY = "#444444"


@dataclass(frozen=True, slots=True)
class Label:
    """A text of a row: ``y`` above the zero line."""

    x: int
    y: int
    text: str
    size: int
    bold: bool = False
    middle: bool = False
    colour: str = "#1a1a1a"


@dataclass(slots=True)
class Row:
    """One row: ``lines`` are (name, paths) of leads, ``ticks`` where a column ends, ``spikes`` marked pacing spikes.

    ``up`` and ``down``: how far it reaches from the zero line, per bin from the left end of the pulse on.
    """

    zone: int
    up: NDArray[Any]
    down: NDArray[Any]
    lines: list[tuple[str, tuple[NDArray[Any], ...]]] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    ticks: list[int] = field(default_factory=list)
    spikes: list[tuple[int, int]] = field(default_factory=list)

    def reach(self, x: int, end: int) -> tuple[int, int]:
        """How far the row reaches up and down between two places."""
        part = slice((x + self.zone) // BIN, (end + self.zone) // BIN + 1)
        return int(self.up[part].max(initial=0)), int(self.down[part].max(initial=0))

    def occupy(self, x: int, end: int, low: int, high: int) -> None:
        """Count a rectangle as part of the row."""
        part = slice(max((x + self.zone) // BIN, 0), max((end + self.zone) // BIN + 1, 0))
        np.maximum(self.up[part], high, out=self.up[part])
        np.maximum(self.down[part], -low, out=self.down[part])

    def occupy_path(self, points: NDArray[Any]) -> None:
        """Count a line as part of the row, between its points too."""
        bins = (points[:, 0] + self.zone) // BIN
        np.maximum.at(self.up, bins, points[:, 1])
        np.maximum.at(self.down, bins, -points[:, 1])
        edges = np.arange(int(bins[0]) + 1, int(bins[-1]) + 1)
        if edges.size:
            between = np.rint(np.interp(edges * BIN - self.zone, points[:, 0], points[:, 1])).astype(np.int64)
            for side in (edges, edges - 1):
                np.maximum.at(self.up, side, between)
                np.maximum.at(self.down, side, -between)


def pulse_zone(speed: int) -> int:
    """Paper to the left of the time axis that the calibration pulse takes."""
    return BEFORE_PULSE + round(PULSE_SECONDS * speed * UNITS) + AFTER_PULSE


def pulse(speed: int, gain: int) -> NDArray[Any]:
    """The calibration pulse as a line that ends 2 mm before the time axis begins."""
    left, right, high = -pulse_zone(speed) + BEFORE_PULSE, -AFTER_PULSE, gain * UNITS
    corners = [(left - UNITS, 0), (left, 0), (left, high), (right, high), (right, 0), (right + UNITS, 0)]
    return np.array(corners, dtype=np.int32)


def painted_rows(recording: Recording, system: System, options: DrawOptions, face: Face, limit: int) -> list[Row]:
    """The rows of a system, the rhythm rows last; nothing reaches farther than ``limit`` from its zero line."""
    painter = _Painter(recording, options, face, limit)
    count = max(len(column.cells) for column in system.columns)
    rows = []
    for number in range(count):
        cells = [(column, column.cells[number]) for column in system.columns if number < len(column.cells)]
        rows.append(painter.row(cells, system.width))
    for cell in system.rhythm.cells if system.rhythm else ():
        assert system.rhythm is not None
        rows.append(painter.row([(system.rhythm, cell)], system.width))
    return rows


class _Painter:
    def __init__(self, recording: Recording, options: DrawOptions, face: Face, limit: int) -> None:
        self.options, self.face, self.limit = options, face, limit
        self.spikes: dict[int, list[Mark]] = {}
        for mark in sorted(filter(is_spike, recording.marks), key=_start):
            self.spikes.setdefault(mark.tracing, []).append(mark)

    def row(self, cells: Sequence[tuple[Column, Cell]], width: int) -> Row:
        """A row of cells side by side."""
        zone = pulse_zone(self.options.speed)
        bins = (zone + width + LABEL_ROOM) // BIN + 2
        row = Row(zone, np.zeros(bins, dtype=np.int64), np.zeros(bins, dtype=np.int64))
        row.occupy_path(pulse(self.options.speed, self.options.gain))
        row.ticks = [column.x for column, _ in cells if column.x > 0]
        for column, cell in cells:
            if cell.place.source is None:
                self._empty(row, column, cell)
            else:
                self._cell(row, column, cell, cell.place.source)
        return row

    def _cell(self, row: Row, column: Column, cell: Cell, source: Source) -> None:
        window = Window(cell.start, cell.end, self.options.speed, self.options.gain)
        level = median_level(source, window)
        shift = self._shift(level)
        drawn = curve(source, window, shift)
        paths, beyond = self._within(drawn, column.x)
        for path in paths:
            row.occupy_path(path)
        row.lines.append((_spoken(source, column), paths))
        remarks = [f"zero line at {_millivolts(shift)} mV"] if shift else []
        if beyond:
            low, high = (value * 1000 / (self.options.gain * UNITS) + float(shift) for value in beyond)
            remarks.append(f"beyond the strip: {_millivolts(low)} to {_millivolts(high)} mV")
        self._label(row, column, source.name, source.origin, remarks)
        self._holes(row, column, drawn)
        self._pacing(row, column, cell, source)

    def _shift(self, level: Fraction) -> Fraction:
        """Microvolts by which the zero line is moved: none, or the median in whole millimetres."""
        height = level * self.options.gain * UNITS / 1000
        if abs(height) <= FAR_OFF:
            return Fraction(0)
        return Fraction(round(height / UNITS) * 1000, self.options.gain)

    def _within(self, drawn: Curve, x: int) -> tuple[tuple[NDArray[Any], ...], tuple[int, int] | None]:
        """The paths at their place, cut at the limit; the true extremes if something was cut."""
        low = min((int(path[:, 1].min()) for path in drawn.paths), default=0)
        high = max((int(path[:, 1].max()) for path in drawn.paths), default=0)
        paths = []
        for path in drawn.paths:
            moved = path + np.array([x, 0], dtype=path.dtype)
            if low < -self.limit or high > self.limit:
                moved[:, 1] = np.clip(moved[:, 1], -self.limit, self.limit)
            paths.append(moved)
        beyond = (low, high) if low < -self.limit or high > self.limit else None
        return tuple(paths), beyond

    def _label(self, row: Row, column: Column, name: str, origin: str = "", remarks: Sequence[str] = ()) -> None:
        """The lead's name at the start of its line, above whatever the line does there."""
        x, room = column.x + 80, max(column.width, LABEL_ROOM) - 160
        shown = clipped(self.face, name, LABEL, room - self.face.width(origin, LABEL, True), bold=True) + origin
        wide = self.face.width(shown, LABEL, True)
        remark = self.face.shown("; ".join(remarks))
        whole = wide + (100 + self.face.width(remark, SMALL) if remark else 0)
        y = min(max(row.reach(x, x + whole)[0] + 60, 200), self.limit)
        row.labels.append(Label(x, y, shown, LABEL, bold=True))
        if remark:
            row.labels.append(Label(x + wide + 100, y, remark, SMALL))
        row.occupy(x, min(x + whole, column.x + max(column.width, LABEL_ROOM)), 0, y + LABEL * 3 // 4)

    def _holes(self, row: Row, column: Column, drawn: Curve) -> None:
        for left, right in drawn.holes:
            if right - left >= WIDE_HOLE:
                middle = column.x + (left + right) // 2
                row.labels.append(Label(middle, 30, "no samples", SMALL, middle=True, colour=GREY))

    def _empty(self, row: Row, column: Column, cell: Cell) -> None:
        self._label(row, column, "−aVR" if cell.place.name == "-aVR" else cell.place.name)
        narrow = column.width < LABEL_ROOM
        x = column.x + 80 if narrow else column.x + column.width // 2
        row.labels.append(Label(x, 20 - narrow * LABEL, cell.place.words, LABEL, middle=not narrow, colour=GREY))
        if cell.place.hint:
            y = -SMALL - 40 - narrow * LABEL
            row.labels.append(Label(x, y, cell.place.hint, SMALL, middle=not narrow, colour=GREY))
        row.occupy(column.x, column.x + max(column.width, LABEL_ROOM), -SMALL - 100 - narrow * LABEL, 0)

    def _pacing(self, row: Row, column: Column, cell: Cell, source: Source) -> None:
        """Pacing spikes that the file marks, as ticks below the line: sampling may have lost the spike itself."""
        marks = self.spikes.get(source.index, [])
        for mark in marks[bisect_left(marks, cell.start, key=_start) : bisect_right(marks, cell.end, key=_start)]:
            if mark.lead in (None, source.channel.name):
                x = column.x + round((mark.start - cell.start) * self.options.speed * UNITS)
                row.spikes.append((x, -row.reach(x - BIN, x + BIN)[1] - 80))
        for x, y in row.spikes:
            row.occupy(x, x, y - TICK, 0)


def _start(mark: Mark) -> Fraction:
    return mark.start


def _spoken(source: Source, column: Column) -> str:
    return f"lead {source.name}{source.origin}, {float(column.start):g} s to {float(column.end):g} s"


def _millivolts(microvolts: Fraction | float) -> str:
    return f"{float(microvolts) / 1000:.2f}".replace("-", "−")
