"""The receipt for people: short, the important first, nothing important left out."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction

from interchange.printable import printable
from interchange.receipt.content import Entry, Receipt

__all__ = ["receipt_text", "receipt_verdict"]

_SHOWN = 8
"""Entries of one kind with one reason that are shown; the rest is counted (the JSON form has all)."""


def receipt_text(receipt: Receipt) -> str:
    """The receipt as lines of text, safe for a terminal."""
    lines = [*_documents(receipt), "", *_verdict(receipt), *_tracings(receipt), *_carried(receipt)]
    lines += _entries("Changed on request", [e for e in receipt.changed + receipt.left if e.requested])
    lines += _entries("Changed", [e for e in receipt.changed if not e.requested])
    lines += _entries("Left behind", [e for e in receipt.left if not e.requested])
    if receipt.removals:
        lines += ["", "De-identified (values removed, replaced, kept):"]
        lines += [f"  {r.group}: {r.removed}, {r.replaced}, {r.kept}" for r in receipt.removals]
    if receipt.added:
        lines += ["", "Added because the target demands it:"]
        lines += _limited([f"  {a.path}: {a.value or 'empty'} - {a.reason}" for a in receipt.added])
    if receipt.unread:
        lines += ["", "In the source and not read:"]
        lines += _limited([f"  {u.place}: {u.what} ({u.size} bytes)" for u in receipt.unread])
    if receipt.findings:
        lines += ["", "Noticed while reading the source:"]
        lines += _limited([f"  {f.severity} {f.rule} at {f.place}: {f.reason}" for f in receipt.findings])
    if receipt.notes:
        lines += ["", "About the target:", *(f"  {note}" for note in receipt.notes)]
    lines += ["", *receipt.cautions]
    return "\n".join(printable(line) for line in lines)


def receipt_verdict(receipt: Receipt) -> str:
    """The first lines of the receipt: from what to what, and how it went; quotes no value of the recording."""
    return "\n".join(printable(line) for line in (*_documents(receipt), *_verdict(receipt)))


def _documents(receipt: Receipt) -> list[str]:
    source = ", ".join(f"{d.name} ({d.format or 'arrays'})" for d in receipt.source) or "arrays"
    target = ", ".join(f"{d.name}" for d in reversed(receipt.target))
    kind = receipt.target[-1].format if receipt.target else None
    return [f"{source} -> {target}" + (f" ({kind})" if kind else "")]


def _verdict(receipt: Receipt) -> list[str]:
    return [*_damage(receipt), *_result(receipt)]


def _damage(receipt: Receipt) -> list[str]:
    """What must be known before anything else: the source itself is not whole."""
    errors = [finding for finding in receipt.findings if finding.severity == "error"]
    if not errors:
        return []
    count = "one error" if len(errors) == 1 else f"{len(errors)} errors"
    first = f"{errors[0].reason}, at {errors[0].place}" if errors[0].place else errors[0].reason
    return [f"THE SOURCE IS DAMAGED: {count} while reading it ({first}). Only what could be read was carried."]


def _result(receipt: Receipt) -> list[str]:
    if not receipt.verified:
        return ["NOT VERIFIED: the output was not read back."]
    if receipt.samples_identical and receipt.sample_error == 0 and receipt.time_error == 0:
        first = "Samples identical: every sample of every lead was read back from the target with its value and time."
    elif receipt.samples_identical:
        first = (
            "Samples kept within the policy: largest change "
            f"{_number(receipt.sample_error)} microvolts, {_number(receipt.time_error * 1000)} ms."
        )
    else:
        first = (
            "SAMPLES DIFFER as accepted: largest change "
            f"{_number(receipt.sample_error)} microvolts, {_number(receipt.time_error * 1000)} ms."
        )
    changed = [e for e in receipt.changed if not e.requested]
    left = [e for e in receipt.left if not e.requested]
    counts = (
        f"{len(changed)} changed, {len(left)} left behind, {len(receipt.added)} added, {len(receipt.unread)} unread."
    )
    return [first, counts] + ([f"Accepted: {', '.join(receipt.accepted)}."] if receipt.losses else [])


def _tracings(receipt: Receipt) -> list[str]:
    lines = ["", "Tracings:"]
    for tracing in receipt.tracings:
        state = "left behind" if tracing.written is None else "carried"
        if tracing.written is None and not receipt.verified:
            state = "written"
        elif tracing.written is not None and tracing.written != tracing.digest:
            state = "carried, see below"
        start = f", starts at {_number(tracing.start)} s" if tracing.start else ""
        size = f"{len(tracing.leads)} x {tracing.samples} samples, {_number(tracing.rate)}/s"
        lines.append(f"  {tracing.kind}: {size}{start}: {state} ({' '.join(tracing.leads)})")
    return lines


_NAMES = {
    "patient": "patient",
    "acquisition": "acquisition",
    "measurements": "measurements",
    "marks": "marks",
    "statements": "statements",
    "trial": "trial data",
}


def _carried(receipt: Receipt) -> list[str]:
    counts: dict[str, int] = defaultdict(int)
    for carried in receipt.carried:
        counts[carried.path.split(".", 1)[0]] += carried.count
    parts = [
        f"{count} {name}{' fields' if key in ('patient', 'acquisition', 'trial') else ''}"
        for key, name in _NAMES.items()
        if (count := counts[key])
    ]
    return ["", f"Carried as they were: {', '.join(parts)}."] if parts else []


def _entries(title: str, entries: Sequence[Entry]) -> list[str]:
    if not entries:
        return []
    groups: dict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        groups[entry.reason].append(entry)
    lines = ["", f"{title}:"]
    for reason, members in groups.items():
        lines.append(f"  Why: {reason}")
        lines += _limited([f"    {_entry(member)}" for member in members], "    ")
    return lines


def _entry(entry: Entry) -> str:
    mark = f" [protected: {entry.protected}]" if entry.protected and not entry.requested else ""
    if entry.after is None:
        return f"{entry.path}: {_short(entry.before)}{mark}"
    if entry.before is None:
        return f"{entry.path}: set to {_short(entry.after)}{mark}"
    return f"{entry.path}: {_short(entry.before)} -> {_short(entry.after)}{mark}"


def _short(text: str | None) -> str:
    if text is None:
        return ""
    return text if len(text) <= 120 else f"{text[:100]} ... ({len(text)} characters)"


def _limited(lines: Iterable[str], indent: str = "  ") -> list[str]:
    shown = list(lines)
    if len(shown) <= _SHOWN + 1:
        return shown
    return [*shown[:_SHOWN], f"{indent}and {len(shown) - _SHOWN} more (--json lists all)"]


def _number(value: Fraction) -> str:
    if value.denominator == 1:
        return str(value.numerator)
    text = f"{float(value):.6g}"
    return text if Fraction(text) == value else f"about {text}"
