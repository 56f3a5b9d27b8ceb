"""Flaws that real records carry: each is a finding, and the tracing is still read."""

from __future__ import annotations

import struct

import pytest

from interchange.formats import load
from interchange.sources import Source
from tests.formats.scp import plain
from tests.formats.scp.broken import (
    OTHER,
    WAVE,
    check,
    fixed,
    parse,
    patched,
    place_of,
    read,
    record,
    rules,
    with_section,
)
from tests.formats.scp.test_measured import POSITIONS

SCP = load("scp")


def sound(data: bytes) -> None:
    """The tracing is read as if nothing were wrong."""
    tracing = read(data).tracings[0]
    assert tracing.names == ("I", "II")
    assert tracing.samples.tolist() == [WAVE, OTHER]
    assert tracing.missing is None


def unmarked(protocol: int) -> bytes:
    data = bytearray(plain.encode(record(protocol=protocol)))
    data[16:22] = bytes(6)
    return fixed(data)


def test_no_mark_in_section_0() -> None:
    old, new = unmarked(13), unmarked(20)
    assert check(old) == {"mark-old"}
    assert check(new) == {"mark"}
    for data in (old, new):
        assert SCP.recognise(Source(data))
        sound(data)


def test_an_old_record_is_recognised_by_its_checksum_where_the_first_pointer_is_odd_too() -> None:
    data = bytearray(unmarked(13))
    struct.pack_into("<I", data, 28, 8)
    assert SCP.recognise(Source(fixed(data)))
    assert not SCP.recognise(Source(bytes(data)))


def test_reserved_bytes_and_section_versions_of_any_value() -> None:
    data = bytearray(plain.encode(record()))
    start = place_of(bytes(data), 6)
    data[start + 8] = 77
    data[start + 10 : start + 16] = b"abcdef"
    assert check(fixed(data)) == {"reserved", "section-version"}
    sound(fixed(data))


def test_no_tag_255_at_the_end_of_section_1() -> None:
    body = b"".join(plain.tag(number, value) for number, value in plain.plain_tags())
    data = with_section(1, body)
    assert check(data) == {"tag-end-missing"}
    sound(data)
    assert read(data).patient.ids[0].value == "PL-1"


def test_zeros_instead_of_tag_255() -> None:
    body = b"".join(plain.tag(number, value) for number, value in plain.plain_tags()) + bytes(9)
    assert check(with_section(1, body)) == {"tag-end-missing"}


def test_a_repeated_tag() -> None:
    tags = [*plain.plain_tags(), (27, b"\x05\0"), (27, b"\x43\0")]
    data = plain.encode(record(tags=tags))
    assert check(data) == {"tag-repeated"}
    sound(data)
    recording = read(data)
    assert recording.acquisition.filters.highpass * 100 == 5
    assert [entry.what for entry in recording.unread] == ["baseline filter once more (tag 27)"]


@pytest.mark.parametrize("stated", [0, 1, 3, 9, 250])
def test_a_string_length_in_tag_14_that_does_not_fit(stated: int) -> None:
    value = bytearray(plain.device())
    value[35] = stated
    tags = [(n, bytes(value) if n == 14 else v) for n, v in plain.plain_tags()]
    data = plain.encode(record(tags=tags))
    assert check(data) == {"device-strings"}
    sound(data)
    device = read(data).acquisition.devices[0]
    assert (device.manufacturer, device.serial, device.software) == ("Quillmere", "S-17", ("1.0",))


def test_a_first_string_filled_with_zeros_to_its_length() -> None:
    strings = b"1.0\0\0\0\0\0" + b"S-17\0\0\0Quillmere\0"
    value = plain.device()[:35] + b"\x08" + strings
    data = plain.encode(record(tags=[(n, value if n == 14 else v) for n, v in plain.plain_tags()]))
    device = read(data).acquisition.devices[0]
    assert (device.manufacturer, device.serial, device.software) == ("Quillmere", "S-17", ("1.0",))
    assert check(data) == {"device-strings"}


@pytest.mark.parametrize("size", [35, 36, 40, 45])
def test_an_old_device_field_that_ends_early(size: int) -> None:
    data = plain.encode(record(tags=[(n, v[:size] if n == 14 else v) for n, v in plain.plain_tags()]))
    assert check(data) <= {"device-strings"}
    assert read(data).acquisition.devices[0].model == "FT12"
    sound(data)


def test_spare_bytes_between_sections() -> None:
    """Bytes behind section 2 that belong to no section; all pointers behind them say so."""
    data = bytearray(plain.encode(record(tables=[plain.DEFAULT_CODES], order=2)))
    start = place_of(bytes(data), 3)
    data[start:start] = b"spare!"
    length = struct.unpack_from("<I", data, 10)[0]
    for place in range(22, 6 + length, 10):
        number, size, index = struct.unpack_from("<HII", data, place)
        if number >= 3 and size:
            struct.pack_into("<I", data, place + 6, index + 6)
    struct.pack_into("<I", data, 2, len(data))
    found = fixed(data)
    assert check(found) == {"section-gap"}
    sound(found)
    assert [(entry.size, entry.what) for entry in read(found).unread] == [(6, "bytes between sections")]


