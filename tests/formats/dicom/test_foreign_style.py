"""Objects as other programs write them: legal or nearly so, and never differently read in silence.

Built with pydicom; what is expected was worked out by hand from the values in the object.
"""

from dataclasses import replace
from fractions import Fraction

import pytest
from pydicom.sequence import Sequence

from interchange.model import Code, Mark, Measurement
from tests.formats.dicom.support import annotation, channel, code, counts, ecg, group, opened, read, written

QT = ("2:16160", "MDC", "QT interval global")
R_WAVE = ("10:576", "MDC", "R wave")


def named(name, **values):
    return annotation(**{"ConceptNameCodeSequence": Sequence([code(*name)]), **values})


def number(name, value, unit="ms", **values):
    units = Sequence([code(unit, "UCUM", unit)])
    return named(name, NumericValue=value, MeasurementUnitsCodeSequence=units, **values)


def beat(**values):
    return group(
        counts(2, 300), WaveformOriginality="DERIVED", MultiplexGroupLabel="MEDIAN BEAT", TriggerSamplePosition=101,
        **values,
    )  # fmt: skip


def with_beat(*items, **values):
    """A rhythm of 4 s and a representative beat of 0.6 s, both at 500 per second."""
    groups = [group(counts(2, 2000)), beat()]
    return read(ecg(*groups, storage="general", WaveformAnnotationSequence=Sequence(list(items)), **values))


def two_rhythms(*items, **values):
    """Five seconds at 200 per second, and two seconds at 100 per second that begin 2.5 s later."""
    groups = [
        group(counts(2, 1000), SamplingFrequency="200", MultiplexGroupTimeOffset="0"),
        group(counts(2, 200), SamplingFrequency="100", MultiplexGroupTimeOffset="2500"),
    ]
    sequence = Sequence(list(items))
    return read(ecg(*groups, storage="general", **{"WaveformAnnotationSequence": sequence, **values}))


def found_rules(recording):
    return [finding.rule.removeprefix("dicom.") for finding in recording.findings]


def unread(recording):
    """Names of the attributes that were not taken in."""
    return {entry.place.rpartition(" ")[2] for entry in recording.unread}


# A measurement with its place ----------------------------------------------------------------------------------------


def test_a_number_with_a_segment_is_held_by_a_mark_at_that_place():
    item = number(
        QT, "400", ReferencedWaveformChannels=[2, 0], TemporalRangeType="SEGMENT", ReferencedSamplePositions=[51, 251]
    )
    found = with_beat(item)
    assert found.marks == (
        Mark(
            "other",
            1,
            Fraction(1, 10),
            Fraction(1, 2),
            measurements=(Measurement("qt-interval", 400, "ms", beat=0),),
            source_code=Code(*QT),
        ),
    )
    assert found.measurements == ()
    assert (found.unread, found.findings) == ((), ())


def test_a_number_with_a_point_in_one_lead():
    item = number(
        ("2:1024", "MDC", "J point Amplitude, per lead"), "0.12", "mV",
        ReferencedWaveformChannels=[1, 2], TemporalRangeType="POINT", ReferencedSamplePositions=[151],
        AnnotationGroupNumber=7,
    )  # fmt: skip
    mark = with_beat(item).marks[0]
    assert (mark.tracing, mark.lead, mark.start, mark.end, mark.group) == (0, "II", Fraction(3, 10), None, "7")
    assert mark.measurements == (Measurement("j-amplitude", 120, "uV", lead="II"),)


def test_as_many_numbers_as_places_go_one_to_each():
    item = number(
        ("2:16168", "MDC", "RR interval global"), ["800", "812"],
        TemporalRangeType="MULTIPOINT", ReferencedSamplePositions=[401, 807],
    )  # fmt: skip
    marks = with_beat(item).marks
    assert [(m.start, [v.value for v in m.measurements]) for m in marks] == [
        (Fraction(4, 5), [800]),
        (Fraction(806, 500), [812]),
    ]


def test_numbers_that_cannot_be_told_to_places_leave_the_places_unread():
    item = number(
        ("2:16168", "MDC", "RR interval global"), ["800", "812"],
        TemporalRangeType="MULTIPOINT", ReferencedSamplePositions=[401, 807, 1213],
    )  # fmt: skip
    found = with_beat(item)
    assert [m.value for m in found.measurements] == [800, 812]
    assert unread(found) == {"TemporalRangeType", "ReferencedSamplePositions"}


