"""Many recordings together: the same tracing twice, one age for all.

Only a :class:`Summary` of each recording is kept, so that a folder of any size can be looked at.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from interchange.checks.config import CheckConfig
from interchange.checks.sources import PROJECT
from interchange.findings import Finding, Rule
from interchange.model import Recording
from interchange.records import dataclass

__all__ = ["RULES", "Summary", "check_collection", "summary_of"]

_SAME = Rule(
    "set.same-tracing", "note", "two files hold the same tracing", "identity of the samples",
    "It was probably sent twice: count it once.", "computed",
)  # fmt: skip
_OTHER_PATIENT = Rule(
    "set.same-tracing-other-patient", "error", "two files hold the same tracing under contradicting identities",
    "identity of the samples",
    "At least one of the two names the wrong patient.", "computed",
)  # fmt: skip
_SAME_DOCUMENT = Rule(
    "set.same-document-other-tracing", "warning", "two files have one document id and different tracings",
    "identity of the samples",
    "A receiver that keeps one of each id will lose one of them.", "computed",
)  # fmt: skip
_AGE = Rule(
    "set.shared-age", "note", "many tracings of one device share one age", PROJECT,
    "It may be the age that the device fills in by itself; if so, add it to the site's list.", "proposal",
)  # fmt: skip

RULES = (_SAME, _OTHER_PATIENT, _SAME_DOCUMENT, _AGE)

_FEWEST_SHARED = 4
_PERSONAL = ("id", "name", "birth_date", "sex")


@dataclass(frozen=True, slots=True)
class Summary:
    """What is kept of a recording: where it is, digests of its rhythm tracings, who, with what, document id."""

    place: str
    digests: tuple[str, ...]
    document: str
    device: str
    age: str
    id: tuple[str, str] | None
    name: str
    birth_date: str
    sex: str

    def contradicts(self, other: Summary) -> tuple[str, ...]:
        """Fields that both state, differently.  Ids of different issuers contradict nothing."""
        if self.id and other.id and self.id[1] and other.id[1] and self.id[1] != other.id[1]:
            fields: tuple[str, ...] = _PERSONAL[1:]
        else:
            fields = _PERSONAL
        differs = []
        for name in fields:
            mine, theirs = getattr(self, name), getattr(other, name)
            if name == "id" and mine and theirs:
                mine, theirs = mine[0], theirs[0]
            if mine and theirs and mine != theirs:
                differs.append(name)
        return tuple(differs)


def summary_of(recording: Recording, place: str) -> Summary:
    """The summary of a recording; ``place`` is the name of its file as the caller gave it."""
    patient, devices = recording.patient, recording.acquisition.devices
    device = next((d for d in devices if d.role != "analysing"), devices[0] if devices else None)
    first = patient.ids[0] if patient.ids else None
    return Summary(
        place=place,
        digests=tuple(tracing.digest for tracing in recording.rhythms if tracing.length),
        document=f"{recording.document_id.issuer or ''}|{recording.document_id.value}" if recording.document_id else "",
        device="|".join((device.manufacturer or "", device.model or "", device.serial))
        if device and device.serial
        else "",
        age=str(patient.age) if patient.age is not None else "",
        id=(first.value, first.issuer or "") if first else None,
        name=str(patient.name).casefold() if patient.name else "",
        birth_date=str(patient.birth_date) if patient.birth_date else "",
        sex=patient.sex or "",
    )


def check_collection(summaries: Iterable[Summary], config: CheckConfig | None = None) -> tuple[Finding, ...]:
    """Findings over a set of recordings, in the order of the set; the place of a finding is the file's name."""
    kept = tuple(summaries)
    used = config or CheckConfig()
    return tuple(used.applied(_findings(kept, used)))


def _findings(kept: Sequence[Summary], config: CheckConfig) -> Iterator[Finding]:
    tracings: dict[str, Summary] = {}
    documents: dict[str, Summary] = {}
    for summary in kept:
        earlier = next((tracings[d] for d in summary.digests if d in tracings), None)
        if earlier is not None:
            differs = earlier.contradicts(summary)
            if differs:
                yield _OTHER_PATIENT.at(summary.place, f"{', '.join(differs)}; the other is {earlier.place}")
            else:
                yield _SAME.at(summary.place, f"the other is {earlier.place}")
        before = documents.get(summary.document) if summary.document else None
        if before is not None and before.digests != summary.digests:
            yield _SAME_DOCUMENT.at(summary.place, f"the other is {before.place}")
        for digest in summary.digests:
            tracings.setdefault(digest, summary)
        if summary.document:
            documents.setdefault(summary.document, summary)
    yield from _shared_ages(kept, config)


def _shared_ages(kept: Sequence[Summary], config: CheckConfig) -> Iterator[Finding]:
    """Of the different tracings of a device that state an age."""
    by_device: dict[str, list[Summary]] = {}
    seen: set[tuple[str, ...]] = set()
    for summary in kept:
        if summary.device and summary.age and summary.digests not in seen:
            seen.add(summary.digests)
            by_device.setdefault(summary.device, []).append(summary)
    for found in by_device.values():
        if len(found) < config.exact("shared-age-tracings"):
            continue
        for age, count in Counter(s.age for s in found).items():
            if count >= _FEWEST_SHARED and count > config.exact("shared-age") * len(found):
                first = next(s for s in found if s.age == age)
                yield _AGE.at(first.place, f"{count} of {len(found)} tracings of one device")
