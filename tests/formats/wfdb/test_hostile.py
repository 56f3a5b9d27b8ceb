"""Any bytes give a recording with findings or an error that names its place: nothing else, and in little time."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.errors import InterchangeError, SourceError
from interchange.formats import wfdb as ours
from interchange.model import Recording
from interchange.sources import Source
from tests.everything import everything
from tests.formats.wfdb import odd
from tests.formats.wfdb.plain import encoded
from tests.growing import MOST, growth
from tests.growing.wfdb import BASE, WFDB

SMALL = {**odd.sound("rec"), "rec.atr": b"\x02\x04\x14\xfc" + b"twenty bytes of text" + b"\x03\x14\0\0"}
RICH = encoded(everything())
SEGMENTS = {
    name.replace("rec_", "seg"): data.replace(b"rec_", b"seg")
    for name, data in odd.SAMPLES["segment-gain"]("rec").items()
}
PIECES = (b"\n", b"#", b": ", b"[0]", b"9" * 30, b"\xff", b"\\", b"; ", b"=")
PACKED = {
    "rec.hea": b"rec 3 250 5\nrec.dat 212 200(0)/mV 12 0 1 15 0 I\nrec.d1 310 200(0)/mV 10 0 1 15 0 II\n"
    b"rec.d2 8 200(0)/mV 10 0 1 15 0 III\n",
    "rec.dat": bytes(range(8)),
    "rec.d1": bytes(range(0, 16, 2)),
    "rec.d2": bytes(range(5)),
}


def read(source: Source) -> Recording | SourceError:
    try:
        return ours.read(source)
    except SourceError as error:
        return error


def outcome(files: dict[str, bytes]) -> Recording | InterchangeError:
    """What comes of the files: a recording that can be used, or the one permitted kind of error."""
    source = Source(files["rec.hea"], "rec.hea", files=files)
    ours.recognise(source)
    findings = ours.check(source)
    recording = read(source)
    if isinstance(recording, SourceError):
        assert recording.place
        assert [f.rule for f in findings] == ["wfdb.unreadable"]
        return recording
    assert findings == recording.findings
    for tracing in recording.tracings:
        assert tracing.samples.shape[0] == len(tracing.channels)
        assert len(tracing.digest) == 64
    assert all(0 <= mark.tracing < len(recording.tracings) for mark in recording.marks)
    return recording


@pytest.mark.parametrize("whole", [SMALL, PACKED, SEGMENTS], ids=["small", "packed", "segments"])
def test_every_truncation_of_every_file(whole: dict[str, bytes]) -> None:
    for name, data in whole.items():
        for size in range(len(data)):
            outcome({**whole, name: data[:size]})


@pytest.mark.parametrize("whole", [SMALL, PACKED, SEGMENTS], ids=["small", "packed", "segments"])
@pytest.mark.parametrize("value", [0x00, 0x20, 0x39, 0xFF])
def test_every_byte_with_another_value(whole: dict[str, bytes], value: int) -> None:
    for name, data in whole.items():
        for at in range(len(data)):
            outcome({**whole, name: data[:at] + bytes([value]) + data[at + 1 :]})


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_mutations_of_a_record_that_says_everything(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(sorted(RICH)))
    body = bytearray(RICH[name])
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(body)))
        kind = data.draw(st.sampled_from(("change", "cut", "insert", "double")))
        if kind == "change" and at < len(body):
            body[at] = data.draw(st.integers(0, 255))
        elif kind == "cut":
            del body[at : at + data.draw(st.integers(1, 40))]
        elif kind == "insert":
            body[at:at] = data.draw(
                st.sampled_from((b"\n", b"#", b": ", b"[0]", b"9" * 30, b"\xff", b"\\", b"; ", b"="))
            )
        else:
            body[at:at] = body[at : at + 60]
    outcome({**RICH, name: bytes(body)})


@settings(max_examples=80, deadline=None)
@given(st.text(max_size=200), st.binary(max_size=40))
def test_any_text_behind_a_record_line(text: str, data: bytes) -> None:
    header = f"rec 1 500 4\nrec.dat 16 200/mV 12 0 0 0 0 II\n{text}".encode()
    outcome({"rec.hea": header, "rec.dat": data, "rec.atr": data})


# Time in line with size ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", WFDB)
def test_time_grows_in_line_with_size(kind: str) -> None:
    few = 1500 if kind == "signals without words" else 500  # channels that differ are remembered up to 1,024
    assert growth(lambda files: read(Source(files["rec.hea"], "rec.hea", files=files)), WFDB[kind], few) <= MOST


def test_an_annotation_file_that_is_named_a_thousand_times_is_read_once() -> None:
    text = BASE + "# Annotations atr: 500 marks\n" * 1000
    files = {"rec.hea": text.encode(), "rec.dat": bytes(8), "rec.atr": b"\0\x04" * 500 + b"\0\0"}
    recording = read(Source(files["rec.hea"], "rec.hea", files=files))
    assert isinstance(recording, Recording)
    assert len(recording.marks) == 500
    assert [left.what for left in recording.unread] == ["999 lines that name an annotation file again"]


def test_no_claim_takes_memory() -> None:
    claims = [
        "rec 1 500 999999999999999\n~ 0 200/mV 12 0 0 0 0 II\n",
        "rec 2 500 9\n~ 0x999999999 200/mV 12 0 0 0 0 II\nrec.dat 16 200/mV 12 0 0 0 0 II\n",
        "rec 1 500 999999999999999\nrec.dat 16x999999999 200/mV 12 0 0 0 0 II\n",
        "rec/1 1 500 5\n~ 999999999999999\n",
        "rec/1 1 500 999999999999999\nrec 999999999999999\n",
        "rec 1 500 4\nrec.dat 16:999999999 200/mV 12 0 0 0 0 II\n",
        BASE + "# Tracing 1 of 1: signals 1 to 999999, samples 0 to 999999999999999\n",
        f"rec 1 500 4\nrec.dat 16 200/mV 12 0 {10**17} 0 0 II\n",
        f"rec 1 500 4\nrec.dat 8 200/mV 12 0 {10**17} 0 0 II\n",
        f"rec 1 500 4\nrec.dat 16 1e-99({10**17})/mV 12 0 0 0 0 II\n",
    ]
    for text in claims:
        outcome({"rec.hea": text.encode(), "rec.dat": bytes(8)})


# Nothing escapes ------------------------------------------------------------------------------------------------------


def test_errors_and_findings_quote_nothing_from_inside() -> None:
    marked = [
        b"ZQX 2 nonsense 10\n",
        b"ZQX 1 500 10\nZQX.dat 99 1000/ZQX 12 0 0 0 0 ZQX\n",
        b"ZQX 1 500 10\n../ZQX 16 1000/ZQX 12 0 0 0 0 ZQX\n",
        b"ZQX 1 500 4 ZQX ZQX ZQX\nrec.dat 16 1000/ZQX ZQX ZQX\n# ZQX: ZQX\n# patient.ZQX: ZQX\n"
        b"# Annotations ZQX: 5 marks\n",
        b"ZQX/1 1 500 4\nZQX 4\n",
    ]
    for text in marked:
        found = outcome({"rec.hea": text, "rec.dat": bytes(8)})
        if isinstance(found, Recording):
            said = [*(f"{f.place} {f.reason}" for f in found.findings), *(f"{u.place} {u.what}" for u in found.unread)]
        else:
            said = [str(found)]
        assert said
        assert not any("ZQX" in text for text in said), said


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\0" * 200,
        b"<?xml version='1.0'?><AnnotatedECG/>",
        b'{"a": 1}\n',
        b"ID,NAME,VALUE\n1,2,3\n",
        b"plain text\nof no format\n",
        b"\x89PNG\r\n\x1a\n",
        b"%PDF-1.7\n1 0 obj\n",
        bytes(128) + b"DICM" + b"\x02\0\0\0UL\x04\0",
        b"\x12\x34\x64\0\0\0" + b"\0" * 8 + b"SCPECG",
    ],
)
def test_other_content_is_not_recognised(data: bytes) -> None:
    assert not ours.recognise(Source(data, "file.bin"))
    assert not ours.recognise(Source(data, "file.hea"))


@pytest.mark.parametrize(
    ("header", "name"),
    [
        (b"100 2 360 650000\n100.dat 212 200 11 1024 995 -22131 0 MLII\n", ""),
        (b"# comment first\n\n100 2 360 650000\r\n100.dat 212\r\n", "x.txt"),
        (b"wfd/2 2 360 21600\nwfd00001 10800\n", ""),
        (b"rec 0 500\n", ""),
        (b"rec 12\n", "rec.hea"),
        (b"E1.mat 12 500 5000 05-May-2020 14:50:55\nE1.mat 16+24 4880/mV 16 0 1 2 0 I\n", ""),
        (b"#" + b" long comment" * 3000 + b"\nrec 1 500 9\nrec.dat 16\n", ""),
    ],
)
def test_headers_are_recognised_by_their_content(header: bytes, name: str) -> None:
    assert ours.recognise(Source(header, name))