def test_a_number_beside_a_wave_does_not_say_what_it_measures_and_stays_unread():
    item = number(R_WAVE, "1.2", "mV", TemporalRangeType="POINT", ReferencedSamplePositions=[11])
    found = with_beat(item)
    assert [(m.concept, m.start, m.measurements) for m in found.marks] == [("r-wave", Fraction(1, 50), ())]
    assert unread(found) == {"NumericValue", "MeasurementUnitsCodeSequence"}


def test_a_placed_measurement_is_written_as_one_item_and_reads_back_alike():
    item = number(
        QT, "400", ReferencedWaveformChannels=[2, 0], TemporalRangeType="SEGMENT", ReferencedSamplePositions=[51, 251]
    )
    first = with_beat(item)
    data = written(first)
    items = opened(data).WaveformAnnotationSequence
    assert len(items) == 1
    assert items[0].ConceptNameCodeSequence[0].CodeValue == "2:16160"
    assert (items[0].NumericValue, items[0].MeasurementUnitsCodeSequence[0].CodeValue) == (400, "ms")
    assert list(items[0].ReferencedSamplePositions) == [51, 251]
    assert read(data).marks == first.marks
    assert read(data).measurements == ()


def test_a_placed_measurement_under_another_code_keeps_it():
    mark = Mark(
        "other",
        0,
        Fraction(1, 10),
        Fraction(1, 2),
        lead="II",
        measurements=(Measurement("qt-interval", 391, "ms", lead="II"),),
        source_code=Code("MDC_ECG_TIME_PD_QT", "2.16.840.1.113883.6.24", "QT"),
    )
    pair = replace(mark, measurements=(*mark.measurements, Measurement("qrs-duration", 98, "ms")))
    recording = replace(with_beat(), marks=(mark, pair, replace(mark, measurements=())))
    assert read(written(recording)).marks == recording.marks


# Units of measurements -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("unit", "scheme", "expected", "says"),
    [
        ("ms", "UCUM", (400, "ms"), []),
        ("s", "UCUM", (400_000, "ms"), []),
        ("min", "UCUM", (400, "min"), []),
        ("1", "UCUM", (400, None), []),  # no units
        ("mV", "UCUM", (400, "mV"), ["measurement-unit"]),
        ("ms", "99ELSE", (400, "ms"), ["measurement-unit"]),
        ("x", "99ELSE", (400, "x"), ["measurement-unit", "measurement-unit"]),
    ],
)
def test_a_unit_of_another_quantity_or_scheme_is_a_finding(unit, scheme, expected, says):
    item = named(QT, NumericValue="400", MeasurementUnitsCodeSequence=Sequence([code(unit, scheme, unit)]))
    found = two_rhythms(item)
    assert [(m.value, m.unit) for m in found.measurements] == [expected]
    assert found_rules(found) == says


@pytest.mark.parametrize(
    ("value", "meaning", "concept"),
    [
        ("2:15880", "QTc Bazett", "qtc-bazett"),
        ("2:15880", "QTc interval (BAZETT)", "qtc-bazett"),
        ("2:15880", "QTc Framingham", "qtc-framingham"),
        ("2:15892", "QTc Fridericia", "qtc-fridericia"),
        ("2:15892", "QTcF by Fredericia", "qtc-fridericia"),
        ("2:15892", "QTc Hodges", "qtc-hodges"),
        ("2:15880", "QTc Fridericia", "other"),  # not the number of this formula
        ("2:15880", "QTc Bazett or Framingham", "other"),
        ("2:15880", "QTc", "other"),
    ],
)
def test_a_number_that_two_formulas_share_is_told_by_the_name_in_its_meaning(value, meaning, concept):
    found = two_rhythms(number((value, "MDC", meaning), "420"))
    assert [(m.concept, m.value, m.unit) for m in found.measurements] == [(concept, 420, "ms")]
    assert found_rules(found) == (["concept-unknown"] if concept == "other" else [])


# One annotation on several groups ------------------------------------------------------------------------------------


def test_an_absolute_time_is_placed_on_each_group_by_its_own_start():
    item = named(
        R_WAVE,
        ReferencedWaveformChannels=[1, 1, 2, 1],
        TemporalRangeType="POINT",
        ReferencedDateTime="20310405140310.25",  # 3.25 s after the start of acquisition
    )
    found = two_rhythms(item)
    assert [(m.tracing, m.start) for m in found.marks] == [(0, Fraction(13, 4)), (1, Fraction(3, 4))]
    assert found.findings == ()


