"""Any bytes give a recording with findings or a SourceError, in time and memory that the size of the file bounds."""

from __future__ import annotations

import contextlib
import struct
import time

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from interchange.errors import SourceError
from interchange.formats import dicom
from interchange.formats.dicom.recognise import recognise
from interchange.sources import Source
from tests.everything import everything
from tests.formats.dicom.support import counts, ecg, group, saved, written
from tests.formats.dicom.test_parse import element, file_of

SMALL = saved(ecg(group(counts(2, 8))))
RICH = written(everything())


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


def seconds(data: bytes) -> float:
    """Processor time, which other programs on the machine do not change."""
    start = time.process_time()
    holds(data)
    return time.process_time() - start


def test_a_hundred_thousand_empty_elements_cost_linear_time():
    def many(count: int) -> bytes:
        return file_of(b"".join(struct.pack("<HH2sH", 0x11, i & 0xFFFF, b"LO", 0) for i in range(count)))

    small = seconds(many(10_000))
    large = min(seconds(many(80_000)) for _ in range(3))
    assert large < 8 * small * 3 + 0.5


def test_a_hundred_thousand_items_cost_linear_time():
    def many(count: int) -> bytes:
        items = struct.pack("<HHI", 0xFFFE, 0xE000, 0) * count
        return file_of(element(0x40, 0xB020, b"SQ", items))

    small, large = seconds(many(10_000)), seconds(many(80_000))
    assert large < 8 * small * 3 + 0.5


def test_many_annotations_cost_linear_time():
    def many(count: int) -> bytes:
        item = element(0x40, 0xA0B0, b"US", struct.pack("<HH", 9, 9)) + element(0x70, 6, b"ST", b"x ")
        block = struct.pack("<HHI", 0xFFFE, 0xE000, len(item)) + item
        base = saved(ecg(group(counts(2, 8))))
        at = base.index(b"\x00\x54\x00\x01SQ")
        return base[:at] + element(0x40, 0xB020, b"SQ", block * count) + base[at:]

    small, large = seconds(many(1000)), seconds(many(8000))
    assert large < 8 * small * 3 + 0.5


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
