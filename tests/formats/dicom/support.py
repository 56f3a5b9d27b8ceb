"""Objects for the DICOM tests, built with pydicom: nothing here uses the package under test but the face of it."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
from pydicom.data import get_testdata_file
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import (
    AmbulatoryECGWaveformStorage,
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    General32bitECGWaveformStorage,
    GeneralECGWaveformStorage,
    ImplicitVRLittleEndian,
    TwelveLeadECGWaveformStorage,
)

from interchange.formats import dicom
from interchange.model import Recording
from interchange.sources import Source

CLASSES = {
    "twelve-lead": TwelveLeadECGWaveformStorage,
    "general": GeneralECGWaveformStorage,
    "ambulatory": AmbulatoryECGWaveformStorage,
    "general-32": General32bitECGWaveformStorage,
}
SYNTAXES = {
    "explicit": ExplicitVRLittleEndian,
    "implicit": ImplicitVRLittleEndian,
    "deflated": DeflatedExplicitVRLittleEndian,
    "big-endian": ExplicitVRBigEndian,
}
MDC_NUMBER = {
    "I": 1, "II": 2, "III": 61, "aVR": 62, "aVL": 63, "aVF": 64,
    "V1": 3, "V2": 4, "V3": 5, "V4": 6, "V5": 7, "V6": 8,
}  # fmt: skip
"""PS3.16 CID 3001."""

TWELVE = tuple(MDC_NUMBER)


def real_file() -> bytes:
    """The 12-lead object that ships with pydicom; its identity strings are quoted nowhere."""
    return Path(get_testdata_file("waveform_ecg.dcm", download=False)).read_bytes()


def code(value: str, scheme: str, meaning: str) -> Dataset:
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, scheme, meaning
    return item


def channel(lead: str = "I", **values: Any) -> Dataset:
    """A channel definition; None takes an attribute out."""
    item = Dataset()
    item.ChannelSourceSequence = Sequence([code(f"2:{MDC_NUMBER.get(lead, 0)}", "MDC", f"Lead {lead}")])
    item.ChannelSensitivity = "5"
    item.ChannelSensitivityUnitsSequence = Sequence([code("uV", "UCUM", "microvolt")])
    item.ChannelSensitivityCorrectionFactor = "1"
    item.ChannelBaseline = "0"
    item.ChannelSampleSkew = "0"
    item.WaveformBitsStored = 16
    return changed(item, values)


def changed(item: Dataset, values: dict[str, Any]) -> Dataset:
    for keyword, value in values.items():
        if value is None:
            if keyword in item:
                delattr(item, keyword)
        else:
            setattr(item, keyword, value)
    return item


def group(samples: np.ndarray[Any, Any], leads: tuple[str, ...] = ("I", "II"), **values: Any) -> Dataset:
    """A multiplex group; ``samples`` has the shape (channels, samples) and the type that is to be stored."""
    item = Dataset()
    item.WaveformOriginality = "ORIGINAL"
    item.NumberOfWaveformChannels, item.NumberOfWaveformSamples = samples.shape
    item.SamplingFrequency = "500"
    stored = min(16, samples.dtype.itemsize * 8)
    item.ChannelDefinitionSequence = Sequence([channel(lead, WaveformBitsStored=stored) for lead in leads])
    item.WaveformBitsAllocated = samples.dtype.itemsize * 8
    names = {"i1": "SB", "u1": "UB", "i2": "SS", "u2": "US", "i4": "SL", "u4": "UL", "i8": "SV", "u8": "UV"}
    item.WaveformSampleInterpretation = names[samples.dtype.str[1:]]
    raw = samples.T.astype(samples.dtype.newbyteorder("<")).tobytes()
    item.add_new("WaveformData", "OB" if samples.dtype.itemsize == 1 else "OW", raw + b"\0" * (len(raw) & 1))
    return changed(item, values)


def counts(rows: int = 2, length: int = 500, dtype: str = "i2") -> np.ndarray[Any, Any]:
    """Different numbers in every cell, both signs where the type has them."""
    values = (np.arange(rows * length).reshape(rows, length) * 7) % 200 - (100 if dtype[0] == "i" else 0)
    return values.astype(dtype)


def ecg(*groups: Dataset, storage: str = "twelve-lead", **values: Any) -> Dataset:
    """An object with every required attribute (PS3.3 A.34); invented content."""
    ds = Dataset()
    ds.SpecificCharacterSet = "ISO_IR 192"
    ds.SOPClassUID = CLASSES[storage]
    ds.SOPInstanceUID = "2.25.101"
    ds.StudyInstanceUID, ds.SeriesInstanceUID = "2.25.102", "2.25.103"
    ds.StudyDate, ds.StudyTime, ds.AccessionNumber = "20310405", "140307", ""
    ds.ReferringPhysicianName, ds.StudyID = "", ""
    ds.Modality, ds.SeriesNumber, ds.InstanceNumber, ds.Manufacturer = "ECG", 1, 1, "Test maker"
    ds.PatientName, ds.PatientID, ds.PatientBirthDate, ds.PatientSex = "Test^Person", "T-1", "19700102", "F"
    ds.ContentDate, ds.ContentTime, ds.AcquisitionDateTime = "20310405", "140307", "20310405140307"
    ds.AcquisitionContextSequence = Sequence([])
    ds.WaveformSequence = Sequence(groups or [group(counts())])
    return changed(ds, values)


def saved(ds: Dataset, syntax: str = "explicit", *, bare: bool = False) -> bytes:
    """The object as a file; ``bare`` without preamble and file meta information."""
    buffer = io.BytesIO()
    uid = SYNTAXES[syntax]
    if bare:
        pydicom.dcmwrite(
            buffer, ds, implicit_vr=uid.is_implicit_VR, little_endian=uid.is_little_endian, force_encoding=True
        )
        return buffer.getvalue()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = uid
    ds.save_as(buffer, enforce_file_format=True, implicit_vr=uid.is_implicit_VR, little_endian=uid.is_little_endian)
    return buffer.getvalue()


def read(data: bytes | Dataset) -> Recording:
    return dicom.read(Source(data if isinstance(data, bytes) else saved(data), "test.dcm"))


def rules(data: bytes | Dataset) -> set[str]:
    """Ids of what the check finds, without the format's name."""
    found = dicom.check(Source(data if isinstance(data, bytes) else saved(data), "test.dcm"))
    return {finding.rule.removeprefix("dicom.") for finding in found}


