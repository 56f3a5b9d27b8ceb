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
from tests.formats.scp.test_writer import again, bodies, differences, encoded, recording, rhythm

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
    beat = rhythm(
        [[0, 9, 40, -3, 1]] * 2, "V1 I", kind="representative beat", of=0, fiducial=Fraction(4, 1000), beat=0
    )
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
