"""Onset and offset of a wave as one segment (PS3.16 CID 3335).

The context group has codes for waves, none for where they begin and end; so a wave whose onset and offset are both
marked is written as SEGMENT from the one to the other, which any reader understands.  That the recording has two marks,
and how many other marks stand between them, is said by a modifier of the concept name, so that they come back as two.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from functools import cache
from typing import Final

from interchange.formats.dicom.leadcodes import OWN_SCHEME
from interchange.formats.dicom.view import CodeItem
from interchange.model import Mark
from interchange.records import NamedTuple
from interchange.vocabulary import concepts

__all__ = ["Ends", "MarkList", "ends_of", "marker", "marks_between", "pairs"]

_PREFIX: Final = "ENDS-"
_MEANING: Final = "Onset and offset are marks of their own"
_MAX_BETWEEN: Final = 9999


class Ends(NamedTuple):
    """Concepts of the onset and the offset of one wave."""

    onset: str
    offset: str


@cache
def _waves() -> dict[str, Ends]:
    """Wave concept to the concepts of its two ends."""
    parts = {row.part_of: row.id for row in concepts() if row.scope == "mark" and row.part_of}
    found = {}
    for part, onset in parts.items():
        wave, _, end = part.partition(":")
        offset = parts.get(f"{wave}:end")
        if end == "start" and offset is not None:
            found[wave] = Ends(onset, offset)
    return found


@cache
def _by_onset() -> dict[str, str]:
    return {ends.onset: wave for wave, ends in _waves().items()}


def ends_of(wave: str) -> Ends | None:
    """The concepts of onset and offset of a wave, None where the table has not both."""
    return _waves().get(wave)


def pairs(marks: Sequence[Mark]) -> dict[int, tuple[str, int]]:
    """Index of each onset that has its offset behind it -> (wave, index of the offset).

    The two are points on the same tracing, lead and set, without text or numbers of their own, the offset is the next
    one of its kind, and it is later.
    """
    waiting: dict[tuple[object, ...], int] = {}
    found: dict[int, tuple[str, int]] = {}
    for index, mark in enumerate(marks):
        if mark.end is not None or mark.text or mark.measurements or mark.source_code or mark.extras:
            continue
        place = (mark.tracing, mark.lead, mark.group)
        wave = _by_onset().get(mark.concept)
        if wave is not None:
            waiting[(*place, _waves()[wave].offset)] = index
            continue
        onset = waiting.pop((*place, mark.concept), None)
        if onset is None or index - onset - 1 > _MAX_BETWEEN or marks[onset].start >= mark.start:
            continue
        found[onset] = _by_onset()[marks[onset].concept], index
    return found


def marker(between: int) -> CodeItem:
    """The modifier that says that the segment stands for two marks with so many others between them."""
    return CodeItem(f"{_PREFIX}{between}", OWN_SCHEME, _MEANING)


def marks_between(modifier: CodeItem | None) -> int | None:
    """The number of marks between the two that a segment stands for; None where it is a segment of its own."""
    if modifier is None or modifier.scheme != OWN_SCHEME or not modifier.value.startswith(_PREFIX):
        return None
    number = modifier.value.removeprefix(_PREFIX)
    return int(number) if number.isascii() and number.isdigit() and len(number) <= 4 else None


class MarkList:
    """Marks in the making; an offset waits until the marks before it are there."""

    def __init__(self) -> None:
        self.marks: list[Mark] = []
        self._waiting: list[tuple[int, int, Mark]] = []

    def add(self, marks: Iterator[Mark]) -> None:
        """Append marks, each after the offsets whose turn it is."""
        for mark in marks:
            self._append(mark)
        self._release()

    def add_pair(self, onset: Mark, offset: Mark, between: int) -> None:
        """Append an onset now, and its offset after ``between`` further marks."""
        self._append(onset)
        heapq.heappush(self._waiting, (len(self.marks) + between, len(self._waiting), offset))
        self._release()

    def finish(self) -> list[Mark]:
        """All marks."""
        while self._waiting:
            self.marks.append(heapq.heappop(self._waiting)[2])
        return self.marks

    def _append(self, mark: Mark) -> None:
        self._release()
        self.marks.append(mark)

    def _release(self) -> None:
        while self._waiting and self._waiting[0][0] <= len(self.marks):
            self.marks.append(heapq.heappop(self._waiting)[2])
