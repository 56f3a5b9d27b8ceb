"""All ordered pairs of formats: a file of the one goes into the other, and the receipt tells the truth."""

from __future__ import annotations

from pathlib import Path

import pytest

import interchange
from interchange.compare import compare_recordings
from tests.contract.conftest import Written
from tests.contract.support import (
    NAMES,
    PAIR_NAMES,
    PAIRS,
    SAMPLES,
    SCENARIO,
    SUFFIX,
    check_receipt,
    hand_over,
    sample,
    sample_errors,
    snapshot,
)

pairs = pytest.mark.parametrize(("source", "target"), PAIRS, ids=PAIR_NAMES)
samples = pytest.mark.parametrize("name", SAMPLES)
exact = pytest.mark.parametrize("name", [*SCENARIO, "00841_hr", "00841_lr"])


@samples
@pytest.mark.parametrize("format", NAMES)
def test_a_recording_is_written_and_its_receipt_is_true(name: str, format: str, written: Written) -> None:
    check_receipt(sample(name), written(name, format))


@samples
@pairs
def test_a_file_goes_into_the_other_format_and_the_receipt_is_true(
    name: str, source: str, target: str, written: Written, tmp_path: Path
) -> None:
    recording = interchange.read(written(name, source).path)
    before = snapshot(recording)
    handed = hand_over(recording, target, tmp_path)
    assert snapshot(recording) == before, "the recording was changed by writing it"
    check_receipt(recording, handed)
    for place, error, half_step in sample_errors(recording, handed.back):
        assert error <= half_step, place


@exact
@pairs
def test_samples_that_every_format_can_hold_arrive_as_they_were(
    name: str, source: str, target: str, written: Written, tmp_path: Path
) -> None:
    """5 or 1 microvolts per count, 500 or 100 samples a second: each of the formats has room for that."""
    path = tmp_path / f"there{SUFFIX[target]}"
    receipt = interchange.convert(written(name, source).path, path, format=target)
    assert receipt.samples_identical
    assert (receipt.sample_error, receipt.time_error) == (0, 0)
    there = interchange.read(path)
    back_path = tmp_path / f"back{SUFFIX[source]}"
    interchange.convert(path, back_path, format=source)
    back = interchange.read(back_path)
    digests = sorted(t.digest for t in sample(name).tracings)
    assert sorted(t.digest for t in there.tracings) == digests
    assert sorted(t.digest for t in back.tracings) == digests


@pytest.mark.parametrize("name", SCENARIO)
@pairs
def test_what_a_cardiologist_reads_arrives(
    name: str, source: str, target: str, written: Written, tmp_path: Path
) -> None:
    """Of the field scenario the identity, the instant, the measurements and the statements differ nowhere."""
    path = tmp_path / f"there{SUFFIX[target]}"
    interchange.convert(written(name, source).path, path, format=target)
    there, first = interchange.read(path), sample(name)
    assert there.patient.ids[:1] == first.patient.ids[:1]
    assert there.patient.name == first.patient.name
    assert (there.patient.birth_date, there.patient.age, there.patient.sex) == (
        first.patient.birth_date,
        first.patient.age,
        first.patient.sex,
    )
    assert there.acquisition.time == first.acquisition.time

    def told(recording: interchange.Recording) -> list[tuple[object, ...]]:
        return sorted((m.concept, m.lead or "", m.value, m.unit) for m in recording.measurements)

    assert told(there) == told(first)
    assert [(s.text, s.confirmed) for s in there.statements] == [(s.text, s.confirmed) for s in first.statements]


@samples
@pytest.mark.parametrize("format", NAMES)
def test_the_same_recording_makes_the_same_bytes(name: str, format: str, written: Written, tmp_path: Path) -> None:
    first = written(name, format)
    again = hand_over(sample(name), format, tmp_path, name)
    one, two = (
        {path.name: path.read_bytes() for path in sorted(folder.iterdir())} for folder in (first.path.parent, tmp_path)
    )
    assert one == two
    assert again.receipt.changed == first.receipt.changed


@samples
@pytest.mark.parametrize("format", NAMES)
def test_what_came_back_goes_and_comes_back_the_same(name: str, format: str, written: Written, tmp_path: Path) -> None:
    """Once in a format, a recording stays as it is there (a new document has an id of its own)."""
    first = written(name, format).back
    second = hand_over(first, format, tmp_path).back
    left_over = [d for d in compare_recordings(first, second).differences if not d.path.startswith("document_id")]
    assert left_over == []


@pytest.mark.parametrize("name", [*SCENARIO, "everything"])
@pytest.mark.parametrize("format", NAMES)
def test_a_file_of_our_own_is_conformant_and_wholly_understood(name: str, format: str, written: Written) -> None:
    handed = written(name, format)
    assert handed.back.format == format
    assert [f for f in handed.back.findings if f.severity != "note"] == []
    assert handed.back.unread == ()
    report = interchange.check(handed.path)
    assert [f for f in report.findings if f.severity == "error" and f.rule.startswith(format)] == []
