"""Patient, study, equipment, acquisition and trial to attributes (PS3.3 C.7, C.10.8, C.7.6.14)."""

from __future__ import annotations

from interchange._version import __version__
from interchange.formats.contract import Note
from interchange.formats.dicom.encoder import Item, coded
from interchange.formats.dicom.placeholders import NO_DATE, NO_TEXT, NO_TIME
from interchange.formats.dicom.read_about import (
    ACQUIRING,
    DATES,
    LEAD_SYSTEM,
    PROCESSING,
    SELF,
)
from interchange.formats.dicom.read_patient import DIASTOLIC, MEDICATION, SYSTOLIC
from interchange.formats.dicom.uids import derived_uid, is_uid
from interchange.formats.dicom.values import (
    age_text,
    clean,
    date_text,
    moment_text,
    person_text,
    time_text,
    zone_text,
)
from interchange.formats.dicom.view import CodeItem
from interchange.model import Acquisition, Code, Device, Identifier, Patient, Person, Quantity, Recording, Study, Trial
from interchange.vocabulary import lead_set

__all__ = ["context_items", "put_about", "put_study"]

_SEXES = {"male": "M", "female": "F", "other": "O"}


def put_about(item: Item, recording: Recording, needs_equipment: bool, notes: list[Note]) -> None:
    """Everything but the waveform, the annotations and the unique identifiers."""
    _put_patient(item, recording.patient)
    acquisition = recording.acquisition
    _put_time(item, acquisition, notes)
    _put_devices(item, acquisition.devices, needs_equipment, notes)
    site = acquisition.site
    if site is not None:
        for keyword, text in (
            ("InstitutionName", site.institution),
            ("InstitutionalDepartmentName", site.department),
            ("InstitutionAddress", site.address),
        ):
            if text:
                item.text(keyword, text)
    _put_person(item, "OperatorsName", acquisition.operator)
    item.text("ReferringPhysicianName")
    _put_person(item, "ReferringPhysicianName", acquisition.referring)
    _put_person(item, "NameOfPhysiciansReadingStudy", acquisition.confirming)
    if acquisition.reasons:
        item.text("ReasonForVisit", acquisition.reasons[0])
    if acquisition.remarks:
        item.text("AcquisitionContextDescription", acquisition.remarks[0])
    if recording.deidentification:
        _put_deidentification(item, recording.deidentification)
    if recording.trial is not None:
        _put_trial(item, recording.trial, notes)


# Patient -----------------------------------------------------------------------------------------------------------


def _put_patient(item: Item, patient: Patient) -> None:
    scripts = tuple(name for name in patient.other_names if name.script)
    item.text("PatientName", person_text(patient.name, scripts) if patient.name else None)
    others = [person_text(name) for name in patient.other_names if not name.script]
    if others:
        item.text("OtherPatientNames", *others)
    item.text("PatientID", patient.ids[0].value if patient.ids else None)
    if patient.ids:
        _put_issuer(item, patient.ids[0])
    if patient.ids[1:]:
        item.sequence("OtherPatientIDsSequence", [_other_id(identifier) for identifier in patient.ids[1:]])
    item.text("PatientBirthDate", date_text(patient.birth_date) if patient.birth_date else None)
    item.text("PatientSex", _SEXES.get(patient.sex or ""))
    age = age_text(patient.age) if patient.age else None
    if age:
        item.text("PatientAge", age)
    _put_quantity(item, "PatientSize", patient.height, {"cm": (1, 100), "m": (1, 1), "mm": (1, 1000)})
    _put_quantity(item, "PatientWeight", patient.weight, {"kg": (1, 1), "g": (1, 1000)})
    if patient.race is not None:
        if patient.race.value and patient.race.scheme:
            code = coded(patient.race.value, patient.race.scheme, patient.race.meaning or "")
            item.sequence("EthnicGroupCodeSequence", [code])
        elif patient.race.meaning:
            item.text("EthnicGroup", patient.race.meaning)
    if patient.comments:
        item.text("PatientComments", patient.comments[0])
    lines = [code.meaning for code in patient.history[:1] if code.meaning]
    lines += [
        MEDICATION + " ".join(code.meaning.split()) for code in patient.drugs if code.meaning and code.meaning.strip()
    ]
    if lines:
        item.text("AdditionalPatientHistory", "\r\n".join(lines))


def _put_issuer(item: Item, identifier: Identifier) -> None:
    """Who gave the id out: a name, or an object identifier as a universal one (PS3.3 10.15)."""
    if not identifier.issuer:
        return
    if is_uid(identifier.issuer) and "." in identifier.issuer:
        qualifiers = Item()
        qualifiers.text("UniversalEntityID", identifier.issuer)
        qualifiers.text("UniversalEntityIDType", "ISO")
        item.sequence("IssuerOfPatientIDQualifiersSequence", [qualifiers])
    else:
        item.text("IssuerOfPatientID", identifier.issuer)


