"""Patient and acquisition to the tags of section 1 (EN 1064 clause 5.4.5).

A field that cannot hold a value exactly holds the nearest that it can, or is left out; what it says less than the
model is carried in lines of free text, which the caller adds.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from interchange.formats.scp.maps import (
    AGE_UNITS,
    EXTRA_DEVICE,
    HEIGHT_UNITS,
    MAINS,
    SCHEME_DRUG,
    SCHEME_HISTORY,
    SCHEME_RACE,
    SEXES,
    WEIGHT_UNITS,
)
from interchange.formats.scp.syntax.device import Device as StoredDevice
from interchange.formats.scp.syntax.device import build_device
from interchange.formats.scp.syntax.values import ZONE_NOT_USED, Clock, Date
from interchange.formats.scp.text import encode
from interchange.model import Acquisition, Code, Device, Filters, Moment, Patient, Person, PersonName, Quantity, Site
from interchange.records import dataclass

__all__ = ["Entry", "build_entries", "entries_for", "texts_of"]

_LARGEST: Final = 0xFFFF
_PROGRAM, _SERIAL, _SYSTEM, _FORMAT, _MAKER = range(5)


@dataclass(frozen=True, slots=True)
class Entry:
    """One field before its text has a character set: bytes, then perhaps text, or a device."""

    tag: int
    raw: bytes = b""
    text: str | None = None
    device: StoredDevice | None = None

    def value(self, language: int) -> bytes:
        """The bytes of the field."""
        if self.device is not None:
            return build_device(self.device, language)
        return self.raw if self.text is None else self.raw + encode(self.text, language, _LARGEST - len(self.raw))


def texts_of(entries: Sequence[Entry]) -> list[str]:
    """All text of the entries."""
    found = [entry.text for entry in entries if entry.text is not None]
    devices = [entry.device for entry in entries if entry.device is not None]
    return [*found, *(text for device in devices for text in (device.model, *device.strings))]


def build_entries(entries: Sequence[Entry], language: int) -> list[tuple[int, bytes]]:
    """Tags and values in ascending order of the tags."""
    return [(entry.tag, entry.value(language)) for entry in sorted(entries, key=lambda entry: entry.tag)]


def entries_for(patient: Patient, acquisition: Acquisition, has_beat: bool) -> list[Entry]:
    """All fields but the free texts; ``has_beat`` says whether the record has a reference beat."""
    return [*_patient(patient), *_acquisition(acquisition), *_devices(acquisition, has_beat)]


def _text(tag: int, text: str | None) -> Iterator[Entry]:
    if text:
        yield Entry(tag, text=text)


def _patient(patient: Patient) -> Iterator[Entry]:
    name = patient.name or PersonName()
    given = " ".join(part for part in (name.given, name.middle) if part)
    yield from _text(0, name.family or name.text)
    yield from _text(1, given or None)
    yield Entry(2, text=patient.ids[0].value if patient.ids else "")
    yield from _text(3, name.second_family)
    yield from _quantity(4, patient.age, AGE_UNITS)
    yield from _day(5, patient.birth_date)
    yield from _quantity(6, patient.height, HEIGHT_UNITS)
    yield from _quantity(7, patient.weight, WEIGHT_UNITS)
    yield from _sex(patient)
    if patient.race is not None and patient.race.scheme == SCHEME_RACE:
        yield from _byte(9, _number(patient.race.value, 255))
    for code in patient.drugs:
        yield _drug(code)
    yield from _pressure(11, patient.systolic)
    yield from _pressure(12, patient.diastolic)
    yield from _history(patient.history)


def _quantity(tag: int, quantity: Quantity | None, units: Mapping[int, str]) -> Iterator[Entry]:
    """A value in a unit of the tag: exactly, in millimetres or grams where these are whole, else rounded."""
    if quantity is None:
        return
    codes = {unit: code for code, unit in units.items()}
    choices = [(Fraction(quantity.value), quantity.unit)]
    finer = {"cm": ("mm", 10), "kg": ("g", 1000), "m": ("cm", 100)}.get(quantity.unit)
    if finer is not None:
        choices.append((Fraction(quantity.value) * finer[1], finer[0]))
    fitting = [(value, codes[unit]) for value, unit in choices if unit in codes and 0 <= value <= _LARGEST]
    whole = [(value, code) for value, code in fitting if value.denominator == 1]
    for value, code in (whole or fitting)[:1]:
        yield Entry(tag, struct.pack("<HB", round(value), code))


def _day(tag: int, moment: Moment | None) -> Iterator[Entry]:
    if moment is not None and moment.year is not None and moment.month is not None and moment.day is not None:
        yield Entry(tag, Date(moment.year, moment.month, moment.day).build())


def _sex(patient: Patient) -> Iterator[Entry]:
    codes = {sex: code for code, sex in SEXES.items()}
    if patient.sex is not None:
        yield from _byte(8, codes.get(patient.sex, 9))
    elif ("sex", "unknown") in patient.absent:
        yield from _byte(8, 0)
    elif ("scp.sex", "9") in patient.extras:
        yield from _byte(8, 9)


def _byte(tag: int, value: int | None) -> Iterator[Entry]:
    if value is not None:
        yield Entry(tag, bytes((value,)))


def _word(tag: int, value: Fraction | int | None) -> Iterator[Entry]:
    if value is not None and 0 <= value <= _LARGEST:
        yield Entry(tag, struct.pack("<H", round(value)))


def _number(text: str | None, largest: int) -> int | None:
    """The number that a text is, None where it is none or too large."""
    if text is None or not (text.isascii() and text.isdigit()) or len(text) > 6:
        return None
    return int(text) if int(text) <= largest else None


def _numbers(text: str | None, count: int) -> list[int] | None:
    """``1.2.3`` as so many bytes, None where it is none."""
    parts = [_number(part, 255) for part in (text or "").split(".")]
    found = [part for part in parts if part is not None]
    return found if len(found) == len(parts) == count else None


def _drug(code: Code) -> Entry:
    """A drug of the standard's table by its numbers, any other by its name."""
    numbers = _numbers(code.value, 3) if code.scheme == SCHEME_DRUG else None
    return Entry(10, bytes(numbers or (0, 100, 0)), text=code.meaning or code.value or "")


