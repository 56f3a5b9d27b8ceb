"""Who and when and with what: section 1 to the model (EN 1064 clause 5.4.5)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Final, Literal

from interchange.formats.scp.maps import (
    AGE_UNITS,
    DRUG_CLASSES,
    EXTRA_DEVICE,
    HEIGHT_UNITS,
    HISTORY,
    MAINS,
    RACES,
    SCHEME_DRUG,
    SCHEME_HISTORY,
    SCHEME_RACE,
    SEXES,
    WEIGHT_UNITS,
)
from interchange.formats.scp.syntax import device as device_syntax
from interchange.formats.scp.syntax.header import Header
from interchange.formats.scp.syntax.values import Clock, Date, Drug, Electrodes, History, Number, Text, Zone
from interchange.formats.scp.syntax.values import Quantity as StoredQuantity
from interchange.model import (
    AbsentFields,
    Acquisition,
    Code,
    Device,
    Extras,
    Filters,
    Identifier,
    Moment,
    Patient,
    Person,
    PersonName,
    Quantity,
    Site,
)

__all__ = ["date_moment", "read_acquisition", "read_patient", "time_moment", "zone_of"]

_UNSPECIFIED: Final = 9
"""Code of a sex that is not specified, which says more than that it is not known (0) or no field at all."""


def read_patient(header: Header) -> Patient:
    """The patient, as far as the tags say it."""
    number = header.text(2)
    sex = header.first(8, Number)
    absent: AbsentFields = (("sex", "unknown"),) if sex is not None and sex.value == 0 else ()
    race = header.first(9, Number)
    return Patient(
        ids=(Identifier(number),) if number else (),
        name=_name(header),
        birth_date=_birth_date(header.first(5, Date)),
        age=_quantity(header, 4, AGE_UNITS),
        sex=SEXES.get(sex.value) if sex is not None else None,
        height=_quantity(header, 6, HEIGHT_UNITS),
        weight=_quantity(header, 7, WEIGHT_UNITS),
        race=Code(str(race.value), SCHEME_RACE, RACES.get(race.value)) if race is not None and race.value else None,
        systolic=_pressure(header, 11),
        diastolic=_pressure(header, 12),
        drugs=tuple(code for drug in header.every(10, Drug) if (code := _drug(drug)) is not None),
        history=_history(header),
        absent=absent,
        extras=(("scp.sex", "9"),) if sex is not None and sex.value == _UNSPECIFIED else (),
    )


def _name(header: Header) -> PersonName | None:
    family, given, second = header.text(0), header.text(1), header.text(3)
    if family is None and given is None and second is None:
        return None
    return PersonName(family=family, given=given, second_family=second)


def _birth_date(date: Date | None) -> Moment | None:
    moment = date_moment(date)
    if moment is None and date is not None and 1 <= date.year <= 9999 and date.month == date.day == 0:
        return Moment(date.year)
    return moment


def date_moment(date: Date | None) -> Moment | None:
    """A date of the record as a moment, None where it is not given or cannot exist."""
    if date is None or not date.is_possible:
        return None
    return Moment(date.year, date.month, date.day)


def _quantity(header: Header, tag: int, units: Mapping[int, str]) -> Quantity | None:
    """A value with its unit; a value without a unit says nothing (0 without a unit is the empty field)."""
    found = header.first(tag, StoredQuantity)
    return Quantity(found.value, units[found.unit]) if found is not None and found.unit in units else None


def _pressure(header: Header, tag: int) -> Quantity | None:
    found = header.first(tag, Number)
    return Quantity(found.value, "mm[Hg]") if found is not None and found.value else None


def _drug(drug: Drug) -> Code | None:
    if (drug.table, drug.drug) == (0, 0) and drug.group in (0, 100):
        return Code(meaning=drug.text) if drug.text else None
    meaning = drug.text or (DRUG_CLASSES.get(drug.group) if drug.table == 0 else None)
    return Code(f"{drug.table}.{drug.group}.{drug.drug}", SCHEME_DRUG, meaning)


def _history(header: Header) -> tuple[Code, ...]:
    coded = [
        Code(f"{entry.table}.{code}", SCHEME_HISTORY, HISTORY.get(code) if entry.table == 0 else None)
        for entry in header.every(32, History)
        for code in entry.codes
    ]
    return (*coded, *(Code(meaning=text.text) for text in header.every(35, Text) if text.text))


def zone_of(header: Header) -> int | None:
    """Minutes east of UTC of all times of the record, None where they are not said."""
    zone = header.first(34, Zone)
    return zone.minutes if zone is not None else None


def read_acquisition(header: Header, remarks: tuple[str, ...]) -> Acquisition:
    """Everything about the taking of the tracing; ``remarks``: the free texts that are no lines."""
    urgency = header.first(24, Number)
    zone = header.first(34, Zone)
    placed = header.first(33, Electrodes)
    extras: Extras = tuple(
        (key, value)
        for key, value in (
            ("scp.zone-index", str(zone.index) if zone is not None else ""),
            ("scp.zone", zone.text if zone is not None else ""),
            ("scp.electrodes-xyz", str(placed.xyz) if placed is not None and placed.twelve else ""),
        )
        if value not in ("", "0")
    )
    return Acquisition(
        time=_time(header),
        devices=_devices(header),
        site=_site(header.text(16), header.text(18), header.text(23)),
        operator=_person(header.text(22)),
        referring=_person(header.text(20)),
        confirming=_person(header.text(21)),
        filters=_filters(header),
        electrode_placement=_placement(placed),
        mains=_mains(header),
        reasons=tuple(text.text for text in header.every(13, Text) if text.text),
        urgency=urgency.value if urgency is not None else None,
        sequence_number=header.text(31),
        remarks=remarks,
        extras=extras,
    )


def _time(header: Header) -> Moment | None:
    """Date and time of acquisition."""
    return time_moment(header.first(25, Date), header.first(26, Clock), zone_of(header))


def time_moment(date: Date | None, clock: Clock | None, zone: int | None) -> Moment | None:
    """Date and time of day; 0-0-0 with 0:00:00 is nothing, a time of day without a date stands alone."""
    day = date_moment(date)
    if clock is None or not clock.is_possible or (day is None and clock == Clock(0, 0, 0)):
        return day
    second = Fraction(clock.second)
    return replace(day or Moment(), hour=clock.hour, minute=clock.minute, second=second, zone=zone)


def _site(institution: str | None, department: str | None, room: str | None) -> Site | None:
    if institution is None and department is None and room is None:
        return None
    return Site(institution, department, room)


def _person(text: str | None) -> Person | None:
    return Person(PersonName(text=text)) if text else None


def _devices(header: Header) -> tuple[Device, ...]:
    acquiring = header.first(14, device_syntax.Device)
    analysing = header.first(15, device_syntax.Device)
    site = _site(header.text(17), header.text(19), None)
    found = (_device(acquiring, "acquiring", None), _device(analysing, "analysing", site, _own_mains(header)))
    return tuple(device for device in found if device is not None)


def _device(
    stored: device_syntax.Device | None, role: Literal["acquiring", "analysing"], site: Site | None, more: Extras = ()
) -> Device | None:
    if stored is None:
        return Device(role=role, site=site) if site is not None else None
    program, serial, system, scp, maker = (*stored.strings, *[""] * 5)[:5]
    extras = tuple(
        (key, str(value))
        for key, name in EXTRA_DEVICE.items()
        if (value := getattr(stored, name)) and not (name == "manufacturer" and value == 255)
    )
    device = Device(
        role=role,
        manufacturer=maker or None,
        model=stored.model or None,
        serial=serial or None,
        software=tuple(text for text in (program, system, scp) if text),
        site=site,
        extras=(*extras, *more),
    )
    return device if device != Device(role=role) else None


def _own_mains(header: Header) -> Extras:
    """The mains frequency that only the analysing device's field gives, by its code."""
    acquiring, analysing = (header.first(tag, device_syntax.Device) for tag in (14, 15))
    said = acquiring.mains if acquiring is not None else 0
    if analysing is None or analysing.mains not in MAINS or analysing.mains == said:
        return ()
    return (("scp.mains-code", str(analysing.mains)),)


