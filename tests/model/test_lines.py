"""The model as lines of text and back, exactly."""

from __future__ import annotations

import dataclasses
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interchange.model import Identifier, Moment, Patient, PersonName, Quantity, Recording, Tracing
from interchange.model.lines import apply, decimal, line, lines_below
from tests import strategies
from tests.everything import everything

PREFIXES = (
    "patient",
    "acquisition",
    "measurements",
    "marks",
    "statements",
    "trial",
    "document_id",
    "deidentification",
    "extras",
)
LEAVES_OF_OBJECTS = (
    *(f"patient.{f.name}" for f in dataclasses.fields(Patient)),
    "acquisition.devices.software",
    "acquisition.site.ids",
    "statements.author",
    "statements.time",
    "marks.text",
    "measurements.extras",
)
SETTINGS = settings(max_examples=30, suppress_health_check=list(HealthCheck), deadline=None)


def bare(recording: Recording) -> Recording:
    """The same tracings and nothing else."""
    return Recording(tracings=recording.tracings)


@SETTINGS
@given(strategies.full(), st.booleans())
def test_whole_objects_come_back(recording: Recording, ascii_only: bool) -> None:
    written = lines_below(recording, PREFIXES, ascii_only=ascii_only)
    back, others = apply(bare(recording), written)
    assert others == ()
    assert _without_empty(back) == _without_empty(recording)


@SETTINGS
@given(strategies.full())
def test_a_line_is_one_line_and_plain(recording: Recording) -> None:
    for ascii_only in (False, True):
        for text in lines_below(recording, PREFIXES, ascii_only=ascii_only):
            assert len(text.splitlines()) == 1
            assert text.isprintable() or not ascii_only
            assert text.isascii() or not ascii_only
            assert not any(ord(c) < 32 or 127 <= ord(c) < 160 for c in text)


@SETTINGS
@given(strategies.full())
def test_fields_one_by_one_come_back(recording: Recording) -> None:
    """Lines for single fields of items, applied to the recording without these fields, restore them."""
    written = lines_below(recording, LEAVES_OF_OBJECTS)
    stripped = _stripped(recording)
    back, others = apply(stripped, written)
    assert others == ()
    assert _without_empty(back) == _without_empty(recording)


def test_channels_and_tracings_take_lines_too() -> None:
    recording = everything()
    written = lines_below(recording, ("tracings.label", "tracings.channels.label", "tracings.channels.filters"))
    assert "tracings[0].label: the twelve" in written
    plain = tuple(
        dataclasses.replace(
            t, label=None, channels=tuple(dataclasses.replace(c, label=None, filters=None) for c in t.channels)
        )
        for t in recording.tracings
    )
    back, others = apply(recording.with_(tracings=plain), written)
    assert others == ()
    assert back == recording


LINES = [
    ("patient.height", Quantity(172, "cm"), "patient.height: 172 cm"),
    ("patient.height", Quantity(Fraction(1, 3), "m"), "patient.height: 1/3 m"),
    ("patient.birth_date", Moment(2031, 4, 5), "patient.birth_date: 2031-04-05"),
    ("acquisition.filters.notch_off", True, "acquisition.filters.notch_off: yes"),
    ("patient.name", PersonName(family="Moor", given="Ada"), "patient.name: family=Moor; given=Ada"),
    ("patient.ids[0]", Identifier("a;b=c\\d", "2.999"), "patient.ids[0]: value=a\\;b\\=c\\\\d; issuer=2.999"),
    ("patient.comments[0]", " x\n", "patient.comments[0]: \\sx\\n"),
    ("patient.comments[0]", "\x1b\u2028", "patient.comments[0]: \\u001B\\u2028"),
    ("extras[0]", ("wfdb.a=b", "c"), "extras[0]: wfdb.a\\=b=c"),
]


@pytest.mark.parametrize(("path", "value", "text"), LINES, ids=[text for _, _, text in LINES])
def test_lines_look_as_documented(path: str, value: object, text: str) -> None:
    assert line(path, value) == text


def test_what_is_beyond_ascii_is_spelt_out_where_it_must_be() -> None:
    assert line("patient.comments[0]", "é\U0001f691", ascii_only=True) == "patient.comments[0]: \\u00E9\\uD83D\\uDE91"
    assert line("patient.comments[0]", "é\U0001f691") == "patient.comments[0]: é\U0001f691"


STRANGE = [
    "",
    ":",
    "Age: 63",
    "patient: ",
    "patient.shoe_size: 43",
    "patient.height: tall",
    "patient.height: 172",
    "patient.height: 1/0 cm",
    "patient.ids[1]: value=second without a first",
    "patient.ids[999999]: value=x",
    "patient.ids: value=x",
    "patient.height[0]: 172 cm",
    "patient.birth_date: 2031-02-30",
    "patient.birth_date: T10:11:1/0",
    "patient.sex: yes",
    "patient.comments[0]: bad \\q escape",
    "patient.comments[0]: half \\uD83D pair",
    "patient.comments[0]: \\u12",
    "patient.comments[0]: ends with \\",
    "patient.name.family.given: x",
    "measurements[0]: value=3",
    "measurements[0]: concept=pr-interval; value=three",
    "marks[0]: concept=note; tracing=0",
    "marks[0]: concept=note; tracing=0; start=1/0",
    "acquisition.urgency: " + "9" * 5000,
    "acquisition.urgency: 1.5",
    "acquisition.urgency: 1_000",
    "acquisition.urgency:  5 ",
    "acquisition.urgency: +5",
    "patient.height: 1e999999999 cm",
    "patient.height: ٣ cm",
    "acquisition.filters.lowpass: 1e999999999",
    "acquisition.filters.lowpass: inf",
    "tracings[0].channels[12]: name=X",
    "tracings[0].channels[12].label: x",
    "tracings[3].label: x",
    "tracings: x",
    "tracings[0]: x",
    "tracings[0].samples: 1",
    "tracings[0].missing: 1",
    "tracings[0].rate: 0",
    "tracings[0].rate: -500",
    "tracings[0]._digest: x",
    "tracings[0]._digest[0]: x",
    "tracings[7].label: x",
    "tracings[0].kind: other",
    "tracings[0].channels[0].step: 0",
    "tracings[0].channels[0]: name=I; step=0",
    "format: scp",
    "unread[0]: place=x; size=1; what=y",
    "findings[0]: rule=x; severity=error; place=y; reason=z",
    "patient.__class__: x",
    "patient.with_: x",
    "code: x",
    "rhythms[0]: x",
    "measurements[0].code: x",
]


