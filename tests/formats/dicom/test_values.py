"""Dates, times, ages and names (PS3.5 6.2)."""

from fractions import Fraction

import pytest
from pydicom.valuerep import PersonName as Oracle

from interchange.formats.dicom.uids import derived_uid, is_derived, is_uid
from interchange.formats.dicom.values import (
    age_text,
    clean,
    date_text,
    moment_text,
    parse_age,
    parse_date,
    parse_moment,
    parse_name,
    parse_time,
    parse_zone,
    person_text,
    time_text,
    zone_text,
)
from interchange.model import Identifier, Moment, Patient, PersonName, Quantity, Recording, Statement
from tests.formats.dicom.support import read, written
from tests.formats.dicom.test_write import tracing

MOMENTS = [
    ("2031", Moment(2031)),
    ("203104", Moment(2031, 4)),
    ("20310405", Moment(2031, 4, 5)),
    ("2031040514", Moment(2031, 4, 5, 14)),
    ("203104051403", Moment(2031, 4, 5, 14, 3)),
    ("20310405140307", Moment(2031, 4, 5, 14, 3, Fraction(7))),
    ("20310405140307.25", Moment(2031, 4, 5, 14, 3, Fraction(29, 4))),
    ("20310405140307.000001", Moment(2031, 4, 5, 14, 3, 7 + Fraction(1, 10**6))),
    ("20310405140307-0930", Moment(2031, 4, 5, 14, 3, Fraction(7), -570)),
    ("20310405140307+0000", Moment(2031, 4, 5, 14, 3, Fraction(7), 0)),
    ("20161231235960", Moment(2016, 12, 31, 23, 59, Fraction(60))),
]


@pytest.mark.parametrize(("text", "moment"), MOMENTS)
def test_moments_there_and_back(text, moment):
    assert parse_moment(text) == moment
    assert moment_text(moment) == text


@pytest.mark.parametrize(
    "text", ["", "203", "20311305", "20310431", "20310405240000", "2031040514030", "abc", "20310405+9900"]
)
def test_what_is_no_moment_is_none(text):
    found = parse_moment(text)
    assert found is None or found.zone is None


@pytest.mark.parametrize(
    ("text", "moment"),
    [("19610228", Moment(1961, 2, 28)), ("1961.02.28", Moment(1961, 2, 28)), ("19610230", None), ("1961", None)],
)
def test_dates(text, moment):
    assert parse_date(text) == moment


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("14", (14, None, None)),
        ("1403", (14, 3, None)),
        ("140307.5", (14, 3, Fraction(15, 2))),
        ("14:03:07", (14, 3, 7)),
    ],
)
def test_times(text, parts):
    found = parse_time(text)
    assert found is not None
    assert (found.hour, found.minute, found.second) == parts


def test_seconds_are_cut_to_microseconds_and_never_rounded_up_into_the_next_minute():
    assert time_text(Moment(hour=1, minute=59, second=60 - Fraction(1, 10**7))) == "015959.999999"
    assert date_text(Moment(2031, 4)) is None


@pytest.mark.parametrize(("zone", "text"), [(0, "+0000"), (120, "+0200"), (-210, "-0330"), (None, None), (841, None)])
def test_zones(zone, text):
    assert zone_text(zone) == text
    if text:
        assert parse_zone(text) == zone


@pytest.mark.parametrize(
    ("age", "text"),
    [
        (Quantity(70, "a"), "070Y"),
        (Quantity(Fraction(5, 2), "a"), "030M"),
        (Quantity(11, "mo"), "011M"),
        (Quantity(3, "wk"), "003W"),
        (Quantity(27, "h"), "001D"),
        (Quantity(5, "h"), "000D"),
        (Quantity(1000, "d"), None),
        (Quantity(Fraction(1, 7), "a"), None),
        (Quantity(5, "min"), None),
    ],
)
def test_ages(age, text):
    assert age_text(age) == text
    if text and age.unit != "h" and text[-1] == "Y":
        assert parse_age(text) == age


NAMES = [
    "Doe^Jane",
    "Doe^Jane^Q^Dr^II",
    "Doe^",
    "^Jane",
    "Moor y Vega^Ada",
    "Yamada^Tarou=\u5c71\u7530^\u592a\u90ce",
    "=\u5c71\u7530^\u592a\u90ce",
]


@pytest.mark.parametrize("text", NAMES)
def test_names_in_their_parts_as_pydicom_has_them(text):
    oracle = Oracle(text)
    found = {name.script: name for name in parse_name(text)}
    if None in found:
        name = found[None]
        parts = (name.family, name.given, name.middle, name.prefix, name.suffix)
        expected = (
            oracle.family_name, oracle.given_name, oracle.middle_name, oracle.name_prefix, oracle.name_suffix
        )  # fmt: skip
        assert tuple(part or "" for part in parts) == expected
    assert str(found["ideographic"].family if "ideographic" in found else "") == oracle.ideographic.partition("^")[0]
    first, *others = parse_name(text)
    if first.script is None:
        assert person_text(first, tuple(others)) == text


def test_an_undivided_name_stays_undivided():
    assert parse_name("ANONYMOUS") == (PersonName(text="ANONYMOUS"),)
    assert person_text(PersonName(text="ANONYMOUS")) == "ANONYMOUS"


@pytest.mark.parametrize(
    ("text", "vr", "cleaned"),
    [
        ("a\\b", "LO", "a/b"),
        ("a\\b", "LT", "a\\b"),
        ("a\r\nb", "LO", "a  b"),
        ("a\r\nb", "LT", "a\r\nb"),
        ("\x1b[31mred", "ST", " [31mred"),
        ("x" * 70, "LO", "x" * 64),
        (" a ", "SH", "a"),
    ],
)
def test_text_is_made_a_single_value(text, vr, cleaned):
    assert clean(text, vr) == cleaned


def test_separators_in_a_name_cannot_add_components():
    hostile = PersonName(family="A^B=C\\D", given="E")
    assert person_text(hostile) == "A B C/D^E"


def test_derived_identifiers():
    one, other = derived_uid("study", b"a"), derived_uid("study", b"b")
    assert one != other
    assert one == derived_uid("study", b"a")
    assert derived_uid("study", b"ab", b"c") != derived_uid("study", b"a", b"bc")
    for uid in (one, other):
        assert is_uid(uid)
        assert is_derived(uid)
        number = int(uid.removeprefix("2.25."))
        assert (number >> 76) & 0xF == 8
        assert (number >> 62) & 0x3 == 2
        assert number < 2**128


@pytest.mark.parametrize("uid", ["", "1.02", "1..2", "1.a", ".1", "1." + "2" * 63, "1.2 "])
def test_what_is_no_identifier(uid):
    assert not is_uid(uid)
    assert not is_derived(uid)


def test_half_characters_never_reach_the_encoder():
    """A lone surrogate is no character and has no UTF-8: it becomes a blank, which the comparison then shows."""
    source = Recording(
        (tracing(length=10),),
        patient=Patient((Identifier("A\ud800B"),), PersonName("F\udfff", "G")),
        statements=(Statement("x\ud800y"),),
    )
    back = read(written(source))
    assert (back.patient.ids[0].value, back.patient.name) == ("A B", PersonName("F", "G"))
    assert back.statements[0].text == "x y"
