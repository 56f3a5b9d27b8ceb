"""From a comparison and the writer's notes to a receipt."""

from __future__ import annotations

import dataclasses
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING

from interchange._version import __version__
from interchange.compare import Comparison, Difference
from interchange.compare.signal import match_tracings
from interchange.formats.contract import Account, Note
from interchange.model import Code, Moment, Quantity, Recording, Tracing
from interchange.receipt.content import Added, Carried, Document, Entry, Receipt, TracingSummary

if TYPE_CHECKING:
    from interchange.deidentify import Removal

__all__ = ["build_receipt"]

_INDEX = r"\[[^\]]*\]"
_REQUESTED = "changed on request"


def build_receipt(
    original: Recording,
    recording: Recording,
    written: Recording | None,
    comparison: Comparison,
    *,
    requested: Comparison | None = None,
    requested_why: str = _REQUESTED,
    notes: Sequence[Note] = (),
    account: Callable[[], Account] = dict,
    source: Sequence[Document] = (),
    target: Sequence[Document] = (),
    accepted: Iterable[str] = (),
    removals: Sequence[Removal] = (),
) -> Receipt:
    """The receipt of one conversion.

    ``original``: as read.  ``recording``: after the requested changes, as handed to the writer.  ``written``: as read
    back, None when nothing was read back (the receipt then says unverified).  ``comparison``: of ``recording`` with
    ``written``; ``requested``: of ``original`` with ``recording``.  ``account``: gives the format's account, asked for
    when a difference needs it.
    """
    why = _Reasons(notes, account)
    asked = _REQUESTED if requested_why == "" else requested_why
    entries = [_entry(d, asked, True, original if d.before is not None else recording) for d in _all(requested)]
    entries += [_entry(d, why.of(d), False, recording) for d in comparison.differences if d.kind != "added"]
    added = [Added(n.path, n.value, n.reason) for n in notes if n.kind == "added"]
    added += [_added(d, why.of(d), written) for d in comparison.differences if d.kind == "added"]
    return Receipt(
        source=tuple(source),
        target=tuple(target),
        tracings=_tracings(recording, written),
        carried=_carried(recording, comparison) if written is not None else (),
        changed=tuple(e for e in entries if e.after is not None),
        left=tuple(e for e in entries if e.after is None),
        added=tuple(added),
        notes=tuple(n.reason for n in notes if n.kind == "info"),
        unread=original.unread,
        findings=original.findings,
        accepted=tuple(accepted),
        sample_error=comparison.sample_error,
        time_error=comparison.time_error,
        verified=written is not None,
        version=__version__,
        removals=tuple(removals),
    )


def _all(comparison: Comparison | None) -> tuple[Difference, ...]:
    return comparison.differences if comparison else ()


def _entry(difference: Difference, reason: str, requested: bool, holder: Recording) -> Entry:
    """``holder``: the recording whose indices the path has."""
    from interchange.receipt.words import field_words

    d = difference
    return Entry(d.path, d.before, d.after, reason, d.protected, requested, field_words(d.path, holder))


def _added(difference: Difference, reason: str, holder: Recording | None) -> Added:
    from interchange.receipt.words import field_words

    return Added(difference.path, difference.after or "", reason, field_words(difference.path, holder))


class _Reasons:
    """The writer's reason for a difference: its note with the longest path that fits, else the format's account."""

    def __init__(self, notes: Sequence[Note], account: Callable[[], Account]) -> None:
        self._notes: dict[str, str] = {}
        for note in notes:
            if note.kind in ("changed", "left"):
                self._notes.setdefault(note.path, note.reason)
        self._account = account

    def of(self, difference: Difference) -> str:
        bare = re.sub(_INDEX, "", difference.path)
        for path in (*_prefixes(difference.path), *_prefixes(bare)):
            if path in self._notes:
                return self._notes[path]
        account = self._account()
        for path in _prefixes(bare):
            place = account.get(path)
            if place is not None:
                if difference.kind == "added":
                    return f"its place in the target cannot be left open ({place.where})"
                if place.how == "left":
                    return place.where
                return f"does not fit its place in the target as it is ({place.where})"
        return "the target has no place for it"


def _prefixes(path: str) -> list[str]:
    """The path and everything above it, longest first; an item's index is taken off before its list."""
    found = [path]
    while path:
        cut = max(path.rfind("."), path.rfind("["))
        if cut < 0:
            break
        path = path[:cut]
        found.append(path)
    return found


def _tracings(recording: Recording, written: Recording | None) -> tuple[TracingSummary, ...]:
    pairs = match_tracings(recording.tracings, written.tracings) if written else {}
    return tuple(
        TracingSummary(
            t.kind,
            t.names,
            t.length,
            t.rate,
            t.start,
            t.digest,
            _digest_beside(t, written.tracings[pairs[i]]) if written and i in pairs else None,
        )
        for i, t in enumerate(recording.tracings)
    )


def _digest_beside(first: Tracing, second: Tracing) -> str:
    """The digest of the second: that of the first where they agree in all that it is made from."""
    return first.digest if first.has_content_of(second) else second.digest


def _carried(recording: Recording, comparison: Comparison) -> tuple[Carried, ...]:
    """Number of values per field that have no difference at or below them."""
    touched = {path for d in comparison.differences if d.kind != "added" for path in _prefixes(d.path)}
    counts: Counter[str] = Counter()
    for index, tracing in enumerate(recording.tracings):
        for row in range(len(tracing.channels)):
            paths = (f"tracings[{index}].samples[{row}]", f"tracings[{index}].channels[{row}]", f"tracings[{index}]")
            lost = any(d.path in (*paths, f"tracings[{index}].missing[{row}]") for d in comparison.differences)
            counts["tracings.samples"] += 0 if lost else tracing.length
        for path in (f"tracings[{index}].rate", f"tracings[{index}].start"):
            counts[path.replace(f"[{index}]", "")] += path not in touched
    for name in ("measurements", "marks", "statements"):
        for index in range(len(getattr(recording, name))):
            counts[name] += f"{name}[{index}]" not in touched
    for name in ("patient", "acquisition", "trial"):
        _count(getattr(recording, name), name, touched, counts)
    return tuple(Carried(path, count) for path, count in counts.items() if count)


def _count(value: object, path: str, touched: set[str], counts: Counter[str]) -> None:
    if value is None or value == () or value is False or (path in touched and not _is_group(value)):
        return
    if isinstance(value, tuple):
        for index, item in enumerate(value):
            _count(item, f"{path}[{index}]", touched, counts)
    elif _is_group(value):
        for entry in dataclasses.fields(value):  # type: ignore[arg-type]
            _count(getattr(value, entry.name), f"{path}.{entry.name}", touched, counts)
    else:
        counts[re.sub(_INDEX, "", path)] += 1


def _is_group(value: object) -> bool:
    return isinstance(value, tuple) or (
        dataclasses.is_dataclass(value) and not isinstance(value, (Moment, Quantity, Code))
    )
