"""What a receipt holds, and its JSON form (schemas/receipt.schema.json)."""

from __future__ import annotations

from dataclasses import field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from interchange.findings import Finding
from interchange.model import Unread
from interchange.records import dataclass

if TYPE_CHECKING:
    from interchange.deidentify import Removal

__all__ = ["CAUTIONS", "Added", "Carried", "Document", "Entry", "Receipt"]

RECEIPT_VERSION = 1

CAUTIONS = (
    "Carried, not verified: nothing here says that tracing, values or statements are right.",
    "This is not a diagnostic device. Local protocols and licensed clinicians decide.",
    "This receipt is a patient document: it quotes what changed or was left behind.",
)

CAUTIONS_DEIDENTIFIED = (
    *CAUTIONS[:2],
    "De-identified is not anonymous: a waveform can be matched with another of the same person; "
    "rare findings and ages can single somebody out.",
    "Local rules and the data-protection officer decide what may be passed on.",
)


@dataclass(frozen=True, slots=True)
class Entry:
    """One difference between the source and what was written.

    ``path``: field of the model.  ``before``, ``after``: values as text, None where there is none.  ``reason``: why.
    ``protected``: the protected class, None for all others.  ``requested``: the change was asked for.  ``field``: the
    path in words of the trade, which quote nothing of the source.
    """

    path: str
    before: str | None
    after: str | None
    reason: str
    protected: str | None = None
    requested: bool = False
    field: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Added:
    """Something that the target demands and the source does not have: where, what was put there, why.

    ``path``: place in the target, or field of the model; ``field``: a field of the model in words.
    """

    path: str
    value: str
    reason: str
    field: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Carried:
    """A part of the recording that arrived as it was: field of the model and number of values."""

    path: str
    count: int


@dataclass(frozen=True, slots=True)
class Document:
    """A file that was read or written: name as given, format, size in bytes, SHA-256."""

    name: str
    format: str | None
    size: int
    sha256: str


@dataclass(frozen=True, slots=True)
class TracingSummary:
    """A tracing in numbers: leads, samples, rate, digest of the source and of what was written (None = left behind)."""

    kind: str
    leads: tuple[str, ...]
    samples: int
    rate: Fraction
    start: Fraction
    digest: str
    written: str | None


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a conversion did.

    ``changed``, ``left``: every difference that the comparison of the source with the read-back found.  ``added``:
    what the target demanded.  ``carried``: everything else.  ``verified``: the output was read back and compared.
    ``accepted``: the protected classes that were allowed to change.  ``sample_error``: largest change of a sample in
    microvolts; ``time_error``: of a sample's time in seconds.  ``removals``: what de-identification did per group of
    fields; such a receipt quotes nothing of the source and names it by number.
    """

    source: tuple[Document, ...]
    target: tuple[Document, ...]
    tracings: tuple[TracingSummary, ...]
    carried: tuple[Carried, ...]
    changed: tuple[Entry, ...]
    left: tuple[Entry, ...]
    added: tuple[Added, ...]
    notes: tuple[str, ...]
    unread: tuple[Unread, ...]
    findings: tuple[Finding, ...]
    accepted: tuple[str, ...]
    sample_error: Fraction
    time_error: Fraction
    verified: bool
    version: str
    removals: tuple[Removal, ...] = ()

    @property
    def cautions(self) -> tuple[str, ...]:
        """What has to be said with every receipt."""
        return CAUTIONS_DEIDENTIFIED if self.removals else CAUTIONS

    @property
    def losses(self) -> tuple[Entry, ...]:
        """Changes and losses in protected classes that nobody asked for."""
        return tuple(e for e in (*self.changed, *self.left) if e.protected and not e.requested)

    @property
    def samples_kept(self) -> bool:
        """Whether nothing moved by more than a thousandth of its step or of the interval, and no lead changed."""
        return self.verified and not any(e.protected in ("signal", "timing", "leads") for e in self.losses)

    @property
    def samples_identical(self) -> bool:
        """Whether every sample of every lead arrived with exactly its value and its time (or as requested)."""
        moved = any(not e.requested and ".samples[" in e.path for e in self.changed)
        return self.samples_kept and not moved and not self.sample_error and not self.time_error

    def as_bytes(self) -> bytes:
        """The receipt as a JSON document in UTF-8, one line for each entry."""
        import json

        encode = json.JSONEncoder(ensure_ascii=False).encode
        lines = []
        for name, value in self.as_json().items():
            if isinstance(value, list) and value:
                entries = ",\n  ".join(map(encode, value))
                lines.append(f' "{name}": [\n  {entries}\n ]')
            else:
                lines.append(f' "{name}": {encode(value)}')
        return ("{\n" + ",\n".join(lines) + "\n}\n").encode("utf-8", "backslashreplace")

    def as_json(self) -> dict[str, Any]:
        """The receipt as plain data for ``json.dumps``; fractions are exact decimals or ``n/d`` as text."""
        from interchange.model.lines import decimal

        return {
            "document": "interchange receipt",
            "version": RECEIPT_VERSION,
            "program": f"interchange {self.version}",
            "source": [_document(d) for d in self.source],
            "target": [_document(d) for d in self.target],
            "verified": self.verified,
            "samples_identical": self.samples_identical,
            "largest_sample_change_microvolts": decimal(self.sample_error),
            "largest_time_change_seconds": decimal(self.time_error),
            "tracings": [_tracing(t) for t in self.tracings],
            "carried": [{"path": c.path, "count": c.count} for c in self.carried],
            "changed": [_entry(e) for e in self.changed],
            "left": [_entry(e) for e in self.left],
            "added": [_added(a) for a in self.added],
            "notes": list(self.notes),
            "accepted": list(self.accepted),
            "deidentification": [
                {"group": r.group, "removed": r.removed, "replaced": r.replaced, "kept": r.kept} for r in self.removals
            ],
            "unread": [{"place": u.place, "size": u.size, "what": u.what} for u in self.unread],
            "findings": [finding_json(f) for f in self.findings],
            "cautions": list(self.cautions),
        }


def finding_json(finding: Finding) -> dict[str, str]:
    """A finding as plain data."""
    return {
        "rule": finding.rule,
        "severity": finding.severity,
        "place": finding.place,
        "reason": finding.reason,
        "clause": finding.clause,
    }


def _document(document: Document) -> dict[str, Any]:
    return {
        "name": document.name,
        "format": document.format,
        "size": document.size,
        "sha256": document.sha256,
    }


def _tracing(tracing: TracingSummary) -> dict[str, Any]:
    from interchange.model.lines import decimal

    return {
        "kind": tracing.kind,
        "leads": list(tracing.leads),
        "samples": tracing.samples,
        "rate": decimal(tracing.rate),
        "start": decimal(tracing.start),
        "digest": tracing.digest,
        "written_digest": tracing.written,
    }


def _added(added: Added) -> dict[str, Any]:
    return {"path": added.path, "field": added.field, "value": added.value, "reason": added.reason}


def _entry(entry: Entry) -> dict[str, Any]:
    return {
        "path": entry.path,
        "field": entry.field,
        "before": entry.before,
        "after": entry.after,
        "reason": entry.reason,
        "protected": entry.protected,
        "requested": entry.requested,
    }
