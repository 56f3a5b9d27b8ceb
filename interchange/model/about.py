"""Who was recorded, when, where, by whom and with what."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from interchange.model.basic import AbsentFields, Code, Extras, Identifier, Moment, Person, PersonName, Quantity
from interchange.records import dataclass

__all__ = ["Acquisition", "Device", "Filters", "Patient", "Sex", "Site", "Study", "Trial"]

Sex = Literal["male", "female", "other"]


@dataclass(frozen=True, slots=True)
class Patient:
    """Who was recorded.  Everything may be missing: an unidentified patient is a normal case.

    ``ids``: the first is the primary one.  ``birth_date``: a Moment with a date (perhaps the year only).  ``age``: in
    the source's own unit.  ``height`` in cm or the source's unit, ``weight`` likewise, pressures in mm[Hg].
    ``absent`` names fields that the source speaks of without a value, e.g. ``("name", "unknown")``.
    """

    ids: tuple[Identifier, ...] = ()
    name: PersonName | None = None
    other_names: tuple[PersonName, ...] = ()
    birth_date: Moment | None = None
    age: Quantity | None = None
    sex: Sex | None = None
    height: Quantity | None = None
    weight: Quantity | None = None
    race: Code | None = None
    systolic: Quantity | None = None
    diastolic: Quantity | None = None
    drugs: tuple[Code, ...] = ()
    history: tuple[Code, ...] = ()
    comments: tuple[str, ...] = ()
    absent: AbsentFields = ()
    extras: Extras = ()


@dataclass(frozen=True, slots=True)
class Site:
    """A place of care: institution, department, room or vehicle, address, ids."""

    institution: str | None = None
    department: str | None = None
    room: str | None = None
    address: str | None = None
    ids: tuple[Identifier, ...] = ()


@dataclass(frozen=True, slots=True)
class Device:
    """A machine that took (``acquiring``) or interpreted (``analysing``) the recording.

    ``software`` lists programs and versions as the source writes them.  ``site`` is where the machine stands when
    that is not the acquisition's own site.
    """

    role: Literal["acquiring", "analysing"] | None = None
    manufacturer: str | None = None
    model: str | None = None
    serial: str | None = None
    software: tuple[str, ...] = ()
    name: str | None = None
    ids: tuple[Identifier, ...] = ()
    site: Site | None = None
    extras: Extras = ()


@dataclass(frozen=True, slots=True)
class Filters:
    """What was filtered, frequencies in hertz at -3 dB.

    ``highpass``: low cut-off (0 = down to DC).  ``lowpass``: high cut-off.  ``notches``: mains filters; an empty tuple
    says nothing, ``notch_off`` says that none was used.  ``descriptions``: filters in the source's words.
    """

    highpass: Fraction | None = None
    lowpass: Fraction | None = None
    notches: tuple[Fraction, ...] = ()
    notch_off: bool = False
    descriptions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Study:
    """The order or study that the recording belongs to, where there is one (DICOM PS3.3 C.7.2.1)."""

    accession: Identifier | None = None
    id: str | None = None
    uid: str | None = None
    series_uid: str | None = None
    description: str | None = None


@dataclass(frozen=True, slots=True)
class Acquisition:
    """When, where, by whom, with what.

    ``time``: of the recording's first sample.  ``electrode_placement``: id of a placement or lead system in the table
    of lead sets ("placement-mason-likar"), else the source's words.  ``urgency``: 0 routine to 10.  ``mains``: mains
    frequency of the environment in hertz.  ``reasons``: why the recording was made, in words.  ``remarks``: free text.
    ``confirming``: the person who last confirmed the whole report, where the format does not say it per statement.
    """

    time: Moment | None = None
    devices: tuple[Device, ...] = ()
    site: Site | None = None
    operator: Person | None = None
    referring: Person | None = None
    confirming: Person | None = None
    filters: Filters | None = None
    electrode_placement: str | None = None
    mains: Fraction | None = None
    reasons: tuple[str, ...] = ()
    remarks: tuple[str, ...] = ()
    urgency: int | None = None
    sequence_number: str | None = None
    study: Study | None = None
    absent: AbsentFields = ()
    extras: Extras = ()


@dataclass(frozen=True, slots=True)
class Trial:
    """The clinical trial that a recording was made for (HL7 aECG header; DICOM PS3.3 C.7.1.3)."""

    id: Identifier | None = None
    title: str | None = None
    protocol: Identifier | None = None
    protocol_title: str | None = None
    sponsor: str | None = None
    investigator: Person | None = None
    site: Site | None = None
    subject: Identifier | None = None
    subject_role: Code | None = None
    treatment_group: Code | None = None
    timepoint: Code | None = None
    timepoint_time: Moment | None = None
    relative_timepoint: Code | None = None
    absent: AbsentFields = ()
    extras: Extras = ()