def _mains(header: Header) -> Fraction | None:
    stored = header.first(14, device_syntax.Device)
    return MAINS.get(stored.mains) if stored is not None else None


def _filters(header: Header) -> Filters | None:
    high, low, bits = (header.first(tag, Number) for tag in (27, 28, 29))
    if high is None and low is None and bits is None:
        return None
    notches: list[Fraction] = []
    descriptions: list[str] = []
    if bits is not None:
        notches = [Fraction(hertz) for bit, hertz in ((2, 50), (1, 60)) if bits.value & bit]
        descriptions = [name for bit, name in ((4, "artefact filter"), (8, "baseline filter")) if bits.value & bit]
    return Filters(
        highpass=Fraction(high.value, 100) if high is not None else None,
        lowpass=Fraction(low.value) if low is not None else None,
        notches=tuple(notches),
        notch_off=bits is not None and not notches,
        descriptions=tuple(descriptions),
    )


def _placement(stored: Electrodes | None) -> str | None:
    """Id of the placement; where both bytes say something the twelve leads win."""
    for value, byte in ((stored.twelve, 1), (stored.xyz, 2)) if stored is not None else ():
        if value:
            from interchange.vocabulary import lead_sets_by_scp

            sets = lead_sets_by_scp(value, byte)
            return sets[0].id if sets else f"SCP-ECG electrode configuration {value}, byte {byte}"
    return None