def test_an_absolute_time_outside_a_group_is_a_finding():
    item = named(
        R_WAVE, ReferencedWaveformChannels=[1, 0, 2, 0], TemporalRangeType="POINT",
        ReferencedDateTime="20310405140308",
    )  # fmt: skip
    assert found_rules(two_rhythms(item)) == ["annotation-position"]


def test_begin_and_end_reach_to_the_ends_of_each_group():
    begin = named(R_WAVE, ReferencedWaveformChannels=[1, 0, 2, 0], TemporalRangeType="BEGIN",
                  ReferencedDateTime="20310405140310")  # fmt: skip
    end = named(R_WAVE, ReferencedWaveformChannels=[2, 0, 1, 0], TemporalRangeType="END",
                ReferencedDateTime="20310405140310")  # fmt: skip
    assert [(m.tracing, m.start, m.end) for m in two_rhythms(begin, end).marks] == [
        (0, 3, 5),
        (1, Fraction(1, 2), 2),
        (1, 0, Fraction(1, 2)),
        (0, 0, 3),
    ]


def test_a_mark_about_everything_ends_where_each_group_ends():
    item = named(("10:11232", "MDC", "Severe Noise"), ReferencedWaveformChannels=[1, 0, 2, 0])
    assert [(m.tracing, m.start, m.end) for m in two_rhythms(item).marks] == [(0, 0, 5), (1, 0, 2)]


def test_sample_positions_count_in_each_group_at_its_own_rate():
    item = named(R_WAVE, ReferencedWaveformChannels=[1, 0, 2, 0], TemporalRangeType="POINT",
                 ReferencedSamplePositions=[101])  # fmt: skip
    found = two_rhythms(item)
    assert [(m.tracing, m.start) for m in found.marks] == [(0, Fraction(1, 2)), (1, 1)]
    assert found_rules(found) == ["annotation-groups"]


def test_a_global_value_of_two_groups_is_one():
    found = two_rhythms(number(QT, "400", ReferencedWaveformChannels=[1, 0, 2, 0]))
    assert found.measurements == (Measurement("qt-interval", 400, "ms"),)
    assert found.unread == ()


def test_a_global_value_of_rhythm_and_beat_is_the_recordings_and_the_reference_unread():
    found = with_beat(number(QT, "400", ReferencedWaveformChannels=[1, 0, 2, 0]))
    assert found.measurements == (Measurement("qt-interval", 400, "ms"),)
    assert unread(found) == {"ReferencedWaveformChannels"}


def test_a_value_of_two_leads_stays_two():
    item = number(("2:768", "MDC", "ST Amplitude"), "100", "uV", ReferencedWaveformChannels=[1, 1, 1, 2])
    assert [(m.lead, m.value) for m in two_rhythms(item).measurements] == [("I", 100), ("II", 100)]


# Texts ---------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("time", ["20310405120307+0000", "yesterday"])
def test_a_text_that_cannot_be_placed_is_a_statement_and_its_place_unread(time):
    item = annotation(UnformattedTextValue="patient moved", TemporalRangeType="POINT")
    item.add_new("ReferencedDateTime", "LO" if time.isalpha() else "DT", time)
    found = two_rhythms(item)  # whose time of acquisition has no zone
    assert [s.text for s in found.statements] == ["patient moved"]
    assert found.marks == ()
    assert unread(found) == {"TemporalRangeType", "ReferencedDateTime"}
    assert "annotation-range" in found_rules(found)


def test_a_wave_that_cannot_be_placed_is_unread_as_a_whole():
    found = two_rhythms(named(R_WAVE, TemporalRangeType="POINT", ReferencedDateTime="20310405120307+0000"))
    assert (found.marks, found.measurements) == ((), ())
    assert {"ConceptNameCodeSequence", "ReferencedDateTime", "TemporalRangeType"} <= unread(found)


def test_a_number_that_cannot_be_placed_is_a_measurement():
    found = two_rhythms(number(QT, "400", TemporalRangeType="POINT", ReferencedDateTime="20310405120307+0000"))
    assert found.measurements == (Measurement("qt-interval", 400, "ms"),)
    assert unread(found) == {"TemporalRangeType", "ReferencedDateTime"}


