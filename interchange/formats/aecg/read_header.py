"""The header of the message: subject, trial, site, people, and remarks on the whole."""

from __future__ import annotations

from dataclasses import field, replace

from interchange.formats.aecg.codes import OWN, VITAL_CODES
from interchange.formats.aecg.datatypes import (
    absent_of,
    address,
    code_of,
    identifier,
    interval,
    moment,
    name_of,
    person_name,
    physical,
    quantity,
    text_of,
)
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import Node
from interchange.model import (
    Absent,
    Acquisition,
    Code,
    Identifier,
    Moment,
    Patient,
    Person,
    Quantity,
    Sex,
    Site,
    Trial,
)
from interchange.records import dataclass

__all__ = ["Author", "Header", "code_line", "read_author", "read_header", "read_performer"]

SEXES: dict[str, Sex] = {
    "M": "male", "F": "female", "UN": "other", "O": "other",
    "MALE": "male", "FEMALE": "female", "OTHER": "other",
}  # fmt: skip
UNKNOWN_SEX = ("U", "UNK", "UNKNOWN")


@dataclass(slots=True)
class Header:
    """What the header gives; ``lines``: this project's own notes; ``times``: moments of the message, best first."""

    patient: Patient = Patient()
    acquisition: Acquisition = Acquisition()
    trial: Trial | None = None
    document_id: Identifier | None = None
    times: list[Moment | None] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    extras: list[tuple[str, str]] = field(default_factory=list)


def read_header(node: Node, log: Log) -> Header:
    """Everything of AnnotatedECG that is no series."""
    header = Header()
    header.document_id = identifier(node.take("id"), log)
    if header.document_id is None:
        log.add("aecg.id-empty", node)
    _message_code(node, header, log)
    effective = interval(node.take("effectiveTime"), log)
    header.times = [effective.low, effective.point, effective.high]
    remarks = [text_of(node.take("text"))]
    for name, key in (("confidentialityCode", "aecg.confidentiality"), ("reasonCode", "aecg.reason")):
        code = code_of(node.take(name), log)
        if code is not None:
            header.extras.append((key, code_line(code)))
    _timepoint(node.step("componentOf", "timepointEvent"), header, log)
    _relative(node.step("definition", "relativeTimepoint"), header, log)
    site = _site(node.step("location", "testingSite"), log)
    _vitals(node, header, log)
    remarks += _comments(node, header, log)
    header.acquisition = Acquisition(site=site, remarks=tuple(text for text in remarks if text))
    return header


def code_line(code: Code) -> str:
    """A code as one line: value, scheme and meaning between circumflexes."""
    return "^".join(part or "" for part in (code.value, code.scheme, code.meaning))


def _message_code(node: Node, header: Header, log: Log) -> None:
    """The kind of the message; 93000 of CPT-4 is what everyone writes and says nothing."""
    code = code_of(node.take("code"), log)
    if code is not None and code.value != "93000":
        header.extras.append(("aecg.code", code_line(code)))


def _timepoint(node: Node | None, header: Header, log: Log) -> None:
    if node is None:
        return
    code = code_of(node.take("code"), log)
    when = interval(node.take("effectiveTime"), log)
    extras = [("aecg.timepoint-reason", code_line(c)) for c in (code_of(n, log) for n in node.takes("reasonCode")) if c]
    performer = _person(node.step("performer", "studyEventPerformer"), "assignedPerson", log)
    if performer is not None and performer.name is not None:
        extras.append(("aecg.timepoint-performer", str(performer.name)))
    for id in performer.ids if performer is not None else ():
        extras.append(("aecg.timepoint-performer-id", f"{id.issuer or ''}^{id.value}"))
    if when.high is not None:
        extras.append(("aecg.timepoint-end", str(when.high)))
    assignment = node.step("componentOf", "subjectAssignment")
    subject = assignment.step("subject", "trialSubject") if assignment else None
    role = _subject(subject, header, log)
    group = code_of(assignment.step("definition", "treatmentGroupAssignment", "code"), log) if assignment else None
    branch = assignment.take("componentOf") if assignment else None
    if branch is not None and branch.attributes.get("nullFlavor") == "NA":
        branch.get("nullFlavor")
    trial = _trial(branch.take("clinicalTrial") if branch else None, log)
    said = trial is not None or any((code, when.low, when.point, role, group, extras))
    if said:
        header.trial = replace(
            trial or Trial(),
            subject=header.patient.ids[0] if trial and header.patient.ids else None,
            subject_role=role,
            treatment_group=group,
            timepoint=code,
            timepoint_time=when.low or when.point,
            extras=(*(trial.extras if trial else ()), *extras),
        )


