"""The fixtures: all of them accounted for, the scenario made again byte for byte and as plausible as it claims."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from fnmatch import fnmatchcase
from pathlib import Path

import numpy as np
import pytest

import interchange
from fixtures import field, heart
from interchange.model import Recording
from tests.contract.support import FIXTURES, NAMES, OPEN, SCENARIO, SUFFIX

NO_FIXTURES = {"README.md", "MANIFEST.toml"}
MANIFEST = tomllib.loads((FIXTURES / "MANIFEST.toml").read_text(encoding="utf-8"))["group"]
THERE = [
    path.relative_to(FIXTURES).as_posix()
    for path in sorted(FIXTURES.rglob("*"))
    if path.is_file() and path.suffix not in (".py", ".pyc") and path.name not in NO_FIXTURES
]


def test_every_file_is_in_one_group_of_the_manifest() -> None:
    patterns = [pattern for group in MANIFEST for pattern in group["files"]]
    homes = {name: [pattern for pattern in patterns if fnmatchcase(name, pattern)] for name in THERE}
    assert {name: found for name, found in homes.items() if len(found) != 1} == {}


def test_the_manifest_names_no_file_that_is_not_there() -> None:
    patterns = [pattern for group in MANIFEST for pattern in group["files"]]
    assert [pattern for pattern in patterns if not any(fnmatchcase(name, pattern) for name in THERE)] == []


@pytest.mark.parametrize("group", MANIFEST, ids=lambda group: str(group["files"][0]))
def test_the_manifest_says_what_must_be_said(group: dict[str, str]) -> None:
    for key in ("origin", "licence", "shows"):
        assert group[key].strip(), key
    if not group["origin"].startswith("invented"):
        for key in ("citation", "source", "changes"):
            assert group[key].strip(), key
    if any(name.endswith("/*") for name in group["files"]):
        assert (FIXTURES / group["details"]).is_file()


def test_the_scenario_is_made_again_byte_for_byte(tmp_path: Path) -> None:
    subprocess.run([sys.executable, str(FIXTURES / "make.py"), str(tmp_path)], check=True, capture_output=True)
    made = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    kept = {path.name: path.read_bytes() for path in (FIXTURES / "scenario").iterdir()}
    assert sorted(made) == sorted(kept)
    assert [name for name in made if made[name] != kept[name]] == [], (
        "run python fixtures/make.py and look at the change"
    )


@pytest.mark.parametrize("name", SCENARIO)
@pytest.mark.parametrize("format", NAMES)
def test_the_files_hold_the_scenario(name: str, format: str) -> None:
    recording = interchange.read(FIXTURES / "scenario" / f"{name}{SUFFIX[format]}")
    assert recording.format == format
    assert [t.digest for t in recording.tracings] == [t.digest for t in field.recordings()[name].tracings]
    assert [t.start for t in recording.tracings] == [t.start for t in field.recordings()[name].tracings]


@pytest.mark.parametrize("name", OPEN)
def test_the_open_records_are_read(name: str) -> None:
    recording = interchange.read(OPEN[name])
    assert recording.tracings[0].length > 900
    assert recording.unread == ()


# The drawn wave ----------------------------------------------------------------------------------------------------

TWELVE: Recording = field.twelve_leads()
COUNTS = dict(zip(heart.LEADS, TWELVE.tracings[0].samples.astype(np.int64), strict=True))


def averaged(lead: str) -> np.ndarray:
    """Microvolts of an average beat of the written samples, every 2 ms from 200 ms before QRS onset, 0 at QRS onset."""
    row = COUNTS[lead] * heart.STEP
    starts = [(onset + 1) // 2 - 100 for onset in heart.onsets(9000)]
    beats = np.array([row[s : s + 300] for s in starts if s >= 0])
    average = beats.mean(axis=0)
    return average - average[96:101].mean()


def at(ms: int) -> int:
    return 100 + ms // 2


def said(concept: str, lead: str | None = None) -> int:
    found = [m.value for m in TWELVE.measurements if (m.concept, m.lead) == (concept, lead)]
    assert len(found) == 1
    assert isinstance(found[0], int)
    return found[0]


def test_leads_that_follow_from_others_follow_within_rounding() -> None:
    """III exactly; the augmented leads within half a count, halves rounded away from zero."""
    one, two = COUNTS["I"], COUNTS["II"]
    assert (COUNTS["III"] == two - one).all()
    for lead, doubled in (("aVR", -one - two), ("aVL", 2 * one - two), ("aVF", 2 * two - one)):
        assert np.abs(2 * COUNTS[lead] - doubled).max() <= 1
        assert (np.abs(2 * COUNTS[lead]) >= np.abs(doubled)).all()


def test_samples_are_such_as_a_field_recorder_gives() -> None:
    largest = max(int(np.abs(row).max()) for row in COUNTS.values()) * heart.STEP
    assert 800 < largest < 3000
    for lead, row in COUNTS.items():
        assert int(row.max()) - int(row.min()) > 40, lead
        assert len(np.unique(row)) > 30, lead
        assert (np.abs(np.diff(row)) <= 60).all(), lead  # 150 mV/s


@pytest.mark.parametrize("lead", heart.LEADS)
@pytest.mark.parametrize(
    ("concept", "after"),
    [("j-amplitude", 0), ("st-amplitude-20", 20), ("st-amplitude-60", 60), ("st-amplitude-80", 80)],
)
def test_stated_levels_are_those_of_the_written_samples(lead: str, concept: str, after: int) -> None:
    measured = averaged(lead)[at(heart.QRS_OFFSET + after) - 1 : at(heart.QRS_OFFSET + after) + 2].mean()
    assert abs(measured - said(concept, lead)) < 15


@pytest.mark.parametrize(
    ("concept", "start", "end"),
    [("p-axis", heart.P_ONSET, heart.P_OFFSET), ("qrs-axis", 0, heart.QRS_OFFSET)],
)
def test_stated_axes_are_those_of_the_written_samples(concept: str, start: int, end: int) -> None:
    one, foot = (averaged(lead)[at(start) : at(end)].sum() for lead in ("I", "aVF"))
    measured = np.degrees(np.arctan2(2 * foot / np.sqrt(3), one))
    assert abs(measured - said(concept)) < 8


def test_stated_intervals_and_rates_are_those_of_the_written_samples() -> None:
    slope = np.abs(np.diff(COUNTS["V5"]))
    peaks = [i for i in range(20, slope.size - 20) if slope[i] > 20 and slope[i] == slope[i - 15 : i + 15].max()]
    beats = [p for p, q in zip(peaks, [-99, *peaks], strict=False) if p - q > 100]
    mean = np.diff(beats).mean() * 2
    assert abs(mean - said("rr-interval")) < 3
    assert abs(60000 / mean - said("heart-rate-ventricular")) < 1
    wave = np.abs(averaged("II"))
    assert wave[at(heart.P_ONSET) - 8 : at(heart.P_ONSET)].max() < 15  # quiet before the stated P onset
    assert wave[at(-116)] > 60  # a P wave after it
    assert said("pr-interval") == -heart.P_ONSET
    assert said("qrs-duration") == heart.QRS_OFFSET
    assert said("qt-interval") == heart.T_OFFSET
    assert said("qtc-bazett") == round(said("qt-interval") / np.sqrt(said("rr-interval") / 1000))
    late = averaged("II")[at(heart.T_OFFSET) : at(heart.T_OFFSET) + 8]
    assert np.abs(late).max() < 20  # quiet after the stated T end


def test_the_strip_goes_on_with_the_same_heart() -> None:
    strip = field.with_strip().tracings[1]
    assert (strip.start, strip.duration, strip.names) == (11, 13, ("II", "V1"))
    assert strip.digest != field.with_strip().tracings[0].digest


def test_the_unedited_recording_says_no_more_than_its_preset() -> None:
    patient = field.limb_leads().patient
    assert (patient.ids, patient.name, patient.sex, patient.birth_date) == ((), None, None, None)
    assert str(patient.age) == "50 a"
