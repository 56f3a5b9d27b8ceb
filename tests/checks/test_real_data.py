"""What fires on real recordings: exactly this, and each of it can be defended.

PTB-XL records 00841 (CC BY 4.0) and MIT-BIH record 100 (ODC-By 1.0) are in the fixtures; the DICOM ECG is the test file
of pydicom (MIT), which is read where it is installed.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import interchange
from fixtures.field import limb_leads, twelve_leads, with_strip
from interchange.checks import build_report, check_recording
from interchange.checks.config import CheckConfig
from interchange.checks.consistency import sums
from interchange.checks.figures import figures
from interchange.checks.view import look_at

OPEN = Path(__file__).resolve().parents[2] / "fixtures" / "open"
NO_PATIENT = {"people.no-identity"}  # a WFDB header has no field for one
NOT_SAID = {"quality.bandwidth-unknown"}  # nor for filters

WFDB = {
    "00841_hr": {*NO_PATIENT, *NOT_SAID, "time.no-zone", "time.before-1990", "quality.some-baseline-wander"},
    "00841_lr": {
        *NO_PATIENT,
        *NOT_SAID,
        "time.no-zone",
        "time.before-1990",
        "quality.some-baseline-wander",
        "quality.low-sampling-rate",  # 100/s
    },
    "wfd00001": {
        *NO_PATIENT,
        *NOT_SAID,
        "people.no-age",
        "people.no-sex",
        "time.not-said",
        "quality.sampling-rate",  # 360/s
    },
}


def rules(recording):
    return {finding.rule for finding in check_recording(recording)}


@pytest.mark.parametrize("name", sorted(WFDB))
def test_open_records(name):
    assert rules(interchange.read(OPEN / f"{name}.hea")) == WFDB[name]


@pytest.fixture(scope="module")
def dicom():
    from pydicom.data import get_testdata_file

    return interchange.read(get_testdata_file("waveform_ecg.dcm"))


def test_real_dicom_recording(dicom):
    """Its name says that it was removed, and it states no zone; all that was measured fits marks and waveform."""
    assert rules(dicom) == {"people.identity-removed", "time.no-zone"}
    report = build_report(dicom, ())
    assert report.verdict.startswith("Twelve of twelve leads, 10 s, 1000 samples/s")


def test_real_measurements_are_held_against_real_marks(dicom):
    """Moved by 60 ms or 12 /min they are found, so the silence above means something."""

    def moved(concept, by):
        found = [
            replace(m, value=m.value + by) if m.concept == concept and m.value is not None else m
            for m in dicom.measurements
        ]
        return rules(dicom.with_(measurements=tuple(found)))

    assert "plausibility.interval-and-marks" in moved("qt-interval", 60)
    assert "plausibility.interval-and-marks" in moved("qrs-duration", 60)
    assert "plausibility.interval-and-marks" in moved("pr-interval", -60)
    assert "plausibility.rate-and-beats" in moved("rr-interval", 200)


def test_limb_leads_of_real_recordings_fit_together(dicom):
    for made in (dicom, interchange.read(OPEN / "00841_hr.hea")):
        view = look_at(made, CheckConfig())
        for strip in view.rhythms:
            found = sums(view, strip)
            assert len(found) == 5
            assert {entry.says for entry in found} <= {"holds", "nothing"}


def running_median(row, size):
    """Median over a window of so many samples, the ends repeated."""
    half = size // 2
    padded = np.concatenate([np.full(half, row[0]), row, np.full(half, row[-1])])
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1), axis=1)


@pytest.mark.parametrize("name", ["00841_hr", "00841_lr"])
def test_wander_is_that_of_the_usual_two_medians(name):
    """A baseline by running medians of 0.2 s and 0.6 s, which takes P, QRS and T away, wanders as far where it does."""
    made = interchange.read(OPEN / f"{name}.hea")
    view = look_at(made, CheckConfig())
    found = figures(view.rhythms[0])
    rate, compared = int(made.tracings[0].rate), 0
    for at, row in enumerate(found.rows):
        baseline = running_median(running_median(made.tracings[0].microvolts()[row.index], rate // 5), rate * 3 // 5)
        assert found.wander[at, 0] < np.ptp(baseline) + 100, row.shown
        if np.ptp(baseline) > 400:
            assert found.wander[at, 0] == pytest.approx(np.ptp(baseline), rel=0.2), row.shown
            compared += 1
    assert compared


def test_faults_put_into_a_real_recording_are_named():
    made = interchange.read(OPEN / "00841_hr.hea")
    tracing = made.tracings[0]

    def with_row(name, change):
        samples = tracing.samples.copy()
        samples[tracing.row(name)] = change(samples[tracing.row(name)])
        return rules(made.with_(tracings=(replace(tracing, samples=samples),)))

    assert "consistency.sign" in with_row("aVR", lambda row: -row)
    assert "consistency.scale" in with_row("III", lambda row: row * 2)
    assert "consistency.skew" in with_row("II", lambda row: np.roll(row, 4))
    assert "quality.no-signal" in with_row("V3", lambda row: row * 0)
    assert "quality.saturated" in with_row("V5", lambda row: np.minimum(row, 300))
    hum = np.round(90 * np.sin(2 * np.pi * 50 * np.arange(5000) / 500)).astype(np.int16)
    assert "quality.mains-hum" in with_row("V1", lambda row: row + hum)


@pytest.mark.parametrize("make", [twelve_leads, with_strip])
def test_the_field_scenario_brings_up_nothing(make):
    assert rules(make()) == set()


def test_limb_leads_of_the_field_scenario():
    report = build_report(limb_leads(), ())
    assert report.verdict.startswith("Six of six limb leads and no chest lead, 10 s, 500 samples/s.")
    assert report.status == 0
    assert "leads.limb-only" in rules(limb_leads())
