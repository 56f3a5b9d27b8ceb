"""Where each field of the model lives in the message, or why it stays behind."""

from __future__ import annotations

from interchange.formats.contract import Account, Place

__all__ = ["ACCOUNT"]

R1 = "ANSI/HL7 V3 ECG, R1-2004"
LINE = Place("a line of text in pertainsTo/subjectFindingComment with code FIELD", "text", "this project")
OTHER = Place("only the format that it comes from understands it", "left")


def field(where: str) -> Place:
    """A field of the message."""
    return Place(where, "field", R1)


def partly(where: str) -> Place:
    """A field of the message for a part of the value; the rest goes to lines of text."""
    return Place(where, "partly", R1)


SUBJECT = "componentOf/timepointEvent/componentOf/subjectAssignment/subject/trialSubject"
PERSON = f"{SUBJECT}/subjectDemographicPerson"
TRIAL = "componentOf/timepointEvent/componentOf/subjectAssignment/componentOf/clinicalTrial"
SERIES = "component/series"
SET = f"{SERIES}/component/sequenceSet/component/sequence"
ANNOTATION = f"{SERIES}/subjectOf/annotationSet/component/annotation"

ACCOUNT: Account = {
    "patient": LINE,
    "patient.ids": partly(f"{SUBJECT}/id for the first, lines of text for others"),
    "patient.name": field(f"{PERSON}/name"),
    "patient.birth_date": field(f"{PERSON}/birthTime"),
    "patient.sex": field(f"{PERSON}/administrativeGenderCode"),
    "patient.race": field(f"{PERSON}/raceCode"),
    "patient.absent": partly("null flavors; a line of text for reasons that have none"),
    "patient.age": field("controlVariable/relatedObservation, LOINC 21612-7"),
    "patient.height": field("controlVariable/relatedObservation, LOINC 8302-2"),
    "patient.weight": field("controlVariable/relatedObservation, LOINC 29463-7"),
    "patient.systolic": field("controlVariable/relatedObservation, LOINC 8480-6"),
    "patient.diastolic": field("controlVariable/relatedObservation, LOINC 8462-4"),
    "patient.extras": OTHER,
    "acquisition": LINE,
    "acquisition.time": partly(
        "effectiveTime and the head of each time sequence; a line of text for a time without a date"
    ),
    "acquisition.devices": partly(
        f"{SERIES}/author/seriesAuthor and the author of the annotation set; lines of text for others"
    ),
    "acquisition.devices.extras": OTHER,
    "acquisition.site": partly("location/testingSite; lines of text for department and room"),
    "acquisition.operator": partly(f"{SERIES}/secondaryPerformer/seriesPerformer"),
    "acquisition.filters": partly(f"{SERIES}/controlVariable"),
    "acquisition.remarks": field("pertainsTo/subjectFindingComment/text"),
    "acquisition.extras": OTHER,
    "trial": field(TRIAL),
    "trial.subject": partly(f"{SUBJECT}/id, which is the patient's id at the same time"),
    "trial.absent": partly("null flavors; a line of text for reasons that have none"),
    "trial.extras": OTHER,
    "tracings": field(f"{SERIES}/component/sequenceSet"),
    "tracings.samples": field(f"{SET}/value/digits"),
    "tracings.missing": Place("the sequence set ends and another begins; an absent lead is left out", "field", R1),
    "tracings.rate": field(f"{SET}/value/increment"),
    "tracings.start": field(f"{SET}/value/head"),
    "tracings.kind": field(f"{SERIES}/code; derivation/derivedSeries for representative beats"),
    "tracings.of": field("the series that holds the derived one"),
    "tracings.label": LINE,
    "tracings.fiducial": LINE,
    "tracings.beat": LINE,
    "tracings.extras": OTHER,
    "tracings.channels": field(SET),
    "tracings.channels.name": field(f"{SET}/code"),
    "tracings.channels.unit": field(f"{SET}/value/scale/@unit"),
    "tracings.channels.step": field(f"{SET}/value/scale"),
    "tracings.channels.offset": field(f"{SET}/value/origin"),
    "tracings.channels.label": LINE,
    "tracings.channels.filters": partly(f"{SET}/controlVariable"),
    "tracings.channels.skew": field(f"{SET}/controlVariable MDC_ECG_CTL_VBL_TIME_SKEW"),
    "tracings.channels.origin": partly("the code of a derived lead where there is one, else a line of text"),
    "tracings.channels.derived_from": LINE,
    "tracings.channels.bits": LINE,
    "tracings.channels.extras": OTHER,
    "measurements": field(ANNOTATION),
    "measurements.absent": partly("null flavors; a line of text for reasons that have none"),
    "measurements.beat": partly("the derived series that the annotation stands in, else a line of text"),
    "measurements.extras": OTHER,
    "marks": field(f"{ANNOTATION} with support/supportingROI"),
    "marks.extras": OTHER,
    "marks.measurements.extras": OTHER,
    "statements": field(f"{ANNOTATION} MDC_ECG_INTERPRETATION with one part per statement"),
    "statements.author": field("author of the annotation set"),
    "statements.time": field("activityTime of the annotation set"),
    "statements.confirmed": LINE,
    "statements.overread": LINE,
    "statements.confirmed_by": LINE,
    "statements.confirmed_time": LINE,
    "statements.extras": OTHER,
    "document_id": Place("id: every new document gets an id of its own, made from its content", "left", R1),
    "deidentification": LINE,
    "extras": OTHER,
}
