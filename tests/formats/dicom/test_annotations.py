"""Waveform annotations read (PS3.3 C.10.10): forms, temporal ranges, references; objects built with pydicom."""

from fractions import Fraction

import pytest
from pydicom.sequence import Sequence

from interchange.model import Code
from tests.formats.dicom.support import annotation, code, counts, ecg, group, opened, read, rules, written

P_WAVE = ("10:256", "MDC", "P wave")


def recording_with(*items, groups=None, **values):
    groups = groups or [group(counts(2, 500)), group(counts(2, 100), MultiplexGroupTimeOffset="2000")]
    return read(ecg(*groups, WaveformAnnotationSequence=Sequence(list(items)), **values))


def named(name=P_WAVE, **values):
    return annotation(**{"ConceptNameCodeSequence": Sequence([code(*name)]), **values})


def number(name, value, unit, **values):
    units = Sequence([code(unit, "UCUM", unit)])
    return named(name, NumericValue=value, MeasurementUnitsCodeSequence=units, **values)


RANGES = [
    ("POINT", [101], [(Fraction(1, 5), None)]),
    ("MULTIPOINT", [1, 101, 201], [(Fraction(0), None), (Fraction(1, 5), None), (Fraction(2, 5), None)]),
    ("SEGMENT", [101, 151], [(Fraction(1, 5), Fraction(3, 10))]),
    ("MULTISEGMENT", [1, 51, 101, 151], [(Fraction(0), Fraction(1, 10)), (Fraction(1, 5), Fraction(3, 10))]),
    ("BEGIN", [101], [(Fraction(1, 5), Fraction(1))]),
    ("END", [101], [(Fraction(0), Fraction(1, 5))]),
]


@pytest.mark.parametrize(("kind", "positions", "spans"), RANGES)
def test_every_temporal_range_type_in_samples_from_1(kind, positions, spans):
    found = recording_with(named(TemporalRangeType=kind, ReferencedSamplePositions=positions))
    assert [(m.start, m.end) for m in found.marks] == spans
    assert {(m.concept, m.tracing, m.lead) for m in found.marks} == {("p-wave", 0, None)}
    assert found.findings == ()


def test_time_offsets_count_from_the_start():
    item = named(TemporalRangeType="SEGMENT", ReferencedTimeOffsets=["0.1003", "0.25"])
    assert [(m.start, m.end) for m in recording_with(item).marks] == [(Fraction(1003, 10000), Fraction(1, 4))]


def test_absolute_times_are_placed_on_the_tracing():
    item = named(TemporalRangeType="POINT", ReferencedDateTime="20310405140309.1", ReferencedWaveformChannels=[2, 0])
    mark = recording_with(item).marks[0]
    assert (mark.tracing, mark.start) == (1, Fraction(1, 10))


def test_absolute_times_in_another_zone():
    item = named(TemporalRangeType="POINT", ReferencedDateTime="20310405120307.5+0000")
    found = recording_with(item, TimezoneOffsetFromUTC="+0200")
    assert found.acquisition.time.zone == 120
    assert found.marks[0].start == Fraction(1, 2)


def test_references_to_channels_and_groups():
    item = named(TemporalRangeType="POINT", ReferencedSamplePositions=[11], ReferencedWaveformChannels=[1, 2, 2, 0])
    found = recording_with(item)
    assert [(m.tracing, m.lead) for m in found.marks] == [(0, "II"), (1, None)]
    assert "dicom.annotation-groups" in {f.rule for f in found.findings}


def test_a_mark_without_range_is_about_everything_it_refers_to():
    item = named(("10:11232", "MDC", "Severe Noise"), ReferencedWaveformChannels=[2, 1])
    mark = recording_with(item).marks[0]
    assert (mark.concept, mark.tracing, mark.start, mark.end, mark.lead) == ("severe-noise", 1, 0, Fraction(1, 5), "I")


def test_a_note_with_a_place():
    item = annotation(UnformattedTextValue="patient moved", TemporalRangeType="POINT", ReferencedSamplePositions=[51])
    mark = recording_with(item).marks[0]
    assert (mark.concept, mark.text, mark.start) == ("note", "patient moved", Fraction(1, 10))


def test_statements_and_their_groups():
    items = [
        annotation(UnformattedTextValue=text, AnnotationGroupNumber=n) for text, n in (("A", 5), ("B", 5), ("C", 9))
    ]
    assert [(s.text, s.group) for s in recording_with(*items).statements] == [("A", 0), ("B", 0), ("C", 1)]


