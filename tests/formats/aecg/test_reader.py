"""What the reader makes of sound documents, judged by a plain decoder and by hand."""

from __future__ import annotations

import os
import re
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from lxml import etree

from interchange.formats import aecg
from interchange.formats.aecg import read_series
from interchange.model import Code, Device, Filters, Identifier, Measurement, Moment, Person, PersonName, Quantity
from tests.formats.aecg import plain
from tests.formats.aecg.support import (
    START,
    annotations,
    check,
    edited,
    kept,
    message,
    read,
    region,
    rules,
    sequence_set,
    series,
    time_boundary,
)

SHARED = Path(__file__).parents[4] / "shared" / "data" / "hl7-v3-schemas"
SKELETONS = Path(os.environ.get("HL7_V3_SCHEMAS", SHARED)) / "own-skeletons"
needs_skeletons = pytest.mark.skipif(not SKELETONS.is_dir(), reason="the independent skeletons are not at hand")


def test_the_kept_message() -> None:
    recording = read(kept())
    assert recording.document_id == Identifier("7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a")
    patient = recording.patient
    assert patient.ids == (Identifier("S-77", "2.999.7.3"),)
    assert (patient.name, patient.sex, patient.birth_date) == (PersonName(text="T. T."), "male", Moment(1961))
    assert patient.age == Quantity(69, "a")
    acquisition = recording.acquisition
    assert acquisition.time == Moment(2031, 1, 2, 3, 4, Fraction(5), 0)
    assert acquisition.devices == (Device("acquiring", model="Box", serial="SN-9", software=("9.1",)),)
    assert acquisition.operator == Person(ids=(Identifier("N-5", "2.999.7.2"),))
    assert acquisition.filters == Filters(lowpass=Fraction(40))
    assert acquisition.remarks == ("A remark on the whole.", "Cold hands")
    assert acquisition.site is not None
    assert (acquisition.site.institution, acquisition.site.address) == ("Nowhere", "Null")
    trial = recording.trial
    assert trial is not None
    assert (trial.id, trial.title, trial.sponsor) == (Identifier("T-5", "2.999.7.4"), "Trial of nothing", "Nobody Ltd")
    assert trial.subject == patient.ids[0]
    assert trial.investigator == Person(ids=(Identifier("I-1", "2.999.7.5"),))
    assert (trial.timepoint, trial.timepoint_time) == (Code("V2", "2.999.7.1"), Moment(2031, 1, 2, 3))
    rhythm, beat = recording.tracings
    assert (rhythm.kind, rhythm.names, rhythm.rate, rhythm.start) == ("rhythm", ("I", "II"), 250, 0)
    assert rhythm.samples.tolist() == [[1, -2, 3], [4, 5, -6]]
    assert {channel.step for channel in rhythm.channels} == {Fraction(122, 25)}
    assert (beat.kind, beat.names, beat.of, beat.samples.tolist()) == ("representative beat", ("II",), 0, [[7, 8]])
    assert [entry.place for entry in recording.unread] == [
        "/AnnotatedECG/pertainsTo/subjectFindingComment/author, line 35",
        "/AnnotatedECG/component/series/secondaryPerformer/functionCode, line 42",
        "/AnnotatedECG/component/series/subjectOf/annotationSet/author/assignedEntity/id, line 60",
    ]
    assert recording.findings == ()
    statement = recording.statements[0]
    assert (statement.text, statement.author, statement.author_kind) == ("measured by hand", "R. R.", "person")
    mark = recording.marks[0]
    assert (mark.tracing, mark.start, mark.end) == (0, 0, Fraction(8, 1000))
    assert mark.measurements == (Measurement("qt-interval", 388, "ms"),)


def without_places(text: str) -> object:
    recording = read(text)
    return recording.with_(unread=tuple(entry.what for entry in recording.unread), findings=())


def test_the_three_generations_say_the_same() -> None:
    first = without_places(kept("r1-2004"))
    assert without_places(kept("ne2009")) == first
    root = etree.fromstring(kept("ne2009").encode())
    for parent in root.iter("{*}AnnotatedECG", "{*}series"):
        last = parent.findall("{*}component")[-1]
        for variable in reversed(parent.findall("{*}controlVariable")):
            last.addnext(variable)
    assert without_places(etree.tostring(root).decode()) == first


