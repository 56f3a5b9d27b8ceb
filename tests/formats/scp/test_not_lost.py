"""What lies in a corner of a record or of the model, and is neither guessed nor left in silence."""

from __future__ import annotations

import struct
from fractions import Fraction

import numpy as np
import pytest

from interchange.model import Channel, Measurement, Recording, Tracing
from tests.formats.scp import plain
from tests.formats.scp.broken import check, patched, place_of, read, record, with_section
from tests.formats.scp.test_measured import BLOCK, NONE, NOT, coded, lead_values, report, section_7
from tests.formats.scp.test_writer import again, bodies, differences, encoded, recording, rhythm, tags

FOUR = [(1, 1, [1, 2, 3]), (0, 1, [4, 5, 6]), (0, 1, [7, 8, 9]), (2, 1, [0, 0, 1])]
"""Leads of which two have no code."""


def left(found: Recording, data: bytes) -> list[tuple[int, int, int]]:
    """Section, offset in its body, and size of what was not taken over."""
    entries = []
    for entry in found.unread:
        section, offset = (int(part.split()[1]) for part in entry.place.split(", "))
        entries.append((section, offset - place_of(data, section) - 16, entry.size))
    return entries


BOTH = pytest.mark.parametrize("coding", ["plain", "huffman"])


# Gaps that the writer meets ----------------------------------------------------------------------------------------


@BOTH
@pytest.mark.parametrize("filler", [0, 5, -(2**31), 2**31 - 1])
def test_a_gap_is_0_microvolts_whatever_the_source_keeps_there(coding: str, filler: int) -> None:
    channels = (Channel("I", "uV", Fraction(2), Fraction(7)), Channel("II", "uV", Fraction(2)))
    samples = np.array([[1, -3, filler, filler, 9], [4, 0, 5, 6, -1]])
    missing = np.array([[False, False, True, True, False], [False] * 5])
    source = recording(Tracing(channels, samples, Fraction(500), missing=missing))
    assert plain.decode(encoded(source, coding).main[1]).leads == [
        (1, 1, [9000, 1000, 0, 0, 25000]),
        (2, 1, [8000, 0, 10000, 12000, -2000]),
    ]
    assert [note.path for note in encoded(source, coding).notes if note.kind == "changed"] == ["tracings[0].missing"]


@BOTH
def test_a_gap_has_no_part_in_the_choice_of_the_step(coding: str) -> None:
    missing = np.array([[False, True, False]])
    third = recording(rhythm([[3, 1, 30000]], step=Fraction(1, 3), missing=missing))
    found = bodies(third, coding)[6]
    assert int.from_bytes(found[:2], "little") == 1000
    assert plain.decode(encoded(third, coding).main[1]).leads == [(1, 1, [1000, 0, 10_000_000])]


@BOTH
def test_a_gap_of_a_representative_beat_is_0_and_said(coding: str) -> None:
    channel = Channel("I", "uV", Fraction(1), Fraction(-40))
    missing = np.array([[True, False, False, True, False]])
    beat = Tracing(
        (channel,), np.array([[9, 50, 60, 9, 41]]), Fraction(500), missing=missing, kind="representative beat", of=0
    )
    source = recording(rhythm([list(range(20))], "I"), beat)
    made = encoded(source, coding)
    assert plain.decode(made.main[1]).beats == [[0, 10000, 20000, 0, 1000]]
    assert [note.path for note in made.notes if note.kind == "changed"] == ["tracings[1].missing"]


# Section 10: whose measurements ------------------------------------------------------------------------------------


def test_blocks_of_one_code_belong_to_its_leads_in_order() -> None:
    body = lead_values((1, [100]), (0, [101]), (2, [103]), (0, [102]))
    data = plain.encode(record(leads=FOUR, sections={10: body}))
    found = read(data)
    assert found.tracings[0].names == ("I", "lead 2", "lead 3", "II")
    assert {m.lead: m.value for m in found.measurements} == {"I": 100, "lead 2": 101, "II": 103, "lead 3": 102}
    assert check(data) == set()
    assert found.unread == ()


def test_blocks_of_no_lead_are_listed_and_given_to_none() -> None:
    body = lead_values((0, [101, 5]), (0, [102]), (0, [103]), (5, [104, 7, 8]), (1, [100]), (1, [99]))
    data = plain.encode(record(leads=FOUR, sections={10: body}))
    found = read(data)
    assert {(m.lead, m.value) for m in found.measurements if m.concept == "p-duration"} == {
        ("lead 2", 101),
        ("lead 3", 102),
        ("I", 100),
    }
    assert left(found, data) == [(10, 4 + 8 + 6, 6), (10, 4 + 8 + 6 + 6, 10), (10, 4 + 8 + 6 + 6 + 10 + 6, 6)]
    assert len([f for f in found.findings if f.rule == "scp.lead-block-code"]) == 3


