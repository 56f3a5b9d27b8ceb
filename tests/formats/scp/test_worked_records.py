"""The worked records and codes, by our parser, our builders and the plain codec."""

from __future__ import annotations

import hashlib
import struct

import numpy as np
import pytest

from interchange.formats import load
from interchange.formats.scp.coding.packing import pack
from interchange.formats.scp.log import Log
from interchange.formats.scp.syntax.device import Device, build_device
from interchange.formats.scp.syntax.document import parse_document
from interchange.formats.scp.syntax.frame import build_record, checksum
from interchange.formats.scp.syntax.header import build_fields
from interchange.formats.scp.syntax.leads import Lead, build_leads
from interchange.formats.scp.syntax.signal import build_signal
from interchange.formats.scp.syntax.tables import DEFAULT, build_tables
from interchange.sources import Source
from tests.formats.scp import plain
from tests.formats.scp.worked import HUFFMAN, PLAIN, SUBTRACTED, X, Y

CHECKSUMS = [
    (b"123456789", 0x29B1),
    (b"", 0xFFFF),
    (b"\0", 0xE1F0),
    (b"A", 0xB915),
    (b"SCPECG", 0xAC04),
]


@pytest.mark.parametrize(("data", "expected"), CHECKSUMS)
def test_clause_5_2_checksum(data: bytes, expected: int) -> None:
    assert checksum(data) == expected
    assert plain.crc(data) == expected


def test_checksum_with_another_initial_value_is_another() -> None:
    assert checksum(b"123456789") != 0x31C3


def test_plain_checksum_agrees_on_long_data() -> None:
    data = bytes(range(256)) * 5 + b"\x80"
    assert plain.crc(data) == checksum(data)


@pytest.mark.parametrize(
    ("record", "size", "digest"),
    [
        (PLAIN, 334, "e82162deea86e5584db5201dbf1bb2fd41f36414b14f2e3b1a5202b04e2accf7"),
        (HUFFMAN, 344, "e88d2c92d51d757c8aa154a03055dc5af58dc94ed208a93ca1df4782fc389566"),
        (SUBTRACTED, 426, "0e357bd9c3c6af9ba798a256c83d4016719877c8e243f88db297c64bb5797b23"),
    ],
)
def test_worked_records_are_what_was_published(record: bytes, size: int, digest: str) -> None:
    assert len(record) == size
    assert hashlib.sha256(record).hexdigest() == digest


@pytest.mark.parametrize("record", [PLAIN, HUFFMAN], ids=["plain", "huffman"])
def test_worked_record_of_two_leads(record: bytes) -> None:
    log = Log()
    document = parse_document(record, log)
    assert log.findings == ()
    assert document.rhythm is not None
    assert [wave.samples.tolist() for wave in document.rhythm.waves] == [X, Y]
    assert (document.rhythm.step, document.rhythm.interval) == (1000, 2000)
    assert [(lead.first, lead.last, lead.code) for lead in document.leads.leads] == [(1, 8, 1), (1, 8, 2)]
    assert document.header.text(2) == "PAT001"
    assert [samples for _, _, samples in plain.decode(record).leads] == [[1000 * v for v in row] for row in (X, Y)]


SUM = [0, 1, 1, 2, 11, 30, -13, 4, 0, 1, 1, 2, 5, 21, 60, -15, 3, 1, 0, 0]


def test_worked_record_with_a_subtracted_beat() -> None:
    log = Log()
    document = parse_document(SUBTRACTED, log)
    assert log.findings == ()
    assert document.rhythm is not None
    assert document.beat is not None
    assert document.rhythm.waves[0].samples.tolist() == SUM
    assert document.beat.waves[0].samples.tolist() == [2, 10, 30, -12, 4]
    assert document.rhythm.lossy is None
    assert plain.decode(SUBTRACTED).leads == [(2, 1, [1000 * v for v in SUM])]


