"""Info strings with customary keys, as public archives write them: age, sex, height, weight, diagnoses, drugs.

Only what a key plainly says is taken; every other text stays a remark, word for word.

Sources (seen in the data): headers of PTB-XL and CODE-15% as prepared for the PhysioNet Challenges 2024 and 2025, of
the Challenges 2020 and 2021, of PTB Diagnostic ECG, MIT-BIH Arrhythmia and MIMIC records.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import field
from fractions import Fraction
from typing import Any, Final

from interchange.formats.wfdb.infostrings import InfoString
from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.numerals import decimal
from interchange.model import Absent, Code, Identifier, Moment, Patient, Quantity, Sex, Statement, Study
from interchange.records import dataclass

__all__ = ["SNOMED", "Story", "customary_lines", "told"]

SNOMED: Final = "SCT"
"""SNOMED CT by the name that DICOM gives it."""

_ANGLE: Final = re.compile(r"[ \t]*<([A-Za-z_ ]{1,40})>:[ \t]*")
_AGE_FIRST: Final = re.compile(r"[ \t]*(\d{1,3}) ([MF])(?: .*)?", re.ASCII | re.DOTALL)
_DAY: Final = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})", re.ASCII)
_CONCEPT: Final = re.compile(r"\d{6,18}", re.ASCII)
_UNKNOWN: Final = frozenset({"unknown", "nan", "??", "?", "n/a", "not recorded"})
_SEXES: Final[dict[str, Sex]] = {"male": "male", "m": "male", "female": "female", "f": "female"}
_ABOVE_89: Final = 300
_Bounds = tuple[int | Fraction, int]
_AGES: Final[_Bounds] = (0, 130)
_HEIGHTS: Final[_Bounds] = (20, 250)
_WEIGHTS: Final[_Bounds] = (Fraction(1, 5), 500)


@dataclass
class Story:
    """What the info strings tell: grows while they are read.

    ``patient``: fields of the patient by name, with lists for those that are tuples in the end.
    """

    patient: dict[str, Any] = field(default_factory=dict)
    absent: list[tuple[str, Absent]] = field(default_factory=list)
    study: Study | None = None
    day: Moment | None = None
    statements: list[Statement] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    def who(self) -> Patient:
        """The patient as far as told."""
        told: dict[str, Any] = {n: tuple(v) if isinstance(v, list) else v for n, v in self.patient.items()}
        return Patient(**told, absent=tuple(self.absent))


def told(infos: Iterable[InfoString], notes: Notes) -> Story:
    """Patient, acquisition, statements and remarks from info strings that are none of this project's own lines."""
    story = Story()
    for info in infos:
        _tell(story, info, notes)
    return story


def _tell(story: Story, info: InfoString, notes: Notes) -> None:
    text = info.text
    pairs = _angles(text)
    if pairs is not None:
        rest = "  ".join(f"<{key}>: {value}" for key, value in pairs if not _take(story, key, value, info.line, notes))
        if rest:
            story.remarks.append(rest)
        return
    key, colon, value = text.partition(":")
    if colon and _take(story, key, value.strip(" \t"), info.line, notes):
        return
    first = _AGE_FIRST.fullmatch(text)
    if first is not None and not story.patient.keys() & {"age", "sex"}:
        _take(story, "age", first[1], info.line, notes)
        _take(story, "sex", first[2], info.line, notes)
    if text.strip(" \t"):
        story.remarks.append(text)


def _angles(text: str) -> list[tuple[str, str]] | None:
    """The pairs of ``<key>: value  <key>: value``; None for any other text."""
    found = list(_ANGLE.finditer(text)) if "<" in text else []
    if not found or found[0].start() != 0:
        return None
    ends = [match.start() for match in found[1:]] + [len(text)]
    return [(match[1], text[match.end() : end].strip(" \t")) for match, end in zip(found, ends, strict=True)]


def _take(story: Story, key: str, value: str, line: int, notes: Notes) -> bool:
    """Whether key and value were understood and taken in."""
    taker = _KEYS.get(key.strip().lower())
    return taker is not None and taker(story, value, line, notes)


def _absent(story: Story, name: str, why: Absent) -> bool:
    story.absent.append((name, why))
    return True


def _is_said(story: Story, name: str) -> bool:
    return name in story.patient or any(entry == name for entry, _ in story.absent)


def _quantity(name: str, unit: str, bounds: _Bounds) -> Callable[[Story, str, int, Notes], bool]:
    def take(story: Story, value: str, line: int, notes: Notes) -> bool:
        if _is_said(story, name):
            return False
        if value.lower() in _UNKNOWN:
            return _absent(story, name, "unknown")
        exact = decimal(value)
        if exact is None:
            return not value
        number = exact.numerator if exact.denominator == 1 else exact
        if name == "age" and number == _ABOVE_89:
            notes.line("wfdb.age-withheld", line)
            return _absent(story, name, "withheld")
        if not bounds[0] <= number <= bounds[1]:
            notes.line("wfdb.comment-value", line)
            return False
        if name == "age" and number == 0:
            notes.line("wfdb.age-zero", line)
        story.patient[name] = Quantity(number, unit)
        return True

    return take


