"""Identity that is left: filled fields, known identifiers in the bytes, dates and names in texts.

A finding here names the place and the kind, never the value.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

from interchange.errors import SourceError
from interchange.findings import Finding, Rule
from interchange.model import Moment, Recording
from interchange.model.lines import lines_below
from interchange.records import dataclass

__all__ = ["RULES", "Residue", "find_residue", "needles"]


_PROFILE = "DICOM PS3.15 Annex E, Table E.1-1"

RULES = (
    Rule(
        "identity.field", "error", "a field that may identify somebody is filled", _PROFILE,
        "The recording is not de-identified: remove it before it leaves the hospital.",
    ),
    Rule(
        "identity.text", "error", "a text holds what may identify somebody", _PROFILE,
        "Names and dates in free text identify as well as those in fields of their own.",
    ),
    Rule(
        "identity.unread", "warning", "content that was not read may identify somebody", _PROFILE,
        "Private and unknown content can hold anything; a converted file does not carry it.",
    ),
    Rule(
        "identity.known", "error", "a known identifier occurs in the bytes of the file", "45 CFR 164.514(b)(2)(i)",
        "It stands somewhere in the file, whether a reader shows it or not.",
    ),
)  # fmt: skip
"""What ``check --identifiers`` looks for."""


@dataclass(frozen=True, slots=True)
class Residue:
    """Something that may identify: where, what kind of thing it is, and the rule that it breaks."""

    place: str
    what: str
    rule: str = "identity.field"

    @property
    def finding(self) -> Finding:
        """The residue as a finding of a check."""
        rule = next(rule for rule in RULES if rule.id == self.rule)
        return rule.at(self.place, self.what)


_FIELDS = {
    "patient.ids": "an id",
    "patient.name": "a name",
    "patient.other_names": "a name",
    "patient.birth_date": "a birth date",
    "patient.comments": "free text",
    "patient.history": "history",
    "patient.extras": "source-specific fields",
    "acquisition.time": "a date or time",
    "acquisition.devices.serial": "a device number",
    "acquisition.devices.name": "a device name",
    "acquisition.devices.ids": "a device id",
    "acquisition.devices.site": "a place",
    "acquisition.devices.extras": "source-specific fields",
    "acquisition.site": "a place",
    "acquisition.operator": "a person",
    "acquisition.referring": "a person",
    "acquisition.confirming": "a person",
    "acquisition.reasons": "free text",
    "acquisition.remarks": "free text",
    "acquisition.sequence_number": "a number",
    "acquisition.study": "order or study ids",
    "acquisition.extras": "source-specific fields",
    "statements.author": "a person or program",
    "statements.confirmed_by": "a person",
    "statements.time": "a date or time",
    "statements.confirmed_time": "a date or time",
    "trial": "trial data",
    "document_id": "a document id",
    "extras": "source-specific fields",
}

_META = 65536
"""File meta information stands within so many bytes, however much of it there is."""

_DATE = re.compile(
    r"(?<!\d)(?:(?:19|20)\d\d[-./]?(?:0[1-9]|1[0-2])[-./]?(?:0[1-9]|[12]\d|3[01])"
    r"|(?:0?[1-9]|[12]\d|3[01])[-./](?:0?[1-9]|1[0-2])[-./](?:(?:19|20)?\d\d))(?!\d)"
)


def find_residue(
    recording: Recording, data: Iterable[tuple[str, bytes]] = (), known: Iterable[str] = ()
) -> tuple[Residue, ...]:
    """Everything in a recording, and in the bytes it was read from, that may identify somebody.

    ``data``: (file name, bytes).  ``known``: identifiers that must not occur; they are searched for in the bytes in
    ASCII, Latin-1, UTF-8, both UTF-16, in other orders of a date and of a name's parts, and in the data set of a
    deflated DICOM file as well.  Fields of a recording that
    says it was de-identified count only when a pseudonym or a shifted date does not explain them.
    """
    found = [*_fields(recording), *_texts(recording), *_unread(recording), *_bytes(data, known)]
    return tuple(dict.fromkeys(found))


def _fields(recording: Recording) -> Iterator[Residue]:
    methods = {code.value for code in recording.deidentification}
    explained = (
        {"patient.ids", "acquisition.study", "acquisition.devices.ids", "document_id"} if "113100" in methods else set()
    )
    if "113107" in methods:
        explained |= {"acquisition.time", "statements.time", "statements.confirmed_time"}
    for path, what in _FIELDS.items():
        if path in explained:
            continue
        for line in lines_below(recording, [path]):
            yield Residue(line.split(":", 1)[0], what)


def _texts(recording: Recording) -> Iterator[Residue]:
    names = _name_parts(recording)
    for path in ("statements.text", "marks.text", "measurements.text", "acquisition.remarks", "acquisition.reasons"):
        for line in lines_below(recording, [path]):
            place, text = line.split(": ", 1)
            if _DATE.search(text):
                yield Residue(place, "a date in a text", "identity.text")
            words = {word.casefold() for word in re.findall(r"\w+", text)}
            if words & names:
                yield Residue(place, "a name from the header in a text", "identity.text")
    for line in lines_below(recording, ["acquisition.study", "document_id", "acquisition.devices.ids"]):
        place, text = line.split(": ", 1)
        if re.search(r"\d\.(?:19|20)\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])", text):
            yield Residue(place, "a date in a UID", "identity.text")


def _name_parts(recording: Recording) -> set[str]:
    parts: set[str] = set()
    for name in (recording.patient.name, *recording.patient.other_names):
        if name is not None:
            texts = (name.family, name.given, name.middle, name.second_family, name.text)
            parts.update(w.casefold() for t in texts if t for w in re.findall(r"\w+", t) if len(w) > 2)
    return parts


def _unread(recording: Recording) -> Iterator[Residue]:
    for item in recording.unread:
        yield Residue(item.place, f"content that was not read: {item.what}", "identity.unread")


def _bytes(data: Iterable[tuple[str, bytes]], known: Iterable[str]) -> Iterator[Residue]:
    searches = [(number, needle) for number, text in enumerate(known, 1) for needle in needles(text)]
    for name, content in data:
        for part, where in ((content, ""), (_inflated(content), " of the inflated data set")):
            lowered = part.lower()
            for number, needle in searches:
                at = lowered.find(needle)
                if at >= 0:
                    yield Residue(f"{name} byte {at}{where}", f"known identifier number {number}", "identity.known")


def _inflated(content: bytes) -> bytes:
    """The data set of a DICOM file that is deflated; nothing for all other files, whose own bytes say all."""
    from interchange.formats.dicom.parse import DEFLATED, parse

    if DEFLATED.uid.encode() not in content[:_META]:
        return b""
    try:
        file = parse(content)
    except SourceError:  # whoever reads the file says so
        return b""
    return file.dataset.data if file.syntax.deflated else b""


def needles(text: str) -> tuple[bytes, ...]:
    """The identifier in every form in which a format may hold it, in small letters."""
    forms = {text.strip()}
    words = [word for word in re.split(r"[\s,^=]+", text) if word]
    if 1 < len(words) <= 4:
        for order in (words, words[::-1]):
            forms.update(separator.join(order) for separator in ("^", " ", ", ", ",", ";"))
    forms |= _date_forms(text)
    found: set[bytes] = set()
    for form in forms:
        if len(form) < 2:
            continue
        for encoding in ("ascii", "latin-1", "utf-8", "utf-16-le", "utf-16-be"):
            try:
                found.add(form.encode(encoding).lower())
                found.add(form.casefold().encode(encoding))
            except UnicodeEncodeError:
                continue
    return tuple(sorted(found))


def _date_forms(text: str) -> set[str]:
    try:
        moment = Moment.parse(text.strip())
    except ValueError:
        return set()
    if moment.year is None or moment.month is None or moment.day is None:
        return set()
    year, month, day = f"{moment.year:04}", f"{moment.month:02}", f"{moment.day:02}"
    orders = ((year, month, day), (day, month, year), (month, day, year))
    forms = {separator.join(order) for separator in ("", "-", "/", ".") for order in orders}
    packed = moment.year.to_bytes(2, "little") + bytes((moment.month, moment.day))
    return forms | {packed.decode("latin-1")}