def test_namespaces_and_prefixes_do_not_matter() -> None:
    first = without_places(kept())
    root = etree.fromstring(kept().encode())
    prefixed = re.sub(r"<(/?)([A-Za-z])", r"<\1v3:\2", etree.tostring(root).decode()).replace("xmlns=", "xmlns:v3=")
    prefixed = re.sub(r'xsi:type="', 'xsi:type="v3:', prefixed)
    assert without_places(prefixed) == first
    bare = kept().replace(' xmlns="urn:hl7-org:v3"', "")
    assert without_places(bare) == first
    assert rules(read(bare)) == {"aecg.namespace"}


@needs_skeletons
@pytest.mark.parametrize("name", ["minimal-r1-2004", "minimal-ne2009", "full-r1-2004", "full-ne2009"])
def test_samples_are_those_of_a_plain_decoder(name: str) -> None:
    data = (SKELETONS / f"{name}.xml").read_bytes()
    recording = read(data)
    sets = plain.sets_of(plain.root_of(data))
    seen = 0
    for tracing in recording.tracings:
        for row, channel in enumerate(tracing.channels):
            code = f"MDC_ECG_LEAD_{channel.name.upper()}"
            whole: list[Fraction] = []
            for one in sets:
                if (one.series == "RHYTHM") == (tracing.kind == "rhythm") and code in one.leads:
                    assert 1 / one.step == tracing.rate
                    whole += one.leads[code]
            gone = np.zeros(tracing.length, dtype=bool) if tracing.missing is None else tracing.missing[row]
            values = [channel.offset + channel.step * int(v) for v in tracing.samples[row][~gone]]
            assert values == whole
            seen += len(whole)
    assert seen == sum(len(values) for one in sets for values in one.leads.values())
    assert rules(recording) == set()


@needs_skeletons
def test_the_full_skeleton_in_words() -> None:
    recording = read((SKELETONS / "full-r1-2004.xml").read_bytes())
    values = {(m.concept, m.lead): m.value for m in recording.measurements if not m.extras}
    assert values[("pr-interval", None)] == 148
    assert values[("qtc-bazett", None)] == 429
    assert values[("st-amplitude", "II")] == 35
    assert values[("j-amplitude", "V5")] == 22
    by_hand = [m for m in recording.measurements if m.extras]
    assert [(m.concept, m.value, dict(m.extras)["aecg.author"]) for m in by_hand] == [("qt-interval", 394, "G. H.")]
    assert [s.text for s in recording.statements] == ["Sinus rhythm", "Left axis deviation", "Borderline ECG"]
    assert {s.author for s in recording.statements} == {"Model X 1.0"}
    marks = {(m.concept, m.tracing): (m.start, m.end, m.lead) for m in recording.marks}
    assert marks[("p-wave", 0)] == (Fraction(2, 1000), Fraction(4, 1000), None)
    assert marks[("t-offset", 0)] == (Fraction(16, 1000), None, None)
    assert marks[("pacing-spike", 0)] == (Fraction(3, 1000), None, None)
    assert marks[("no-signal", 0)] == (2, Fraction(2016, 1000), "V1")
    assert marks[("qrs-complex", 1)] == (Fraction(4, 1000), Fraction(8, 1000), None)
    beat = next(m for m in recording.marks if m.concept == "normal-beat")
    assert [(m.concept, m.value, m.lead) for m in beat.measurements] == [("qt-interval", 390, "II")]
    assert dict(beat.measurements[0].extras) == {"aecg.start": "0.004", "aecg.end": "0.016"}