def test_spare_bytes_within_section_2() -> None:
    data = with_section(2, b"\x1f\x4e" + b"more", tables=[plain.DEFAULT_CODES], order=2)
    assert check(data) == {"table-spare"}
    sound(data)


def test_sections_out_of_order_in_the_file() -> None:
    data = plain.encode(record(sections={7: struct.pack("<BBHH", 0, 0, 800, 29999)}))
    start, end = place_of(data, 3), place_of(data, 6)
    behind = place_of(data, 7)
    moved = bytearray(data[:start] + data[end:behind] + data[start:end] + data[behind:])
    size3, size6 = end - start, behind - end
    for place in range(22, 22 + 120, 10):
        number = struct.unpack_from("<H", moved, place)[0]
        if number == 6:
            struct.pack_into("<I", moved, place + 6, start + 1)
        elif number == 3:
            struct.pack_into("<I", moved, place + 6, start + size6 + 1)
    assert size3 > 0
    assert check(fixed(moved)) == {"section-order"}
    sound(fixed(moved))


BLOCK = struct.pack("<HHHHHhhh", 100, 200, 260, 350, 600, 50, 40, 30)


def test_a_makers_own_content_behind_the_measurement_blocks() -> None:
    data = with_section(7, struct.pack("<BBHH", 1, 0, 850, 29999) + BLOCK + bytes(range(200, 240)))
    assert check(data) == {"measurements-tail"}
    sound(data)
    recording = read(data)
    assert [(e.size, e.what) for e in recording.unread] == [POSITIONS, (40, "content of no known layout")]
    values = {m.concept: m.value for m in recording.measurements}
    assert values["pr-interval"] == 160
    assert values["qt-interval"] == 340
    assert "heart-rate-ventricular" not in values


def test_lead_measurements_longer_than_the_list() -> None:
    values = [*range(1, 21), 1, 2, *range(23, 32), 7777, 8888]
    body = struct.pack("<HHHH", 1, 0, 2, 2 * len(values)) + struct.pack(f"<{len(values)}h", *values)
    data = with_section(10, body)
    assert check(data) == {"lead-block-long"}
    sound(data)
    recording = read(data)
    assert len(recording.measurements) == 31
    assert [(e.size, e.what) for e in recording.unread] == [(4, "2 further measurements of lead code 2")]


def test_an_empty_section_11() -> None:
    data = with_section(11, b"")
    assert check(data) == {"section-empty"}
    sound(data)


def test_zones_of_other_beats_with_one_instead_of_zero_and_no_protected_areas() -> None:
    beat = [5, 60, -20]
    residual = [x - (beat[n - 4] if 4 <= n <= 6 else 0) for n, x in enumerate(WAVE)]
    made = record(
        leads=[(1, 1, residual), (2, 1, list(OTHER))],
        zones=[(0, 5, 6, 7), (1, 1, 15, 1)],
        beats=[beat, [0, 0, 0]],
        fiducial=2,
        subtracted=True,
    )
    assert made.areas == []
    data = plain.encode(made)
    assert check(data) == {"zones-no-areas"}
    sound(data)


# The frame ---------------------------------------------------------------------------------------------------------


def test_wrong_checksums_are_errors_and_the_tracing_is_read() -> None:
    data = bytearray(plain.encode(record()))
    data[place_of(bytes(data), 1) + 20] ^= 1
    assert check(bytes(data)) >= {"record-crc", "section-crc"}
    data = bytearray(plain.encode(record()))
    data[0:2] = b"\0\0"
    assert check(bytes(data)) == {"crc-zero"}
    sound(bytes(data))


def test_bytes_behind_the_record() -> None:
    data = plain.encode(record()) + b"tail"
    assert check(data) == {"record-trailing"}
    sound(data)
    assert [(e.size, e.what) for e in read(data).unread] == [(4, "bytes behind the last section")]


def test_a_record_that_is_cut_off_keeps_the_leads_that_are_whole() -> None:
    data = plain.encode(record())
    cut = data[: len(data) - 10]
    recording = read(cut)
    assert recording.tracings[0].samples[0].tolist() == WAVE
    assert recording.tracings[0].missing[1].tolist() == [False] * 15 + [True] * 5
    assert {"scp.record-truncated", "scp.section-truncated", "scp.lead-bytes"} <= {f.rule for f in recording.findings}


def test_a_wrong_pointer_is_found_by_the_chain_of_headers() -> None:
    data = bytearray(plain.encode(record()))
    struct.pack_into("<I", data, 22 + 60 + 6, 3)
    assert check(fixed(data)) == {"pointer-outside"}
    sound(fixed(data))
    struct.pack_into("<I", data, 22 + 60 + 6, place_of(bytes(data), 3) + 1)
    assert check(fixed(data)) == {"pointer-target"}
    sound(fixed(data))


