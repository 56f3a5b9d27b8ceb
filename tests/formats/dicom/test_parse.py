"""Syntax of PS3.5 and PS3.10: transfer syntaxes, lengths, nesting, damage."""

from __future__ import annotations

import contextlib
import struct
import zlib

import numpy as np
import pytest
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from interchange.errors import SourceError
from interchange.formats.dicom.parse import parse
from interchange.formats.dicom.recognise import recognise
from interchange.limits import DEFAULTS, limits
from interchange.sources import Source
from tests.formats.dicom.support import SYNTAXES, counts, ecg, group, opened, read, real_file, rules, saved
from tests.growing.dicom import element, file_of

SEQUENCE_DEPTH = DEFAULTS["sequence_depth"][0]


@pytest.mark.parametrize("syntax", SYNTAXES)
@pytest.mark.parametrize("dtype", ["i1", "i2"])
def test_every_transfer_syntax_gives_the_same_recording(syntax, dtype):
    samples = counts(dtype=dtype)
    ds = ecg(group(samples), storage="ambulatory")
    if syntax == "big-endian":
        swapped = samples.T.astype(np.dtype(dtype).newbyteorder(">")).tobytes()
        ds.WaveformSequence[0].WaveformData = swapped
    recording = read(saved(ds, syntax))
    np.testing.assert_array_equal(recording.tracings[0].samples, samples)
    assert recording.patient == read(saved(ecg(group(samples), storage="ambulatory"))).patient
    assert recording.findings == ()


def test_8_bit_samples_in_words_are_swapped_in_big_endian_order():
    samples = counts(1, 6, "i1")
    ds = ecg(group(samples, ("I",)), storage="ambulatory")
    raw = samples.T.tobytes()
    words = np.frombuffer(raw, "<u2").astype(">u2").tobytes()
    del ds.WaveformSequence[0].WaveformData
    ds.WaveformSequence[0].add_new("WaveformData", "OW", words)
    np.testing.assert_array_equal(read(saved(ds, "big-endian")).tracings[0].samples, samples)


def test_wide_samples_in_big_endian_order_are_refused():
    with pytest.raises(SourceError, match="big endian"):
        read(saved(ecg(group(counts(dtype="i4")), storage="general-32"), "big-endian"))


@pytest.mark.parametrize("syntax", ["explicit", "implicit"])
def test_a_bare_data_set_is_recognised_and_read_with_a_finding(syntax):
    data = saved(ecg(), syntax, bare=True)
    assert data[:4] != b"\0\0\0\0"
    assert recognise(Source(data))
    recording = read(data)
    assert recording.tracings[0].length == 500
    assert [f.rule for f in recording.findings] == ["dicom.no-preamble"]


def test_sequences_and_items_of_undefined_length():
    ds = ecg()
    for item in ds.WaveformSequence:
        item.is_undefined_length_sequence_item = True
    ds["WaveformSequence"].is_undefined_length = True
    data = saved(ds)
    assert struct.pack("<HHI", 0xFFFE, 0xE0DD, 0) in data
    assert read(data).tracings == read(saved(ecg())).tracings


def test_unknown_representation_with_a_known_sequence_is_entered_as_implicit():
    """PS3.5 6.2.2, note: an element of representation UN and undefined length is encoded as Implicit VR."""
    inner = b"".join(
        struct.pack("<HHI", g, e, len(v)) + v
        for g, e, v in ((8, 0x100, b"2:1 "), (8, 0x102, b"MDC "), (8, 0x104, b"Lead I"))
    )
    item = struct.pack("<HHI", 0xFFFE, 0xE000, len(inner)) + inner
    value = item + struct.pack("<HHI", 0xFFFE, 0xE0DD, 0)
    body = struct.pack("<HH2sHI", 0x3A, 0x208, b"UN", 0, 0xFFFFFFFF) + value
    parsed = parse(file_of(body)).dataset
    assert parsed[0x003A0208].items is not None
    assert parsed[0x003A0208].items[0].raw(0x00080100) == b"2:1 "


def test_deflated_data_with_trailing_bytes_are_reported():
    data = saved(ecg(), "deflated") + b"tail"
    recording = read(data)
    assert "dicom.trailing-bytes" in {f.rule for f in recording.findings}
    assert recording.unread[-1].what == "bytes after the last element"


def test_a_deflated_bomb_is_refused_by_its_size():
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = packer.compress(b"\0" * 10_000_000) + packer.flush()
    with limits(unpacked=100_000), pytest.raises(SourceError, match="larger than 100000 bytes"):
        read(file_of(body, b"1.2.840.10008.1.2.1.99\0\0"))


def test_nesting_beyond_the_limit_is_refused_without_recursion_error():
    value = b""
    for _ in range(SEQUENCE_DEPTH + 5000):
        item = struct.pack("<HHI", 0xFFFE, 0xE000, len(value)) + value
        value = element(0x40, 0x555, b"SQ", item)
    with pytest.raises(SourceError, match="nested deeper"):
        parse(file_of(value))


def test_nesting_up_to_the_limit_is_read():
    value = b""
    for _ in range(SEQUENCE_DEPTH):
        item = struct.pack("<HHI", 0xFFFE, 0xE000, len(value)) + value
        value = element(0x40, 0x555, b"SQ", item)
    assert sum(1 for _ in parse(file_of(value)).dataset.walk()) == SEQUENCE_DEPTH


