"""Headers: every field of header(5), every dialect met in archives, and what is refused."""

from __future__ import annotations

from fractions import Fraction

import pytest

from interchange.errors import SourceError
from interchange.formats.wfdb.header import Header, parse_header
from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.signal_line import NO_GAIN, read_signal_lines


def parsed(text: str | bytes) -> Header:
    return parse_header(text.encode() if isinstance(text, str) else text)


def rules(header: Header) -> list[str]:
    return [finding.rule for finding in header.findings]


FULL = "rec.dat 16x2:3+24 1.5e3(-12)/mV 14 512 -7 -300 0 lead II, left\n"


def test_every_field_of_a_signal_line() -> None:
    line = parsed("rec 1 360 100\n" + FULL).signals[0]
    assert line.line == 2
    assert line.file == "rec.dat"
    assert (line.format, line.frame, line.skew, line.offset) == (16, 2, 3, 24)
    assert line.calibration[:3] == (Fraction(1500), -12, "mV")
    assert (line.resolution, line.zero, line.initial, line.checksum, line.block) == (14, 512, -7, -300, 0)
    assert line.description == "lead II, left"
    assert line.origin == -12


def test_every_field_of_a_record_line() -> None:
    header = parsed("rec 0 62.4725/999.56(-4.5) 14400 13:5:0.125 09/02/2031\n")
    assert (header.name, header.rate, header.samples) == ("rec", Fraction(24989, 400), 14400)
    assert (header.counter_rate, header.counter_base) == (Fraction(24989, 25), Fraction(-9, 2))
    assert (header.moment.time, header.moment.fraction, header.moment.date) == ((13, 5, 0), "125", (2031, 2, 9))
    assert header.findings == []


@pytest.mark.parametrize(
    ("text", "rate"),
    [("360", 360), ("360.", 360), ("3.6e2", 360), ("360/0", 360), ("360/-1", 360), ("250/24000", 250)],
)
def test_forms_of_the_frequency(text: str, rate: int) -> None:
    header = parsed(f"rec 1 {text} 10\nrec.dat 16\n")
    assert header.rate == rate
    assert header.counter_rate in (None, Fraction(24000))


def test_defaults() -> None:
    header = parsed("rec 1\nrec.dat 16\n")
    line = header.signals[0]
    assert header.rate == 250
    assert header.samples is None
    assert (line.frame, line.skew, line.offset, line.origin, line.block) == (1, 0, 0, 0, 0)
    assert (line.calibration, line.resolution, line.checksum) == (NO_GAIN, None, None)
    assert rules(header) == [
        "wfdb.rate-missing", "wfdb.samples-missing", "wfdb.gain-missing", "wfdb.checksum-missing",
        "wfdb.description-missing",
    ]  # fmt: skip


def test_the_baseline_is_the_adc_zero_by_default_and_zero_gain_is_no_gain() -> None:
    header = parsed("rec 2 360 9\nr.dat 212 200 11 1024 995 -22131 0 MLII\nr.dat 212 0 11 0 9 9 0 V5\n")
    assert [line.origin for line in header.signals] == [1024, 0]
    assert [line.calibration.gain for line in header.signals] == [Fraction(200), None]


@pytest.mark.parametrize(
    ("field", "gain", "baseline", "units"),
    [
        ("1000", Fraction(1000), None, None),
        ("1000/mV", Fraction(1000), None, "mV"),
        ("1000(5)", Fraction(1000), 5, None),
        ("1000.0(0)/mV", Fraction(1000), 0, "mV"),
        ("1.052e+04/mV", Fraction(10520), None, "mV"),
        ("1.5E3/mV", Fraction(1500), None, "mV"),
        ("-200/uV", Fraction(-200), None, "uV"),
        ("80(-1600)/mmHg", Fraction(80), -1600, "mmHg"),
        ("1/l/min", Fraction(1), None, "l/min"),
        ("200(-2147483648)/mV", Fraction(200), -(2**31), "mV"),
        ("0(12)/adu", None, 12, "adu"),
    ],
)
def test_forms_of_the_gain_field(field: str, gain: Fraction | None, baseline: int | None, units: str | None) -> None:
    line = parsed(f"rec 1 500 1\nrec.dat 16 {field} 16 0 0 0 0 II\n").signals[0]
    assert line.calibration[:3] == (gain, baseline, units)


