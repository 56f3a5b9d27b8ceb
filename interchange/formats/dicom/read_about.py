"""Patient, study, equipment, acquisition and trial (PS3.3 C.7, C.10.8, C.7.6.14)."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Final

from interchange.formats.dicom.dictionary import TAGS, tag_of
from interchange.formats.dicom.placeholders import NO_DATE, is_placeholder_text
from interchange.formats.dicom.read_common import context_items, names_in, parsed_date
from interchange.formats.dicom.uids import is_derived
from interchange.formats.dicom.values import parse_date, parse_moment, parse_time, parse_zone
from interchange.formats.dicom.view import CodeItem, View
from interchange.model import (
    Acquisition,
    Code,
    Device,
    Extras,
    Identifier,
    Moment,
    Person,
    Site,
    Study,
    Trial,
)
from interchange.vocabulary import lead_sets_by_code

__all__ = [
    "ACQUIRING",
    "DATES",
    "LEAD_SYSTEM",
    "PROCESSING",
    "SELF",
    "TOP_EXTRAS",
    "read_acquisition",
    "read_deidentification",
    "read_extras",
    "read_time",
    "read_trial",
]

LEAD_SYSTEM: Final = CodeItem("10:11345", "MDC", "Lead System")
"""Name of the context item for electrode placement (PS3.16 TID 3401), values of CID 3263."""

PROCESSING: Final = CodeItem("109102", "DCM", "Processing Equipment")
ACQUIRING: Final = CodeItem("109101", "DCM", "Acquisition Equipment")
"""Purposes of contributing equipment (PS3.16 CID 7005)."""

SELF: Final = "interchange"
"""Manufacturer under which the converter lists itself as contributing equipment; it is no device of the recording."""

DATES: Final = {"113106": "UNMODIFIED", "113107": "MODIFIED"}
"""What Longitudinal Temporal Information Modified says for the options that keep dates (PS3.15 Annex E.3.6)."""

TOP_EXTRAS: Final = (
    "SeriesNumber",
    "SeriesDescription",
    "SeriesDate",
    "SeriesTime",
    "ProtocolName",
    "InstanceNumber",
    "StudyDate",
    "StudyTime",
    "ContentDate",
    "ContentTime",
    "AdmissionID",
    "ServiceEpisodeID",
    "PerformedProcedureStepID",
    "PerformedProcedureStepDescription",
    "SynchronizationFrameOfReferenceUID",
    "SynchronizationTrigger",
    "AcquisitionTimeSynchronized",
    "TimeDistributionProtocol",
    "TimeSource",
    "NTPSourceAddress",
    "PatientBirthTime",
    "QualityControlImage",
)
"""Attributes without a place in the model that are kept as text beside it and written back."""


def read_time(top: View) -> Moment | None:
    """The instant of the first sample: Acquisition DateTime, else what comes next to it (with a finding)."""
    zone_said = top.text("TimezoneOffsetFromUTC")
    zone = parse_zone(zone_said) if zone_said else None
    if zone_said and zone is None:
        top.context.tolerate("malformed-date", top.at("TimezoneOffsetFromUTC"))
    text = top.text("AcquisitionDateTime")
    if text:
        moment = parse_moment(text)
        if moment is None:
            top.context.tolerate("malformed-date", top.at("AcquisitionDateTime"))
        else:
            return _without_placeholder(_zoned(moment, zone))
    for date, time in (("AcquisitionDate", "AcquisitionTime"), ("ContentDate", "ContentTime")):
        moment = _joined(top, date, time)
        if moment is not None:
            top.context.tolerate("time-missing", top.at("AcquisitionDateTime"))
            return _without_placeholder(_zoned(moment, zone))
    top.context.tolerate("time-missing", top.at("AcquisitionDateTime"))
    return None


def _zoned(moment: Moment, zone: int | None) -> Moment:
    return replace(moment, zone=zone) if moment.zone is None and moment.hour is not None else moment


def _without_placeholder(moment: Moment) -> Moment | None:
    """The moment without a day that only fills a field which must not be empty."""
    if (moment.year, moment.month, moment.day) != (int(NO_DATE[:4]), int(NO_DATE[4:6]), int(NO_DATE[6:])):
        return moment
    if moment.hour is None:
        return None
    return replace(moment, year=None, month=None, day=None)


def _joined(top: View, date_keyword: str, time_keyword: str) -> Moment | None:
    date = parsed_date(top, date_keyword)
    text = top.text(time_keyword)
    time = parse_time(text) if text else None
    if text and time is None:
        top.context.tolerate("malformed-date", top.at(time_keyword))
    if date is None:
        return None
    return date if time is None else replace(date, hour=time.hour, minute=time.minute, second=time.second)


def _given(text: str | None) -> str | None:
    return None if is_placeholder_text(text) else text


def _device(view: View, role: str | None) -> Device:
    return Device(
        role="analysing" if role == "analysing" else "acquiring" if role == "acquiring" else None,
        manufacturer=_given(view.text("Manufacturer")),
        model=_given(view.text("ManufacturerModelName")),
        serial=_given(view.text("DeviceSerialNumber")),
        software=tuple(text for text in view.texts("SoftwareVersions") if text and _given(text)),
        name=view.text("StationName"),
    )


def _devices(top: View) -> tuple[Device, ...]:
    found = []
    own = _device(top, "acquiring")
    if own != Device(role="acquiring"):
        found.append(own)
    for item in top.items("ContributingEquipmentSequence"):
        purpose = item.code("PurposeOfReferenceCodeSequence")
        if item.text("Manufacturer") == SELF:
            item.texts("SoftwareVersions")
            item.text("ContributionDescription")
        elif purpose is not None and purpose.scheme == "DCM" and purpose.value in (PROCESSING.value, ACQUIRING.value):
            device = _device(item, "analysing" if purpose.value == PROCESSING.value else "acquiring")
            site = Site(item.text("InstitutionName"), item.text("InstitutionalDepartmentName"))
            found.append(replace(device, site=None if site == Site() else site))
        else:
            item.dataset.taken.clear()
    return tuple(found)


def _person(view: View, keyword: str) -> Person | None:
    names = names_in(view, keyword)
    if len(names) > 1:
        view.context.tolerate("too-many-values", view.at(keyword), f"{len(names)} persons")
        view.dataset.taken.discard(tag_of(keyword))
    return Person(names[0][0]) if names else None


def _placement(top: View) -> str | None:
    for item, name in context_items(top):
        if (name.value, name.scheme) != (LEAD_SYSTEM.value, LEAD_SYSTEM.scheme) and (name.value, name.scheme) != (
            "5.4.5-33-1",
            "SCPECG",
        ):
            continue
        item.text("ValueType")
        code = item.code("ConceptCodeSequence")
        if code is None:
            return item.whole_text("TextValue")
        if code.scheme == "SCPECG" and code.value == "5.4.5-33-1-1":
            code = CodeItem("10:11265", "MDC", code.meaning)
        sets = lead_sets_by_code(code.value) if code.scheme == "MDC" else ()
        return sets[0].id if len(sets) >= 1 else code.meaning or code.value
    return None


def _study(top: View) -> Study | None:
    accession = top.text("AccessionNumber")
    issuer_item = top.item("IssuerOfAccessionNumberSequence")
    issuer = None
    if issuer_item is not None:
        issuer = issuer_item.whole_text("LocalNamespaceEntityID") or issuer_item.whole_text("UniversalEntityID")
        issuer_item.text("UniversalEntityIDType")
    study = Study(
        accession=Identifier(accession, issuer) if accession else None,
        id=top.text("StudyID"),
        uid=_own_uid(top.text("StudyInstanceUID")),
        series_uid=_own_uid(top.text("SeriesInstanceUID")),
        description=top.text("StudyDescription"),
    )
    return None if study == Study() else study


def _own_uid(uid: str | None) -> str | None:
    """The identifier unless this program derived it because the format demands one."""
    return None if uid is None or is_derived(uid) else uid


def read_acquisition(top: View, time: Moment | None, mains: Fraction | None) -> Acquisition:
    """When, where, by whom, with what; filters are the channels' and are lifted by the caller."""
    site = Site(
        top.text("InstitutionName"), top.text("InstitutionalDepartmentName"), None, top.whole_text("InstitutionAddress")
    )
    remark = top.whole_text("AcquisitionContextDescription")
    reasons = [
        text
        for text in (
            top.whole_text("ReasonForVisit"),
            top.text("ReasonForStudy"),
            top.text("ReasonForTheRequestedProcedure"),
        )
        if text
    ]
    return Acquisition(
        time=time,
        devices=_devices(top),
        site=None if site == Site() else site,
        operator=_person(top, "OperatorsName"),
        referring=_person(top, "ReferringPhysicianName"),
        confirming=_person(top, "NameOfPhysiciansReadingStudy"),
        electrode_placement=_placement(top),
        mains=mains,
        reasons=tuple(reasons),
        remarks=(remark,) if remark else (),
        study=_study(top),
    )


