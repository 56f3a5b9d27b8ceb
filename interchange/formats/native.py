"""What a format's own fields hold, as against what its lines of text add for readers that know them.

Another system sees the fields alone.  So nothing that identifies the patient is ever put right by a line of text: what
the field cannot hold exactly reads back altered, and the receipt counts it as a change of identity.  For everything
else a field that holds something near the value is said in the receipt.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import replace

from interchange.compare import Difference
from interchange.compare.values import FieldWalk
from interchange.formats.contract import Note
from interchange.model import PersonName, Recording

__all__ = ["native_notes", "with_native_identity"]

_MANY = 3


def with_native_identity(wanted: Recording, native: Recording) -> Recording:
    """``wanted`` with the patient's id, name, birth date and sex as ``native`` holds them where it holds others.

    A field that ``native`` leaves open stays as it is wanted; so does a name whose words are the same in other parts,
    and one of which only prefix, middle name or suffix has no place.
    """
    patient, held = wanted.patient, native.patient
    if patient.ids and held.ids and patient.ids[0].value != held.ids[0].value:
        patient = replace(patient, ids=(replace(patient.ids[0], value=held.ids[0].value), *patient.ids[1:]))
    if patient.name is not None and held.name is not None and not _same_name(patient.name, held.name):
        patient = replace(patient, name=held.name)
    if patient.birth_date is not None and held.birth_date not in (None, patient.birth_date):
        patient = replace(patient, birth_date=held.birth_date)
    if patient.sex is not None and held.sex not in (None, patient.sex):
        patient = replace(patient, sex=held.sex)
    return wanted if patient is wanted.patient else wanted.with_(patient=patient)


def _same_name(wanted: PersonName, held: PersonName) -> bool:
    if wanted.text is not None and _words(wanted, "text") <= _words(wanted, *_ALL[:-1]):
        wanted = replace(wanted, text=None)  # the same words once more
    if (wanted.family, wanted.given) == (held.family, held.given) and wanted.text in (None, held.text):
        return True
    asked, there = _words(wanted, *_ALL), _words(held, *_ALL)
    return _words(wanted, "family", "given", "text") <= there <= asked


_ALL = ("prefix", "given", "middle", "family", "second_family", "suffix", "text")


def _words(name: PersonName, *parts: str) -> Counter[str]:
    """The words of these parts; a format may divide them otherwise, or hold a family name and all given names alone."""
    texts = (getattr(name, part) for part in parts)
    return Counter(word for text in texts if text for word in re.split(r"[\s,]+", text) if word)


def native_notes(wanted: Recording, native: Recording) -> list[Note]:
    """One ``info`` note for each field that holds something else than the value that a line of text has exactly."""
    walk = FieldWalk(lambda _: None)
    for name in ("patient", "acquisition", "measurements", "statements"):
        walk.value(name, getattr(wanted, name), getattr(native, name))
    return list(_notes([found for found in walk.found if found.kind == "changed"]))


def _notes(changed: list[Difference]) -> Iterator[Note]:
    groups: dict[str, list[Difference]] = defaultdict(list)
    for difference in changed:
        groups[re.sub(r"\[\d+\]", "", difference.path)].append(difference)
    for members in groups.values():
        for one in members[:_MANY]:
            yield Note(
                "info", one.path, f"{one.path}: the field holds {one.after}, a line of text the exact {one.before}"
            )
        if len(members) > _MANY:
            rest = len(members) - _MANY
            yield Note("info", members[0].path, f"{members[0].path} and {rest} more alike: exact in lines of text")
