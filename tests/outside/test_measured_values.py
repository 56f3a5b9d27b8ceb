"""Measurements and statements of one recording, as programs that know nothing of this package find them.

Sources: EN 1064 5.10 (section 7), 5.11 (section 8), 5.13.5 (section 10) read byte by byte; PS3.3 C.10.10 through
pydicom with the codes of PS3.16 CIDs 3228, 3229, 3687 and 3688; ANSI/HL7 V3 ECG annotations through ElementTree.
"""

from __future__ import annotations

import struct
from fractions import Fraction
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pydicom
import pytest

import interchange
from interchange.model import Acquisition, Channel, Measurement, Moment, Recording, Statement, Tracing
from tests.outside.readers import NUMBERS, scp_sections

LEADS = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")
CODES = {name: number for number, name in NUMBERS.items()}
LEVELS = {"j-amplitude": (14, "2:1024"), "st-amplitude-20": (26, "2:14848"), "st-amplitude-60": (27, "2:14336"),
          "st-amplitude-80": (28, "2:14592")}  # fmt: skip
"""Concept -> (place in a block of section 10 from 0, code in CID 3688)."""
GLOBALS = {"pr-interval": (163, "2:15872"), "qrs-duration": (97, "2:16156"), "qt-interval": (402, "2:16160"),
           "rr-interval": (811, "2:16168"), "qrs-axis": (-37, "2:16132")}  # fmt: skip
TAKEN = Moment.parse("2031-04-05T14:03:07-03:30")


def level(concept: str, lead: str) -> int:
    return 10 * LEADS.index(lead) - 7 * list(LEVELS).index(concept) - 45


@pytest.fixture
def recording() -> Recording:
    samples = np.arange(12 * 50, dtype=np.int16).reshape(12, 50)
    measured = [
        Measurement(concept, value, "deg" if concept.endswith("axis") else "ms")
        for concept, (value, _) in GLOBALS.items()
    ]
    measured += [Measurement(c, level(c, lead), "uV", lead) for lead in LEADS for c in LEVELS]
    measured += [
        Measurement("q-duration", None, "ms", "V2", absent="wave-absent"),
        Measurement("q-duration", None, "ms", "V3", absent="not-measured"),
        Measurement("q-duration", None, "ms", "V4", absent="rejected"),
    ]
    statements = [Statement(t, confirmed=False, author_kind="machine", time=TAKEN.plus(20)) for t in ("first", "next")]
    return Recording(
        (Tracing(tuple(Channel(name, "uV", Fraction(5)) for name in LEADS), samples, Fraction(500)),),
        acquisition=Acquisition(time=TAKEN),
        measurements=tuple(measured),
        statements=tuple(statements),
    )


def test_scp(recording: Recording, tmp_path: Path) -> None:
    path = tmp_path / "x.scp"
    interchange.write(recording, path)
    sections = scp_sections(path.read_bytes())
    blocks, spikes, rr, _ = struct.unpack_from("<BBHH", sections[7])
    begin, _, onset, offset, end, _, axis, _ = struct.unpack_from("<5H3h", sections[7], 6)
    assert (blocks, spikes, rr, axis) == (1, 0, 811, -37)
    assert (onset - begin, offset - onset, end - onset) == (163, 97, 402)
    at, found = 4, {}
    for _ in range(struct.unpack_from("<H", sections[10])[0]):
        code, size = struct.unpack_from("<HH", sections[10], at)
        found[NUMBERS[code]] = struct.unpack_from(f"<{size // 2}h", sections[10], at + 4)
        at += 4 + size
    assert set(found) == set(LEADS)
    for lead in LEADS:
        assert [found[lead][place] for place, _ in LEVELS.values()] == [level(c, lead) for c in LEVELS]
    assert [found[lead][4] for lead in ("V2", "V3", "V4")] == [19999, 29999, 29998]
    flag, year, month, day, hour, minute, second, count = struct.unpack_from("<BH6B", sections[8])
    assert (flag, year, month, day, hour, minute, second, count) == (0, 2031, 4, 5, 14, 3, 27, 2)
    assert sections[8][9:].rstrip(b"\0") == b"\1\6\0first\0\2\5\0next"


def test_dicom(recording: Recording, tmp_path: Path) -> None:
    path = tmp_path / "x.dcm"
    interchange.write(recording, path)
    dataset = pydicom.dcmread(path)
    named = [item for item in dataset.WaveformAnnotationSequence if "ConceptNameCodeSequence" in item]
    found = {
        (item.ConceptNameCodeSequence[0].CodeValue, *item.ReferencedWaveformChannels): (
            item.get("NumericValue"),
            item.MeasurementUnitsCodeSequence[0].CodeValue if "MeasurementUnitsCodeSequence" in item else None,
        )
        for item in named
    }
    for concept, (value, code) in GLOBALS.items():
        assert found[code, 1, 0] == (value, "deg" if concept.endswith("axis") else "ms")
    for concept, (_, code) in LEVELS.items():
        for row, lead in enumerate(LEADS, 1):
            assert found[code, 1, row] == (level(concept, lead), "uV")
    for lead in ("V2", "V3", "V4"):
        number = found["2:7680", 1, LEADS.index(lead) + 1][0]
        assert number is None, "no number stands for what was not measured"
    texts = [item.UnformattedTextValue for item in dataset.WaveformAnnotationSequence if "UnformattedTextValue" in item]
    assert [text for text in texts if text in ("first", "next")] == ["first", "next"]
    assert str(dataset.AcquisitionDateTime) == "20310405140307-0330"


def test_aecg(recording: Recording, tmp_path: Path) -> None:
    path = tmp_path / "x.xml"
    interchange.write(recording, path)
    hl7, typed = "{urn:hl7-org:v3}", "{http://www.w3.org/2001/XMLSchema-instance}type"
    found = {}
    for annotation in ElementTree.fromstring(path.read_bytes()).iter(f"{hl7}annotation"):
        value = annotation.find(f"{hl7}value")
        if value is None or value.get(typed) != "PQ":
            continue
        leads = [c.get("code") for c in annotation.findall(f"{hl7}support//{hl7}boundary/{hl7}code")]
        code = annotation.find(f"{hl7}code").get("code")  # type: ignore[union-attr]
        found[code, *leads] = (value.get("value"), value.get("unit"), value.get("nullFlavor"))
    assert found["MDC_ECG_TIME_PD_PR",] == ("163", "ms", None)
    assert found["MDC_ECG_ANGLE_QRS_FRONT",] == ("-37", "deg", None)
    for lead in LEADS:
        place = f"MDC_ECG_LEAD_{lead.upper()}"
        assert found["MDC_ECG_AMPL_J", place] == (str(level("j-amplitude", lead)), "uV", None)
        assert found["MDC_ECG_ELEC_POTL_ST_80", place] == (str(level("st-amplitude-80", lead)), "uV", None)
    assert found["MDC_ECG_TIME_PD_Q", "MDC_ECG_LEAD_V2"][0] is None
