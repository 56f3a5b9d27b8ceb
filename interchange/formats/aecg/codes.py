"""Code systems, and the names that documents use for one and the same thing.

What is known from memory only stands in tables of its own here and says so.
"""

from __future__ import annotations

from typing import Final

__all__ = [
    "ACT_CODE",
    "CLASS_CODES",
    "HERTZ",
    "CPT",
    "LEAD_SYSTEM",
    "LOINC",
    "NAMES",
    "MDC",
    "OIDS",
    "OWN",
    "SCHEMES",
    "TIME_ABSOLUTE",
    "TIME_RELATIVE",
    "VITAL_CODES",
    "VOLTS",
]

MDC: Final = "2.16.840.1.113883.6.24"
ACT_CODE: Final = "2.16.840.1.113883.5.4"
CPT: Final = "2.16.840.1.113883.6.12"
LOINC: Final = "2.16.840.1.113883.6.1"
GENDER: Final = "2.16.840.1.113883.5.1"
RACE: Final = "2.16.840.1.113883.5.104"
OWN: Final = "ECG interchange"
"""codeSystemName of codes that this project writes where the nomenclature has none."""

LEAD_SYSTEM: Final = "LEAD_SYSTEM"
"""Code, under that name, of the control variable that holds a lead system of ISO/IEEE 11073-10102: the id that the
nomenclature has for the variable itself is not known."""

SCHEMES: Final = {
    MDC: "MDC",
    ACT_CODE: "ActCode",
    CPT: "C4",
    LOINC: "LN",
    GENDER: "AdministrativeGender",
    "2.16.840.1.113883.6.96": "SCT",
    "2.16.840.1.113883.6.8": "UCUM",
    "1.2.840.10008.2.16.4": "DCM",
}
"""OID to the name of the scheme in the model (the names are those of DICOM where it has one).

Sources: HL7 Terminology and HL7's sample instances for the HL7 systems; DICOM PS3.16 chapter 8 for SCT, UCUM and DCM.
"""

OIDS: Final = {name: oid for oid, name in SCHEMES.items()}
SYSTEM_NAMES: Final = {MDC: "MDC", ACT_CODE: "ActCode", CPT: "CPT-4", LOINC: "LOINC", GENDER: "AdministrativeGender"}

TIME_ABSOLUTE: Final = "TIME_ABSOLUTE"
TIME_RELATIVE: Final = "TIME_RELATIVE"

CLASS_CODES: Final = {
    "MDC_ECG_WAVC": "wave",  # seen: HL7's sample of 2005
    "MDC_ECG_WAVEC_TYPE": "wave",  # seen: HL7's sample of 2003
    "MDC_ECG_WAVC_TYPE": "wave",  # from memory
    "MDC_ECG_BEAT": "beat",  # from memory
    "MDC_ECG_BEAT_TYPE": "beat",  # seen: HL7's sample of 2003
    "MDC_ECG_RHY": "rhythm",  # from memory
    "MDC_ECG_RHYTHM_TYPE": "rhythm",  # seen: HL7's sample of 2003
    "MDC_ECG_NOISE": "noise",  # from memory
    "MDC_ECG_WAVP": "spike",  # from memory
}
"""Annotation codes that only name a class; the coded value says which one."""

INTERPRETATION: Final = "MDC_ECG_INTERPRETATION"  # from memory, with its three parts
STATEMENTS: Final = {
    "MDC_ECG_INTERPRETATION_STATEMENT": "interpretation-statement",
    "MDC_ECG_INTERPRETATION_SUMMARY": "interpretation-summary",
    "MDC_ECG_INTERPRETATION_COMMENT": "interpretation-comment",
}

VOLTS: Final = {
    "uV": 1, "µV": 1, "μV": 1, "microvolt": 1, "nV": (1, 1000), "mV": 1000, "millivolt": 1000, "V": 10**6,
}  # fmt: skip
"""Units of voltage in microvolts.  Source: UCUM; the spelt-out and Greek forms from memory of files."""

SECONDS: Final = {
    "s": 1,
    "ms": (1, 1000),
    "us": (1, 10**6),
    "µs": (1, 10**6),
    "min": 60,
    "h": 3600,
    "sec": 1,
    "msec": (1, 1000),
}
"""Units of time in seconds.  Source: UCUM; sec and msec from memory of files."""

