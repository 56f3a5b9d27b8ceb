"""The receipt of a conversion as a part of the page: verdict, before and after, left behind, added."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.model.lines import decimal
from interchange.receipt import Added, Document, Entry, Receipt
from interchange.report.markup import Html, cell_list, join, lines, section, table, tag
from interchange.report.parts import finding_list
from interchange.show.words import number

__all__ = ["receipt_section"]

MOST_ROWS = 500
LONGEST = 400


def receipt_section(receipt: Receipt) -> Html:
    """Everything that the receipt says."""
    content: list[Html] = [*_verdict(receipt), _documents(receipt), _tracings(receipt)]
    asked = [entry for entry in (*receipt.changed, *receipt.left) if entry.requested]
    content += _entries("Changed on request", asked)
    content += _entries("Changed: before and after", [e for e in receipt.changed if not e.requested])
    content += _entries("Left behind", [e for e in receipt.left if not e.requested])
    if receipt.removals:
        rows = [(r.group, str(r.removed), str(r.replaced), str(r.kept)) for r in receipt.removals]
        heads = ("Group", "Removed", "Replaced", "Kept")
        content.append(table("De-identification, number of values", heads, rows, numbers=(1, 2, 3)))
    if receipt.added:
        added = [(_field(a), _short(a.value) or "empty", a.reason) for a in receipt.added[:MOST_ROWS]]
        content.append(table("Added because the target demands it", ("Field", "Value", "Why"), added))
    if receipt.carried:
        content += [tag("h3", "Carried as they were"), _carried(receipt)]
    if receipt.findings:
        content += [tag("h3", "Noticed while reading the source"), finding_list(receipt.findings)]
    if receipt.notes:
        content += [tag("h3", "About the target"), lines(receipt.notes)]
    content.append(lines(receipt.cautions, "note"))
    return section("receipt", "Conversion", content, f"Receipt of {_program(receipt)}.")


def _program(receipt: Receipt) -> str:
    return f"interchange {receipt.version}"


def _verdict(receipt: Receipt) -> list[Html]:
    if not receipt.verified:
        return [tag("p", "Not verified: the output was not read back.", class_="alarm")]
    change = f"largest change {number(receipt.sample_error)} microvolts, {number(receipt.time_error * 1000)} ms of time"
    if not receipt.samples_kept:
        first = tag("p", f"Samples differ, as accepted: {change}.", class_="alarm")
    elif not receipt.samples_identical:
        first = tag("p", f"Samples kept within the policy: {change}.", class_="lead")
    else:
        words = "Samples identical: every sample of every lead was read back with its value and its time."
        first = tag("p", words, class_="lead")
    changed = sum(not entry.requested for entry in receipt.changed)
    left = sum(not entry.requested for entry in receipt.left)
    counts = f"{changed} changed, {left} left behind, {len(receipt.added)} added, {len(receipt.unread)} not read."
    accepted = [tag("p", f"Accepted: {', '.join(receipt.accepted)}.")] if receipt.accepted else []
    return [first, tag("p", counts), *accepted]


def _documents(receipt: Receipt) -> Html:
    rows = [_document("Source", item) for item in receipt.source] or [("Source", "arrays", "", "", "")]
    rows += [_document("Target", item) for item in receipt.target]
    heads = ("", "File", "Format", "Bytes", "SHA-256")
    return table("Files", heads, rows, numbers=(3,))


def _document(side: str, item: Document) -> tuple[str, str, str, str, str]:
    return side, item.name, item.format or "not said", str(item.size), item.sha256


def _tracings(receipt: Receipt) -> Html:
    rows = []
    for place, item in enumerate(receipt.tracings, 1):
        same = item.written == item.digest
        state = "left behind" if item.written is None else "same tracing" if same else "see below"
        if item.written is None and not receipt.verified:
            state = "written, not read back"
        size = f"{len(item.leads)} × {item.samples}"
        rows.append((str(place), item.kind, " ".join(item.leads), size, number(item.rate), decimal(item.start), state))
    heads = ("Tracing", "Kind", "Leads", "Samples", "Per second", "Starts at s", "In the target")
    return table("Tracings", heads, rows, numbers=(3, 4, 5))


def _entries(caption: str, entries: Sequence[Entry]) -> list[Html]:
    if not entries:
        return []
    rows = [(_field(entry), _side(entry.before), _side(entry.after), _why(entry)) for entry in entries[:MOST_ROWS]]
    more = f"and {len(entries) - MOST_ROWS} more: the receipt's file has all" if len(entries) > MOST_ROWS else ""
    return [table(caption, ("Field", "Before", "After", "Why"), rows, wide=(3,), foot=more)]


def _field(entry: Entry | Added) -> Html:
    """The field in words with its path in the model below."""
    return join([entry.field, tag("small", entry.path)]) if entry.field else join([entry.path])


def _carried(receipt: Receipt) -> Html:
    """Fields by what they belong to, with the number of values where there are several."""
    groups: dict[str, list[str]] = {}
    for item in receipt.carried:
        owner, _, name = item.path.partition(".")
        many = f" ({item.count})" if item.count > 1 else ""
        groups.setdefault(owner, []).append(f"{name or 'all'}{many}")
    return cell_list((owner, [", ".join(names)]) for owner, names in groups.items())


def _side(value: str | None) -> Html:
    return tag("em", "nothing") if value is None else tag("bdi", _short(value))


def _why(entry: Entry) -> Html:
    if not entry.protected:
        return join([entry.reason])
    return join([entry.reason, " ", tag("strong", f"Protected: {entry.protected}.")])


def _short(value: str) -> str:
    return value if len(value) <= LONGEST else f"{value[:LONGEST]} … ({len(value)} characters)"