def written(recording: Recording, **options: str) -> bytes:
    return dicom.encode(recording, "test", options).main[1]


def opened(data: bytes) -> Dataset:
    """As pydicom reads it."""
    return pydicom.dcmread(io.BytesIO(data))


def annotation(**values: Any) -> Dataset:
    item = Dataset()
    item.ReferencedWaveformChannels = [1, 0]
    return changed(item, values)


FALSE_ALARMS = {
    "MultiplexGroupTimeOffset(0018,1068)> - Attribute present when condition unsatisfied": (
        "PS3.3 C.10.9: the offset is required if the time is synchronized, and may be present otherwise"
    ),
    "Illegal root for UID uses non-existent Joint ISO/ITU-T arc = <2.999.": (
        "Recommendation ITU-T X.660: the arc 2.999 is registered for examples"
    ),
}
"""What dciodvfy calls an error and is none, with the clause that says so."""

ODD_VALUES = re.compile(r"Length invalid for this VR|\[D[AT]\] = <(?!(18|19|20)\d\d)\d{4}")
"""What dciodvfy says of odd values and PS3.5 6.2 does not: it counts bytes where the standard limits the number of
characters (UTF-8 has up to four bytes each), and takes years before 1800 and after 2099 for no years."""


def verified(data: bytes, folder: Path) -> list[str]:
    """Error lines of dciodvfy that are no false alarm."""
    path = folder / "object.dcm"
    path.write_bytes(data)
    program = Path(sys.executable).parent / "dciodvfy"
    run = subprocess.run([program, "-new", path], capture_output=True, check=False)
    report = (run.stderr + run.stdout).decode("utf-8", "replace")
    errors = [line for line in report.split("\n") if "Error" in line]
    if run.returncode and not errors:
        errors.append(f"exit {run.returncode}: {report[-300:]}")
    return [line for line in errors if not any(alarm in line for alarm in FALSE_ALARMS)]