def read_trial(top: View) -> Trial | None:
    """The clinical trial (PS3.3 C.7.1.3, C.7.2.3), None where the object belongs to none."""
    protocol = _given(top.text("ClinicalTrialProtocolID"))
    subject = top.text("ClinicalTrialSubjectID")
    site = Site(top.text("ClinicalTrialSiteName"), ids=_one_id(top.text("ClinicalTrialSiteID")))
    timepoint = top.text("ClinicalTrialTimePointID")
    described = top.whole_text("ClinicalTrialTimePointDescription")
    trial = Trial(
        protocol=Identifier(protocol) if protocol else None,
        protocol_title=top.text("ClinicalTrialProtocolName"),
        sponsor=_given(top.text("ClinicalTrialSponsorName")),
        site=None if site == Site() else site,
        subject=Identifier(subject) if subject and _given(subject) else None,
        timepoint=Code(timepoint, None, described) if timepoint or described else None,
    )
    return None if trial == Trial() else trial


def _one_id(value: str | None) -> tuple[Identifier, ...]:
    return (Identifier(value),) if value else ()


def read_extras(top: View, time: Moment | None) -> Extras:
    """Attributes that the model has no place for, as text; what only repeats the acquisition time says nothing new."""
    found = []
    for keyword in TOP_EXTRAS:
        if TAGS[keyword] not in top.dataset:
            continue
        text = "\\".join(top.texts(keyword))
        if text and not _says_nothing(keyword, text, time):
            found.append((f"dicom.{keyword}", text))
    return tuple(found)


