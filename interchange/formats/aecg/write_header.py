"""The header of the message: ids, times, subject, trial, site, and what was observed on the subject."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from interchange.formats.aecg.codes import CPT, LOINC, OWN, VITAL_WRITTEN
from interchange.formats.aecg.write_types import (
    TYPE,
    add,
    add_code,
    add_id,
    add_name,
    add_person,
    add_quantity,
    add_text,
    escaped,
    is_token,
    null_flavor,
    ts,
)
from interchange.formats.contract import Note
from interchange.model import Absent, Code, Identifier, Moment, Patient, Quantity, Recording, Site, Trial

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["add_line", "write_header"]

SEXES = {"male": "M", "female": "F", "other": "UN"}


def write_header(root: etree._Element, recording: Recording, low: str | None, high: str | None) -> list[Note]:
    """Everything before the series, in the order of R1-2004; gives back what had to be added."""
    notes: list[Note] = []
    extras = dict(recording.extras)
    add(root, "id", {"root": "0" * 8 + "-0000-0000-0000-" + "0" * 12})
    _message_code(root, extras.get("aecg.code"), notes)
    low = ts(_moment(extras.get("aecg.effective-time"))) or low
    high = ts(_moment(extras.get("aecg.effective-end"))) or high
    add_effective(root, low, high)
    if low is None:
        notes.append(
            Note("added", "AnnotatedECG/effectiveTime", "the message demands a time, the source has none", "null")
        )
    for name, key in (("confidentialityCode", "aecg.confidentiality"), ("reasonCode", "aecg.reason")):
        if key in extras:
            add_code(root, name, code_from(extras[key]))
    _timepoint(root, recording, notes)
    _plan(root, recording.trial)
    if recording.acquisition.site is not None:
        _site(root, "location", "testingSite", recording.acquisition.site)
    for name, quantity in _vitals(recording.patient):
        _vital(root, name, quantity)
    for text in recording.acquisition.remarks:
        outer = add(root, "pertainsTo", {"typeCode": "PERT"})
        add_text(add(outer, "subjectFindingComment", {"classCode": "OBS", "moodCode": "EVN"}), "text", text)
    return notes


def add_effective(parent: etree._Element, low: str | None, high: str | None) -> None:
    """An effectiveTime: low inclusive, high exclusive; a null flavor where nothing is known."""
    if low is None:
        add(parent, "effectiveTime", {"nullFlavor": "NI"})
        return
    element = add(parent, "effectiveTime")
    if high is None:
        add(element, "low", {"value": low})
        return
    add(element, "low", {"value": low, "inclusive": "true"})
    add(element, "high", {"value": high, "inclusive": "false"})


def add_line(text: str) -> etree._Element:
    """A line of text that this project's reader takes back, as a remark on the whole ECG."""
    from lxml import etree

    from interchange.formats.aecg.markup import HL7

    outer = etree.Element(f"{{{HL7}}}pertainsTo", {"typeCode": "PERT"}, nsmap={None: HL7})
    comment = add(outer, "subjectFindingComment", {"classCode": "OBS", "moodCode": "EVN"})
    add(comment, "code", {"code": "FIELD", "codeSystemName": OWN})
    add(comment, "text").text = escaped(text)
    return outer


def code_from(text: str) -> Code:
    """A code from the line that the reader made of it."""
    value, scheme, meaning = (*text.split("^", 2), "", "")[:3]
    return Code(value or None, scheme or None, meaning or None)


def _message_code(root: etree._Element, given: str | None, notes: list[Note]) -> None:
    if given is not None:
        add_code(root, "code", code_from(given))
        return
    add(root, "code", {"code": "93000", "codeSystem": CPT, "codeSystemName": "CPT-4"})
    notes.append(Note("added", "AnnotatedECG/code", "the message demands a code of its kind", "93000"))


