"""Changes that somebody asks for, the same for all formats; the receipt lists them as changed on request."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from interchange.errors import UsageError
from interchange.records import dataclass

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from interchange.model import Recording, Tracing

__all__ = ["FIELD_NAMES", "Requests"]

FIELD_NAMES: Mapping[str, str] = {
    "patient-id": "patient.ids[0].value",
    "patient-id-issuer": "patient.ids[0].issuer",
    "family-name": "patient.name.family",
    "given-name": "patient.name.given",
    "birth-date": "patient.birth_date",
    "age": "patient.age",
    "sex": "patient.sex",
    "accession-number": "acquisition.study.accession.value",
    "accession-issuer": "acquisition.study.accession.issuer",
    "study-id": "acquisition.study.id",
    "study-uid": "acquisition.study.uid",
    "series-uid": "acquisition.study.series_uid",
    "institution": "acquisition.site.institution",
    "department": "acquisition.site.department",
}
"""Short names for ``--set``; any other field is named by its path in the model (``patient.height``)."""


@dataclass(frozen=True, slots=True)
class Requests:
    """What was asked for.

    ``fields``: (field name or model path, value as text).  ``zone``: offset ("+02:00") for a time without one.
    ``time``: acquisition time in ISO 8601.  ``relabel``: (old lead name, new), all at once.  ``leads``: names to keep,
    in this order.  ``tracing``: number of the one tracing to keep, counted from 1.  ``only_ecg``: keep channels that
    are a known lead in microvolts.  ``derive``: add leads that follow exactly from recorded ones.
    """

    fields: tuple[tuple[str, str], ...] = ()
    zone: str | None = None
    time: str | None = None
    relabel: tuple[tuple[str, str], ...] = ()
    leads: tuple[str, ...] = ()
    tracing: int | None = None
    only_ecg: bool = False
    derive: bool = False

    def __bool__(self) -> bool:
        return self != Requests()

    def apply(self, recording: Recording) -> Recording:
        """The recording with the changes made; UsageError for what makes no sense with it."""
        for field, value in self.fields:
            recording = _set(recording, field, value)
        if self.time is not None or self.zone is not None:
            recording = self._timed(recording)
        if self.tracing is not None:
            recording = _one_tracing(recording, self.tracing)
        if self.relabel:
            from interchange.relabel import relabelled

            recording = relabelled(recording, self.relabel)
        if self.only_ecg:
            recording = _only_ecg(recording)
        if self.leads:
            recording = _only_leads(recording, self.leads)
        if self.derive:
            from interchange.derive import derive

            recording = derive(recording)
        return recording

    def _timed(self, recording: Recording) -> Recording:
        from interchange.model import Moment

        try:
            time = Moment.parse(self.time) if self.time is not None else recording.acquisition.time
        except ValueError:
            raise UsageError("is no time in the form 2031-04-05T14:03:07", "--time") from None
        if self.zone is not None:
            try:
                zone = Moment.parse(f"T00:00{self.zone}").zone
            except ValueError:
                zone = None
            if zone is None:
                raise UsageError("is no zone in the form +02:00", "--zone")
            if time is None:
                raise UsageError("the recording has no acquisition time that could be given a zone", "--zone")
            if time.hour is None:
                raise UsageError("the acquisition time has no time of day that could be given a zone", "--zone")
            if time.zone not in (None, zone):
                raise UsageError("the time has another zone already; --time with the whole time replaces it", "--zone")
            time = replace(time, zone=zone)
        return recording.with_(acquisition=replace(recording.acquisition, time=time))


def _set(recording: Recording, field: str, value: str) -> Recording:
    from interchange.model.lines import apply, escaped

    path = FIELD_NAMES.get(field, field)
    protected = path.split(".", 1)[0].split("[", 1)[0]
    if protected not in ("patient", "acquisition", "trial"):
        raise UsageError(f"can set fields of patient, acquisition and trial, or {', '.join(FIELD_NAMES)}", "--set")
    if not value.strip():
        raise UsageError("needs a value after the equals sign", f"--set {field}")
    changed, rest = apply(recording, [f"{path}: {escaped(value)}"])
    if rest or not _makes_sense(changed, path):
        raise UsageError(_why_not_set(path), f"--set {field}")
    return changed


def _makes_sense(recording: Recording, path: str) -> bool:
    """Whether a value that has the right form is one that there can be."""
    name = path.rpartition(".")[2]
    if path in ("patient.age", "patient.height", "patient.weight", "patient.systolic", "patient.diastolic"):
        size = getattr(recording.patient, name)
        return size is None or size.value >= 0
    urgency = recording.acquisition.urgency
    return path != "acquisition.urgency" or urgency is None or 0 <= urgency <= 10


_FORMS = {
    "patient.birth_date": "a date, as 1968-11-02",
    "patient.sex": "female, male or other",
    "patient.age": "a number with its unit, as 62 a (years), 5 mo, 3 wk, 12 d",
    "patient.height": "a number with its unit, as 168 cm",
    "patient.weight": "a number with its unit, as 71 kg",
    "patient.systolic": "a number with its unit, as 104 mm[Hg]",
    "patient.diastolic": "a number with its unit, as 66 mm[Hg]",
    "acquisition.urgency": "a whole number from 0 (routine) to 10",
    "acquisition.time": "a date and time, as 2031-04-05T14:03:07+02:00",
}


def _why_not_set(path: str) -> str:
    """What is wrong with a field or with its value; the value itself, which may be about somebody, is not repeated."""
    from interchange.model.paths import field_paths

    bare = "".join(part.partition("]")[2] if index else part for index, part in enumerate(path.split("[")))
    if bare in _FORMS:
        return f"the value must be {_FORMS[bare]}"
    if bare in field_paths():
        return "the value is not of the form that this field has"
    return 'there is no such field; "interchange convert --help" names the usual ones'


def _one_tracing(recording: Recording, number: int) -> Recording:
    if not 1 <= number <= len(recording.tracings):
        raise UsageError(f"the recording has {_tracings(len(recording.tracings))}", "--tracing")
    return _with_tracings(recording, [t if i == number - 1 else None for i, t in enumerate(recording.tracings)])


def _tracings(count: int) -> str:
    return "one tracing" if count == 1 else f"{count} tracings"


def _with_tracings(recording: Recording, tracings: Sequence[Tracing | None]) -> Recording:
    """The recording with these tracings; None = that one goes, with its marks.  With a lead go its measurements."""
    index = {old: new for new, old in enumerate(i for i, t in enumerate(tracings) if t is not None)}
    if not index:
        raise UsageError("nothing would be left of the recording")
    kept = [replace(t, of=index.get(t.of) if t.of is not None else None) for t in tracings if t is not None]
    names = {i: set(t.names) for i, t in enumerate(tracings) if t is not None}
    gone = {name for t in recording.tracings for name in t.names}.difference(*names.values())
    marks = tuple(
        replace(m, tracing=index[m.tracing])
        for m in recording.marks
        if m.tracing in index and (m.lead is None or m.lead in names[m.tracing])
    )
    measurements = tuple(m for m in recording.measurements if m.lead not in gone)
    return recording.with_(tracings=tuple(kept), marks=marks, measurements=measurements)


def _only_leads(recording: Recording, leads: Sequence[str]) -> Recording:
    from interchange.vocabulary import channel_name, lead_named

    wanted = []
    for label in leads:
        lead = lead_named(label)
        wanted.append(channel_name(lead) if lead else label)
    if len(set(wanted)) < len(wanted):
        raise UsageError("names a lead twice", "--leads")
    tracings: list[Tracing | None] = []
    for tracing in recording.tracings:
        rows = [row for name in wanted for row, held in enumerate(tracing.names) if held == name]
        tracings.append(tracing.take(rows) if rows else None)
    held = {name for t in recording.tracings for name in t.names}
    missing = [name for name in wanted if name not in held]
    if missing:
        raise UsageError(f"the recording has no lead {', '.join(missing)}", "--leads")
    return _with_tracings(recording, tracings)


def _only_ecg(recording: Recording) -> Recording:
    from interchange.vocabulary import lead_for_channel

    tracings: list[Tracing | None] = []
    for tracing in recording.tracings:
        rows = [
            row
            for row, channel in enumerate(tracing.channels)
            if channel.unit == "uV" and lead_for_channel(channel.name, channel.origin == "derived") is not None
        ]
        tracings.append(tracing.take(rows) if rows else None)
    return _with_tracings(recording, tracings)
