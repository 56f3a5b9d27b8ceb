"""A stream that ends early is an error, never a smooth signal; what lies behind a lead's end is looked at."""

from __future__ import annotations

import struct

import numpy as np
import pytest

from interchange.errors import SourceError
from interchange.formats.scp.coding.huffman import decode_blocks
from interchange.formats.scp.coding.packing import pack
from interchange.formats.scp.syntax.tables import DEFAULT
from tests.formats.scp import plain
from tests.formats.scp.broken import OTHER, WAVE, check, parse, patched, place_of, read, record, rules

HUFFMAN = {"tables": [plain.DEFAULT_CODES], "order": 1}


def longer(lead: int, count: int, **changes: object) -> bytes:
    """A record whose section 3 claims ``count`` samples for one lead."""
    data = plain.encode(record(**changes))
    return patched(data, 3, 2 + 9 * lead + 4, struct.pack("<I", count))


def test_a_code_stream_that_ends_early_gives_no_samples_at_all() -> None:
    document, findings = parse(longer(1, 30, **HUFFMAN))
    assert rules(findings) == {"lead-ends-early", "simultaneous"}
    assert document.rhythm.waves[0].samples.tolist() == WAVE
    assert document.rhythm.waves[1].samples is None


def test_a_lead_without_samples_is_missing_from_first_to_last_and_the_others_stay() -> None:
    data = plain.encode(record(**HUFFMAN))
    start = place_of(data, 6) + 16 + 6
    sizes = struct.unpack_from("<HH", data, start)
    broken = patched(data, 6, 6 + 4 + sizes[0], b"\xff" * sizes[1])
    recording = read(broken)
    assert recording.tracings[0].names == ("I", "II")
    assert recording.tracings[0].missing[1].all()
    assert not recording.tracings[0].missing[0].any()
    assert recording.tracings[0].samples[0].tolist() == WAVE
    assert "scp.lead-ends-early" in {f.rule for f in recording.findings}


def test_padding_is_never_taken_for_samples() -> None:
    flat = plain.encode(record(leads=[(1, 1, [0] * 13)], **HUFFMAN))
    document, findings = parse(flat)
    assert findings == ()
    assert document.rhythm.waves[0].samples.tolist() == [0] * 13
    for count in (14, 15, 16):
        more = patched(flat, 3, 6, struct.pack("<I", count))
        document, findings = parse(more)
        # up to the last bit of the block nobody could tell; the zeros are there
        assert document.rhythm.waves[0].samples.tolist() == [0] * count
    document, findings = parse(patched(flat, 3, 6, struct.pack("<I", 17)))
    assert document.rhythm.waves[0].samples is None
    assert "lead-ends-early" in rules(findings)


@pytest.mark.parametrize("count", [5, 12, 19])
def test_a_stream_that_goes_on_behind_the_last_sample_is_said(count: int) -> None:
    document, findings = parse(longer(0, count, **HUFFMAN))
    assert document.rhythm.waves[0].samples.tolist() == WAVE[:count]
    assert rules(findings) & {"lead-surplus", "padding", "lead-even"}


def test_padding_that_is_not_zero_is_said() -> None:
    data = plain.encode(record(leads=[(1, 1, [0] * 13)], **HUFFMAN))
    size = struct.unpack_from("<H", data, place_of(data, 6) + 22)[0]
    assert check(patched(data, 6, 8 + size - 1, b"\x01")) >= {"padding"}


def test_a_spare_zero_byte_is_tolerated() -> None:
    data = plain.encode(
        record(leads=[(1, 1, [0] * 13)], sections={6: b"\xe8\x03\xd0\x07\x01\x00\x03\x00\0\0\0"}, **HUFFMAN)
    )
    document, findings = parse(data)
    assert rules(findings) == {"lead-even"}
    assert document.rhythm.waves[0].samples.tolist() == [0] * 13


def test_plain_integers_that_end_early_keep_what_is_there() -> None:
    recording = read(longer(1, 26))
    (tracing,) = recording.tracings
    assert tracing.samples[:, :20].tolist() == [WAVE, OTHER]
    assert tracing.missing.tolist() == [[False] * 20 + [True] * 6] * 2
    assert "scp.lead-ends-early" in {f.rule for f in recording.findings}


@pytest.mark.parametrize("claim", [10**6, 2**31, 2**32 - 1])
@pytest.mark.parametrize("coding", [{}, HUFFMAN])
def test_a_claim_of_billions_of_samples_takes_no_memory(claim: int, coding: dict) -> None:
    document, findings = parse(longer(1, claim, **coding))
    assert "lead-ends-early" in rules(findings)
    wave = document.rhythm.waves[1].samples
    assert wave is None or wave.size == 20


