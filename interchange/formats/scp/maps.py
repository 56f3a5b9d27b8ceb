"""What the numbers of sections 1, 7 and 10 are in the model, both ways (EN 1064 clauses 5.4.5, 5.10, 5.13.5)."""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import Final

from interchange.model import Absent, Sex

__all__ = [
    "ABSENT",
    "AGE_UNITS",
    "DRUG_CLASSES",
    "EXTRA_DEVICE",
    "HEIGHT_UNITS",
    "HISTORY",
    "LEAD_CONCEPTS",
    "MAINS",
    "QTC_CONCEPTS",
    "RACES",
    "SCHEME_DRUG",
    "SCHEME_HISTORY",
    "SCHEME_RACE",
    "SCHEME_STATEMENT",
    "SEXES",
    "SPECIAL",
    "WEIGHT_UNITS",
    "acronym_meaning",
]

AGE_UNITS: Final = {1: "a", 2: "mo", 3: "wk", 4: "d", 5: "h"}
HEIGHT_UNITS: Final = {1: "cm", 2: "[in_i]", 3: "mm"}
WEIGHT_UNITS: Final = {1: "kg", 2: "g", 3: "[lb_av]", 4: "[oz_av]"}
SEXES: Final[dict[int, Sex]] = {1: "male", 2: "female"}
RACES: Final = {1: "Caucasian", 2: "Black", 3: "Oriental"}
"""Terms of the text of 1993 and 2005, from memory."""
MAINS: Final = {1: Fraction(50), 2: Fraction(60)}

SCHEME_RACE: Final = "SCPECG 5.4.5-9"
SCHEME_DRUG: Final = "SCPECG 5.4.5-10"
SCHEME_HISTORY: Final = "SCPECG 5.4.5-32"
SCHEME_STATEMENT: Final = "SCPECG 5.14"
"""Names of the standard's own code tables: clause and tag."""

DRUG_CLASSES: Final = {
    1: "digitalis preparation",
    2: "antiarrhythmic",
    3: "diuretic",
    4: "antihypertensive",
    5: "antianginal",
    6: "antithrombotic",
    7: "beta blocker",
    8: "psychotropic",
    9: "calcium blocker",
    10: "hypotensive",
    11: "cholesterol-lowering",
    12: "ACE inhibitor",
}
"""From memory, for display only."""
HISTORY: Final = {
    0: "apparently healthy",
    1: "acute myocardial infarction",
    2: "myocardial infarction",
    3: "previous myocardial infarction",
    100: "unspecified",
    101: "none",
}
"""From memory, for display only; the codes between are not known."""

EXTRA_DEVICE: Final = {
    "scp.institution-number": "institution",
    "scp.department-number": "department",
    "scp.device-number": "number",
    "scp.device-type": "kind",
    "scp.manufacturer-code": "manufacturer",
    "scp.capabilities": "capabilities",
}
"""Key of a device's extras -> field of tags 14 and 15 that the model has no place for."""

SPECIAL: Final[dict[int, Absent]] = {19999: "wave-absent", 29998: "rejected", 29999: "not-measured"}
"""Values of sections 7 and 10 that are no numbers."""
ABSENT: Final[dict[Absent, int]] = {
    "wave-absent": 19999,
    "rejected": 29998,
    "not-measured": 29999,
    "unknown": 29999,
    "undefined": 29999,
    "not-applicable": 29999,
    "withheld": 29999,
}

QTC_CONCEPTS: Final = {0: "qtc-interval", 1: "qtc-bazett", 2: "qtc-hodges", 3: "qtc-fridericia", 4: "qtc-framingham"}
"""Formula code of the additional measurements -> concept."""

