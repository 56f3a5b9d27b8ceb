"""The real 12-lead object that ships with pydicom: an outside file of the retired scheme, with known faults."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from interchange.formats import dicom
from interchange.sources import Source
from tests.formats.dicom.support import TWELVE, opened, read, real_file, rules, verified, written

SCENARIO = Path(__file__).resolve().parents[3] / "fixtures" / "scenario"


@pytest.fixture(scope="module")
def recording():
    return read(real_file())


@pytest.fixture(scope="module")
def oracle():
    return opened(real_file())


def test_samples_are_those_that_pydicom_reads(recording, oracle):
    assert [t.kind for t in recording.tracings] == ["rhythm", "representative beat"]
    for index, tracing in enumerate(recording.tracings):
        assert tracing.names == TWELVE
        assert tracing.rate == 1000
        np.testing.assert_array_equal(tracing.microvolts(), oracle.waveform_array(index).T)
    assert recording.tracings[0].samples.shape == (12, 10000)
    assert {channel.step for channel in recording.tracings[0].channels} == {Fraction(5, 4)}


def test_the_representative_beat_knows_where_it_comes_from(recording):
    beat = recording.tracings[1]
    assert (beat.of, beat.fiducial, beat.length, beat.label) == (0, Fraction(1, 2), 1200, "MEDIAN BEAT")


def test_eight_global_values_and_one_not_measured(recording):
    said = {m.concept: (m.value, m.unit, m.absent, m.lead) for m in recording.measurements}
    assert said == {
        "rr-interval": (982, "ms", None, None),
        "pp-interval": (None, "ms", "not-measured", None),
        "pr-interval": (161, "ms", None, None),
        "qrs-duration": (75, "ms", None, None),
        "qt-interval": (368, "ms", None, None),
        "qtc-interval": (370, "ms", None, None),
        "p-axis": (74, "deg", None, None),
        "qrs-axis": (52, "deg", None, None),
        "t-axis": (57, "deg", None, None),
    }


def test_two_statements(recording, oracle):
    stored = [item.UnformattedTextValue for item in oracle.WaveformAnnotationSequence if "UnformattedTextValue" in item]
    assert len(stored) == 2
    assert [s.text for s in recording.statements] == stored
    assert {s.confirmed for s in recording.statements} == {None}


def test_sixty_six_marks_with_those_of_group_2_on_the_representative_beat(recording, oracle):
    assert len(recording.marks) == 66
    names = {
        "5.10.3-1": "p-onset",
        "5.10.3-2": "p-offset",
        "5.10.3-3": "qrs-onset",
        "5.7.1-3": "fiducial-point",
        "5.10.3-4": "qrs-offset",
        "5.10.3-5": "t-offset",
    }
    stored = [item for item in oracle.WaveformAnnotationSequence if "TemporalRangeType" in item]
    for mark, item in zip(recording.marks, stored, strict=True):
        assert mark.concept == names[item.ConceptNameCodeSequence[0].CodeValue]
        assert mark.start == Fraction(item.ReferencedSamplePositions - 1, 1000)
        assert mark.group == str(item.AnnotationGroupNumber)
        assert mark.tracing == (1 if item.AnnotationGroupNumber == 2 else 0)
        assert mark.lead is None
        assert mark.end is None


def test_what_had_to_be_tolerated_is_said(recording):
    assert {f.rule for f in recording.findings} == {
        "dicom.annotation-misplaced",
        "dicom.retired-concept-scheme",
        "dicom.retired-lead-scheme",
        "dicom.zero-interval",
    }


def test_the_check_finds_its_faults():
    assert {"class-channels", "private-without-creator", "annotation-misplaced", "retired-lead-scheme"} <= rules(
        real_file()
    )


def test_private_elements_are_listed_with_place_and_size(recording, oracle):
    listed = {entry.place: entry.size for entry in recording.unread}
    private = {
        f"({element.tag.group:04X},{element.tag.element:04X})": len(oracle.get_item(element.tag).value or b"")
        for element in opened(real_file())
        if element.tag.is_private
    }
    for place, size in private.items():
        assert listed.get(place, 0) == size


def test_every_element_with_a_value_is_either_taken_or_listed(recording, oracle):
    listed = {entry.place.split(" ")[0] for entry in recording.unread}
    retired_or_foreign = {"(0032,1032)", "(0038,0300)", "(0008,0012)", "(0008,0013)"}
    assert retired_or_foreign <= listed
    assert not any(place.startswith(("(0010", "(003A", "(5400", "(0040,B020)")) for place in listed)


def test_written_again_nothing_is_lost_and_the_validator_is_content(recording, tmp_path):
    data = written(recording)
    again = read(data)
    for name in ("tracings", "patient", "acquisition", "measurements", "marks", "statements", "trial", "extras"):
        assert getattr(again, name) == getattr(recording, name), name
    assert again.unread == ()
    assert again.findings == ()
    assert verified(data, tmp_path) == []


def test_twenty_four_channels_are_written_as_general_ecg_and_the_receipt_says_why(recording):
    encoded = dicom.encode(recording, "x", {})
    assert opened(encoded.main[1]).SOPClassUID == "1.2.840.10008.5.1.4.1.1.9.1.2"
    info = [note.reason for note in encoded.notes if note.kind == "info"]
    assert len(info) == 1
    assert "24 channels in all, at most 13" in info[0]


def test_waves_are_written_as_segments_of_the_published_codes(recording):
    items = opened(written(recording)).WaveformAnnotationSequence
    on_beat = [i for i in items if i.ReferencedWaveformChannels == [2, 0] and "TemporalRangeType" in i]
    found = [
        (i.ConceptNameCodeSequence[0].CodeValue, i.TemporalRangeType, i.ReferencedSamplePositions) for i in on_beat
    ]
    assert found == [
        ("10:256", "SEGMENT", [299, 413]),
        ("10:1600", "SEGMENT", [460, 535]),
        ("fiducial-point", "POINT", 501),
        ("t-offset", "POINT", 828),
    ]


def test_reading_says_nothing_of_the_identity_strings():
    findings = dicom.check(Source(real_file(), "real.dcm"))
    oracle = opened(real_file())
    secrets = [str(oracle.PatientID), str(oracle.AccessionNumber), str(oracle.InstitutionName)]
    text = " ".join(f"{f.place} {f.reason} {f.clause}" for f in findings)
    assert not any(secret and secret in text for secret in secrets)


def test_read_and_check_together_give_what_each_gives_alone():
    for data in (real_file(), *(path.read_bytes() for path in sorted(SCENARIO.glob("*.dcm")))):
        source = Source(data, "x.dcm")
        recording, findings = dicom.read_and_check(source)
        assert recording == dicom.read(source)
        assert set(findings) == set(dicom.check(source))
