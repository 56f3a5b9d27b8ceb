"""Who was recorded, when, where, by whom and with what, as lines of text."""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from typing import Any

from interchange.model import (
    Acquisition,
    Code,
    Device,
    Filters,
    Identifier,
    Moment,
    Patient,
    Person,
    PersonName,
    Site,
    Trial,
)
from interchange.show.layout import limited, short
from interchange.show.words import (
    ABSENT,
    NOT_SAID,
    coded,
    identifier,
    joined,
    moment,
    number,
    person,
    quantity,
    why_not,
)

__all__ = ["device_lines", "filter_text", "patient_lines", "recorded_lines", "trial_lines"]


def patient_lines(patient: Patient) -> list[str]:
    """The patient: name, sex, age and birth date always, known or not; the rest as far as it is there."""
    lines = [_name(patient)]
    sex = patient.sex or f"sex {why_not('sex', patient.absent)}"
    age = f"age {quantity(patient.age)}" if patient.age else f"age {why_not('age', patient.absent)}"
    born = str(patient.birth_date) if patient.birth_date else None
    birth = f"born {born}" if born else f"birth date {why_not('birth_date', patient.absent)}"
    lines.append(joined((sex, age, birth)))
    lines += [f"id {identifier(i)}" for i in patient.ids] or [f"id {why_not('ids', patient.absent)}"]
    lines += [f"also known as {name}" for name in patient.other_names]
    lines.append(joined((_sized("height", patient.height), _sized("weight", patient.weight), _pressure(patient))))
    if patient.race:
        lines.append(f"race: {coded(patient.race)}")
    lines += _listed("drugs", [coded(code) for code in patient.drugs])
    lines += _listed("history", [coded(code) for code in patient.history])
    lines += [f"comment: {short(text)}" for text in patient.comments]
    lines += _others(patient, ("name", "ids", "sex", "age", "birth_date"))
    return [line for line in limited(lines, 40) if line]


def _name(patient: Patient) -> str:
    if patient.name is None or not str(patient.name):
        return f"name {why_not('name', patient.absent)}"
    name: PersonName = patient.name
    return f"{name} ({name.script})" if name.script else str(name)


def _sized(what: str, value: Any) -> str | None:
    return f"{what} {quantity(value)}" if value is not None else None


def _pressure(patient: Patient) -> str | None:
    high, low = patient.systolic, patient.diastolic
    if high and low and high.unit == low.unit:
        return f"blood pressure {number(high.value)}/{number(low.value)} {high.unit}"
    return joined((_sized("systolic pressure", high), _sized("diastolic pressure", low))) or None


def _listed(title: str, texts: list[str]) -> list[str]:
    return [f"{title}: {short('; '.join(limited(texts)))}"] if texts else []


def _others(owner: Any, told: tuple[str, ...] = ()) -> list[str]:
    """Fields that the source speaks of without a value, and how many of the format's own fields there are."""
    lines = [f"{name.replace('_', ' ')} {ABSENT[reason]}" for name, reason in owner.absent if name not in told]
    return [joined(limited(lines)), *_more(owner)]


def _more(owner: Any) -> list[str]:
    count = len(owner.extras)
    return [f"{count} more of the format's own fields (--json lists them)"] if count else []


def recorded_lines(acquisition: Acquisition) -> list[str]:
    """When, where, by whom, why."""
    at = acquisition.time
    lines = [moment(at) if at else f"time {why_not('time', acquisition.absent)}"]
    lines.append(_site(acquisition.site) if acquisition.site else f"place {why_not('site', acquisition.absent)}")
    for word, who in (
        ("recorded by", acquisition.operator),
        ("asked for by", acquisition.referring),
        ("report confirmed by", acquisition.confirming),
    ):
        if who is not None:
            lines.append(f"{word} {person(who)}")
    lines += [f"reason: {short(text)}" for text in acquisition.reasons]
    lines += [f"remark: {short(text)}" for text in acquisition.remarks]
    lines.append(_order(acquisition))
    lines += _others(acquisition, ("time", "site", "devices", "filters"))
    return [line for line in limited(lines, 40) if line]


def _site(site: Site) -> str:
    parts = joined((site.institution, site.department, site.room, site.address))
    ids = joined(f"id {identifier(i)}" for i in site.ids)
    return joined((parts, ids)) or f"place {NOT_SAID}"


def _order(acquisition: Acquisition) -> str:
    study = acquisition.study
    parts = [
        f"urgency {acquisition.urgency} of 10" if acquisition.urgency is not None else None,
        f"sequence {acquisition.sequence_number}" if acquisition.sequence_number else None,
        f"accession {identifier(study.accession)}" if study and study.accession else None,
        f"study {study.id}" if study and study.id else None,
        study.description if study else None,
    ]
    return joined(parts)


def device_lines(acquisition: Acquisition) -> list[str]:
    """The machines that took and that interpreted the recording."""
    if not acquisition.devices:
        return [why_not("devices", acquisition.absent)]
    return limited([_device(device) for device in acquisition.devices])


def _device(device: Device) -> str:
    about = joined(
        (
            " ".join(part for part in (device.manufacturer, device.model, device.name) if part),
            f"serial {device.serial}" if device.serial else None,
            f"software {', '.join(device.software)}" if device.software else None,
            *(f"id {identifier(i)}" for i in device.ids),
            f"stands at {_site(device.site)}" if device.site else None,
            *_more(device),
        )
    )
    role = f"{device.role}: " if device.role else ""
    return short(f"{role}{about or NOT_SAID}")


def filter_text(filters: Filters | None) -> str:
    """Bandwidth and filters in words."""
    if filters is None:
        return f"filters {NOT_SAID}"
    parts = [_band(filters.highpass, filters.lowpass)]
    parts += [f"mains filter {' and '.join(map(number, filters.notches))} Hz"] if filters.notches else []
    parts += ["no mains filter"] if filters.notch_off else []
    parts += list(filters.descriptions)
    return short(joined(parts)) or f"filters {NOT_SAID}"


def _band(low: Fraction | None, high: Fraction | None) -> str | None:
    if low is None and high is None:
        return None
    bottom = "DC" if low == 0 else f"{number(low)}" if low is not None else NOT_SAID
    top = number(high) if high is not None else NOT_SAID
    return f"bandwidth {bottom} to {top} Hz"


def trial_lines(trial: Trial | None) -> list[str]:
    """The clinical trial, one line per field that is there."""
    if trial is None:
        return []
    lines = []
    for entry in dataclasses.fields(trial):
        value = getattr(trial, entry.name)
        if value and entry.name not in ("absent", "extras"):
            lines.append(f"{entry.name.replace('_', ' ')}: {short(_plain(value))}")
    return limited([line for line in (*lines, *_others(trial)) if line], 20)


def _plain(value: Any) -> str:
    match value:
        case Identifier():
            return identifier(value)
        case Person():
            return person(value)
        case Site():
            return _site(value)
        case Code():
            return coded(value)
        case Moment():
            return moment(value)
    return str(value)
