"""Sections 4, 7, 8, 10 and 11 in the model: values, special values, marks, statements."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from fractions import Fraction

import pytest

from interchange.model import Code, Measurement, Moment
from tests.formats.scp import plain
from tests.formats.scp.broken import check, read, record, with_section

NOT, REJECTED, NONE = 29999, 29998, 19999


def section_7(
    blocks: Sequence[tuple[int, ...]] = (),
    spikes: Sequence[tuple[int, ...]] = (),
    rr: int = 800,
    pp: int = 790,
    types: Sequence[int] | None = (),
    extra: tuple[int, ...] | None = (75, 76, 430, 1),
) -> bytes:
    body = struct.pack("<BBHH", len(blocks), len(spikes), rr, pp)
    body += b"".join(struct.pack("<HHHHHhhh", *block) for block in blocks)
    body += b"".join(struct.pack("<Hh", *spike[:2]) for spike in spikes)
    body += b"".join(struct.pack("<BBHH", *spike[2:]) for spike in spikes)
    if types is not None:
        body += struct.pack("<H", len(types)) + bytes(types)
        if extra is not None:
            body += struct.pack("<HHHBH", *extra, 0)
    return body


BLOCK = (100, 210, 260, 352, 640, 51, -30, 44)
POSITIONS = (10, "positions of waves that have no place on a representative beat; their intervals were taken")


def measured(body: bytes, **changes: object) -> dict[str, Measurement]:
    data = with_section(7, body, **changes)
    return {m.concept: m for m in read(data).measurements}


def test_clause_5_10_global_measurements() -> None:
    data = with_section(7, section_7([BLOCK]))
    assert check(data) == set()
    assert read(data).measurements == (
        Measurement("rr-interval", 800, "ms"),
        Measurement("pp-interval", 790, "ms"),
        Measurement("p-duration", 110, "ms"),
        Measurement("pr-interval", 160, "ms"),
        Measurement("qrs-duration", 92, "ms"),
        Measurement("qt-interval", 380, "ms"),
        Measurement("p-axis", 51, "deg"),
        Measurement("qrs-axis", -30, "deg"),
        Measurement("t-axis", 44, "deg"),
        Measurement("heart-rate-ventricular", 75, "/min"),
        Measurement("heart-rate-atrial", 76, "/min"),
        Measurement("qtc-bazett", 430, "ms"),
    )


@pytest.mark.parametrize(
    ("formula", "concept"),
    [
        (0, "qtc-interval"),
        (1, "qtc-bazett"),
        (2, "qtc-hodges"),
        (3, "qtc-fridericia"),
        (4, "qtc-framingham"),
        (200, "qtc-interval"),
    ],
)
def test_formulas_of_the_corrected_qt_interval(formula: int, concept: str) -> None:
    assert measured(section_7(extra=(75, 75, 431, formula)))[concept].value == 431


SPECIAL = [
    ((NONE, NONE, 260, 352, 640, NONE, 1, 999), "p-duration", "wave-absent"),
    ((NONE, NONE, 260, 352, 640, NONE, 1, 999), "pr-interval", "wave-absent"),
    ((NONE, NONE, 260, 352, 640, NONE, 1, 999), "p-axis", "wave-absent"),
    ((NONE, NONE, 260, 352, 640, NONE, 1, 999), "t-axis", "undefined"),
    ((100, NOT, 260, NOT, REJECTED, NOT, REJECTED, 0), "p-duration", "not-measured"),
    ((100, NOT, 260, NOT, REJECTED, NOT, REJECTED, 0), "qt-interval", "rejected"),
    ((100, NOT, 260, NOT, REJECTED, NOT, REJECTED, 0), "qrs-axis", "rejected"),
    ((100, NOT, NOT, NOT, NONE, 0, 0, 0), "qt-interval", "wave-absent"),
]


@pytest.mark.parametrize(("block", "concept", "reason"), SPECIAL)
def test_special_values_stay_what_they_mean(block: tuple[int, ...], concept: str, reason: str) -> None:
    found = measured(section_7([block]))[concept]
    assert (found.value, found.absent) == (None, reason)


def test_zero_is_no_interval_and_no_rate() -> None:
    found = measured(section_7(rr=0, pp=0, extra=(0, 0, 0, 1)))
    assert {name: m.absent for name, m in found.items()} == dict.fromkeys(found, "not-measured")


def test_9999_is_read_as_no_value_and_said() -> None:
    data = with_section(7, section_7([(100, 9999, 260, 352, 640, 9999, 0, 0)], rr=9999))
    found = {m.concept: m.absent for m in read(data).measurements}
    assert found["rr-interval"] == found["p-duration"] == found["p-axis"] == "not-measured"
    assert check(data) == {"measurements-9999"}


WRONG = [
    (section_7([(300, 200, 260, 352, 640, 0, 0, 0)]), "measurements-order"),
    (section_7([(100, 200, 260, 352, 640, 0, 270, 0)]), "axis-range"),
    (section_7(extra=(120, 120, 400, 1)), "measurements-rate"),
    (section_7([BLOCK])[:12], "measurements-length"),
    (b"\x01", "measurements-length"),
    (section_7(spikes=[(9000, 100, 0, 0, 0, 0)]), "spike-time"),
    (section_7(spikes=[(10, 100, 2, 1, 9, 0)], types=[0, 0]), "spike-qrs"),
]


@pytest.mark.parametrize(("body", "rule"), WRONG, ids=[entry[1] for entry in WRONG])
def test_rules_of_section_7(body: bytes, rule: str) -> None:
    data = with_section(7, body)
    assert rule in check(data)
    assert read(data).tracings[0].names == ("I", "II")


def test_an_overall_block_that_was_not_counted() -> None:
    body = bytearray(section_7([BLOCK, (90, 200, 250, 340, 630, 1, 2, 3)]))
    body[0] = 1
    data = with_section(7, bytes(body))
    assert check(data) == {"measurements-overall", "measurements-blocks"}
    recording = read(data)
    assert [(m.beat, m.value) for m in recording.measurements if m.concept == "p-duration"] == [(None, 110)]
    what = "measurements of beats that nothing names"
    assert [entry.size for entry in recording.unread if entry.what == what] == [16]


def test_blocks_of_single_complexes_are_listed_not_taken_for_beat_types() -> None:
    data = with_section(7, section_7([BLOCK, BLOCK, BLOCK], types=[0, 0, 0]))
    recording = read(data)
    assert [m.beat for m in recording.measurements if m.concept == "pr-interval"] == [None]
    assert [(e.size, e.what) for e in recording.unread] == [POSITIONS, (32, "measurements of single QRS complexes")]


@pytest.mark.parametrize("types", [None, [0, 1, 0]])
def test_older_sections_end_early(types: list[int] | None) -> None:
    data = with_section(7, section_7([BLOCK], types=types, extra=None))
    assert check(data) == set()
    left = [(3, "beat types of QRS complexes that section 4 does not give")] if types else []
    assert [(e.size, e.what) for e in read(data).unread] == [POSITIONS, *left]


def test_tagged_measurements_are_listed() -> None:
    body = section_7([BLOCK])[:-2] + struct.pack("<H", 6) + bytes((0, 4, 1, 2, 3, 4))
    data = with_section(7, body)
    assert check(data) == set()
    assert [(e.size, e.what) for e in read(data).unread] == [POSITIONS, (6, "tagged measurements")]


def test_pacing_spikes() -> None:
    spikes = [(12, -450, 2, 1, 1, 500), (30, NOT, 255, 0, 0, 0), (34, 90, 1, 2, 0, 250)]
    data = with_section(7, section_7(spikes=spikes, types=[0]))
    marks = read(data).marks
    assert check(data) == set()
    assert [(m.concept, m.tracing, m.start * 1000) for m in marks] == [("pacing-spike", 0, t) for t in (12, 30, 34)]
    first = {m.concept: (m.value, m.unit, m.absent) for m in marks[0].measurements}
    assert first == {
        "pacing-spike-amplitude": (-450, "uV", None),
        "pacing-spike-effect": (2, None, None),
        "pacing-spike-source": (1, None, None),
        "pacing-spike-qrs": (1, "1", None),
        "pacing-spike-width": (500, "us", None),
    }
    second = {m.concept: m.absent for m in marks[1].measurements}
    assert second == {
        "pacing-spike-amplitude": "not-measured",
        "pacing-spike-effect": "not-measured",
        "pacing-spike-source": "unknown",
        "pacing-spike-qrs": "not-applicable",
        "pacing-spike-width": "unknown",
    }


def test_complexes_and_positions_with_a_representative_beat() -> None:
    beat = [0, 5, 30, -9, 1, 0]
    data = plain.encode(
        record(
            zones=[(0, 0, 5, 0), (2, 0, 15, 0)],
            areas=[(4, 6), (14, 16)],
            beats=[beat, beat],
            fiducial=3,
            sections={7: section_7([(2, NOT, 4, 6, 10, 0, 0, 0)], types=[0, 2])},
        )
    )
    assert check(data) == set()
    recording = read(data)
    rhythm, tracing = recording.tracings
    assert rhythm.rate == 500
    assert tracing.kind == "representative beat"
    assert (tracing.fiducial, tracing.of, tracing.beat) == (Fraction(4, 1000), 0, 0)
    marks = [(m.concept, m.tracing, m.start * 1000, dict(m.extras)) for m in recording.marks]
    assert marks == [
        ("beat", 0, 8, {"scp.beat-type": "0"}),
        ("beat", 0, 28, {"scp.beat-type": "2"}),
        ("p-onset", 1, 2, {}),
        ("qrs-onset", 1, 4, {}),
        ("qrs-offset", 1, 6, {}),
        ("t-offset", 1, 10, {}),
    ]


# Section 10 --------------------------------------------------------------------------------------------------------


def lead_values(*leads: tuple[int, list[int]]) -> bytes:
    body = struct.pack("<HH", len(leads), 0)
    for code, values in leads:
        body += struct.pack("<HH", code, 2 * len(values)) + struct.pack(f"<{len(values)}h", *values)
    return body


def test_clause_5_13_5_all_measurements_of_a_lead() -> None:
    data = with_section(10, lead_values((2, [*range(101, 121), 1, 4, *range(123, 126), -1, *range(127, 132)])))
    assert check(data) == set()
    found = read(data).measurements
    assert [(m.concept, m.value, m.unit) for m in found] == [
        ("p-duration", 101, "ms"),
        ("pr-interval", 102, "ms"),
        ("qrs-duration", 103, "ms"),
        ("qt-interval", 104, "ms"),
        ("q-duration", 105, "ms"),
        ("r-duration", 106, "ms"),
        ("s-duration", 107, "ms"),
        ("r-prime-duration", 108, "ms"),
        ("s-prime-duration", 109, "ms"),
        ("q-amplitude", 110, "uV"),
        ("r-amplitude", 111, "uV"),
        ("s-amplitude", 112, "uV"),
        ("r-prime-amplitude", 113, "uV"),
        ("s-prime-amplitude", 114, "uV"),
        ("j-amplitude", 115, "uV"),
        ("p-amplitude-positive", 116, "uV"),
        ("p-amplitude-negative", 117, "uV"),
        ("t-amplitude-positive", 118, "uV"),
        ("t-amplitude-negative", 119, "uV"),
        ("st-slope", 120, "uV/s"),
        ("p-morphology", 1, None),
        ("t-morphology", 4, None),
        ("qrs-onset-isoelectric-duration", 123, "ms"),
        ("qrs-offset-isoelectric-duration", 124, "ms"),
        ("ventricular-activation-time", 125, "ms"),
        ("lead-quality", 0xFFFF, None),
        ("st-amplitude-20", 127, "uV"),
        ("st-amplitude-60", 128, "uV"),
        ("st-amplitude-80", 129, "uV"),
        ("st-amplitude-rr-16", 130, "uV"),
        ("st-amplitude-rr-8", 131, "uV"),
    ]
    assert {m.lead for m in found} == {"II"}


def test_bytes_that_a_public_object_repeats() -> None:
    """Bytes 7, 9 and 11 of a lead block: PR, QRS, QT (code values 5.13.5-7, -9, -11 of the retired scheme)."""
    body = lead_values((1, [0, 7777, 8888, 6666]))
    block = body[4:]
    names = {}
    for m in read(with_section(10, body)).measurements:
        names[m.value] = m.concept
    for byte, concept in ((7, "pr-interval"), (9, "qrs-duration"), (11, "qt-interval")):
        assert names[struct.unpack_from("<h", block, byte - 1)[0]] == concept


def test_special_values_of_a_lead() -> None:
    values = [NONE, NOT, REJECTED, 9999, *[NOT] * 16, 0]
    data = with_section(10, lead_values((1, values)))
    found = {m.concept: (m.value, m.absent) for m in read(data).measurements}
    assert found["p-duration"] == (None, "wave-absent")
    assert found["pr-interval"] == (None, "not-measured")
    assert found["qrs-duration"] == (None, "rejected")
    assert found["qt-interval"] == (None, "not-measured")
    assert found["p-morphology"] == (None, "unknown")
    assert check(data) == {"measurements-9999"}


def test_9999_microvolts_are_a_value() -> None:
    data = with_section(10, lead_values((1, [0] * 9 + [9999])))
    assert read(data).measurements[-1] == Measurement("q-amplitude", 9999, "uV", "I")
    assert check(data) == set()


LEADS = [
    (lead_values((1, [1, 2]))[:7], "lead-block-length"),
    (lead_values((1, [1, 2]))[:-2], "lead-block-length"),
    (b"\x01", "lead-block-length"),
    (lead_values((5, [1])), "lead-block-code"),
    (lead_values((1, [1])) + b"more", "lead-block-spare"),
]


@pytest.mark.parametrize(("body", "rule"), LEADS)
def test_rules_of_section_10(body: bytes, rule: str) -> None:
    assert rule in check(with_section(10, body))


# Sections 8 and 11 -------------------------------------------------------------------------------------------------


def report(flag: int, texts: list[bytes], when: tuple[int, ...] = (2024, 3, 18, 6, 43, 5)) -> bytes:
    body = struct.pack("<BHBBBBBB", flag, *when, len(texts))
    return body + b"".join(struct.pack("<BH", n, len(t) + 1) + t + b"\0" for n, t in enumerate(texts, 1))


def coded(flag: int, entries: list[tuple[int, bytes]], counts_type: bool = True) -> bytes:
    body = struct.pack("<BHBBBBBB", flag, 2024, 3, 18, 6, 43, 5, len(entries))
    for number, (kind, text) in enumerate(entries, 1):
        body += struct.pack("<BHB", number, len(text) + 1 + counts_type, kind) + text + b"\0"
    return body


@pytest.mark.parametrize(
    ("flag", "confirmed", "overread"), [(0, False, None), (1, True, None), (2, False, True), (7, None, None)]
)
def test_clause_5_11_a_report(flag: int, confirmed: bool | None, overread: bool | None) -> None:
    data = with_section(8, report(flag, [b"Sinus rhythm", b"Normal ECG"]))
    found = read(data).statements
    assert [s.text for s in found] == ["Sinus rhythm", "Normal ECG"]
    assert {(s.confirmed, s.overread) for s in found} == {(confirmed, overread)}
    assert {s.time for s in found} == {Moment(2024, 3, 18, 6, 43, Fraction(5))}
    assert {s.author_kind for s in found} == {None}
    assert check(data) == ({"report-flag"} if flag > 2 else set())


def test_coded_statements() -> None:
    data = with_section(11, coded(0, [(1, b"AFIB"), (1, b"IMI\0ACUTE"), (2, b"in words"), (3, b"1 AND 2")]))
    recording = read(data)
    assert check(data) == set()
    assert [(s.text, [c.value for c in s.codes]) for s in recording.statements] == [
        ("atrial fibrillation", ["AFIB"]),
        ("IMI ACUTE", ["IMI", "ACUTE"]),
        ("in words", []),
    ]
    assert recording.statements[1].codes[0] == Code("IMI", "SCPECG 5.14", "inferior myocardial infarction")
    assert [e.what for e in recording.unread] == ["statement logic"]


def test_coded_statements_stand_beside_the_words() -> None:
    sections = {8: report(1, [b"Atrial fibrillation"]), 11: coded(0, [(1, b"AFIB")])}
    data = plain.encode(record(sections=sections))
    found = read(data).statements
    assert [(s.group, s.confirmed) for s in found] == [(0, True), (1, False)]
    assert check(data) == {"reports-differ"}


def test_lengths_of_coded_statements_that_leave_out_the_type() -> None:
    data = with_section(11, coded(0, [(1, b"AFIB"), (1, b"LAFB")], counts_type=False))
    assert check(data) == {"statement-length"}
    assert [s.codes[0].value for s in read(data).statements] == ["AFIB", "LAFB"]


STATEMENTS = [
    (8, report(0, [b"one"])[:-3], "report-length"),
    (8, b"\0\1", "report-length"),
    (8, report(0, [b"one"]) + b"more", "report-spare"),
    (8, report(0, [b"one"], (2031, 13, 1, 0, 0, 0)), "report-date"),
    (8, report(0, [b"one"], (2031, 1, 1, 25, 0, 0)), "report-date"),
    (8, report(0, [b"one"]).replace(b"\x01\x04\0one", b"\x05\x04\0one"), "report-sequence"),
    (11, coded(0, [(9, b"what")]), "statement-type"),
]


@pytest.mark.parametrize(("number", "body", "rule"), STATEMENTS)
def test_rules_of_statements(number: int, body: bytes, rule: str) -> None:
    data = with_section(number, body)
    assert rule in check(data)
    assert read(data).tracings[0].names == ("I", "II")


def test_a_report_without_a_date() -> None:
    data = with_section(8, report(0, [b"one"], (0, 0, 0, 0, 0, 0)))
    assert read(data).statements[0].time is None
    assert check(data) == set()


def test_a_makers_own_interpretation_is_listed() -> None:
    data = with_section(9, b"their own words")
    assert [(e.what, e.size) for e in read(data).unread] == [("a manufacturer's interpretation", 32)]
    assert check(data) == set()