def _other_id(identifier: Identifier) -> Item:
    item = Item()
    item.text("PatientID", clean(identifier.value, "LO") or NO_TEXT)
    item.text("TypeOfPatientID", "TEXT")
    _put_issuer(item, identifier)
    return item


def _put_quantity(item: Item, keyword: str, quantity: Quantity | None, units: dict[str, tuple[int, int]]) -> None:
    if quantity is not None and quantity.unit in units:
        factor, divisor = units[quantity.unit]
        from fractions import Fraction

        item.decimals(keyword, Fraction(quantity.value) * factor / divisor)


def _put_person(item: Item, keyword: str, person: Person | None) -> None:
    if person is not None and person.name is not None:
        item.text(keyword, person_text(person.name))


def _put_deidentification(item: Item, methods: tuple[Code, ...]) -> None:
    """That identity was removed, and by what methods (PS3.3 C.7.1.1, PS3.15 E.1)."""
    item.text("PatientIdentityRemoved", "YES")
    coded_methods = [
        coded(code.value, code.scheme, code.meaning or "") for code in methods if code.value and code.scheme
    ]
    if coded_methods:
        item.sequence("DeidentificationMethodCodeSequence", coded_methods)
    words = [code.meaning for code in methods if clean(code.meaning or "", "LO") and not (code.value and code.scheme)]
    if words or not coded_methods:
        item.text("DeidentificationMethod", *(words or [NO_TEXT]))
    dates = next((DATES[code.value] for code in methods if code.value in DATES), "REMOVED")
    item.text("LongitudinalTemporalInformationModified", dates)


# Time --------------------------------------------------------------------------------------------------------------


def _put_time(item: Item, acquisition: Acquisition, notes: list[Note]) -> None:
    """Acquisition DateTime, and the dates of study and content that follow from it."""
    time = acquisition.time
    text = moment_text(time) if time else None
    if text is None:
        text = NO_DATE + ((time_text(time) if time else None) or "")
        notes.append(_added("AcquisitionDateTime", "the day of the recording is not known", NO_DATE))
    item.text("AcquisitionDateTime", text)
    date = date_text(time) if time else None
    clock = time_text(time) if time else None
    item.text("StudyDate", date)
    item.text("StudyTime", clock if date else None)
    item.text("ContentDate", date or NO_DATE)
    item.text("ContentTime", clock or NO_TIME)
    if date is None:
        notes.append(_added("ContentDate", "the day of the recording is not known", NO_DATE))
    if clock is None:
        notes.append(_added("ContentTime", "the time of day of the recording is not known", NO_TIME))
    zone = zone_text(time.zone) if time else None
    if zone:
        item.text("TimezoneOffsetFromUTC", zone)


def _added(keyword: str, reason: str, value: str) -> Note:
    return Note("added", keyword, f"DICOM demands a value here; {reason}", value)


# Equipment ---------------------------------------------------------------------------------------------------------


def _put_devices(item: Item, devices: tuple[Device, ...], needs_equipment: bool, notes: list[Note]) -> None:
    first = next((device for device in devices if device.role != "analysing"), None)
    item.text("Manufacturer", first.manufacturer if first else None)
    if first is not None:
        _put_device(item, first)
    if needs_equipment:
        for keyword in ("Manufacturer", "ManufacturerModelName", "DeviceSerialNumber", "SoftwareVersions"):
            if _is_empty(item, keyword):
                item.text(keyword, NO_TEXT)
                notes.append(_added(keyword, "the source does not name it", NO_TEXT))
    contributors = []
    for device in devices:
        if device is first:
            continue
        entry = Item()
        entry.text("Manufacturer", clean(device.manufacturer or "", "LO") or NO_TEXT)
        _put_device(entry, device)
        if device.site is not None:
            for keyword, text in (
                ("InstitutionName", device.site.institution),
                ("InstitutionalDepartmentName", device.site.department),
            ):
                if text:
                    entry.text(keyword, text)
        purpose = PROCESSING if device.role == "analysing" else ACQUIRING
        entry.sequence("PurposeOfReferenceCodeSequence", [coded(*purpose)])
        contributors.append(entry)
    item.sequence("ContributingEquipmentSequence", [*contributors, _converter()])


def _is_empty(item: Item, keyword: str) -> bool:
    from interchange.formats.dicom.dictionary import tag_of

    return not item.get(tag_of(keyword), (b"", b""))[1]


def _put_device(item: Item, device: Device) -> None:
    for keyword, text in (
        ("ManufacturerModelName", device.model),
        ("DeviceSerialNumber", device.serial),
        ("StationName", device.name),
    ):
        if text:
            item.text(keyword, text)
    if device.software:
        item.text("SoftwareVersions", *device.software)


