"""The fields of the model in the words of the trade: "J level of V4" for ``measurements[41].value``.

Never a word that was read from inside a file: a channel whose label is no lead is "channel 3", a measurement of no
known concept "measurement 12".  So the words may stand where nothing may be quoted, as in an error.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from interchange.formats import FORMATS

if TYPE_CHECKING:
    from interchange.model import Recording, Tracing

__all__ = ["field_words", "group_words", "target_words"]

_STEP = r"([a-z_]+)(?:\[([^\]]*)\])?(?:\.|$)"
_INDEX = r"\[[^\]]*\]"
TITLES = {entry.name: entry.title for entry in FORMATS}

_WHOLE = {
    "tracings": "order of the tracings",
    "patient.systolic": "systolic blood pressure",
    "patient.diastolic": "diastolic blood pressure",
    "patient.comments": "comment on the patient",
    "patient.birth_date": "birth date",
    "patient.drugs": "drugs",
    "patient.history": "history",
    "patient.name.family": "family name",
    "patient.name.given": "given name",
    "patient.name.middle": "middle name",
    "patient.name.text": "name of the patient",
    "acquisition.time": "acquisition time",
    "acquisition.site.institution": "institution",
    "acquisition.site.department": "department",
    "acquisition.site.room": "room or vehicle",
    "acquisition.filters.highpass": "low cut-off of the filters",
    "acquisition.filters.lowpass": "high cut-off of the filters",
    "acquisition.filters.notches": "mains filter",
    "acquisition.filters.notch_off": "mains filter switched off",
    "acquisition.mains": "mains frequency",
    "acquisition.study.accession.value": "accession number",
    "acquisition.study.uid": "study UID",
    "acquisition.study.series_uid": "series UID",
    "deidentification": "note on how identity was removed",
    "document_id.value": "id of the document",
}
"""Fields whose words are not put together from those of their parts."""
_PARTS = {
    "accession": "accession number", "acquisition": "recording",
    "channels": "lead", "codes": "code", "comments": "comment", "confirmed": "confirmation",
    "confirmed_by": "name at the confirmation", "confirmed_time": "time of confirmation",
    "confirming": "confirming person", "derived_from": "formula", "devices": "device", "document_id": "document",
    "drugs": "drug", "end": "end", "family": "family name", "fiducial": "reference point", "given": "given name",
    "group": "set", "highpass": "low cut-off", "ids": "id", "kind": "kind", "lowpass": "high cut-off",
    "manufacturer": "maker", "measurements": "measurement", "middle": "middle name", "notch_off": "mains filter",
    "notches": "mains filter", "of": "rhythm", "origin": "origin", "other_names": "other name",
    "overread": "review by a person", "rate": "sampling rate", "reasons": "reason", "referring": "referring person",
    "remarks": "remark", "second_family": "second family name", "serial": "serial number", "site": "place",
    "skew": "delay", "source_code": "code in the source", "statements": "statement", "step": "amplitude step",
    "tracings": "tracing", "uid": "UID", "series_uid": "series UID", "value": "", "marks": "mark",
}  # fmt: skip


_TARGETS = {
    "section 1 tag 2": "patient's number",
    "section 1 tag 14": "acquiring device",
    "section 1 tag 25": "date of acquisition",
    "section 1 tag 26": "time of acquisition",
    "AnnotatedECG/code": "kind of the message",
    "AnnotatedECG/effectiveTime": "time of the recording",
    "trialSubject/id": "id of the subject",
    "clinicalTrial/id": "id of the trial",
}
"""Places of a target that are filled because it demands a value; attributes of DICOM have names that say it."""


def target_words(path: str) -> str:
    """A field of the model, or a place of the target, in words; the place stands beside them."""
    words = _TARGETS.get(path)
    return f"{words} ({path})" if words else field_words(path)


def field_words(path: str, recording: Recording | None = None) -> str:
    """The field in words.  ``recording``: the one whose indices the path has; without it items are numbered."""
    steps: list[tuple[str, str]] = re.findall(_STEP, path)
    if ".".join(f"{name}[{index}]" if f"{name}[" in path else name for name, index in steps) != path:
        return path
    if steps[-1][0] == "extras":
        return _own_field(steps[-1][1])
    if steps[-1][0] == "absent":
        owner = path.rpartition(".")[0]
        field = steps[-1][1]
        missing = field_words(f"{owner}.{field}" if field else owner, recording)
        return f"why there is no {missing}"
    bare = re.sub(_INDEX, "", path)
    if bare in _WHOLE and not (bare == "tracings" and steps[0][1]):
        return _WHOLE[bare]
    name, index = steps[0]
    if name == "tracings" and index.isdigit():
        return _in_tracing(int(index), steps[1:], recording)
    if name in ("measurements", "marks", "statements") and index.isdigit():
        return _of(steps[1:], _item(name, int(index), recording))
    if name == "acquisition" and steps[1:]:
        return _of(steps[2:], _numbered(_part(steps[1][0]), steps[1][1]), "the ")
    return _of(steps[1:], _part(name), "the ")


def group_words(paths: Iterable[str]) -> list[str]:
    """What fields of the patient or of the recording are about, each once: "name", "id", "birth date"."""
    found = []
    for path in paths:
        first = ".".join(path.split(".")[:2])
        found.append(_WHOLE.get(first) or _part(first.partition(".")[2] or first))
    return list(dict.fromkeys(found))


def _part(name: str) -> str:
    return _PARTS.get(name, name.replace("_", " "))


def _of(rest: Sequence[tuple[str, str]], base: str, article: str = "") -> str:
    """ "issuer of the id of the patient": from the last part to the first."""
    words = [_numbered(word, index) for name, index in rest if (word := _part(name))]
    if len(words) > 1 and words[-2] == "name" and words[-1].endswith((" name", "text")):
        del words[-2 if words[-1].endswith(" name") else -1]
    return f" of {article}".join([*reversed(words), base])


def _numbered(word: str, index: str) -> str:
    """The second and further items of a list are numbered."""
    return f"{word} {int(index) + 1}" if index.isdigit() and int(index) else word


def _own_field(key: str) -> str:
    """A field that one format has for itself."""
    source, _, name = key.partition(".")
    if source not in TITLES or not re.fullmatch(r"[A-Za-z0-9-]{1,60}", name):
        return "field of the source's own format"
    return f"{name}, a field of {TITLES[source]} alone"


def _item(name: str, index: int, recording: Recording | None) -> str:
    number = f"{name.removesuffix('s')} {index + 1}"
    items = getattr(recording, name) if recording is not None else ()
    if name == "statements" or index >= len(items):
        return number
    from interchange.show.words import concept_label

    item = items[index]
    if item.concept == "other":
        return number
    label = "J level" if item.concept == "j-amplitude" else concept_label(item.concept)
    of = f" of {lead}" if item.lead is not None and (lead := _lead(item.lead)) else ""
    return f"mark {index + 1} ({label}{of})" if name == "marks" else f"{label}{of}"


def _in_tracing(index: int, rest: Sequence[tuple[str, str]], recording: Recording | None) -> str:
    tracings = recording.tracings if recording is not None else ()
    tracing = tracings[index] if index < len(tracings) else None
    base = f"tracing {index + 1}"
    if not rest:
        return base
    where = f" in {base}" if len(tracings) != 1 else ""
    name, row = rest[0]
    if name in ("channels", "samples", "missing") and row.isdigit():
        lead = _channel(tracing, int(row))
        what = {"samples": "samples of ", "missing": "missing samples of "}.get(name, "")
        return f"{what}{_of(rest[1:], lead) if name == 'channels' else lead}{where}"
    if name in ("rate", "channels"):
        word = "order of the leads" if name == "channels" else _part(name)
        return f"{word}{where}"
    return f"{_part(name)} of {base}"


def _channel(tracing: Tracing | None, row: int) -> str:
    if tracing is not None and row < len(tracing.channels):
        lead = _lead(tracing.channels[row].name)
        if lead:
            return lead
    return f"channel {row + 1}"


def _lead(name: str) -> str:
    """The lead's name in the trade; empty for a label that is none."""
    from interchange.vocabulary import channel_name, lead_named

    lead = lead_named(name)
    return channel_name(lead) if lead is not None else ""