@pytest.mark.parametrize("text", STRANGE)
def test_what_is_none_of_ours_is_handed_back_and_changes_nothing(text: str) -> None:
    recording = Recording(tracings=everything().tracings)
    back, others = apply(recording, [text])
    assert others == (text,)
    assert back == recording


@given(
    st.lists(
        st.text(max_size=40) | st.from_regex(r"(patient|acquisition|marks|tracings)[a-z_.\[\]0-9]{0,20}: .{0,20}"),
        max_size=5,
    )
)
def test_any_text_is_taken_without_an_exception(lines: list[str]) -> None:
    back, others = apply(Recording(tracings=everything().tracings), lines)
    assert len(others) <= len(lines)
    assert back.tracings[0].samples.shape == (12, 60)


def test_lines_add_to_what_is_there() -> None:
    start = Recording(patient=Patient(sex="male", comments=("one",)))
    back, others = apply(start, ["patient.comments[1]: two", "patient.sex: female", "patient.comments[3]: four"])
    assert others == ("patient.comments[3]: four",)
    assert back.patient == Patient(sex="female", comments=("one", "two"))


HOSTILE = {
    "items": lambda n: [f"measurements[{i}]: concept=pr-interval; value={i}; unit=ms" for i in range(n)],
    "items far below": lambda n: [f"patient.comments[{i}]: x" for i in range(n)],
    "in turns": lambda n: [
        text for i in range(n) for text in (f"marks[{i}]: concept=note; tracing=0; start=0", f"marks[{i}].text: x")
    ],
    "one long line": lambda n: ["patient: " + "; ".join(f"comments[{i}]=x" for i in range(n))],
    "one field again and again": lambda n: ["acquisition.site.room: 1"] * n,
    "not understood": lambda n: [f"patient.ids[{i}]: value=x" for i in range(n, 0, -1)],
    "backslashes": lambda n: ["patient.comments[0]: " + "\\\\" * n],
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_many_lines_take_time_in_proportion(kind: str) -> None:
    import time

    def seconds(count: int) -> float:
        lines = HOSTILE[kind](count)
        begin = time.perf_counter()
        apply(Recording(), lines)
        return time.perf_counter() - begin

    seconds(100)
    assert seconds(16000) < 24 * max(seconds(2000), 0.01)  # in proportion it is 8; the square would be 64


@given(st.fractions(max_denominator=10**12))
def test_a_decimal_is_exact_and_shortest(value: Fraction) -> None:
    text = decimal(value)
    assert Fraction(text) == value
    if "." in text:
        assert not text.endswith("0")


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Fraction(1, 20), "0.05"),
        (-3, "-3"),
        (Fraction(1, 3), "1/3"),
        (Fraction(-1, 8), "-0.125"),
        (0, "0"),
        (10**20, "1" + "0" * 20),
    ],
)
def test_decimals_look_as_documented(value: Fraction, text: str) -> None:
    assert decimal(value) == text


def _stripped(recording: Recording) -> Recording:
    empty = {f.name: f.default for f in dataclasses.fields(Patient)}
    site = recording.acquisition.site
    return recording.with_(
        patient=Patient(**empty),
        acquisition=dataclasses.replace(
            recording.acquisition,
            devices=tuple(dataclasses.replace(d, software=()) for d in recording.acquisition.devices),
            site=dataclasses.replace(site, ids=()) if site else None,
        ),
        statements=tuple(dataclasses.replace(s, author=None, time=None) for s in recording.statements),
        marks=tuple(dataclasses.replace(m, text=None) for m in recording.marks),
        measurements=tuple(dataclasses.replace(m, extras=()) for m in recording.measurements),
    )


def _without_empty(value: object) -> object:
    """The same with objects that say nothing left out, as a line has nothing to say about them."""
    if isinstance(value, Tracing):
        return value
    if isinstance(value, tuple):
        return tuple(_without_empty(item) for item in value)
    if not dataclasses.is_dataclass(value) or isinstance(value, (Moment, Quantity)):
        return value
    kept = {f.name: _without_empty(getattr(value, f.name)) for f in dataclasses.fields(value)}
    kept = {name: inner for name, inner in kept.items() if inner not in (None, (), {})}
    if isinstance(value, Recording):
        return kept
    return kept if any(v is not False for v in kept.values()) else None


def test_an_object_that_says_nothing_takes_nothing_away() -> None:
    held = Recording(patient=Patient(name=PersonName(family="Moor")))
    lines = ["patient: ", "patient.name: ", "acquisition.filters: "]
    back, others = apply(held, lines)
    assert others == ("patient: ", "patient.name: ")
    assert back.patient == held.patient
    assert back.acquisition.filters is not None