HERTZ: Final = {
    "Hz": 1, "mHz": (1, 1000), "kHz": 1000, "MHz": 10**6, "/s": 1, "1/s": 1, "s-1": 1, "/min": (1, 60),
}  # fmt: skip
"""Units of frequency in hertz.  Source: UCUM; 1/s and s-1 from memory of files."""

SAME_UNIT: Final = {
    "bpm": "/min", "BPM": "/min", "{beats}/min": "/min", "{H.B.}/min": "/min", "1/min": "/min", "min-1": "/min",
    "degree": "deg", "degrees": "deg", "°": "deg", "msec": "ms", "sec": "s", "hz": "Hz", "HZ": "Hz",
}  # fmt: skip
"""Other spellings of units.  From memory of files."""

VITAL_CODES: Final = {
    "21612-7": "age",  # seen: HL7's sample of 2003
    "30525-0": "age",  # from memory: LOINC, Age
    "8302-2": "height",  # LOINC, from memory
    "29463-7": "weight",  # LOINC, from memory
    "3141-9": "weight",  # LOINC body weight measured, from memory
    "8480-6": "systolic",  # LOINC, from memory
    "8462-4": "diastolic",  # LOINC, from memory
}
"""LOINC codes of relatedObservation and the field of the patient that holds them."""

VITAL_WRITTEN: Final = {
    "age": ("21612-7", "Reported age"),
    "height": ("8302-2", "Body height"),
    "weight": ("29463-7", "Body weight"),
    "systolic": ("8480-6", "Systolic blood pressure"),
    "diastolic": ("8462-4", "Diastolic blood pressure"),
}

NAMES: Final = frozenset(
    [
        "AnnotatedECG",
        "Device",
        "Person",
        "activityTime",
        "activityType",
        "addr",
        "administrativeGenderCode",
        "annotatedECG",
        "annotation",
        "annotationSet",
        "asIdentifiedEntity",
        "asManufacturedDevice",
        "assignedAuthorType",
        "assignedDevice",
        "assignedEntity",
        "assignedPerson",
        "author",
        "birthTime",
        "boundary",
        "center",
        "clinicalTrial",
        "clinicalTrialProtocol",
        "clinicalTrialSponsor",
        "code",
        "component",
        "componentOf",
        "confidentialityCode",
        "controlVariable",
        "definition",
        "delimiter",
        "derivation",
        "derivedSeries",
        "digits",
        "effectiveTime",
        "family",
        "findingComment",
        "functionCode",
        "given",
        "head",
        "high",
        "id",
        "identification",
        "increment",
        "investigatorPerson",
        "location",
        "low",
        "manufacturedEcgDevice",
        "manufacturedProduct",
        "manufacturedSeriesDevice",
        "manufacturerModelName",
        "manufacturerOrganization",
        "methodCode",
        "name",
        "origin",
        "originalText",
        "pauseQuantity",
        "performer",
        "pertainsTo",
        "playedManufacturedDevice",
        "prefix",
        "protocolTimepointEvent",
        "qualifier",
        "rOI",
        "raceCode",
        "realmCode",
        "reasonCode",
        "reference",
        "referenceEvent",
        "relatedObservation",
        "relativeTimepoint",
        "representedAuthoringOrganization",
        "responsibleParty",
        "scale",
        "secondaryPerformer",
        "sequence",
        "sequenceNumber",
        "sequenceSet",
        "series",
        "seriesAuthor",
        "seriesPerformer",
        "softwareName",
        "sponsorOrganization",
        "studyEventPerformer",
        "subject",
        "subjectAssignment",
        "subjectDemographicPerson",
        "subjectFindingComment",
        "subjectOf",
        "suffix",
        "support",
        "supportingROI",
        "templateId",
        "testingSite",
        "text",
        "thumbnail",
        "time",
        "timepointEvent",
        "title",
        "translation",
        "treatmentGroupAssignment",
        "trialInvestigator",
        "trialSite",
        "trialSubject",
        "typeId",
        "value",
        "width",
    ]
)
"""Names of the message's elements in all generations: the only ones that places in messages repeat."""
