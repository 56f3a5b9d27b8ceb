"""``compare``: the same is 0, a difference is 1 and is said, samples before words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import interchange
from fixtures.field import twelve_leads
from interchange.cli.compare import comparison_document, comparison_text
from interchange.compare import compare_recordings
from interchange.model import Channel, Identifier, Moment, Recording, Tracing
from tests.cli.schemas import errors_in


@pytest.fixture
def changed(tmp_path: Path):
    """Write a changed copy of the twelve-lead record; its path."""

    def make(recording: Recording) -> Path:
        target = tmp_path / "changed.hea"
        interchange.write(recording, target)
        return target

    return make


def with_samples(samples: np.ndarray) -> Recording:
    recording = twelve_leads()
    return recording.with_(tracings=(replace(recording.tracings[0], samples=samples),))


def test_a_recording_is_the_same_as_itself(cli, twelve: Path) -> None:
    done = cli("compare", twelve, twelve)
    assert (done.status, done.err) == (0, "")
    assert "The same: no field differs.\nSamples identical" in done.out
    answer = cli("compare", twelve, twelve, "--json")
    assert answer.status == 0
    assert (answer.document["same"], answer.document["samples_identical"]) == (True, True)
    assert answer.document["differences"] == []
    assert errors_in(answer.document) == []


def test_another_name_is_one_difference_and_the_samples_are_identical(cli, twelve: Path, changed) -> None:
    recording = twelve_leads()
    patient = replace(recording.patient, ids=(Identifier("NH-1", issuer="2.999.417.1"),))
    other = changed(recording.with_(patient=patient))
    done = cli("compare", twelve, other)
    assert done.status == 1
    assert "1 difference.\nSamples identical" in done.out
    assert "Different:\n  id of the patient: NH-204417 | NH-1  [identity]" in done.out
    document = cli("compare", twelve, other, "--json").document
    assert errors_in(document) == []
    assert document["differences"] == [
        {"path": "patient.ids[0].value", "kind": "different", "first": "NH-204417", "second": "NH-1",
         "protected": "identity"},
    ]  # fmt: skip
    assert document["first"]["digests"] == document["second"]["digests"]


def test_one_moved_sample_is_found_and_measured(cli, twelve: Path, changed) -> None:
    samples = np.array(twelve_leads().tracings[0].samples)
    samples[7, 1234] += 3
    other = changed(with_samples(samples))
    done = cli("compare", twelve, other)
    assert done.status == 1
    assert "SAMPLES DIFFER: largest difference of a sample" in done.out
    assert "15 microvolts" in done.out
    document = cli("compare", twelve, other, "--json").document
    assert errors_in(document) == []
    assert (document["same"], document["samples_identical"]) == (False, False)
    assert Fraction(document["largest_sample_difference_microvolts"]) == 15
    assert [d["path"] for d in document["differences"]] == ["tracings[0].samples[7]"]
    assert document["first"]["digests"] != document["second"]["digests"]


def test_what_only_one_side_has_is_said_for_each_side(cli, twelve: Path, changed) -> None:
    from interchange.model import Quantity

    recording = twelve_leads()
    bare = replace(recording.patient, height=None)
    other = changed(recording.with_(patient=bare))
    assert "Only in A:\n  height of the patient: 168 cm" in cli("compare", twelve, other).out
    assert "Only in B:\n  height of the patient: 168 cm" in cli("compare", other, twelve).out
    kinds = [d["kind"] for d in cli("compare", other, twelve, "--json").document["differences"]]
    assert kinds == ["only in second"]
    assert recording.patient.height == Quantity(168, "cm")


def test_many_differences_are_counted_beyond_forty(cli, twelve: Path, changed) -> None:
    other = changed(twelve_leads().with_(measurements=()))
    done = cli("compare", twelve, other)
    count = len(twelve_leads().measurements)
    assert f"and {count - 40} more (--json lists all)" in done.out
    assert len(cli("compare", twelve, other, "--json").document["differences"]) == count


@pytest.mark.parametrize("order", [0, 1])
def test_a_side_that_cannot_be_read_is_no_difference(cli, twelve: Path, tmp_path: Path, order: int) -> None:
    sides = [twelve, tmp_path / "nothing"]
    done = cli("compare", *(sides if order else sides[::-1]), "--json")
    assert done.status == 3
    assert done.document["file"] == str(tmp_path / "nothing")
    assert errors_in(done.document) == []


def _changed(**fields: Any) -> Recording:
    whole = twelve_leads()
    return whole.with_(tracings=(replace(whole.tracings[0], **fields),))


def _channel(**fields: Any) -> Recording:
    first, *others = twelve_leads().tracings[0].channels
    return _changed(channels=(replace(first, **fields), *others))


SAMPLES = twelve_leads().tracings[0].samples
OTHER = SAMPLES + (np.arange(SAMPLES.size).reshape(SAMPLES.shape) == 12_345)
SAME = "Every sample that both have is the same, value and time."


@pytest.mark.parametrize(
    ("other", "answer"),
    [
        (_channel(name="V3R"), f"LEADS DIFFER. {SAME}"),
        (_changed(samples=SAMPLES[:-1], channels=twelve_leads().tracings[0].channels[:-1]), f"LEADS DIFFER. {SAME}"),
        (twelve_leads().with_(tracings=twelve_leads().tracings * 2), f"TRACINGS DIFFER. {SAME}"),
        (_channel(unit=None), "UNITS DIFFER."),
        (_changed(rate=Fraction(250)), "SAMPLE TIMES DIFFER: largest difference of a sample"),
        (_changed(samples=OTHER), "SAMPLES DIFFER: largest difference of a sample"),
        (_changed(missing=SAMPLES != OTHER), "GAPS DIFFER."),
        (
            _changed(samples=OTHER, channels=_channel(name="V3R").tracings[0].channels),
            "SAMPLES AND LEADS DIFFER: largest difference of a sample",
        ),
        (
            twelve_leads().with_(
                acquisition=replace(twelve_leads().acquisition, time=Moment(2030, 1, 1, 1, 1, Fraction(1)))
            ),
            f"ACQUISITION TIMES DIFFER. {SAME}",
        ),
    ],
)
def test_the_answer_says_what_differs(other: Recording, answer: str) -> None:
    sides = (twelve_leads(), other)
    text = comparison_text(compare_recordings(*sides), ("a", "b"), sides, 200)
    assert answer in text.splitlines()[4]


def test_samples_in_another_unit_that_moved_are_never_called_identical() -> None:
    def held(offset: int) -> Recording:
        channels = (Channel("resp", "Ohm", Fraction(1), Fraction(offset, 10000)),)
        return Recording(tracings=(Tracing(channels, np.array([[1, 2]], dtype=np.int16), Fraction(100)),))

    sides = (held(0), held(1))
    comparison = compare_recordings(*sides)
    text = comparison_text(comparison, ("a", "b"), sides)
    assert "identical" not in text
    assert "Samples the same within a thousandth of a step.\n" in text
    assert comparison_document(comparison, ("a", "b"), sides)["samples_identical"] is False