def _pressure(tag: int, quantity: Quantity | None) -> Iterator[Entry]:
    if quantity is not None and quantity.unit == "mm[Hg]":
        yield from _word(tag, quantity.value)


def _history(history: Sequence[Code]) -> Iterator[Entry]:
    for code in history:
        numbers = _numbers(code.value, 2) if code.scheme == SCHEME_HISTORY else None
        if numbers is not None:
            yield Entry(32, bytes(numbers))
        else:
            yield Entry(35, text=code.meaning or code.value or "")


def _acquisition(acquisition: Acquisition) -> Iterator[Entry]:
    site = acquisition.site or Site()
    for reason in acquisition.reasons:
        yield from _text(13, reason)
    yield from _text(16, site.institution)
    yield from _text(18, site.department)
    yield from _person(20, acquisition.referring)
    yield from _person(21, acquisition.confirming)
    yield from _person(22, acquisition.operator)
    yield from _text(23, site.room)
    if acquisition.urgency is not None and 0 <= acquisition.urgency <= 10:
        yield from _byte(24, acquisition.urgency)
    yield from _time(acquisition.time)
    yield from _filters(acquisition.filters)
    yield from _text(31, acquisition.sequence_number)
    yield from _placement(acquisition)
    yield from _zone(acquisition)


def _person(tag: int, person: Person | None) -> Iterator[Entry]:
    yield from _text(tag, str(person) if person is not None else None)


def _time(time: Moment | None) -> Iterator[Entry]:
    """Date and time of day; a date that is not given is zeros, a time of day that is not given is empty."""
    day = list(_day(25, time))
    yield day[0] if day else Entry(25, bytes(4))
    if time is None or time.hour is None:
        yield Entry(26, b"" if day else bytes(3))
    else:
        second = min(int(time.second or 0), 59)
        yield Entry(26, Clock(time.hour, time.minute or 0, second).build())


def _filters(filters: Filters | None) -> Iterator[Entry]:
    if filters is None:
        return
    yield from _word(27, None if filters.highpass is None else filters.highpass * 100)
    yield from _word(28, filters.lowpass)
    bits = 0
    for hertz, bit in ((50, 2), (60, 1)):
        bits |= bit if Fraction(hertz) in filters.notches else 0
    for name, bit in (("artefact filter", 4), ("baseline filter", 8)):
        bits |= bit if name in filters.descriptions else 0
    if bits or filters.notch_off:
        yield from _byte(29, bits)


def _placement(acquisition: Acquisition) -> Iterator[Entry]:
    """The placement of twelve leads with that of XYZ leads where the source gave both, else the one that there is."""
    placement = acquisition.electrode_placement
    if placement is None:
        return
    from interchange.vocabulary import lead_sets

    chosen = next((row for row in lead_sets() if row.id == placement and row.scp_electrodes), None)
    if chosen is not None and chosen.scp_electrodes is not None and chosen.scp_electrodes[0]:
        value, byte = chosen.scp_electrodes
        other = _number(dict(acquisition.extras).get("scp.electrodes-xyz"), 255) or 0
        yield Entry(33, bytes((value, other) if byte == 1 else (0, value)))


def _zone(acquisition: Acquisition) -> Iterator[Entry]:
    zone = acquisition.time.zone if acquisition.time is not None else None
    extras = dict(acquisition.extras)
    index = _number(extras.get("scp.zone-index"), _LARGEST) or 0
    text = extras.get("scp.zone", "")
    if zone is not None or index or text:
        yield Entry(34, struct.pack("<hH", ZONE_NOT_USED if zone is None else zone, index), text=text)


def _devices(acquisition: Acquisition, has_beat: bool) -> Iterator[Entry]:
    acquiring = next((d for d in acquisition.devices if d.role != "analysing"), None)
    analysing = next((d for d in acquisition.devices if d.role == "analysing"), None)
    mains = {hertz: code for code, hertz in MAINS.items()}.get(acquisition.mains or Fraction(0), 0)
    level = 0xE0 if has_beat else 0xD0
    yield Entry(14, device=_device(acquiring or Device(), _SYSTEM, mains, level))
    if analysing is not None:
        own = _number(dict(analysing.extras).get("scp.mains-code"), max(MAINS)) or mains
        yield Entry(15, device=_device(analysing, _PROGRAM, own, level))
        site = analysing.site or Site()
        yield from _text(17, site.institution)
        yield from _text(19, site.department)


def _device(device: Device, software_place: int, mains: int, level: int) -> StoredDevice:
    """The stored form; one program goes to ``software_place``, several to the three places in order."""
    strings = ["", device.serial or "", "", "", device.manufacturer or ""]
    places = (software_place,) if len(device.software) == 1 else (_PROGRAM, _SYSTEM, _FORMAT)
    for place, program in zip(places, device.software, strict=False):
        strings[place] = program
    stored = StoredDevice(model=device.model or "", compatibility=level, mains=mains, strings=tuple(strings))
    for key, text in device.extras:
        name = EXTRA_DEVICE.get(key)
        value = _number(text, _LARGEST if name in ("institution", "department", "number") else 255)
        if name is not None and value is not None:
            stored = replace(stored, **{name: value})  # type: ignore[arg-type]
    return stored