LEAD_CONCEPTS: Final = (
    "p-duration",
    "pr-interval",
    "qrs-duration",
    "qt-interval",
    "q-duration",
    "r-duration",
    "s-duration",
    "r-prime-duration",
    "s-prime-duration",
    "q-amplitude",
    "r-amplitude",
    "s-amplitude",
    "r-prime-amplitude",
    "s-prime-amplitude",
    "j-amplitude",
    "p-amplitude-positive",
    "p-amplitude-negative",
    "t-amplitude-positive",
    "t-amplitude-negative",
    "st-slope",
    "p-morphology",
    "t-morphology",
    "qrs-onset-isoelectric-duration",
    "qrs-offset-isoelectric-duration",
    "ventricular-activation-time",
    "lead-quality",
    "st-amplitude-20",
    "st-amplitude-60",
    "st-amplitude-80",
    "st-amplitude-rr-16",
    "st-amplitude-rr-8",
)
"""Concepts of the measurements of a lead in the order of section 10; the first nineteen are sure."""


@cache
def _meanings() -> dict[str, str]:
    from interchange.vocabulary import concepts

    found: dict[str, str] = {}
    for row in concepts():
        if row.scp_field.startswith("11:"):
            found.setdefault(row.scp_field[3:], row.id.replace("-", " "))
    return {**found, **_STATEMENTS}


def acronym_meaning(acronym: str) -> str | None:
    """What an acronym of the universal statement codes says, None where it is not known (EN 1064 clause 5.14)."""
    return _meanings().get(acronym.strip("_").upper()) or _meanings().get(acronym.upper())


_STATEMENTS: Final = {
    "NORM": "normal ECG",
    "AMI": "anterior myocardial infarction",
    "ASMI": "anteroseptal myocardial infarction",
    "ALMI": "anterolateral myocardial infarction",
    "LMI": "lateral myocardial infarction",
    "IMI": "inferior myocardial infarction",
    "ILMI": "inferolateral myocardial infarction",
    "IPMI": "inferoposterior myocardial infarction",
    "IPLMI": "inferoposterolateral myocardial infarction",
    "PMI": "posterior myocardial infarction",
    "INJAS": "subendocardial injury, anteroseptal",
    "INJAL": "subendocardial injury, anterolateral",
    "INJIN": "subendocardial injury, inferior",
    "INJLA": "subendocardial injury, lateral",
    "INJIL": "subendocardial injury, inferolateral",
    "ISC": "non-specific ischaemic ST-T changes",
    "ISCAN": "ischaemic ST-T changes, anterior",
    "ISCAS": "ischaemic ST-T changes, anteroseptal",
    "ISCAL": "ischaemic ST-T changes, anterolateral",
    "ISCLA": "ischaemic ST-T changes, lateral",
    "ISCIN": "ischaemic ST-T changes, inferior",
    "ISCIL": "ischaemic ST-T changes, inferolateral",
    "ANEUR": "ST-T changes compatible with ventricular aneurysm",
    "NDT": "non-diagnostic T abnormalities",
    "NST": "non-specific ST changes",
    "DIG": "digitalis effect",
    "LNGQT": "long QT interval",
    "EL": "electrolyte disturbance or drug effect",
    "LVH": "left ventricular hypertrophy",
    "RVH": "right ventricular hypertrophy",
    "SEHYP": "septal hypertrophy",
    "ABQRS": "abnormal QRS",
    "STD": "non-specific ST depression",
    "STE": "non-specific ST elevation",
    "VCLVH": "voltage criteria for left ventricular hypertrophy",
    "QWAVE": "Q waves present",
    "LOWT": "low amplitude T wave",
    "NT": "non-specific T wave changes",
    "INVT": "inverted T waves",
    "TAB": "T wave abnormality",
    "LPR": "prolonged PR interval",
    "LVOLT": "low QRS voltages",
    "HVOLT": "high QRS voltage",
    "PACE": "normally functioning artificial pacemaker",
    "BIGU": "bigeminal pattern",
    "TRIGU": "trigeminal pattern",
    "SVARR": "supraventricular arrhythmia",
}
"""From memory of a public data set's statement table; the annex itself could not be read."""
