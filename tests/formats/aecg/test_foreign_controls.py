"""Control variables at any level: taken where they hold, or said to be left."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

import pytest

from interchange.model import Acquisition, Filters, Recording
from tests.formats.aecg.foreign import MDC, a_set, said, unread, variable
from tests.formats.aecg.support import message, read, rules, series
from tests.formats.aecg.test_writer import twelve, written


def pad(value: str) -> str:
    return said("PAD_VALUE", f'xsi:type="PQ" {value}')


def missing(recording: Recording) -> list[list[int]]:
    """The samples that are missing in each channel of the only tracing."""
    (tracing,) = recording.tracings
    if tracing.missing is None:
        return [[] for _ in tracing.channels]
    return [[at for at, gone in enumerate(row) if gone] for row in tracing.missing.tolist()]


def test_a_pad_value_of_a_lead_is_for_this_lead() -> None:
    low = "1 -9 3|" + pad('value="-9"')
    recording = read(message(series(a_set({"I": low, "II": "-9 5 -9 "}))))
    assert missing(recording) == [[1], []]
    assert (rules(recording), recording.unread) == (set(), ())


def test_the_nearest_pad_value_counts_and_one_that_nobody_needs_is_unread() -> None:
    around, own = pad('value="-9"'), pad('value="-7"')
    both = read(message(series(around + a_set({"I": "-9 -7 3|" + pad('value="3"'), "II": "-9 -7 4"}, own=own))))
    assert missing(both) == [[2], [1]]
    assert unread(both) == ["controlVariable/controlVariable/value"]
    alone = read(message(series(around + a_set({"I": "-9 -7 3", "II": "-9 -9 4"}))))
    assert missing(alone) == [[0], [0, 1]]
    assert alone.unread == ()


@pytest.mark.parametrize(
    ("value", "gone", "found", "left"),
    [
        ('value="-20" unit="uV"', [1], set(), []),
        ('value="-0.02" unit="mV"', [1], set(), []),
        ('value="-20.5" unit="uV"', [], set(), []),
        ('value="-4"', [1], set(), []),
        ('value="-4" unit="1"', [1], set(), []),
        ('value="-4" unit="uV"', [], {"aecg.pad-value"}, []),
        ('value="-20" unit="kg"', [], {"aecg.pad-value"}, ["/controlVariable/controlVariable/value"]),
    ],
)
def test_a_pad_value_with_a_unit_is_a_value_of_the_lead(
    value: str, gone: list[int], found: set[str], left: list[str]
) -> None:
    recording = read(message(series(a_set({"I": "1 -4 3|" + pad(value)}))))
    assert missing(recording) == [gone]
    assert rules(recording) == found
    assert unread(recording) == [f"component/sequenceSet/component[2]/sequence{place}" for place in left]


def test_a_pad_value_with_a_unit_knows_the_origin() -> None:
    text = message(series(a_set({"I": "1 -4 3|" + pad('value="-20" unit="uV"')})))
    assert missing(read(text.replace('<origin value="0" unit="uV"/>', '<origin value="-25" unit="uV"/>'))) == [[0]]


def cutoff(kind: str, value: str) -> str:
    return said(f"ATTR_FILTER_{kind}", "", variable("ATTR_FILTER_CUTOFF_FREQ", f'xsi:type="PQ" {value}'))


@pytest.mark.parametrize(
    ("value", "hertz", "found"),
    [
        ('value="50" unit="mHz"', Fraction(1, 20), set()),
        ('value="0.15" unit="kHz"', Fraction(150), set()),
        ('value="30" unit="/min"', Fraction(1, 2), set()),
        ('value="30" unit="1/min"', Fraction(1, 2), set()),
        ('value="0.05" unit="Hz"', Fraction(1, 20), set()),
        ('value="0.05" unit="HZ"', Fraction(1, 20), set()),
        ('value="0.05" unit="hZ"', Fraction(1, 20), set()),
        ('value="0.05"', Fraction(1, 20), {"aecg.filter-unit"}),
        ('value="0.05" unit="1"', Fraction(1, 20), {"aecg.filter-unit"}),
        ('value="3.2" unit="s"', None, {"aecg.filter-unit"}),
        ('value="3.2" unit="MHZ"', None, {"aecg.filter-unit"}),
        ('value="0"', None, set()),
    ],
)
def test_units_of_a_filter(value: str, hertz: Fraction | None, found: set[str]) -> None:
    nested = read(message(series(cutoff("HIGH_PASS", value) + a_set({"I": "1 2"}))))
    direct = read(message(series(said("ATTR_FILTER_HIGH_PASS", f'xsi:type="PQ" {value}') + a_set({"I": "1 2"}))))
    for recording in (nested, direct):
        assert recording.acquisition.filters == (None if hertz is None else Filters(highpass=hertz))
        assert rules(recording) == found
    lost = hertz is None and bool(found)
    inner = "controlVariable/controlVariable"
    assert unread(nested) == ([f"{inner}/component/controlVariable"] if lost else [])
    assert unread(direct) == ([f"{inner}/value"] if lost else [])


def test_a_second_cutoff_of_one_filter_is_unread() -> None:
    two = cutoff("LOW_PASS", 'value="150" unit="Hz"') + cutoff("LOW_PASS", 'value="40" unit="Hz"')
    recording = read(message(series(two + a_set({"I": "1 2"}))))
    assert recording.acquisition.filters == Filters(lowpass=Fraction(150))
    assert unread(recording) == ["controlVariable[2]/controlVariable/component/controlVariable"]


def skew(microseconds: int) -> str:
    return said("TIME_SKEW", f'xsi:type="PQ" value="{microseconds}" unit="us"')


LOW150, LOW40 = (cutoff("LOW_PASS", f'value="{hertz}" unit="Hz"') for hertz in (150, 40))
HIGH = cutoff("HIGH_PASS", 'value="0.05" unit="Hz"')


def test_a_skew_of_a_set_or_series_holds_for_its_leads() -> None:
    text = message(series(skew(700) + a_set({"I": f"1 2|{skew(0)}", "II": "3 4"}, own=skew(500))))
    recording = read(text)
    assert [channel.skew for channel in recording.tracings[0].channels] == [0, Fraction(1, 2000)]
    assert unread(recording) == ["controlVariable/controlVariable/value"]
    alone = read(message(series(skew(700) + a_set({"I": "1 2", "II": f"3 4|{skew(0)}"}))))
    assert [channel.skew for channel in alone.tracings[0].channels] == [Fraction(7, 10000), 0]
    assert alone.unread == ()


def test_a_skew_that_is_no_time_or_said_twice_is_unread() -> None:
    odd = read(message(series(skew(700).replace('"us"', '"mm"') + a_set({"I": "1 2"}))))
    twice = read(message(series(a_set({"I": f"1 2|{skew(700)}{skew(800)}"}))))
    assert odd.tracings[0].channels[0].skew == 0
    assert unread(odd) == ["controlVariable/controlVariable"]
    assert twice.tracings[0].channels[0].skew == Fraction(7, 10000)
    assert unread(twice) == ["component/sequenceSet/component[2]/sequence/controlVariable[2]/controlVariable"]


def test_filters_of_lead_set_and_series_are_put_together_field_by_field() -> None:
    notch = said("ATTR_FILTER_NOTCH", 'xsi:type="PQ" value="50" unit="Hz"')
    recording = read(message(series(HIGH + a_set({"I": f"1 2|{LOW40}", "II": "3 4"}, own=LOW150 + notch))))
    common = Filters(highpass=Fraction(1, 20), notches=(Fraction(50),))
    assert recording.acquisition.filters == Filters(highpass=Fraction(1, 20))
    assert [channel.filters for channel in recording.tracings[0].channels] == [
        Filters(common.highpass, Fraction(40), common.notches),
        Filters(common.highpass, Fraction(150), common.notches),
    ]
    assert recording.unread == ()
    again = read(written(recording))
    assert (again.acquisition.filters, again.tracings) == (recording.acquisition.filters, recording.tracings)


def test_filters_of_a_set_that_all_its_leads_say_otherwise_are_unread() -> None:
    recording = read(message(series(a_set({"I": f"1 2|{LOW40}"}, own=LOW150 + HIGH))))
    assert recording.tracings[0].channels[0].filters == Filters(Fraction(1, 20), Fraction(40))
    assert unread(recording) == [
        "component/sequenceSet/controlVariable[1]/controlVariable/component/controlVariable/value"
    ]


def test_filters_of_a_lead_without_those_around_it_are_written_and_read_back() -> None:
    whole, part = Filters(Fraction(1, 20), Fraction(150)), Filters(lowpass=Fraction(40))
    plain = twelve()
    channels = plain.tracings[0].channels
    tracing = dataclasses.replace(
        plain.tracings[0], channels=(dataclasses.replace(channels[0], filters=part), *channels[1:])
    )
    recording = plain.with_(tracings=(tracing,), acquisition=Acquisition(filters=whole))
    again = read(written(recording))
    assert again.acquisition.filters == whole
    assert [channel.filters for channel in again.tracings[0].channels] == [part, *[None] * 11]


@pytest.mark.parametrize("level", ["set", "lead"])
@pytest.mark.parametrize(("one", "two"), [(LOW150, LOW40), (skew(0), skew(500)), (LOW150, "")])
def test_sets_with_other_filters_or_skew_are_not_joined(level: str, one: str, two: str) -> None:
    def each(first: str, second: str) -> Recording:
        if level == "set":
            sets = a_set({"I": "1 2"}, own=first) + a_set({"I": "3 4"}, 20, own=second)
        else:
            sets = a_set({"I": f"1 2|{first}"}) + a_set({"I": f"3 4|{second}"}, 20)
        return read(message(series(sets)))

    apart, together = each(one, two), each(one, one)
    assert [(t.start, t.samples.tolist()) for t in apart.tracings] == [(0, [[1, 2]]), (Fraction(1, 50), [[3, 4]])]
    assert rules(apart) == {"aecg.sets-not-joined"}
    assert [t.samples.shape for t in together.tracings] == [(1, 7)]
    assert rules(together) == set()


def placement(code: str) -> str:
    inside = f'<code code="MDC_ECG_LEAD_SYSTEM" {MDC}/><value xsi:type="CE" code="MDC_ECG_LDSYS_{code}" {MDC}/>'
    return f"<controlVariable><controlVariable>{inside}</controlVariable></controlVariable>"


def test_an_electrode_placement_of_a_set_or_a_lead_is_taken_and_a_second_one_unread() -> None:
    one, two = placement("12LD_MASON_LIKAR"), placement("12LD_STD")
    for text in (one + a_set({"I": "1 2"}), a_set({"I": "1 2"}, own=one), a_set({"I": f"1 2|{one}"})):
        recording = read(message(series(text)))
        assert recording.acquisition.electrode_placement == "placement-mason-likar"
        assert recording.unread == ()
    other = read(message(series(one + a_set({"I": "1 2"})), series(two + a_set({"I": "1 2"}))))
    assert other.acquisition.electrode_placement == "placement-mason-likar"
    assert [place.partition("series")[2] for place in unread(other)] == ["/controlVariable/controlVariable/value"]
    inner = read(message(series(one + a_set({"I": f"1 2|{two}"}, own=one))))
    assert unread(inner) == ["component/sequenceSet/component[2]/sequence/controlVariable/controlVariable/value"]


def test_a_note_of_a_piece_where_no_piece_is_stays_unread() -> None:
    note = said("TRACING", 'xsi:type="INT" value="0"').replace(MDC, 'codeSystemName="ECG interchange"')
    recording = read(message(series(note.replace("MDC_ECG_CTL_VBL_", "") + a_set({"I": "1 2"}))))
    assert unread(recording) == ["controlVariable/controlVariable/value"]