STRICT = '<sequence classCode="OBS" moodCode="EVN">'
DETOURS = {
    "strict": ("", ""),
    "another attribute": (STRICT, '<sequence classCode="OBS" moodCode="EVN" nullFlavor="NI">'),
    "comment between": ("<digits>4 5 -6</digits>", "<!-- x --><digits>4 5 -6</digits>"),
    "prefixed type": ('xsi:type="SLIST_PQ"', 'xmlns:v3="urn:hl7-org:v3" xsi:type="v3:SLIST_PQ"'),
    "display name": ('code="MDC_ECG_LEAD_II"', 'code="MDC_ECG_LEAD_II" displayName="Lead two"'),
    "two units of voltage": ('<scale value="4.88" unit="uV"/>', '<scale value="0.00488" unit="mV"/>'),
    "other spelling": ('code="MDC_ECG_LEAD_II"', 'code="mdc_ecg_lead_ii"'),
    "plus signs": ("<digits>4 5 -6</digits>", "<digits>+4 +5 -6</digits>"),
}


@pytest.mark.parametrize("name", DETOURS)
def test_the_short_and_the_long_way_to_samples_agree(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    text = edited(DETOURS[name]) if name != "strict" else kept()
    short = read(text)
    monkeypatch.setattr(read_series, "plain_row", lambda component, prefix: None)
    long = read(text)
    assert short == long
    assert short.tracings[0].samples.tolist() == [[1, -2, 3], [4, 5, -6]]
    assert {channel.step for channel in short.tracings[0].channels} == {Fraction(122, 25)}


def test_the_short_way_is_gone_where_it_can_be(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise AssertionError("the long way was gone")

    monkeypatch.setattr(read_series, "_row", fail)
    assert read(kept()).tracings[0].names == ("I", "II")


# Several sets and series -------------------------------------------------------------------------------------------


def test_a_gap_in_a_series_becomes_missing_samples() -> None:
    sets = sequence_set({"MDC_ECG_LEAD_I": "1 2", "MDC_ECG_LEAD_II": "3 4"})
    later = sequence_set({"MDC_ECG_LEAD_II": "5 6"}, "20310102030405.020+0000")
    (tracing,) = read(message(series(sets, later))).tracings
    assert tracing.samples.tolist() == [[1, 2, 0, 0, 0, 0, 0], [3, 4, 0, 0, 0, 5, 6]]
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[False] * 2 + [True] * 5, [False] * 2 + [True] * 3 + [False] * 2]


def test_leads_recorded_one_group_after_the_other_are_tracings_of_their_own() -> None:
    first = sequence_set({"MDC_ECG_LEAD_I": "1 2", "MDC_ECG_LEAD_II": "3 4"})
    second = sequence_set({"MDC_ECG_LEAD_V1": "5 6"}, "20310102030405.008+0000")
    tracings = read(message(series(first, second))).tracings
    assert [(t.names, t.start) for t in tracings] == [(("I", "II"), 0), (("V1",), Fraction(8, 1000))]


def test_overlapping_sets_are_kept_apart() -> None:
    layout = sequence_set({"MDC_ECG_LEAD_I": "1 2 3"})
    strip = sequence_set({"MDC_ECG_LEAD_I": "1 2 3 4 5 6"})
    recording = read(message(series(layout, strip)))
    assert [t.length for t in recording.tracings] == [3, 6]
    assert rules(recording) == {"aecg.sets-not-joined"}


def test_another_rate_or_a_time_between_two_samples_is_another_tracing() -> None:
    first = sequence_set({"MDC_ECG_LEAD_I": "1 2"})
    faster = sequence_set({"MDC_ECG_LEAD_I": "1 2"}, "20310102030405.020+0000", "0.002")
    between = sequence_set({"MDC_ECG_LEAD_I": "1 2"}, "20310102030405.021+0000")
    assert len(read(message(series(first, faster))).tracings) == 2
    assert len(read(message(series(first, between))).tracings) == 2


def test_repeated_recordings_are_several_tracings() -> None:
    later = sequence_set({"MDC_ECG_LEAD_I": "3 4"}, "20310102030505.000+0000")
    recording = read(message(series(sequence_set({"MDC_ECG_LEAD_I": "1 2"})), series(later)))
    assert [t.start for t in recording.tracings] == [0, 60]


def test_relative_times_count_from_the_series() -> None:
    relative = sequence_set({"MDC_ECG_LEAD_I": "1 2"}).replace("TIME_ABSOLUTE", "TIME_RELATIVE")
    relative = relative.replace("GLIST_TS", "GLIST_PQ").replace(
        f'<head value="{START}"/>', '<head value="500" unit="ms"/>'
    )
    recording = read(message(series(relative)))
    assert recording.acquisition.time == Moment(2031, 1, 2, 3, 4, Fraction(11, 2), 0)
    assert recording.tracings[0].start == 0
    assert rules(recording) == set()


def test_without_any_instant_the_first_sample_is_the_origin() -> None:
    relative = sequence_set({"MDC_ECG_LEAD_I": "1 2"}).replace("TIME_ABSOLUTE", "TIME_RELATIVE")
    relative = relative.replace("GLIST_TS", "GLIST_PQ").replace(
        f'<head value="{START}"/>', '<head value="2" unit="s"/>'
    )
    text = message(series(relative)).replace(f'<low value="{START}"/>', '<low value="20310102"/>')
    recording = read(text)
    assert recording.acquisition.time == Moment(2031, 1, 2)
    assert recording.tracings[0].start == 0


def test_listed_times_are_taken_when_they_are_even() -> None:
    even = sequence_set({"MDC_ECG_LEAD_I": "1 2 3"}).replace("GLIST_TS", "SLIST_TS")
    old = f'<head value="{START}"/><increment value="0.004" unit="s"/>'
    listed = f'<origin value="{START}"/><scale value="2" unit="ms"/><digits>0 2 4</digits>'
    assert read(message(series(even.replace(old, listed)))).tracings[0].rate == 250
    uneven = even.replace(old, listed.replace("0 2 4", "0 2 5"))
    assert "aecg.uneven-time" in {finding.rule for finding in check(message(series(uneven)))}


def test_a_pad_value_marks_missing_samples() -> None:
    pad = (
        '<controlVariable><controlVariable><code code="MDC_ECG_CTL_VBL_PAD_VALUE"/>'
        '<value xsi:type="INT" value="-32768"/></controlVariable></controlVariable>'
    )
    (tracing,) = read(message(series(pad, sequence_set({"MDC_ECG_LEAD_I": "1 -32768 3"})))).tracings
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[False, True, False]]


