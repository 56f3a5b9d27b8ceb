"""Readers that share no code and no table with the package: what another program sees in a written file.

DICOM through pydicom (PS3.3 C.10.9, lead numbers of PS3.16 CID 3001), aECG through ElementTree (ANSI/HL7 V3 ECG,
SLIST_PQ and GLIST_TS), WFDB through the ``wfdb`` library, SCP-ECG bit by bit (EN 1064 5.3, 5.4, 5.6, 5.9, 5.10, 5.13).
Each gives ``{lead: [(first instant in seconds, seconds between samples, microvolts)]}``, missing samples as NaN.
"""

from __future__ import annotations

import datetime
import io
import struct
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pydicom
import wfdb

NUMBERS = {
    1: "I", 2: "II", 3: "V1", 4: "V2", 5: "V3", 6: "V4", 7: "V5", 8: "V6", 9: "V7", 11: "V3R", 12: "V4R", 13: "V5R",
    61: "III", 62: "aVR", 63: "aVL", 64: "aVF", 66: "V8", 67: "V9",
}  # fmt: skip
"""Lead numbers of SCP-ECG (EN 1064 5.6), which are those of PS3.16 CID 3001 (``2:n``)."""

Streams = dict[str, list[tuple[float, float, Any]]]

_HL7 = "{urn:hl7-org:v3}"
_TYPE = "{http://www.w3.org/2001/XMLSchema-instance}type"
_SECONDS = {"s": Fraction(1), "ms": Fraction(1, 1000), "us": Fraction(1, 10**6)}
_MICROVOLTS = {"nV": Fraction(1, 1000), "uV": Fraction(1), "mV": Fraction(1000)}


def see(path: Path) -> Streams:
    """What the outside reader of that suffix sees."""
    return {".dcm": _dicom, ".xml": _aecg, ".scp": _scp, ".hea": _wfdb}[path.suffix](path)


def _dicom(path: Path) -> Streams:
    seen: Streams = {}
    for group in pydicom.dcmread(io.BytesIO(path.read_bytes())).WaveformSequence:
        count, channels = group.NumberOfWaveformSamples, group.NumberOfWaveformChannels
        letter = {("SB", 8): "b", ("SS", 16): "h", ("SL", 32): "i"}[
            group.WaveformSampleInterpretation, group.WaveformBitsAllocated
        ]
        size = struct.calcsize(letter)
        data = struct.unpack(f"<{count * channels}{letter}", group.WaveformData[: count * channels * size])
        padding = (
            struct.unpack(f"<{letter}", group.WaveformPaddingValue[:size])[0]
            if "WaveformPaddingValue" in group
            else None
        )
        start = float(group.get("MultiplexGroupTimeOffset", 0) or 0) / 1000
        rate = float(group.SamplingFrequency)
        for row, channel in enumerate(group.ChannelDefinitionSequence):
            source = channel.ChannelSourceSequence[0]
            assert source.CodingSchemeDesignator == "MDC"
            unit = _MICROVOLTS[channel.ChannelSensitivityUnitsSequence[0].CodeValue]
            step = float(channel.ChannelSensitivity) * float(channel.ChannelSensitivityCorrectionFactor)
            raw = np.array(data[row::channels], np.float64)
            values = (raw * step + float(channel.ChannelBaseline)) * float(unit)
            if padding is not None:
                values[raw == padding] = np.nan
            name = NUMBERS[int(source.CodeValue.removeprefix("2:"))]
            seen.setdefault(name, []).append((start, 1 / rate, values))
    return seen


def _instant(text: str) -> Fraction:
    zone = Fraction(0)
    if text[-5] in "+-":
        zone = (-1 if text[-5] == "-" else 1) * Fraction(int(text[-4:-2]) * 60 + int(text[-2:]))
        text = text[:-5]
    whole, _, rest = text.partition(".")
    moment = datetime.datetime.strptime(whole, "%Y%m%d%H%M%S") - datetime.datetime(2000, 1, 1)
    return Fraction(int(moment.total_seconds())) + Fraction(f"0.{rest or 0}") - 60 * zone


