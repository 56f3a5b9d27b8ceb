"""The whole sheet: what the file says on top, the tracing below it, cautions and ruler at the foot of each page."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

import numpy as np

from interchange.draw.about import (
    LONGEST,
    cautions,
    filters,
    identity_line,
    moment_text,
    name_text,
    origin_line,
    recording_lines,
    statement_lines,
)
from interchange.draw.display import UNITS, Anchor, Item, Page, Sheet, Stroke, Text
from interchange.draw.face import PLAIN_FACE, Face, clipped, wrapped
from interchange.draw.heading import Heading
from interchange.draw.options import DrawOptions
from interchange.draw.pack import Placed, Stave, packed
from interchange.draw.paper import MARGIN, Frame, foot, frame_for, grid
from interchange.draw.plan import Section, planned, spoken
from interchange.draw.rows import Row, painted_rows, pulse, pulse_zone
from interchange.draw.text_block import Line, headline, leading, set_block
from interchange.errors import UsageError
from interchange.model import Recording
from interchange.show.layout import short

__all__ = ["drawn_sections", "drawn_sheet"]

SQUARE = 5 * UNITS
TRACE, TRACE_WIDTH = "#000000", 28
PULSE_WIDTH, TICK_WIDTH = 28, 30
NAME_SIZE, HEAD_SIZE, NOTE_SIZE, TIME_SIZE = 420, 250, 210, 200
SHORT_HEAD = 14 * UNITS
TICK = 250
LEAST_PLOT = 105 * UNITS
NARROW = 14 * UNITS
SCREEN_SPREAD = 3 * UNITS
GREY = "#444444"


def drawn_sheet(recording: Recording, options: DrawOptions, face: Face = PLAIN_FACE) -> Sheet:
    """The recording on sheets of paper, true to scale.

    Raises UsageError where there is nothing to draw or far too much.
    """
    frame = frame_for(options)
    sections = planned(recording, options, frame.across - pulse_zone(options.speed))
    foot_lines = [*cautions(recording), *_escapes(recording, face), origin_line(recording, options)]
    foot_height = foot(frame, face, foot_lines, 1, 1)[1]
    heading = Heading(recording, options, face, frame)
    notes = _notes(sections)
    heading.fit(frame.height - foot_height - LEAST_PLOT, notes)
    tops = (heading.height, SHORT_HEAD + MARGIN)
    heights = [(frame.height - foot_height - top) // SQUARE * SQUARE for top in tops]
    staves = _staves(recording, sections, options, face, (min(heights) - 12 * UNITS) // 2)
    placed = packed(staves, heights)
    rest = _text_pages(heading.rest, frame.height - foot_height - tops[1])
    count = len(placed) + len(rest)
    if count > options.most_pages:
        raise UsageError(
            f"the drawing would take {count} pages; choose a stretch, fewer leads, or allow them",
            "--start, --seconds, --leads, --most-pages",
        )
    pages = []
    for number in range(1, count + 1):
        items: list[Item] = list(heading.items) if number == 1 else _short_head(recording, options, face, frame)
        top = tops[min(number, 2) - 1]
        if number <= len(placed):
            items += grid(frame.x, top, frame.across, _used(placed[number - 1], heights[min(number, 2) - 1]))
            items += _tracings(placed[number - 1], options, frame.x, top)
        else:
            for place, lines in enumerate(rest[number - len(placed) - 1]):
                items += set_block(lines, frame.x + place * frame.across // 2, top)[0]
        items += foot(frame, face, foot_lines, number, count)[0]
        pages.append(Page(frame.width, frame.height, tuple(items)))
    return Sheet(tuple(pages), "ECG tracing drawn from a file", _description(sections, options))


def drawn_sections(recording: Recording, options: DrawOptions) -> tuple[tuple[Section, Sheet], ...]:
    """Each section as one picture without anything around it, as tall as it needs to be: for a page on a screen."""
    frame = frame_for(options)
    sections = planned(recording, options, frame.across - pulse_zone(options.speed))
    found = []
    for section in sections:
        if not section.systems:
            continue
        staves = _staves(recording, [section], options, PLAIN_FACE, 70 * UNITS)
        rows = sum(len(stave.rows) for stave in staves)
        total = sum(stave.height for stave in staves) + UNITS * len(staves) + SCREEN_SPREAD * (rows + 1)
        (placed,) = packed(staves, (total, total))
        height = -(-(placed[-1].bottom + UNITS) // SQUARE) * SQUARE
        edge = UNITS
        items = [*grid(edge, edge, frame.across, height), *_tracings(placed, options, edge, edge)]
        page = Page(frame.across + 2 * edge, height + 2 * edge, tuple(items))
        found.append((section, Sheet((page,), section.title, _description([section], options))))
    return tuple(found)


def _escapes(recording: Recording, face: Face) -> list[str]:
    """A word on code points, where there are any."""
    said = [*recording_lines(recording), *statement_lines(recording.statements), (name_text(recording.patient), True)]
    if all(face.shown(text, bold) == unicodedata.normalize("NFC", text) for text, bold in said):
        return []
    return [
        r"\u and four or \U and eight digits (\x and two): the Unicode code point of a character that cannot be shown."
    ]


def _staves(
    recording: Recording, sections: Sequence[Section], options: DrawOptions, face: Face, limit: int
) -> list[Stave]:
    room = frame_for(options).across - UNITS
    return [
        Stave(
            system,
            tuple(painted_rows(recording, system, options, face, limit)),
            clipped(face, system.title, NOTE_SIZE, room),
        )
        for section in sections
        for system in section.systems
    ]


def _notes(sections: Sequence[Section]) -> list[str]:
    several = len(sections) > 1
    return [
        f"{section.title.split(':')[0]}: {note}" if several else note for section in sections for note in section.notes
    ]


def _description(sections: Sequence[Section], options: DrawOptions) -> str:
    parts = [" ".join((section.title + ".", *section.notes)) for section in sections]
    return f"Drawn at {options.scale}. " + " ".join(parts)


def _tracings(placed: Sequence[Placed], options: DrawOptions, x: int, y: int) -> list[Item]:
    """Everything on the grid of one page, whose upper left corner is at ``x``, ``y``."""
    zero = x + pulse_zone(options.speed)
    calibration = pulse(options.speed, options.gain)
    name = f"calibration pulse, 1 mV and 200 ms at {options.scale}"
    pulses = [_moved(calibration, zero, y + line) for one in placed for line in one.lines]
    items: list[Item] = [Stroke("pulse", tuple(pulses), PULSE_WIDTH, TRACE, name)]
    ticks: list[np.ndarray] = []
    spikes: list[np.ndarray] = []
    texts: list[Item] = []
    for one in placed:
        for row, line in zip(one.stave.rows, one.lines, strict=True):
            items += _row_lines(row, zero, y + line)
            ticks += [_upright(zero + at, y + line - TICK, y + line + TICK) for at in row.ticks]
            spikes += [_upright(zero + at, y + line - up, y + line - up + TICK) for at, up in row.spikes]
            texts += _row_texts(row, zero, y + line)
        texts += _system_texts(one, x, zero, y)
    if ticks:
        items.append(Stroke("separator", tuple(ticks), TICK_WIDTH, TRACE, "where one lead ends and the next begins"))
    if spikes:
        items.append(Stroke("mark", tuple(spikes), TICK_WIDTH, "#1d4f91", "pacing spikes that the file marks"))
    return items + texts


def _row_lines(row: Row, x: int, y: int) -> list[Item]:
    return [
        Stroke("trace", tuple(_moved(path, x, y) for path in paths), TRACE_WIDTH, TRACE, name)
        for name, paths in row.lines
        if paths
    ]


def _row_texts(row: Row, x: int, y: int) -> list[Item]:
    texts: list[Item] = []
    for label in row.labels:
        anchor: Anchor = "middle" if label.middle else "start"
        texts.append(Text(x + label.x, y - label.y, label.text, label.size, anchor, label.bold, label.colour))
    return texts


def _moved(points: np.ndarray, x: int, y: int) -> np.ndarray:
    """Points whose y counts upwards from a zero line, on the page."""
    moved = np.empty_like(points)
    moved[:, 0] = points[:, 0] + x
    moved[:, 1] = y - points[:, 1]
    return moved


def _upright(x: int, y: int, end: int) -> np.ndarray:
    return np.array([(x, y), (x, end)], dtype=np.int32)


def _system_texts(one: Placed, left: int, zero: int, y: int) -> list[Item]:
    """Title above, seconds below."""
    system = one.stave.system
    items: list[Item] = [Text(left + 100, y + one.top + 300, one.stave.title, NOTE_SIZE, colour=GREY)]
    line = y + one.bottom - 60
    for column in system.columns:
        items.append(Text(zero + column.x + 20, line, f"{spoken(column.start)} s", TIME_SIZE, colour=GREY))
    if system.columns[-1].width > NARROW:
        end = f"{spoken(system.columns[-1].end)} s"
        items.append(Text(zero + system.width - 20, line, end, TIME_SIZE, "end", colour=GREY))
    return items


def _used(placed: Sequence[Placed], height: int) -> int:
    """Height of the grid: all there is, or what a page that is not full needs."""
    return min(height, -(-(placed[-1].bottom + SQUARE) // SQUARE) * SQUARE)


def _short_head(recording: Recording, options: DrawOptions, face: Face, frame: Frame) -> list[Item]:
    """Who and when, on every page but the first."""
    patient = recording.patient
    first = f"ID {short(patient.ids[0].value, LONGEST)}" if patient.ids else "ID not said"
    line = f"{name_text(patient)}, {first}, {identity_line(patient)}"
    who = wrapped(face, line, HEAD_SIZE, frame.across, bold=True)
    when = f"Recorded {moment_text(recording.acquisition.time, recording.acquisition)}"
    rows = [*who[:2], "…"] if len(who) > 2 else who
    what = clipped(face, f"{when}, {options.scale}, {filters(recording)}", HEAD_SIZE - 20, frame.across)
    lines = [*(Line(row, True, HEAD_SIZE) for row in rows), Line(what, size=HEAD_SIZE - 20)]
    kept = lines if sum(leading(line) for line in lines) <= SHORT_HEAD else [lines[0], lines[-1]]
    return set_block(kept, frame.x, MARGIN)[0]


def _text_pages(lines: Sequence[Line], height: int) -> list[list[list[Line]]]:
    """Lines that found no room on the first page, in pages of two columns."""
    columns: list[list[Line]] = []
    used = height
    for place, line in enumerate(lines):
        if used + leading(line) > height:
            heading = None if line.bold else headline(lines[:place])
            columns.append([heading] if heading is not None else [])
            used = sum(map(leading, columns[-1]))
        columns[-1].append(line)
        used += leading(line)
    return [columns[n : n + 2] for n in range(0, len(columns), 2)]