def test_measurements_of_leads_that_share_a_code_come_back_to_theirs() -> None:
    channels = tuple(Channel(name) for name in ("aVR", "AVR", "II", "custom a", "custom b"))
    measurements = (
        Measurement("r-amplitude", 800, "uV", "AVR"),
        Measurement("r-amplitude", 810, "uV", "custom b"),
        Measurement("r-amplitude", 820, "uV", "II"),
    )
    source = recording(Tracing(channels, np.array([[1, 2]] * 5), Fraction(500)), measurements=measurements)
    assert differences(source) == []
    assert sorted(again(source).measurements, key=str) == sorted(measurements, key=str)


def test_bytes_of_section_10_that_are_no_measurements() -> None:
    body = bytearray(lead_values((1, [100, 101])))
    body[2:4] = b"\x4d\0"
    body[6] = 5
    body += b"\x09"
    data = with_section(10, bytes(body))
    found = read(data)
    assert left(found, data) == [(10, 2, 2), (10, 4 + 4 + 4, 1)]
    assert [m.value for m in found.measurements] == [100, 101]
    places = [f.place for f in found.findings if f.rule == "scp.lead-block-long"]
    assert places == [f"section 10, offset {place_of(data, 10) + 16 + 12}"]


# A representative beat of some leads -------------------------------------------------------------------------------


@BOTH
def test_a_beat_of_some_leads_takes_a_file_of_its_own(coding: str) -> None:
    """Section 4 says one length for all leads of section 5: a lead without a beat cannot be in it."""
    beat = rhythm([[0, 9, 40, -3, 1]] * 2, "V1 I", kind="representative beat", of=0, fiducial=Fraction(4, 1000), beat=0)
    source = recording(rhythm([list(range(60))] * 3, "I II V1"), beat)
    made = dict(encoded(source, coding).files)
    assert set(made) == {"record.scp", "record-2.scp"}
    assert not {4, 5} & set(plain.sections_of(made["record.scp"]))
    further = plain.sections_of(made["record-2.scp"])
    assert struct.unpack_from("<H", further[4])[0] == 10
    assert further[3][0] == 2
    sizes = struct.unpack_from("<HH", further[5], 6)
    assert 0 not in sizes
    if coding == "plain":
        assert sizes == (10, 10)
        assert struct.unpack_from("<10h", further[5], 10) == (0, 9, 40, -3, 1) * 2
    assert differences(source, coding) == []


@BOTH
def test_every_lead_of_section_5_has_the_samples_that_section_4_says(coding: str) -> None:
    beat = rhythm([[0, 9, 40, -3, 1], [5, 6, 7, 8, 9]], "II I", kind="representative beat", of=0, beat=0)
    made = encoded(recording(rhythm([list(range(60))] * 2, "I II"), beat), coding)
    assert [name for name, _ in made.files] == ["record.scp"]
    found = plain.decode(made.main[1])
    assert found.beats == [[5000, 6000, 7000, 8000, 9000], [0, 9000, 40000, -3000, 1000]]
    assert struct.unpack_from("<H", plain.sections_of(made.main[1])[4])[0] == 10


# Section 1 ---------------------------------------------------------------------------------------------------------


def with_tags(*more: tuple[int, bytes], drop: tuple[int, ...] = ()) -> bytes:
    kept = [entry for entry in plain.plain_tags() if entry[0] not in drop]
    return plain.encode(record(tags=[*kept, *more]))


def mains(code: int) -> bytes:
    value = bytearray(plain.device())
    value[18] = code
    return bytes(value)


def test_both_electrode_placements_come_back() -> None:
    found = read(with_tags((33, b"\1\2")))
    assert dict(found.acquisition.extras) == {"scp.electrodes-xyz": "2"}
    assert tags(found)[33] == [b"\1\2"]
    assert again(found).acquisition == found.acquisition
    assert dict(read(with_tags((33, b"\0\2"))).acquisition.extras) == {}
    assert dict(read(with_tags((33, b"\1\0"))).acquisition.extras) == {}


def test_a_sex_that_is_not_specified_is_neither_unknown_nor_unsaid() -> None:
    found = {code: read(with_tags((8, bytes((code,))))).patient for code in (0, 9)}
    unsaid = read(plain.encode(record())).patient
    assert found[9] not in (found[0], unsaid)
    assert found[9].sex is None
    source = read(with_tags((8, b"\x09")))
    assert tags(source)[8] == [b"\x09"]
    assert again(source).patient == source.patient


