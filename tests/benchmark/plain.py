"""The plain ways that ours are measured against."""

from __future__ import annotations

import binascii
import io
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import pydicom
import wfdb
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import ExplicitVRLittleEndian, generate_uid

from interchange.model import Tracing

__all__ = ["convert_in_the_plain_way", "dicom_in_the_plain_way", "plain_scp_decode", "plain_scp_encode"]


def dicom_in_the_plain_way(source: Dataset) -> bytes:
    """The same object, element by element, built and saved with pydicom."""
    made = _copied(source)
    made.file_meta = FileMetaDataset()
    made.file_meta.MediaStorageSOPClassUID = source.SOPClassUID
    made.file_meta.MediaStorageSOPInstanceUID = source.SOPInstanceUID
    made.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    out = io.BytesIO()
    made.save_as(out, enforce_file_format=True)
    return out.getvalue()


def _copied(source: Dataset) -> Dataset:
    made = Dataset()
    for element in source:
        if element.VR == "SQ":
            made.add_new(element.tag, "SQ", Sequence(_copied(item) for item in element.value))
        else:
            made.add_new(element.tag, element.VR, element.value)
    return made


def plain_scp_decode(data: bytes) -> Any:
    """All samples of a record, bit by bit (the plain decoder of the tests)."""
    from tests.formats.scp.plain import decode

    return decode(data)


def plain_scp_encode(tracing: Tracing) -> Callable[[], bytes]:
    """What encodes these samples value by value with the default table (the plain encoder of the tests).

    Its checksum is left to a library: going through all bits again would flatter what is measured against it.
    """
    from tests.formats.scp import plain

    leads = [(number, 1, row.tolist()) for number, row in enumerate(tracing.samples, 1)]
    record = plain.Record(leads, order=2, tables=[plain.DEFAULT_CODES])

    def encode() -> bytes:
        with mock.patch.object(plain, "crc", lambda data: binascii.crc_hqx(data, 0xFFFF)):
            return plain.encode(record)

    return encode


def convert_in_the_plain_way(header: Path, target: Path) -> None:
    """What a user would write: wfdb.rdrecord, then a 12-lead object with pydicom; nothing is read back."""
    record = wfdb.rdrecord(str(header.with_suffix("")), physical=False)
    made = Dataset()
    made.SOPClassUID = "1.2.840.10008.5.1.4.1.1.9.1.1"
    made.SOPInstanceUID = generate_uid()
    made.StudyInstanceUID, made.SeriesInstanceUID = generate_uid(), generate_uid()
    made.Modality, made.PatientName, made.PatientID = "ECG", "", ""
    group = Dataset()
    group.MultiplexGroupTimeOffset = 0
    group.WaveformOriginality = "ORIGINAL"
    group.NumberOfWaveformChannels = record.n_sig
    group.NumberOfWaveformSamples = record.sig_len
    group.SamplingFrequency = record.fs
    group.WaveformBitsAllocated, group.WaveformSampleInterpretation = 16, "SS"
    channels = []
    for index in range(record.n_sig):
        channel, unit, lead = Dataset(), Dataset(), Dataset()
        lead.CodeValue, lead.CodingSchemeDesignator, lead.CodeMeaning = f"2:{index + 1}", "MDC", record.sig_name[index]
        unit.CodeValue, unit.CodingSchemeDesignator, unit.CodeMeaning = "mV", "UCUM", "millivolt"
        channel.ChannelSourceSequence = Sequence([lead])
        channel.ChannelSensitivity = 1 / record.adc_gain[index]
        channel.ChannelSensitivityUnitsSequence = Sequence([unit])
        channel.ChannelSensitivityCorrectionFactor, channel.ChannelBaseline = 1, 0
        channel.ChannelSampleSkew, channel.WaveformBitsStored = 0, 16
        channels.append(channel)
    group.ChannelDefinitionSequence = Sequence(channels)
    group.WaveformData = np.asarray(record.d_signal, dtype="<i2").tobytes()
    group["WaveformData"].VR = "OW"
    made.WaveformSequence = Sequence([group])
    made.file_meta = FileMetaDataset()
    made.file_meta.MediaStorageSOPClassUID = made.SOPClassUID
    made.file_meta.MediaStorageSOPInstanceUID = made.SOPInstanceUID
    made.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    made.save_as(target, enforce_file_format=True)
    assert pydicom.__version__
