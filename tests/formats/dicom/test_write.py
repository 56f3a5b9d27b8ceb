"""What is written: storage class, attributes as pydicom reads them, the same bytes for the same recording."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pydicom
import pytest
from hypothesis import HealthCheck, Phase, given, settings

from interchange.errors import RefusedError, UsageError
from interchange.formats import dicom
from interchange.model import (
    Acquisition,
    Channel,
    Code,
    Device,
    Filters,
    Identifier,
    Mark,
    Measurement,
    Moment,
    Patient,
    Person,
    PersonName,
    Quantity,
    Recording,
    Site,
    Statement,
    Study,
    Tracing,
)  # fmt: skip
from tests.everything import everything
from tests.formats.dicom.support import (
    CLASSES,
    ODD_VALUES,
    TWELVE,
    counts,
    opened,
    read,
    rules,
    verified,
    written,
)  # fmt: skip
from tests.strategies import full, plain

LEADS_15 = (*TWELVE, "V7", "V8", "V9")


def tracing(leads=TWELVE, length=5000, rate=500, dtype="i2", **fields):
    channels = tuple(Channel(name, step=Fraction(5)) for name in leads)
    return Tracing(channels, counts(len(leads), length, dtype), Fraction(rate), **fields)


def beat(leads=TWELVE, rate=500):
    return tracing(leads, 600, rate, kind="representative beat", of=0, fiducial=Fraction(1, 5))


CHOICES = [
    ("twelve leads", [tracing()], "twelve-lead", 1),
    ("13 channels", [tracing((*TWELVE, "V4R"))], "twelve-lead", 1),
    ("15 leads", [tracing(LEADS_15)], "general", 1),
    ("a strip beside the twelve", [tracing(), tracing(("II", "V1"), 900, start=Fraction(11))], "general", 2),
    ("one strip lead beside the twelve", [tracing(), tracing(("II",), 900, start=Fraction(11))], "twelve-lead", 2),
    ("a representative beat", [tracing(), beat()], "general", 2),
    ("16384 samples", [tracing(length=16384, rate=1000)], "twelve-lead", 1),
    ("16385 samples", [tracing(length=16385, rate=1000)], "general", 1),
    ("200 a second", [tracing(rate=200)], "twelve-lead", 1),
    ("199 a second", [tracing(rate=199)], "ambulatory", 1),
    ("50 a second", [tracing(rate=50)], "ambulatory", 1),
    ("100 a second with a beat", [tracing(rate=100), beat(rate=100)], "ambulatory", 1),
    ("1000 a second", [tracing(rate=1000)], "twelve-lead", 1),
    ("2000 a second", [tracing(rate=2000)], "general-32", 1),
    ("more than 16 bits", [tracing(dtype="i4")], "twelve-lead", 1),
]


@pytest.mark.parametrize(("tracings", "storage", "kept"), [c[1:] for c in CHOICES], ids=[c[0] for c in CHOICES])
def test_the_narrowest_class_that_holds_it(tracings, storage, kept):
    encoded = dicom.encode(Recording(tuple(tracings)), "x", {})
    ds = opened(encoded.main[1])
    assert ds.SOPClassUID == CLASSES[storage]
    assert len(ds.WaveformSequence) == kept
    left = [note for note in encoded.notes if note.kind == "left"]
    assert len(left) == len(tracings) - kept
    assert any("written as" in note.reason for note in encoded.notes if note.kind == "info")
    back = read(encoded.main[1])
    assert [t.digest for t in back.tracings] == [t.digest for t in tracings[:kept]]


def test_samples_beyond_16_bits_go_to_general_32():
    samples = counts(12, 500, "i4")
    samples[3, 7] = 40000
    channels = tuple(Channel(name) for name in TWELVE)
    data = written(Recording((Tracing(channels, samples, Fraction(500)),)))
    ds = opened(data)
    assert ds.SOPClassUID == CLASSES["general-32"]
    assert ds.WaveformSequence[0].WaveformSampleInterpretation == "SL"
    np.testing.assert_array_equal(ds.waveform_array(0).T, samples)
    assert rules(data) == set()


@pytest.mark.parametrize(
    "tracings",
    [[tracing(rate=49)], [tracing(LEADS_15, rate=100)], [tracing(length=1).take([])], []],
    ids=["49 a second", "15 leads at 100 a second", "no channels", "nothing"],
)
def test_what_no_class_holds_is_refused_with_the_limits(tracings):
    with pytest.raises(RefusedError) as caught:
        written(Recording(tuple(tracings)))
    assert "samples" in caught.value.reason


def test_general_32_has_all_equipment_with_marked_placeholders():
    encoded = dicom.encode(Recording((tracing(rate=2000),)), "x", {})
    ds = opened(encoded.main[1])
    for keyword in ("Manufacturer", "ManufacturerModelName", "DeviceSerialNumber", "SoftwareVersions"):
        assert ds[keyword].value == "NOT GIVEN"
    added = {note.path for note in encoded.notes if note.kind == "added"}
    assert {"Manufacturer", "ManufacturerModelName", "DeviceSerialNumber", "SoftwareVersions"} <= added
    assert read(encoded.main[1]).acquisition.devices == ()


def test_a_recording_of_nobody_at_no_time_reads_back_as_such(tmp_path):
    encoded = dicom.encode(Recording((tracing(),)), "x", {})
    back = read(encoded.main[1])
    assert back.patient == Patient()
    assert back.acquisition == Acquisition()
    assert {n.path: n.value for n in encoded.notes if n.kind == "added"} == {
        "AcquisitionDateTime": "19000101",
        "ContentDate": "19000101",
        "ContentTime": "000000",
    }
    assert verified(encoded.main[1], tmp_path) == []
    assert rules(encoded.main[1]) == set()


def scenario() -> Recording:
    name = PersonName(family="M\u00fcller", given="Zo\u00eb", middle="K", prefix="Dr", suffix="II")
    return Recording(
        tracings=(tracing(), beat()),
        patient=Patient(
            ids=(Identifier("P-77", "Site A"), Identifier("N-1", "2.16.840.1.113883.19.3")),
            name=name,
            other_names=(PersonName(family="\u5c71\u7530", given="\u592a\u90ce", script="ideographic"),),
            birth_date=Moment(1961, 2, 28),
            age=Quantity(70, "a"),
            sex="female",
            height=Quantity(172, "cm"),
            weight=Quantity(Fraction(141, 2), "kg"),
            systolic=Quantity(141, "mm[Hg]"),
            drugs=(Code(meaning="Drug one"),),
            history=(Code(meaning="History text"),),
            comments=("Remark",),
        ),
        acquisition=Acquisition(
            time=Moment(2031, 4, 5, 14, 3, Fraction(29, 4), zone=120),
            devices=(
                Device("acquiring", "Maker", "Model 7", "S-1", ("1.2", "boot 3"), "Cart 4"),
                Device("analysing", "Analyser", "A-2", software=("9",)),
            ),
            site=Site("Clinic", "Ward 3", address="Street 1"),
            operator=Person(PersonName(family="Op", given="Anna")),
            referring=Person(PersonName(family="Ref", given="Bo")),
            confirming=Person(PersonName(family="Conf", given="Cy")),
            filters=Filters(Fraction(1, 20), Fraction(150), (Fraction(50),)),
            electrode_placement="placement-mason-likar",
            mains=Fraction(50),
            reasons=("chest pain",),
            remarks=("in motion",),
            study=Study(Identifier("ACC-9", "RIS"), "ST-1", "1.2.826.0.1.77", "1.2.826.0.1.78", "Resting ECG"),
        ),
        measurements=(
            Measurement("qt-interval", 402, "ms"),
            Measurement("j-amplitude", -55, "uV", lead="V2"),
            Measurement("qtc-bazett", absent="not-measured", unit="ms"),
        ),
        marks=(
            Mark(
                "ventricular-pacing-spike", 0, Fraction(1, 4), lead="II",
                measurements=(
                    Measurement("pacing-spike-width", Fraction(1, 2), "ms"),
                    Measurement("pacing-spike-amplitude", 900, "uV"),
                ),
            ),
            Mark("note", 0, Fraction(1), text="hiccup"),
            Mark("normal-beat", 0, Fraction(2), group="atr"),
        ),
        statements=(
            Statement(
                "Sinus rhythm", codes=(Code("64730000", "SCT", "Sinus rhythm"),), confirmed=False, author="Analyser"
            ),
            Statement("Normal ECG", group=1, confirmed=True, confirmed_by="Dr Conf", confirmed_time=Moment(2031, 4, 6)),
        ),
    )  # fmt: skip


FIELDS = [
    (("PatientName",), "M\u00fcller^Zo\u00eb^K^Dr^II=\u5c71\u7530^\u592a\u90ce"),
    (("PatientID",), "P-77"),
    (("IssuerOfPatientID",), "Site A"),
    (("OtherPatientIDsSequence", 0, "PatientID"), "N-1"),
    (
        ("OtherPatientIDsSequence", 0, "IssuerOfPatientIDQualifiersSequence", 0, "UniversalEntityID"),
        "2.16.840.1.113883.19.3",
    ),
    (("PatientBirthDate",), "19610228"),
    (("PatientAge",), "070Y"),
    (("PatientSex",), "F"),
    (("PatientSize",), 1.72),
    (("PatientWeight",), 70.5),
    (("PatientComments",), "Remark"),
    (("AdditionalPatientHistory",), "History text\r\nMedication: Drug one"),
    (("AcquisitionDateTime",), "20310405140307.25+0200"),
    (("TimezoneOffsetFromUTC",), "+0200"),
    (("StudyDate",), "20310405"),
    (("ContentTime",), "140307.25"),
    (("Manufacturer",), "Maker"),
    (("ManufacturerModelName",), "Model 7"),
    (("DeviceSerialNumber",), "S-1"),
    (("SoftwareVersions",), ["1.2", "boot 3"]),
    (("StationName",), "Cart 4"),
    (("ContributingEquipmentSequence", 0, "Manufacturer"), "Analyser"),
    (("ContributingEquipmentSequence", 0, "PurposeOfReferenceCodeSequence", 0, "CodeValue"), "109102"),
    (("ContributingEquipmentSequence", 1, "PurposeOfReferenceCodeSequence", 0, "CodeValue"), "109103"),
    (("InstitutionName",), "Clinic"),
    (("InstitutionalDepartmentName",), "Ward 3"),
    (("InstitutionAddress",), "Street 1"),
    (("OperatorsName",), "Op^Anna"),
    (("ReferringPhysicianName",), "Ref^Bo"),
    (("NameOfPhysiciansReadingStudy",), "Conf^Cy"),
    (("ReasonForVisit",), "chest pain"),
    (("AcquisitionContextDescription",), "in motion"),
    (("AccessionNumber",), "ACC-9"),
    (("IssuerOfAccessionNumberSequence", 0, "LocalNamespaceEntityID"), "RIS"),
    (("StudyID",), "ST-1"),
    (("StudyInstanceUID",), "1.2.826.0.1.77"),
    (("SeriesInstanceUID",), "1.2.826.0.1.78"),
    (("StudyDescription",), "Resting ECG"),
    (("Modality",), "ECG"),
    (("SpecificCharacterSet",), "ISO_IR 192"),
    (("AcquisitionContextSequence", 0, "ConceptCodeSequence", 0, "CodeValue"), "10:11266"),
    (("AcquisitionContextSequence", 1, "NumericValue"), 141),
    (("WaveformSequence", 0, "SamplingFrequency"), 500),
    (("WaveformSequence", 0, "PowerlineFrequency"), 50),
    (("WaveformSequence", 0, "WaveformOriginality"), "ORIGINAL"),
    (("WaveformSequence", 1, "WaveformOriginality"), "DERIVED"),
    (("WaveformSequence", 1, "TriggerSamplePosition"), 101),
    (("WaveformSequence", 0, "ChannelDefinitionSequence", 3, "ChannelSourceSequence", 0, "CodeValue"), "2:62"),
    (
        ("WaveformSequence", 0, "ChannelDefinitionSequence", 3, "ChannelSourceSequence", 0, "CodingSchemeDesignator"),
        "MDC",
    ),
    (("WaveformSequence", 0, "ChannelDefinitionSequence", 3, "ChannelSensitivity"), 5),
    (("WaveformSequence", 0, "ChannelDefinitionSequence", 3, "ChannelSensitivityUnitsSequence", 0, "CodeValue"), "uV"),
    (("WaveformSequence", 0, "ChannelDefinitionSequence", 3, "FilterLowFrequency"), 0.05),
    (("WaveformSequence", 0, "ChannelDefinitionSequence", 3, "FilterHighFrequency"), 150),
    (("WaveformSequence", 0, "ChannelDefinitionSequence", 3, "NotchFilterFrequency"), 50),
    (("WaveformAnnotationSequence", 0, "UnformattedTextValue"), "Sinus rhythm"),
    (("WaveformAnnotationSequence", 1, "ConceptCodeSequence", 0, "CodeValue"), "64730000"),
    (("WaveformAnnotationSequence", 2, "UnformattedTextValue"), "Status of the statements above: not confirmed"),
    (("WaveformAnnotationSequence", 3, "UnformattedTextValue"), "Normal ECG"),
    (("WaveformAnnotationSequence", 4, "UnformattedTextValue"),
     "Status of the statements above: confirmed by Dr Conf on 2031-04-06"),
    (("WaveformAnnotationSequence", 5, "NumericValue"), 402),
    (("WaveformAnnotationSequence", 5, "ConceptNameCodeSequence", 0, "CodeValue"), "2:16160"),
    (("WaveformAnnotationSequence", 6, "ReferencedWaveformChannels"), [1, 8]),
    (("WaveformAnnotationSequence", 6, "ConceptNameCodeSequence", 0, "CodeValue"), "2:1024"),
    (("WaveformAnnotationSequence", 8, "ConceptNameCodeSequence", 0, "CodeValue"), "10:5120"),
    (("WaveformAnnotationSequence", 8, "ReferencedSamplePositions"), 126),
    (("WaveformAnnotationSequence", 8, "ReferencedWaveformChannels"), [1, 2]),
    (("WaveformAnnotationSequence", 9, "NumericValue"), 0.5),
    (("WaveformAnnotationSequence", 11, "UnformattedTextValue"), "hiccup"),
    (("WaveformAnnotationSequence", 12, "ConceptNameCodeSequence", 0, "CodeValue"), "10:8208"),
]  # fmt: skip


@pytest.fixture(scope="module")
def as_pydicom_reads_it():
    return opened(written(scenario()))


@pytest.mark.parametrize(("path", "expected"), FIELDS, ids=[".".join(map(str, path)) for path, _ in FIELDS])
def test_written_by_us_read_by_pydicom(as_pydicom_reads_it, path, expected):
    value = as_pydicom_reads_it
    for step in path:
        value = value[step] if isinstance(step, int) else getattr(value, step)
    assert value == expected


def test_the_scenario_survives_whole_and_conforms(tmp_path):
    data = written(scenario())
    back = read(data)
    for field in ("tracings", "patient", "acquisition", "measurements", "marks", "statements"):
        assert getattr(back, field) == getattr(scenario(), field), field
    assert back.findings == ()
    assert back.unread == ()
    assert rules(data) == set()
    assert verified(data, tmp_path) == []


def test_samples_as_pydicom_reads_them():
    data = written(scenario())
    for index, source in enumerate(scenario().tracings):
        np.testing.assert_array_equal(opened(data).waveform_array(index).T, source.microvolts())


@pytest.mark.parametrize("syntax", ["explicit", "implicit", "deflated"])
def test_every_written_syntax_reads_back_the_same(syntax, tmp_path):
    data = written(everything(), **{"transfer-syntax": syntax})
    assert read(data).tracings == everything().tracings
    assert (
        opened(data).file_meta.TransferSyntaxUID
        == {
            "explicit": "1.2.840.10008.1.2.1",
            "implicit": "1.2.840.10008.1.2",
            "deflated": "1.2.840.10008.1.2.1.99",
        }[syntax]
    )
    if syntax != "deflated":
        assert verified(data, tmp_path) == []


def test_an_unknown_syntax_is_wrong_usage():
    with pytest.raises(UsageError):
        written(everything(), **{"transfer-syntax": "jpeg"})


def test_pydicom_writes_the_very_same_bytes():
    """pydicom is the reference for the encoding: read and saved by it, the file is the same to the last byte."""
    for recording in (scenario(), everything()):
        data = written(recording)
        buffer = io.BytesIO()
        pydicom.dcmread(io.BytesIO(data)).save_as(buffer)
        ours, theirs = data, buffer.getvalue()
        at = next((i for i, (a, b) in enumerate(zip(ours, theirs, strict=False)) if a != b), None)
        assert ours == theirs, f"first difference at byte {at}, sizes {len(ours)} and {len(theirs)}"


def test_same_recording_same_bytes_and_nothing_is_mutated():
    before = everything()
    assert written(before) == written(everything())
    assert before == everything()


def test_identifiers_follow_from_content():
    base, moved = scenario(), replace(scenario(), acquisition=Acquisition(time=Moment(2031, 4, 5, 14, 3, Fraction(8))))
    anonymous = Recording((tracing(),))
    instances = {str(opened(written(r)).SOPInstanceUID) for r in (base, moved, anonymous)}
    assert len(instances) == 3
    assert all(uid.startswith("2.25.") and len(uid) <= 64 for uid in instances)
    other_samples = Recording((tracing(length=4999),))
    assert opened(written(anonymous)).StudyInstanceUID != opened(written(other_samples)).StudyInstanceUID
    assert read(written(anonymous)).acquisition.study is None


@pytest.mark.parametrize("gone", ["some", "whole channel", "extremes"])
def test_missing_samples_get_a_value_that_no_sample_has(gone):
    samples = counts(2, 500)
    missing = np.zeros(samples.shape, bool)
    missing[0, 5:9] = True
    if gone == "whole channel":
        missing[1] = True
    if gone == "extremes":
        samples[1, :2] = -(2**15), 2**15 - 1
    recording = Recording((Tracing((Channel("I"), Channel("II")), samples, Fraction(500), missing),))
    data = written(recording)
    group = opened(data).WaveformSequence[0]
    padding = int.from_bytes(group.WaveformPaddingValue, "little", signed=True)
    stored = np.frombuffer(group.WaveformData, "<i2").reshape(-1, 2).T
    np.testing.assert_array_equal(stored == padding, missing)
    assert read(data).tracings == recording.tracings


def test_all_16_bit_values_taken_beside_a_gap_need_32_bits():
    samples = np.arange(-(2**15), 2**15).astype("i2").reshape(1, -1)
    samples = np.concatenate([samples, samples[:, :1]], axis=1)
    missing = np.zeros(samples.shape, bool)
    missing[0, -1] = True
    recording = Recording((Tracing((Channel("I"),), samples, Fraction(500), missing),))
    data = written(recording)
    assert opened(data).WaveformSequence[0].WaveformBitsAllocated == 32
    assert read(data).tracings == recording.tracings


QUICK = {"deadline": None, "suppress_health_check": list(HealthCheck), "phases": [Phase.explicit, Phase.generate]}
"""No shrinking: a failing recording is large anyway, and the search for a smaller one takes minutes."""


@settings(max_examples=40, **QUICK)
@given(full())
def test_every_field_of_any_recording_survives(recording):
    """Attributes, or lines of text where there are none: only tracings that no class holds are left behind."""
    try:
        data = written(recording)
    except RefusedError:
        return
    back = read(data)
    if len(back.tracings) < len(recording.tracings):
        return
    assert [t.digest for t in back.tracings] == [t.digest for t in recording.tracings]
    for name in ("measurements", "marks", "statements", "extras", "deidentification"):
        assert getattr(back, name) == getattr(recording, name), name
    assert not rules(data) & ERRORS


ERRORS = {rule.id.removeprefix("dicom.") for rule in dicom.RULES if rule.severity == "error"}


@settings(max_examples=8, **QUICK)
@given(plain())
def test_plain_recordings_satisfy_the_validator(tmp_path_factory, recording):
    data = written(recording)
    assert verified(data, tmp_path_factory.mktemp("vfy")) == []


@settings(max_examples=8, **QUICK)
@given(full())
def test_odd_recordings_satisfy_the_validator_but_for_its_own_limits(tmp_path_factory, recording):
    try:
        data = written(recording)
    except RefusedError:
        return
    if CLASSES["general-32"].encode() in data[:400]:
        return
    assert [e for e in verified(data, tmp_path_factory.mktemp("vfy")) if not ODD_VALUES.search(e)] == []


def test_a_deflated_object_satisfies_the_validator_once_it_is_unpacked(tmp_path):
    """dciodvfy cannot read deflated files: pydicom unpacks it, and nothing but the transfer syntax changes."""
    ds = opened(written(scenario(), **{"transfer-syntax": "deflated"}))
    ds.file_meta.TransferSyntaxUID = pydicom.uid.ExplicitVRLittleEndian
    buffer = io.BytesIO()
    ds.save_as(buffer)
    assert verified(buffer.getvalue(), tmp_path) == []
    assert buffer.getvalue() == written(scenario())


def test_marks_on_a_tracing_that_stays_behind_are_named_with_the_reason():
    recording = Recording(
        (tracing(rate=100), beat(rate=100)),
        marks=(Mark("p-onset", 1, Fraction(1, 10)), Mark("p-onset", 0, Fraction(1))),
    )
    encoded = dicom.encode(recording, "x", {})
    assert {n.path for n in encoded.notes if n.kind == "left"} == {"tracings[1]", "marks[0]"}
    assert [(m.concept, m.tracing) for m in read(encoded.main[1]).marks] == [("p-onset", 0)]


def test_every_field_of_the_model_has_an_account():
    from interchange.model.paths import field_paths

    for path in field_paths():
        parts = path.split(".")
        prefixes = {".".join(parts[:end]) for end in range(1, len(parts) + 1)}
        assert prefixes & set(dicom.ACCOUNT), path
    for path, place in dicom.ACCOUNT.items():
        assert place.where
        assert place.clause
        assert any(known == path or known.startswith(f"{path}.") for known in field_paths()), path


def test_the_account_says_text_only_where_a_line_is_needed():
    """Fields that the account gives an attribute of their own need no line for ordinary values."""
    lines = [item.TextValue for item in opened(written(scenario())).AcquisitionContextSequence if "TextValue" in item]
    paths = {
        line.split(":")[0].split("[")[0] + "." + line.split(":")[0].split(".")[-1]
        for text in lines
        for line in text.splitlines()[1:]
    }
    for path in paths:
        if path.startswith("group"):
            continue
        assert dicom.ACCOUNT[path].how == "text", path
