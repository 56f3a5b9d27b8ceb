"""The short ways to samples and marks give what the long ones give, and are gone where they can be."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from interchange.errors import RefusedError, SourceError
from interchange.formats import aecg
from interchange.formats.aecg import read_annotations, read_series
from interchange.formats.aecg.short_digits import GROUP, LONGEST, short_integers
from interchange.model import Mark, Recording
from interchange.sources import Source
from tests import strategies
from tests.formats.aecg.support import (
    START,
    annotations,
    message,
    read,
    region,
    rules,
    sequence_set,
    series,
    time_boundary,
)
from tests.formats.aecg.test_checker import DOCUMENTS
from tests.formats.aecg.test_writer import twelve, written

# Samples -----------------------------------------------------------------------------------------------------------

WHITE = st.sampled_from([" ", "  ", "\n", "\t", "\r\n "])
NUMBER = st.integers(-9999, 9999).flatmap(
    lambda n: st.sampled_from([str(n), f"{n:+}", f"{n:05}" if n < 0 else f"{n:04}"])
)
WORD = st.one_of(NUMBER, st.sampled_from(["0", "-0", "+7", "0012"]))
ODD = st.sampled_from(["12345", "-", "+", "+-1", "1-2", "5-", "--5", "1.5", "1,", "x", "7x", "\u0663", "/", ":", "1 -"])


@st.composite
def lead(draw: st.DrawFn) -> tuple[str, list[int]]:
    words = draw(st.lists(WORD, max_size=8))
    text = "".join(word + draw(WHITE) for word in words)
    return draw(st.sampled_from(["", " ", "\n"])) + text.removesuffix(draw(WHITE)), [int(word) for word in words]


@settings(max_examples=150, deadline=None)
@given(st.lists(lead(), min_size=1, max_size=6))
def test_numbers_of_several_leads_are_those_of_int(leads: list[tuple[str, list[int]]]) -> None:
    assume(all(len(text.split()) == len(numbers) for text, numbers in leads))
    found = list(short_integers(text for text, _ in leads))
    assert [values.tolist() for values in found] == [numbers for _, numbers in leads]


@settings(max_examples=100, deadline=None)
@given(st.lists(lead(), max_size=3), ODD, st.lists(lead(), max_size=3))
def test_anything_else_is_left_to_the_long_way(before: list, odd: str, after: list) -> None:
    texts = [text for text, _ in before] + [f"1 {odd} 2"] + [text for text, _ in after]
    assert list(short_integers(iter(texts))) == []


def test_leads_are_taken_in_groups_until_one_is_odd() -> None:
    whole = " ".join(str(n % 7000 - 3500) for n in range(GROUP // 5))
    numbers = [int(word) for word in whole.split()]
    texts = [whole] * 7 + ["1 2 x"] + [whole] * 3
    found = list(short_integers(iter(texts)))
    assert 0 < len(found) <= 7
    assert all(values.tolist() == numbers for values in found)
    long = "1 " * (LONGEST // 2 + 1)
    assert [v.tolist() for v in short_integers(iter(["1 -2", long, "3"]))] == [[1, -2]]


def test_every_number_of_four_digits() -> None:
    numbers = list(range(-9999, 10000))
    chunks = [numbers[at : at + 1000] for at in range(0, len(numbers), 1000)]
    found = short_integers(" ".join(map(str, chunk)) for chunk in chunks)
    assert [values.tolist() for values in found] == chunks


# Marks -------------------------------------------------------------------------------------------------------------


def outcome(data: bytes) -> object:
    try:
        recording = aecg.read(Source(data, "x.xml"))
    except SourceError as error:
        return str(error)
    return recording, recording.findings, recording.unread


def both_ways(data: bytes) -> tuple[object, object]:
    """What is read with the short ways and without them."""
    short = outcome(data)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(read_series, "plain_row", lambda component, prefix: None)
        patch.setattr(read_annotations, "add_plain_mark", lambda component, prefix, scope: False)
        return short, outcome(data)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_both_ways_agree_on_every_document(name: str) -> None:
    short, long = both_ways(DOCUMENTS[name])
    assert short == long


@pytest.mark.parametrize("edition", ["r1-2004", "2009"])
@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
@given(recording=strategies.full())
def test_both_ways_agree_on_anything_that_is_written(recording: Recording, edition: str) -> None:
    try:
        data = written(recording, edition)
    except RefusedError:
        return
    short, long = both_ways(data)
    assert short == long


WAVE = '<code code="MDC_ECG_WAVC" codeSystem="2.16.840.1.113883.6.24"/><value xsi:type="CE" code="MDC_ECG_WAVC_PWAVE"/>'
LOW, HIGH = "20310102030405.004+0000", "20310102030405.008+0000"
ABSOLUTE = time_boundary(LOW, HIGH)
RELATIVE = '<code code="TIME_RELATIVE"/><value xsi:type="IVL_PQ">{}</value>'
LEAD = '<code code="MDC_ECG_LEAD_I" codeSystem="2.16.840.1.113883.6.24"/>'
PLAIN = WAVE + region(ABSOLUTE, LEAD)
MARKS = {
    "bounds": PLAIN,
    "start": WAVE + region(time_boundary(LOW)),
    "end": WAVE + region(time_boundary(None, HIGH)),
    "peak": WAVE + region(RELATIVE.format('<center value="4" unit="ms"/>')),
    "relative": WAVE + region(RELATIVE.format('<low value="4" unit="ms"/><high value="0.008" unit="s"/>')),
    "lead first": WAVE + region(LEAD, ABSOLUTE),
    "two leads": WAVE + region(ABSOLUTE, LEAD, LEAD.replace("LEAD_I", "LEAD_II")),
    "backwards": WAVE + region(time_boundary(HIGH, LOW)),
    "outside": WAVE + region(time_boundary("20320102030405.004+0000", "20320102030405.005+0000")),
    "no zone": WAVE + region(time_boundary(LOW.removesuffix("+0000"), HIGH.removesuffix("+0000"))),
    "two times": WAVE + region(ABSOLUTE, time_boundary(LOW)),
    "no time": WAVE + region(LEAD),
    "lead of another series": WAVE + region(ABSOLUTE, LEAD.replace("LEAD_I", "LEAD_V6")),
    "unknown lead": WAVE + region(ABSOLUTE, '<code code="Q"/>'),
    "own lead": WAVE + region(ABSOLUTE, '<code code="MDC_ECG_LEAD_I" codeSystemName="ECG interchange"/>'),
    "text": PLAIN.replace("<value", "<text>seen</text><value", 1),
    "unknown attribute": PLAIN.replace("<boundary>", '<boundary colour="1">', 1),
    "unknown attribute of the code": PLAIN.replace("<code ", '<code colour="1" ', 1),
    "unknown attribute of the value": PLAIN.replace(
        'code="MDC_ECG_WAVC_PWAVE"', 'colour="1" code="MDC_ECG_WAVC_PWAVE"'
    ),
    "unknown element": PLAIN.replace("</boundary>", "<odd/></boundary>", 1),
    "original text": PLAIN.replace("/><value", "><originalText>wave</originalText></code><value", 1),
    "unknown wave": PLAIN.replace("WAVC_PWAVE", "WAVC_QWAVER"),
    "code alone": '<code code="MDC_ECG_BEAT_NORMAL"/>' + region(ABSOLUTE),
    "own code alone": '<code code="MDC_ECG_BEAT_NORMAL" codeSystemName="ECG interchange"/>' + region(ABSOLUTE),
    "statement": '<code code="MDC_ECG_INTERPRETATION_STATEMENT"/>' + region(ABSOLUTE),
    "class alone": PLAIN.replace('<value xsi:type="CE" code="MDC_ECG_WAVC_PWAVE"/>', "", 1),
    "blanks in the code": PLAIN.replace('"MDC_ECG_WAVC_PWAVE"', '" MDC_ECG_WAVC_PWAVE "'),
    "lower case": PLAIN.replace('"MDC_ECG_WAVC"', '"mdc_ecg_wavc"'),
    "null flavor": PLAIN.replace("<value ", '<value nullFlavor="NI" ', 1),
    "time of another form": PLAIN.replace(LOW, "2031-01-02T03:04:05.004+00:00"),
    "no such time": PLAIN.replace(LOW, "20311302030405.004+0000"),
    "no unit": WAVE + region(RELATIVE.format('<low value="4"/>')),
    "unit of length": WAVE + region(RELATIVE.format('<low value="4" unit="mm"/>')),
    "width": WAVE + region(RELATIVE.format('<low value="4" unit="ms"/><width value="4" unit="ms"/>')),
    "center and low": WAVE + region(RELATIVE.format('<center value="4" unit="ms"/><low value="4" unit="ms"/>')),
    "kinds of time crossed": WAVE + region(RELATIVE.format(f'<low value="{LOW}"/>')),
    "absolute by name only": WAVE + region(ABSOLUTE.replace("TIME_ABSOLUTE", "TIME_RELATIVE")),
    "inside another": PLAIN + f"<component><annotation>{PLAIN}</annotation></component>",
    "no region": WAVE,
    "empty region": WAVE + region(),
    "two boundaries in a component": WAVE + region(f"{ABSOLUTE}</boundary><boundary>{LEAD}"),
    "another namespace": PLAIN.replace("<support>", "<support xmlns='urn:x'>"),
}
TAKEN = ("bounds", "start", "end", "peak", "relative", "lead first", "two leads", "backwards", "outside", "lower case",
         "blanks in the code", "code alone",
         "no zone")  # fmt: skip


@pytest.mark.parametrize("name", MARKS)
@pytest.mark.parametrize("edition", ["r1-2004", "2009"])
def test_both_ways_to_a_mark_agree(name: str, edition: str) -> None:
    content = MARKS[name].replace("supportingROI", "rOI") if edition == "2009" else MARKS[name]
    sets = sequence_set({"MDC_ECG_LEAD_I": "1 2 3", "MDC_ECG_LEAD_II": "4 5 6"})
    short, long = both_ways(message(series(sets, annotations(content, PLAIN))).encode())
    assert short == long
    assert isinstance(short, tuple)


@pytest.mark.parametrize("name", MARKS)
def test_both_ways_to_a_mark_agree_where_the_samples_have_no_calendar_time(name: str) -> None:
    sets = sequence_set({"MDC_ECG_LEAD_I": "1 2 3", "MDC_ECG_LEAD_II": "4 5 6"})
    timed = sets.replace("TIME_ABSOLUTE", "TIME_RELATIVE").replace("GLIST_TS", "GLIST_PQ")
    timed = timed.replace(f'<head value="{START}"/>', '<head value="2" unit="s"/>')
    text = message(series(timed, annotations(MARKS[name], PLAIN)))
    text = text.replace(f'<effectiveTime><low value="{START}"/></effectiveTime>', '<effectiveTime nullFlavor="NI"/>')
    short, long = both_ways(text.encode())
    assert short == long
    assert isinstance(short, tuple)


@pytest.mark.parametrize("name", MARKS)
def test_the_short_way_to_a_mark_is_gone_where_it_can_be(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    gone: list[str] = []
    long = read_annotations._annotation

    def noted(node: object, scope: object) -> None:
        gone.append(name)
        long(node, scope)  # type: ignore[arg-type]

    monkeypatch.setattr(read_annotations, "_annotation", noted)
    sets = sequence_set({"MDC_ECG_LEAD_I": "1 2 3", "MDC_ECG_LEAD_II": "4 5 6"})
    recording = read(message(series(sets, annotations(MARKS[name]))))
    assert bool(gone) is (name not in TAKEN)
    if name == "bounds":
        assert recording.marks == (Mark("p-wave", 0, Fraction(1, 250), Fraction(1, 125), "I"),)
        assert rules(recording) == set()


def test_marks_of_our_own_writer_go_the_short_way(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise AssertionError("the long way was gone")

    names = ("r-peak", "p-wave", "qrs-onset", "normal-beat", "pacing-spike")
    marks = tuple(
        Mark(name, 0, Fraction(at, 100), Fraction(at + 1, 100) if name == "p-wave" else None, lead)
        for at, (name, lead) in enumerate((name, lead) for name in names for lead in (None, "V2"))
    )
    monkeypatch.setattr(read_annotations, "_annotation", fail)
    for edition in ("r1-2004", "2009"):
        assert read(written(twelve(marks=marks), edition)).marks == marks


def test_the_documents_have_marks() -> None:
    found = [outcome(data) for data in DOCUMENTS.values()]
    assert sum(isinstance(end, tuple) and bool(end[0].marks) for end in found) > 20
