"""A DICOM file to a recording."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from interchange.errors import SourceError
from interchange.formats.dicom.dictionary import storage_classes, tag_of
from interchange.formats.dicom.leadcodes import OWN_SCHEME
from interchange.formats.dicom.parse import File, parse
from interchange.formats.dicom.read_about import (
    read_acquisition,
    read_deidentification,
    read_extras,
    read_time,
    read_trial,
)
from interchange.formats.dicom.read_annotations import read_annotations
from interchange.formats.dicom.read_patient import read_patient
from interchange.formats.dicom.read_waveform import Group, read_groups
from interchange.formats.dicom.textlines import apply_lines
from interchange.formats.dicom.unread import unread_elements
from interchange.formats.dicom.view import Context, View
from interchange.model import Acquisition, Filters, Identifier, Recording, Tracing
from interchange.records import NamedTuple
from interchange.sources import Source

__all__ = ["Header", "read", "read_header"]


class Header(NamedTuple):
    """A recording without its text lines, and what is needed to go on."""

    recording: Recording
    top: View
    file: File


def read(source: Source) -> Recording:
    """The recording in a DICOM file; SourceError names the place where nothing sound can be had."""
    try:
        return read_parsed(parse(source.data))
    except SourceError as error:
        raise error.in_file(source.shown) from None


def read_parsed(file: File) -> Recording:
    """The recording in a file that was parsed already; SourceError where nothing sound can be had."""
    header = read_header(file)
    recording = apply_lines(header.recording, header.top)
    _leave_unknown_context(header.top)
    return replace(
        recording,
        unread=unread_elements(header.file.dataset, header.file.trailing),
        findings=tuple(header.top.context.findings),
    )


def _leave_unknown_context(top: View) -> None:
    """Items of the acquisition context that nobody understood are unread as a whole, their names too."""
    value_type = tag_of("ValueType")
    for item in top.items("AcquisitionContextSequence"):
        if value_type not in item.dataset.taken:
            item.dataset.taken.clear()


def read_header(file: File, with_samples: bool = True) -> Header:
    """Everything that the attributes say, before the text lines; without samples those are zero."""
    context = Context()
    for rule, place, detail in file.deviations:
        context.tolerate(rule, place, detail)
    if file.trailing:
        context.tolerate("trailing-bytes", "end of file", f"{file.trailing} bytes")
    top = View(file.dataset, context)
    _check_class(top)
    _own_scheme(top)
    groups = read_groups(top, with_samples)
    tracings = tuple(group.tracing for group in groups if group.tracing)
    time = read_time(top)
    annotations = read_annotations(top, groups, time)
    acquisition, tracings = _with_filters(read_acquisition(top, time, _mains(groups)), tracings)
    instance = top.text("SOPInstanceUID")
    recording = Recording(
        tracings=tracings,
        patient=read_patient(top),
        acquisition=acquisition,
        measurements=tuple(annotations.measurements),
        marks=tuple(annotations.marks.finish()),
        statements=tuple(annotations.statements),
        trial=read_trial(top),
        deidentification=read_deidentification(top),
        document_id=Identifier(instance) if instance else None,
        extras=read_extras(top, time),
        format="dicom",
    )
    return Header(recording, top, file)


def _own_scheme(top: View) -> None:
    """The identification of the project's own coding scheme says nothing about the recording; others stay unread."""
    for item in top.items("CodingSchemeIdentificationSequence"):
        if item.text("CodingSchemeDesignator") == OWN_SCHEME:
            item.text("CodingSchemeName")
        else:
            item.dataset.taken.clear()


def _check_class(top: View) -> None:
    uid = top.text("SOPClassUID")
    known = any(entry.uid == uid for entry in storage_classes().values())
    if not known:
        top.context.tolerate("not-an-ecg", top.at("SOPClassUID"))
    if top.text("Modality") != "ECG" and known:
        top.context.tolerate("modality", top.at("Modality"))


def _mains(groups: list[Group]) -> Fraction | None:
    return next((group.mains for group in groups if group.mains is not None), None)


def _with_filters(acquisition: Acquisition, tracings: tuple[Tracing, ...]) -> tuple[Acquisition, tuple[Tracing, ...]]:
    """Filters that all channels of all rhythm tracings share are the recording's."""
    shared: set[Filters | None] = {
        channel.filters for tracing in tracings if tracing.kind == "rhythm" for channel in tracing.channels
    }
    if len(shared) != 1 or None in shared:
        return acquisition, tracings
    common = shared.pop()
    lifted = tuple(
        replace(
            tracing,
            channels=tuple(
                replace(channel, filters=None) if channel.filters == common else channel for channel in tracing.channels
            ),
        )
        for tracing in tracings
    )
    return replace(acquisition, filters=common), lifted