@pytest.mark.parametrize(("acquiring", "analysing"), [(0, 2), (1, 2), (2, 1)])
def test_mains_that_only_the_analysing_device_gives(acquiring: int, analysing: int) -> None:
    source = read(with_tags((14, mains(acquiring)), (15, mains(analysing)), drop=(14,)))
    assert source.acquisition.mains == {0: None, 1: 50, 2: 60}[acquiring]
    written = tags(source)
    assert (written[14][0][18], written[15][0][18]) == (acquiring, analysing)
    assert again(source).acquisition == source.acquisition


def test_an_empty_field_is_not_the_one_that_was_taken() -> None:
    for empty in (b"", b"\0"):
        found = read(with_tags((0, empty), (0, b"Quill\0")))
        assert found.patient.name is not None
        assert found.patient.name.family == "Quill"
        assert found.unread == ()
    found = read(with_tags((0, b"Quill\0"), (0, b"Moor\0")))
    assert [entry.what for entry in found.unread] == ["last name once more (tag 0)"]


@pytest.mark.parametrize("number", [5, 25])
def test_a_year_without_month_and_day(number: int) -> None:
    year = struct.pack("<HBB", 2023, 0, 0)
    found = read(with_tags((number, year), drop=(number,)))
    whats = [entry.what for entry in found.unread]
    if number == 5:
        assert found.patient.birth_date is not None
        assert (found.patient.birth_date.year, whats) == (2023, [])
    else:
        assert [entry.size for entry in found.unread] == [7]
        assert whats[0].startswith("date of acquisition")


def test_races_outside_the_table_are_said() -> None:
    broken = {code: check(with_tags((9, bytes((code,))))) for code in (0, 3, 4, 9, 10, 255)}
    assert broken == {0: set(), 3: set(), 4: {"code-range"}, 9: {"code-range"}, 10: set(), 255: set()}


# Section 4 ---------------------------------------------------------------------------------------------------------


def four(zones: list[tuple[int, ...]], areas: list[tuple[int, int]], length: int = 0, fiducial: int = 0) -> bytes:
    body = struct.pack("<HHH", length, fiducial, len(zones)) + b"".join(struct.pack("<HIII", *z) for z in zones)
    return body + b"".join(struct.pack("<II", *area) for area in areas)


def test_zones_and_areas_that_no_coding_uses() -> None:
    quiet = with_section(4, four([(0, 0, 5, 0), (0, 1, 15, 1)], [(5, 5), (0, 0)]))
    assert read(quiet).unread == ()
    data = with_section(4, four([(0, 0, 5, 0), (0, 13, 15, 18)], [(4, 6), (15, 15)]))
    found = read(data)
    assert len(found.marks) == 2
    assert left(found, data) == [(4, 6 + 14 + 2, 8), (4, 6 + 28, 8)]


def test_zones_and_areas_that_a_coding_uses_are_not_left() -> None:
    beat = [0, 5, 30, -9, 1, 0]
    changes = {"zones": [(0, 3, 5, 8)], "areas": [(4, 6)], "beats": [beat, beat], "fiducial": 3, "subtracted": True}
    assert read(plain.encode(record(**changes))).unread == ()


def test_length_and_fiducial_of_a_beat_that_is_not_there() -> None:
    data = with_section(4, four([(0, 0, 5, 0)], [(5, 5)], 12, 3))
    assert left(read(data), data) == [(4, 0, 4)]


# Section 7 ---------------------------------------------------------------------------------------------------------


def with_beat(body: bytes) -> bytes:
    """A record with a reference beat of 20 ms (10 samples) and that section 7."""
    beats = [[0, 5, 30, -9, 1, 0, 2, 3, 1, 0]] * 2
    return plain.encode(record(zones=[(0, 0, 5, 0)], areas=[(5, 5)], beats=beats, fiducial=3, sections={7: body}))


def test_positions_on_the_beat_are_marks_and_those_beyond_it_are_listed() -> None:
    on = with_beat(section_7([(2, NONE, 4, 20, NOT, 0, 0, 0)], types=[0]))
    assert [mark.start * 1000 for mark in read(on).marks if mark.tracing == 1] == [2, 4, 20]
    assert read(on).unread == ()
    beyond = with_beat(section_7([(2, NONE, 4, 21, NOT, 0, 0, 0)], types=[0]))
    assert left(read(beyond), beyond) == [(7, 6, 10)]


