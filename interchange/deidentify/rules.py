"""What stays, field by field.  Everything that is not named here is gone."""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from typing import Literal

from interchange.deidentify.keys import Key
from interchange.deidentify.words import KNOWN_SCHEMES, known_statement, known_text
from interchange.errors import UsageError
from interchange.model import (
    Acquisition,
    Channel,
    Code,
    Device,
    Filters,
    Identifier,
    Mark,
    Measurement,
    Moment,
    Patient,
    Quantity,
    Recording,
    Statement,
    Study,
    Tracing,
)
from interchange.records import dataclass

__all__ = ["Policy", "Removal", "deidentify"]

_METHODS = {
    "basic": Code("113100", "DCM", "Basic Application Confidentiality Profile"),
    "texts": Code("113105", "DCM", "Clean Descriptors Option"),
    "structure": Code("113104", "DCM", "Clean Structured Content Option"),
    "dates": Code("113107", "DCM", "Retain Longitudinal Temporal Information Modified Dates Option"),
    "patient": Code("113108", "DCM", "Retain Patient Characteristics Option"),
}
"""De-identification methods (DICOM PS3.16 CID 7050; numbers other than 113100 and 113104 from memory)."""

_UID = re.compile(r"[0-2](\.(0|[1-9]\d*))+")
_OLDEST = 89
_BLANK = " \0\t\r\n"


@dataclass(frozen=True, slots=True)
class Policy:
    """What stays beyond the basic profile.

    ``keep_patient``: sex, age (above 89 pooled as 90), height, weight (option 113108).  ``dates``: ``remove`` or
    ``shift`` (all moved back by one offset of whole days per patient, option 113107).
    """

    keep_patient: bool = False
    dates: Literal["remove", "shift"] = "remove"

    @property
    def methods(self) -> tuple[Code, ...]:
        """The codes of what is done."""
        names = ["basic", "structure", "texts"]
        names += ["dates"] if self.dates == "shift" else []
        names += ["patient"] if self.keep_patient else []
        return tuple(_METHODS[name] for name in names)


@dataclass(frozen=True, slots=True)
class Removal:
    """How many values of a group were removed, replaced or kept; never which."""

    group: str
    removed: int
    replaced: int
    kept: int


def deidentify(
    recording: Recording, key: Key | None = None, policy: Policy | None = None
) -> tuple[Recording, tuple[Removal, ...]]:
    """A recording without identity, and what became of each group of fields.

    ``key``: without one, pseudonyms hold for this call alone.  Samples, rates, measurements and intervals stay as they
    are.  See :class:`Policy` for what else may stay.
    """
    return _Work(recording, key or Key(), policy or Policy()).done()


def _person(recording: Recording) -> str:
    """What stands for the person: the first id that says something with its issuer, else the tracings themselves.

    The same number from two issuers is two persons; one that comes once with and once without its issuer is taken for
    two as well, since nothing says that it is one.
    """
    for id in recording.patient.ids:
        value, issuer = (text.strip(_BLANK) for text in (id.value, id.issuer or ""))
        if value:
            return f"id\0{value}\0{issuer}" if issuer else f"id\0{value}"
    return "tracing\0" + "".join(tracing.digest for tracing in recording.tracings)


