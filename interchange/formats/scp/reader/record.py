"""Reading a record: parse, build, take back what lines carry, follow further files."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from interchange.errors import SourceError
from interchange.formats.scp.log import Log, at
from interchange.formats.scp.reader.build import build_recording, carried_by
from interchange.formats.scp.syntax.document import Document, parse_document
from interchange.formats.scp.syntax.frame import looks_like_record
from interchange.model import Recording, Tracing, Unread
from interchange.sources import Source

if TYPE_CHECKING:
    from interchange.findings import Finding
    from interchange.formats.scp.carried import Carried, Part

__all__ = ["read_document", "read_record", "recording_of"]


def read_record(source: Source) -> Recording:
    """The recording of a record and its further files; SourceError when nothing sound can be had from it."""
    return read_document(source, Log())[0]


def read_document(source: Source, log: Log) -> tuple[Recording, Document]:
    """As :func:`read_record`, with the parsed record that it was made from."""
    document = parse_document(source.data, log)
    _refuse_undecodable(document, log)
    recording = recording_of(document, source, log)
    return recording.with_(findings=log.findings), document


def recording_of(document: Document, source: Source, log: Log) -> Recording:
    """The recording in a parsed record, with its further files and everything that lines carry."""
    remarks, carried = carried_by(document)
    recording = build_recording(document, remarks, carried, log)
    if carried.parts:
        recording = _with_parts(recording, carried.parts.values(), source, log)
    return _with_lines(recording, document, carried, log)


def _refuse_undecodable(document: Document, log: Log) -> None:
    """A record whose rhythm cannot be decoded at all is none that could be handed on."""
    waves = document.rhythm.waves if document.rhythm is not None else ()
    if any(wave.samples is not None and wave.samples.size for wave in waves):
        return
    section = document.frame.section(6)
    if section is not None and section.body.strip(b"\0"):
        cause: Finding | None = next((f for f in reversed(log.findings) if f.severity == "error"), None)
        reason = f"the rhythm data cannot be decoded: {cause.reason}" if cause else "the rhythm data cannot be decoded"
        raise SourceError(reason, cause.place if cause else section.place())


def _with_lines(recording: Recording, document: Document, carried: Carried, log: Log) -> Recording:
    place = next((at(f.offset, 1) for f in document.header.fields if f.tag == 30), "section 1")
    recording, others = _applied(recording, carried.model)
    left = [*others, *carried.others]
    if carried.part_of:
        log.add("part-of", place)
    if left:
        log.add("carried", place, f"{len(left)} lines")
        unread = Unread(
            place, sum(len(line) for line in left), f"{len(left)} lines of free text that are not understood"
        )
        recording = recording.with_(unread=(*recording.unread, unread))
    return recording


def _applied(recording: Recording, lines: Sequence[str]) -> tuple[Recording, Sequence[str]]:
    """The recording with what the lines say, and the lines that are not understood."""
    if not lines:
        return recording, ()
    from interchange.model.lines import apply

    return apply(recording, lines)


def _with_parts(recording: Recording, parts: Iterable[Part], source: Source, log: Log) -> Recording:
    """The recording with the tracings of its further files, each at its place in the order."""
    tracings = list(recording.tracings)
    marks = list(recording.marks)
    for part in sorted(parts, key=lambda part: part.tracing):
        tracing = _tracing_of(part, source, log)
        if tracing is not None:
            place = min(part.tracing, len(tracings))
            start = part.start if tracing.kind == "rhythm" else tracing.start
            tracings.insert(place, replace(tracing, start=start, of=None))
            for index, other in enumerate(tracings):
                if index != place and other.of is not None and other.of >= place:
                    tracings[index] = replace(other, of=other.of + 1)
            marks = [replace(mark, tracing=mark.tracing + 1) if mark.tracing >= place else mark for mark in marks]
    return recording.with_(tracings=tuple(tracings), marks=tuple(marks))


def _tracing_of(part: Part, source: Source, log: Log) -> Tracing | None:
    try:
        data = source.neighbour(part.name)
    except SourceError:
        data = None
    if data is None or not looks_like_record(data):
        log.add("part-missing", "further file", f"tracing {part.tracing + 1}")
        return None
    import hashlib

    same = hashlib.sha256(data).hexdigest()[:16] == part.digest
    inner = Log()
    try:
        document = parse_document(data, inner)
        _, carried = carried_by(document)
        if not same and not carried.part_of:  # a record that is only called like it, perhaps of somebody else
            raise SourceError("is no further file")
        found = build_recording(document, (), replace(carried, parts={}), inner)
    except SourceError:
        log.add("part-missing", "further file", f"tracing {part.tracing + 1}")
        return None
    if not same:
        log.add("part-changed", "further file", f"tracing {part.tracing + 1}")
    for finding in inner.findings:
        if finding.severity == "error":
            log.add("part-broken", f"further file, {finding.place}", finding.rule)
    found, _ = _applied(found, [line for line in carried.model if line.startswith("tracings[0].")])
    if not found.tracings:
        log.add("part-missing", "further file", f"tracing {part.tracing + 1}")
        return None
    return found.tracings[0]
