"""Info strings as public archives write them, and what is made of them."""

from __future__ import annotations

import pytest

from interchange.model import Code, Identifier, Moment, Quantity, Recording, Statement, Study
from tests.formats.wfdb.plain import read, rules, simple


def told(*lines: str, time: str = "") -> Recording:
    header, data = simple([[1, 2]], names=("II",), tail="".join(f"{line}\n" for line in lines), time=time)
    return read(header, dat=data)


def test_challenge_2020_and_2021() -> None:
    recording = told(
        "#Age: 74", "#Sex: Male", "#Dx: 426783006,59118001", "#Rx: Unknown", "#Hx: Unknown", "#Sx: Unknown"
    )
    assert recording.patient.age == Quantity(74, "a")
    assert recording.patient.sex == "male"
    assert recording.patient.absent == (("drugs", "unknown"), ("history", "unknown"))
    assert recording.statements == tuple(
        Statement(code, codes=(Code(code, "SCT"),)) for code in ("426783006", "59118001")
    )
    assert recording.acquisition.remarks == ()
    assert recording.findings == ()


def test_an_empty_list_of_diagnoses_says_nothing() -> None:
    assert told("#Dx: ").statements == ()


def test_an_empty_entry_is_reported_and_repeats_are_kept() -> None:
    recording = told("#Dx: 284470004,,427172004,427172004")
    assert [s.text for s in recording.statements] == ["284470004", "427172004", "427172004"]
    assert rules(recording) == ["wfdb.comment-value"]


def test_the_stamp_of_file_making_is_no_acquisition_time() -> None:
    recording = told("#Age: 74", time=" 12-May-2020 12:33:59")
    assert recording.acquisition.time is None
    assert rules(recording) == ["wfdb.file-stamp"]
    assert [left.place for left in recording.unread] == ["line 1"]


def test_challenge_2024() -> None:
    recording = told(
        "# Age: 56", "# Sex: Female", "# Height: 150", "# Weight: 70", "# Labels: STTC, HYP", "# Image: x.png",
        time=" 16:56:02 28/06/1987",
    )  # fmt: skip
    assert recording.patient.height == Quantity(150, "cm")
    assert recording.patient.weight == Quantity(70, "kg")
    assert [s.text for s in recording.statements] == ["STTC", "HYP"]
    assert recording.acquisition.remarks == ("Image: x.png",)
    assert recording.acquisition.time == Moment(1987, 6, 28, 16, 56, 2)  # type: ignore[arg-type]


def test_challenge_2025() -> None:
    recording = told("# Exam ID: 919003", "# Patient ID: 82994", "# Age: 58", "# Sex: Male", "# Chagas label: False")
    assert recording.patient.ids == (Identifier("82994"),)
    assert recording.acquisition.study == Study(id="919003")
    assert recording.acquisition.remarks == ("Chagas label: False",)


def test_ptb() -> None:
    recording = told("# age: 81", "# sex: female", "# ECG date: 01/10/1990", "# Smoker: no", "# Diagnose:")
    assert recording.acquisition.time == Moment(1990, 10, 1)
    assert recording.acquisition.remarks == ("Smoker: no", "Diagnose:")


def test_angle_brackets() -> None:
    recording = told("# <age>: 25  <sex>: M  <diagnoses>: (none)  <medications>: (none)")
    assert recording.patient.age == Quantity(25, "a")
    assert recording.patient.sex == "male"
    assert recording.acquisition.remarks == ("<diagnoses>: (none)  <medications>: (none)",)
    other = told("# <age>: ??  <sex>: F  <diagnoses>: angina")
    assert other.patient.absent == (("age", "unknown"),)
    assert other.patient.history == (Code(meaning="angina"),)
    assert told("# <subject_id>: 10045929").patient.ids == (Identifier("10045929"),)


def test_age_and_sex_first() -> None:
    recording = told("# 69 M 1085 1629 x1", "# Aldomet, Inderal")
    assert recording.patient.age == Quantity(69, "a")
    assert recording.patient.sex == "male"
    assert recording.acquisition.remarks == ("69 M 1085 1629 x1", "Aldomet, Inderal")


@pytest.mark.parametrize("word", ["Unknown", "NaN", "??", "unknown", "nan"])
def test_words_for_unknown(word: str) -> None:
    recording = told(f"#Age: {word}", f"#Sex: {word}", f"#Height: {word}")
    assert recording.patient.absent == (("age", "unknown"), ("sex", "unknown"), ("height", "unknown"))
    assert recording.patient.age is None


def test_empty_is_neither_unknown_nor_zero() -> None:
    recording = told("#Age:", "#Sex: ", "#Weight:")
    assert recording.patient.age is None
    assert recording.patient.absent == ()


def test_age_300_is_withheld_and_age_0_is_questioned() -> None:
    recording = told("# Age: 300")
    assert recording.patient.age is None
    assert recording.patient.absent == (("age", "withheld"),)
    assert rules(recording) == ["wfdb.age-withheld"]
    assert rules(told("# Age: 0")) == ["wfdb.age-zero"]
    assert told("# Age: 0").patient.age == Quantity(0, "a")


@pytest.mark.parametrize("line", ["# Age: 200", "# Height: 5000", "# Weight: 0", "# ECG date: 45/13/1990"])
def test_impossible_values_stay_remarks(line: str) -> None:
    recording = told(line)
    assert recording.acquisition.remarks == (line[2:],)
    assert rules(recording) == ["wfdb.comment-value"]


def test_what_is_said_twice_counts_once_and_the_rest_is_a_remark() -> None:
    recording = told("# Age: 50", "# Age: 60")
    assert recording.patient.age == Quantity(50, "a")
    assert recording.acquisition.remarks == ("Age: 60",)


def test_comments_that_are_no_info_strings_are_listed_as_unread() -> None:
    header, data = simple([[1, 2]], names=("II",))
    recording = read("# unnecessary comment\n" + header, dat=data)
    assert [(u.place, u.size) for u in recording.unread] == [("line 1", 20)]


def test_remarks_keep_every_letter() -> None:
    texts = ["Bemerkung: größer als sonst", "two  blanks", "trailing colon:", "a=b; c\\d"]
    assert told(*(f"# {text}" for text in texts)).acquisition.remarks == tuple(texts)
