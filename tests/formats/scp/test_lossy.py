"""Subtraction and bimodal data in the model: what is marked, what is missing, what is refused."""

from __future__ import annotations

import struct
from fractions import Fraction

import pytest

from interchange.compare import compare_recordings
from interchange.errors import SourceError
from interchange.formats import load
from interchange.sources import Source
from tests.formats.scp import plain
from tests.formats.scp.broken import OTHER, WAVE, check, patched, read, record, rules

SCP = load("scp")
BEAT = {"areas": [(3, 8)], "beats": [[1, 50, 90, 2]] * 2, "fiducial": 2}


def subtracted(*zones: tuple[int, int, int, int], **changes: object) -> bytes:
    return plain.encode(record(zones=list(zones), subtracted=True, **{**BEAT, **changes}))


def test_subtraction_without_loss_is_as_recorded() -> None:
    rhythm, beat = read(subtracted((0, 4, 5, 7))).tracings
    assert {channel.origin for channel in (*rhythm.channels, *beat.channels)} == {"recorded"}
    assert rhythm.samples[0].tolist() == [x + {4: 1, 5: 50, 6: 90, 7: 2}.get(n, 0) for n, x in enumerate(WAVE, 1)]


@pytest.mark.parametrize(
    ("changes", "how"),
    [({"step": 5000}, "requantised"), ({"factor": 2}, "bimodal"), ({"factor": 4, "step": 5000}, "bimodal")],
)
def test_samples_that_are_not_what_was_recorded_are_marked(changes: dict, how: str) -> None:
    recording = read(subtracted((0, 4, 5, 7), **changes))
    rhythm, beat = recording.tracings
    assert rhythm.rate == beat.rate == 500
    assert {(c.origin, c.extras) for c in rhythm.channels} == {("reconstructed", (("scp.compression", how),))}
    assert {c.origin for c in beat.channels} == {"recorded"}
    assert rhythm.channels[0].step == 1


def test_a_reconstruction_stays_one_when_it_is_written() -> None:
    recording = read(subtracted((0, 4, 5, 7), factor=2))
    made = SCP.encode(recording, "again", {"coding": "plain"})
    back = SCP.read(Source(made.main[1], made.main[0], files=dict(made.files)))
    assert compare_recordings(recording, back).differences == ()
    bodies = plain.sections_of(made.main[1])
    assert bodies[3][1] & 1 == 0
    assert bodies[6][5] == 0


NONSENSE = [(0, 9, 5, 7), (0, 4, 12, 7), (0, 0, 0, 9), (0, 6, 4, 5)]


@pytest.mark.parametrize("zone", NONSENSE)
def test_where_a_zone_makes_no_sense_the_samples_are_missing(zone: tuple[int, int, int, int]) -> None:
    data = subtracted(zone, (0, 15, 16, 18))
    assert "zone-range" in check(data)
    rhythm = read(data).tracings[0]
    gone = [n for n, missing in enumerate(rhythm.missing[0], 1) if missing]
    assert set(range(max(zone[2] - 1, 1), zone[2] + 3)) <= set(gone)
    assert not set(gone) & {15, 16, 17, 18, 19, 20}
    assert rhythm.samples[0, 15] == WAVE[15] + 50


def test_nothing_is_added_for_beats_of_other_types_or_without_a_zone() -> None:
    for zone in ((1, 0, 5, 0), (1, 1, 5, 1), (3, 4, 5, 7), (0, 0, 5, 0), (0, 1, 5, 1)):
        rhythm = read(subtracted(zone, (0, 15, 16, 18))).tracings[0]
        assert rhythm.samples[0, :14].tolist() == WAVE[:14], zone


def test_zones_at_the_ends_of_the_recording() -> None:
    rhythm = read(subtracted((0, 1, 1, 3), (0, 18, 19, 20))).tracings[0]
    added = [a - b for a, b in zip(rhythm.samples[0].tolist(), WAVE, strict=True)]
    assert added == [50, 90, 2] + [0] * 14 + [1, 50, 90]


