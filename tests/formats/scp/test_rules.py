"""The rule table: each rule has a record that breaks it and a sound record that does not."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Callable

import pytest

from interchange.findings import SEVERITIES
from interchange.formats import load
from interchange.formats.scp.facts import facts
from interchange.sources import Source
from tests.formats.scp import plain
from tests.formats.scp.broken import fixed, patched, place_of, record, rules, with_section
from tests.formats.scp.test_header import date, with_tags
from tests.formats.scp.test_measured import BLOCK, NOT, coded, lead_values, report, section_7
from tests.formats.scp.test_streams import TABLES, longer, table_section

SCP = load("scp")
HUFFMAN = {"tables": [plain.DEFAULT_CODES], "order": 1}
BEAT = {"zones": [(0, 4, 5, 7)], "areas": [(3, 8)], "beats": [[1, 5, 9, 2]] * 2, "fiducial": 2}
BODY = b"".join(plain.tag(n, v) for n, v in plain.plain_tags())


def base(**changes: object) -> bytes:
    return plain.encode(record(**changes))


def pointer(number: int, at: int, value: int, data: bytes | None = None) -> bytes:
    """A record with one field of one pointer changed."""
    changed = bytearray(base() if data is None else data)
    struct.pack_into("<I" if at else "<H", changed, 22 + 10 * number + at, value)
    return fixed(changed)


def bytes_at(place: int, new: bytes, data: bytes | None = None) -> bytes:
    changed = bytearray(base() if data is None else data)
    changed[place : place + len(new)] = new
    return bytes(changed)


def longer_zero(entries: bytes) -> bytes:
    """A record with more bytes in section 0."""
    data = base()
    head, rest = data[22:158], data[158:]
    pointers = bytearray(head[:120] + entries)
    shift = len(entries)
    length = 136 + shift
    struct.pack_into("<I", pointers, 2, length)
    for place in range(10, 120, 10):
        index = struct.unpack_from("<I", pointers, place + 6)[0]
        if index:
            struct.pack_into("<I", pointers, place + 6, index + shift)
    section = struct.pack("<HIBB", 0, length, 20, 20) + b"SCPECG" + bytes(pointers)
    whole = struct.pack("<H", plain.crc(section)) + section + data[142:]
    assert rest
    body = struct.pack("<I", 6 + len(whole)) + whole
    return struct.pack("<H", plain.crc(body)) + body


def odd_section() -> bytes:
    """A last section whose padding byte was forgotten."""
    data = bytearray(with_section(11, coded(0, [(2, b"odd")])))
    start = place_of(bytes(data), 11)
    size = struct.unpack_from("<I", data, start + 4)[0]
    del data[-1]
    struct.pack_into("<I", data, start + 4, size - 1)
    struct.pack_into("<I", data, 22 + 110 + 2, size - 1)
    struct.pack_into("<I", data, 2, len(data))
    return fixed(data)


def signal(body: bytes, **changes: object) -> bytes:
    return plain.encode(record(leads=[(1, 1, [0] * 4)], sections={6: body}, **changes))


def zones(*entries: tuple[int, ...], areas: tuple[tuple[int, int], ...] = (), **changes: object) -> bytes:
    beat = {"beats": [[1, 5, 9, 2]] * 2, "fiducial": 2, "subtracted": True}
    return base(zones=list(entries), areas=list(areas), **{**beat, **changes})


def part(text: bytes) -> bytes:
    return with_tags((30, b"[interchange 1]\n" + text + b"\0"))


def other_file(change: bool = False) -> tuple[bytes, dict[str, bytes]]:
    """A record that names a further file, and that file."""
    further = base() if not change else pointer(3, 2, 4)
    digest = hashlib.sha256(further).hexdigest()[:16]
    return part(f"scp.part: 1 record-2.scp 11 {digest}".encode()), {"record-2.scp": further}


BROKEN: dict[str, Callable[[], bytes]] = {
    "no-record": lambda: b"SCPECG",
    "record-truncated": lambda: base()[:-4],
    "record-trailing": lambda: base() + b"more",
    "record-length": lambda: bytes_at(2, struct.pack("<I", 300)),
    "record-crc": lambda: bytes_at(0, b"\x12\x34"),
    "crc-zero": lambda: bytes_at(0, b"\0\0"),
    "section-crc": lambda: bytes_at(6, b"\x12\x34"),
    "section-zero": lambda: bytes_at(8, b"\1"),
    "mark": lambda: bytes_at(16, bytes(6)),
    "mark-old": lambda: bytes_at(16, bytes(6), base(protocol=13)),
    "pointer-table": lambda: longer_zero(b"????"),
    "pointer-missing": lambda: pointer(9, 0, 90),
    "pointer-doubled": lambda: pointer(9, 0, 8),
    "pointer-order": lambda: (
        longer_zero(struct.pack("<HII", 5, 0, 0) + struct.pack("<HII", 4, 0, 0)) and pointer(9, 0, 0x300)
    ),
    "pointer-self": lambda: pointer(0, 2, 3),
    "pointer-half": lambda: pointer(9, 2, 40),
    "pointer-outside": lambda: pointer(6, 6, 10**8),
    "pointer-target": lambda: pointer(6, 6, place_of(base(), 3) + 1),
    "section-length": lambda: pointer(6, 2, 20),
    "section-truncated": lambda: base()[:-4],
    "section-overlap": lambda: bytes_at(place_of(base(), 1) + 4, struct.pack("<I", 150)),
    "section-odd": odd_section,
    "section-version": lambda: base(protocol=77),
    "reserved": lambda: bytes_at(place_of(base(), 3) + 12, b"x"),
    "section-gap": lambda: pointer(11, 2, 0, pointer(11, 6, 0, with_section(11, coded(0, [])))),
    "section-order": lambda: pointer(1, 0, 6, pointer(6, 0, 1)) and swapped(),
    "section-unknown": lambda: with_section(50, b"??"),
    "section-new": lambda: with_section(13, b"??"),
    "section-3-0": lambda: with_section(13, b"??", protocol=30),
    "section-missing": lambda: pointer(1, 2, 0, pointer(1, 6, 0)),
    "rhythm-missing": lambda: pointer(6, 2, 0, pointer(6, 6, 0)),
    "section-empty": lambda: with_section(11, b""),
    "legacy-coding": lambda: base(protocol=30, **BEAT),
    "tag-missing": lambda: with_tags(drop=(2,)),
    "tag-end-missing": lambda: with_section(1, BODY),
    "tag-after-end": lambda: with_section(1, BODY + b"\xff\0\0after"),
    "tag-end-length": lambda: with_section(1, BODY + b"\xff\1\0"),
    "field-overrun": lambda: with_section(1, BODY + b"\x1e\xff\0"),
    "date-length": lambda: with_tags((25, b"\0")),
    "tag-length": lambda: with_tags((5, b"\0")),
    "date-impossible": lambda: with_tags((25, date(2031, 4, 31))),
    "date-missing": lambda: with_tags((25, date(0, 0, 0))),
    "birth-after": lambda: with_tags((5, date(2032, 1, 1))),
    "code-range": lambda: with_tags((8, b"\5")),
    "tag-repeated": lambda: with_tags((0, b"Moor\0"), (0, b"Fenn\0")),
    "tag-unknown": lambda: with_tags((77, b"?")),
    "text-end": lambda: with_tags((0, b"Moor")),
    "text-inner": lambda: with_tags((0, b"Moor\0x\0")),
    "text-set": lambda: with_tags((0, b"\xe4\0")),
    "text-unicode": lambda: with_tags((0, "ä\0".encode()), language=7),
    "text-east-asian": lambda: with_tags((0, b"\xbb\xb3\0"), language=0x17),
    "language-unknown": lambda: with_tags(language=0x43),
    "device-short": lambda: with_tags((14, plain.device()[:30])),
    "device-strings": lambda: with_tags((14, plain.device()[:40])),
    "device-protocol": lambda: with_tags((14, plain.device(protocol=13))),
    "table-size": lambda: with_section(2, TABLES["table-size"], **HUFFMAN),
    "table-code": lambda: with_section(2, TABLES["table-code"], **HUFFMAN),
    "table-ambiguous": lambda: with_section(2, TABLES["table-ambiguous"], **HUFFMAN),
    "table-incomplete": lambda: with_section(2, table_section([(1, 1, 1, 0, 0)]), **HUFFMAN),
    "table-target": lambda: with_section(2, table_section([(1, 1, 1, 0, 0), (1, 1, 0, 3, 1)]), **HUFFMAN),
    "table-base": lambda: with_section(2, table_section([(1, 1, 1, 0, 0), (1, 9, 1, 5, 1)]), **HUFFMAN),
    "table-bits": lambda: with_section(2, table_section([(1, 1, 1, 0, 0), (1, 1, 1, 5, 3)]), **HUFFMAN),
    "table-spare": lambda: with_section(2, b"\x1f\x4emore", **HUFFMAN),
    "table-unused": lambda: pointer(6, 2, 0, pointer(6, 6, 0, base(**HUFFMAN))),
    "lead-count": lambda: patched(base(), 3, 0, b"\0"),
    "leads-length": lambda: patched(base(), 3, 0, b"\7"),
    "leads-spare": lambda: patched(base(), 3, 0, b"\1"),
    "lead-range": lambda: patched(base(), 3, 2, struct.pack("<I", 90)),
    "lead-start": lambda: base(leads=[(1, 0, [1, 2, 3])]),
    "lead-code": lambda: base(leads=[(200, 1, [1, 2, 3])]),
    "lead-code-memory": lambda: base(leads=[(150 + 10, 1, [1, 2, 3])]),
    "lead-doubled": lambda: base(leads=[(2, 1, [1, 2, 3]), (2, 1, [1, 2, 3])]),
    "simultaneous": lambda: patched(base(), 3, 1, bytes((4 | 5 << 3,))),
    "group-timing": lambda: patched(base(), 3, 1, bytes((1 << 3,))),
    "zones-length": lambda: patched(base(**BEAT), 4, 4, b"\x09"),
    "zones-no-areas": lambda: zones((0, 4, 5, 7)),
    "zones-spare": lambda: patched(base(**BEAT), 4, 4, b"\0"),
    "zone-range": lambda: zones((0, 4, 900, 7)),
    "zone-overlap": lambda: zones((0, 4, 5, 7), (0, 6, 7, 9), areas=((3, 5), (6, 9))),
    "zone-order": lambda: zones((1, 0, 15, 0), (1, 0, 5, 0), areas=((14, 16), (4, 6))),
    "area-overlap": lambda: zones((1, 0, 5, 0), (1, 0, 8, 0), areas=((4, 8), (7, 9))),
    "zone-beat": lambda: zones((0, 4, 5, 14), areas=((3, 8),)),
    "zone-untyped": lambda: zones((0, 4, 5, 7), (1, 10, 12, 14), areas=((3, 8), (11, 13))),
    "signal-header": lambda: patched(base(), 6, 0, b"\0\0"),
    "signal-length": lambda: with_section(6, b"\xe8\x03\xd0\x07\0\0\0"),
    "lead-bytes": lambda: patched(base(), 6, 6, b"\xff\xff"),
    "signal-spare": lambda: patched(base(), 6, 8, b"\2\0"),
    "signal-padding": lambda: signal(b"\xe8\x03\xd0\x07\0\0\3\0\7\0\0\1"),
    "signal-leads": lambda: signal(b"\xe8\x03\xd0\x07\0\0\4\0\4\0\1\0\2\0\3\0\4\0"),
    "difference-code": lambda: patched(base(), 6, 4, b"\3"),
    "bimodal-code": lambda: patched(base(), 6, 5, b"\2"),
    "lead-ends-early": lambda: longer(1, 30),
    "lead-undecodable": lambda: with_section(2, table_section([(2, 2, 1, 0, 0)]), **HUFFMAN),
    "lead-surplus": lambda: longer(1, 3),
    "lead-even": lambda: signal(b"\xe8\x03\xd0\x07\0\0\2\0\0\0", tables=[plain.DEFAULT_CODES]),
    "padding": lambda: signal(b"\xe8\x03\xd0\x07\0\0\1\0\1", tables=[plain.DEFAULT_CODES]),
    "value-range": lambda: signal(b"\xe8\x03\xd0\x07\1\0\x08\0\xff\x7f\xff\x7f\0\0\0\0"),
    "value-overflow": lambda: patched(base(leads=[(1, 1, [32767] * 400)]), 6, 4, b"\2"),
    "subtraction-incomplete": lambda: base(subtracted=True),
    "bimodal-incomplete": lambda: patched(base(), 6, 5, b"\1"),
    "bimodal": lambda: base(factor=2, **BEAT),
    "requantised": lambda: base(subtracted=True, step=5000, **BEAT),
    "bimodal-counts": lambda: base(factor=4, rounds_up=False, **{**BEAT, "areas": [(4, 9)]}),
    "bimodal-factor": lambda: patched(base(factor=2, **BEAT), 6, 2, b"\xd0\x07"),
    "beat-count": lambda: pointer(4, 2, 0, pointer(4, 6, 0, base(**BEAT, **HUFFMAN))),
    "beat-length": lambda: base(interval=3000, **{**BEAT, "beats": [[1, 2, 3]] * 2, "sections": {}}) and odd_beat(),
    "step-coarse": lambda: base(step=10000),
    "interval-coarse": lambda: base(interval=4000),
    "measurements-length": lambda: with_section(7, section_7([BLOCK])[:10]),
    "measurements-tail": lambda: with_section(7, struct.pack("<BBHH", 0, 0, 800, 800) + b"\xff" * 20),
    "measurements-overall": lambda: with_section(7, b"\1" + section_7([BLOCK, BLOCK])[1:]),
    "measurements-single": lambda: with_section(7, section_7([BLOCK] * 3, types=[0, 1, 0])),
    "measurements-blocks": lambda: with_section(7, section_7([BLOCK] * 3, types=None)),
    "measurements-types": lambda: zones((0, 4, 5, 7), sections={7: section_7([BLOCK], types=[0, 0])}),
    "measurements-formula": lambda: with_section(7, section_7(extra=(75, 75, 430, 9))),
    "measurements-order": lambda: with_section(7, section_7([(9, 3, 20, 30, 40, 0, 0, 0)])),
    "measurements-rate": lambda: with_section(7, section_7(extra=(99, 99, 400, 1))),
    "measurements-9999": lambda: with_section(7, section_7(rr=9999)),
    "axis-range": lambda: with_section(7, section_7([(1, 3, 20, 30, 40, 200, 0, 0)])),
    "spike-time": lambda: with_section(7, section_7(spikes=[(5000, 1, 0, 0, 0, 0)])),
    "spike-code": lambda: with_section(7, section_7(spikes=[(5, 1, 4, 0, 0, 0)])),
    "spike-qrs": lambda: with_section(7, section_7(spikes=[(5, 1, 0, 0, 4, 0)], types=[0])),
    "report-length": lambda: with_section(8, report(0, [b"x"])[:-3]),
    "report-flag": lambda: with_section(8, report(3, [b"x"])),
    "report-date": lambda: with_section(8, report(0, [b"x"], (2031, 0, 1, 0, 0, 0))),
    "report-sequence": lambda: with_section(8, report(0, [b"x", b"y"]).replace(b"\2\2\0y", b"\3\2\0y")),
    "report-spare": lambda: with_section(8, report(0, [b"x"]) + b"more"),
    "statement-type": lambda: with_section(11, coded(0, [(7, b"x")])),
    "statement-length": lambda: with_section(11, coded(0, [(1, b"SR"), (1, b"LAFB")], counts_type=False)),
    "reports-differ": lambda: base(sections={8: report(1, [b"x"]), 11: coded(0, [(2, b"x")])}),
    "lead-block-length": lambda: with_section(10, lead_values((1, [1, 2]))[:-2]),
    "lead-block-long": lambda: with_section(10, lead_values((1, [0] * 33))),
    "lead-block-code": lambda: with_section(10, lead_values((8, [1]))),
    "morphology-code": lambda: with_section(10, lead_values((1, [*[NOT] * 20, 9]))),
    "lead-block-spare": lambda: with_section(10, lead_values((1, [1])) + b"more"),
    "part-of": lambda: part(b"scp.part-of: record.scp"),
    "carried": lambda: part(b"patient.no_such_field: 3"),
}


def swapped() -> bytes:
    """Section 6 in front of section 3."""

    data = base()
    start, end = place_of(data, 3), place_of(data, 6)
    moved = bytearray(data[:start] + data[end:] + data[start:end])
    struct.pack_into("<I", moved, 22 + 60 + 6, start + 1)
    struct.pack_into("<I", moved, 22 + 30 + 6, start + len(data) - end + 1)
    return fixed(moved)


def odd_beat() -> bytes:
    """A reference beat of 7 ms at 2 ms a sample."""
    return patched(base(**BEAT), 4, 0, struct.pack("<H", 7))


def broken_rules(data: bytes, files: dict[str, bytes] | None = None) -> set[str]:
    return rules(SCP.check(Source(data, "record.scp", files=files)))


WITH_FILES = {"part-missing", "part-changed", "part-broken"}


def test_every_rule_has_a_record_that_breaks_it() -> None:
    names = {rule.id.removeprefix("scp.") for rule in SCP.RULES}
    assert names == set(BROKEN) | WITH_FILES


@pytest.mark.parametrize("name", BROKEN)
def test_a_record_breaks_its_rule(name: str) -> None:
    assert name in broken_rules(BROKEN[name]())


SOUND = {
    "plain": base,
    "huffman": lambda: base(**HUFFMAN),
    "subtracted": lambda: base(subtracted=True, **BEAT),
    "full": lambda: base(
        sections={7: section_7([BLOCK]), 8: report(0, [b"x"]), 10: lead_values((1, [5])), 11: coded(0, [(1, b"SR")])}
    ),
}


@pytest.mark.parametrize("name", SOUND)
def test_sound_records_break_no_rule(name: str) -> None:
    assert broken_rules(SOUND[name]()) == set()


def test_rules_of_further_files() -> None:
    data, files = other_file()
    whole = SCP.read(Source(data, "record.scp", files=files))
    assert [tracing.start for tracing in whole.tracings] == [0, 11]
    assert rules(whole.findings) == set()
    assert rules(SCP.read(Source(data, "record.scp")).findings) == {"part-missing"}
    assert broken_rules(data) == {"part-missing"}
    assert broken_rules(data, files) == set()
    changed = {"record-2.scp": base(interval=4000)}
    assert rules(SCP.read(Source(data, "record.scp", files=changed)).findings) == {"part-missing"}
    changed = {"record-2.scp": part(b"scp.part-of: record.scp")}
    assert rules(SCP.read(Source(data, "record.scp", files=changed)).findings) == {"part-changed"}
    data, files = other_file(change=True)
    assert rules(SCP.read(Source(data, "record.scp", files=files)).findings) == {"part-broken"}
    assert rules(SCP.read(Source(data, "record.scp", files={"record-2.scp": b"no"})).findings) == {"part-missing"}


def test_every_rule_says_what_follows_and_where_it_is_written() -> None:
    for rule in SCP.RULES:
        assert rule.severity in SEVERITIES
        assert rule.clause.startswith(("EN 1064", "ISO 41064"))
        assert rule.why.endswith(".")
        assert not rule.reason.endswith(".")


def test_every_fact_that_is_not_sure_says_so_in_its_findings() -> None:
    words = {"memory": "[from memory]", "unsure": "[unsure]"}
    for name, make in BROKEN.items():
        for finding in SCP.check(Source(make(), "record.scp")):
            rule = next(rule for rule in SCP.RULES if rule.id == finding.rule)
            mark = words.get(rule.confidence, "")
            assert finding.clause.endswith(mark), name
            assert bool(mark) == ("[" in finding.clause)


def test_facts_are_used_or_explain_what_is_done() -> None:
    used = {(rule.clause, rule.confidence) for rule in SCP.RULES}
    for name, fact in facts().items():
        assert fact.says.endswith("."), name
        assert fact.confidence in ("seen", "computed", "memory", "unsure")
        if fact.confidence == "unsure":
            assert fact.handling or (fact.clause, "unsure") in used, name