def _says_nothing(keyword: str, text: str, time: Moment | None) -> bool:
    if keyword in ("SeriesNumber", "InstanceNumber"):
        return text == "1"
    if keyword.endswith("Date"):
        date = parse_date(text)
        return text == NO_DATE or (date is not None and time is not None and date == time.date)
    if keyword.endswith("Time"):
        clock = parse_time(text)
        if clock is None:
            return False
        if time is None or time.hour is None:
            return (clock.hour, clock.minute or 0, clock.second or 0) == (0, 0, 0)
        return (clock.hour, clock.minute, clock.second) == (time.hour, time.minute, _cut(time.second))
    return False


def _cut(second: Fraction | None) -> Fraction | None:
    return None if second is None else Fraction(second.numerator * 10**6 // second.denominator, 10**6)


def read_deidentification(top: View) -> tuple[Code, ...]:
    """By what methods identity was removed (PS3.3 C.7.1.1), empty where it was not."""
    if top.text("PatientIdentityRemoved") != "YES":
        return ()
    top.text("LongitudinalTemporalInformationModified")
    codes = [item.as_code() for item in top.items("DeidentificationMethodCodeSequence")]
    found = [Code(code.value or None, code.scheme or None, code.meaning or None) for code in codes]
    found.extend(Code(meaning=text) for text in top.texts("DeidentificationMethod") if text)
    return tuple(found) or (Code(meaning="not said"),)
