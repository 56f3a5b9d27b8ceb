"""A recording to a DICOM file.

Order of work: choose the storage class and what it holds; put everything into attributes; read those back, and write
every difference as a line of text (:mod:`textlines`); derive the instance identifier from the result.  So what the
attributes cannot hold travels beside them, and nothing is said twice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from interchange._version import __version__
from interchange.errors import UsageError
from interchange.formats.contract import Encoded, Note
from interchange.formats.dicom.dictionary import tag_of
from interchange.formats.dicom.encoder import WRITTEN_SYNTAXES, Item, coded, encode_file, encode_item
from interchange.formats.dicom.extras import put_extras
from interchange.formats.dicom.leadcodes import OWN_SCHEME, OWN_SCHEME_NAME
from interchange.formats.dicom.parse import File, parse_written
from interchange.formats.dicom.read_about import TOP_EXTRAS
from interchange.formats.dicom.reader import read_header
from interchange.formats.dicom.storage import GENERAL_32, Choice, choose
from interchange.formats.dicom.textlines import TEXT_LINES, differences, fingerprint, group_line, name_groups
from interchange.formats.dicom.uids import derived_uid
from interchange.formats.dicom.write_about import context_items, put_about, put_study
from interchange.formats.dicom.write_annotations import GroupNumbers, annotation_items
from interchange.formats.dicom.write_waveform import group_item
from interchange.formats.native import native_notes, with_native_identity
from interchange.model import Recording, Tracing

__all__ = ["encode"]

IMPLEMENTATION: Final = (
    derived_uid("implementation", b"interchange"),
    f"INTERCHANGE{__version__.replace('.', '')}"[:16],
)
"""Implementation class UID and version name (PS3.10 7.1)."""


def encode(recording: Recording, name: str, options: Mapping[str, str]) -> Encoded:
    """The DICOM file of a recording; RefusedError where no ECG storage class holds it."""
    syntax = WRITTEN_SYNTAXES.get(options.get("transfer-syntax") or "explicit")
    if syntax is None:
        raise UsageError("the transfer syntax is one of " + ", ".join(WRITTEN_SYNTAXES))
    choice = choose(recording.tracings)
    kept = _kept(recording, choice)
    notes = [*choice.notes, *_lost_marks(recording, choice)]
    dataset, numbers = _dataset(kept, choice, notes)
    body = encode_item(dataset)
    if OWN_SCHEME.encode() in body:
        _put_scheme(dataset)
    written = parse_written(body)
    notes += _put_lines(dataset, kept, written, numbers)
    content: tuple[bytes | memoryview, ...] = (*_content(body, written), _lines(dataset), _digest(kept.tracings))
    dataset.text("SOPInstanceUID", derived_uid("instance", *content))
    return Encoded(((f"{name}.dcm", encode_file(dataset, syntax, IMPLEMENTATION)),), tuple(notes))


def _content(body: bytes, written: File) -> Iterator[memoryview]:
    """All of the data set but the samples, for whose scaled values the digests of the tracings stand."""
    view, done = memoryview(body), 0
    for group in written.dataset[tag_of("WaveformSequence")].items or ():
        samples = group[tag_of("WaveformData")]
        yield view[done : samples.start]
        done = samples.start + samples.length
    yield view[done:]


def _lines(dataset: Item) -> bytes:
    context = tag_of("AcquisitionContextSequence")
    return encode_item(Item({context: dataset[context]})) if context in dataset else b""


def _digest(tracings: Sequence[Tracing]) -> bytes:
    return "".join(tracing.digest for tracing in tracings).encode()


def _kept(recording: Recording, choice: Choice) -> Recording:
    """The recording with the tracings that the class holds; marks on others are left out, indices follow."""
    everywhere = all(0 <= mark.tracing < len(recording.tracings) for mark in recording.marks)
    if len(choice.kept) == len(recording.tracings) and everywhere:
        return recording
    index = {old: new for new, old in enumerate(choice.kept)}
    tracings = tuple(
        replace(tracing, of=None if tracing.of is None else index.get(tracing.of))
        for tracing in (recording.tracings[old] for old in choice.kept)
    )
    marks = tuple(replace(mark, tracing=index[mark.tracing]) for mark in recording.marks if mark.tracing in index)
    return replace(recording, tracings=tracings, marks=marks)


def _lost_marks(recording: Recording, choice: Choice) -> list[Note]:
    lost = [index for index, mark in enumerate(recording.marks) if mark.tracing not in choice.kept]
    return [Note("left", f"marks[{index}]", "the tracing that it lies on is not there") for index in lost]


def _dataset(recording: Recording, choice: Choice, notes: list[Note]) -> tuple[Item, GroupNumbers]:
    dataset = Item()
    dataset.text("SpecificCharacterSet", "ISO_IR 192")
    dataset.text("SOPClassUID", choice.storage.uid)
    dataset.text("Modality", "ECG")
    dataset.text("SeriesNumber", "1")
    dataset.text("InstanceNumber", "1")
    wide = choice.storage.id == GENERAL_32
    put_about(dataset, recording, wide, notes)
    acquisition = recording.acquisition
    groups = [group_item(t, acquisition.filters, acquisition.mains, wide) for t in recording.tracings]
    dataset.sequence("WaveformSequence", groups)
    put_study(dataset, recording, _digest(recording.tracings[:1]))
    numbers = GroupNumbers(recording)
    annotations = list(annotation_items(recording, numbers))
    if annotations:
        dataset.sequence("WaveformAnnotationSequence", annotations)
    dataset.sequence("AcquisitionContextSequence", context_items(recording))
    put_extras(dataset, recording.extras, TOP_EXTRAS)
    return dataset, numbers


def _put_scheme(dataset: Item) -> None:
    """Say whose the private codes are (PS3.3 C.12.1.1.1)."""
    entry = Item()
    entry.text("CodingSchemeDesignator", OWN_SCHEME)
    entry.text("CodingSchemeName", OWN_SCHEME_NAME)
    dataset.sequence("CodingSchemeIdentificationSequence", [entry])


def _put_lines(dataset: Item, wanted: Recording, written: File, numbers: GroupNumbers) -> list[Note]:
    """Read the attributes back and add what they do not say as lines of text; notes on what they say differently."""
    names = numbers.named()
    got = name_groups(read_header(written, with_samples=False).recording, names)
    wanted = with_native_identity(wanted, got)
    lines = differences(wanted, got)
    lines["annotations"][:0] = [group_line(number, name) for number, name in names.items()]
    items = []
    for part, texts in lines.items():
        if texts:
            item = Item()
            item.text("ValueType", "TEXT")
            item.sequence("ConceptNameCodeSequence", [coded(*TEXT_LINES)])
            item.text("TextValue", "\r\n".join([f"{part} {fingerprint(written.dataset, part)}", *texts]))
            items.append(item)
    if items:
        context = dataset[tag_of("AcquisitionContextSequence")][1]
        assert isinstance(context, list)
        dataset.sequence("AcquisitionContextSequence", [*context, *items])
        _put_scheme(dataset)
    return native_notes(wanted, got)