def test_several_derived_series_are_beats_of_their_own() -> None:
    beats = "".join(
        series(
            sequence_set({"MDC_ECG_LEAD_I": digits}),
            annotations(f'<code code="MDC_ECG_TIME_PD_QRS"/><value xsi:type="PQ" value="{width}" unit="ms"/>'),
            kind="REPRESENTATIVE_BEAT",
            name="derivedSeries",
            relation="derivation",
        )
        for digits, width in (("1 2", 90), ("3 4", 140))
    )
    recording = read(message(series(sequence_set({"MDC_ECG_LEAD_I": "1 2"}), beats)))
    assert [t.kind for t in recording.tracings] == ["rhythm", "representative beat", "representative beat"]
    assert [t.of for t in recording.tracings] == [None, 0, 0]
    assert [(m.value, m.beat) for m in recording.measurements] == [(90, 0), (140, 1)]


# Annotations -------------------------------------------------------------------------------------------------------

SET = sequence_set({"MDC_ECG_LEAD_I": "1 2 3 4", "MDC_ECG_LEAD_II": "1 2 3 4"})
ST = '<code code="MDC_ECG_AMPL_ST{}"/><value xsi:type="PQ" value="0.05" unit="mV"/>'


@pytest.mark.parametrize(
    "annotation",
    [
        ST.format("_II"),
        ST.format("") + region('<code code="MDC_ECG_LEAD_II"/>'),
        f'<code code="MDC_ECG_LEAD_II"/><component><annotation>{ST.format("")}</annotation></component>',
        '<code code="131842"/><value xsi:type="PQ" value="50" unit="uV"/>',
        '<code code="2:770"/><value xsi:type="PQ" value="50" unit="uV"/>',
    ],
    ids=["code of the lead", "boundary", "container", "number", "partition and number"],
)
def test_the_ways_to_name_the_lead_of_a_measurement(annotation: str) -> None:
    recording = read(message(series(SET, annotations(annotation))))
    assert recording.measurements == (Measurement("st-amplitude", 50, "uV", "II"),)