def test_the_quick_and_the_slow_way_agree() -> None:
    (quick,) = read_signal_lines([(2, FULL.strip())], True, Notes())
    (slow,) = read_signal_lines([(2, FULL.strip().replace(" -300 ", " -300.0 "))], True, Notes())
    assert slow == quick


def test_tabs_and_many_blanks_separate_fields_and_descriptions_keep_their_inner_blanks() -> None:
    header = parsed("rec\t1  500 \t 10\nrec.dat\t16  200/mV 12\t0 1 2 0   ECG  lead   II \t\n")
    assert header.signals[0].description == "ECG  lead   II"


def test_line_ends_and_empty_lines() -> None:
    header = parsed("\r\n\n# first\r\nrec 1 500 10\r\n\r\nrec.dat 16 200/mV 12 0 1 2 0 II\r\n# last\r\n")
    assert header.signals[0].description == "II"
    assert [(c.line, c.text, c.info) for c in header.comments] == [(3, " first", False), (7, " last", True)]
    assert header.findings == []


def test_comments_between_lines_are_no_info_strings() -> None:
    header = parsed("rec 1 500 10\n# between\nrec.dat 16 200/mV 12 0 1 2 0 II\n #behind\n")
    assert [comment.info for comment in header.comments] == [False, True]
    assert rules(header) == ["wfdb.comment-indented"]


def test_utf_8_and_latin_1_and_a_byte_order_mark() -> None:
    line = "rec.dat 16 200/µV 12 0 1 2 0 Ableitung für II\n"
    assert parsed("rec 1 500 10\n" + line).signals[0].calibration.units == "µV"
    latin = parsed(("rec 1 500 10\n" + line).encode("latin-1"))
    assert latin.signals[0].calibration.units == "µV"
    assert rules(latin) == ["wfdb.units-spelling", "wfdb.header-encoding"]
    assert rules(parsed(b"\xef\xbb\xbfrec 0 500\n")) == ["wfdb.header-byte-order-mark"]


def test_white_space_of_other_scripts_does_not_split_fields() -> None:
    header = parsed("rec 1 500 10\nrec.dat 16 200/mV 12 0 1 2 0 a\u00a0b\u2003c\u0085d\n")
    assert header.signals[0].description == "a\u00a0b\u2003c\u0085d"


# Dialects --------------------------------------------------------------------------------------------------------


def test_a_stamp_of_file_making_is_no_start_time() -> None:
    header = parsed("A0001 0 500 7500 12-May-2020 12:33:59\n")
    assert header.moment.date is None
    assert header.moment.time is None
    assert rules(header) == ["wfdb.file-stamp"]
    assert [(left.line, left.size) for left in header.leftovers] == [(1, 19)]


def test_a_record_name_with_a_suffix() -> None:
    header = parsed("E00001.mat 0 500 5000 05-May-2020 14:50:55\n")
    assert header.name == "E00001"
    assert rules(header) == ["wfdb.name-suffix", "wfdb.file-stamp"]


@pytest.mark.parametrize(
    ("fields", "time", "date", "broken"),
    [
        ("13:05:09", (13, 5, 9), None, []),
        ("13:5:9 1/2/1999", (13, 5, 9), (1999, 2, 1), []),
        ("0:0:0 0/0/0", None, None, []),
        ("0:0:0", (0, 0, 0), None, []),
        ("10:00:00 0/0/0", (10, 0, 0), None, []),
        ("1/2/1999 13:05:09", (13, 5, 9), (1999, 2, 1), ["wfdb.time-order"]),
        ("13:05:09 1999-02-01", (13, 5, 9), (1999, 2, 1), ["wfdb.time-form"]),
        ("1999-02-01 13:05:09", (13, 5, 9), (1999, 2, 1), ["wfdb.time-order", "wfdb.time-form"]),
        ("1/2/1999", None, (1999, 2, 1), ["wfdb.date-without-time"]),
        ("13:05:09 30/02/1999", (13, 5, 9), None, ["wfdb.time-value"]),
        ("25:00:00 01/02/1999", None, (1999, 2, 1), ["wfdb.time-value"]),
        ("13:05:09 01/02/99", (13, 5, 9), None, ["wfdb.time-value"]),
        ("0:30", None, None, ["wfdb.time-form"]),
        ("noon", None, None, ["wfdb.time-form"]),
        ("13:05:09 01/02/1999 and more", (13, 5, 9), (1999, 2, 1), ["wfdb.record-field"]),
    ],
)
def test_base_time_and_date(
    fields: str, time: tuple[int, int, int] | None, date: tuple[int, int, int] | None, broken: list[str]
) -> None:
    header = parsed(f"rec 0 500 10 {fields}\n")
    assert (header.moment.time, header.moment.date) == (time, date)
    assert sorted(rules(header)) == sorted(broken)
    given = sum(map(len, fields.split()))
    taken = (time is not None or fields.startswith("0:0:0 ")) + (date is not None or " 0/0/0" in fields)
    assert (given > 0 and bool(header.leftovers)) == (taken < len(fields.split()))