def test_coded_findings_are_statements_with_a_code():
    item = named(
        ("271921002", "SCT", "ECG Finding"),
        ConceptCodeSequence=Sequence([code("49436004", "SCT", "Atrial Fibrillation")]),
    )
    overall = named(
        ("18810-2", "LN", "ECG overall finding"),
        ConceptCodeSequence=Sequence([code("102594003", "SCT", "Abnormal ECG")]),
    )
    found = recording_with(item, overall).statements
    assert (found[0].text, found[0].codes) == ("Atrial Fibrillation", (Code("49436004", "SCT", "Atrial Fibrillation"),))
    assert (found[1].kind, found[1].text) == ("overall-finding", "Abnormal ECG")


@pytest.mark.parametrize(
    ("name", "value", "unit", "expected"),
    [
        (("2:16168", "MDC", "RR interval global"), "812", "ms", ("rr-interval", 812, "ms", None)),
        (("2:16000", "MDC", "RR"), "0.8125", "s", ("rr-interval", Fraction(1625, 2), "ms", None)),
        (
            ("2:16016", "MDC", "Ventricular Heart Rate"),
            "74",
            "{H.B.}/min",
            ("heart-rate-ventricular", 74, "/min", None),
        ),
        (("2:16770", "MDC", "Heart rate"), "74", "/min", ("heart-rate", 74, "/min", None)),
        (("2:16132", "MDC", "QRS Axis"), "-31", "deg", ("qrs-axis", -31, "deg", None)),
        (("2:1024", "MDC", "J point Amplitude, per lead"), "0.125", "mV", ("j-amplitude", 125, "uV", "II")),
        (("2:1026", "MDC", "J point Amplitude of lead II"), "-50", "uV", ("j-amplitude", -50, "uV", "II")),
        (("5.10.2.1-3", "SCPECG", "RR Interval"), "982", "ms", ("rr-interval", 982, "ms", None)),
    ],
)
def test_measurements_by_code_unit_and_lead(name, value, unit, expected):
    refers = [1, 2] if "per lead" in name[2] else [1, 0]
    found = recording_with(number(name, value, unit, ReferencedWaveformChannels=refers)).measurements[0]
    assert (found.concept, found.value, found.unit, found.lead) == expected


def test_a_measurement_on_the_representative_beat_says_so():
    beat = group(
        counts(2, 300), WaveformOriginality="DERIVED", MultiplexGroupLabel="MEDIAN BEAT", TriggerSamplePosition=101
    )
    item = number(("2:16156", "MDC", "QRS duration global"), "96", "ms", ReferencedWaveformChannels=[2, 0])
    found = recording_with(item, groups=[group(counts(2, 2000)), beat])
    assert found.measurements[0].beat == 0
    assert (found.tracings[1].kind, found.tracings[1].fiducial, found.tracings[1].of) == (
        "representative beat",
        Fraction(1, 5),
        0,
    )


def test_an_unknown_concept_keeps_its_own_code():
    found = recording_with(number(("X-1", "99ELSE", "Something new"), "3", "mm"))
    assert found.measurements[0].concept == "other"
    assert found.measurements[0].source_code == Code("X-1", "99ELSE", "Something new")
    assert "dicom.concept-unknown" in {f.rule for f in found.findings}


def test_zero_is_a_value_in_the_current_scheme_and_not_measured_in_the_retired_one():
    new = recording_with(number(("2:16140", "MDC", "PP interval global"), "0", "ms")).measurements[0]
    old = recording_with(number(("5.10.2.1-5", "SCPECG", "PP Interval"), "0", "ms")).measurements[0]
    assert (new.value, new.absent) == (0, None)
    assert (old.value, old.absent) == (None, "not-measured")


@pytest.mark.parametrize(
    ("meaning", "concept"),
    [("Paced beat", "paced-beat"), ("ventricle Defibrillation spike", "ventricular-defibrillation-spike")],
)
def test_one_number_printed_twice_is_told_by_its_meaning(meaning, concept):
    item = named(("10:8704", "MDC", meaning), TemporalRangeType="POINT", ReferencedSamplePositions=[1])
    assert recording_with(item).marks[0].concept == concept


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ({"ReferencedWaveformChannels": [3, 0]}, "annotation-reference"),
        ({"ReferencedWaveformChannels": [1, 9]}, "annotation-reference"),
        ({"ReferencedWaveformChannels": [0, 1]}, "annotation-reference"),
        ({"ReferencedWaveformChannels": [1]}, "annotation-reference"),
        ({"ReferencedSamplePositions": [0]}, "annotation-position"),
        ({"ReferencedSamplePositions": [501]}, "annotation-position"),
        ({"ReferencedSamplePositions": [1, 2]}, "annotation-range"),
        ({"TemporalRangeType": "SEGMENT"}, "annotation-range"),
        ({"TemporalRangeType": "SEGMENTS"}, "enumerated-value"),
        ({"UnformattedTextValue": "both"}, "annotation-form"),
        ({"ConceptNameCodeSequence": None}, "annotation-form"),
    ],
)
def test_what_cannot_be_placed_is_reported(values, rule):
    right = {"TemporalRangeType": "POINT", "ReferencedSamplePositions": [500]}
    good = ecg(group(counts(2, 500)), WaveformAnnotationSequence=Sequence([named(**right)]))
    assert rule not in rules(good)
    bad = ecg(group(counts(2, 500)), WaveformAnnotationSequence=Sequence([named(**{**right, **values})]))
    assert rule in rules(bad)