@pytest.mark.parametrize(
    ("code", "concept"),
    [
        ("MDC_ECG_TIME_PD_PR", "pr-interval"),
        ("MDC_ECG_TIME_PD_PR_GL", "pr-interval"),
        ("MDC_ECG_PR_DUR", "pr-interval"),
        ("MDC_ECG_TIME_PD_QTc", "qtc-interval"),
        ("mdc_ecg_time_pd_qtcb", "qtc-bazett"),
        (" MDC_ECG_TIME_PD_QRS ", "qrs-duration"),
        ("MDC_ECG_TIME_PD_RR", "rr-interval"),
    ],
)
def test_spellings_of_measurements(code: str, concept: str) -> None:
    text = annotations(f'<code code="{code}"/><value xsi:type="PQ" value="0.4" unit="s"/>')
    assert read(message(series(SET, text))).measurements == (Measurement(concept, 400, "ms"),)


@pytest.mark.parametrize(
    ("unit", "expected"), [("/min", "/min"), ("bpm", "/min"), ("{beats}/min", "/min"), ("BPM", "/min")]
)
def test_spellings_of_units(unit: str, expected: str) -> None:
    text = annotations(f'<code code="MDC_ECG_HEART_RATE"/><value xsi:type="PQ" value="72" unit="{unit}"/>')
    recording = read(message(series(SET, text)))
    assert [(m.value, m.unit) for m in recording.measurements] == [(72, expected)]
    assert rules(recording) == set()


P = '<code code="{}"/><value xsi:type="CE" code="{}"/>'


@pytest.mark.parametrize(
    ("code", "value", "concept"),
    [
        ("MDC_ECG_WAVC", "MDC_ECG_WAVC_PWAVE", "p-wave"),
        ("MDC_ECG_WAVEC_TYPE", "MDC_ECG_WAVEC_PWAVE", "p-wave"),
        ("MDC_ECG_WAVC_TYPE", "MDC_ECG_WAVC_QRSWAVE", "qrs-complex"),
        ("MDC_ECG_BEAT_TYPE", "MDC_ECG_BEAT_V_P_C", "ventricular-premature-beat"),
        ("MDC_ECG_RHYTHM_TYPE", "MDC_ECG_RHY_SR", "sinus-rhythm"),
        ("MDC_ECG_NOISE", "MDC_ECG_NOISE_MODERATE", "moderate-noise"),
        ("MDC_ECG_WAVP", "MDC_ECG_WAVP_PACE_V", "ventricular-pacing-spike"),
    ],
)
def test_classes_of_marks_in_their_spellings(code: str, value: str, concept: str) -> None:
    place = region(time_boundary("20310102030405.004+0000", "20310102030405.008+0000"))
    recording = read(message(series(SET, annotations(P.format(code, value) + place))))
    (mark,) = recording.marks
    assert (mark.concept, mark.start, mark.end) == (concept, Fraction(4, 1000), Fraction(8, 1000))


@pytest.mark.parametrize(
    ("low", "high", "concept", "start", "end"),
    [
        ("004", "008", "p-wave", 4, 8),
        ("004", None, "p-onset", 4, None),
        (None, "008", "p-offset", 8, None),
        ("004", "004", "p-wave", 4, None),
    ],
)
def test_parts_of_a_wave(low: str | None, high: str | None, concept: str, start: int, end: int | None) -> None:
    bounds = [f"20310102030405.{t}+0000" if t else None for t in (low, high)]
    text = annotations(P.format("MDC_ECG_WAVC", "MDC_ECG_WAVC_PWAVE") + region(time_boundary(*bounds)))
    (mark,) = read(message(series(SET, text))).marks
    assert (mark.concept, mark.start) == (concept, Fraction(start, 1000))
    assert mark.end == (Fraction(end, 1000) if end else None)


