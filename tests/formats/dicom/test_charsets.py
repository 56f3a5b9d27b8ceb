"""Specific Character Set (PS3.3 C.12.1.1.2): names in many scripts, against pydicom and the examples of PS3.5."""

import pytest
from pydicom.charset import convert_encodings, decode_bytes

from interchange.formats.dicom.charsets import charset
from interchange.model import PersonName
from tests.formats.dicom.support import ecg, read, rules, saved

EXAMPLES = [
    # PS3.5 Annex H, I, J and K: character set, bytes, text
    (b"ISO_IR 100", b"Buc^J\xe9r\xf4me", "Buc^J\xe9r\xf4me"),
    (b"ISO_IR 101", b"Wa\xb3\xeasa", "Wa\u0142\u0119sa"),
    (b"ISO_IR 126", b"\xc4\xe9\xef\xed\xf5\xf3\xe9\xef\xf2", "\u0394\u03b9\u03bf\u03bd\u03c5\u03c3\u03b9\u03bf\u03c2"),
    (
        b"ISO_IR 127",
        b"\xe2\xc8\xc7\xe6\xea^\xe4\xe6\xd2\xc7\xd1",
        "\u0642\u0628\u0627\u0646\u064a^\u0644\u0646\u0632\u0627\u0631",
    ),
    (
        b"ISO_IR 138",
        b"\xf9\xf8\xe5\xef^\xe3\xe1\xe5\xf8\xe4",
        "\u05e9\u05e8\u05d5\u05df^\u05d3\u05d1\u05d5\u05e8\u05d4",
    ),
    (b"ISO_IR 144", b"\xbb\xee\xda\x63\xd5\xdc\xd1yp\xd3", "\u041b\u044e\u043ac\u0435\u043c\u0431yp\u0433"),
    (b"ISO_IR 148", b"\xc7a\xfd", "\xc7a\u0131"),
    (b"ISO_IR 166", b"\xb9\xd2\xc1", "\u0e19\u0e32\u0e21"),
    (b"ISO_IR 13", b"\xd4\xcf\xc0\xde^\xc0\xdb\xb3", "\uff94\uff8f\uff80\uff9e^\uff80\uff9b\uff73"),
    (b"ISO_IR 192", "Wang^XiaoDong=\u738b^\u5c0f\u6771".encode(), "Wang^XiaoDong=\u738b^\u5c0f\u6771"),
    (b"GB18030", b"Wang^XiaoDong=\xcd\xf5^\xd0\xa1\xb6\xab", "Wang^XiaoDong=\u738b^\u5c0f\u4e1c"),
    (b"GBK", b"Wang^XiaoDong=\xcd\xf5^\xd0\xa1\xb6\xab", "Wang^XiaoDong=\u738b^\u5c0f\u4e1c"),
    (
        b"\\ISO 2022 IR 87",
        b"Yamada^Tarou=\x1b$B;3ED\x1b(B^\x1b$BB@O:\x1b(B=\x1b$B$d$^$@\x1b(B^\x1b$B$?$m$&\x1b(B",
        "Yamada^Tarou=\u5c71\u7530^\u592a\u90ce=\u3084\u307e\u3060^\u305f\u308d\u3046",
    ),
    (
        b"ISO 2022 IR 13\\ISO 2022 IR 87",
        b"\xd4\xcf\xc0\xde^\xc0\xdb\xb3=\x1b$B;3ED\x1b(J^\x1b$BB@O:\x1b(J",
        "\uff94\uff8f\uff80\uff9e^\uff80\uff9b\uff73=\u5c71\u7530^\u592a\u90ce",
    ),
    (
        b"\\ISO 2022 IR 149",
        b"Hong^Gildong=\x1b$)C\xfb\xf3^\x1b$)C\xd1\xce\xd4\xd7=\x1b$)C\xc8\xab^\x1b$)C\xb1\xe6\xb5\xbf",
        "Hong^Gildong=\u6d2a^\u5409\u6d1e=\ud64d^\uae38\ub3d9",
    ),
    (
        b"\\ISO 2022 IR 58",
        b"Zhang^XiaoDong=\x1b$)A\xd5\xc5^\x1b$)A\xd0\xa1\xb6\xab",
        "Zhang^XiaoDong=\u5f20^\u5c0f\u4e1c",
    ),
    (b"ISO 2022 IR 6\\ISO 2022 IR 100\\ISO 2022 IR 144", b"A\x1b-A\xe9^\x1b-L\xbb", "A\xe9^\u041b"),
]


