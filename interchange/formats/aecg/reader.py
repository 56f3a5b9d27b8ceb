"""Reading an aECG document: the three generations of the message, tolerantly, into the model.

Order of work: bytes to nodes (:mod:`markup`), header, series with their samples, samples to tracings on one time line
(:mod:`place`), annotations, the lines of text in which this project keeps what the message has no field for, and last
what nobody took.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from interchange.errors import SourceError
from interchange.formats.aecg.effective import effective_extras, leave_effective
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import HL7, Document, Node, namespace_of, parse, tree
from interchange.formats.aecg.place import Placed, placed
from interchange.formats.aecg.read_controls import FILTERS, Controls
from interchange.formats.aecg.read_header import Header, read_header, read_performer
from interchange.formats.aecg.read_series import Series, read_series
from interchange.formats.aecg.unread import unread
from interchange.model import Channel, Device, Filters, Recording, Tracing
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from interchange.formats.aecg.scope import Content
    from interchange.sources import Source

__all__ = ["read", "read_document"]


LEFT_OUT = (
    "aecg.increment",
    "aecg.increment-unit",
    "aecg.uneven-time",
    "aecg.time-sequence",
    "aecg.digits",
    "aecg.digits-external",
    "aecg.scale",
)
"""Rules for which a sequence set or a lead in it is left out."""


class _Around(NamedTuple):
    """An element around a message, and the one around that."""

    node: Node
    outer: _Around | None


def read(source: Source) -> Recording:
    """The recording in an aECG document; SourceError when no samples can be had from it."""
    try:
        return read_document(parse(source.data), Log())
    except SourceError as error:
        raise error.in_file(source.shown) from None


def read_document(document: Document, log: Log) -> Recording:
    """The recording in a parsed document; findings go to ``log`` and into the recording."""
    for id, detail in document.deviations:
        log.add(id, None, detail, "line 1")
    top = tree(document.root)
    message, path = _message(top, log)
    header = read_header(message, log)
    series: list[Series] = []
    for component in message.takes("component"):
        for node in component.takes("series"):
            read_series(node, None, series, log)
    if not any(entry.segments for entry in series):
        raise _nothing(log, path)
    place = placed(series, header.times, log)
    content = _content(series, place, log)
    recording = _assembled(header, series, place, content, log)
    recording = _with_lines(recording, header, message, log)
    for controls in (said for entry in series for said in entry.said):
        controls.leave_unused()
    message.used = True
    if len(log.zones) > 1:
        log.add("aecg.zone-mixed", message)
    around = unread(top, f"/{_local(top)}") if message is not top else ()
    return recording.with_(unread=(*around, *unread(message, path), *log.unread), findings=log.findings())


def _nothing(log: Log, path: str) -> SourceError:
    """Why there are no samples: what the first set or lead was left out for and where, else that it has none."""
    words = "holds no series with samples that can be read"
    cause = log.first(*LEFT_OUT)
    return SourceError(f"{words}: {cause.reason}", cause.place) if cause is not None else SourceError(words, path)


def _content(series: list[Series], place: Placed, log: Log) -> Content | None:
    """What the annotation sets hold; None where there is none."""
    annotated = [entry for entry in series if entry.tracings and entry.node.find("subjectOf") is not None]
    if not annotated:
        return None
    from interchange.formats.aecg.read_annotations import read_annotations
    from interchange.formats.aecg.scope import Content

    content = Content()
    for entry in annotated:
        read_annotations(entry, place, content, log, _beat(entry, place))
    return content


def _beat(series: Series, place: Placed) -> int | None:
    """Which representative beat a series shows, 0 for the first; None for a rhythm, and where there is no rhythm."""
    if series.kind == "rhythm" or all(tracing.kind != "rhythm" for tracing in place.tracings):
        return None
    return sum(tracing.kind != "rhythm" for tracing in place.tracings[: series.tracings[0]])


def _message(top: Node, log: Log) -> tuple[Node, str]:
    """The message: the document element, or the first one inside a wrapper; others are named and left unread."""
    found = _messages(top)
    node, outer = next(found, (None, None))
    if node is None:
        raise SourceError("holds no AnnotatedECG")
    local, path = _local(node), f"/{_local(node)}"
    if outer is not None:
        log.add("aecg.wrapped", node)
        for other, _ in found:
            log.add("aecg.further-message", other)
        hollow = Node(node.name, {}, node.element)
        outer.node.children = [hollow if child is node else child for child in outer.node.children]
        hollow.used = True
    elif local != "AnnotatedECG":
        log.add("aecg.root", node)
    if namespace_of(node.element) != HL7:
        log.add("aecg.namespace", node)
    while outer is not None:
        outer.node.used = True
        path, outer = f"/{_local(outer.node)}{path}", outer.outer
    return (node, path) if node is top or node.name == local else (tree(node.element), path)


def _messages(top: Node) -> Iterator[tuple[Node, _Around | None]]:
    """Every message, none inside another, with the elements around it."""
    stack: list[tuple[Node, _Around | None]] = [(top, None)]
    while stack:
        node, outer = stack.pop()
        local = _local(node)
        if local in ("AnnotatedECG", "annotatedECG") or local.endswith(".AnnotatedECG"):
            yield node, outer
        else:
            around = _Around(node, outer)
            stack.extend((child, around) for child in reversed(node.children))


def _local(node: Node) -> str:
    return node.name.rsplit("}", 1)[-1]


def _assembled(header: Header, series: list[Series], place: Placed, content: Content | None, log: Log) -> Recording:
    """The recording from its parts."""
    rhythms = [entry for entry in series if entry.kind == "rhythm" and entry.tracings]
    filters = rhythms[0].controls.filters if rhythms else None
    tracings = list(place.tracings)
    for entry in series:
        own = entry.controls.filters
        if own is not None and own != filters:
            for index in entry.tracings:
                tracings[index] = _filtered(tracings[index], own, entry.controls)
        elif entry.tracings:
            entry.controls.taken.update(FILTERS)
    devices = _devices(series, content, log)
    operator = next((found for entry in series if (found := read_performer(entry.node, log)) is not None), None)
    header.extras += effective_extras(header.times, place)
    leave_effective(series, place)
    acquisition = replace(
        header.acquisition,
        time=place.zero,
        devices=devices,
        operator=operator,
        filters=filters,
        electrode_placement=_placement(series),
    )
    return Recording(
        tracings=tuple(tracings),
        patient=header.patient,
        acquisition=acquisition,
        measurements=tuple(content.measurements) if content else (),
        marks=tuple(content.marks) if content else (),
        statements=tuple(content.statements) if content else (),
        trial=header.trial,
        document_id=header.document_id,
        extras=tuple(header.extras),
        format="aecg",
    )


def _placement(series: list[Series]) -> str | None:
    """The first electrode placement that a series, one of its sets or leads says; others stay unread."""
    said = [controls for entry in series if entry.tracings for controls in entry.said if controls.placement]
    for controls in said:
        if controls.placement == said[0].placement:
            controls.taken.add("placement")
    return said[0].placement if said else None


def _filtered(tracing: Tracing, filters: Filters, controls: Controls) -> Tracing:
    """The tracing with the filters of its series in the channels that have none of their own."""
    if any(channel.filters is None for channel in tracing.channels):
        controls.taken.update(FILTERS)
    channels: tuple[Channel, ...] = tuple(
        channel if channel.filters else replace(channel, filters=filters) for channel in tracing.channels
    )
    return replace(tracing, channels=channels)


def _devices(series: list[Series], content: Content | None, log: Log) -> tuple[Device, ...]:
    """The recorders, then the analysing devices, each once."""
    programs = content.devices if content else []
    if not programs and all(entry.node.find("author") is None for entry in series):
        return ()
    from interchange.formats.aecg.read_devices import analysing_device, is_bare, recorder

    found: list[Device] = []
    recorders = [recorder(entry.node, log) for entry in series]
    made = ((analysing_device(node, log), spoke) for node, spoke in programs)
    for device in (*recorders, *(device for device, spoke in made if not (spoke and is_bare(device)))):
        if device is not None and device not in found:
            found.append(device)
    return tuple(found)


def _with_lines(recording: Recording, header: Header, message: Node, log: Log) -> Recording:
    """The recording with this project's own lines taken in; those that are not become remarks."""
    if not header.lines:
        return recording
    from interchange.formats.aecg.lines import taken_in

    recording, others = taken_in(recording, header.lines, message, log)
    if others:
        remarks = (*recording.acquisition.remarks, *others)
        recording = recording.with_(acquisition=replace(recording.acquisition, remarks=remarks))
    return recording
