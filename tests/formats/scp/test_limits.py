"""Counts that are out of proportion: bounded findings, bounded memory, no hang."""

from __future__ import annotations

import binascii
import hashlib
import struct

import numpy as np
import pytest

from interchange.errors import SourceError
from interchange.formats import load
from interchange.formats.scp.coding.packing import pack
from tests.formats.scp import plain
from tests.formats.scp.broken import check, parse, read, record, rules, with_section
from tests.growing.scp import many_sections

SCP = load("scp")
TAGS = b"".join(plain.tag(*entry) for entry in plain.plain_tags()) + b"\xff\0\0"


@pytest.fixture(autouse=True)
def _fast_checksum(monkeypatch: pytest.MonkeyPatch) -> None:
    """These records are large; the plain checksum is tested elsewhere."""
    monkeypatch.setattr(plain, "crc", lambda data: binascii.crc_hqx(data, 0xFFFF))


def test_a_rule_broken_ten_thousand_times_is_counted_not_listed() -> None:
    recording = read(many_sections(10000))
    counts: dict[str, int] = {}
    for finding in recording.findings:
        counts[finding.rule] = counts.get(finding.rule, 0) + 1
    assert counts["scp.crc-zero"] == 201
    assert "9800 more" in next(f.reason for f in reversed(recording.findings) if f.rule == "scp.crc-zero")
    assert len(recording.unread) == 10000


def test_sections_that_all_cover_the_whole_file_are_not_read_for_each() -> None:
    """Every checksum over all bytes would take time with the square of the size."""
    count = 5000
    base = plain.encode(record())
    size = 10 * count + 400
    entries = b"".join(struct.pack("<HII", 128 + n, size, 6 + 136 + 10 * count + 1) for n in range(count))
    pointers = bytearray(base[22:142] + entries)
    struct.pack_into("<I", pointers, 2, 16 + len(pointers))
    target = struct.pack("<HHIBB6s", 1, 128, size, 20, 20, bytes(6)) + bytes(size)
    data = base[:10] + struct.pack("<I", 16 + len(pointers)) + base[14:22] + bytes(pointers) + target
    assert "pointer-target" in check(data)


def test_ten_thousand_remarks() -> None:
    recording = read(with_section(1, TAGS[:-3] + plain.tag(30, b"x\0") * 10000 + b"\xff\0\0"))
    assert len(recording.acquisition.remarks) == 10000


def test_a_thousand_tables_are_not_followed() -> None:
    one = struct.pack("<H", 2) + struct.pack("<BBBhI", 1, 1, 1, 0, 0) + struct.pack("<BBBhI", 1, 1, 0, 1, 1)
    data = with_section(2, struct.pack("<H", 1000) + one * 1000)
    assert "table-size" in check(data)
    with pytest.raises(SourceError):
        read(data)


def leads(count: int, size: int, flags: int = 0) -> bytes:
    return bytes((count, 4 | min(count, 31) << 3 | flags)) + b"".join(
        struct.pack("<IIB", 1, size, 1 + n % 8) for n in range(count)
    )


def signal(blocks: list[bytes], order: int) -> bytes:
    return (
        struct.pack("<HHBB", 1000, 2000, order, 0)
        + struct.pack(f"<{len(blocks)}H", *map(len, blocks))
        + b"".join(blocks)
    )


def test_one_bit_a_sample_is_the_most_that_bytes_can_hold() -> None:
    size = 65535 * 8
    data = plain.assemble({1: TAGS, 2: b"\x1f\x4e", 3: leads(1, size), 6: signal([bytes(65535)], 2)})
    assert read(data).tracings[0].samples.shape == (1, size)
    data = plain.assemble({1: TAGS, 2: b"\x1f\x4e", 3: leads(1, size + 1), 6: signal([bytes(65535)], 2)})
    with pytest.raises(SourceError):
        read(data)


def test_all_escapes() -> None:
    row = np.array([(n * 7919) % 65536 - 32768 for n in range(20000)])
    data = plain.assemble({1: TAGS, 2: b"\x1f\x4e", 3: leads(12, row.size), 6: signal([pack(row, 0)] * 12, 0)})
    document, findings = parse(data)
    assert rules(findings) == {"lead-doubled"}
    assert all((wave.samples == row).all() for wave in document.rhythm.waves)


def test_very_many_zones_on_very_many_leads() -> None:
    count, size = 60000, 16000
    zones = struct.pack("<HHH", 1600, 400, count)
    zones += b"".join(struct.pack("<HIII", 0, 1 + n % 15000, 1 + n % 15000, 1 + n % 15000) for n in range(count))
    bodies = {1: TAGS, 2: b"\x1f\x4e", 3: leads(255, size, flags=1), 4: zones}
    bodies[5] = signal([bytes(100)] * 255, 1)
    bodies[6] = signal([bytes(size // 8)] * 255, 1)
    document, findings = parse(plain.assemble(bodies))
    assert document.rhythm.waves[0].samples.size == size
    assert "zone-overlap" in rules(findings)
    assert len(findings) < 1500


def test_a_line_cannot_ask_for_a_tracing_much_larger_than_its_samples() -> None:
    text = b"[interchange 1]\nscp.tracings: 1@1-4000000000 1@1-20\0"
    tags = [*plain.plain_tags(), (30, text)]
    recording = read(plain.encode(record(tags=tags)))
    assert rules(recording.findings) == {"carried"}
    assert recording.tracings[0].length == 20


def test_a_further_file_that_is_named_a_thousand_times_is_read_once() -> None:
    further = plain.encode(record())
    line = b"scp.part: 1 more.scp 0 " + hashlib.sha256(further).hexdigest()[:16].encode() + b"\n"
    tags = [*plain.plain_tags(), (30, b"[interchange 1]\n" + line * 1000 + b"\0")]
    recording = read(plain.encode(record(tags=tags)), **{"more.scp": further})
    assert len(recording.tracings) == 2
    assert [entry.what for entry in recording.unread] == ["999 lines of free text that are not understood"]


LINES = [
    b"scp.part: 1 ../../secret 0 0123456789abcdef",
    b"scp.part: 99999999999 x.scp 0 0123456789abcdef",
    b"scp.part: 1 x.scp 1/0 0123456789abcdef",
    b"scp.tracings: nonsense",
    b"tracings[0].samples: 1",
    b"tracings[0].rate: 1",
    b"tracings[0].channels[0].step: 9",
    b"tracings[0].channels[9].name: X",
    b"measurements[4]: concept=other",
    b"unread[0]: place=x",
    b"marks[0]: concept=note; tracing=70; start=1/0",
    b"no line at all",
]


@pytest.mark.parametrize("line", LINES)
def test_lines_that_mean_nothing_change_nothing(line: bytes) -> None:
    tags = [*plain.plain_tags(), (30, b"[interchange 1]\n" + line + b"\0")]
    recording = read(plain.encode(record(tags=tags)))
    bare = read(plain.encode(record()))
    assert recording.tracings == bare.tracings
    assert recording.measurements == recording.marks == ()
    if line != b"scp.tracings: nonsense":
        assert [entry.what for entry in recording.unread] == ["1 lines of free text that are not understood"]
        assert rules(recording.findings) == {"carried"}