class _Work:
    """One recording on its way."""

    def __init__(self, recording: Recording, key: Key, policy: Policy) -> None:
        self.recording = recording
        self.key = key
        self.policy = policy
        self.person = _person(recording)
        self.names = _channel_names(recording.tracings)
        self.groups: dict[str, str] = {}

    def done(self) -> tuple[Recording, tuple[Removal, ...]]:
        source = self.recording
        result = Recording(
            tracings=tuple(map(self._tracing, source.tracings)),
            patient=self._patient(source.patient),
            acquisition=self._acquisition(source.acquisition),
            measurements=tuple(m for m in map(self._measurement, source.measurements) if m is not None),
            marks=tuple(m for m in map(self._mark, source.marks) if m is not None),
            statements=tuple(s for s in map(self._statement, source.statements) if s is not None),
            deidentification=self.policy.methods,
            format=source.format,
        )
        return result, _account(source, result)

    def _moment(self, moment: Moment | None) -> Moment | None:
        if moment is None or self.policy.dates == "remove" or moment.day is None or moment.year is None:
            return None
        from datetime import date

        assert moment.month is not None
        moved = date(moment.year, moment.month, moment.day).toordinal() - self.key.days(self.person)
        if moved < 1:
            raise UsageError("a date lies too far back to be shifted", "acquisition.time")
        day = date.fromordinal(moved)
        return replace(moment, year=day.year, month=day.month, day=day.day)

    def _tracing(self, tracing: Tracing) -> Tracing:
        channels = tuple(self._channel(channel) for channel in tracing.channels)
        return replace(tracing, channels=channels, label=None, extras=())

    def _channel(self, channel: Channel) -> Channel:
        return Channel(
            self.names[channel.name],
            channel.unit if channel.unit is None or known_text(channel.unit) else None,
            channel.step,
            channel.offset,
            filters=_filters(channel.filters),
            skew=channel.skew,
            origin=channel.origin,
            derived_from=self._formula(channel.derived_from),
            bits=channel.bits,
        )

    def _formula(self, text: str | None) -> str | None:
        """The formula of a derived lead, if it is made of numbers and lead names alone."""
        if text is None:
            return None
        words = re.findall(r"[A-Za-z]+[A-Za-z0-9]*", text)
        plain = re.fullmatch(r"[A-Za-z0-9 ()+*/.,-]*", text)
        return text if plain and all(known_text(word) for word in words) else None

    def _patient(self, patient: Patient) -> Patient:
        new = Patient(ids=(Identifier(self.key.pseudonym("patient", self.person)),))
        if not self.policy.keep_patient:
            return new
        return replace(
            new,
            sex=patient.sex,
            age=_pooled(self._age(patient)),
            height=_size(patient.height),
            weight=_size(patient.weight),
        )

    def _age(self, patient: Patient) -> Quantity | None:
        """The age as given, else in days below two years or whole years, from the dates before they go."""
        time, birth = self.recording.acquisition.time, patient.birth_date
        if patient.age is not None or time is None or birth is None or birth.day is None or time.day is None:
            return patient.age
        from datetime import date

        assert birth.year
        assert birth.month
        assert time.year
        assert time.month
        born, taken = date(birth.year, birth.month, birth.day), date(time.year, time.month, time.day)
        days = (taken - born).days
        if days < 0:
            return None
        years = taken.year - born.year - ((taken.month, taken.day) < (born.month, born.day))
        return Quantity(days, "d") if years < 2 else Quantity(years, "a")

    def _acquisition(self, acquisition: Acquisition) -> Acquisition:
        study = acquisition.study
        new = Study(
            uid=self.key.uid("study", study.uid) if study and study.uid else None,
            series_uid=self.key.uid("series", study.series_uid) if study and study.series_uid else None,
        )
        return Acquisition(
            time=self._moment(acquisition.time),
            devices=tuple(map(self._device, acquisition.devices)),
            filters=_filters(acquisition.filters),
            electrode_placement=_placement(acquisition.electrode_placement),
            mains=acquisition.mains,
            urgency=acquisition.urgency,
            study=new if new != Study() else None,
        )

    def _device(self, device: Device) -> Device:
        """Make, model and software stay (the profile keeps them); a UID is replaced, every other number goes."""
        ids = tuple(Identifier(self.key.uid("device", i.value)) for i in device.ids if _UID.fullmatch(i.value))
        return Device(device.role, device.manufacturer, device.model, software=device.software, ids=ids)

    def _measurement(self, item: Measurement) -> Measurement | None:
        code = _code(item.source_code)
        if item.concept == "other" and code is None:
            return None
        if item.value is None and item.absent is None:
            return None
        lead = None if item.lead is None else self.names.get(item.lead)
        if item.lead is not None and lead is None:
            return None
        unit = item.unit if item.unit is None or known_text(item.unit) else None
        return Measurement(item.concept, item.value, unit, lead, item.absent, item.beat, source_code=code)

    def _mark(self, mark: Mark) -> Mark | None:
        code = _code(mark.source_code)
        if mark.concept in _TEXT_MARKS or (mark.concept == "other" and code is None):
            return None
        lead = None if mark.lead is None else self.names.get(mark.lead)
        if mark.lead is not None and lead is None:
            return None
        group = None
        if mark.group is not None:
            group = self.groups.setdefault(mark.group, f"set{len(self.groups) + 1}")
        inner = tuple(m for m in map(self._measurement, mark.measurements) if m is not None)
        return Mark(mark.concept, mark.tracing, mark.start, mark.end, lead, None, group, inner, code)

    def _statement(self, statement: Statement) -> Statement | None:
        """A statement from a code list stays, in the list's own words; what somebody typed goes."""
        codes = tuple(c for c in map(_code, statement.codes) if c is not None)
        text = known_statement(statement.text, codes)
        if statement.author_kind == "person" or text is None:
            return None
        return Statement(
            text,
            statement.kind,
            statement.group,
            codes,
            author_kind=statement.author_kind,
            time=self._moment(statement.time),
            confirmed=statement.confirmed,
            overread=statement.overread,
            confirmed_time=self._moment(statement.confirmed_time),
        )


