"""Section 1 (EN 1064 clause 5.4): tags, devices, character sets."""

from __future__ import annotations

import struct
from fractions import Fraction

import pytest

from interchange.formats.scp.text import LANGUAGES, decode, encode, language_for, read_text
from interchange.model import Code, Identifier, Moment, Patient, Person, PersonName, Quantity, Site
from tests.formats.scp import plain
from tests.formats.scp.broken import check, read, record, with_section


def with_tags(*tags: tuple[int, bytes], language: int = 0, drop: tuple[int, ...] = ()) -> bytes:
    given = {number for number, _ in tags}
    kept = [(n, v) for n, v in plain.plain_tags(language) if n not in given and n not in drop]
    return plain.encode(record(tags=[*kept, *tags]))


def date(year: int, month: int, day: int) -> bytes:
    return struct.pack("<HBB", year, month, day)


def test_every_tag_of_a_patient() -> None:
    data = with_tags(
        (0, b"Moor\0"),
        (1, b"Ada Eve\0"),
        (2, b"77-1\0"),
        (3, b"Fenn\0"),
        (4, struct.pack("<HB", 63, 1)),
        (5, date(1968, 2, 29)),
        (6, struct.pack("<HB", 171, 1)),
        (7, struct.pack("<HB", 64500, 2)),
        (8, b"\x02"),
        (9, b"\x01"),
        (10, bytes((0, 7, 4)) + b"slow release\0"),
        (10, bytes((0, 100, 0)) + b"willow bark\0"),
        (10, bytes((0, 3, 2)) + b"\0"),
        (11, struct.pack("<H", 131)),
        (12, struct.pack("<H", 84)),
        (32, bytes((0, 3, 47))),
        (35, b"asthma as a child\0"),
    )
    assert check(data) == set()
    assert read(data).patient == Patient(
        ids=(Identifier("77-1"),),
        name=PersonName(family="Moor", given="Ada Eve", second_family="Fenn"),
        birth_date=Moment(1968, 2, 29),
        age=Quantity(63, "a"),
        sex="female",
        height=Quantity(171, "cm"),
        weight=Quantity(64500, "g"),
        race=Code("1", "SCPECG 5.4.5-9", "Caucasian"),
        systolic=Quantity(131, "mm[Hg]"),
        diastolic=Quantity(84, "mm[Hg]"),
        drugs=(
            Code("0.7.4", "SCPECG 5.4.5-10", "slow release"),
            Code(meaning="willow bark"),
            Code("0.3.2", "SCPECG 5.4.5-10", "diuretic"),
        ),
        history=(
            Code("0.3", "SCPECG 5.4.5-32", "previous myocardial infarction"),
            Code("0.47", "SCPECG 5.4.5-32", None),
            Code(meaning="asthma as a child"),
        ),
    )


def test_every_tag_of_an_acquisition() -> None:
    analysing = plain.device(strings=(b"reader 4", b"", b"os 9", b"fmt 1", b"Quillmere"))
    data = with_tags(
        (13, b"chest pain\0"),
        (13, b"follow-up\0"),
        (15, analysing),
        (16, b"Norrhalde\0"),
        (17, b"Reading Centre\0"),
        (18, b"Station 2\0"),
        (19, b"Night desk\0"),
        (20, b"Dr Anselm\0"),
        (21, b"Dr Bertil\0"),
        (22, b"Cedric\0"),
        (23, b"Unit 7\0"),
        (24, b"\x08"),
        (27, struct.pack("<H", 5)),
        (28, struct.pack("<H", 150)),
        (29, bytes((0b0110,))),
        (30, b"at the kitchen table\0"),
        (31, b"3\0"),
        (33, bytes((2, 0))),
        (34, struct.pack("<hH", -210, 0) + b"\0"),
    )
    assert check(data) == set()
    found = read(data).acquisition
    assert found.time == Moment(2024, 3, 18, 6, 42, Fraction(10), zone=-210)
    assert [device.role for device in found.devices] == ["acquiring", "analysing"]
    assert found.devices[0].extras == (("scp.device-number", "7"), ("scp.capabilities", "128"))
    assert found.devices[1].software == ("reader 4", "os 9", "fmt 1")
    assert found.devices[1].site == Site("Reading Centre", "Night desk")
    assert found.site == Site("Norrhalde", "Station 2", "Unit 7")
    assert found.referring == Person(PersonName(text="Dr Anselm"))
    assert found.confirming == Person(PersonName(text="Dr Bertil"))
    assert found.operator == Person(PersonName(text="Cedric"))
    assert found.reasons == ("chest pain", "follow-up")
    assert found.remarks == ("at the kitchen table",)
    assert (found.urgency, found.sequence_number, found.mains) == (8, "3", 50)
    assert found.electrode_placement == "placement-mason-likar"
    assert found.filters.highpass == Fraction(1, 20)
    assert found.filters.lowpass == 150
    assert found.filters.notches == (50,)
    assert found.filters.descriptions == ("artefact filter",)


