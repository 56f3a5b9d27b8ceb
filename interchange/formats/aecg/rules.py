"""What an aECG document must be, and what the reader has to tolerate: one row per rule."""

from __future__ import annotations

from functools import cache

from interchange.findings import Rule

__all__ = ["RULES", "rule"]

R1 = "ANSI/HL7 V3 ECG, R1-2004"
NE = "HL7 V3 Normative Edition 2009, PORT_MT020001UV01"
TYPES = "HL7 V3 Normative Edition 2009, datatypes"
CLASSES = "HL7 Terminology, ActClass"
CODES = "HL7 Terminology, ActCode"
MDC = "ISO/IEEE 11073-10102"
XML = "W3C XML 1.0"
PROJECT = "project"

RULES: tuple[Rule, ...] = (
    # The document
    Rule("aecg.well-formed", "error", "the document is no well-formed XML, or breaks a limit of this program", XML,
         "nothing can be read from it"),
    Rule("aecg.schema", "error", "the document is not valid against the schema of the message", f"{R1}; {NE}",
         "a receiver that validates refuses it"),
    Rule("aecg.encoding", "warning", "the text is not in the encoding that it announces", f"{XML}, 4.3.3",
         "names and statements may have wrong letters"),
    Rule("aecg.leading-blanks", "warning", "white space stands before the XML declaration", f"{XML}, 2.8",
         "a strict parser refuses it"),
    Rule("aecg.trailing-nul", "warning", "NUL bytes follow the document", f"{XML}, 2.2", "a strict parser refuses it"),
    Rule("aecg.namespace", "warning", "the elements are not in the namespace urn:hl7-org:v3", R1,
         "a strict receiver does not find them"),
    Rule("aecg.root", "warning", "the document element is not AnnotatedECG", R1,
         "a receiver that expects the bare message does not find it"),
    Rule("aecg.older-names", "warning", "elements or codes have names of the ballot of December 2003", R1,
         "receivers of the final standard do not find them", "seen"),
    Rule("aecg.wrapped", "note", "the message stands inside another document", NE,
         "what stands around it was not read"),
    Rule("aecg.further-message", "error", "the document holds more than one message", f"{R1}, AnnotatedECG",
         "one tracing is read from a document: the others were not, and may be of other subjects"),
    # Data types
    Rule("aecg.value-type", "warning", "a value does not say its type (xsi:type), or one that does not exist", TYPES,
         "the type was taken from the content"),
    Rule("aecg.time-form", "warning", "a time is not written as HL7 TS", f"{TYPES}, TS", "it was read all the same"),
    Rule("aecg.time-unreadable", "warning", "a time cannot be read", f"{TYPES}, TS", "it is not used"),
    Rule("aecg.number", "warning", "a number cannot be read, or is not finite", f"{TYPES}, REAL", "it is not used"),
    Rule("aecg.id-form", "warning", "an id is not written as OID, UUID or reserved word", f"{TYPES}, II",
         "it was read all the same"),
    Rule("aecg.id-empty", "warning", "the message id says nothing", f"{R1}, AnnotatedECG.id",
         "results cannot be traced back to this document"),
    Rule("aecg.code-placeholder", "note", "a code is a placeholder between question marks", R1, "it says nothing"),
    Rule("aecg.lead-code-system", "note", "the code of a lead does not name its code system", TYPES,
         "it was taken by its text"),
    # Series and samples
    Rule("aecg.no-series", "error", "there is no series with samples", f"{R1}, AnnotatedECG.component",
         "there is no tracing to look at"),
    Rule("aecg.series-kind", "warning", "the code of a series is neither RHYTHM nor REPRESENTATIVE_BEAT", CODES,
         "it was read as a rhythm"),
    Rule("aecg.effective-time", "warning", "the effective time of a series does not cover its samples",
         f"{R1}, Series.effectiveTime", "the time of the samples themselves was used"),
    Rule("aecg.beat-time", "note", "a representative beat has calendar times", CODES,
         "a beat made from many has no time of its own; its samples are placed all the same"),
    Rule("aecg.time-sequence", "error", "a sequence set has no time sequence, or more than one", f"{CLASSES}, OBSCOR",
         "the sampling rate is not known for sure"),
    Rule("aecg.time-kind", "warning", "the kind of a time sequence and the type of its value disagree", CODES,
         "the type of the value was followed"),
    Rule("aecg.increment", "error", "the step of a time sequence is missing, not above zero, or no time",
         f"{TYPES}, GLIST", "the samples have no rate; the set was left out"),
    Rule("aecg.increment-unit", "error", "the step of a time sequence has no unit of time", f"{TYPES}, PQ",
         "the samples have no rate; the set was left out"),
    Rule("aecg.uneven-time", "error", "the samples of a set are not evenly spaced", f"{TYPES}, SLIST_TS",
         "the set was left out"),
    Rule("aecg.lead-lengths", "error", "the leads of a sequence set have different lengths", f"{CLASSES}, OBSCOR",
         "the shorter ones are missing at their end"),
    Rule("aecg.lead-repeated", "warning", "a lead stands twice in a sequence set", f"{CLASSES}, OBSCOR",
         "both were kept; which is meant is not known"),
    Rule("aecg.lead-unknown", "note", "the code of a lead is in no table", MDC, "it was kept as a label"),
    Rule("aecg.lead-spelling", "note", "the code of a lead is not spelt as in the nomenclature", MDC,
         "other readers may not know the lead"),
    Rule("aecg.lead-empty", "warning", "a lead has no samples", f"{CLASSES}, OBSCOR", "the lead is missing throughout"),
    Rule("aecg.digits", "error", "the samples of a lead cannot be read", f"{TYPES}, SLIST", "the lead was left out"),
    Rule("aecg.digits-decimals", "warning", "samples are decimals", f"{TYPES}, SLIST.digits",
         "they were made whole by a power of ten, the scale divided by it"),
    Rule("aecg.digits-separators", "warning", "samples are separated by commas or semicolons",
         f"{TYPES}, SLIST.digits", "other readers may refuse them"),
    Rule("aecg.digits-external", "warning", "samples lie outside the document",
         "HL7 aECG Continuous Waveforms Supplement, 2013",
         "external samples are never opened; the lead was left out"),
    Rule("aecg.scale", "error", "the scale of a lead is missing, zero or no number", f"{TYPES}, SLIST.scale",
         "the lead was left out"),
    Rule("aecg.origin", "warning", "the origin of a lead is missing or no number", f"{TYPES}, SLIST.origin",
         "zero was taken"),
    Rule("aecg.scale-unit", "warning", "the scale of a lead has no unit", f"{TYPES}, PQ",
         "the lead has no calibration; microvolts were not guessed"),
    Rule("aecg.scale-no-voltage", "warning", "the scale of an ECG lead is no voltage", f"{TYPES}, PQ",
         "the lead has no calibration"),
    Rule("aecg.origin-unit", "warning", "origin and scale of a lead have units that do not go together",
         f"{TYPES}, SLIST",
         "zero was taken as origin"),
    Rule("aecg.pad-value", "warning", "the pad value of a lead does not go with its samples", f"{MDC}; {TYPES}, PQ",
         "samples that may be placeholders were kept as they are"),
    Rule("aecg.filter-unit", "warning", "the frequency of a filter has no unit of frequency", f"{TYPES}, PQ",
         "without a unit it was taken as hertz, with another it was not taken"),
    Rule("aecg.sets-not-joined", "note", "segments of a series do not fit on one time line", f"{CLASSES}, OBSSER",
         "they became tracings of their own"),
    Rule("aecg.start-unknown", "note", "the start of a sequence set cannot be placed in time", f"{R1}, SequenceSet",
         "it was set to the start of the recording"),
    Rule("aecg.zone-mixed", "warning", "some times of the document name a zone and some do not", TYPES,
         "those without were taken in the zone of the others"),
    # Annotations
    Rule("aecg.boundary-outside", "warning", "a region of interest lies outside the samples", f"{CLASSES}, ROIBND",
         "what was marked cannot be seen on the tracing"),
    Rule("aecg.boundary-time", "warning", "a region of interest has a time that cannot be placed", f"{CLASSES}, ROIBND",
         "the annotation was not tied to a time"),
    Rule("aecg.boundary-order", "warning", "a region of interest ends before it starts", f"{CLASSES}, ROIBND",
         "start and end cannot both be meant"),
    Rule("aecg.boundary-repeated", "warning", "a region of interest has more than one boundary in time",
         f"{CLASSES}, ROIBND", "the first was used"),
    Rule("aecg.boundary-lead", "warning", "a region of interest names a lead that its series does not have",
         f"{CLASSES}, ROIBND", "the lead that was meant is not known"),
    Rule("aecg.annotation-code", "note", "the code of an annotation is in no table", MDC,
         "it was kept with its code and value"),
    Rule("aecg.annotation-value", "warning", "the value of a measurement is no number with a unit",
         f"{R1}, Annotation.value", "it was kept as text"),
    Rule("aecg.annotation-unit", "warning", "the unit of a measurement is missing or not that of its kind",
         f"{TYPES}, PQ",
         "the number was kept as it is"),
    Rule("aecg.lines-identity", "warning", "a line of text gives the patient another identity than the message",
         PROJECT, "it was kept as a remark; the message's own fields count"),
    Rule("aecg.lines-stale", "warning", "lines of text of this project no longer fit the annotations of the document",
         PROJECT, "they were kept as remarks and not taken in"),
    # People
    Rule("aecg.subject-id", "note", "the subject has no id", f"{R1}, TrialSubject.id",
         "the tracing cannot be filed under a patient"),
    Rule("aecg.sex-code", "warning", "the code of the sex is not M, F or UN", "HL7 Terminology, AdministrativeGender",
         "the sex was taken as far as it was understood"),
)  # fmt: skip


@cache
def _by_id() -> dict[str, Rule]:
    return {row.id: row for row in RULES}


def rule(id: str) -> Rule:
    """The rule of that id; KeyError for any other."""
    return _by_id()[id]