def test_a_center_is_a_peak() -> None:
    value = '<code code="TIME_ABSOLUTE"/><value xsi:type="IVL_TS"><center value="20310102030405.004+0000"/></value>'
    text = annotations(P.format("MDC_ECG_WAVC", "MDC_ECG_WAVC_TWAVE") + region(value))
    (mark,) = read(message(series(SET, text))).marks
    assert (mark.concept, mark.start, mark.end) == ("t-peak", Fraction(4, 1000), None)


def test_a_rhythm_without_a_region_holds_for_the_whole_series() -> None:
    (mark,) = read(message(series(SET, annotations(P.format("MDC_ECG_RHY", "MDC_ECG_RHY_ATR_FIB"))))).marks
    assert (mark.concept, mark.start, mark.end) == ("atrial-fibrillation", 0, Fraction(16, 1000))


def test_marks_inside_a_beat_inherit_its_region() -> None:
    place = region(
        time_boundary("20310102030405.004+0000", "20310102030405.012+0000"), '<code code="MDC_ECG_LEAD_II"/>'
    )
    inner = P.format("MDC_ECG_WAVC", "MDC_ECG_WAVC_QRSWAVE")
    beat = (
        P.format("MDC_ECG_BEAT", "MDC_ECG_BEAT_NORMAL")
        + place
        + f"<component><annotation>{inner}</annotation></component>"
    )
    marks = read(message(series(SET, annotations(beat)))).marks
    assert [(m.concept, m.start, m.end, m.lead) for m in marks] == [
        ("normal-beat", Fraction(4, 1000), Fraction(12, 1000), "II"),
        ("qrs-complex", Fraction(4, 1000), Fraction(12, 1000), "II"),
    ]


def test_private_codes_are_kept_with_their_values() -> None:
    code = '<code code="X-7" codeSystem="2.999.3" displayName="Odd index"/>'
    texts = (
        f'{code}<value xsi:type="PQ" value="1.5" unit="1"/>',
        f'{code}<value xsi:type="ST">high</value>',
        f'{code}<value xsi:type="CE" code="H" codeSystem="2.999.3" displayName="High"/>',
    )
    recording = read(message(series(SET, annotations(*texts))))
    source = Code("X-7", "2.999.3", "Odd index")
    assert [(m.concept, m.value, m.text, m.source_code) for m in recording.measurements] == [
        ("other", Fraction(3, 2), None, source),
        ("other", None, "high", source),
        ("other", None, "High", source),
    ]
    assert rules(recording) == {"aecg.annotation-code"}


AUTHOR = "<author><assignedEntity><assignedAuthorType>{}</assignedAuthorType></assignedEntity></author>"
PERSON = AUTHOR.format("<assignedPerson><name>R. R.</name></assignedPerson>")
MACHINE = AUTHOR.format("<assignedDevice><manufacturerModelName>Prog</manufacturerModelName></assignedDevice>")
INTERPRETATION = '<code code="MDC_ECG_INTERPRETATION"/>{}'
SAID = (
    '<component><annotation><code code="MDC_ECG_INTERPRETATION_{}"/><value xsi:type="ST">{}</value></annotation>'
    "</component>"
)


def test_interpretations_side_by_side() -> None:
    one = annotations(
        INTERPRETATION.format(SAID.format("STATEMENT", "A") + SAID.format("SUMMARY", "B")), author=MACHINE
    )
    when = '<activityTime value="20310102030600+0000"/>'
    two = annotations(INTERPRETATION.format(SAID.format("STATEMENT", "C")), author=when + PERSON)
    statements = read(message(series(SET, one, two))).statements
    assert [(s.text, s.group, s.author, s.author_kind, s.time) for s in statements] == [
        ("A", 0, "Prog", "machine", None),
        ("B", 0, "Prog", "machine", None),
        ("C", 1, "R. R.", "person", Moment(2031, 1, 2, 3, 6, Fraction(0), 0)),
    ]
    assert [s.kind for s in statements] == [
        "interpretation-statement",
        "interpretation-summary",
        "interpretation-statement",
    ]


