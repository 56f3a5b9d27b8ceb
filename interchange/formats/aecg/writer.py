"""Writing an aECG document: R1-2004, or the normative edition of 2009.

The message is built in document order.  The header, the devices and the people are then read back from the tree by the
reader's own functions, and what does not come back as it went in is said in lines of text (see :mod:`difference`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from interchange.errors import RefusedError
from interchange.formats.aecg.clock import Clock
from interchange.formats.aecg.difference import lines_for
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import HL7, XSI, tree
from interchange.formats.aecg.read_header import Header, read_header, read_performer
from interchange.formats.aecg.write_header import add_line, write_header
from interchange.formats.aecg.write_series import (
    Group,
    Written,
    add_filters,
    add_placement,
    add_series,
    add_sets,
    channel_lines,
    groups,
    natural_order,
    read_back_filters,
)
from interchange.formats.aecg.write_types import ts
from interchange.formats.contract import Encoded, Note
from interchange.formats.native import native_notes, with_native_identity
from interchange.model import Acquisition, Device, Person, Recording, Tracing

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["encode"]

PLACEHOLDER = "0" * 8 + "-0000-0000-0000-" + "0" * 12


def encode(recording: Recording, name: str, options: Mapping[str, str]) -> Encoded:
    """The document of a recording; RefusedError when there is nothing to write or it cannot be held at all."""
    recording, notes = _without_empty(recording)
    root = _message(recording, notes)
    if options.get("edition") == "2009":
        from interchange.formats.aecg.edition import to_2009

        to_2009(root)
    return Encoded(((f"{name}.xml", _bytes(root)),), tuple(notes))


def _has_samples(tracing: Tracing) -> bool:
    return (
        bool(tracing.channels) and tracing.length > 0 and (tracing.missing is None or not bool(tracing.missing.all()))
    )


def _without_empty(recording: Recording) -> tuple[Recording, list[Note]]:
    """The recording without tracings that have no sample at all, for which a message has no place."""
    kept = [index for index, tracing in enumerate(recording.tracings) if _has_samples(tracing)]
    if not kept:
        raise RefusedError("there is no sample to write", "tracings")
    if len(kept) == len(recording.tracings):
        return recording, []
    new = {old: at for at, old in enumerate(kept)}
    tracings = [recording.tracings[index] for index in kept]
    changed = recording.with_(
        tracings=tuple(replace(t, of=new.get(t.of)) if t.of is not None else t for t in tracings),
        marks=tuple(replace(m, tracing=new[m.tracing]) for m in recording.marks if m.tracing in new),
    )
    reason = "the message has no place for a tracing without any sample, nor for marks on it"
    lost = [Note("left", f"tracings[{at}]", reason) for at in range(len(recording.tracings)) if at not in new]
    gone = [Note("left", f"marks[{at}]", reason) for at, m in enumerate(recording.marks) if m.tracing not in new]
    return changed, [*lost, *gone]


def _message(recording: Recording, notes: list[Note]) -> etree._Element:
    from lxml import etree

    clock = Clock.of(recording)
    root = etree.Element(
        f"{{{HL7}}}AnnotatedECG", {"classCode": "OBS", "moodCode": "EVN"}, nsmap={None: HL7, "xsi": XSI}
    )
    notes += write_header(root, recording, clock.low, clock.high)
    header = read_header(tree(root), Log())
    before_series = len(root)
    native = _native(recording, header, clock)
    done = Written()
    made = _all_series(root, recording, clock, done)
    native = native.with_(acquisition=replace(native.acquisition, **made))
    exact = with_native_identity(recording, native)
    notes += native_notes(exact.with_(measurements=(), statements=()), native)
    lines = _lines(exact, native, clock)
    lines += channel_lines(recording)
    if done.measurements or done.marks or done.statements:
        from interchange.formats.aecg.read_back import content_lines

        lines += content_lines(recording, done)
    if lines:
        from interchange.formats.aecg.lines import guard_line, is_numbered

        lines += [guard_line(root)] if any(map(is_numbered, lines)) else []
    for offset, text in enumerate(lines):
        root.insert(before_series + offset, add_line(text))
    if lines:
        notes.append(Note("info", "", f"{len(lines)} lines of text hold what the message has no field for"))
    return root


def _native(recording: Recording, header: Header, clock: Clock) -> Recording:
    """What the header alone gives back."""
    acquisition = replace(
        header.acquisition,
        time=recording.acquisition.time if clock.absolute or ts(recording.acquisition.time) else None,
        filters=read_back_filters(recording.acquisition.filters) if recording.rhythms else None,
    )
    return Recording(patient=header.patient, acquisition=acquisition, trial=header.trial)


def _lines(recording: Recording, native: Recording, clock: Clock) -> list[str]:
    """Lines for the header, the acquisition, and starts that are not counted from the first sample."""
    found: list[str] = []
    for name in ("patient", "acquisition", "trial", "deidentification"):
        found += lines_for(name, getattr(recording, name), getattr(native, name))
    starts = [tracing.start for tracing in recording.rhythms]
    moved = bool(starts) and min(starts) != 0
    for index, tracing in enumerate(recording.tracings):
        if tracing.start != 0 and (moved or tracing.kind != "rhythm"):
            found += lines_for(f"tracings[{index}].start", tracing.start, None)
    if moved and clock.absolute:
        found += lines_for("acquisition.time", recording.acquisition.time, None)
    return found


def _all_series(root: etree._Element, recording: Recording, clock: Clock, done: Written) -> dict[str, Any]:
    """Every series with its sets and annotations; gives back what the reader will find of the acquisition there."""
    found = done.groups = groups(recording.tracings)
    ordered = natural_order(found) == list(range(len(recording.tracings)))
    devices: tuple[Device, ...] = ()
    operator: Person | None = None
    placement: str | None = None
    beats = {index: at for at, index in enumerate(i for i, t in enumerate(recording.tracings) if t.kind != "rhythm")}
    for at, group in enumerate(found):
        series = add_series(root, "component", "series", group, clock)
        if at == 0:
            devices, operator = _made_by(series, recording.acquisition)
        if group.kind == "RHYTHM":
            add_filters(series, recording.acquisition.filters)
            placement = add_placement(series, recording.acquisition.electrode_placement)
        _fill(series, recording, group, clock, at == 0, beats, done, not ordered)
    return {"devices": devices, "operator": operator, "electrode_placement": placement}


def _fill(
    series: etree._Element,
    recording: Recording,
    group: Group,
    clock: Clock,
    first: bool,
    beats: dict[int, int],
    done: Written,
    numbered: bool,
) -> None:
    """Sequence sets, annotation sets and derived series, in this order."""
    before: Tracing | None = None
    for index in group.tracings:
        tracing = recording.tracings[index]
        near = before is not None and before.rate == tracing.rate and bool(set(before.names) & set(tracing.names))
        add_sets(series, tracing, clock, index, near or numbered)
        before = tracing
    beat = beats[group.tracings[0]] if group.kind != "RHYTHM" and recording.rhythms else None
    if recording.measurements or recording.marks or recording.statements or recording.acquisition.devices:
        from interchange.formats.aecg.write_annotations import add_annotations

        add_annotations(series, recording, group, clock, first, beat, done)
    for inner in group.derived:
        derived = add_series(series, "derivation", "derivedSeries", inner, clock)
        _fill(derived, recording, inner, clock, False, beats, done, numbered)


def _made_by(series: etree._Element, acquisition: Acquisition) -> tuple[tuple[Device, ...], Person | None]:
    """Recorder and operator of the first series, and what the reader makes of them and of the analysing device."""
    if not acquisition.devices and acquisition.operator is None:
        return (), None
    from lxml import etree

    from interchange.formats.aecg.read_devices import analysing_device, recorder
    from interchange.formats.aecg.write_devices import add_device_author, add_operator, add_recorder, analysing

    log = Log()
    made = next((device for device in acquisition.devices if device.role != "analysing"), None)
    found: list[Device] = []
    if made is not None:
        add_recorder(series, made)
        back = recorder(tree(series), log)
        found += [back] if back is not None else []
    add_operator(series, acquisition.operator)
    operator = read_performer(tree(series), log)
    program = analysing(acquisition.devices)
    if program is not None:
        scratch = etree.Element(f"{{{HL7}}}scratch", nsmap={None: HL7, "xsi": XSI})
        add_device_author(scratch, program)
        node = tree(scratch).step("author", "assignedEntity", "assignedAuthorType", "assignedDevice")
        back = analysing_device(node, log) if node is not None else None
        found += [back] if back is not None and back not in found else []
    return tuple(found), operator


def _bytes(root: etree._Element) -> bytes:
    """The document as UTF-8, its id made from everything else in it."""
    from lxml import etree

    data: bytes = etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    digest = bytearray(hashlib.sha256(data).digest()[:16])
    digest[6] = digest[6] & 0x0F | 0x80
    digest[8] = digest[8] & 0x3F | 0x80
    text = digest.hex()
    id = f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"
    return data.replace(PLACEHOLDER.encode(), id.encode(), 1)
