"""The report: verdict, order, groups, status, JSON."""

import json
from fractions import Fraction

import numpy as np
import pytest

from interchange.checks import AREAS, CAUTIONS, build_report
from interchange.findings import Finding
from interchange.model import Channel, Recording, Tracing
from tests.checks.build import CHEST, LIMB, leads_of, potentials, recording, tracing, twelve
from tests.checks.samples import SAMPLES, acquired, times

FORMAT = Finding("scp.section-crc", "error", "byte 300", "the checksum of a section is wrong", "EN 1064")
READER = Finding("scp.text-cut", "warning", "byte 40", "a text was cut")


def test_verdict_comes_first_and_counts_what_is_worth_a_look():
    assert build_report(twelve(), ()).verdict == "Twelve of twelve leads, 10 s, 500 samples/s. Nothing to look at."
    two = acquired(time=None).with_(patient=type(twelve().patient)(age=twelve().patient.age, sex="female"))
    assert build_report(two, ()).verdict == "Twelve of twelve leads, 10 s, 500 samples/s. Two things to look at."


@pytest.mark.parametrize(
    ("outside", "words"),
    [
        ((READER,), "One thing to look at."),
        ((FORMAT,), "One error to look at."),
        ((FORMAT, READER), "One error and one warning to look at."),
        ((FORMAT, FORMAT.__class__("scp.b", "error", "", "b")), "Two errors to look at."),
    ],
)
def test_errors_are_told_in_the_verdict(outside, words):
    assert build_report(twelve(), outside).verdict.endswith(words)


def test_verdict_of_eight_leads():
    made = recording(tracing(leads_of(potentials()), ("I", "II", *CHEST)))
    assert build_report(made, ()).verdict.startswith("Eight of twelve leads, the other four follow exactly, 10 s")


def test_notes_are_nothing_to_look_at_but_are_told():
    report = build_report(acquired(filters=None), ())
    assert report.verdict.endswith("Nothing to look at.")
    assert report.count("note") == 1


def test_status_is_one_for_an_error_only():
    assert build_report(twelve(), (READER,)).status == 0
    assert build_report(twelve(), (FORMAT,)).status == 1
    assert build_report(times(-1, "aVR"), ()).status == 1


def test_findings_of_the_file_come_before_those_of_the_reader_and_of_the_content_each_once():
    made = acquired(time=None).with_(findings=(READER, FORMAT))
    report = build_report(made, (FORMAT,))
    assert [f.rule for f in report.findings] == ["scp.section-crc", "scp.text-cut", "time.not-said"]


def test_groups_by_what_is_touched_the_serious_first():
    made = recording(tracing(leads_of(potentials(seconds=4)), LIMB[:2], rate=Fraction(200)))
    report = build_report(made, (READER, FORMAT), "standard-12")
    groups = report.groups()
    assert [title for title, _ in groups][:2] == ["Format", "Leads"]
    assert [f.rule for f in groups[0][1]] == ["scp.section-crc", "scp.text-cut"]
    assert [f.severity for f in groups[1][1]] == ["error", "note", "note"]
    assert sum(len(found) for _, found in groups) == len(report.findings)
    assert all(found for _, found in groups)


def test_json_is_plain_data_and_says_everything():
    made = recording(tracing(leads_of(potentials()), ("I", "II", "V1", "V2", "V3")), format="dicom")
    report = build_report(made, (FORMAT,), "standard-12")
    data = json.loads(json.dumps(report.as_json()))
    assert data["document"] == "interchange check"
    assert data["version"] == 1
    assert data["format"] == "dicom"
    assert data["status"] == 1
    assert data["counts"] == {"error": 2, "warning": 0, "note": 1}
    assert data["lead_set"]["missing"] == ["V4", "V5", "V6"]
    assert data["lead_set"]["derivable"][0] == {"lead": "III", "formula": "II - I", "from": ["II", "I"]}
    assert data["lead_set"]["expected"] is True
    assert data["findings"][0] == {
        "rule": "scp.section-crc",
        "severity": "error",
        "place": "byte 300",
        "reason": "the checksum of a section is wrong",
        "clause": "EN 1064",
    }
    assert data["cautions"] == list(CAUTIONS)


def test_json_tells_the_sums_and_what_they_say():
    values = leads_of(potentials())
    i, ii = (np.round(values[name] / 2.5).astype(np.int16) for name in ("I", "II"))
    channels = tuple(Channel(name, step=Fraction(5, 2)) for name in ("I", "II", "III"))
    calculated = recording(Tracing(channels, np.array([i, ii, ii - i]), Fraction(500)))
    (entry,) = build_report(calculated, ()).as_json()["sums"]
    assert entry == {
        "tracing": 0,
        "sum": "I + III - II",
        "says": "nothing",
        "largest_microvolts": "0",
        "rounding_microvolts": "3.75",
        "rms_microvolts": 0.0,
    }
    assert {e["says"] for e in build_report(twelve(), ()).as_json()["sums"]} == {"holds"}


def test_every_sample_makes_a_report_and_a_document():
    for sample in (s for pair in SAMPLES.values() for s in pair):
        made, config = sample if isinstance(sample, tuple) else (sample, None)
        report = build_report(made, (), None, config)
        assert report.verdict.endswith(".")
        assert "  " not in report.verdict
        assert ",," not in report.verdict
        assert json.dumps(report.as_json()) == json.dumps(build_report(made, (), None, config).as_json())


def test_empty_recording():
    data = build_report(Recording(), ()).as_json()
    assert data["lead_set"]["id"] is None
    assert data["sums"] == []


def test_every_rule_has_an_area():
    from interchange.checks import RULES

    areas = [area for area, _ in AREAS]
    assert {rule.id.partition(".")[0] for rule in RULES} <= set(areas)
    assert len(set(areas)) == len(areas)
