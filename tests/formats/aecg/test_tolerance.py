"""What documents really contain: each deviation is read for what it says, and named in a finding."""

from __future__ import annotations

from fractions import Fraction

import pytest

from interchange.errors import SourceError
from interchange.formats.aecg.rules import RULES
from interchange.model import Moment, Recording
from tests.formats.aecg.support import START, edited, kept, message, read, rules, sequence_set, series

TWO = {"MDC_ECG_LEAD_I": "1 2 3", "MDC_ECG_LEAD_II": "4 5 6"}


def changed(*pairs: tuple[str, str]) -> Recording:
    """The recording in a message of one set of two leads, edited."""
    text = message(series(sequence_set(TWO)))
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return read(text)


def test_without_a_deviation_there_is_no_finding() -> None:
    recording = changed()
    assert recording.findings == ()
    assert recording.unread == ()


SCALE, ORIGIN = '<scale value="5" unit="uV"/>', '<origin value="0" unit="uV"/>'
LEAD_I = 'code="MDC_ECG_LEAD_I"'


@pytest.mark.parametrize(
    ("spelling", "name"),
    [
        ("I", "I"),
        ("aVR", "aVR"),
        ("AVR", "aVR"),
        ("MDC_ECG_LEAD_aVR", "aVR"),
        ("LEAD_V4R", "V4R"),
        ("mdc_ecg_lead_v1", "V1"),
        ("MDC_ECG_ELEC_POTL_V2", "V2"),
        ("2:61", "III"),
        ("131074", "II"),
        ("MDC_ECG_LEAD_VX", "X"),
        ("-aVR", "-aVR"),
        (" MDC_ECG_LEAD_V6 ", "V6"),
    ],
)
def test_spellings_of_leads(spelling: str, name: str) -> None:
    recording = changed((LEAD_I, f'code="{spelling}"'))
    assert recording.tracings[0].names[0] == name
    assert rules(recording) <= {"aecg.lead-spelling", "aecg.lead-repeated"}


def test_derived_leads_are_marked_as_such() -> None:
    channel = changed((LEAD_I, 'code="MDC_ECG_LEAD_dIII"')).tracings[0].channels[0]
    assert (channel.name, channel.origin) == ("III", "derived")


def test_an_unknown_lead_keeps_its_label() -> None:
    recording = changed((LEAD_I, 'code="RESP" displayName="Breathing"'))
    channel = recording.tracings[0].channels[0]
    assert (channel.name, channel.label) == ("Breathing", "RESP")
    assert rules(recording) == {"aecg.lead-unknown"}


CASES = [
    ("no xsi:type", '<value xsi:type="SLIST_PQ">', "<value>", {"aecg.value-type"}),
    ("wrong case", 'xsi:type="SLIST_PQ"', 'xsi:type="slist_pq"', set()),
    ("unknown type", 'xsi:type="SLIST_PQ"', 'xsi:type="SLIST_INT"', {"aecg.value-type"}),
    ("no type of time", '<value xsi:type="GLIST_TS">', "<value>", {"aecg.value-type"}),
    ("kind against type", 'code="TIME_ABSOLUTE"', 'code="TIME_RELATIVE"', {"aecg.time-kind"}),
    ("no origin", ORIGIN, "", {"aecg.origin"}),
    ("line breaks", "<digits>1 2 3</digits>", "<digits>\n 1\n 2\t3 \n</digits>", set()),
    ("plus signs", "<digits>1 2 3</digits>", "<digits>+1 +2 +3</digits>", set()),
    ("commas", "<digits>1 2 3</digits>", "<digits>1, 2, 3,</digits>", {"aecg.digits-separators"}),
    ("origin in another voltage", ORIGIN, '<origin value="0" unit="mV"/>', set()),
    ("scale with exponent", SCALE, '<scale value="0.5e1" unit="uV"/>', set()),
    ("Greek mu", SCALE, '<scale value="5" unit="μV"/>', set()),
    ("millivolts", SCALE, '<scale value="0.005" unit="mV"/>', set()),
    ("nanovolts", SCALE, '<scale value="5000" unit="nV"/>', set()),
    ("milliseconds", '<increment value="0.004" unit="s"/>', '<increment value="4" unit="ms"/>', set()),
    ("microseconds", '<increment value="0.004" unit="s"/>', '<increment value="4000" unit="us"/>', set()),
    ("one digit of a second", START, "20310102030405.0+0000", set()),
    ("time with Z", START, "20310102030405Z", {"aecg.time-form"}),
    ("structural attributes", "<sequenceSet>", '<sequenceSet classCode="OBSCOR" type="Observation">', set()),
    ("no kind of series", '<code code="RHYTHM" codeSystem="2.16.840.1.113883.5.4"/>', "", {"aecg.series-kind"}),
    (
        "effective time as center",
        f'<low value="{START}"/></effectiveTime><component>',
        f'<center value="{START}"/></effectiveTime><component>',
        set(),
    ),
    ("no effective time", f'<effectiveTime><low value="{START}"/></effectiveTime><component>', "<component>", set()),
    ("denominator of one", '<value xsi:type="GLIST_TS">', '<value xsi:type="GLIST_TS" denominator="1">', set()),
]


