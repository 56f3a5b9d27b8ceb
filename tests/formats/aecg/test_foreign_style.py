"""Documents in the style of other writers: what they say at unusual places is taken, or said to be left."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tests.formats.aecg.support import annotations, message, read, region, rules, sequence_set, series, time_boundary
from tests.formats.aecg.test_short_ways import both_ways
from tests.formats.aecg.test_writer import written

MDC = 'codeSystem="2.16.840.1.113883.6.24"'
WAVE = f'<code code="MDC_ECG_WAVC" {MDC}/><value xsi:type="CE" code="MDC_ECG_WAVC_PWAVE" {MDC}/>'


def moment(milliseconds: int) -> str:
    """That long after the start of every series here."""
    return f"203101020304{5 + milliseconds // 1000:02}.{milliseconds % 1000:03}+0000"


def bounds(low: int, high: int) -> str:
    return time_boundary(moment(low), moment(high))


def in_lead(name: str) -> str:
    return f'<code code="MDC_ECG_LEAD_{name}" {MDC}/>'


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