def test_lengths_that_differ_between_header_and_pointer() -> None:
    data = bytearray(plain.encode(record()))
    for length in (4, 10**9):
        struct.pack_into("<I", data, 22 + 60 + 2, length)
        assert "section-length" in check(fixed(data))
        sound(fixed(data))


def test_fewer_pointers_than_twelve() -> None:
    """Section 0 of an old writer with entries for what is there only."""
    whole = plain.encode(record())
    parts = [
        whole[place_of(whole, n) :][: struct.unpack_from("<I", whole, place_of(whole, n) + 4)[0]] for n in (1, 3, 6)
    ]
    entries = struct.pack("<HII", 0, 56, 7)
    place = 6 + 56
    for number, part in zip((1, 3, 6), parts, strict=True):
        entries += struct.pack("<HII", number, len(part), place + 1)
        place += len(part)
    body = plain.section(0, entries, reserved=b"SCPECG") + b"".join(parts)
    rest = struct.pack("<I", 6 + len(body)) + body
    data = struct.pack("<H", plain.crc(rest)) + rest
    assert check(data) == {"pointer-missing"}
    sound(data)


@pytest.mark.parametrize("number", [12, 18, 128, 1023, 40, 2000])
def test_sections_that_are_not_decoded_are_listed(number: int) -> None:
    data = with_section(number, b"whatever it holds")
    (entry,) = read(data).unread
    assert entry.size == 34
    assert str(number) in entry.what
    assert check(data) == {"section-new" if number <= 18 else "section-unknown"} - (
        {"section-unknown"} if 128 <= number <= 1023 else set()
    )
    sound(data)


def test_a_record_of_version_3_is_read_and_its_sections_are_listed() -> None:
    data = plain.encode(record(protocol=30, sections={12: bytes(40), 15: bytes(8)}))
    assert check(data) == {"section-3-0"}
    sound(data)
    assert [e.what[:10] for e in read(data).unread] == ["section 12", "section 15"]


def test_legacy_coding_in_version_3() -> None:
    data = plain.encode(
        record(protocol=30, zones=[(0, 2, 3, 4)], areas=[(2, 4)], beats=[[1, 2, 3]] * 2, subtracted=True)
    )
    assert "legacy-coding" in check(data)


@pytest.mark.parametrize("protocol", [0, 5, 10, 11, 13, 20, 22, 30, 31, 99, 255])
def test_nothing_is_refused_for_a_version_number(protocol: int) -> None:
    data = plain.encode(record(protocol=protocol))
    assert check(data) <= {"section-version"}
    sound(data)


def test_leads_that_begin_with_sample_0() -> None:
    data = plain.encode(record(leads=[(1, 0, list(WAVE)), (2, 0, list(OTHER))]))
    assert check(data) == {"lead-start"}
    sound(data)


def test_what_rests_on_memory_says_so() -> None:
    _, findings = parse(with_section(7, struct.pack("<BBHH", 1, 0, 850, 9999) + BLOCK + bytes(range(200, 240))))
    clauses = {f.rule: f.clause for f in findings}
    assert clauses["scp.measurements-tail"].endswith("[from memory]")
    recording = read(patched(plain.encode(record()), 6, 5, b"\x02"))
    assert rules(recording.findings) == {"bimodal-code"}
    assert recording.findings[0].clause.endswith("[unsure]")
    sound(patched(plain.encode(record()), 6, 5, b"\x02"))


def test_leads_that_were_recorded_together_stay_together_where_one_is_shorter() -> None:
    data = patched(plain.encode(record(leads=[(1, 1, list(WAVE)), (2, 1, OTHER[:17])])), 3, 1, bytes((4 | 2 << 3,)))
    assert check(data) == {"simultaneous"}
    (tracing,) = read(data).tracings
    assert tracing.names == ("I", "II")
    assert tracing.missing[1].tolist() == [False] * 17 + [True] * 3


def test_a_record_cut_off_keeps_the_names_of_the_leads_that_are_gone() -> None:
    rows = [[n + 100 * code for n in range(2000)] for code in range(1, 5)]
    data = plain.encode(record(leads=[(code, 1, row) for code, row in enumerate(rows, 1)]))
    (tracing,) = read(data[: len(data) - 6100]).tracings
    assert tracing.names == ("I", "II", "V1", "V2")
    assert tracing.samples[0].tolist() == rows[0]
    assert [int(row.sum()) for row in tracing.missing] == [0, 0, 1050, 2000]  # 6100 bytes are 3050 samples


def test_leads_one_after_the_other_stay_apart() -> None:
    data = plain.encode(record(leads=[(1, 1, list(WAVE)), (2, 21, list(OTHER))]))
    assert [t.names for t in read(data).tracings] == [("I",), ("II",)]
    assert [t.start * 500 for t in read(data).tracings] == [0, 20]