def test_positions_without_a_beat_are_listed() -> None:
    data = with_section(7, section_7([BLOCK]))
    assert left(read(data), data) == [(7, 6, 10)]
    nothing = with_section(7, section_7([(NOT, NONE, NOT, NOT, NOT, 1, 2, 3)]))
    assert read(nothing).unread == ()


def test_our_own_positions_are_nothing_that_was_left() -> None:
    for measurements in ((Measurement("qrs-duration", 92, "ms"),), (Measurement("qrs-axis", 30, "deg"),)):
        source = recording(rhythm([[1, 2, 3]]), measurements=measurements)
        assert again(source).unread == ()
        assert differences(source) == []


def test_beat_types_that_section_4_does_not_give() -> None:
    spikes = [(5, 9, 1, 1, 1, 0)]
    data = with_section(7, section_7([], spikes, types=[0, 1, 0]))
    assert left(read(data), data) == [(7, 6 + 4 + 6 + 2, 3)]
    assert read(with_section(7, section_7([], spikes, types=[0, 0, 0]))).unread == ()
    zones = [(0, 0, 5, 0), (2, 0, 15, 0)]
    for types, entries in (([0, 2], []), ([0, 1], [(7, 8, 2)])):
        sections = {4: four(zones, [(5, 5), (15, 15)]), 7: section_7([], types=types)}
        data = plain.encode(record(sections=sections))
        assert left(read(data), data) == entries


@pytest.mark.parametrize(
    ("extra", "entries"),
    [
        ((75, 76, 430, 1), []),
        ((75, 76, 430, 0), []),
        ((75, 76, NOT, 255), []),
        ((75, 76, 0, 255), []),
        ((75, 76, 430, 255), [(7, 6 + 2 + 4, 2)]),
        ((75, 76, 430, 128), [(7, 6 + 2 + 6, 1)]),
        ((75, 76, 430, 254), [(7, 6 + 2 + 6, 1)]),
    ],
)
def test_formulas_of_the_corrected_qt_interval(extra: tuple[int, ...], entries: list[tuple[int, int, int]]) -> None:
    data = with_section(7, section_7(extra=extra))
    assert left(read(data), data) == entries


@pytest.mark.parametrize(("kind", "source", "is_said"), [(3, 2, False), (128, 0, False), (255, 1, False), (0, 3, True)])
def test_codes_of_spikes(kind: int, source: int, is_said: bool) -> None:
    data = with_section(7, section_7(spikes=[(5, 9, kind, source, 0, 0)]))
    assert ("spike-code" in check(data)) is is_said
    assert ("spike-code" in check(patched(data, 7, 6 + 4, b"\x7f"))) is True


@pytest.mark.parametrize(("code", "is_said"), [(0, False), (8, False), (9, True), (-1, True), (NOT, False)])
def test_codes_of_forms_of_waves(code: int, is_said: bool) -> None:
    for place in (20, 21):
        assert ("morphology-code" in check(with_section(10, lead_values((1, [*[NOT] * place, code]))))) is is_said


# Sections 8 and 11 -------------------------------------------------------------------------------------------------


def test_a_report_without_statements() -> None:
    for number in (8, 11):
        data = with_section(number, report(1, []))
        assert left(read(data), data) == [(number, 0, 8)]
        nothing = with_section(number, report(0, [], (0, 0, 0, 0, 0, 0)))
        assert read(nothing).unread == ()


def test_statement_logic_alone_is_no_statement() -> None:
    data = with_section(11, coded(1, [(3, b"1&2")]))
    assert left(read(data), data) == [(11, 0, 8), (11, 9, 7)]


def test_a_time_of_day_without_a_date_of_a_report_comes_back() -> None:
    source = read(with_section(8, report(0, [b"one"], (0, 0, 0, 6, 43, 5))))
    time = source.statements[0].time
    assert time is not None
    assert (time.year, time.hour, time.minute, time.second) == (None, 6, 43, 5)
    assert bodies(source)[8][:8] == bytes((0, 0, 0, 0, 0, 6, 43, 5))
    assert again(source).statements == source.statements


def test_codes_of_a_number_that_the_report_does_not_have() -> None:
    said = (30, b"[interchange 1]\nscp.codes: by number\0")
    sections = {8: report(1, [b"one"]), 11: coded(1, [(1, b"SR"), (1, b"AMI")])}
    data = plain.encode(record(tags=[*plain.plain_tags(), said], sections=sections))
    found = read(data)
    assert [[code.value for code in statement.codes] for statement in found.statements] == [["SR"]]
    assert left(found, data) == [(11, 9 + 3 + 4, 7)]
