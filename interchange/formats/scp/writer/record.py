"""Encoding a recording: plan the files, make the further ones, make the main one with what only lines can say."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from interchange.formats.contract import Encoded, Note
from interchange.formats.native import native_notes, with_native_identity
from interchange.formats.scp.carried import MARKER
from interchange.formats.scp.writer.plan import FilePlan, plan_files
from interchange.formats.scp.writer.single import Single, prepare
from interchange.model import Mark, Recording

if TYPE_CHECKING:
    from interchange.formats.scp.carried import Part

__all__ = ["encode_record"]


def encode_record(recording: Recording, name: str, options: Mapping[str, str]) -> Encoded:
    """The files of a recording, the main one last.

    RefusedError for what no record can hold: too many leads, too fast or too slow, too long, too large.
    """
    huffman = options.get("coding") == "huffman"
    files, notes = plan_files(recording)
    found: list[tuple[str, bytes]] = []
    parts: list[Part] = []
    for number, file in enumerate(files[1:], 2):
        data, part, more = _part(recording, files, file, f"{name}-{number}.scp", f"{name}.scp", huffman)
        parts.append(part)
        found.append((part.name, data))
        notes += more
    single, more = prepare(recording, files[0], huffman)
    order = _order(files)
    data, about = _finished(single, recording, files, parts, order)
    notes += [*more, *about, *_added(recording), *_coding_notes(single)]
    further = re.sub(r"([*?[])", r"[\1]", name) + "-[0-9]*.scp"
    return Encoded((*found, (f"{name}.scp", data)), tuple(notes), (further,), f"scp.part-of: {name}.scp".encode())


def _part(
    recording: Recording, files: Sequence[FilePlan], file: FilePlan, title: str, main: str, huffman: bool
) -> tuple[bytes, Part, list[Note]]:
    """A further file: its bytes, how the main one names it, and notes."""
    import hashlib

    from interchange.formats.scp.carried import Part

    data, notes = _further(recording, file, main, huffman)
    digest = hashlib.sha256(data).hexdigest()[:16]
    notes.append(Note("info", "", f"tracing {file.only.index + 1} lies in the further file {title}"))
    return data, Part(_rank(files, file.only.index), title, file.start, digest), notes


def _rank(files: Sequence[FilePlan], index: int) -> int:
    """Place of a tracing among all that are written."""
    return sorted(i for file in files for i in file.indices).index(index)


def _order(files: Sequence[FilePlan]) -> list[int]:
    """Indices of the recording's tracings in the order in which a reader will have them."""
    order = list(files[0].indices)
    for index in sorted(file.only.index for file in files[1:]):
        order.insert(min(_rank(files, index), len(order)), index)
    return order


def _further(recording: Recording, file: FilePlan, main: str, huffman: bool) -> tuple[bytes, list[Note]]:
    """A further file: the patient, the acquisition, and one tracing."""
    acquisition = recording.acquisition
    if acquisition.time is not None and acquisition.time.is_instant:
        acquisition = replace(acquisition, time=acquisition.time.plus(file.start))
    alone = Recording(patient=recording.patient, acquisition=acquisition)
    single, notes = prepare(alone, file, huffman)
    single.own_lines = [f"scp.part-of: {main}"]
    base = single.base()
    wanted = alone.with_(tracings=tuple(replace(file.only.tracing, of=None, start=b.start) for b in base.tracings))
    wanted = with_native_identity(wanted, base)
    return single.record((), single.lines(base, wanted, (), ())), notes


def _finished(
    single: Single, recording: Recording, files: Sequence[FilePlan], parts: Sequence[Part], order: Sequence[int]
) -> tuple[bytes, list[Note]]:
    """The main record: what the reader will make of it decides which lines it needs; notes on what fields hold."""
    base = single.base()
    written = {p.index: p.tracing for file in files for p in (*file.rhythms, *((file.beat,) if file.beat else ()))}
    place = {old: new for new, old in enumerate(order)}
    tracings = [
        replace(written[i], of=place.get(written[i].of)) if written[i].of is not None else written[i] for i in order
    ]
    main = [place[index] for index in files[0].indices]
    stood = dict(zip(main, base.tracings, strict=True))
    # tracings of further files come as they are wanted: their own lines have said what their fields do not hold
    full_base = base.with_(
        tracings=tuple(stood[i] if i in stood else replace(t, of=None) for i, t in enumerate(tracings)),
        marks=tuple(replace(mark, tracing=main[mark.tracing]) for mark in base.marks),
    )
    wanted = recording.with_(
        tracings=tuple(tracings),
        marks=tuple(_renumbered(mark, place) for mark in recording.marks if mark.tracing in place),
        statements=single.reported.statements if single.reported is not None else (),
    )
    shown = _remarks(recording)
    if shown:
        full_base = full_base.with_(acquisition=replace(full_base.acquisition, remarks=shown))
    single.own_lines = [part.line() for part in parts]
    marks = tuple(_renumbered(mark, place) for mark in single.marks)
    wanted = with_native_identity(wanted, full_base)
    data = single.record(shown, single.lines(full_base, wanted, marks, shown))
    return data, native_notes(wanted, full_base)


def _remarks(recording: Recording) -> tuple[str, ...]:
    """The remarks where all of them may stand as they are; none where one could be taken for something else."""
    remarks = recording.acquisition.remarks
    odd = any(not text or "\0" in text or "\x1b" in text or text.startswith(MARKER) for text in remarks)
    return () if odd else remarks


def _renumbered(mark: Mark, place: Mapping[int, int]) -> Mark:
    return replace(mark, tracing=place[mark.tracing])


def _added(recording: Recording) -> list[Note]:
    """What the format demands and the recording does not have."""
    notes = []
    if not recording.patient.ids:
        notes.append(
            Note("added", "section 1 tag 2", "the patient's number is demanded: empty, read back as not given")
        )
    if not any(device.role != "analysing" for device in recording.acquisition.devices):
        notes.append(
            Note("added", "section 1 tag 14", "an acquiring device is demanded: empty, read back as not given")
        )
    time = recording.acquisition.time
    if time is None or time.day is None:
        notes.append(Note("added", "section 1 tag 25", "a date is demanded: zeros, read back as not given", "0-0-0"))
    if time is None or time.hour is None:
        notes.append(Note("added", "section 1 tag 26", "a time of day is demanded: none, read back as not given"))
    return notes


def _coding_notes(single: Single) -> list[Note]:
    if not single.signals.bodies:
        return []
    coding = "Huffman codes of the default table" if single.signals.huffman else "16-bit integers"
    return [Note("info", "", f"protocol 2.0, samples as {coding}, a coding that loses nothing")]
