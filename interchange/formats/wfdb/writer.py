"""From a recording of the model to the files of a record.

Signal files and further records get names made from their content, so that writing a record anew never touches a file
that the old header names: the appearance of the new header is the switch.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from interchange.formats.contract import Encoded, Note
from interchange.formats.wfdb.channels import channel
from interchange.formats.wfdb.fresh import fingerprint, leftovers_of
from interchange.formats.wfdb.guard import guard_line
from interchange.formats.wfdb.layout import Plan, Slot, layout_line, plan, record_line
from interchange.formats.wfdb.mark_files import MarkFile, mark_files
from interchange.formats.wfdb.model_lines import outside_lines, recording_lines, tracing_lines
from interchange.formats.wfdb.numerals import decimal, decimal_text
from interchange.formats.wfdb.record_text import (
    RecordText,
    base_time,
    description,
    header_bytes,
    record_name,
    spoken_rate,
)
from interchange.formats.wfdb.storage import SignalFile, stored
from interchange.model import Acquisition, Channel, Mark, Recording, Tracing
from interchange.model.lines import lines_below
from interchange.records import NamedTuple

__all__ = ["encode"]

_NUMBERED = ("tracings[", "marks[", "Tracing ", "Annotations ")
"""How info strings begin that name tracings, signals, annotation files or marks."""


class _Output(NamedTuple):
    """What has been made so far: files, notes, marks that need an info string; and the two settings."""

    stem: str
    choice: str
    files: list[tuple[str, bytes]]
    notes: list[Note]
    marks: list[Mark]


def encode(recording: Recording, name: str, options: Mapping[str, str]) -> Encoded:
    """The files of the record ``name``: signal files, further records, and last the header.

    ``options["sample-format"]``: "auto", or the number of a signal format that all samples must fit.  Raises
    RefusedError where they do not.
    """
    out = _Output(record_name(name), options.get("sample-format", "auto"), [], [], [])
    if out.stem != name:
        out.notes.append(Note("info", "", "the record's own name has letters, digits, _ and - only"))
    record, files = _record(recording, out, out.stem, recording_lines(recording))
    told = lines_below(Recording(marks=tuple(out.marks)), ("marks",))
    main = _guarded(record._replace(infos=[*record.infos, *told]))
    out.files.extend((f"{out.stem}.{file.annotator}", file.data) for file in files)
    header = header_bytes(main)
    if not header.isascii():
        out.notes.append(Note("info", "", "letters outside ASCII are written as UTF-8, which some readers drop"))
    files_once = dict(out.files)
    files_of_all = (*files_once.items(), (f"{name}.hea", header))
    return Encoded(files_of_all, tuple(out.notes), leftovers_of(out.stem), _part_of(out.stem).encode())


def _part_of(stem: str) -> str:
    """How the first info string of a further record begins."""
    return f"Part of record {stem}: "


def _record(recording: Recording, out: _Output, name: str, infos: list[str]) -> tuple[RecordText, list[MarkFile]]:
    """The header and the annotation files of a record; its signal files and further records go to ``out``."""
    layout = plan(recording.tracings)
    tracings = recording.tracings
    frames = max((-(-(slot.first + tracings[slot.number].length) // slot.frame) for slot in layout.slots), default=0)
    files: list[tuple[str, SignalFile, Sequence[Channel]]] = []
    told: list[str] = []
    where = _Where(layout, len(tracings))
    for slot in layout.slots:
        tracing = tracings[slot.number]
        file, notes = stored(tracing, f"tracings[{slot.number}]", slot.frame, slot.first, frames, out.choice)
        out.notes.extend(notes)
        out.notes.extend(_named(tracing, slot.number))
        name_of_file = _file_name(out.stem, file.data, [used for used, _, _ in files])
        files.append((name_of_file, file, tracing.channels))
        where.add(slot, tracing)
        told.extend(
            _tracing(tracing, slot.number, file, layout, Fraction(slot.first) / tracing.rate, len(where.owners))
        )
    out.files.extend((name, file.data) for name, file, _ in files)
    here = {slot.number for slot in layout.slots}
    out.marks.extend(mark for mark in recording.marks if not 0 <= mark.tracing < len(tracings))
    mark_data = _marks([mark for mark in recording.marks if mark.tracing in here], where, layout, out)
    for index in layout.others:
        where.lines[index] = record_line(index, len(tracings), _further(recording, index, out))
        told.extend(outside_lines(tracings[index], index))
    lines = [*infos, *where.told(), *(file.line for file in mark_data), *told]
    time = base_time(recording.acquisition.time)
    return RecordText(name, layout.rate, frames, _counter(recording), time, files, lines), mark_data


def _file_name(stem: str, data: bytes, used: Sequence[str]) -> str:
    """The name of a signal file; two of one record that hold the same bytes get different names."""
    name = f"{stem}_{fingerprint(data)}.dat"
    return name if name not in used else f"{stem}_{fingerprint(data + len(used).to_bytes(4))}.dat"


def _marks(marks: Sequence[Mark], where: _Where, layout: Plan, out: _Output) -> list[MarkFile]:
    """Annotation files for marks in this record; those that need a line as well are added to ``out``."""
    if not marks or layout.rate is None:
        out.marks.extend(marks)
        return []
    rate = decimal(spoken_rate(layout.rate)) or layout.rate
    files, inexact = mark_files(marks, layout.slots[0].number, rate, where.owners, len(out.marks))
    out.marks.extend(inexact)
    return files


class _Where:
    """Gathers the lines that say where each tracing is, and who owns each signal."""

    def __init__(self, layout: Plan, count: int) -> None:
        self.layout = layout
        self.count = count
        self.owners: list[tuple[int, Fraction, str]] = []
        self.lines: dict[int, str] = {}

    def add(self, slot: Slot, tracing: Tracing) -> None:
        """The next signals of the record are those of this tracing."""
        signals = range(len(self.owners), len(self.owners) + len(tracing.channels))
        self.lines[slot.number] = layout_line(slot, self.count, signals, tracing.length)
        start = Fraction(slot.first) / tracing.rate
        self.owners.extend((slot.number, start, channel.name) for channel in tracing.channels)

    def told(self) -> list[str]:
        """Nothing for a single tracing that begins with the record."""
        plain = self.count == 1 and self.layout.slots and self.layout.slots[0].first == 0
        return [] if plain else [self.lines[index] for index in sorted(self.lines)]


def _named(tracing: Tracing, index: int) -> Iterator[Note]:
    for row, own in enumerate(tracing.channels):
        if description(own) != own.name:
            reason = "the description holds a part of the name at most; an info string has all of it"
            yield Note("info", f"tracings[{index}].channels[{row}].name", reason)


def _tracing(tracing: Tracing, index: int, file: SignalFile, layout: Plan, at: Fraction, end: int) -> list[str]:
    """Lines for what the signal lines of a tracing do not say."""
    assert layout.rate is not None
    rate = (decimal(spoken_rate(layout.rate)) or layout.rate) * file.frame
    first = end - len(tracing.channels)
    expected = [
        channel(description(own), signal.gain, signal.resolution or None, signal.zero, first + row)
        for row, (signal, own) in enumerate(zip(file.signals, tracing.channels, strict=True))
    ]
    return tracing_lines(tracing, index, rate, expected, file.signals, at=at)


def _further(recording: Recording, index: int, out: _Output) -> str:
    """Write tracing ``index`` and its marks as a record of their own; its name."""
    tracing = recording.tracings[index]
    time = recording.acquisition.time
    if time is not None:
        time = time.plus(tracing.start) if time.is_instant else None
    alone = Recording(
        tracings=(replace(tracing, start=Fraction(0), of=None),),
        acquisition=Acquisition(time=time),
        marks=tuple(replace(mark, tracing=0) for mark in recording.marks if mark.tracing == index),
    )
    known = len(out.marks)
    words = f"{_part_of(out.stem)}tracing {index + 1} of {len(recording.tracings)}"
    text, files = _record(alone, out, "", [words])
    text = _guarded(text)
    out.marks[known:] = [replace(mark, tracing=index) for mark in out.marks[known:]]
    name = f"{out.stem}_{fingerprint(header_bytes(text))}"
    out.files.extend((f"{name}.{file.annotator}", file.data) for file in files)
    out.files.append((f"{name}.hea", header_bytes(text._replace(name=name))))
    return name


def _guarded(text: RecordText) -> RecordText:
    """The header with a guard, if any of its info strings speaks of signals or annotations by their numbers."""
    infos = list(text.infos)
    if not any(info.startswith(_NUMBERED) for info in infos):
        return text
    return text._replace(infos=[*infos, guard_line(header_bytes(text._replace(name="x", infos=infos)))])


def _counter(recording: Recording) -> str:
    """Counter frequency and base value, where the recording was read from a record that has them."""
    held = dict(recording.extras)
    rate, base = (_number(held.get(f"wfdb.counter-{key}", "")) for key in ("frequency", "base"))
    if rate is None and base is None:
        return ""
    return f"/{decimal_text(rate or Fraction(0))}" + (f"({decimal_text(base)})" if base is not None else "")


def _number(text: str) -> Fraction | None:
    try:
        return Fraction(text) if text else None
    except (ValueError, ZeroDivisionError):
        return None
