"""Marks as annotation files, and what such a file cannot say as info strings.

Marks of one set go into one file.  Every annotation is held against what the reader will make of it: a mark that does
not come back exactly also stands in full in an info string, ``marks[N]``, and its annotation ends with ``[marks N]``.
Other readers see the nearest thing that WFDB can say; this project's reader takes the info string.  The header names
each file::

    # Annotations atr_1f2e3d4c: 2274 marks of set atr

Sources: WFDB Applications Guide, annot(5); WFDB Programmer's Guide (order, 255 bytes of text, 7 bits); behaviour of
the wfdb package that loses comments at sample 0.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Final

from interchange.formats.wfdb.annotations import LONGEST_AUX, NOTE, Annotation, encode_annotations
from interchange.formats.wfdb.customary import CUSTOMARY
from interchange.formats.wfdb.fresh import fingerprint
from interchange.formats.wfdb.mark_codes import Setting, code_for, marks_of
from interchange.model import Mark
from interchange.records import NamedTuple

__all__ = ["Listed", "MarkFile", "is_listing", "listed", "mark_files", "mark_in_line", "without_flag"]

_LINE: Final = re.compile(r"Annotations ([A-Za-z0-9_]{1,60}): (\d{1,9}) marks?(?: of set (.+))?", re.ASCII)
_SET: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.,()+/ -]{0,98}(?<! )", re.ASCII)
_FLAG: Final = re.compile(rb" ?\[marks (\d{1,9})\]\Z")
_COUNTED: Final = re.compile(r"(?:set)?[0-9]{1,3}", re.ASCII)
_FINEST: Final = 1_000_000
_PLAIN_ANNOTATOR: Final = "marks"
_RHYTHM: Final = 28
_NUMBERS: Final = 128


class MarkFile(NamedTuple):
    """One annotation file: its annotator, its bytes, and the info string that names it."""

    annotator: str
    data: bytes
    line: str


class Listed(NamedTuple):
    """One such info string as read."""

    annotator: str
    count_of_marks: int
    group: str | None


class _Draft(NamedTuple):
    """An annotation that is being made for the mark ``number`` (of those given)."""

    number: int
    item: Annotation


def mark_files(
    marks: Sequence[Mark], tracing: int, rate: Fraction, channels: Sequence[tuple[int, Fraction, str]], first: int
) -> tuple[list[MarkFile], list[Mark]]:
    """Annotation files for marks on the signals of one record, and the marks that need an info string as well.

    ``tracing``, ``rate`` (frames per second) and ``channels`` as in :class:`Setting`; ``first`` is the number of the
    first info string ``marks[N]`` that is free.
    """
    files: list[MarkFile] = []
    inexact: list[Mark] = []
    for group, chosen in _by_set(marks).items():
        resolution = _resolution(chosen, rate, channels, tracing)
        setting = Setting(resolution or rate, group, tracing, channels, {})
        drafts, told = _drafted(chosen, setting)
        rest = set(range(len(chosen))) - {draft.number for draft in drafts}
        read = marks_of([without_flag(draft.item) for draft in drafts], setting)
        items = []
        for draft, mark in zip(drafts, read, strict=True):
            if mark == chosen[draft.number] and draft.number not in told:
                items.append(draft.item)
            else:
                items.append(_flagged(draft.item, first + len(inexact)))
                inexact.append(chosen[draft.number])
        inexact.extend(chosen[number] for number in sorted(rest))
        if items:
            data = encode_annotations(items, resolution)
            annotator = f"{_annotator(group, len(files))}_{fingerprint(data)}"
            of = f" of set {group}" if group is not None else ""
            files.append(MarkFile(annotator, data, f"Annotations {annotator}: {len(items)} marks{of}"))
    return files, inexact


def listed(texts: Iterable[str]) -> list[Listed]:
    """The annotation files that info strings name."""
    matches = (_LINE.fullmatch(text) for text in texts)
    return [Listed(match[1], int(match[2]), match[3]) for match in matches if match is not None]


def is_listing(text: str) -> bool:
    """Whether the info string names an annotation file."""
    return _LINE.fullmatch(text) is not None


def mark_in_line(item: Annotation) -> int | None:
    """The N of an annotation that stands in full in the info string ``marks[N]``."""
    match = _FLAG.search(item.aux)
    return int(match[1]) if match else None


def without_flag(item: Annotation) -> Annotation:
    """The annotation without the words that point to an info string."""
    return item._replace(aux=_FLAG.sub(b"", item.aux))


def _by_set(marks: Sequence[Mark]) -> dict[str | None, list[Mark]]:
    """Marks by the set that they belong to; None for those of none, or of one whose name cannot stand in a line."""
    found: dict[str | None, list[Mark]] = {}
    for mark in marks:
        found.setdefault(mark.group if _is_set(mark.group) else None, []).append(mark)
    return found


def _is_set(group: str | None) -> bool:
    return group is not None and _SET.fullmatch(group) is not None


def _annotator(group: str | None, number: int) -> str:
    """The beginning of an annotator's name: a customary one as it is, else ``marks`` and a number.

    The name of a set may be somebody's own; it stands in the header and never in the name of a file.
    """
    if group is not None and (group.lower() in CUSTOMARY or _COUNTED.fullmatch(group)):
        return group
    return _PLAIN_ANNOTATOR if number == 0 else f"{_PLAIN_ANNOTATOR}{number + 1}"


def _resolution(
    marks: Sequence[Mark], rate: Fraction, channels: Sequence[tuple[int, Fraction, str]], tracing: int
) -> Fraction | None:
    """Ticks per second at which every mark stands on a tick; None for the frame rate (or where there is none)."""
    starts = {index: start for index, start, _ in channels}
    times = [starts.get(mark.tracing, Fraction(0)) + mark.start for mark in marks]
    if all((time * rate).denominator == 1 for time in times):
        return None
    finest = 1
    for time in times:
        finest = math.lcm(finest, time.denominator)
        if finest > _FINEST:
            return None
    return Fraction(finest)


def _drafted(marks: Sequence[Mark], setting: Setting) -> tuple[list[_Draft], set[int]]:
    """Annotations in the order of the file, and the numbers of marks that the annotation does not say in full."""
    starts = {index: start for index, start, _ in setting.channels}
    signals = {(index, lead): chan for chan, (index, _, lead) in reversed(list(enumerate(setting.channels)))}
    drafts: list[_Draft] = []
    told: set[int] = set()
    taken: set[tuple[int, int, int]] = set()
    for number, mark in enumerate(marks):
        ticks = round((starts.get(mark.tracing, Fraction(0)) + mark.start) * setting.rate)
        if ticks < 0:
            continue
        item, whole = _annotation(mark, ticks, signals)
        num = item.num
        while (item.time, num, item.chan) in taken and num < _NUMBERS:
            num += 1
        if num >= _NUMBERS:
            continue
        taken.add((item.time, num, item.chan))
        drafts.append(_Draft(number, item._replace(num=num)))
        if not whole:
            told.add(number)
    drafts.sort(key=lambda draft: (draft.item.time, draft.item.num, draft.item.chan))
    return drafts, told


def _annotation(mark: Mark, ticks: int, signals: dict[tuple[int, str], int]) -> tuple[Annotation, bool]:
    """The annotation that says most of a mark, and whether its words are those of the mark."""
    code, aux = code_for(mark.concept, mark.source_code)
    text = mark.text or ""
    words, whole = _seven_bit(text)
    if code == _RHYTHM:
        aux = words if words.startswith(b"(") or not aux else aux
        whole = (whole and aux == words) or not text
    elif mark.concept == "note" or not aux:
        aux = words
    else:
        aux, whole = b", ".join(filter(None, (aux, _measured(mark), words))), False
    if code == NOTE and aux.startswith(b"## "):
        aux, whole = b"#" + aux[2:], False
    if code == NOTE and ticks == 0:
        ticks, whole = 1, False
    if len(aux) > LONGEST_AUX:
        aux, whole = aux[:LONGEST_AUX], False
    extras = dict(mark.extras)
    chan = signals.get((mark.tracing, mark.lead)) if mark.lead is not None else None
    if chan is None:
        chan = _small(extras.get("wfdb.chan"), 0, 255)
    return (
        Annotation(
            ticks,
            code,
            _small(extras.get("wfdb.subtype"), -128, 127),
            min(chan, 255),
            _small(extras.get("wfdb.num"), -128, 127),
            aux,
        ),
        whole,
    )


def _measured(mark: Mark) -> bytes:
    """Amplitude, width and the like in words."""
    said = [
        f"{m.concept.replace('-', ' ')} {m.value} {m.unit or ''}".strip()
        for m in mark.measurements
        if m.value is not None
    ]
    return _seven_bit(", ".join(said))[0]


def _seven_bit(text: str) -> tuple[bytes, bool]:
    """Printable ASCII with question marks for everything else, and whether that is the whole text."""
    plain = "".join(c if " " <= c <= "~" else "?" for c in text)
    return plain.encode("ascii"), plain == text


def _small(text: str | None, low: int, high: int) -> int:
    if text is None or not re.fullmatch(r"-?\d{1,3}", text, re.ASCII):
        return 0
    return int(text) if low <= int(text) <= high else 0


def _flagged(item: Annotation, number: int) -> Annotation:
    flag = f"[marks {number}]".encode()
    return item._replace(aux=(item.aux[: LONGEST_AUX - len(flag) - 1] + b" " + flag).lstrip())
