"""The patient (PS3.3 C.7.1.1, C.7.2.2)."""

from __future__ import annotations

from typing import Final

from interchange.formats.dicom.read_common import context_items, names_in, parsed_date
from interchange.formats.dicom.values import parse_age
from interchange.formats.dicom.view import CodeItem, View
from interchange.model import Code, Identifier, Patient, PersonName, Quantity, Sex

__all__ = ["DIASTOLIC", "MEDICATION", "SYSTOLIC", "read_patient"]

SYSTOLIC: Final = CodeItem("271649006", "SCT", "Systolic blood pressure")
DIASTOLIC: Final = CodeItem("271650006", "SCT", "Diastolic blood pressure")
"""Names of the blood pressures (PS3.16 TID 3704)."""

MEDICATION: Final = "Medication: "
"""Beginning of the lines of Additional Patient History that name drugs."""

_SEXES: Final[dict[str, Sex]] = {"M": "male", "F": "female", "O": "other"}


def _quantity(view: View, keyword: str, factor: int, unit: str) -> Quantity | None:
    value = view.decimal(keyword)
    if value is None:
        return None
    value *= factor
    return Quantity(value.numerator if value.denominator == 1 else value, unit)


def read_patient(top: View) -> Patient:
    """The patient; an unidentified one is a normal case."""
    names = names_in(top, "PatientName")
    main, others = _main_name(names[0]) if names else (None, ())
    extra_names = tuple(name for entry in names_in(top, "OtherPatientNames") for name in entry)
    age = top.text("PatientAge")
    parsed_age = parse_age(age) if age else None
    if age and parsed_age is None:
        top.context.tolerate("malformed-date", top.at("PatientAge"))
    sex = top.text("PatientSex")
    if sex and sex not in _SEXES:
        top.context.tolerate("enumerated-value", top.at("PatientSex"))
        top.dataset.taken.discard(0x00100040)
    drugs, history = _history(top)
    comments = top.whole_text("PatientComments")
    pressures = _pressures(top)
    return Patient(
        ids=_ids(top),
        name=main,
        other_names=(*others, *extra_names),
        birth_date=parsed_date(top, "PatientBirthDate"),
        age=parsed_age,
        sex=_SEXES.get(sex or ""),
        height=_quantity(top, "PatientSize", 100, "cm"),
        weight=_quantity(top, "PatientWeight", 1, "kg"),
        race=_race(top),
        systolic=pressures[0],
        diastolic=pressures[1],
        drugs=drugs,
        history=history,
        comments=(comments,) if comments else (),
    )


def _main_name(names: tuple[PersonName, ...]) -> tuple[PersonName, tuple[PersonName, ...]]:
    return names[0], names[1:]


def _ids(top: View) -> tuple[Identifier, ...]:
    found = []
    value = top.text("PatientID")
    if value:
        found.append(Identifier(value, _issuer(top)))
    found.extend(Identifier(value) for value in top.texts("OtherPatientIDs") if value)
    for item in top.items("OtherPatientIDsSequence"):
        value = item.text("PatientID")
        kind = item.text("TypeOfPatientID")
        if value:
            found.append(Identifier(value, _issuer(item), kind if kind and kind != "TEXT" else None))
    return tuple(dict.fromkeys(found))


def _issuer(view: View) -> str | None:
    """Who gave an id out: the name, else the universal identifier (PS3.3 10.15)."""
    qualifiers = view.item("IssuerOfPatientIDQualifiersSequence")
    universal = qualifiers.whole_text("UniversalEntityID") if qualifiers else None
    if qualifiers:
        qualifiers.text("UniversalEntityIDType")
    return view.text("IssuerOfPatientID") or universal


def _race(top: View) -> Code | None:
    code = top.code("EthnicGroupCodeSequence")
    text = top.text("EthnicGroup")
    if code is None:
        return Code(meaning=text) if text else None
    return Code(code.value or None, code.scheme or None, code.meaning or text)


def _history(top: View) -> tuple[tuple[Code, ...], tuple[Code, ...]]:
    """(drugs, history) from Additional Patient History: lines that begin with the word name drugs."""
    text = top.whole_text("AdditionalPatientHistory")
    if not text:
        return (), ()
    drugs, rest = [], []
    for line in text.replace("\r\n", "\n").split("\n"):
        if line.startswith(MEDICATION) and len(line) > len(MEDICATION):
            drugs.append(Code(meaning=line[len(MEDICATION) :]))
        else:
            rest.append(line)
    remaining = "\n".join(rest).strip("\n")
    return tuple(drugs), (Code(meaning=remaining),) if remaining else ()


def _pressures(top: View) -> tuple[Quantity | None, Quantity | None]:
    values: dict[str, Quantity] = {}
    for item, name in context_items(top):
        if name.scheme == "SCT" and name.value in (SYSTOLIC.value, DIASTOLIC.value):
            item.text("ValueType")
            unit = item.code("MeasurementUnitsCodeSequence")
            value = item.decimal("NumericValue")
            if value is not None:
                number = value.numerator if value.denominator == 1 else value
                values.setdefault(name.value, Quantity(number, unit.value if unit else "mm[Hg]"))
    return values.get(SYSTOLIC.value), values.get(DIASTOLIC.value)