def test_the_writer_subtracts_nothing_and_reads_the_worked_record_as_a_recording() -> None:
    recording = load("scp").read(Source(SUBTRACTED, "worked.scp"))
    rhythm, beat = recording.tracings
    assert rhythm.samples.tolist() == [SUM]
    assert (rhythm.rate, rhythm.channels[0].step, rhythm.names) == (500, 1, ("II",))
    assert (beat.kind, beat.samples.tolist(), beat.of) == ("representative beat", [[2, 10, 30, -12, 4]], 0)
    assert beat.fiducial is not None
    assert beat.fiducial * 1000 == 4
    assert [(mark.concept, mark.start * 500) for mark in recording.marks] == [("beat", 5), ("beat", 14)]


MODES = [
    (X, 0, "E7CFF3FE0AFF82FFE0BFF827C0"),
    (X, 1, "E673237E80"),
    (X, 2, "E7C96DDE80"),
    (Y, 0, "FFFF063FFFC1AFFFF08BFFFC45FFFF513FFFD45FFFF517FFFD43"),
    (Y, 1, "FFFF0633FCFF88FFF00FF8D0"),
    (Y, 2, "FFFF063FFFC1AFCFF86FFF00DCFFFFC0AE80"),
    ([15, 0, -9, 127, 128, -128, -129, 8, -8], 0, "FF83DFF7BFFCFFFF80407FD01FFFFBFFF9FE80"),
    ([2, 10, 30, -12, 4], 1, "CFF3FE14FFB5BFE100"),
]


@pytest.mark.parametrize(("samples", "order", "stream"), MODES)
def test_annex_c_codes_of_short_sequences(samples: list[int], order: int, stream: str) -> None:
    assert pack(np.array(samples), order).hex().upper() == stream
    stored = plain.differ(samples, order)
    bits = plain.encode_bits(stored, [plain.DEFAULT_CODES])
    assert bits + "0" * (-len(bits) % 8) == f"{int(stream, 16):0{4 * len(stream)}b}"
    assert plain.decode_bits(bytes.fromhex(stream), len(samples), [plain.DEFAULT_CODES])[0] == stored


def test_annex_c_default_table_is_complete_and_as_listed() -> None:
    listed = {(code.prefix, code.extra, code.value) for code in plain.DEFAULT_CODES}
    ours = {(f"{code.prefix:0{code.length}b}", code.extra, code.value) for code in DEFAULT.codes}
    assert ours == listed
    assert len(DEFAULT.codes) == 19
    assert sum(2**-code.length for code in DEFAULT.codes) == 1
    assert build_tables() == bytes.fromhex("1F4E")


DEVICE = Device(
    number=7, model="DEMO1", compatibility=0xD0, capabilities=0x80, mains=1, strings=("", "S1", "1.0", "1.0", "TEST")
)


def test_our_builders_make_the_worked_records_byte_by_byte() -> None:
    header = build_fields(
        [
            (2, b"PAT001\0"),
            (14, build_device(DEVICE)),
            (25, struct.pack("<HBB", 2024, 2, 29)),
            (26, bytes((13, 5, 9))),
        ]
    )
    leads = build_leads([Lead(1, 8, 1), Lead(1, 8, 2)])
    rows = [np.array(X), np.array(Y)]
    raw = build_signal(1000, 2000, 0, [row.astype("<i2").tobytes() for row in rows])
    coded = build_signal(1000, 2000, 2, [pack(row, 2) for row in rows])
    assert build_record({1: header, 3: leads, 6: raw}) == PLAIN
    assert build_record({1: header, 2: build_tables(), 3: leads, 6: coded}) == HUFFMAN


def test_the_plain_encoder_makes_the_worked_record_with_a_subtracted_beat() -> None:
    residual = [0, 1, 1, 0, 1, 0, -1, 0, 0, 1, 1, 2, 5, 21, 60, -15, 3, 1, 0, 0]
    record = plain.Record(
        leads=[(2, 1, residual)],
        order=1,
        tables=[plain.DEFAULT_CODES],
        zones=[(0, 4, 6, 8), (1, 0, 15, 0)],
        areas=[(5, 7), (14, 16)],
        beats=[[2, 10, 30, -12, 4]],
        beat_order=1,
        fiducial=3,
        subtracted=True,
        tags=[
            (2, b"PAT001\0"),
            (14, SUBTRACTED[0xAB : 0xAB + 0x35]),
            (25, struct.pack("<HBB", 2024, 2, 29)),
            (26, bytes((13, 5, 9))),
        ],
    )
    assert plain.encode(record) == SUBTRACTED