def _converter() -> Item:
    """The converter lists itself (PS3.3 C.12.1.1.5)."""
    item = Item()
    item.text("Manufacturer", SELF)
    item.text("SoftwareVersions", __version__)
    item.sequence("PurposeOfReferenceCodeSequence", [coded("109103", "DCM", "Modifying Equipment")])
    return item


# Study and trial ---------------------------------------------------------------------------------------------------


def put_study(item: Item, recording: Recording, waveform: bytes) -> None:
    """Order and identifiers: given ones are kept, missing ones follow from patient, time and samples.

    ``waveform``: a digest of the samples.
    """
    study = recording.acquisition.study or Study()
    item.text("AccessionNumber", study.accession.value if study.accession else None)
    if study.accession is not None and study.accession.issuer:
        issuer = Item()
        if is_uid(study.accession.issuer) and "." in study.accession.issuer:
            issuer.text("UniversalEntityID", study.accession.issuer)
            issuer.text("UniversalEntityIDType", "ISO")
        else:
            issuer.text("LocalNamespaceEntityID", clean(study.accession.issuer, "UT") or NO_TEXT)
        item.sequence("IssuerOfAccessionNumberSequence", [issuer])
    item.text("StudyID", study.id)
    if study.description:
        item.text("StudyDescription", study.description)
    uid = study.uid if study.uid and is_uid(study.uid) else derived_uid("study", *_study_seed(recording, waveform))
    item.text("StudyInstanceUID", uid)
    series = study.series_uid if study.series_uid and is_uid(study.series_uid) else None
    item.text("SeriesInstanceUID", series or derived_uid("series", uid.encode(), waveform))


def _study_seed(recording: Recording, waveform: bytes) -> tuple[bytes, ...]:
    """What a study is made of: who and when; where one of them is not known, the samples too."""
    identity = recording.patient.ids[0] if recording.patient.ids else None
    time = recording.acquisition.time
    who = f"{identity.value}|{identity.issuer}" if identity else ""
    seed = who.encode("utf-8", "surrogatepass"), str(time).encode()
    return seed if identity and time else (*seed, waveform)


def _put_trial(item: Item, trial: Trial, notes: list[Note]) -> None:
    protocol = trial.protocol.value if trial.protocol else None
    subject = trial.subject.value if trial.subject else None
    if not (protocol or trial.sponsor or subject):
        return
    for keyword, text in (
        ("ClinicalTrialSponsorName", trial.sponsor),
        ("ClinicalTrialProtocolID", protocol),
        ("ClinicalTrialSubjectID", subject),
    ):
        said = clean(text or "", "LO")
        item.text(keyword, said or NO_TEXT)
        if not said:
            notes.append(_added(keyword, "the source does not name it", NO_TEXT))
    item.text("ClinicalTrialProtocolName", trial.protocol_title)
    site = trial.site
    item.text("ClinicalTrialSiteID", site.ids[0].value if site and site.ids else None)
    item.text("ClinicalTrialSiteName", site.institution if site else None)
    if trial.timepoint is not None:
        item.text("ClinicalTrialTimePointID", trial.timepoint.value)
        if trial.timepoint.meaning:
            item.text("ClinicalTrialTimePointDescription", trial.timepoint.meaning)


# Acquisition context -----------------------------------------------------------------------------------------------


def context_items(recording: Recording) -> list[Item]:
    """Electrode placement and blood pressures (PS3.16 TIDs 3401, 3704)."""
    found = []
    placement = recording.acquisition.electrode_placement
    if placement:
        found.append(_placement(placement))
    for name, pressure in ((SYSTOLIC, recording.patient.systolic), (DIASTOLIC, recording.patient.diastolic)):
        if pressure is not None:
            item = Item()
            item.text("ValueType", "NUMERIC")
            item.sequence("ConceptNameCodeSequence", [coded(*name)])
            item.decimals("NumericValue", pressure.value)
            item.sequence("MeasurementUnitsCodeSequence", [coded(pressure.unit, "UCUM", pressure.unit)])
            found.append(item)
    return found


def _placement(placement: str) -> Item:
    item = Item()
    item.sequence("ConceptNameCodeSequence", [coded(*LEAD_SYSTEM)])
    code = _placement_code(placement)
    if code is None:
        item.text("ValueType", "TEXT")
        item.text("TextValue", placement)
    else:
        item.text("ValueType", "CODE")
        item.sequence("ConceptCodeSequence", [coded(*code)])
    return item


def _placement_code(placement: str) -> CodeItem | None:
    try:
        row = lead_set(placement)
    except KeyError:
        return None
    return CodeItem(row.code, "MDC", row.name) if row.code else None