PYDICOM_DIFFERS = {b"ISO_IR 13", b"ISO 2022 IR 13\\ISO 2022 IR 87", b"\\ISO 2022 IR 58"}
"""pydicom 3.0.2 keeps the escape sequence of ISO 2022 IR 58 in the text; for kana it has a codec of its own."""


@pytest.mark.parametrize(("terms", "raw", "text"), EXAMPLES)
def test_examples_of_the_standard(terms, raw, text):
    assert charset(terms).known
    assert charset(terms).decode(raw) == (text, True)


@pytest.mark.parametrize(("terms", "raw", "text"), [e for e in EXAMPLES if e[0] not in PYDICOM_DIFFERS])
def test_pydicom_agrees(terms, raw, text):
    encodings = convert_encodings(terms.decode().split("\\"))
    assert decode_bytes(raw, encodings, {"^", "=", "\\"}) == text


@pytest.mark.parametrize(("raw", "text"), [(b"\xe9t\xe9", "\xe9t\xe9"), ("\xe9t\xe9".encode(), "\xe9t\xe9")])
def test_text_beyond_a_missing_character_set_is_guessed_and_called_invalid(raw, text):
    assert charset(None).decode(raw) == (text, False)


def test_unknown_terms_are_a_finding():
    assert not charset(b"ISO_IR 999").known
    assert not charset(b"ISO 2022 IR 87\\ISO_IR 999").known
    assert charset(b"").known
    ds = ecg()
    data = saved(ds).replace(b"ISO_IR 192", b"ISO_IR 999")
    assert "character-set" in rules(data)


def test_unknown_escape_sequences_are_called_invalid():
    text, valid = charset(b"\\ISO 2022 IR 87").decode(b"A\x1b%Gx")
    assert not valid
    assert text.startswith("A")


def test_three_component_groups_of_a_name():
    ds = ecg(PatientName="Yamada^Tarou=\u5c71\u7530^\u592a\u90ce=\u3084\u307e\u3060^\u305f\u308d\u3046")
    patient = read(ds).patient
    assert patient.name == PersonName(family="Yamada", given="Tarou")
    assert patient.other_names == (
        PersonName(family="\u5c71\u7530", given="\u592a\u90ce", script="ideographic"),
        PersonName(family="\u3084\u307e\u3060", given="\u305f\u308d\u3046", script="phonetic"),
    )


def test_items_may_have_a_character_set_of_their_own():
    ds = ecg(SpecificCharacterSet="ISO_IR 100")
    item = ds.WaveformSequence[0]
    item.SpecificCharacterSet = "ISO_IR 144"
    item.MultiplexGroupLabel = "LABEL"
    data = saved(ds).replace(b"LABEL ", b"\xbb\xee\xda\xbb\xee\xda")
    assert read(data).tracings[0].label == "\u041b\u044e\u043a\u041b\u044e\u043a"


def test_a_backslash_byte_inside_a_wide_character_separates_nothing():
    """GBK has 5C as a second byte (PS3.5 6.1.2.3 allows no such split)."""
    ds = ecg(SpecificCharacterSet="GBK", PatientID="AB")
    data = saved(ds)
    place = data.index(b"LO\2\0AB", data.index(b"\x10\0\x20\0"))
    wide = next(chr(c) for c in range(0x4E00, 0x9FA5) if chr(c).encode("gbk", "ignore")[1:] == b"\x5c")
    patched = data[: place + 4] + wide.encode("gbk") + data[place + 6 :]
    assert read(patched).patient.ids[0].value == wide