def _trial(node: Node | None, log: Log) -> Trial | None:
    if node is None:
        return None
    id_node = node.take("id")
    id, absent = identifier(id_node, log), absent_of(id_node)
    times = interval(node.take("activityTime"), log)
    protocol = node.step("componentOf", "clinicalTrialProtocol")
    sponsor = node.step("author", "clinicalTrialSponsor", "sponsorOrganization")
    investigator = node.step("responsibleParty", "trialInvestigator")
    extras = [
        (key, str(value))
        for key, value in (("aecg.trial-start", times.low or times.point), ("aecg.trial-end", times.high))
        if value is not None
    ]
    sponsor_id = identifier(sponsor.take("id"), log) if sponsor else None
    if sponsor_id is not None:
        extras.append(("aecg.sponsor-id", f"{sponsor_id.issuer or ''}^{sponsor_id.value}"))
    trial = Trial(
        id=id,
        title=text_of(node.take("title")),
        protocol=identifier(protocol.take("id"), log) if protocol else None,
        protocol_title=text_of(protocol.take("title")) if protocol else None,
        sponsor=name_of(sponsor.take("name")) if sponsor else None,
        investigator=_person(investigator, "investigatorPerson", log),
        site=_site(node.step("location", "trialSite"), log),
        absent=(("id", absent),) if id is None and absent not in (None, "not-applicable") else (),
        extras=tuple(extras),
    )
    return trial if trial != Trial() else None


def _relative(node: Node | None, header: Header, log: Log) -> None:
    """The planned point in time: its code goes to the model, the rest of the plan to the extras."""
    if node is None:
        return
    code = code_of(node.take("code"), log)
    extras: list[tuple[str, str]] = []
    parts = node.take("componentOf")
    if parts is not None:
        pause = quantity(parts.take("pauseQuantity"), log)
        if pause is not None:
            extras.append(("aecg.pause", str(pause)))
        event = parts.take("protocolTimepointEvent")
        planned = code_of(event.take("code"), log) if event else None
        reference = code_of(event.step("component", "referenceEvent", "code"), log) if event else None
        extras += [
            (key, code_line(value))
            for key, value in (("aecg.planned-timepoint", planned), ("aecg.reference-event", reference))
            if value
        ]
    trial = header.trial or Trial()
    header.trial = replace(trial, relative_timepoint=code, extras=(*trial.extras, *extras))


def _subject(node: Node | None, header: Header, log: Log) -> Code | None:
    """The patient; gives back the state of the subject in the trial."""
    if node is None:
        return None
    absent: list[tuple[str, Absent]] = []
    id_node = node.take("id")
    id = identifier(id_node, log)
    if id is None:
        _say(absent, "ids", absent_of(id_node))
        log.add("aecg.subject-id", node)
    role = code_of(node.take("code"), log)
    person = node.take("subjectDemographicPerson")
    if person is None:
        header.patient = Patient(ids=(id,) if id else (), absent=tuple(absent))
        return role
    name_node, birth_node = person.take("name"), person.take("birthTime")
    race_node = person.take("raceCode")
    name, birth, race = person_name(name_node, log), moment(birth_node, log), code_of(race_node, log)
    sex = _sex(person.take("administrativeGenderCode"), absent, log)
    for field_name, value, part in (
        ("name", name, name_node),
        ("birth_date", birth, birth_node),
        ("race", race, race_node),
    ):
        if value is None:
            _say(absent, field_name, absent_of(part))
    header.patient = Patient(
        ids=(id,) if id else (), name=name, birth_date=birth, sex=sex, race=race, absent=tuple(absent)
    )
    return role


def _say(absent: list[tuple[str, Absent]], name: str, why: Absent | None) -> None:
    if why is not None:
        absent.append((name, why))