@pytest.mark.parametrize(("name", "old", "new", "expected"), CASES, ids=[case[0] for case in CASES])
def test_the_samples_are_the_same(name: str, old: str, new: str, expected: set[str]) -> None:
    recording = changed((old, new))
    (tracing,) = recording.tracings
    assert tracing.samples.tolist() == [[1, 2, 3], [4, 5, 6]]
    assert tracing.rate == 250
    assert {(c.unit, c.step, c.offset) for c in tracing.channels} == {("uV", Fraction(5), Fraction(0))}
    assert recording.acquisition.time == Moment(2031, 1, 2, 3, 4, Fraction(5), 0)
    assert rules(recording) == expected
    assert recording.unread == ()


def test_leads_of_unequal_length() -> None:
    recording = changed(("<digits>1 2 3</digits>", "<digits>1</digits>"))
    (tracing,) = recording.tracings
    assert tracing.samples.tolist() == [[1, 0, 0], [4, 5, 6]]
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[False, True, True], [False] * 3]
    (finding,) = recording.findings
    assert finding.rule == "aecg.lead-lengths"
    assert "1 to 3 samples" in finding.reason


def test_an_empty_lead_is_missing_throughout() -> None:
    recording = changed(("<digits>1 2 3</digits>", "<digits/>"))
    (tracing,) = recording.tracings
    assert tracing.missing is not None
    assert tracing.missing.tolist() == [[True] * 3, [False] * 3]
    assert rules(recording) == {"aecg.lead-empty"}


def test_decimals_become_whole_by_a_power_of_ten() -> None:
    recording = changed(("<digits>1 2 3</digits>", "<digits>1.25 2 -3.5</digits>"))
    (tracing,) = recording.tracings
    assert tracing.samples[0].tolist() == [125, 200, -350]
    assert tracing.channels[0].step == Fraction(5, 100)
    assert rules(recording) == {"aecg.digits-decimals"}


REFUSED = [
    ("no numbers", "<digits>1 2 3</digits>", "<digits>one two three</digits>", "aecg.digits"),
    ("commas that may be decimal signs", "<digits>1 2 3</digits>", "<digits>1,5 2,5 3</digits>", "aecg.digits"),
    ("reference to a file", "<digits>1 2 3</digits>", "<digits href='x.bin'/>", "aecg.digits-external"),
    ("no scale", SCALE, "", "aecg.scale"),
    ("scale of zero", SCALE, '<scale value="0" unit="uV"/>', "aecg.scale"),
    ("infinite scale", SCALE, '<scale value="INF" unit="uV"/>', "aecg.scale"),
    ("scale that is no number", SCALE, '<scale value="4,88" unit="uV"/>', "aecg.scale"),
]


