"""The receipt for people: one screenful, the important first, in the words of the trade.

What does not fit on the screen is counted and stands in the JSON form, which also has the path of every field.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction

from interchange.findings import SEVERITIES
from interchange.formats import by_name
from interchange.printable import printable
from interchange.receipt.content import Document, Entry, Receipt, TracingSummary
from interchange.receipt.words import field_words, group_words, target_words
from interchange.records import dataclass
from interchange.show.layout import PLAIN, Style, block, wrapped

__all__ = ["SCREENFUL", "receipt_text", "receipt_verdict"]

SCREENFUL = 40
"""Lines that a receipt may have: lists are cut until it has, as far as that goes."""
LONGEST = 120
_CUTS = (12, 8, 5, 3, 2, 1)
_DIFFER = (("signal", "SAMPLES"), ("timing", "TIMES"), ("leads", "LEADS"))
_GROUPS = {"acquisition": "recording", "document_id": "document", "extras": "fields of the format alone"}
_FRACTION = r"(-?[0-9]{1,30})/([1-9][0-9]{0,29})"


def receipt_text(receipt: Receipt, width: int = 96, style: Style = PLAIN) -> str:
    """The receipt as lines of text of at most ``width`` columns, safe for a terminal.  Quotes what changed."""
    lines: list[str] = []
    for most in _CUTS:
        lines = _page(receipt, most, width, style)
        if len(lines) <= SCREENFUL:
            break
    return "\n".join(lines)


def receipt_verdict(receipt: Receipt) -> str:
    """The first lines of the receipt: from what to what, and how it went; quotes no value of the recording."""
    return "\n".join(printable(line) for line in (_title(receipt), *_damage(receipt), *_result(receipt)))


def _page(receipt: Receipt, most: int, width: int, style: Style) -> list[str]:
    asked = [e for e in (*receipt.changed, *receipt.left) if e.requested]
    changed = [e for e in receipt.changed if not e.requested]
    left = [e for e in receipt.left if not e.requested]

    def part(label: str, lines: Iterable[str], *, alarming: bool = False) -> list[str]:
        told = [_brief(line) for line in lines] if most == 1 else lines
        return block(label, told, width, style, alarming=alarming)

    parts = [
        part("ATTENTION", _damage(receipt), alarming=True),
        part("RESULT", _result(receipt), alarming=not receipt.samples_kept),
        part("DELIVERED", _delivered(receipt, most)),
        part("CHANGED", _entries(changed, most)),
        part("LEFT BEHIND", _entries(left, most)),
        part("ON REQUEST", _entries(asked, most)),
        part("IDENTITY", _removals(receipt)),
        part("ADDED", _added(receipt, most)),
        part("NOT READ", _unread(receipt, most)),
        part("NOTICED", _noticed(receipt, most)),
        part("TARGET", _cut(_once(receipt.notes), most)),
        block("CAUTION", receipt.cautions, width, style),
    ]
    lines = wrapped(_title(receipt), width)
    before = 2
    for rows in filter(None, parts):
        lines += ["", *rows] if max(before, len(rows)) > 1 else rows
        before = len(rows)
    return lines


# What happened -----------------------------------------------------------------------------------------------------


def _title(receipt: Receipt) -> str:
    source = ", ".join(_document(document, "made from arrays") for document in receipt.source) or "arrays"
    if not receipt.target:
        return source
    more = len(receipt.target) - 1
    beside = f" and {more} more {'file' if more == 1 else 'files'} beside it" if more else ""
    return f"{source} -> {_document(receipt.target[-1], '')}{beside}"


def _document(document: Document, unknown: str) -> str:
    kind = by_name(document.format).title if document.format else unknown
    return f"{document.name} ({kind})" if kind else document.name


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
        first = "NOT VERIFIED: the output was not read back; known is only what the writer noted."
        return [first, _counts(receipt), *_accepted(receipt)]
    largest = f"largest change {_number(receipt.sample_error)} microvolts, {_number(receipt.time_error * 1000)} ms"
    if not receipt.samples_kept:
        kinds = {entry.protected for entry in receipt.losses}
        what = [word for kind, word in _DIFFER if kind in kinds]
        first = f"{' AND '.join(what)} DIFFER as accepted: {largest}."
    elif not receipt.samples_identical:
        first = f"Samples the same within a thousandth of a step: {largest}."
    else:
        first = "Samples identical: every sample of every lead read back with its value and time."
    return [first, _counts(receipt), *_accepted(receipt)]


def _counts(receipt: Receipt) -> str:
    changed = sum(not e.requested for e in receipt.changed)
    left = sum(not e.requested for e in receipt.left)
    asked = len(receipt.changed) + len(receipt.left) - changed - left
    parts = [(changed, "changed"), (left, "left behind"), (asked, "changed on request")]
    parts += [(len(receipt.added), "added"), (len(receipt.unread), "not read")]
    told = [f"{count} {what}" for count, what in parts if count]
    nothing = "Nothing was changed, left behind or added." if receipt.verified else "It noted nothing."
    return f"Values: {', '.join(told)}." if told else nothing


def _accepted(receipt: Receipt) -> list[str]:
    kinds = sorted({entry.protected for entry in receipt.losses if entry.protected})
    return [f"PROTECTED and given up with --accept: {', '.join(kinds)}."] if kinds else []


# What the receiver gets --------------------------------------------------------------------------------------------


def _delivered(receipt: Receipt, most: int) -> list[str]:
    """Tracings, and how much of each kind of value arrived as it was."""
    lines = _cut([_tracing(tracing, receipt.verified) for tracing in receipt.tracings], max(most, 2))
    if not receipt.verified:
        return lines
    for owner, title in (("patient", "patient"), ("acquisition", "recording"), ("trial", "trial")):
        names = group_words(c.path for c in receipt.carried if c.path.startswith(f"{owner}."))
        if names:
            lines.append(f"{title}: {', '.join(names)}")
        elif owner == "patient":
            touched = any(e.path.startswith("patient.") for e in (*receipt.changed, *receipt.left))
            lines.append(f"patient: {'nothing as it was' if touched else 'the source says nothing'}")
    counts = [_of_all(receipt, name) for name in ("measurements", "marks", "statements")]
    told = ", ".join(filter(None, counts))
    return [*lines, f"{told} as they were" if told else "no measurement, mark or statement"]


def _tracing(tracing: TracingSummary, verified: bool) -> str:
    count = len(tracing.leads)
    seconds = tracing.samples / tracing.rate if tracing.rate else Fraction(0)
    size = f"{count} {'lead' if count == 1 else 'leads'}, {_number(seconds)} s, {_number(tracing.rate)} samples/s"
    start = f" from second {_number(tracing.start)} on" if tracing.start else ""
    state = ""
    if tracing.written is None:
        state = "LEFT BEHIND: " if verified else "not read back: "
    elif tracing.written != tracing.digest:
        state = "CHANGED (see below): "
    leads = " ".join(tracing.leads[:24]) + (" ..." if count > 24 else "")
    return f"{state}{tracing.kind}, {size}{start}: {leads}"


def _of_all(receipt: Receipt, name: str) -> str:
    """ "60 of 62 measurements": values with no difference, of all that went into the writer."""
    whole = sum(c.count for c in receipt.carried if c.path == name)
    start = f"{name}["
    touched = {
        entry.path.partition("]")[0]
        for entry in (*receipt.changed, *receipt.left)
        if entry.path.startswith(start) and not entry.requested
    }
    total = whole + len(touched)
    if not total:
        return ""
    word = name if total > 1 else name.removesuffix("s")
    return f"{whole} of {total} {word}" if touched else f"{'the' if total == 1 else f'all {total}'} {word}"


# What did not go as it was -----------------------------------------------------------------------------------------


def _entries(entries: Sequence[Entry], most: int) -> list[str]:
    """Differences by reason, the protected first; a reason stands once, above what it explains."""
    groups: dict[str, list[Entry]] = defaultdict(list)
    for entry in sorted(entries, key=lambda e: e.protected is None or e.requested):
        groups[entry.reason].append(entry)
    parts = [_Part([_entry(e) for e in members], reason) for reason, members in groups.items()]
    return _listed(parts, most)


def _entry(entry: Entry) -> str:
    mark = f" [PROTECTED: {entry.protected}]" if entry.protected and not entry.requested else ""
    name = entry.field or field_words(entry.path)
    if entry.after is None:
        return f"{name}: {_short(entry.before)}{mark}"
    if entry.before is None:
        return f"{name}: set to {_short(entry.after)}{mark}"
    return f"{name}: {_short(entry.before)} -> {_short(entry.after)}{mark}"


def _added(receipt: Receipt, most: int) -> list[str]:
    groups: dict[str, list[str]] = defaultdict(list)
    for added in receipt.added:
        groups[added.reason].append(f"{added.field or target_words(added.path)}: {_short(added.value) or 'empty'}")
    return _listed([_Part(members, reason) for reason, members in groups.items()], most)


def _unread(receipt: Receipt, most: int) -> list[str]:
    """What of the source was not understood, by what it is."""
    groups: dict[str, list[tuple[str, int]]] = defaultdict(list)
    for unread in receipt.unread:
        groups[unread.what].append((unread.place, unread.size))
    lines = []
    for what, members in groups.items():
        size = sum(size for _, size in members)
        places = ", ".join(place for place, _ in members[:2])
        more = f" and {len(members) - 2} more" if len(members) > 2 else ""
        lines.append(f"{what}: {places}{more} ({size} bytes)")
    return _cut(lines, max(most // 2, 1))


def _noticed(receipt: Receipt, most: int) -> list[str]:
    """What the reader had to tolerate, by rule, the serious first; where it is, `check` says."""
    groups: dict[tuple[str, str, str], int] = defaultdict(int)
    for f in sorted(receipt.findings, key=lambda f: SEVERITIES.index(f.severity)):
        groups[f.severity, f.rule, f.reason] += 1
    lines = [
        f"{severity}: {reason}{f' ({count} times)' if count > 1 else ''} [{rule}]"
        for (severity, rule, reason), count in groups.items()
    ]
    return _cut(lines, max(most // 2, 1))


def _once(notes: Iterable[str]) -> list[str]:
    """Every note once, with how often it was made."""
    return [note if count == 1 else f"{note} ({count} times)" for note, count in Counter(notes).items()]


def _removals(receipt: Receipt) -> list[str]:
    """What de-identification did; groups that had nothing are left out."""
    lines = []
    for removal in receipt.removals:
        counts = ((removal.removed, "removed"), (removal.replaced, "replaced"), (removal.kept, "kept"))
        told = ", ".join(f"{count} {what}" for count, what in counts if count)
        if told:
            lines.append(f"{_GROUPS.get(removal.group, removal.group)}: {told}")
    return ["number of values per group", *lines] if lines else []


@dataclass(frozen=True, slots=True)
class _Part:
    """Lines that one reason explains."""

    lines: list[str]
    reason: str


def _listed(parts: Sequence[_Part], most: int) -> list[str]:
    """At most ``most`` lines of all parts together, each part's reason below its own; the rest is counted."""
    found: list[str] = []
    room, hidden = most, 0
    for part in parts:
        shown = part.lines if len(part.lines) <= room else part.lines[: max(room, 0)]
        hidden += len(part.lines) - len(shown)
        room -= len(shown)
        if shown:
            found += [*shown, f"  why: {part.reason}"]
    return [*found, f"and {hidden} more (--json lists all)"] if hidden else found


def _cut(lines: Iterable[str], most: int) -> list[str]:
    shown = list(lines)
    if len(shown) <= most + 1:
        return shown
    return [*shown[:most], f"and {len(shown) - most} more (--json lists all)"]


def _short(text: str | None) -> str:
    if text is None:
        return ""
    if found := re.fullmatch(_FRACTION, text):
        return f"{text} ({_number(Fraction(int(found[1]), int(found[2])))})"
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 20]} ... ({len(text)} characters)"


def _brief(line: str) -> str:
    """A line that has to do with little room; what stands at its end (protected or not) stays."""
    return line if len(line) <= LONGEST else f"{line[:70]} ... {line[-30:]}"


def _number(value: Fraction) -> str:
    if value.denominator == 1:
        return str(value.numerator)
    text = f"{float(value):.6g}"
    return text if Fraction(text) == value else f"about {text}"