def test_marks_of_the_rhythm_are_not_taken_for_those_of_the_beat():
    """Only a set whose fiducial lies at the trigger, in the retired scheme, and within the beat is moved."""
    beat = group(
        counts(2, 300), WaveformOriginality="DERIVED", MultiplexGroupLabel="MEDIAN BEAT", TriggerSamplePosition=101
    )

    def mark(at):
        return named(
            ("5.7.1-3", "SCPECG", "Fiducial Point"), TemporalRangeType="POINT", ReferencedSamplePositions=[at],
            AnnotationGroupNumber=7,
        )  # fmt: skip

    groups = [group(counts(2, 2000)), beat]
    assert recording_with(mark(101), groups=groups).marks[0].tracing == 1
    assert recording_with(mark(102), groups=groups).marks[0].tracing == 0
    assert [m.tracing for m in recording_with(mark(101), mark(400), groups=groups).marks] == [0, 0]


@pytest.mark.parametrize(
    ("modifier", "concept"),
    [
        ("122730", "qtc-bazett"),
        ("122731", "qtc-hodges"),
        ("122732", "qtc-fridericia"),
        ("122733", "qtc-framingham"),
        (None, "qtc-interval"),
    ],
)
def test_the_formula_of_a_corrected_qt_is_told_by_its_modifier(modifier, concept):
    name = code("2:15876", "MDC", "QTc interval global")
    if modifier:
        name.ModifierCodeSequence = Sequence([code(modifier, "DCM", "formula")])
    item = annotation(ConceptNameCodeSequence=Sequence([name]), NumericValue="420")
    found = recording_with(item)
    assert found.measurements[0].concept == concept
    again = read(written(found))
    assert again.measurements == found.measurements


def test_an_unknown_modifier_stays_unread():
    name = code(*P_WAVE)
    name.ModifierCodeSequence = Sequence([code("X", "99Y", "somehow")])
    found = recording_with(annotation(ConceptNameCodeSequence=Sequence([name]), TemporalRangeType="BEGIN",
                                      ReferencedSamplePositions=[1]))  # fmt: skip
    assert any("ModifierCodeSequence[1]" in entry.place for entry in found.unread)


def test_a_coded_value_keeps_words_and_code():
    item = named(("X-7", "99ELSE", "Morphology"), ConceptCodeSequence=Sequence([code("M-2", "99ELSE", "biphasic")]))
    found = recording_with(item)
    assert (found.measurements[0].text, found.measurements[0].extras) == ("biphasic", (("dicom.value", "M-2 99ELSE"),))
    stored = opened(written(found)).WaveformAnnotationSequence[0].ConceptCodeSequence[0]
    assert (stored.CodeValue, stored.CodingSchemeDesignator, stored.CodeMeaning) == ("M-2", "99ELSE", "biphasic")


def test_a_measurement_of_one_beat_stays_with_its_marks():
    mark = named(TemporalRangeType="POINT", ReferencedSamplePositions=[11], AnnotationGroupNumber=7)
    value = number(("2:16156", "MDC", "QRS duration global"), "96", "ms", AnnotationGroupNumber=7)
    alone = number(("2:16160", "MDC", "QT interval global"), "400", "ms", AnnotationGroupNumber=8)
    found = recording_with(mark, value, alone)
    assert [m.extras for m in found.measurements] == [(("dicom.group", "7"),), ()]
    again = opened(written(found)).WaveformAnnotationSequence
    assert [item.get("AnnotationGroupNumber") for item in again] == [7, None, 7]


def test_text_and_name_together_lose_neither():
    item = named(UnformattedTextValue="words", TemporalRangeType="POINT", ReferencedSamplePositions=[1])
    found = recording_with(item)
    assert (found.marks[0].concept, found.marks[0].text) == ("p-wave", "words")


def test_what_a_context_item_says_is_listed_when_nobody_understands_it():
    item = code("109054", "DCM", "Patient State")
    context = annotation(ReferencedWaveformChannels=None, ValueType="CODE", ConceptNameCodeSequence=Sequence([item]),
                         ConceptCodeSequence=Sequence([code("128975004", "SCT", "Resting State")]))  # fmt: skip
    places = [entry.place.split(" ")[-1] for entry in read(ecg(AcquisitionContextSequence=Sequence([context]))).unread]
    assert places == ["ValueType", "ConceptNameCodeSequence", "ConceptCodeSequence"]
