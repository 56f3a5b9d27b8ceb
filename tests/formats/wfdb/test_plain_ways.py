"""Fields that are taken apart by hand, held against the regular expressions that define them."""

from __future__ import annotations

import re
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.errors import SourceError
from interchange.formats.wfdb.beside import annotators_beside
from interchange.formats.wfdb.channels import STANDARD, lead_name
from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.numerals import decimal, integer
from interchange.formats.wfdb.recognise import recognise
from interchange.formats.wfdb.record_line import fields_of, read_record_line
from interchange.formats.wfdb.signal_line import _format, _slowly, _split_gain, read_signal_lines
from interchange.sources import Source
from interchange.vocabulary import channel_name, lead_named

GAIN = re.compile(r"([^(/]*)(?:\(([^)]*)\))?(?:/(.*))?", re.DOTALL)
FORMAT = re.compile(r"(\d{1,4})(?:x(\d{1,9}))?(?::(\d{1,9}))?(?:\+(\d{1,12}))?", re.ASCII)
NAME = re.compile(r"[A-Za-z0-9_-]{1,50}", re.ASCII)
SUFFIX = re.compile(r"(.+)\.[A-Za-z0-9]{1,4}", re.ASCII | re.DOTALL)
RECORD = re.compile(r"[^\s<{\[\"]+[ \t]+-?\d+(?:[ \t]+[^\s]+)*", re.ASCII)
SIGNAL = re.compile(r"\S+[ \t]+\d{1,4}(?:x\d+)?(?::-?\d+)?(?:\+\d+)?(?:[ \t].*)?", re.ASCII | re.DOTALL)
SEGMENT = re.compile(r"\S+[ \t]+\d+[ \t]*", re.ASCII)
RATE = re.compile(r"[-+.\dEe]+(?:/[-+.\dEe]*(?:\([-+.\dEe]*\))?)?", re.ASCII)
ANNOTATOR = re.compile(r"[A-Za-z0-9_]{1,60}", re.ASCII)
SIGNAL_SUFFIX = re.compile(r"(?:d|data)\d+", re.ASCII)

PIECES = [
    "/",
    "(",
    ")",
    "mV",
    "200",
    "0",
    "-1",
    ".5",
    "1e3",
    "x",
    ":",
    "+",
    " ",
    "\t",
    "~",
    "I",
    "\u0663",
    "\f",
    "<",
    "_",
    ".",
]
words = st.lists(st.sampled_from(PIECES) | st.text(max_size=2), max_size=8).map("".join)
lines = words.map(lambda text: text.replace("\n", " "))


@given(words)
def test_gain(text: str) -> None:
    match = GAIN.fullmatch(text)
    assert _split_gain(text) == (match.groups() if match else None)


@given(words)
def test_signal_format(text: str) -> None:
    match = FORMAT.fullmatch(text)
    if match is None or (match[2] and int(match[2]) == 0):
        assert _format(text) is None
    else:
        assert _format(text) == tuple(int(part or (0, 1, 0, 0)[at]) for at, part in enumerate(match.groups()))


numerals = st.integers(-40000, 40000).map(str) | st.sampled_from(["0", "+5", "1_0", "12.0", "0" * 30, "x"])
texts = st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=90)


@given(
    st.sampled_from(["rec.dat", "f" * 70]),
    st.sampled_from(["16", "212", "16x2", "16x0", "16:1+24", "0x"]),
    st.sampled_from(["200", "200(0)/mV", "0", "-5/uV", "1/mv", "x", "200(1.5)"]),
    st.lists(numerals, min_size=4, max_size=6),
    texts,
)
def test_signal_lines(file: str, form: str, scale: str, numbers: list[str], description: str) -> None:
    text = " ".join([file, form, scale, *numbers, description]).strip(" \t")
    outcomes = []
    for read in (lambda notes: read_signal_lines([(3, text)], True, notes)[0], lambda notes: _slowly(text, 3, notes)):
        notes = Notes()
        try:
            outcomes.append((read(notes), notes.findings()))
        except SourceError as error:
            outcomes.append((error.place, error.reason))
    assert outcomes[0] == outcomes[1]


@given(words)
def test_integers(text: str) -> None:
    plain = re.fullmatch(r"[+-]?\d{1,18}", text, re.ASCII)
    assert integer(text) == (int(text) if plain else None)


@given(st.integers(min_value=0, max_value=10**14), st.integers(min_value=0, max_value=3))
def test_whole_numbers_are_themselves_as_decimals(number: int, zeros: int) -> None:
    text = "0" * zeros + str(number)
    assert decimal(text) == Fraction(number) == decimal(f"{text}.0")


@given(words)
def test_fields_of_a_line(text: str) -> None:
    bare = text.strip(" \t")
    assert fields_of(bare) == (re.split(r"[ \t]+", bare) if bare else [])


@given(words)
def test_names(text: str) -> None:
    name = "".join(text.split()).replace("/", "") or "x"
    notes = Notes()
    found = read_record_line(f"{name} 0 500", 1, notes).name
    match = SUFFIX.fullmatch(name)
    assert found == (match[1] if match else name)
    rules = {finding.rule for finding in notes.findings()}
    assert ("wfdb.name-suffix" in rules) == bool(match)
    assert ("wfdb.name-characters" in rules) == (NAME.fullmatch(found) is None)


@given(lines, lines, st.booleans())
def test_recognising(first: str, second: str, named: bool) -> None:
    data = f"{first}\n{second}".encode()
    head = data.decode("latin-1").removeprefix("\xef\xbb\xbf")
    found = [bare for bare in (line.strip(" \t\r") for line in head.split("\n")) if bare and not bare.startswith("#")][
        :2
    ]
    expected = bool(found) and b"\0" not in data and RECORD.fullmatch(found[0]) is not None
    if expected:
        fields = found[0].split()
        if len(fields) > 2 and not RATE.fullmatch(fields[2]):
            expected = named
        elif len(found) == 1:
            expected = named or fields[1] == "0"
        else:
            expected = bool(SIGNAL.fullmatch(found[1]) or SEGMENT.fullmatch(found[1]) or named)
    assert recognise(Source(data, "rec.hea" if named else "rec.txt")) == expected


@given(st.lists(words | st.sampled_from(["atr", "d0", "data12", "d", "data", "DAT", "x" * 60, "x" * 61]), max_size=5))
def test_annotators(suffixes: list[str]) -> None:
    expected = [s for s in suffixes if ANNOTATOR.fullmatch(s) and not SIGNAL_SUFFIX.fullmatch(s.lower()) and s != "DAT"]
    assert annotators_beside("rec", [f"rec.{suffix}" for suffix in suffixes]) == sorted(expected)


@pytest.mark.parametrize("label", sorted(STANDARD))
def test_names_of_leads_that_no_table_is_asked_for(label: str) -> None:
    lead = lead_named(label)
    assert lead is not None
    assert channel_name(lead) == label == lead_name(label)