def _sex(node: Node | None, absent: list[tuple[str, Absent]], log: Log) -> Sex | None:
    if node is None:
        return None
    code = code_of(node)
    raw = (code.value or code.meaning or "") if code else ""
    found = SEXES.get(raw.upper())
    if found is None:
        _say(absent, "sex", "unknown" if raw.upper() in UNKNOWN_SEX else absent_of(node))
    if raw and raw not in ("M", "F", "UN"):
        log.add("aecg.sex-code", node)
    return found


def _site(node: Node | None, log: Log) -> Site | None:
    if node is None:
        return None
    id_node = node.take("id")
    id = identifier(id_node, log)
    if id is None:
        absent_of(id_node)
    place = node.take("location")
    name = name_of(place.take("name")) if place else None
    where = address(place.take("addr"), log) if place else None
    site = Site(institution=name, address=where, ids=(id,) if id else ())
    return site if site != Site() else None


def _person(node: Node | None, inner: str, log: Log) -> Person | None:
    if node is None:
        return None
    id_node = node.take("id")
    id = identifier(id_node, log)
    if id is None:
        absent_of(id_node)
    within = node.take(inner)
    name = person_name(within.take("name"), log) if within else None
    return Person(name, (id,) if id else ()) if name or id else None


def read_performer(node: Node, log: Log) -> Person | None:
    """The first person who ran the recorder; function and time, and further people, stay unread."""
    outer = node.take("secondaryPerformer")
    return _person(outer.take("seriesPerformer"), "assignedPerson", log) if outer else None


@dataclass(slots=True)
class Author:
    """Who or what made annotations: a person by name or id, else a device, else an organisation by name."""

    person: str | None = None
    device: Node | None = None
    organisation: str | None = None

    @property
    def name(self) -> str | None:
        """The person or organisation."""
        return self.person or self.organisation


def read_author(node: Node, log: Log) -> Author:
    """An assignedEntity in the forms of all generations; what its name does not need stays unread."""
    holder = node.take("assignedAuthorType") or node
    person = holder.take_any("assignedPerson", "Person")
    author = Author(device=holder.take_any("assignedDevice", "Device"))
    if author.device is not None:
        return author
    name = person_name(person.take("name"), log) if person else None
    if name is not None:
        author.person = str(name)
        return author
    id = identifier(node.take("id"), log)
    if id is not None:
        author.person = id.value
    elif person is not None:
        author.person = ""
    else:
        organisation = node.take("representedAuthoringOrganization")
        author.organisation = name_of(organisation.take("name")) if organisation else None
    return author


def _vitals(node: Node, header: Header, log: Log) -> None:
    """Observations on the subject: age, height, weight and blood pressure by their LOINC codes."""
    found: dict[str, Quantity] = {}
    for outer in node.takes("controlVariable"):
        inner = outer.take("relatedObservation")
        if inner is None:
            continue
        code = inner.find("code")
        name = VITAL_CODES.get((code.attributes.get("code") or "").strip()) if code else None
        value = inner.find("value")
        if code is None or name is None or name in found or value is None:
            inner.used = outer.used = False
            continue
        code_of(inner.take("code"))
        inner.take("value")
        value.get("{http://www.w3.org/2001/XMLSchema-instance}type")
        amount, unit = physical(value, log)
        if amount is not None:
            found[name] = Quantity(amount.numerator if amount.denominator == 1 else amount, unit or "1")
    if found:
        header.patient = replace(header.patient, **found)  # type: ignore[arg-type]


def _comments(node: Node, header: Header, log: Log) -> list[str | None]:
    """Remarks on the whole ECG; lines of this project are set apart."""
    found: list[str | None] = []
    for outer in node.takes("pertainsTo"):
        inner = outer.take_any("subjectFindingComment", "findingComment")
        if inner is None:
            continue
        code = inner.find("code")
        own = code is not None and code.attributes.get("codeSystemName") == OWN
        text = text_of(inner.take("text")) or text_of(inner.take("value"))
        if own and text is not None:
            code_of(inner.take("code"))
            header.lines.append(text)
        else:
            found.append(text)
    return found
