"""Where each field of the model lives in a DICOM object.

A field without an attribute of its own, and a value that its attribute cannot hold, travel as text lines in the
acquisition context (see :mod:`textlines`); so nothing is left behind but what fits no storage class, and the source
document's own id.
"""

from __future__ import annotations

from typing import Final

from interchange.formats.contract import Account, Place

__all__ = ["ACCOUNT"]

_LINES: Final = "text line in Acquisition Context Sequence (0040,0555)"


def _field(where: str, clause: str) -> Place:
    return Place(where, "field", clause)


def _text(what: str = "") -> Place:
    return Place(f"{what}; {_LINES}" if what else _LINES, "text", "PS3.3 C.7.6.14")


def _person(keyword: str, tag: str, clause: str) -> dict[str, Place]:
    """A name has its attribute; ids and organisation of the person have none."""
    return {"name": _field(f"{keyword} ({tag})", clause), "ids": _text(), "organisation": _text()}


def _below(prefix: str, places: dict[str, Place]) -> dict[str, Place]:
    return {f"{prefix}.{name}": place for name, place in places.items()}


ACCOUNT: Final[Account] = {
    # Tracings
    "tracings.channels.name": _field("ChannelSourceSequence (003A,0208), ChannelLabel (003A,0203)", "PS3.3 C.10.9"),
    "tracings.channels.unit": _field("ChannelSensitivityUnitsSequence (003A,0211)", "PS3.3 C.10.9"),
    "tracings.channels.step": _field(
        "ChannelSensitivity (003A,0210) x ChannelSensitivityCorrectionFactor (003A,0212)", "PS3.3 C.10.9"
    ),
    "tracings.channels.offset": _field("ChannelBaseline (003A,0213)", "PS3.3 C.10.9"),
    "tracings.channels.label": _field("ChannelLabel (003A,0203)", "PS3.3 C.10.9"),
    "tracings.channels.filters": _field("FilterLowFrequency (003A,0220) and the next", "PS3.3 C.10.9"),
    "tracings.channels.filters.descriptions": _text(),
    "tracings.channels.skew": _field("ChannelSampleSkew (003A,0215) or ChannelTimeSkew (003A,0214)", "PS3.3 C.10.9"),
    "tracings.channels.origin": _field(
        "ChannelDerivationDescription (003A,020C), WaveformOriginality (003A,0004)", "PS3.3 C.10.9"
    ),
    "tracings.channels.derived_from": _field("ChannelDerivationDescription (003A,020C)", "PS3.3 C.10.9"),
    "tracings.channels.bits": _field("WaveformBitsStored (003A,021A)", "PS3.3 C.10.9"),
    "tracings.channels.extras": _text("attributes of the channel where they came from one"),
    "tracings": Place(
        "WaveformSequence (5400,0100), in the storage class whose limits hold it", "partly", "PS3.3 A.34, C.10.9"
    ),
    "tracings.samples": _field("WaveformData (5400,1010)", "PS3.3 C.10.9.1"),
    "tracings.rate": _field("SamplingFrequency (003A,001A)", "PS3.3 C.10.9"),
    "tracings.missing": _field("WaveformPaddingValue (5400,100A)", "PS3.3 C.10.9.1.8"),
    "tracings.start": _field("MultiplexGroupTimeOffset (0018,1068)", "PS3.3 C.10.9"),
    "tracings.kind": _field("WaveformOriginality (003A,0004), MultiplexGroupLabel (003A,0020)", "PS3.3 C.10.9"),
    "tracings.label": _field("MultiplexGroupLabel (003A,0020)", "PS3.3 C.10.9"),
    "tracings.of": _text("the only rhythm where there is one"),
    "tracings.fiducial": _field("TriggerSamplePosition (0018,106E)", "PS3.3 C.10.9"),
    "tracings.beat": _text(),
    "tracings.extras": _text("attributes of the group where they came from one"),
    # Patient
    "patient.ids": _field("PatientID (0010,0020), OtherPatientIDsSequence (0010,1002)", "PS3.3 C.7.1.1"),
    "patient.ids.value": _field("PatientID (0010,0020), OtherPatientIDsSequence (0010,1002)", "PS3.3 C.7.1.1"),
    "patient.ids.issuer": _field(
        "IssuerOfPatientID (0010,0021), IssuerOfPatientIDQualifiersSequence (0010,0024)", "PS3.3 C.7.1.1, 10.15"
    ),
    "patient.ids.kind": _text(),
    "patient.name": _field("PatientName (0010,0010)", "PS3.3 C.7.1.1, PS3.5 6.2.1"),
    "patient.name.second_family": _text("behind the family name in PatientName (0010,0010)"),
    "patient.name.script": _field("component group of PatientName (0010,0010)", "PS3.5 6.2.1"),
    "patient.other_names": _field(
        "ideographic and phonetic group of PatientName (0010,0010), OtherPatientNames (0010,1001)", "PS3.3 C.7.1.1"
    ),
    "patient.birth_date": _field("PatientBirthDate (0010,0030) where the day is known", "PS3.3 C.7.1.1"),
    "patient.age": _field("PatientAge (0010,1010)", "PS3.3 C.7.2.2"),
    "patient.sex": _field("PatientSex (0010,0040)", "PS3.3 C.7.1.1"),
    "patient.height": _field("PatientSize (0010,1020) in m", "PS3.3 C.7.2.2"),
    "patient.weight": _field("PatientWeight (0010,1030) in kg", "PS3.3 C.7.2.2"),
    "patient.race": _field("EthnicGroupCodeSequence (0010,2161), EthnicGroup (0010,2160)", "PS3.3 C.7.1.1"),
    "patient.systolic": _field("(271649006, SCT) in Acquisition Context Sequence (0040,0555)", "PS3.16 TID 3704"),
    "patient.diastolic": _field("(271650006, SCT) in Acquisition Context Sequence (0040,0555)", "PS3.16 TID 3704"),
    "patient.drugs": _field("lines 'Medication:' of AdditionalPatientHistory (0010,21B0)", "PS3.3 C.7.2.2"),
    "patient.history": _field("AdditionalPatientHistory (0010,21B0)", "PS3.3 C.7.2.2"),
    "patient.comments": _field("PatientComments (0010,4000)", "PS3.3 C.7.1.1"),
    "patient.absent": _text(),
    "patient.extras": _text(),
    # Acquisition
    "acquisition.time": _field(
        "AcquisitionDateTime (0008,002A), TimezoneOffsetFromUTC (0008,0201)", "PS3.3 C.10.8, C.12.1"
    ),
    "acquisition.devices": _field(
        "Manufacturer (0008,0070) and the next; ContributingEquipmentSequence (0018,A001)", "PS3.3 C.7.5.1, C.12.1.1.5"
    ),
    "acquisition.devices.role": _field("place of the device: own or contributing equipment", "PS3.16 CID 7005"),
    "acquisition.devices.manufacturer": _field("Manufacturer (0008,0070)", "PS3.3 C.7.5.1"),
    "acquisition.devices.model": _field("ManufacturerModelName (0008,1090)", "PS3.3 C.7.5.1"),
    "acquisition.devices.serial": _field("DeviceSerialNumber (0018,1000)", "PS3.3 C.7.5.1"),
    "acquisition.devices.software": _field("SoftwareVersions (0018,1020)", "PS3.3 C.7.5.1"),
    "acquisition.devices.name": _field("StationName (0008,1010)", "PS3.3 C.7.5.1"),
    "acquisition.devices.ids": _text(),
    "acquisition.devices.site": _text("institution and department of contributing equipment"),
    "acquisition.devices.extras": _text(),
    "acquisition.site.institution": _field("InstitutionName (0008,0080)", "PS3.3 C.7.5.1"),
    "acquisition.site.department": _field("InstitutionalDepartmentName (0008,1040)", "PS3.3 C.7.5.1"),
    "acquisition.site.room": _text(),
    "acquisition.site.address": _field("InstitutionAddress (0008,0081)", "PS3.3 C.7.5.1"),
    "acquisition.site.ids": _text(),
    **_below("acquisition.operator", _person("OperatorsName", "0008,1070", "PS3.3 C.7.3.1")),
    **_below("acquisition.referring", _person("ReferringPhysicianName", "0008,0090", "PS3.3 C.7.2.1")),
    **_below("acquisition.confirming", _person("NameOfPhysiciansReadingStudy", "0008,1060", "PS3.3 C.7.2.1")),
    "acquisition.filters": _field("filter attributes of each channel", "PS3.3 C.10.9"),
    "acquisition.filters.descriptions": _text(),
    "acquisition.electrode_placement": _field(
        "(10:11345, MDC, Lead System) in Acquisition Context Sequence (0040,0555)", "PS3.16 TID 3401, CID 3263"
    ),
    "acquisition.mains": _field("PowerlineFrequency (003A,0311)", "PS3.3 C.10.9"),
    "acquisition.reasons": _field("ReasonForVisit (0032,1066)", "PS3.3 C.7.2.1"),
    "acquisition.remarks": _field("AcquisitionContextDescription (0040,0556)", "PS3.3 C.7.6.14"),
    "acquisition.urgency": _text(),
    "acquisition.sequence_number": _text(),
    "acquisition.study.accession": _field(
        "AccessionNumber (0008,0050), IssuerOfAccessionNumberSequence (0008,0051)", "PS3.3 C.7.2.1, 10.14"
    ),
    "acquisition.study.id": _field("StudyID (0020,0010)", "PS3.3 C.7.2.1"),
    "acquisition.study.uid": _field("StudyInstanceUID (0020,000D)", "PS3.3 C.7.2.1"),
    "acquisition.study.series_uid": _field("SeriesInstanceUID (0020,000E)", "PS3.3 C.7.3.1"),
    "acquisition.study.description": _field("StudyDescription (0008,1030)", "PS3.3 C.7.2.1"),
    "acquisition.absent": _text(),
    "acquisition.extras": _text(),
    # Measurements, marks, statements
    "measurements": _field("name and value in WaveformAnnotationSequence (0040,B020)", "PS3.3 C.10.10"),
    "measurements.concept": _field("ConceptNameCodeSequence (0040,A043)", "PS3.16 CIDs 3227-3229, 3687-3689"),
    "measurements.value": _field("NumericValue (0040,A30A)", "PS3.3 C.10.10"),
    "measurements.unit": _field("MeasurementUnitsCodeSequence (0040,08EA)", "PS3.3 C.10.10"),
    "measurements.lead": _field("ReferencedWaveformChannels (0040,A0B0)", "PS3.3 C.10.10.1.1"),
    "measurements.absent": _text("a name without a value"),
    "measurements.beat": _field("multiplex group in ReferencedWaveformChannels (0040,A0B0)", "PS3.3 C.10.10.1.1"),
    "measurements.text": _field("meaning in ConceptCodeSequence (0040,A168)", "PS3.3 C.10.10"),
    "measurements.source_code": _field("ConceptNameCodeSequence (0040,A043) of an unknown concept", "PS3.3 8.8"),
    "measurements.extras": _text(),
    "marks": _field("items with a temporal range in WaveformAnnotationSequence (0040,B020)", "PS3.3 C.10.10"),
    "marks.concept": _field("ConceptNameCodeSequence (0040,A043)", "PS3.16 CID 3335"),
    "marks.tracing": _field("ReferencedWaveformChannels (0040,A0B0)", "PS3.3 C.10.10.1.1"),
    "marks.start": _field(
        "ReferencedSamplePositions (0040,A132), ReferencedTimeOffsets (0040,A138) between samples", "PS3.3 C.10.10.1.3"
    ),
    "marks.end": _field("second position of SEGMENT, or BEGIN", "PS3.3 C.10.10.1.2"),
    "marks.lead": _field("ReferencedWaveformChannels (0040,A0B0)", "PS3.3 C.10.10.1.1"),
    "marks.text": _field("UnformattedTextValue (0070,0006) of a note, meaning in ConceptCodeSequence of others",
                         "PS3.3 C.10.10"),
    "marks.group": _text("AnnotationGroupNumber (0040,A180) where it is a number"),
    "marks.measurements": _field("items at the same place behind the mark, or the item of a mark that only holds one",
                                 "PS3.3 C.10.10"),
    "marks.source_code": _field("ConceptNameCodeSequence (0040,A043) of an unknown concept", "PS3.3 8.8"),
    "marks.extras": _text(),
    "statements.text": _field("UnformattedTextValue (0070,0006)", "PS3.3 C.10.10"),
    "statements.kind": _text("ECG overall finding has its own code"),
    "statements.group": _field("AnnotationGroupNumber (0040,A180)", "PS3.3 C.10.10"),
    "statements.codes": _field("ConceptCodeSequence (0040,A168) of a coded finding behind the text", "PS3.16 TID 3717"),
    "statements.author": _text(),
    "statements.author_kind": _text(),
    "statements.time": _text(),
    "statements.confirmed": _field("annotation in fixed words behind the statements", "PS3.3 C.10.10"),
    "statements.overread": _field("annotation in fixed words behind the statements", "PS3.3 C.10.10"),
    "statements.confirmed_by": _field("annotation in fixed words behind the statements", "PS3.3 C.10.10"),
    "statements.confirmed_time": _field("annotation in fixed words behind the statements", "PS3.3 C.10.10"),
    "statements.extras": _text(),
    # Trial and document
    "trial.id": _text(),
    "trial.title": _text(),
    "trial.protocol": _field("ClinicalTrialProtocolID (0012,0020)", "PS3.3 C.7.1.3"),
    "trial.protocol.issuer": _text(),
    "trial.protocol.kind": _text(),
    "trial.protocol_title": _field("ClinicalTrialProtocolName (0012,0021)", "PS3.3 C.7.1.3"),
    "trial.sponsor": _field("ClinicalTrialSponsorName (0012,0010)", "PS3.3 C.7.1.3"),
    "trial.investigator": _text(),
    "trial.site": _text("ClinicalTrialSiteID (0012,0030), ClinicalTrialSiteName (0012,0031)"),
    "trial.subject": _field("ClinicalTrialSubjectID (0012,0040)", "PS3.3 C.7.1.3"),
    "trial.subject.issuer": _text(),
    "trial.subject.kind": _text(),
    "trial.subject_role": _text(),
    "trial.treatment_group": _text(),
    "trial.timepoint": _field(
        "ClinicalTrialTimePointID (0012,0050), ClinicalTrialTimePointDescription (0012,0051)", "PS3.3 C.7.2.3"
    ),
    "trial.timepoint_time": _text(),
    "trial.relative_timepoint": _text(),
    "trial.absent": _text(),
    "trial.extras": _text(),
    "document_id": Place("a new object gets a new SOP Instance UID", "left", "PS3.3 C.12.1"),
    "deidentification": _field(
        "DeidentificationMethodCodeSequence (0012,0064), PatientIdentityRemoved (0012,0062)", "PS3.3 C.7.1.1"
    ),
    "extras": _text("attributes of the object where they came from one"),
}  # fmt: skip