def test_overlapping_zones_are_added_twice_and_said() -> None:
    data = subtracted((0, 4, 5, 7), (0, 6, 7, 9), areas=[(3, 5), (6, 9)])
    assert check(data) == {"zone-overlap"}
    added = [a - b for a, b in zip(read(data).tracings[0].samples[0].tolist(), WAVE, strict=True)]
    assert added[3:9] == [1, 50, 91, 52, 90, 2]


MISSING = {
    "no sections 4 and 5": lambda: plain.encode(record(subtracted=True)),
    "no section 5": lambda: plain.encode(record(subtracted=True, zones=[(0, 4, 5, 7)], areas=[(3, 8)])),
    "another interval": lambda: patched(subtracted((0, 4, 5, 7)), 5, 2, struct.pack("<H", 4000)),
    "bimodal alone": lambda: patched(plain.encode(record()), 6, 5, b"\1"),
    "bimodal without a reference beat": lambda: plain.encode(record(zones=[(1, 0, 5, 0)], areas=[(3, 8)], factor=2)),
    "a factor of 17": lambda: patched(subtracted((0, 4, 5, 7), factor=2), 6, 2, struct.pack("<H", 34000)),
    "an interval that is no multiple": lambda: patched(
        subtracted((0, 4, 5, 7), factor=2), 6, 2, struct.pack("<H", 5000)
    ),
}


@pytest.mark.parametrize("case", MISSING)
def test_without_what_is_needed_the_rhythm_is_not_shown(case: str) -> None:
    data = MISSING[case]()
    assert check(data) & {"subtraction-incomplete", "bimodal-incomplete"}
    with pytest.raises(SourceError) as error:
        read(data)
    assert "cannot be decoded" in error.value.reason


def test_a_lead_whose_reference_beat_is_damaged_is_missing_and_the_other_is_not() -> None:
    made = record(zones=[(0, 4, 5, 7)], subtracted=True, tables=[plain.DEFAULT_CODES], **BEAT)
    data = plain.encode(made)
    size = struct.unpack_from("<H", plain.sections_of(data)[5], 6)[0]
    broken = patched(data, 5, 6 + 4, b"\xff" * size)
    rhythm, beat = read(broken).tracings
    assert rhythm.missing[0].all()
    assert beat.missing[0].all()
    assert rhythm.samples[1].tolist() == [x + {4: 1, 5: 50, 6: 90, 7: 2}.get(n, 0) for n, x in enumerate(OTHER, 1)]
    assert {"lead-ends-early", "subtraction-incomplete"} <= check(broken)


def test_without_section_4_the_length_of_a_beat_follows_from_its_bytes() -> None:
    made = record(beats=[[5, 9, 3], [1, 0, 0]], tables=[plain.DEFAULT_CODES])
    data = bytearray(plain.encode(made))
    struct.pack_into("<II", data, 22 + 40 + 2, 0, 0)
    recording = read(bytes(data))
    beat = recording.tracings[1]
    assert beat.samples[0, :3].tolist() == [5, 9, 3]
    assert "beat-count" in rules(recording.findings)
    assert beat.fiducial is None


def test_a_reference_beat_alone() -> None:
    data = bytearray(plain.encode(record(beats=[[5, 9, 3], [1, 0, 0]], fiducial=2)))
    struct.pack_into("<II", data, 22 + 60 + 2, 0, 0)
    recording = read(bytes(data))
    (beat,) = recording.tracings
    assert (beat.kind, beat.of, beat.fiducial) == ("representative beat", None, Fraction(2, 1000))
    assert "rhythm-missing" in rules(recording.findings)


def test_a_record_without_any_tracing_is_a_recording_without_one() -> None:
    data = bytearray(plain.encode(record()))
    struct.pack_into("<II", data, 22 + 60 + 2, 0, 0)
    recording = read(bytes(data))
    assert recording.tracings == ()
    assert recording.patient.ids[0].value == "PL-1"
    assert "rhythm-missing" in rules(recording.findings)
