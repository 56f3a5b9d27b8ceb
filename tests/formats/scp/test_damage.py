"""Every truncation, and every byte with four other values, of one small record per coding.

The contract: a recording with findings or a SourceError that names a place, nothing else.  Checking never fails.
"""

from __future__ import annotations

import struct

import pytest

from interchange.errors import SourceError
from interchange.formats import load
from interchange.sources import Source
from tests.formats.scp import plain
from tests.formats.scp.test_measured import BLOCK, coded, lead_values, report, section_7

SCP = load("scp")

WAVE = [0, 2, 5, 30, 90, 12, -20, -3, 0, 1, 2, 1]
SECTIONS = {
    7: section_7([BLOCK], [(10, -300, 2, 1, 1, 500)], types=[0]),
    8: report(1, [b"Paced"]),
    10: lead_values((2, [90, 29999])),
    11: coded(1, [(1, b"PACE")]),
}
TAGS = [
    (0, b"Moor\0"),
    (2, b"PL-1\0"),
    (5, struct.pack("<HBB", 1970, 1, 2)),
    (10, b"\0\x64\0bark\0"),
    (14, plain.device(strings=(b"", b"7", b"", b"", b"Q"))),
    (25, struct.pack("<HBB", 2024, 3, 18)),
    (26, bytes((6, 42, 10))),
    (30, b"[interchange 1]\npatient.weight: 70 kg\nscp.tracings: 1@1-12\0"),
    (34, struct.pack("<hH", 60, 0) + b"\0"),
]
OWN = [
    [plain.Code("0", value=0), plain.Code("10", extra=8), plain.Code("110", table=2), plain.Code("111", value=1)],
    [plain.Code("0", extra=10), plain.Code("1", table=1)],
]
BEAT = {
    "zones": [(0, 3, 5, 7), (1, 0, 10, 0)],
    "areas": [(3, 7), (9, 11)],
    "beats": [[1, 20, 60, 9, -4, 0]],
    "fiducial": 3,
    "beat_step": 500,
}
CODINGS = {
    "plain": {"order": 1},
    "huffman": {"order": 2, "tables": [plain.DEFAULT_CODES]},
    "own-tables": {"tables": OWN, "is_default": False, "switches": [0, 0, 0, 1, 1, 0, 0, 1, 1, 0, 0, 0]},
    "subtracted": {"order": 1, "tables": [plain.DEFAULT_CODES], "subtracted": True, **BEAT},
    "bimodal": {"order": 1, "factor": 2, "subtracted": True, **BEAT},
}


def sample(coding: str) -> bytes:
    return plain.encode(plain.Record([(2, 1, list(WAVE))], tags=TAGS, sections=SECTIONS, **CODINGS[coding]))


def survives(data: bytes) -> None:
    source = Source(data, "damaged.scp")
    SCP.recognise(source)
    try:
        recording = SCP.read(source)
    except SourceError as error:
        refusal = error
    else:
        assert all(tracing.samples.size < 2000 for tracing in recording.tracings)
        assert len(recording.findings) < 2000
        return
    assert refusal.place
    assert refusal.reason
    assert any(finding.severity == "error" for finding in SCP.check(source))


@pytest.mark.parametrize("coding", CODINGS)
def test_the_samples_themselves_are_sound(coding: str) -> None:
    data = sample(coding)
    assert len(data) < 4000
    errors = [f for f in SCP.check(Source(data)) if f.severity == "error"]
    assert errors == []
    recording = SCP.read(Source(data))
    assert recording.patient.weight is not None
    assert recording.tracings[0].length == 12


@pytest.mark.parametrize("coding", CODINGS)
def test_every_truncation(coding: str) -> None:
    data = sample(coding)
    for size in range(len(data)):
        survives(data[:size])


@pytest.mark.parametrize("coding", CODINGS)
def test_every_byte_with_four_other_values(coding: str) -> None:
    data = sample(coding)
    for place, byte in enumerate(data):
        for other in {byte ^ 1, byte ^ 0x80, 0, 255} - {byte}:
            survives(data[:place] + bytes((other,)) + data[place + 1 :])