def test_the_number_of_elements_is_bounded():
    body = b"".join(element(8, 0x16, b"UI", b"") for _ in range(2000))
    with limits(elements=1000), pytest.raises(SourceError, match="more than 1000 elements"):
        parse(file_of(body))


@pytest.mark.parametrize("vr", [b"  ", b"a1", b"\0\0", b"Ob"])
def test_bytes_that_are_no_value_representation_are_damage(vr):
    with pytest.raises(SourceError, match="damaged here"):
        parse(file_of(element(8, 0x16, b"UI", b"1.2\0") + struct.pack("<HH2sH", 8, 0x18, vr, 0)))


def test_a_representation_to_come_has_the_long_form():
    body = struct.pack("<HH2sHI", 8, 0x9999, b"ZZ", 0, 4) + b"abcd" + element(0x10, 0x10, b"PN", b"A^B ")
    parsed = parse(file_of(body))
    assert parsed.dataset.raw(0x00100010) == b"A^B "
    assert parsed.deviations == [("unknown-vr", "(0008,9999)", "")]


def test_an_element_that_is_there_twice_counts_once_and_is_reported():
    body = element(0x10, 0x20, b"LO", b"first ") + element(0x10, 0x20, b"LO", b"second")
    parsed = parse(file_of(body))
    assert parsed.dataset.raw(0x00100020) == b"first "
    assert parsed.deviations == [("duplicate-element", "(0010,0020) PatientID", "")]


def test_tags_that_do_not_ascend_are_reported():
    body = element(0x10, 0x20, b"LO", b"id") + element(0x10, 0x10, b"PN", b"A^B ")
    assert parse(file_of(body)).deviations == [("element-order", "(0010,0010) PatientName", "")]


@pytest.mark.parametrize("syntax", [b"1.2.840.10008.1.2.4.50\0\0", b"1.2.3\0", b"x"])
def test_other_transfer_syntaxes_are_refused(syntax):
    with pytest.raises(SourceError, match="transfer syntax"):
        parse(file_of(b"", syntax))


def test_what_follows_the_samples_may_be_cut():
    ds = ecg()
    ds.add_new(0x60000010, "US", 1)
    data = saved(ds)
    recording = read(data[:-1])
    assert recording.tracings[0].length == 500
    assert "dicom.cut-after-samples" in {f.rule for f in recording.findings}


def test_every_truncation_gives_a_clear_error_or_a_sound_recording():
    data = saved(ecg(group(counts(2, 8))))
    whole = read(data)
    for size in range(len(data)):
        with contextlib.suppress(SourceError):
            assert read(data[:size]).tracings == whole.tracings


@pytest.mark.parametrize("name", ["empty", "text", "xml", "wfdb", "scp", "zip"])
def test_other_content_is_not_recognised(name):
    content = {
        "empty": b"",
        "text": b"hello, this is no ECG at all, but a letter of some length to somebody" * 4,
        "xml": b"<?xml version='1.0'?><AnnotatedECG xmlns='urn:hl7-org:v3'/>" + b" " * 100,
        "wfdb": b"rec 12 500 5000\nrec.dat 16 200(0)/mV 16 0 0 0 0 I\n" * 3,
        "scp": b"\x12\x34" + struct.pack("<I", 200) + b"\0" * 10 + b"SCPECG" + b"\0" * 200,
        "zip": b"PK\3\4" + b"\0" * 200,
    }[name]
    assert not recognise(Source(content))


def test_real_and_built_files_are_recognised():
    assert recognise(Source(real_file()))
    assert all(recognise(Source(saved(ecg(), syntax))) for syntax in SYNTAXES)


def test_a_dicom_object_without_waveform_is_refused_in_one_line():
    ds = ecg()
    del ds.WaveformSequence
    with pytest.raises(SourceError) as caught:
        read(ds)
    assert str(caught.value) == "test.dcm: (5400,0100) WaveformSequence: holds no waveform"
    assert "unreadable" in rules(ds)


def test_values_in_fragments_are_stepped_over():
    body = struct.pack("<HH2sHI", 0x7FE0, 0x10, b"OB", 0, 0xFFFFFFFF)
    body += struct.pack("<HHI", 0xFFFE, 0xE000, 4) + b"abcd" + struct.pack("<HHI", 0xFFFE, 0xE0DD, 0)
    parsed = parse(file_of(body))
    assert parsed.dataset[0x7FE00010].length == 20
    with pytest.raises(SourceError, match="fragments"):
        parse(file_of(body[:-8]))


def test_every_element_is_walked_in_the_order_of_the_file():
    ds = ecg()
    walked = [element.tag for _, element in parse(saved(ds)).dataset.walk()]
    assert walked == [int(element.tag) for element in opened(saved(ds)).iterall()]


def test_private_sequences_are_listed_as_one_entry():
    ds = ecg()
    inner = Dataset()
    inner.PatientComments = "x"
    block = ds.private_block(0x1455, "TEST", create=True)
    block.add_new(1, "SQ", Sequence([inner]))
    listed = {entry.place: entry.what for entry in read(ds).unread}
    assert listed == {"(1455,0010)": "name of a private block", "(1455,1001)": "private element"}