NOTHING = [
    (5, date(0, 0, 0), "birth_date"),
    (4, struct.pack("<HB", 0, 0), "age"),
    (6, struct.pack("<HB", 0, 0), "height"),
    (8, b"\x09", "sex"),
    (9, b"\0", "race"),
    (11, struct.pack("<H", 0), "systolic"),
    (0, b"\0", "name"),
    (0, b"", "name"),
    (2, b"\0", "ids"),
]


@pytest.mark.parametrize(("number", "value", "field"), NOTHING)
def test_not_given_is_neither_empty_nor_zero(number: int, value: bytes, field: str) -> None:
    data = with_tags((number, value))
    assert getattr(read(data).patient, field) in (None, ())
    assert check(data) == set()
    assert read(data).unread == ()


def test_sex_said_to_be_unknown_is_not_the_same_as_not_said() -> None:
    patient = read(with_tags((8, b"\0"))).patient
    assert (patient.sex, patient.absent) == (None, (("sex", "unknown"),))
    assert read(with_tags()).patient.absent == ()


def test_a_date_of_zeros_is_not_given_and_midnight_alone_is_no_time() -> None:
    data = with_tags((25, date(0, 0, 0)), (26, bytes(3)))
    assert read(data).acquisition.time is None
    assert check(data) == {"date-missing"}
    assert read(with_tags((25, date(0, 0, 0)), (26, bytes((7, 8, 9))))).acquisition.time == Moment(
        hour=7, minute=8, second=Fraction(9)
    )
    assert read(with_tags((26, bytes(3)))).acquisition.time == Moment(2024, 3, 18, 0, 0, Fraction(0))
    assert read(with_tags((26, b""))).acquisition.time == Moment(2024, 3, 18)


BROKEN = [
    ((25, date(2031, 2, 30)), "date-impossible"),
    ((25, date(2031, 13, 1)), "date-impossible"),
    ((26, bytes((24, 0, 0))), "date-impossible"),
    ((25, date(2024, 3, 18) + b"x"), "date-length"),
    ((26, b"\x01"), "date-length"),
    ((5, date(2040, 1, 1)), "birth-after"),
    ((5, b"\x01"), "tag-length"),
    ((4, struct.pack("<HB", 5, 6)), "code-range"),
    ((6, struct.pack("<HB", 5, 4)), "code-range"),
    ((8, b"\x03"), "code-range"),
    ((24, b"\x0b"), "code-range"),
    ((29, b"\x80"), "code-range"),
    ((34, struct.pack("<hH", 5000, 0)), "code-range"),
    ((0, b"Moor"), "text-end"),
    ((0, b"Moor\0and more"), "text-inner"),
    ((0, b"Sj\xf6berg\0"), "text-set"),
    ((36, b"??"), "tag-unknown"),
    ((200, b"??"), "tag-unknown"),
    ((14, plain.device()[:20]), "device-short"),
    ((14, plain.device()[:18] + b"\x07" + plain.device()[19:]), "code-range"),
]


@pytest.mark.parametrize(("tag", "rule"), BROKEN, ids=[f"{rule}-{tag[0]}" for tag, rule in BROKEN])
def test_each_rule_of_the_fields(tag: tuple[int, bytes], rule: str) -> None:
    data = with_tags(tag)
    assert rule in check(data)
    assert read(data).tracings[0].names == ("I", "II")


def test_what_cannot_be_understood_is_listed() -> None:
    data = with_tags((4, struct.pack("<HB", 5, 6)), (200, b"maker"), (100, b"?"), (5, b"\x01"), (8, b"\x04"))
    found = {entry.what for entry in read(data).unread}
    assert found == {
        "age without a meaning (tag 4)",
        "a manufacturer's field (tag 200)",
        "a field that is not defined (tag 100)",
        "date of birth that cannot be understood (tag 5)",
        "sex without a meaning (tag 8)",
    }


@pytest.mark.parametrize("number", [2, 14, 25, 26])
def test_mandatory_tags(number: int) -> None:
    data = with_tags(drop=(number,))
    assert check(data) == {"tag-missing"}
    assert read(data).tracings[0].names == ("I", "II")


