"""Whether statements were confirmed, and by whom, as a line of text among the annotations.

DICOM's waveform annotations have no attribute for it (PS3.3 C.10.10), and an unconfirmed machine reading must never
look like a confirmed one to anybody who reads the annotations.  So each run of statements with the same status ends
with one text annotation of the same group: ``Status of the statements above: confirmed by NAME on 2031-04-06``.  The
reader takes it back; it is no statement itself.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from interchange.model import Moment, Statement

__all__ = ["is_status", "status_after", "with_status"]

PREFIX: Final = "Status of the statements above: "
NOT_SAID: Final = "not said"
NOT_CONFIRMED: Final = "not confirmed"
OVERREAD: Final = "overread, not confirmed"
_CONFIRMED: Final = re.compile(r"confirmed(?: by (?P<by>.*?))?(?: on (?P<time>[-0-9T:.+/Z]+))?", re.DOTALL)


def is_status(text: str) -> bool:
    """Whether an annotation text is such a line."""
    return text.startswith(PREFIX) and _understood(text.removeprefix(PREFIX))


def _understood(words: str) -> bool:
    return words in (NOT_SAID, NOT_CONFIRMED, OVERREAD) or _CONFIRMED.fullmatch(words) is not None


def _words(statement: Statement) -> str:
    if statement.confirmed:
        by = f" by {statement.confirmed_by}" if statement.confirmed_by else ""
        at = f" on {statement.confirmed_time}" if statement.confirmed_time else ""
        return f"confirmed{by}{at}"
    if statement.overread:
        return OVERREAD
    return NOT_SAID if statement.confirmed is None else NOT_CONFIRMED


def status_after(statements: Sequence[Statement]) -> dict[int, str]:
    """Index of each statement that a line follows -> that line; none for a group of which nothing was said."""
    groups: dict[int, list[int]] = {}
    for index, statement in enumerate(statements):
        groups.setdefault(statement.group, []).append(index)
    found = {}
    for members in groups.values():
        words = [_words(statements[index]) for index in members]
        if set(words) == {NOT_SAID}:
            continue
        for at, index in enumerate(members):
            if at + 1 == len(members) or words[at + 1] != words[at]:
                found[index] = PREFIX + words[at]
    return found


def with_status(statement: Statement, text: str) -> Statement:
    """The statement with what a line says of it."""
    words = text.removeprefix(PREFIX)
    if words == NOT_SAID:
        return statement
    if words in (NOT_CONFIRMED, OVERREAD):
        return replace(statement, confirmed=False, overread=True if words == OVERREAD else None)
    found = _CONFIRMED.fullmatch(words)
    if found is None:
        return statement
    try:
        time = Moment.parse(found["time"]) if found["time"] else None
    except ValueError:
        time = None
    return replace(statement, confirmed=True, confirmed_by=found["by"] or None, confirmed_time=time)