def _timepoint(root: etree._Element, recording: Recording, notes: list[Note]) -> None:
    """componentOf: the visit, the subject, the trial; what the source lacks is a null flavor."""
    trial = recording.trial or Trial()
    extras = dict(trial.extras)
    event = add(
        add(root, "componentOf", {"typeCode": "COMP"}), "timepointEvent", {"classCode": "CTTEVENT", "moodCode": "EVN"}
    )
    if trial.timepoint is not None:
        add_code(event, "code", trial.timepoint)
    low, high = ts(trial.timepoint_time), ts(_moment(extras.get("aecg.timepoint-end")))
    if low or high:
        times = add(event, "effectiveTime")
        for name, value in (("low", low), ("high", high)):
            if value:
                add(times, name, {"value": value})
    for key, value in trial.extras:
        if key == "aecg.timepoint-reason":
            add_code(event, "reasonCode", code_from(value))
    _performer(event, extras.get("aecg.timepoint-performer-id"), extras.get("aecg.timepoint-performer"))
    part = add(event, "componentOf", {"typeCode": "COMP"})
    assignment = add(part, "subjectAssignment", {"classCode": "CLNTRL", "moodCode": "EVN"})
    _subject(assignment, recording.patient, trial, notes)
    if trial.treatment_group is not None:
        outer = add(assignment, "definition", {"typeCode": "INST"})
        add_code(
            add(outer, "treatmentGroupAssignment", {"classCode": "SBADM", "moodCode": "DEF"}),
            "code",
            trial.treatment_group,
        )
    _trial(add(assignment, "componentOf", {"typeCode": "COMP"}), recording.trial, notes)


def _performer(event: etree._Element, id: str | None, name: str | None) -> None:
    """Who saw the subject at the visit."""
    if id is None and name is None:
        return
    performer = add(add(event, "performer", {"typeCode": "PRF"}), "studyEventPerformer", {"classCode": "ASSIGNED"})
    if id is not None:
        issuer, _, value = id.partition("^")
        add_id(performer, "id", Identifier(value, issuer or None))
    if name is not None:
        person = add(performer, "assignedPerson", {"classCode": "PSN", "determinerCode": "INSTANCE"})
        add_text(person, "name", name)


def _moment(text: str | None) -> Moment | None:
    try:
        return Moment.parse(text) if text else None
    except ValueError:
        return None


def _subject(parent: etree._Element, patient: Patient, trial: Trial, notes: list[Note]) -> None:
    absent = dict(patient.absent)
    subject = add(add(parent, "subject", {"typeCode": "SBJ"}), "trialSubject", {"classCode": "RESBJ"})
    id = patient.ids[0] if patient.ids else trial.subject
    one = "the message has one id for the patient and the subject of the trial"
    if trial.id is not None or trial.title or trial.protocol or trial.sponsor or trial.investigator or trial.site:
        if not patient.ids and trial.subject is not None:
            notes.append(Note("changed", "patient.ids[0]", one))
        if patient.ids and trial.subject is None:
            notes.append(Note("changed", "trial.subject", one))
    flavor = absent.get("ids") or absent.get("id")
    add_id(subject, "id", id, flavor)
    if id is None and flavor not in ("unknown", "withheld", "not-applicable"):
        notes.append(Note("added", "trialSubject/id", "the message demands an id, the source has none", "null"))
    if trial.subject_role is not None:
        add_code(subject, "code", trial.subject_role)
    said = {"name", "sex", "birth_date", "race"} & {name for name, why in patient.absent if null_flavor(why) != "NI"}
    if not (said or patient.name or patient.sex or ts(patient.birth_date) or patient.race):
        return
    person = add(subject, "subjectDemographicPerson", {"classCode": "PSN", "determinerCode": "INSTANCE"})
    if patient.name is not None:
        add_name(person, patient.name)
    else:
        _null(person, "name", absent.get("name"))
    if patient.sex is not None:
        sex = {
            "code": SEXES[patient.sex],
            "codeSystem": "2.16.840.1.113883.5.1",
            "codeSystemName": "AdministrativeGender",
        }
        add(person, "administrativeGenderCode", sex)
    else:
        _null(person, "administrativeGenderCode", absent.get("sex"))
    birth = ts(patient.birth_date)
    if birth is not None:
        add(person, "birthTime", {"value": birth})
    else:
        _null(person, "birthTime", absent.get("birth_date"))
    if patient.race is not None:
        add_code(person, "raceCode", patient.race)
    else:
        _null(person, "raceCode", absent.get("race"))


def _null(parent: etree._Element, name: str, absent: Absent | None) -> None:
    """An element that says why the value is not there, where the source says so and a null flavor can."""
    if absent is not None and null_flavor(absent) != "NI":
        add(parent, name, {"nullFlavor": null_flavor(absent)})


