"""Any bytes give a recording with findings or a SourceError, in time and memory that the size of the file bounds."""

from __future__ import annotations

import contextlib
import struct

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from interchange.errors import SourceError
from interchange.formats import dicom
from interchange.formats.dicom.recognise import recognise
from interchange.limits import DEFAULTS
from interchange.sources import Source
from tests.everything import everything
from tests.formats.dicom.support import counts, ecg, group, saved, written
from tests.growing import MOST, growth
from tests.growing.dicom import DICOM, element, file_of, nested, within

SMALL = saved(ecg(group(counts(2, 8))))
RICH = written(everything())


MANY = {"annotations of a thousand channels": 5, "sequences 30 deep": 40, "empty annotations": 300}
"""How many of a kind the smaller file has; 1,000 of the others."""

FEW = ("sequences without end", "levels of sequences")
"""Kinds that end at a limit."""


def holds(data: bytes) -> None:
    """The contract in one place."""
    recognise(Source(data))
    with contextlib.suppress(SourceError):
        assert dicom.read(Source(data, "x.dcm")).tracings
    assert isinstance(dicom.check(Source(data, "x.dcm")), tuple)


@pytest.mark.parametrize("value", [0x00, 0xFF, 0x20, None])
def test_every_byte_of_a_small_file_with_another_value(value):
    for position in range(128, len(SMALL)):
        data = bytearray(SMALL)
        data[position] = data[position] ^ 0x55 if value is None else value
        holds(bytes(data))


@settings(
    max_examples=150, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.explicit, Phase.generate]
)
@given(st.data())
def test_mutations_of_a_rich_file(data):
    content = bytearray(RICH)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(128, len(content) - 9))
        kind = data.draw(st.sampled_from(["flip", "number", "cut", "repeat"]))
        if kind == "flip":
            content[at] ^= 1 << data.draw(st.integers(0, 7))
        elif kind == "number":
            content[at : at + 4] = struct.pack("<I", data.draw(st.sampled_from([0, 1, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF])))
        elif kind == "cut":
            del content[at : at + data.draw(st.integers(1, 8))]
        else:
            content[at:at] = content[at : at + 8]
    holds(bytes(content))


@settings(max_examples=150, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_behind_a_preamble(tail):
    holds(file_of(tail))
    holds(tail)


@pytest.mark.parametrize("kind", [kind for kind in DICOM if kind not in FEW])
def test_time_grows_in_line_with_size(kind: str) -> None:
    assert growth(lambda files: holds(files["x.dcm"]), DICOM[kind], MANY.get(kind, 1000)) <= MOST


@pytest.mark.parametrize("depth", [31, 33, 1000])
def test_sequences_inside_one_another_are_read_or_refused(depth: int) -> None:
    data = within(element(0x45, 0x10, b"LO", b"TEST") + nested(depth))["x.dcm"]
    holds(data)
    if depth > DEFAULTS["sequence_depth"][0]:
        with pytest.raises(SourceError, match="nested deeper"):
            dicom.read(Source(data))
    else:
        assert dicom.read(Source(data)).tracings


def test_sixty_thousand_channels_that_are_not_there():
    item = struct.pack("<HHI", 0xFFFE, 0xE000, 0) * 60_000
    body = element(0x3A, 5, b"US", struct.pack("<H", 60_000)) + element(0x3A, 0x10, b"UL", struct.pack("<I", 2**31))
    body += element(0x3A, 0x1A, b"DS", b"500 ") + element(0x3A, 0x200, b"SQ", item)
    body += element(0x5400, 0x1004, b"US", b"\x10\0") + element(0x5400, 0x1006, b"CS", b"SS")
    body += element(0x5400, 0x1010, b"OW", b"\0" * 100)
    sequence = element(0x5400, 0x100, b"SQ", struct.pack("<HHI", 0xFFFE, 0xE000, len(body)) + body)
    with pytest.raises(SourceError, match="need 257698037760000 bytes"):
        dicom.read(Source(file_of(sequence)))


@pytest.mark.parametrize("number", [b"1E999 ", b"1e-999", b"9" * 16, b"-0", b"1E400 ", b"0.0000000000001 "])
def test_numbers_of_any_size(number):
    data = SMALL
    at = data.index(b"\x3a\0\x10\x02DS")
    size = data[at + 6]
    holds(data[: at + 6] + struct.pack("<H", len(number)) + number + data[at + 8 + size :])