def test_control_variables_in_their_spellings() -> None:
    def variable(code: str, *parts: str, value: str = "") -> str:
        inner = "".join(f"<component>{part}</component>" for part in parts)
        return f'<controlVariable><code code="{code}"/>{value}{inner}</controlVariable>'

    def frequency(code: str, value: str) -> str:
        return variable(code, value=f'<value xsi:type="PQ" value="{value}" unit="Hz"/>')

    old = variable("MDC_ATTR_FILTER_HIGH_PASS", frequency("MDC_ATTR_FILTER_CUTOFF_FREQ", "0.05"))
    words = variable("MDC_ECG_CTL_VBL_ATTR_FILTER_LOW_PASS", value='<value xsi:type="ST">150 Hz</value>')
    notch = variable("MDC_ECG_CTL_VBL_ATTR_FILTER_NOTCH", frequency("MDC_ECG_CTL_VBL_ATTR_FILTER_NOTCH_FREQ", "50"))
    alone = frequency("MDC_ATTR_NOTCH_FREQ", "60")
    off = variable("MDC_ECG_CTL_VBL_ATTR_FILTER_NOTCH", frequency("MDC_ECG_CTL_VBL_ATTR_FILTER_NOTCH_FREQ", "0"))
    odd = variable("MDC_ECG_CTL_VBL_INTERPOLATOR", value='<value xsi:type="ST">spline</value>')
    system = variable("X", value='<value xsi:type="CE" code="MDC_ECG_LDSYS_12LD_MASON_LIKAR"/>')
    parts = [f"<controlVariable>{part}</controlVariable>" for part in (old, words, notch, alone, off, odd, system)]
    recording = read(message(series(*parts, SET)))
    filters = Filters(Fraction(1, 20), Fraction(150), (Fraction(50), Fraction(60)))
    assert recording.acquisition.filters == filters
    assert recording.acquisition.electrode_placement == "placement-mason-likar"
    assert [entry.place.split(",")[0].rsplit("/", 2)[-2] for entry in recording.unread] == ["controlVariable[6]"]


def test_filters_and_skew_of_one_lead() -> None:
    lead = '<code code="MDC_ECG_LEAD_I" codeSystem="2.16.840.1.113883.6.24"/>'
    variables = (
        "<controlVariable><controlVariable><code code='MDC_ECG_CTL_VBL_ATTR_FILTER_LOW_PASS'/>"
        "<component><controlVariable><code code='MDC_ECG_CTL_VBL_ATTR_FILTER_CUTOFF_FREQ'/>"
        "<value xsi:type='PQ' value='35' unit='Hz'/></controlVariable></component></controlVariable></controlVariable>"
        "<controlVariable><controlVariable><code code='MDC_ECG_CTL_VBL_TIME_SKEW'/>"
        "<value xsi:type='PQ' value='250' unit='us'/></controlVariable></controlVariable></sequence>"
    )
    changed = SET.replace("</sequence>", variables, 2).replace(variables, "</sequence>", 1)
    assert lead in changed
    channels = read(message(series(changed))).tracings[0].channels
    assert channels[0].filters == Filters(lowpass=Fraction(35))
    assert (channels[0].skew, channels[1].skew) == (Fraction(1, 4000), 0)
    assert channels[1].filters is None


def test_who_made_a_set_and_when_is_carried_or_listed() -> None:
    qt = '<code code="MDC_ECG_TIME_PD_QT"/><value xsi:type="PQ" value="400" unit="ms"/>'
    when = '<activityTime value="20310102030600+0000"/>'
    by_hand = read(message(series(SET, annotations(qt, author=when + PERSON))))
    assert dict(by_hand.measurements[0].extras) == {
        "aecg.author": "R. R.",
        "aecg.author-kind": "person",
        "aecg.time": "2031-01-02T03:06:00+00:00",
    }
    by_machine = read(message(series(SET, annotations(qt, author=when + MACHINE))))
    assert by_machine.acquisition.devices == (Device("analysing", model="Prog"),)
    assert [entry.place.rsplit("/", 1)[1] for entry in by_machine.unread] == ["activityTime, line 1"]
    named = PERSON.replace("<assignedAuthorType>", '<id root="2.999.1" extension="R-2"/><assignedAuthorType>')
    listed = read(message(series(SET, annotations(qt, author=named)))).unread
    assert [entry.place.rsplit("/", 1)[1] for entry in listed] == ["id, line 1"]


