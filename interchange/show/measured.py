"""Measurements and marks as lines of text: the global ones in columns, those per lead as tables in lead order."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from interchange.model import Absent, Mark, Measurement, Recording
from interchange.show.layout import columns, limited, short, table
from interchange.show.words import ABSENT, concept_label, number

__all__ = ["global_lines", "level_lines", "mark_lines", "per_lead_lines"]

FIRST = (
    "heart-rate", "heart-rate-ventricular", "heart-rate-atrial", "rr-interval", "pp-interval", "p-duration",
    "pr-interval", "pq-interval", "qrs-duration", "qt-interval", "qtc-interval", "qtc-bazett", "qtc-fridericia",
    "qtc-framingham", "qtc-hodges", "p-axis", "qrs-axis", "t-axis",
)  # fmt: skip
"""Global measurements in the order in which they are read; the others follow as they come."""
LEVELS = {
    "j-amplitude": "J",
    "st-amplitude-20": "J+20 ms",
    "st-amplitude-40": "J+40 ms",
    "st-amplitude-60": "J+60 ms",
    "st-amplitude-80": "J+80 ms",
    "st-amplitude-rr-16": "J+RR/16",
    "st-amplitude-rr-8": "J+RR/8",
    "st-amplitude": "ST, instant not said",
}
CELLS: dict[Absent, str] = {
    "unknown": "unknown",
    "not-measured": "unmeasured",
    "wave-absent": "no wave",
    "rejected": "rejected",
    "undefined": "undefined",
    "not-applicable": "n/a",
    "withheld": "withheld",
}
MOST_ROWS = 60
MOST_VALUES = 24
MOST_SETS = 3


def global_lines(recording: Recording, width: int) -> list[str]:
    """Global measurements with unit, or why there is none, in as many columns as fit."""
    found = [item for item in recording.measurements if item.lead is None]
    order = {concept: index for index, concept in enumerate(FIRST)}
    found.sort(key=lambda item: order.get(item.concept, len(FIRST)))
    beats = _beats(found)
    cells = [(_label(item, beats), _value(item)) for item in found]
    return _in_columns(limited_pairs(cells), width)


def limited_pairs(cells: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """At most so many pairs that they can be read."""
    if len(cells) <= MOST_ROWS:
        return cells
    return [*cells[:MOST_ROWS], (f"and {len(cells) - MOST_ROWS} more", "(--json lists all)")]


def _in_columns(cells: Sequence[tuple[str, str]], width: int) -> list[str]:
    lines = table([(label, value) for label, value in ((short(a, 120), short(b, 120)) for a, b in cells)])
    if not lines or max(map(columns, lines)) * 2 + 4 > width:
        return lines
    half = (len(cells) + 1) // 2
    left, right = table(cells[:half]), table(cells[half:])
    wide = max(map(columns, left)) + 4
    padded = [line + " " * (wide - columns(line)) for line in left]
    return [a + b for a, b in zip(padded, [*right, *[""] * (half - len(right))], strict=True)]


def _beats(items: Iterable[Measurement]) -> bool:
    """Whether the items speak of more than one beat type."""
    return len({item.beat for item in items if item.beat is not None}) > 1


def _label(item: Measurement, beats: bool) -> str:
    beat = f", beat type {item.beat}" if beats and item.beat is not None else ""
    return f"{concept_label(item)}{beat}"


def _value(item: Measurement) -> str:
    if item.value is not None:
        unit = f" {item.unit}" if item.unit and item.unit != "1" else ""
        text = f" ({item.text})" if item.text else ""
        return f"{number(item.value)}{unit}{text}"
    if item.text:
        return item.text
    return ABSENT[item.absent] if item.absent else "no value given"


def level_lines(recording: Recording, width: int) -> list[str]:
    """J-point and ST levels, a row per lead in lead order."""
    found = [item for item in recording.measurements if item.lead is not None and item.concept in LEVELS]
    if not found:
        return []
    lines = _per_lead(recording, found, width, list(LEVELS))
    return [*lines, "microvolts at the J point and after it; 100 uV are 1 mm at 10 mm/mV"]


def per_lead_lines(recording: Recording, width: int) -> list[str]:
    """All other measurements per lead, a row per lead in lead order."""
    found = [item for item in recording.measurements if item.lead is not None and item.concept not in LEVELS]
    return _per_lead(recording, found, width, []) if found else []


def _per_lead(recording: Recording, items: Sequence[Measurement], width: int, order: list[str]) -> list[str]:
    beats = _beats(items)
    rows = _lead_order(recording, items)
    cells: dict[tuple[str, str], list[str]] = defaultdict(list)
    heads: dict[str, None] = {}
    for item in sorted(items, key=lambda i: order.index(i.concept) if i.concept in order else len(order)):
        head = _head(item, beats)
        heads[head] = None
        cells[item.lead or "", head].append(_cell(item))
    lines: list[str] = []
    for part in _chunks(list(heads), rows, cells, width):
        grid = [["lead", *part], *[[lead, *(" | ".join(cells[lead, head]) for head in part)] for lead in rows]]
        lines += [*([""] if lines else []), *limited(table(grid, right=range(1, len(part) + 1)), MOST_ROWS)]
    return lines


def _head(item: Measurement, beats: bool) -> str:
    label = LEVELS.get(item.concept)
    if label is None:
        unit = f" {item.unit}" if item.unit and item.unit != "1" else ""
        return short(f"{_label(item, beats)}{unit}", 60)
    odd = f" {item.unit}" if item.unit not in (None, "uV") else ""
    beat = f" (beat {item.beat})" if beats and item.beat is not None else ""
    return f"{label}{odd}{beat}"


def _cell(item: Measurement) -> str:
    if item.value is not None:
        return f"{'+' if item.concept in LEVELS and item.value > 0 else ''}{number(item.value)}"
    return short(item.text, 120) if item.text else CELLS[item.absent] if item.absent else "-"


def _lead_order(recording: Recording, items: Iterable[Measurement]) -> list[str]:
    """Leads in the order of the tracings, then those that only have measurements."""
    wanted = dict.fromkeys(item.lead or "" for item in items)
    held = dict.fromkeys(name for tracing in recording.tracings for name in tracing.names)
    return [name for name in held if name in wanted] + [name for name in wanted if name not in held]


def _chunks(
    heads: list[str], rows: Sequence[str], cells: dict[tuple[str, str], list[str]], width: int
) -> list[list[str]]:
    """The columns in groups that fit the width."""
    lead = max(columns(name) for name in ("lead", *rows))
    groups: list[list[str]] = []
    room = 0
    for head in heads[:MOST_VALUES]:
        wide = 2 + max(columns(head), *(columns(" | ".join(cells[name, head])) for name in rows))
        if not groups or room < wide:
            groups.append([])
            room = width - lead
        groups[-1].append(head)
        room -= wide
    return groups


def mark_lines(recording: Recording) -> list[str]:
    """How many marks of which kind on which tracing, from when to when; by set where there are few sets."""
    on_tracing: dict[int, dict[str | None, list[Mark]]] = defaultdict(lambda: defaultdict(list))
    for mark in recording.marks:
        on_tracing[mark.tracing][mark.group].append(mark)
    lines = []
    for index, sets in sorted(on_tracing.items()):
        where = f" on tracing {index + 1}" if len(recording.tracings) > 1 else ""
        if len(sets) <= MOST_SETS:
            lines += [_set(f"{short(group, 80)}: " if group else "", marks, where) for group, marks in sets.items()]
        else:
            every = [mark for marks in sets.values() for mark in marks]
            lines.append(_set(f"{len(sets)} sets: ", every, where))
    return limited(lines)


def _set(name: str, marks: Sequence[Mark], where: str) -> str:
    counts = Counter(concept_label(mark.concept, mark.source_code) for mark in marks)
    kinds = [f"{count} {short(label, 80)}" for label, count in counts.most_common()]
    first, last = min(mark.start for mark in marks), max(mark.end or mark.start for mark in marks)
    span = f"from {number(first)} to {number(last)} s" if last > first else f"at {number(first)} s"
    return f"{name}{', '.join(limited(kinds, 20))}{where}, {span}"