@pytest.mark.parametrize(("name", "old", "new", "rule"), REFUSED, ids=[case[0] for case in REFUSED])
def test_a_lead_that_cannot_be_read_is_left_out_and_listed(name: str, old: str, new: str, rule: str) -> None:
    recording = changed((old, new))
    assert recording.tracings[0].names == ("II",)
    found = {finding.rule: finding for finding in recording.findings}
    assert rule in found
    assert "component[2]/sequence" in found[rule].place
    (lost,) = recording.unread
    assert lost.place.startswith("/AnnotatedECG/component/series/component/sequenceSet/component[2]/sequence, line")


def test_numbers_beyond_32_bits_are_an_error_that_names_the_place() -> None:
    with pytest.raises(SourceError, match="more than 32 bits") as caught:
        changed(("<digits>1 2 3</digits>", "<digits>1 2147483648 3</digits>"))
    assert caught.value.place.startswith(
        "/AnnotatedECG/component/series/component/sequenceSet/component[2]/sequence/value/digits, line"
    )


def test_a_set_that_has_no_rate_is_left_out() -> None:
    step = '<increment value="0.004" unit="s"/>'
    for old, new, rule, place, words in (
        (step, '<increment value="0.004"/>', "aecg.increment-unit", "/increment", "no unit of time"),
        (step, '<increment value="250" unit="Hz"/>', "aecg.increment-unit", "/increment", "a frequency, it seems"),
        (step, '<increment value="0" unit="s"/>', "aecg.increment", "/increment", "it is zero"),
        (step, '<increment value="-0.004" unit="s"/>', "aecg.increment", "/increment", "it is below zero"),
        (step, '<increment value="soon" unit="s"/>', "aecg.increment", "/increment", "it is no number"),
        (step, "", "aecg.increment", "", "there is none"),
        ('<value xsi:type="GLIST_TS">', '<value xsi:type="GLIST_TS" period="2">', "aecg.uneven-time", "", "not evenly"),
    ):
        text = message(series(sequence_set(TWO).replace(old, new), sequence_set(TWO, "20310102030406.000+0000")))
        recording = read(text)
        assert [tracing.start for tracing in recording.tracings] == [0]
        assert rule in rules(recording)
        with pytest.raises(SourceError, match="holds no series with samples that can be read: ") as caught:
            read(message(series(sequence_set(TWO).replace(old, new))))
        where = "/AnnotatedECG/component/series/component/sequenceSet/component[1]/sequence/value"
        assert caught.value.place in (f"{where}{place}, line 1", f"{where.removesuffix('/value')}{place}, line 1")
        assert words in caught.value.reason


@pytest.mark.parametrize(
    ("scale", "unit", "rule"),
    [
        ('<scale value="5"/>', None, "aecg.scale-unit"),
        ('<scale value="5" unit="1"/>', None, "aecg.scale-unit"),
        ('<scale value="5" unit="mm[Hg]"/>', "mm[Hg]", "aecg.scale-no-voltage"),
    ],
)
def test_a_voltage_is_never_guessed(scale: str, unit: str | None, rule: str) -> None:
    recording = changed((SCALE, scale))
    assert recording.tracings[0].channels[0].unit == unit
    assert rule in rules(recording)


def test_an_origin_in_a_unit_that_does_not_fit_is_not_used() -> None:
    recording = changed((ORIGIN, '<origin value="3" unit="s"/>'))
    assert recording.tracings[0].channels[0].offset == 0
    assert rules(recording) == {"aecg.origin-unit"}


def test_a_negative_scale_is_a_scale() -> None:
    recording = changed((SCALE, '<scale value="-5" unit="uV"/>'))
    assert recording.tracings[0].microvolts()[0].tolist() == [-5.0, -10.0, -15.0]
    assert rules(recording) == set()


def test_times_of_the_series_that_do_not_cover_the_samples() -> None:
    recording = changed(
        (
            f'<low value="{START}"/></effectiveTime><component>',
            '<low value="20310102030406.000+0000"/></effectiveTime><component>',
        )
    )
    assert recording.acquisition.time == Moment(2031, 1, 2, 3, 4, Fraction(5), 0)
    assert rules(recording) == {"aecg.effective-time"}


def test_times_with_and_without_a_zone_are_taken_as_one_zone() -> None:
    later = sequence_set({"MDC_ECG_LEAD_V1": "1"}, "20310102030406.000")
    recording = read(message(series(sequence_set(TWO), later)))
    assert [tracing.start for tracing in recording.tracings] == [0, 1]
    assert rules(recording) == {"aecg.zone-mixed"}