def test_only_the_first_operator_is_taken_and_the_others_are_listed() -> None:
    people = "".join(
        f"<secondaryPerformer><seriesPerformer><assignedPerson><name>{name}</name></assignedPerson></seriesPerformer>"
        "</secondaryPerformer>"
        for name in ("A. A.", "B. B.")
    )
    recording = read(message(series(people, SET)))
    assert recording.acquisition.operator == Person(PersonName(text="A. A."))
    assert [entry.place.rsplit("/", 1)[1] for entry in recording.unread] == ["secondaryPerformer[2], line 1"]


def test_an_effective_time_of_its_own_is_kept() -> None:
    text = message(series(SET)).replace(START, "20310102030400.000+0000", 1)
    assert dict(read(text).extras) == {"aecg.effective-time": "2031-01-02T03:04:00+00:00"}
    assert dict(read(message(series(SET))).extras) == {}
    again = aecg.encode(read(text), "x", {}).main[1]
    assert read(again).extras == read(text).extras
    assert read(again).acquisition.time == read(text).acquisition.time


def test_a_formula_beside_the_code_of_a_corrected_qt_is_kept_as_words() -> None:
    code = '<code code="MDC_ECG_TIME_PD_QTC" displayName="{}"/><value xsi:type="PQ" value="420" unit="ms"/>'
    spoken = [code.format("QTcB (Bazett)"), code.format("Corrected QT")]
    recording = read(message(series(SET, annotations(*spoken))))
    assert [(m.concept, m.text) for m in recording.measurements] == [
        ("qtc-interval", "QTcB (Bazett)"),
        ("qtc-interval", None),
    ]


def test_null_flavors_of_the_subject() -> None:
    text = edited(
        ("<name>T. T.</name>", '<name nullFlavor="UNK"/>'),
        ('<birthTime value="1961"/>', '<birthTime nullFlavor="MSK"/>'),
        (
            '<administrativeGenderCode code="M" codeSystem="2.16.840.1.113883.5.1"/>',
            '<administrativeGenderCode nullFlavor="NI"/>',
        ),
    )
    patient = read(text).patient
    assert (patient.name, patient.birth_date, patient.sex) == (None, None, None)
    assert patient.absent == (("name", "unknown"), ("birth_date", "withheld"))


def test_a_trial_that_does_not_apply_is_none() -> None:
    assert read(message(series(SET))).trial is None
    nil = message(series(SET)).replace(
        '<componentOf><clinicalTrial><id nullFlavor="NA"/></clinicalTrial></componentOf>',
        '<componentOf typeCode="COMP" xsi:nil="true" nullFlavor="NA"/>',
    )
    assert read(nil).trial is None
    assert read(nil).unread == ()


def test_unknown_content_is_listed_with_place_and_size() -> None:
    text = edited(
        (
            "<title>Trial of nothing</title>",
            "<title>Trial of nothing</title><phase kind='3'>third<note>x</note></phase>",
        ),
        ("<sequenceSet classCode", "<sequenceSet colour='red' classCode"),
        ("</AnnotatedECG>", "<w:extra xmlns:w='urn:w'>12345</w:extra></AnnotatedECG>"),
    )
    listed = {entry.place.split(", line")[0]: (entry.size, entry.what) for entry in read(text).unread}
    trial = "/AnnotatedECG/componentOf/timepointEvent/componentOf/subjectAssignment/componentOf/clinicalTrial"
    assert listed[f"{trial}/phase"] == (11, "element")
    assert listed["/AnnotatedECG/component/series/component/sequenceSet/@colour"] == (3, "attribute")
    assert listed["/AnnotatedECG/extra"] == (5, "element")


def test_a_message_without_samples_is_refused() -> None:
    for text in (message(), message(series()), message(series(sequence_set({})))):
        with pytest.raises(Exception, match="holds no series with samples"):
            read(text)