def test_a_missing_number_of_samples_before_the_time() -> None:
    header = parsed("rec 0 500 13:05:09\n")
    assert header.samples is None
    assert header.moment.time == (13, 5, 9)


def test_zero_samples_means_unknown() -> None:
    assert parsed("rec 0 500 0\n").samples is None


def test_what_is_no_number_where_one_belongs_begins_the_description() -> None:
    header = parsed("rec 2 500 10\nrec.dat 16 200/mV 12 0 lead II\nrec.dat 16 MLII here\n")
    assert [line.description for line in header.signals] == ["lead II", "MLII here"]
    assert [line.calibration.gain for line in header.signals] == [Fraction(200), None]
    assert "wfdb.signal-field" in rules(header)


def test_lines_beyond_the_stated_number_are_listed() -> None:
    header = parsed("rec 1 500 10\nrec.dat 16 200/mV 12 0 1 2 0 II\nrec.dat 16 200/mV 12 0 1 2 0 III\n")
    assert len(header.signals) == 1
    assert rules(header) == ["wfdb.line-surplus"]
    assert header.leftovers[0].line == 3


def test_segments() -> None:
    header = parsed("rec/3 2 500 30\nrec_layout 0\n~ 10\nrec01 20\n# info\n")
    assert header.segments is not None
    assert [(s.line, s.name, s.samples) for s in header.segments] == [
        (2, "rec_layout", 0),
        (3, "~", 10),
        (4, "rec01", 20),
    ]
    assert header.comments[0].info


def test_findings_name_lines_and_never_text() -> None:
    text = "Anna.Secret 2 500 10 12-May-2020 12:33:59\nx.dat 16 200/Secret 12 0 Secret\ny.dat 16 200/mV 12 0 Secret\n"
    header = parsed(text)
    assert len(header.findings) >= 3
    for finding in header.findings:
        assert "Secret" not in finding.reason + finding.place
        assert finding.place.startswith("line")
    assert next(f for f in header.findings if f.rule == "wfdb.signal-field").place == "lines 2-3"


# What cannot be understood ---------------------------------------------------------------------------------------

IMPOSSIBLE = [
    ("", "the header"),
    ("# only a comment\n", "the header"),
    ("rec\n", "line 1"),
    ("rec x 500\n", "line 1"),
    ("rec -1 500\n", "line 1"),
    ("rec 1 0 10\nrec.dat 16\n", "line 1"),
    ("rec 1 -500 10\nrec.dat 16\n", "line 1"),
    ("rec 1 nan 10\nrec.dat 16\n", "line 1"),
    ("rec 1 1e99 10\nrec.dat 16\n", "line 1"),
    ("rec 1 0x1f4 10\nrec.dat 16\n", "line 1"),
    ("rec/0 1 500 10\n", "line 1"),
    ("rec/two 1 500 10\n", "line 1"),
    ("folder/rec 1 500 10\n", "line 1"),
    ("rec 2 500 10\nrec.dat 16\n", "the header"),
    ("rec 999999999999 500 10\nrec.dat 16\n", "the header"),
    ("rec 1 500 10\nrec.dat\n", "line 2"),
    ("rec 1 500 10\nrec.dat x\n", "line 2"),
    ("rec 1 500 10\nrec.dat 16x0\n", "line 2"),
    ("rec 1 500 10\nrec.dat 16:-3\n", "line 2"),
    ("rec/1 1 500 10\nrec01\n", "line 2"),
    ("rec/1 1 500 10\nrec01 -4\n", "line 2"),
    ("rec/2 1 500 10\nrec01 10\n", "the header"),
]


@pytest.mark.parametrize(("text", "place"), IMPOSSIBLE)
def test_what_cannot_be_understood_names_its_place(text: str, place: str) -> None:
    with pytest.raises(SourceError) as caught:
        parsed(text)
    assert caught.value.place == place