def test_the_end_of_section_1() -> None:
    body = b"".join(plain.tag(n, v) for n, v in plain.plain_tags())
    assert check(with_section(1, body + b"\xff\x02\0ab")) == {"tag-end-length", "tag-after-end"}
    assert check(with_section(1, body + b"\xff\0\0" + b"tail")) == {"tag-after-end"}
    assert check(with_section(1, body + b"\x1e\xff\xff" + b"short")) == {"field-overrun", "tag-end-missing"}


# Character sets ----------------------------------------------------------------------------------------------------

SETS = [
    (0x00, "plain words", b"plain words"),
    (0x01, "Sjöberg", b"Sj\xf6berg"),
    (0x03, "Łódź", b"\xa3\xf3d\xbc"),
    (0x0B, "Rīga ķ", b"R\xefga \xf3"),
    (0x13, "Тверь", b"\xc2\xd2\xd5\xe0\xec"),
    (0x1B, "سلام", b"\xd3\xe4\xc7\xe5"),
    (0x23, "Άρης", b"\xb6\xf1\xe7\xf2"),
    (0x2B, "שלום", b"\xf9\xec\xe5\xed"),
    (0x33, "ไทย", b"\xe4\xb7\xc2"),
    (0x3B, "5 €", b"5 \xa4"),
    (0x07, "山田 Łódź", "山田 Łódź".encode()),
    (0x0F, "ｱｲ¥", b"\xb1\xb2\x5c"),
    (0x17, "山田", b"\xbb\xb3\xc5\xc4"),
    (0x27, "中国", b"\xd6\xd0\xb9\xfa"),
    (0x2F, "한국", b"\xc7\xd1\xb1\xb9"),
]


@pytest.mark.parametrize(("language", "text", "raw"), SETS, ids=[f"0x{entry[0]:02X}" for entry in SETS])
def test_annex_a_character_sets(language: int, text: str, raw: bytes) -> None:
    assert decode(raw, language)[0] == text
    data = with_tags((0, raw + b"\0"), language=language)
    assert read(data).patient.name.family == text
    assert check(data) <= {"text-unicode", "text-east-asian"}


def test_every_defined_language_code_is_tried() -> None:
    assert {entry[0] for entry in SETS} | {0x1F} == set(LANGUAGES)


ODD_TEXTS = [
    ("Sjöberg".encode(), 0x00, "Sjöberg", "text-set"),
    (b"Sj\xf6berg", 0x00, "Sjöberg", "text-set"),
    (b"Sj\xf6berg", 0x07, "Sj\\xf6berg", "text-set"),
    (b"\xa5\x81", 0x1B, "\\xa5\x81", "text-set"),
    (b"\xb6", 0x23, "Ά", None),
    ("山田".encode("iso2022_jp"), 0x00, "山田", "text-east-asian"),
    (b"\x1b[31mred", 0x00, "\\x1b[31mred", "text-set"),
    (b"Sj\xf6berg", 0x43, "Sjöberg", "text-set"),
    (b"Sj\xf6berg", 0x05, "Sjöberg", None),
    ("山田".encode("utf-16"), 0x07, "山田", "text-unicode"),
    ("Ada".encode("utf-16-le") + b"\0\0", 0x07, "Ada", "text-unicode"),
]


@pytest.mark.parametrize(("raw", "language", "text", "rule"), ODD_TEXTS)
def test_text_that_its_set_does_not_have_stays_visible(raw: bytes, language: int, text: str, rule: str | None) -> None:
    found, broken = read_text(raw + b"\0" if not raw.endswith(b"\0") else raw, language)
    assert found == text
    assert rule in broken if rule else not broken


@pytest.mark.parametrize(
    ("language", "text", "raw"), [entry for entry in SETS if entry[0] not in (0x0F, 0x17, 0x27, 0x2F)]
)
def test_the_writer_takes_the_smallest_set_that_holds_all_text(language: int, text: str, raw: bytes) -> None:
    assert language_for(["Moor", text]) == language
    assert encode(text, language) == raw + b"\0"
    assert read_text(encode(text, language), language)[0] == text


def test_texts_of_two_scripts_are_written_in_unicode() -> None:
    assert language_for(["Тверь", "Łódź"]) == 0x07
    assert language_for(["lone \ud800"]) == 0x07
    assert encode("lone \ud800", 0x07) == b"lone ?\0"


def test_a_nul_or_an_escape_within_a_text_is_not_written() -> None:
    assert encode("a\0b\x1bc", 0) == b"a b c\0"


def test_texts_are_cut_between_characters() -> None:
    assert encode("ααα", 0x07, 6) == "αα".encode() + b"\0"
    assert encode("abc", 0, 3) == b"ab\0"