def _sex(story: Story, value: str, line: int, notes: Notes) -> bool:
    if _is_said(story, "sex"):
        return False
    if value.lower() in _UNKNOWN:
        return _absent(story, "sex", "unknown")
    sex = _SEXES.get(value.lower())
    if sex is None:
        return not value
    story.patient["sex"] = sex
    return True


def _patient_id(story: Story, value: str, line: int, notes: Notes) -> bool:
    if not value or value.lower() in _UNKNOWN:
        return not value
    story.patient.setdefault("ids", []).append(Identifier(value))
    return True


def _exam_id(story: Story, value: str, line: int, notes: Notes) -> bool:
    if not value or story.study is not None:
        return not value
    story.study = Study(id=value)
    return True


def _ecg_date(story: Story, value: str, line: int, notes: Notes) -> bool:
    match = _DAY.fullmatch(value)
    if match is None or story.day is not None:
        return not value
    try:
        story.day = Moment(int(match[3]), int(match[2]), int(match[1]))
    except ValueError:
        notes.line("wfdb.comment-value", line)
        return False
    return True


def _codes(story: Story, value: str, line: int, notes: Notes) -> bool:
    """A list of SNOMED CT concept identifiers, comma between; each becomes a statement."""
    entries = [entry.strip() for entry in value.split(",")] if value else []
    if not all(_CONCEPT.fullmatch(entry) or not entry for entry in entries):
        return False
    if not all(entries):
        notes.line("wfdb.comment-value", line)
    story.statements.extend(Statement(entry, codes=(Code(entry, SNOMED),)) for entry in entries if entry)
    return True


def _labels(story: Story, value: str, line: int, notes: Notes) -> bool:
    """Diagnostic labels in words, comma between; each becomes a statement."""
    story.statements.extend(Statement(entry.strip()) for entry in value.split(",") if entry.strip())
    return True


def _words(name: str) -> Callable[[Story, str, int, Notes], bool]:
    def take(story: Story, value: str, line: int, notes: Notes) -> bool:
        if value.lower() in _UNKNOWN:
            return _absent(story, name, "unknown")
        if value.lower() in ("(none)", "none"):
            return False
        if value:
            story.patient.setdefault(name, []).append(Code(meaning=value))
        return True

    return take


def _symptoms(story: Story, value: str, line: int, notes: Notes) -> bool:
    return not value or value.lower() in _UNKNOWN


_KEYS: Final[dict[str, Callable[[Story, str, int, Notes], bool]]] = {
    "age": _quantity("age", "a", _AGES),
    "sex": _sex,
    "height": _quantity("height", "cm", _HEIGHTS),
    "weight": _quantity("weight", "kg", _WEIGHTS),
    "patient id": _patient_id,
    "subject_id": _patient_id,
    "exam id": _exam_id,
    "ecg date": _ecg_date,
    "dx": _codes,
    "labels": _labels,
    "rx": _words("drugs"),
    "medications": _words("drugs"),
    "hx": _words("history"),
    "diagnoses": _words("history"),
    "sx": _symptoms,
}
"""Keys without regard to case.  Rx drugs, Hx history, Sx symptoms, Dx diagnoses (Challenges 2020 and 2021)."""


def customary_lines(patient: Patient, statements: tuple[Statement, ...]) -> tuple[list[str], frozenset[str]]:
    """Lines with customary keys for what they say exactly, and the field paths that they carry whole."""
    lines: list[str] = []
    carried: set[str] = set()
    for name, key, unit, bounds in (
        ("age", "Age", "a", _AGES),
        ("height", "Height", "cm", _HEIGHTS),
        ("weight", "Weight", "kg", _WEIGHTS),
    ):
        quantity: Quantity | None = getattr(patient, name)
        if quantity is None or not isinstance(quantity.value, int) or quantity.unit != unit:
            continue
        if bounds[0] <= quantity.value <= bounds[1]:
            lines.append(f"{key}: {quantity.value}")
            carried.add(f"patient.{name}")
    if patient.sex in ("male", "female"):
        lines.insert(bool(lines and lines[0].startswith("Age")), f"Sex: {patient.sex.capitalize()}")
        carried.add("patient.sex")
    if statements and all(_is_bare_concept(statement) for statement in statements):
        lines.append("Dx: " + ",".join(statement.text for statement in statements))
        carried.add("statements")
    return lines, frozenset(carried)


def _is_bare_concept(statement: Statement) -> bool:
    return (
        statement == Statement(statement.text, codes=(Code(statement.text, SNOMED),))
        and _CONCEPT.fullmatch(statement.text) is not None
    )