def test_a_local_time_stays_local() -> None:
    text = message(series(sequence_set(TWO, "20310102030405.000"))).replace(START, "20310102030405.000")
    recording = read(text)
    assert recording.acquisition.time == Moment(2031, 1, 2, 3, 4, Fraction(5))
    assert rules(recording) == set()


def test_a_lead_that_stands_twice_is_kept_twice() -> None:
    recording = changed(('code="MDC_ECG_LEAD_II"', LEAD_I))
    assert recording.tracings[0].names == ("I", "I")
    assert rules(recording) == {"aecg.lead-repeated"}


def test_two_time_sequences_are_an_error_and_the_first_counts() -> None:
    doubled = sequence_set(TWO)
    time = doubled[doubled.index("<component><sequence>") : doubled.index("</component>", 12) + len("</component>")]
    recording = read(message(series(doubled.replace(time, time + time.replace("0.004", "0.002"), 1))))
    assert recording.tracings[0].rate == 250
    assert rules(recording) == {"aecg.time-sequence"}


# The document ------------------------------------------------------------------------------------------------------


def test_a_wrapped_message_is_found() -> None:
    inner = (
        kept().split("?>", 1)[1].replace("<AnnotatedECG", "<annotatedECG").replace("</AnnotatedECG", "</annotatedECG")
    )
    outer = f'<PORT_IN020001UV01 xmlns="urn:hl7-org:v3"><subject>{inner}</subject></PORT_IN020001UV01>'
    recording = read(outer)
    assert recording.tracings == read(kept()).tracings
    assert rules(recording) == {"aecg.wrapped"}


def test_another_document_element() -> None:
    text = (
        kept()
        .replace("<AnnotatedECG", "<PORT_MT020001UV01.AnnotatedECG")
        .replace("</AnnotatedECG", "</PORT_MT020001UV01.AnnotatedECG")
    )
    recording = read(text)
    assert recording.tracings == read(kept()).tracings
    assert rules(recording) == {"aecg.root"}


def test_what_the_sample_of_2003_does_otherwise() -> None:
    text = edited(
        ("<activityTime value=", "<activityType value="),
        ("<assignedAuthorType><assignedPerson classCode", "<assignedAuthorType><Person classCode"),
        (
            "</assignedPerson></assignedAuthorType></assignedEntity></author>\n        <component",
            "</Person></assignedAuthorType></assignedEntity></author>\n        <component",
        ),
        ('<value xsi:type="ST">measured by hand</value>', '<value xsi:type="ST" value="measured by hand"/>'),
        ("<seriesAuthor classCode", "<manufacturedProduct classCode"),
        ("</seriesAuthor>", "</manufacturedProduct>"),
        ("<manufacturedSeriesDevice", "<manufacturedEcgDevice"),
        ("</manufacturedSeriesDevice>", "</manufacturedEcgDevice>"),
        ("<digits>4 5 -6</digits>", "<digits>\n4 5\n-6\n</digits>"),
        ('codeSystem="2.16.840.1.113883.5.1"/>', "/>"),
        (
            '<code code="ROIPS" codeSystem="2.16.840.1.113883.5.4"/>',
            '<code code="ROIPS" codeSystem="2.16.840.1.113883.5.1079"/>',
        ),
        ('<id root="2.999.7.4" extension="T-5"/>', '<id root="2.999.7.4" extension="?trial?"/>'),
    )
    recording, usual = read(text), read(kept())
    assert recording.statements == usual.statements
    assert recording.acquisition.devices == usual.acquisition.devices
    assert recording.tracings == usual.tracings
    assert recording.patient == usual.patient
    assert rules(recording) == {"aecg.older-names"}


def test_every_finding_says_what_was_done_about_it() -> None:
    assert len({rule.id for rule in RULES}) == len(RULES)
    for rule in RULES:
        assert rule.id.startswith("aecg.")
        assert rule.clause
        assert not rule.reason.endswith(".")
