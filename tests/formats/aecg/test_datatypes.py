"""HL7 data types as values of the model, in the strict forms and in those that documents really have."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from interchange.formats.aecg import datatypes
from interchange.formats.aecg.datatypes import is_uid, plain
from interchange.formats.aecg.decimals import fraction_from
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import Node, tree
from interchange.formats.aecg.write_types import add_code, add_id, add_name, clean, ts
from interchange.model import Code, Identifier, Moment, PersonName, Quantity


def node(xml: str) -> Node:
    return tree(etree.fromstring(xml))


def moment(value: str) -> tuple[Moment | None, list[str]]:
    log = Log()
    element = etree.Element("t", {"value": value})
    return datatypes.moment(tree(element), log), [finding.rule for finding in log.findings()]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2031", Moment(2031)),
        ("203104", Moment(2031, 4)),
        ("20310405", Moment(2031, 4, 5)),
        ("2031040506", Moment(2031, 4, 5, 6)),
        ("203104050607", Moment(2031, 4, 5, 6, 7)),
        ("20310405060708", Moment(2031, 4, 5, 6, 7, Fraction(8))),
        ("20310405060708.5", Moment(2031, 4, 5, 6, 7, Fraction(17, 2))),
        ("20310405060708.123456", Moment(2031, 4, 5, 6, 7, Fraction(8123456, 10**6))),
        ("20310405060708.25+0130", Moment(2031, 4, 5, 6, 7, Fraction(33, 4), 90)),
        ("203104050607-0500", Moment(2031, 4, 5, 6, 7, None, -300)),
        ("2031040506+01", Moment(2031, 4, 5, 6, None, None, 60)),
        ("20310405060708.33333333333333", Moment(2031, 4, 5, 6, 7, Fraction(25, 3))),
    ],
)
def test_times_are_as_precise_as_they_are_written(text: str, expected: Moment) -> None:
    assert moment(text) == (expected, [])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("20310405060708Z", Moment(2031, 4, 5, 6, 7, Fraction(8), 0)),
        ("20310405060708+01:00", Moment(2031, 4, 5, 6, 7, Fraction(8), 60)),
        ("2031-04-05T06:07:08", Moment(2031, 4, 5, 6, 7, Fraction(8))),
        ("2031-04-05T06:07:08.5-03:30", Moment(2031, 4, 5, 6, 7, Fraction(17, 2), -210)),
        ("2031-04-05 06:07", Moment(2031, 4, 5, 6, 7)),
        ("2031-04-05", Moment(2031, 4, 5)),
        ("20310405+0100", Moment(2031, 4, 5, zone=60)),
    ],
)
def test_times_in_other_forms_are_read_with_a_finding(text: str, expected: Moment) -> None:
    assert moment(text) == (expected, ["aecg.time-form"])


@pytest.mark.parametrize("text", ["yesterday", "20311305", "20310230", "2031040525", "20310405060799", "31", "٢٠٣١"])
def test_what_is_no_time_is_not_used(text: str) -> None:
    assert moment(text) == (None, ["aecg.time-unreadable"])


@pytest.mark.parametrize("text", ["?date?", "", " "])
def test_placeholders_and_blanks_say_nothing(text: str) -> None:
    assert moment(text)[0] is None


@pytest.mark.parametrize(
    "value",
    [
        Moment(2031),
        Moment(2031, 4, 5),
        Moment(2031, 4, 5, 6),
        Moment(2031, 4, 5, 6, 7, Fraction(8), 345),
        Moment(31, 4, 5, 6, 7, Fraction(1, 3), -90),
        Moment(2031, 12, 31, 23, 59, Fraction(60)),
    ],
)
def test_times_are_written_in_the_strict_form_and_come_back(value: Moment) -> None:
    text = ts(value)
    assert text is not None
    assert moment(text) == (value, [])


@pytest.mark.parametrize(
    "value", [Moment(hour=6, minute=7), Moment(2031, 4, 5, zone=60), Moment(2031, 4, hour=3), None]
)
def test_times_that_ts_cannot_say_are_not_written(value: Moment | None) -> None:
    assert ts(value) is None


def interval(inner: str, attributes: str = "") -> datatypes.Interval:
    return datatypes.interval(node(f"<t {attributes}>{inner}</t>"), Log())


def test_intervals_in_all_their_forms() -> None:
    low, high = Moment(2031, 4, 5, 6, 7, Fraction(8)), Moment(2031, 4, 5, 6, 7, Fraction(10))
    a, b = '<low value="20310405060708"/>', '<high value="20310405060710"/>'
    assert interval(a + b) == datatypes.Interval(low, high)
    assert interval(a) == datatypes.Interval(low=low)
    assert interval(b) == datatypes.Interval(high=high)
    assert interval(a + '<width value="2000" unit="ms"/>') == datatypes.Interval(low, high)
    assert interval('<width value="2" unit="s"/>' + b) == datatypes.Interval(low, high)
    center = '<center value="20310405060709"/>'
    assert interval(center) == datatypes.Interval(point=low.plus(1))
    assert interval(center + '<width value="2" unit="s"/>') == datatypes.Interval(low, high)
    assert interval("", 'value="20310405060708"') == datatypes.Interval(point=low)
    assert interval("", 'nullFlavor="NI"') == datatypes.Interval()


def identifier(attributes: str) -> tuple[Identifier | None, list[str]]:
    log = Log()
    return datatypes.identifier(node(f"<id {attributes}/>"), log), [finding.rule for finding in log.findings()]


UUID = "7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a"


@pytest.mark.parametrize(
    ("attributes", "expected", "rules"),
    [
        ('root="2.999.1" extension="A 7"', Identifier("A 7", "2.999.1"), []),
        (f'root="{UUID}"', Identifier(UUID), []),
        (f'root="{UUID.upper()}"', Identifier(UUID.upper()), []),
        (f'root="urn:uuid:{UUID}"', Identifier(UUID), ["aecg.id-form"]),
        ('root="urn:oid:2.999.1" extension="7"', Identifier("7", "2.999.1"), ["aecg.id-form"]),
        (f'root="{{{UUID}}}"', Identifier(UUID), ["aecg.id-form"]),
        ('extension="SN-1"', Identifier("SN-1"), []),
        ('extension="7" assigningAuthorityName="North"', Identifier("7", "North"), []),
        ('root="" extension="7"', Identifier("7"), []),
        ('root="" extension=""', None, []),
        ('nullFlavor="UNK"', None, []),
        ('extension="?id?"', None, []),
    ],
)
def test_ids(attributes: str, expected: Identifier | None, rules: list[str]) -> None:
    assert identifier(attributes) == (expected, rules)


@pytest.mark.parametrize(
    "id",
    [
        Identifier("A 7", "2.999.1"),
        Identifier(UUID),
        Identifier("2.999.4.5"),
        Identifier("A7"),
        Identifier("7", "North Hospital"),
    ],
)
def test_ids_come_back(id: Identifier) -> None:
    root = etree.Element("{urn:hl7-org:v3}x")
    add_id(root, "id", id)
    assert datatypes.identifier(tree(root).take("id"), Log()) == id


@pytest.mark.parametrize(
    "code",
    [
        Code("8302-2", "LN", "Body height"),
        Code("X", "2.999.4"),
        Code("X", "99LOCAL"),
        Code("X"),
        Code(meaning="in words"),
    ],
)
def test_codes_come_back(code: Code) -> None:
    root = etree.Element("{urn:hl7-org:v3}x")
    add_code(root, "code", code)
    assert datatypes.code_of(tree(root).take("code")) == code


@pytest.mark.parametrize(
    ("xml", "expected"),
    [
        ("<name>A. B.</name>", PersonName(text="A. B.")),
        ("<name><family>Moor</family><given>Ada</given></name>", PersonName("Moor", "Ada")),
        ("<name><given>Ada</given><given>Bea</given><family>Moor</family></name>", PersonName("Moor", "Ada", "Bea")),
        (
            "<name><prefix>Dr</prefix> <given>A</given> <family>B</family><family>C</family><suffix>MD</suffix></name>",
            PersonName("B", "A", prefix="Dr", suffix="MD", second_family="C"),
        ),
        ('<name use="IDE">山田</name>', PersonName(text="山田", script="ideographic")),
        ("<name>\n   A.\n   B.\n</name>", PersonName(text="A. B.")),
        ("<name/>", None),
        ('<name nullFlavor="MSK"/>', None),
        ("<name>?name?</name>", None),
    ],
)
def test_names_of_people(xml: str, expected: PersonName | None) -> None:
    log = Log()
    assert datatypes.person_name(node(xml), log) == expected
    assert log.unread == []


def test_text_between_the_parts_of_a_name_is_not_lost_in_silence() -> None:
    log = Log()
    name = datatypes.person_name(node("<name>Sir <family>Moor</family> of Ur</name>"), log)
    assert name == PersonName("Moor")
    assert [(entry.size, entry.what) for entry in log.unread] == [(8, "text between the parts")]


@pytest.mark.parametrize(
    "name",
    [
        PersonName("Moor", "Ada", "B.", "Dr", "MD", "Sand"),
        PersonName(text="A. B."),
        PersonName(text="山田", script="ideographic"),
        PersonName("やまだ", script="phonetic"),
    ],
)
def test_names_come_back(name: PersonName) -> None:
    root = etree.Element("{urn:hl7-org:v3}x")
    add_name(root, name)
    assert datatypes.person_name(tree(root).take("name"), Log()) == name


def test_quantities() -> None:
    assert datatypes.quantity(node('<v value="54" unit="a"/>'), Log()) == Quantity(54, "a")
    assert datatypes.quantity(node('<v value="1.65" unit="m"/>'), Log()) == Quantity(Fraction(33, 20), "m")
    assert datatypes.quantity(node('<v value="3"/>'), Log()) == Quantity(3, "1")
    log = Log()
    assert datatypes.quantity(node('<v value="2,5" unit="m"/>'), log) is None
    assert [finding.rule for finding in log.findings()] == ["aecg.number"]


@pytest.mark.parametrize(
    ("flavor", "reason"),
    [
        ("UNK", "unknown"),
        ("ASKU", "unknown"),
        ("NAV", "unknown"),
        ("MSK", "withheld"),
        ("NA", "not-applicable"),
        ("NI", None),
        ("NASK", None),
    ],
)
def test_null_flavors_keep_unknown_and_not_said_apart(flavor: str, reason: str | None) -> None:
    assert datatypes.absent_of(node(f'<v nullFlavor="{flavor}"/>')) == reason


def test_addresses_and_texts() -> None:
    parts = "<addr><streetAddressLine>1 Way</streetAddressLine><city>Null</city><country>ZZ</country></addr>"
    assert datatypes.address(node(parts), Log()) == "1 Way, Null, ZZ"
    assert datatypes.address(node("<addr>\n 1 Way,\n Null\n</addr>"), Log()) == "1 Way, Null"
    assert datatypes.text_of(node("<v>  said\n</v>")) == "said"
    assert datatypes.text_of(node('<v value="said"/>')) == "said"
    assert datatypes.text_of(node('<v representation="B64">AAAA</v>')) is None


# Forms that are told apart without patterns, against the patterns of the specification ------------------------------

UID = re.compile(
    r"[0-2](\.(0|[1-9][0-9]*))*|[0-9A-Za-z]{8}-([0-9A-Za-z]{4}-){3}[0-9A-Za-z]{12}|[A-Za-z][A-Za-z0-9-]*", re.ASCII
)
NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,6})?", re.ASCII)
UUID = "7a0d6c3e-91b4-4c55-8a53-0c1f2e3d4b5a"


@settings(max_examples=300, deadline=None)
@given(
    st.one_of(
        st.text("012.9-aZ\n\u0663\u00e9", max_size=6),
        st.lists(st.sampled_from(["0", "1", "2", "10", "01", "", "3"]), max_size=5).map(".".join),
        st.tuples(st.integers(0, 35), st.sampled_from(["-", ".", "", "g", "\n", "\u0663"])).map(
            lambda edit: UUID[: edit[0]] + edit[1] + UUID[edit[0] + 1 :]
        ),
    )
)
def test_a_uid_is_what_the_patterns_of_its_type_say(text: str) -> None:
    assert is_uid(text) is (UID.fullmatch(text) is not None)


@settings(max_examples=300, deadline=None)
@given(st.text("01.9eE+-\u0663 ", max_size=8))
def test_a_number_is_what_the_pattern_says(text: str) -> None:
    found = NUMBER.fullmatch(text)
    exponent = int(re.split("[eE]", text)[1]) if found and re.search("[eE]", text) else 0
    expected = Fraction(text) if found and abs(exponent) <= 400 else None
    assert fraction_from(text) == expected


@given(st.text(" \t\r\nab\u00a0", max_size=8))
def test_runs_of_white_space_become_one_blank(text: str) -> None:
    assert plain(text) == re.sub("[ \t\r\n]+", " ", text).strip(" \t\r\n")


@given(st.text(st.sampled_from("a \n\x00\x1f\x7f\x85\u00ad\ufeff\ufffe\uffff\ud800\U0001fffe"), max_size=4))
def test_what_xml_cannot_hold_is_replaced_and_nothing_else(text: str) -> None:
    forbidden = "[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"
    assert clean(text) == re.sub(forbidden, "\ufffd", text)