_TEXT_MARKS = frozenset({"note", "measurement-note", "external-link", "rhythm-change", "signal-quality-change"})


def _channel_names(tracings: Iterable[Tracing]) -> dict[str, str]:
    """Known leads and signals keep their name; every other label becomes a number."""
    names: dict[str, str] = {}
    unknown = 0
    for tracing in tracings:
        for name in tracing.names:
            if name not in names:
                if known_text(name):
                    names[name] = name
                else:
                    unknown += 1
                    names[name] = f"signal {unknown}"
    return names


def _filters(filters: Filters | None) -> Filters | None:
    return replace(filters, descriptions=()) if filters is not None else None


def _placement(placement: str | None) -> str | None:
    from interchange.vocabulary import lead_sets

    return placement if placement in {entry.id for entry in lead_sets()} else None


def _code(code: Code | None) -> Code | None:
    """The code without its words, if it is from a public list and looks like a code."""
    if code is None or code.value is None or code.scheme not in KNOWN_SCHEMES:
        return None
    return Code(code.value, code.scheme) if re.fullmatch(KNOWN_SCHEMES[code.scheme], code.value) else None


def _size(quantity: Quantity | None) -> Quantity | None:
    """A height or weight in a unit that everybody uses."""
    return quantity if quantity is not None and quantity.unit in ("cm", "m", "kg", "g", "[in_i]", "[lb_av]") else None


def _pooled(age: Quantity | None) -> Quantity | None:
    """Ages above 89 years become 90 (45 CFR 164.514(b)(2)(i)(C): all above 89 as one category)."""
    years = {"a": Fraction(1), "mo": Fraction(1, 12), "wk": Fraction(7, 365), "d": Fraction(1, 365)}
    if age is None or age.unit not in (*years, "h"):
        return None
    value = age.value * years.get(age.unit, Fraction(1, 8760))
    return Quantity(90, "a") if value >= _OLDEST + 1 else age


def _account(before: Recording, after: Recording) -> tuple[Removal, ...]:
    rows = []
    for name in ("patient", "acquisition", "tracings", "measurements", "marks", "statements", "trial", "other"):
        old, new = (_leaves(side, name) for side in (before, after))
        common = old & new
        replaced = sum((_fields(old - common) & _fields(new - common)).values())
        kept = sum(common.values())
        rows.append(Removal(name, max(sum(old.values()) - kept - replaced, 0), replaced, kept))
    unread = len(before.unread)
    if unread:
        rows.append(Removal("content that was not read", unread, 0, 0))
    return tuple(row for row in rows if row.removed or row.replaced or row.kept)


def _fields(leaves: Counter[tuple[str, str]]) -> Counter[str]:
    """How many values each field has, whatever they are."""
    found: Counter[str] = Counter()
    for (path, _), count in leaves.items():
        found[path] += count
    return found


def _leaves(recording: Recording, group: str) -> Counter[tuple[str, str]]:
    """Every value that is set below a group, as (field, text)."""
    names = ("document_id", "extras") if group == "other" else (group,)
    found: Counter[tuple[str, str]] = Counter()
    for name in names:
        _collect(getattr(recording, name), name, found)
    return found


def _collect(value: object, path: str, found: Counter[tuple[str, str]]) -> None:
    if value is None or value == () or value is False:
        return
    if isinstance(value, tuple):
        for item in value:
            _collect(item, path, found)
    elif dataclasses.is_dataclass(value) and not isinstance(value, (Moment, Quantity)):
        for entry in dataclasses.fields(value):
            if entry.name not in ("samples", "missing", "_digest"):
                inner = getattr(value, entry.name)
                default = None if entry.default is dataclasses.MISSING else entry.default
                if inner != default:
                    _collect(inner, f"{path}.{entry.name}", found)
    else:
        found[(path, str(value))] += 1