def test_one_of_two_times_that_cannot_be_placed_is_unread():
    item = named(R_WAVE, TemporalRangeType="MULTIPOINT",
                 ReferencedDateTime=["20310405140308", "20310405120307+0000"])  # fmt: skip
    found = two_rhythms(item)
    assert [m.start for m in found.marks] == [1]
    assert unread(found) == {"ReferencedDateTime"}


@pytest.mark.parametrize("place", [{}, {"TemporalRangeType": "POINT", "ReferencedSamplePositions": [51]}])
def test_a_number_beside_a_text_is_unread(place):
    item = annotation(
        UnformattedTextValue="QT",
        NumericValue="400",
        MeasurementUnitsCodeSequence=Sequence([code("ms", "UCUM", "ms")]),
        **place,
    )
    found = two_rhythms(item)
    assert [s.text for s in found.statements] + [m.text for m in found.marks] == ["QT"]
    assert found.measurements == ()
    assert unread(found) == {"NumericValue", "MeasurementUnitsCodeSequence"}


def test_a_number_beside_a_coded_finding_is_unread():
    values = Sequence([code("164854000", "SCT", "Normal")])
    item = number(("271921002", "SCT", "ECG Finding"), "1", "1", ConceptCodeSequence=values)
    found = two_rhythms(item)
    assert [s.text for s in found.statements] == ["Normal"]
    assert unread(found) == {"NumericValue", "MeasurementUnitsCodeSequence"}


def test_a_text_beside_name_and_value_is_unread():
    values = Sequence([code("164854000", "SCT", "Normal")])
    item = named(("271921002", "SCT", "ECG Finding"), ConceptCodeSequence=values, UnformattedTextValue="as before")
    found = two_rhythms(item)
    assert [s.text for s in found.statements] == ["Normal"]
    assert unread(found) == {"UnformattedTextValue"}
    assert found_rules(found) == ["annotation-form"]


@pytest.mark.parametrize(
    ("refers", "extras"),
    [
        ([1, 0], ()),
        ([2, 0], (("dicom.groups", "2"),)),
        ([1, 0, 2, 0], (("dicom.groups", "1 2"),)),
        ([1, 2], (("dicom.leads", "II"),)),
        ([1, 1, 1, 2], (("dicom.leads", "I II"),)),
        ([2, 2], (("dicom.leads", "II"), ("dicom.groups", "2"))),
    ],
)
def test_what_a_text_refers_to_stays_beside_it(refers, extras):
    values = Sequence([code("164854000", "SCT", "Normal")])
    finding = named(("271921002", "SCT", "ECG Finding"), ConceptCodeSequence=values, ReferencedWaveformChannels=refers)
    found = two_rhythms(annotation(UnformattedTextValue="seen", ReferencedWaveformChannels=refers), finding)
    assert [(s.text, s.extras) for s in found.statements] == [("seen", extras), ("Normal", extras)]
    assert read(written(found)).statements == found.statements


# Size ----------------------------------------------------------------------------------------------------------------


def test_references_times_places_do_not_grow_without_bound():
    """Some kilobytes that would be tens of millions of marks."""
    leads = tuple(f"X{number}" for number in range(1000))
    item = named(
        R_WAVE, ReferencedWaveformChannels=[n for row in range(1000) for n in (1, row + 1)],
        TemporalRangeType="MULTIPOINT", ReferencedSamplePositions=[1, 2, 3, 4] * 5000,
    )  # fmt: skip
    whole = named(R_WAVE, TemporalRangeType="MULTIPOINT", ReferencedSamplePositions=[1, 2, 3, 4] * 5000)
    channels = Sequence([channel(lead, ChannelLabel=lead) for lead in leads])
    rhythm = group(counts(1000, 10), leads, ChannelDefinitionSequence=channels)
    found = read(ecg(rhythm, storage="general", WaveformAnnotationSequence=Sequence([item, whole])))
    assert {mark.lead for mark in found.marks} == {None}
    assert len(found.marks) == 20_000
    assert found_rules(found) == ["annotation-size"]
    assert "ReferencedSamplePositions" in unread(found)


def test_a_reference_that_is_there_twice_counts_once():
    item = named(R_WAVE, ReferencedWaveformChannels=[1, 0] * 1000, TemporalRangeType="MULTIPOINT",
                 ReferencedSamplePositions=[11] * 1000)  # fmt: skip
    assert len(two_rhythms(item).marks) == 1000