def _trial(parent: etree._Element, trial: Trial | None, notes: list[Note]) -> None:
    """The trial; a recording that belongs to none says so in the id, as the oldest receivers understand it."""
    node = add(parent, "clinicalTrial", {"classCode": "CLNTRL", "moodCode": "EVN"})
    if trial is None:
        add(node, "id", {"nullFlavor": "NA"})
        notes.append(
            Note("added", "clinicalTrial/id", "the message demands a trial, the recording belongs to none", "null")
        )
        return
    extras = dict(trial.extras)
    if trial.id is not None:
        add_id(node, "id", trial.id)
    else:
        add(node, "id", {"nullFlavor": null_flavor(dict(trial.absent).get("id"))})
    if trial.title:
        add_text(node, "title", trial.title)
    times = [ts(_moment(extras.get(key))) for key in ("aecg.trial-start", "aecg.trial-end")]
    if any(times):
        element = add(node, "activityTime")
        for name, value in zip(("low", "high"), times, strict=True):
            if value:
                add(element, name, {"value": value})
    if trial.protocol is not None or trial.protocol_title:
        outer = add(node, "componentOf", {"typeCode": "COMP"})
        protocol = add(outer, "clinicalTrialProtocol", {"classCode": "CLNTRL", "moodCode": "DEF"})
        add_id(protocol, "id", trial.protocol)
        if trial.protocol_title:
            add_text(protocol, "title", trial.protocol_title)
    if trial.sponsor:
        outer = add(add(node, "author", {"typeCode": "AUT"}), "clinicalTrialSponsor", {"classCode": "CRSPNSR"})
        organisation = add(outer, "sponsorOrganization", {"classCode": "ORG", "determinerCode": "INSTANCE"})
        if "aecg.sponsor-id" in extras:
            issuer, _, value = extras["aecg.sponsor-id"].partition("^")
            add_id(organisation, "id", Identifier(value, issuer or None))
        add_text(organisation, "name", trial.sponsor)
    if trial.site is not None:
        _site(node, "location", "trialSite", trial.site, required=True)
    if trial.investigator is not None:
        outer = add(add(node, "responsibleParty", {"typeCode": "RESP"}), "trialInvestigator", {"classCode": "CRINV"})
        if not trial.investigator.ids:
            add(outer, "id", {"nullFlavor": "NI"})
        add_person(outer, trial.investigator, "investigatorPerson")


def _plan(root: etree._Element, trial: Trial | None) -> None:
    """definition: the planned point in time, where its code is known."""
    if trial is None or trial.relative_timepoint is None:
        return
    extras = dict(trial.extras)
    outer = add(root, "definition", {"typeCode": "INST"})
    node = add(outer, "relativeTimepoint", {"classCode": "OBS", "moodCode": "DEF"})
    add_code(node, "code", trial.relative_timepoint)
    part = add(node, "componentOf", {"typeCode": "COMP"})
    amount, _, unit = extras.get("aecg.pause", "").partition(" ")
    if amount and is_token(unit):
        add_quantity(part, "pauseQuantity", Fraction(amount), unit)
    event = add(part, "protocolTimepointEvent", {"classCode": "CTTEVENT", "moodCode": "DEF"})
    planned, reference = (extras.get(key) for key in ("aecg.planned-timepoint", "aecg.reference-event"))
    add_code(event, "code", code_from(planned) if planned else None)
    inner = add(
        add(event, "component", {"typeCode": "COMP"}), "referenceEvent", {"classCode": "ACT", "moodCode": "DEF"}
    )
    add_code(inner, "code", code_from(reference) if reference else None)


def _site(parent: etree._Element, relation: str, role: str, site: Site, required: bool = False) -> None:
    node = add(add(parent, relation, {"typeCode": "LOC"}), role, {"classCode": "SDLOC"})
    if site.ids or required:
        add_id(node, "id", site.ids[0] if site.ids else None)
    if site.institution or site.address:
        place = add(node, "location", {"classCode": "PLC", "determinerCode": "INSTANCE"})
        if site.institution:
            add_text(place, "name", site.institution)
        if site.address:
            add_text(place, "addr", site.address)


def _vitals(patient: Patient) -> list[tuple[str, Quantity]]:
    values = ((name, getattr(patient, name)) for name in VITAL_WRITTEN)
    return [(name, value) for name, value in values if value is not None and is_token(value.unit)]


def _vital(root: etree._Element, name: str, quantity: Quantity) -> None:
    code, words = VITAL_WRITTEN[name]
    outer = add(root, "controlVariable", {"typeCode": "CTRLV"})
    node = add(outer, "relatedObservation", {"classCode": "OBS", "moodCode": "EVN"})
    add(node, "code", {"code": code, "codeSystem": LOINC, "codeSystemName": "LOINC", "displayName": words})
    add_quantity(node, "value", quantity.value, quantity.unit).set(TYPE, "PQ")