def test_a_record_with_no_decodable_lead_is_an_error_that_names_the_place() -> None:
    data = longer(0, 1000, **HUFFMAN)
    data = patched(data, 3, 15, struct.pack("<I", 1000))
    with pytest.raises(SourceError) as error:
        read(data)
    assert "section 6" in error.value.place
    assert "end before" in error.value.reason


def table_section(codes: list[tuple[int, int, int, int, int]], tables: int = 1) -> bytes:
    return struct.pack("<HH", tables, len(codes)) + b"".join(struct.pack("<BBBhI", *code) for code in codes)


TABLES = {
    "table-ambiguous": table_section([(1, 1, 1, 0, 0), (2, 2, 1, 1, 0), (1, 1, 1, 2, 1)]),
    "table-code": table_section([(0, 1, 1, 0, 0)]),
    "table-size": struct.pack("<HH", 1, 900),
}


@pytest.mark.parametrize("rule", TABLES)
def test_tables_that_would_give_two_readings_are_not_used(rule: str) -> None:
    data = plain.encode(record(sections={2: TABLES[rule]}, **HUFFMAN))
    assert rule in check(data)
    with pytest.raises(SourceError):
        read(data)


def test_a_table_with_gaps_is_used_and_a_string_without_meaning_is_an_error() -> None:
    gaps = table_section([(1, 1, 1, 0, 0), (2, 2, 1, 1, 1)])  # 0 and 10; 11 means nothing
    data = plain.encode(record(leads=[(1, 1, [0, 1, 0, 1, 0])], sections={2: gaps}, tables=[plain.DEFAULT_CODES]))
    body = b"\xe8\x03\xd0\x07\x00\x00\x01\x00" + bytes((0b01001000, 0))
    document, findings = parse(plain.encode(record(leads=[(1, 1, [0] * 5)], sections={2: gaps, 6: body})))
    assert "table-incomplete" in rules(findings)
    assert document.rhythm.waves[0].samples.tolist() == [0, 1, 0, 1, 0]
    assert check(data) >= {"table-incomplete"}
    body = b"\xe8\x03\xd0\x07\x00\x00\x01\x00" + bytes((0b01011000, 0))
    document, findings = parse(plain.encode(record(leads=[(1, 1, [0] * 5)], sections={2: gaps, 6: body})))
    assert rules(findings) == {"table-incomplete", "lead-undecodable"}
    assert document.rhythm.waves[0].samples is None


def test_a_switch_to_a_table_that_does_not_exist() -> None:
    codes = table_section([(1, 1, 1, 0, 0), (1, 1, 0, 7, 1)])
    body = b"\xe8\x03\xd0\x07\x00\x00\x01\x00" + bytes((0b00100000, 0))
    document, findings = parse(plain.encode(record(leads=[(1, 1, [0] * 4)], sections={2: codes, 6: body})))
    assert rules(findings) == {"table-target", "lead-undecodable"}
    assert document.rhythm.waves[0].samples is None


def test_differences_that_add_up_beyond_all_bounds() -> None:
    rising = [32767] * 70000
    blocks = [pack(np.array(rising), 0)]
    streams = decode_blocks(blocks[0], [(0, len(blocks[0]))], (DEFAULT,))
    assert streams[0].values.size >= 70000
    data = plain.encode(record(leads=[(1, 1, [0] * 3000)], order=0, tables=[plain.DEFAULT_CODES]))
    body = b"\xe8\x03\xd0\x07\x02\x00" + struct.pack("<H", 9750) + pack(np.array([32767] * 3000), 0)
    document, findings = parse(plain.encode(record(leads=[(1, 1, [0] * 3000)], sections={6: body, 2: b"\x1f\x4e"})))
    assert "value-overflow" in rules(findings)
    assert document.rhythm.waves[0].samples is None
    assert check(data) == set()


def test_values_beyond_16_bits_are_said() -> None:
    body = b"\xe8\x03\xd0\x07\x01\x00" + struct.pack("<H", 6) + struct.pack("<3h", 30000, 30000, 1)
    document, findings = parse(plain.encode(record(leads=[(1, 1, [0] * 3)], sections={6: body})))
    assert rules(findings) == {"value-range"}
    assert document.rhythm.waves[0].samples.tolist() == [30000, 60000, 60001]


def test_many_blocks_are_decoded_in_batches() -> None:
    row = np.arange(60000) % 300 - 150
    block = pack(row, 1)
    count = 40
    streams = decode_blocks(block * count, [(n * len(block), (n + 1) * len(block)) for n in range(count)], (DEFAULT,))
    assert len(streams) == count
    assert all(np.cumsum(stream.values[: row.size])[-1] == row[-1] for stream in streams)