def _aecg(path: Path) -> Streams:
    seen: Streams = {}
    first: Fraction | None = None
    for sequences in ElementTree.fromstring(path.read_bytes()).iter(f"{_HL7}sequenceSet"):
        head = step = None
        for sequence in sequences.iter(f"{_HL7}sequence"):
            value = sequence.find(f"{_HL7}value")
            code = sequence.find(f"{_HL7}code").get("code")  # type: ignore[union-attr]
            assert value is not None
            if value.get(_TYPE, "").endswith("GLIST_TS"):
                head = _instant(value.find(f"{_HL7}head").get("value"))  # type: ignore[union-attr, arg-type]
                increment = value.find(f"{_HL7}increment")
                step = Fraction(increment.get("value")) * _SECONDS[increment.get("unit")]  # type: ignore[union-attr, arg-type, index]
                first = head if first is None else first
                continue
            assert head is not None
            assert step is not None
            assert first is not None
            origin, scale = value.find(f"{_HL7}origin"), value.find(f"{_HL7}scale")
            digits = np.array([int(d) for d in value.find(f"{_HL7}digits").text.split()], np.float64)  # type: ignore[union-attr]
            zero, one = (float(Fraction(p.get("value")) * _MICROVOLTS[p.get("unit")]) for p in (origin, scale))  # type: ignore[union-attr, arg-type, index]
            name = str(code).removeprefix("MDC_ECG_LEAD_").replace("AV", "aV")
            seen.setdefault(name, []).append((float(head - first), float(step), zero + one * digits))
    return seen


def _wfdb(path: Path) -> Streams:
    record = wfdb.rdrecord(str(path.with_suffix("")), physical=False, smooth_frames=False)
    missing = {"16": -(2**15), "24": -(2**23), "32": -(2**31)}
    seen: Streams = {}
    for row, name in enumerate(record.sig_name):
        raw = np.asarray(record.e_d_signal[row], np.float64)
        values = (raw - record.baseline[row]) / record.adc_gain[row] * float(_MICROVOLTS[record.units[row]])
        values[raw == missing[record.fmt[row]]] = np.nan
        seen.setdefault(name, []).append((0.0, 1 / (record.fs * record.samps_per_frame[row]), values))
    return seen


def scp_sections(data: bytes) -> dict[int, bytes]:
    """Number -> data part of every section; checksums, lengths and places are asserted (EN 1064 5.2, 5.3)."""

    def checksum(part: bytes) -> int:
        register = 0xFFFF
        for byte in part:
            register ^= byte << 8
            for _ in range(8):
                register = (register << 1 ^ 0x1021 if register & 0x8000 else register << 1) & 0xFFFF
        return register

    assert struct.unpack_from("<HI", data) == (checksum(data[2:]), len(data))
    assert data[16:22] == b"SCPECG"
    sections, place = {}, 7
    for at in range(22, 6 + struct.unpack_from("<I", data, 10)[0] - 9, 10):
        number, length, index = struct.unpack_from("<HII", data, at)
        if not length:
            assert index == 0
            continue
        assert index == place
        place += length
        section = data[index - 1 : index - 1 + length]
        assert struct.unpack_from("<HHI", section) == (checksum(section[2:]), number, length)
        assert length % 2 == 0
        sections[number] = section[16:]
    assert place == len(data) + 1
    return sections


def _scp(path: Path) -> Streams:
    sections = scp_sections(path.read_bytes())
    assert 2 not in sections, "samples are plain here"
    leads = [struct.unpack_from("<IIB", sections[3], 2 + 9 * row) for row in range(sections[3][0])]
    nanovolts, interval, differences, bimodal = struct.unpack_from("<HHBB", sections[6])
    assert (differences, bimodal) == (0, 0)
    sizes = struct.unpack_from(f"<{len(leads)}H", sections[6], 6)
    seen: Streams = {}
    at = 6 + 2 * len(leads)
    for (begin, end, code), size in zip(leads, sizes, strict=True):
        assert size == 2 * (end - begin + 1)
        counts = np.array(struct.unpack_from(f"<{size // 2}h", sections[6], at), np.float64)
        at += size
        seen.setdefault(NUMBERS[code], []).append(
            ((begin - 1) * interval / 1e6, interval / 1e6, counts * nanovolts / 1000)
        )
    assert len(sections[6]) - at in (0, 1)
    return seen
