"""Documents in the style of other writers: what they say at unusual places is taken, or said to be left."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tests.formats.aecg.foreign import MDC, WAVE, a_set, bounds, in_lead, moment, unread
from tests.formats.aecg.support import annotations, message, read, region, rules, sequence_set, series
from tests.formats.aecg.test_short_ways import both_ways
from tests.formats.aecg.test_writer import written

# Leads and tracings ------------------------------------------------------------------------------------------------


def columns(names: str, head: int, samples: int = 25) -> str:
    """A set of 25 samples in 100 ms, or of as many."""
    digits = " ".join(str(at % 7) for at in range(samples))
    return sequence_set({f"MDC_ECG_LEAD_{name}": digits for name in names.split()}, moment(head))


PRINTED = columns("I II III", 0) + columns("AVR AVL AVF", 100) + columns("V1 V2 V3", 200) + columns("II", 0, 75)
"""As on paper: three leads after three leads, and lead II from the first to the last."""


def test_a_mark_is_on_the_tracing_that_has_its_lead() -> None:
    text = message(
        series(
            PRINTED,
            annotations(
                WAVE + region(bounds(120, 140), in_lead("II")),
                WAVE + region(in_lead("AVL"), bounds(120, 140)),
                WAVE + region(bounds(120, 140)),
                f'<code code="MDC_ECG_TIME_PD_QT" {MDC}/><value xsi:type="PQ" value="40" unit="ms"/>'
                + region(bounds(210, 250), in_lead("II")),
            ),
        )
    )
    short, long = both_ways(text.encode())
    assert short == long
    recording = read(text)
    assert [(t.start, t.names) for t in recording.tracings] == [
        (0, ("I", "II", "III")),
        (Fraction(1, 10), ("aVR", "aVL", "aVF")),
        (Fraction(1, 5), ("V1", "V2", "V3")),
        (0, ("II",)),
    ]
    assert [(m.tracing, m.start, m.end, m.lead) for m in recording.marks] == [
        (3, Fraction(12, 100), Fraction(14, 100), "II"),
        (1, Fraction(2, 100), Fraction(4, 100), "aVL"),
        (1, Fraction(2, 100), Fraction(4, 100), None),
        (3, Fraction(21, 100), Fraction(25, 100), "II"),
    ]
    assert (rules(recording), recording.unread) == (set(), ())
    again = read(written(recording))
    assert again.marks == recording.marks
    assert not any("marks" in remark for remark in again.acquisition.remarks)


def test_leads_of_one_region_are_each_on_their_own_tracing() -> None:
    text = message(series(PRINTED, annotations(WAVE + region(bounds(120, 140), in_lead("AVL"), in_lead("II")))))
    short, long = both_ways(text.encode())
    assert short == long
    recording = read(text)
    assert [(m.tracing, m.start, m.end, m.lead) for m in recording.marks] == [
        (1, Fraction(2, 100), Fraction(4, 100), "aVL"),
        (3, Fraction(12, 100), Fraction(14, 100), "II"),
    ]
    assert rules(recording) == set()


@pytest.mark.parametrize(
    ("lead", "place", "found"),
    [
        ("V1", (2, Fraction(-8, 100), Fraction(-6, 100)), {"aecg.boundary-outside"}),
        ("V6", (1, Fraction(2, 100), Fraction(4, 100)), {"aecg.boundary-lead"}),
    ],
)
def test_a_lead_without_samples_at_the_time_is_named_in_a_finding(
    lead: str, place: tuple[int, Fraction, Fraction], found: set[str]
) -> None:
    text = message(series(PRINTED, annotations(WAVE + region(bounds(120, 140), in_lead(lead)))))
    short, long = both_ways(text.encode())
    assert short == long
    (mark,) = read(text).marks
    assert ((mark.tracing, mark.start, mark.end), mark.lead) == (place, lead)
    assert rules(read(text)) == found


def test_a_lead_around_a_mark_or_without_a_time_chooses_the_tracing_too() -> None:
    inside = f'<code code="MDC_ECG_LEAD_V2" {MDC}/><component><annotation>{WAVE}{region(bounds(220, 240))}'
    text = message(
        series(
            PRINTED,
            annotations(
                f"{inside}</annotation></component>",
                f'<code code="MDC_ECG_NOISE" {MDC}/><value xsi:type="CE" code="MDC_ECG_NOISE_NOSIGNAL" {MDC}/>'
                + region(in_lead("V3")),
            ),
        )
    )
    assert [(m.tracing, m.start, m.end, m.lead) for m in read(text).marks] == [
        (2, Fraction(2, 100), Fraction(4, 100), "V2"),
        (2, Fraction(0), Fraction(1, 10), "V3"),
    ]
    assert rules(read(text)) == set()


# Relative time -----------------------------------------------------------------------------------------------------


def relative_bounds(low: int, high: int) -> str:
    return (
        f'<code code="TIME_RELATIVE"/><value xsi:type="IVL_PQ"><low value="{low}" unit="ms"/>'
        f'<high value="{high}" unit="ms"/></value>'
    )


SIX = {"I": "1 2 3 4 5 6"}
"""20 ms and more."""


def test_relative_time_counts_from_the_effective_time_of_the_series() -> None:
    marks = annotations(WAVE + region(relative_bounds(104, 112)), WAVE + region(bounds(104, 112)))
    recording = read(message(series(a_set(SIX, 100), marks)))
    assert recording.acquisition.time is not None
    assert str(recording.acquisition.time) == "2031-01-02T03:04:05.1+00:00"
    assert [(m.tracing, m.start, m.end) for m in recording.marks] == [(0, Fraction(4, 1000), Fraction(12, 1000))] * 2
    assert rules(recording) == set()


def test_relative_time_counts_from_the_series_where_another_one_is_earlier() -> None:
    text = message(
        series(a_set({"II": "1 2 3 4 5 6"}, -1000)).replace(
            f'<low value="{moment(0)}"/>', f'<low value="{moment(-1000)}"/>'
        ),
        series(a_set(SIX, 0) + annotations(WAVE + region(relative_bounds(4, 12)))),
    )
    recording = read(text)
    assert [t.start for t in recording.tracings] == [0, 1]
    assert [(m.tracing, m.start, m.end) for m in recording.marks] == [(1, Fraction(4, 1000), Fraction(12, 1000))]


@pytest.mark.parametrize("effective", [f'<low value="{moment(0)}"/>', '<low value="20310102"/>', ""])
def test_relative_time_counts_from_the_earliest_set_whatever_the_order(effective: str) -> None:
    sets = a_set(SIX, 40) + a_set(SIX, 0)
    text = message(series(sets, annotations(WAVE + region(relative_bounds(4, 12)))))
    head, _, tail = text.rpartition(f'<effectiveTime><low value="{moment(0)}"/></effectiveTime>')
    recording = read(f"{head}<effectiveTime>{effective}</effectiveTime>{tail}")
    assert [t.start for t in recording.tracings] == [Fraction(4, 100), 0]
    assert [(m.tracing, m.start, m.end) for m in recording.marks] == [(1, Fraction(4, 1000), Fraction(12, 1000))]
    assert read(written(recording)).marks == recording.marks


def test_relative_time_of_samples_and_of_marks_is_the_same() -> None:
    timed = a_set(SIX).replace("TIME_ABSOLUTE", "TIME_RELATIVE").replace("GLIST_TS", "GLIST_PQ")
    timed = timed.replace(f'<head value="{moment(0)}"/>', '<head value="100" unit="ms"/>')
    text = message(series(timed, annotations(WAVE + region(relative_bounds(104, 112)))))
    for document in (text, text.replace(f'<low value="{moment(0)}"/>', '<low value="2031"/>')):
        assert [(m.start, m.end) for m in read(document).marks] == [(Fraction(4, 1000), Fraction(12, 1000))]


@pytest.mark.parametrize(
    ("inside", "place"),
    [
        ('<low value="4" unit="ms"/><width value="8" unit="ms"/>', ("p-wave", 4, 12)),
        ('<width value="0.008" unit="s"/><high value="12" unit="ms"/>', ("p-wave", 4, 12)),
        ('<center value="8" unit="ms"/><width value="8" unit="ms"/>', ("p-wave", 4, 12)),
        ('<low value="4" unit="ms"/><width value="0" unit="ms"/>', ("p-wave", 4, None)),
    ],
)
def test_a_width_makes_the_bound_that_is_missing(inside: str, place: tuple[str, int, int | None]) -> None:
    boundary = f'<code code="TIME_RELATIVE"/><value xsi:type="IVL_PQ">{inside}</value>'
    recording = read(message(series(a_set(SIX), annotations(WAVE + region(boundary)))))
    concept, start, end = place
    (mark,) = recording.marks
    assert (mark.concept, mark.start * 1000) == (concept, start)
    assert (mark.end * 1000 if mark.end is not None else None) == end
    assert (rules(recording), recording.unread) == (set(), ())


@pytest.mark.parametrize(
    ("inside", "concept"),
    [
        ('<low value="4" unit="ms"/><width value="8" unit="mm"/>', "p-onset"),
        ('<low value="4" unit="ms"/><width value="8" unit="ms"/><high value="12" unit="ms"/>', "p-wave"),
    ],
)
def test_a_width_that_is_not_needed_or_no_time_is_unread(inside: str, concept: str) -> None:
    boundary = f'<code code="TIME_RELATIVE"/><value xsi:type="IVL_PQ">{inside}</value>'
    recording = read(message(series(a_set(SIX), annotations(WAVE + region(boundary)))))
    assert [m.concept for m in recording.marks] == [concept]
    assert [place.rpartition("/")[2] for place in unread(recording)] == ["width"]


# Sets --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("attributes", ['period="3"', 'period="4"', 'period="3" denominator="1"', 'denominator="1"'])
def test_a_period_that_never_comes_round_says_nothing(attributes: str) -> None:
    text = message(series(a_set({"I": "1 2 3"})))
    recording = read(text.replace('"GLIST_TS"', f'"GLIST_TS" {attributes}'))
    assert recording == read(text)
    assert (rules(recording), recording.unread) == (set(), ())


@pytest.mark.parametrize("attributes", ['period="2"', 'period="0"', 'period="x"', 'period="-3"', 'denominator="2"'])
def test_a_set_that_is_left_out_is_unread_with_its_leads(attributes: str) -> None:
    odd = a_set({"I": "1 2 3", "II": "4 5 6"}).replace('"GLIST_TS"', f'"GLIST_TS" {attributes}')
    recording = read(message(series(odd, a_set({"V1": "7 8 9"}))))
    assert [t.names for t in recording.tracings] == [("V1",)]
    assert rules(recording) == {"aecg.uneven-time"}
    assert unread(recording) == ["component[1]/sequenceSet"]
    assert recording.unread[0].size > len("123456")


def test_a_set_without_samples_is_unread() -> None:
    empty = a_set({"I": "", "II": " "})
    recording = read(message(series(empty, a_set({"V1": "7 8 9"}))))
    assert unread(recording) == ["component[1]/sequenceSet"]


# Statements --------------------------------------------------------------------------------------------------------


STATEMENT = f'<code code="MDC_ECG_INTERPRETATION_STATEMENT" {MDC}/><value xsi:type="ST">Sinus rhythm</value>'


@pytest.mark.parametrize("place", ["alone", "inside", "around"])
def test_the_region_of_a_statement_is_unread(place: str) -> None:
    where = region(bounds(4, 12), in_lead("I"))
    group = f'<code code="MDC_ECG_INTERPRETATION" {MDC}/>'
    wave = f"<component><annotation>{WAVE}</annotation></component>"
    content = {
        "alone": STATEMENT + where,
        "inside": f"{group}<component><annotation>{STATEMENT}{where}</annotation></component>",
        "around": f"{group}{where}<component><annotation>{STATEMENT}</annotation></component>{wave}",
    }[place]
    recording = read(message(series(a_set(SIX), annotations(content))))
    assert [statement.text for statement in recording.statements] == ["Sinus rhythm"]
    assert [path.rpartition("/")[2] for path in unread(recording)] == ["support"]
    if place == "around":
        assert [(m.start, m.end, m.lead) for m in recording.marks] == [(Fraction(4, 1000), Fraction(12, 1000), "I")]


# Effective times ---------------------------------------------------------------------------------------------------


def effective(text: str, bounds: str, of: str = "series") -> str:
    """The message with another effective time of its series or of itself."""
    old = f'<effectiveTime><low value="{moment(0)}"/></effectiveTime>'
    parts = text.split(old)
    assert len(parts) == 3
    new = f"<effectiveTime>{bounds}</effectiveTime>"
    first, second = (new, old) if of == "message" else (old, new)
    return first.join(parts[:2]) + second + parts[2]


def low_high(low: str, high: str) -> str:
    return f'<low value="{low}" inclusive="true"/><high value="{high}" inclusive="false"/>'


@pytest.mark.parametrize("high", [moment(20), moment(24), "20310102030405.02+0000", "20310102"])
def test_an_effective_time_that_the_samples_say_too_is_not_mentioned(high: str) -> None:
    for of in ("series", "message"):
        recording = read(effective(message(series(a_set(SIX))), low_high(moment(0), high), of))
        assert (recording.extras, recording.unread) == ((), ())


@pytest.mark.parametrize(
    ("low", "high", "left"),
    [(-500, 24, ["low"]), (0, 10000, ["high"]), (-500, 10000, ["low", "high"])],
)
def test_an_effective_time_of_a_series_beyond_its_samples_is_unread(low: int, high: int, left: list[str]) -> None:
    recording = read(effective(message(series(a_set(SIX))), low_high(moment(low), moment(high))))
    assert unread(recording) == [f"effectiveTime/{name}" for name in left]


def test_a_width_of_an_effective_time_is_unread_as_a_whole() -> None:
    width = f'<low value="{moment(0)}"/><width value="1" unit="s"/>'
    assert unread(read(effective(message(series(a_set(SIX))), width))) == ["effectiveTime"]


def test_the_end_of_the_message_is_kept_and_written() -> None:
    text = effective(message(series(a_set(SIX))), low_high(moment(-500), moment(10000)), "message")
    kept = {
        "aecg.effective-time": "2031-01-02T03:04:04.5+00:00",
        "aecg.effective-end": "2031-01-02T03:04:15+00:00",
    }
    recording = read(text)
    assert dict(recording.extras) == kept
    again = read(written(recording))
    assert (dict(again.extras), again.unread) == (kept, ())


def test_the_effective_time_of_a_derived_series_is_unread_where_the_samples_do_not_say_it() -> None:
    beat = a_set({"II": "1 2 3"}).replace("TIME_ABSOLUTE", "TIME_RELATIVE").replace("GLIST_TS", "GLIST_PQ")
    beat = beat.replace(f'<head value="{moment(0)}"/>', '<head value="0" unit="ms"/>')
    derived = series(beat, kind="REPRESENTATIVE_BEAT", name="derivedSeries", relation="derivation")
    same = derived.replace(f'<low value="{moment(0)}"/>', low_high(moment(0), moment(24)))
    other = derived.replace(f'<low value="{moment(0)}"/>', low_high(moment(8), moment(12)))
    assert read(message(series(a_set(SIX), same))).unread == ()
    assert unread(read(message(series(a_set(SIX), other)))) == [
        "derivation/derivedSeries/effectiveTime/low",
        "derivation/derivedSeries/effectiveTime/high",
    ]


# Values ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("scale", ['value="5"', 'value="5" unit="1"', 'value="5" unit="kg"', 'value="5" unit="uV"'])
def test_an_origin_that_does_not_go_with_the_scale_is_named_and_unread(scale: str) -> None:
    odd = "uV" if scale != 'value="5" unit="uV"' else "kg"
    text = message(series(a_set(SIX))).replace('<scale value="5" unit="uV"/>', f"<scale {scale}/>")
    recording = read(text.replace('<origin value="0" unit="uV"/>', f'<origin value="100" unit="{odd}"/>'))
    assert recording.tracings[0].channels[0].offset == 0
    assert "aecg.origin-unit" in rules(recording)
    assert unread(recording) == ["component/sequenceSet/component[2]/sequence/value/origin"]


@pytest.mark.parametrize("second", [bounds(8, 16), relative_bounds(8, 16)])
def test_of_two_times_in_one_region_the_first_counts(second: str) -> None:
    recording = read(message(series(a_set(SIX), annotations(WAVE + region(bounds(4, 12), in_lead("I"), second)))))
    assert [(m.start, m.end, m.lead) for m in recording.marks] == [(Fraction(4, 1000), Fraction(12, 1000), "I")]
    assert rules(recording) == {"aecg.boundary-repeated"}
    assert [place.rpartition("supportingROI")[2] for place in unread(recording)] == ["/component[3]/boundary"]


@pytest.mark.parametrize(("kind", "text"), [("TS", "20240101"), ("IVL_TS", "20240101"), ("BL", "true")])
@pytest.mark.parametrize("code", ["X-1", "MDC_ECG_TIME_PD_QT"])
def test_a_value_of_a_type_that_is_no_number_is_kept_as_text(kind: str, text: str, code: str) -> None:
    content = f'<code code="{code}" {MDC}/><value xsi:type="{kind}" value="{text}"/>'
    recording = read(message(series(a_set(SIX), annotations(content))))
    assert [(entry.value, entry.text) for entry in recording.measurements] == [(None, text)]
    assert "aecg.annotation-value" in rules(recording)
    assert recording.unread == ()


# Wrappers ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("inner", ["urn:hl7-org:v3", "urn:x"])
def test_what_stands_around_a_message_and_further_messages_are_unread(inner: str) -> None:
    one = message(series(a_set({"I": "1 2 3"})) + "<odd/>").replace("urn:hl7-org:v3", inner)
    two = one.replace('extension="7"', 'extension="8"')
    text = (
        '<PORT_IN020001UV01 xmlns="urn:hl7-org:v3"><id root="2.999.9"/><controlActProcess><subject quality="good">'
        f"{one}</subject><subject>{two}</subject><subject><part>{two}</part></subject></controlActProcess>"
        "</PORT_IN020001UV01>"
    )
    recording = read(text)
    assert [id.value for id in recording.patient.ids] == ["7"]
    assert [entry.place.partition(", line")[0] for entry in recording.unread] == [
        "/PORT_IN020001UV01/id",
        "/PORT_IN020001UV01/controlActProcess/subject[1]/@quality",
        "/PORT_IN020001UV01/controlActProcess/subject[2]",
        "/PORT_IN020001UV01/controlActProcess/subject[3]",
        "/PORT_IN020001UV01/controlActProcess/subject/AnnotatedECG/odd",
    ]
    found = [finding for finding in recording.findings if finding.rule == "aecg.further-message"]
    assert [finding.severity for finding in found] == ["error", "error"]
    assert {finding.rule for finding in recording.findings} - {"aecg.namespace"} == {
        "aecg.wrapped",
        "aecg.further-message",
    }
