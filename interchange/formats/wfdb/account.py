"""Where each field of the model lives in a WFDB record."""

from __future__ import annotations

from typing import Final

from interchange.formats.contract import Account, Place

__all__ = ["ACCOUNT"]

_HEADER: Final = "WFDB Applications Guide, header(5)"
_ANNOT: Final = "WFDB Applications Guide, annot(5)"


def _line(where: str = "an info string with the field's path") -> Place:
    return Place(where, "text", f"{_HEADER}, info strings")


def _field(where: str, clause: str = _HEADER) -> Place:
    return Place(where, "field", clause)


def _partly(where: str) -> Place:
    return Place(where, "partly", _HEADER)


ACCOUNT: Final[Account] = {
    # tracings
    "tracings.samples": _field("signal file", "WFDB Applications Guide, signal(5)"),
    "tracings.missing": _field("the lowest value of the signal format", "WFDB Programmer's Guide"),
    "tracings.rate": _field("sampling frequency times samples per frame"),
    "tracings.start": _line('place in the record ("Tracing N of M: ... samples A to B"), else an info string'),
    "tracings.kind": _line("a record of its own, named in an info string of the first"),
    "tracings.label": _line(),
    "tracings.of": _line(),
    "tracings.fiducial": _line(),
    "tracings.beat": _line(),
    "tracings.extras": _line(),
    "tracings.channels.name": _field("description; an info string where it cannot stand there"),
    "tracings.channels.unit": _field("units (mV for every voltage)"),
    "tracings.channels.step": _partly(
        "ADC gain, or an info string where no decimal says it exactly; positive, and finer where zero would lie "
        "between two whole numbers (no value changes)"
    ),
    "tracings.channels.offset": _partly("baseline, or an info string; moved to keep clear of the widest sentinel"),
    "tracings.channels.label": _line(),
    "tracings.channels.filters": _line(),
    "tracings.channels.skew": _line("an info string (the field for skew would move the samples)"),
    "tracings.channels.origin": _line(),
    "tracings.channels.derived_from": _line(),
    "tracings.channels.bits": _field("ADC resolution"),
    "tracings.channels.extras": _line("ADC zero and unit of an uncalibrated signal in their fields, else info strings"),
    # who
    "patient.age": _line("info string Age for whole years, else the field's path"),
    "patient.sex": _line("info string Sex (Male, Female), else the field's path"),
    "patient.height": _line("info string Height for whole centimetres, else the field's path"),
    "patient.weight": _line("info string Weight for whole kilograms, else the field's path"),
    "patient": _line(),
    # when, where, with what
    "acquisition.time": _field("base time and base date; zone and anything partial in an info string"),
    "acquisition.remarks": _line("info strings, word for word"),
    "acquisition": _line(),
    # what was found
    "measurements": _line(),
    "statements": _line("info string Dx when there are only SNOMED CT concepts, else the field's path"),
    "marks.concept": _field("annotation code; an info string where no code says it exactly", _ANNOT),
    "marks.tracing": _field("channel, or the record that the annotation file belongs to", _ANNOT),
    "marks.start": _field("time of the annotation", _ANNOT),
    "marks.end": _line(),
    "marks.lead": _field("channel", _ANNOT),
    "marks.text": _field("aux of 7-bit text; else an info string", _ANNOT),
    "marks.group": _field("annotator, in full in the info string that names the file", _ANNOT),
    "marks": _line(),
    # the rest
    "trial": _line(),
    "document_id": _line(),
    "deidentification": _line(),
    "extras": _line("counter frequency and base value in their fields, else info strings"),
}
"""Nothing of the model is left behind: what no field holds is said in info strings and taken back from there.

Status, author, derivation, zone and issuer: ``statements.confirmed``, ``statements.author``,
``tracings.channels.origin``, ``acquisition.time`` and ``patient.ids.issuer`` are info strings of those names.
"""
