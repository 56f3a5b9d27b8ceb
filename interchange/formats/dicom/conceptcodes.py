"""Concept names of annotations: codes to concepts and back (PS3.16 CIDs 3227-3229, 3335, 3687-3689).

A concept that has no code in DICOM is written with its own id in the project's private scheme, so that its meaning
stays readable; what the table does not have keeps the code that it came with.
"""

from __future__ import annotations

from functools import cache
from typing import Final

from interchange.formats.dicom.leadcodes import OWN_SCHEME
from interchange.formats.dicom.view import CodeItem
from interchange.records import NamedTuple
from interchange.vocabulary import (
    Concept,
    channel_name,
    concept_by_legacy,
    concept_by_mdc,
    concept_by_refid,
    concepts,
    concepts_by_mdc,
    lead_for_channel,
    mdc_code_of,
)
from interchange.vocabulary.concept_table import Scope

__all__ = [
    "ECG_FINDING",
    "FORMULAS",
    "OF_TEXT",
    "OTHER",
    "OVERALL_FINDING",
    "QTC",
    "WORDS",
    "Named",
    "concept_code",
    "formula_of",
    "is_of_quantity",
    "named",
    "value_in_unit",
]

ECG_FINDING: Final = CodeItem("271921002", "SCT", "ECG Finding")
"""Name of a coded statement (PS3.16 TID 3717)."""

OVERALL_FINDING: Final = CodeItem("18810-2", "LN", "ECG overall finding")
"""Name of the class of the whole ECG (PS3.16 TID 3719)."""

OF_TEXT: Final = CodeItem("OF-TEXT", OWN_SCHEME, "Code of the statement before")
"""Modifier that says that a coded finding belongs to the text before it."""

OTHER: Final = CodeItem("OTHER", OWN_SCHEME, "Something that is named elsewhere")
"""Name of an annotation that has no code at all."""

QTC: Final = CodeItem("2:15876", "MDC", "QTc interval global")
FORMULAS: Final = {
    "qtc-bazett": CodeItem("122730", "DCM", "Bazett QTc Algorithm"),
    "qtc-hodges": CodeItem("122731", "DCM", "Hodges QTc Algorithm"),
    "qtc-fridericia": CodeItem("122732", "DCM", "Fridericia QTc Algorithm"),
    "qtc-framingham": CodeItem("122733", "DCM", "Framingham QTc Algorithm"),
}
"""Modifiers that say by which formula QT was corrected (PS3.16 CID 3678), since two formulas share one code each."""

_FORMULA_NAMES: Final = {
    "bazett": "qtc-bazett",
    "hodges": "qtc-hodges",
    "fridericia": "qtc-fridericia",
    "fredericia": "qtc-fridericia",
    "framingham": "qtc-framingham",
}
"""Names of the formulas in the meaning of a code that two formulas share; the 2016 print spells one with e."""

_FORMULA_CODES: Final = {code[:2]: id for id, code in FORMULAS.items()}

WORDS: Final = CodeItem("TEXT", OWN_SCHEME, "")
"""Code of a result in words; the words are its meaning."""

_UNITS: Final = {
    ("mV", "uV"): 1000,
    ("V", "uV"): 10**6,
    ("nV", "uV"): None,
    ("s", "ms"): 1000,
    ("us", "ms"): None,
}
_ALIKE: Final = (frozenset({"min", "s", "ms", "us", "ns"}), frozenset({"uV/s", "mV/s", "uV/ms", "V/s"}))
"""Units of one quantity, between which not every value is converted."""

_RATES: Final = frozenset({"/min", "{H.B.}/min", "{H.B}/min", "bpm", "1/min", "{beats}/min"})


class Named(NamedTuple):
    """What a concept name means: the row of the concept table or None, and the lead where the code holds one."""

    concept: Concept | None
    lead: str | None


@cache
def _by_id() -> dict[str, Concept]:
    """Rows by id alone, for codes of the private scheme: the first scope of the table that has it."""
    rows: dict[str, Concept] = {}
    for row in concepts():
        rows.setdefault(f"{row.id}|{row.scope}", row)
        rows.setdefault(row.id, row)
    return rows


@cache
def named(code: CodeItem, per_lead: bool, is_mark: bool) -> Named:
    """The concept that a concept name code stands for; ``per_lead`` and ``is_mark`` say how it is used."""
    if code.scheme == "MDC":
        found = concept_by_mdc(code.value, code.meaning)
        if found is None and code.value.startswith("MDC_"):
            row = concept_by_refid(code.value, "mark" if is_mark else "per lead" if per_lead else "global")
            return Named(row or concept_by_refid(code.value), None)
        if found is None:
            return Named(_formula_in(code), None)
        return Named(found[0], channel_name(found[1]) if found[1] else None)
    if code.scheme == "SCPECG":
        return Named(concept_by_legacy(code.value), None)
    if code.scheme == OWN_SCHEME:
        scope = "mark" if is_mark else "per lead" if per_lead else "global"
        return Named(_by_id().get(f"{code.value}|{scope}") or _by_id().get(code.value), None)
    return Named(None, None)


def _formula_in(code: CodeItem) -> Concept | None:
    """The corrected QT interval of a code that two formulas share, by the one name of a formula in its meaning."""
    text = code.meaning.casefold()
    ids = {id for name, id in _FORMULA_NAMES.items() if name in text}
    found = [row for row, _ in concepts_by_mdc(code.value) if row.id in ids]
    return found[0] if len(ids) == 1 and len(found) == 1 else None


@cache
def concept_code(id: str, scope: Scope, lead: str | None = None) -> CodeItem:
    """The code to write for concept ``id``; with ``lead``, that of the measurement of this lead (base + lead number).

    A code that would read back as something else (one number printed for two things) is not used.
    """
    row = _by_id().get(f"{id}|{scope}") or _by_id().get(id)
    if row is None:
        return CodeItem(id, OWN_SCHEME, id)
    channel = lead_for_channel(lead) if lead else None
    value = mdc_code_of(row, channel)
    meaning = (row.dicom_meaning[0] if row.dicom_meaning else row.meaning)[:64].rstrip()
    if value:
        code = CodeItem(value, "MDC", meaning)
        back = named(code, lead is not None or scope == "per lead", scope == "mark")
        if back.concept is row and (lead is None or back.lead == lead):
            return code
    return CodeItem(row.id, OWN_SCHEME, row.meaning[:64].rstrip())


def formula_of(modifier: CodeItem | None) -> Concept | None:
    """The concept of a corrected QT interval whose formula a modifier names; None where it names none."""
    id = _FORMULA_CODES.get(modifier[:2]) if modifier is not None else None
    return None if id is None else _by_id()[f"{id}|global"]


def value_in_unit(unit: str | None, wanted: str) -> tuple[int, int] | None:
    """Factor (numerator, denominator) from a unit to the concept's own, None where it is another quantity."""
    if unit is None or unit == wanted or (wanted in _RATES and unit in _RATES):
        return 1, 1
    if (unit, wanted) in _UNITS:
        factor = _UNITS[unit, wanted]
        return (factor, 1) if factor else (1, 1000)
    return None


def is_of_quantity(unit: str | None, wanted: str) -> bool:
    """Whether a unit fits what is measured in ``wanted``; no unit, and one without dimension for counts, do."""
    if unit is None or unit == "1" or wanted.startswith("{") or value_in_unit(unit, wanted) is not None:
        return True
    return any(unit in units and wanted in units for units in _ALIKE)
