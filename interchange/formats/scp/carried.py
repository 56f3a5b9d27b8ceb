"""Values that the format has no field for, carried as lines of free text (section 1, tag 30), both ways.

A free text whose first line is ``[interchange 1]`` holds one value a line.  ``PATH: VALUE`` sets a field of the model
(see :mod:`interchange.model.lines`); the lines below speak about the record itself:

``scp.tracings: 12@1-5000 2@5501-12000``
    how the leads of section 3 make tracings: so many leads, in order, and the first and last sample of each tracing;
``scp.not-said: p-axis; V1 r-amplitude; * q-duration``
    values of sections 7 and 10 that say "not computed" only because the layout demands something: the source did not
    speak of them (a lead's name or ``*`` for all leads stands in front of a measurement per lead);
``scp.positions: own``
    positions in section 7 count from an origin of the writer's choice: they mark nothing on a reference beat and say
    no more than the intervals between them;
``scp.codes: by number``
    coded statements of section 11 are those of section 8 with the same numbers;
``scp.part: 1 NAME-2.scp 11 9f86d081884c7d65``
    tracing 1 of the recording lies in a further file, and begins so many seconds after the recording's first sample;
    then the first 16 digits of the SHA-256 of that file;
``scp.part-of: NAME.scp``
    this file is such a further file.

Everything that is no such text is an ordinary remark.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import field
from fractions import Fraction
from functools import cache
from typing import Final

from interchange.records import dataclass
from interchange.sources import is_plain_name

__all__ = ["MARKER", "Carried", "Part", "is_allowed", "split_remarks", "text_blocks"]

MARKER: Final = "[interchange 1]"
_LONGEST: Final = 60_000
"""Most characters of one text: a field holds 65,535 bytes, and a character may take more than one."""
_GROUP: Final = r"(\d{1,3})@(\d{1,10})-(\d{1,10})"
_PART: Final = r"(\d{1,4}) (\S.*) (\d{1,12}(?:/\d{1,12})?) ([0-9a-f]{16})"
_ALLOWED: Final = (
    r"(?s:(?:tracings\[\d+\]\.(?:label|of|fiducial|beat|extras\[\d+\]"
    r"|channels\[\d+\]\.(?:name|label|skew|origin|derived_from|bits|filters|extras\[\d+\]|filters\..+)))"
    r"|(?:patient|acquisition|measurements|marks|statements|trial|document_id|deidentification|extras)\b.*)"
)


@cache
def _compiled(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern, re.ASCII)


@dataclass(frozen=True, slots=True)
class Part:
    """A further file: which tracing it holds, its plain name, its start in seconds, the beginning of its digest."""

    tracing: int
    name: str
    start: Fraction
    digest: str

    def line(self) -> str:
        """The line that names it."""
        name = self.name.encode("ascii", "backslashreplace").decode("ascii")  # a plain name has no backslash
        return f"scp.part: {self.tracing} {name} {self.start} {self.digest}"


@dataclass(slots=True)
class Carried:
    """All lines of a record, sorted by what they speak of; further files by their names, each of which counts once."""

    model: list[str] = field(default_factory=list)
    groups: tuple[tuple[int, int, int], ...] = ()
    not_said: set[tuple[str | None, str]] = field(default_factory=set)
    own_positions: bool = False
    codes_by_number: bool = False
    parts: dict[str, Part] = field(default_factory=dict)
    part_of: bool = False
    others: list[str] = field(default_factory=list)


def split_remarks(texts: Iterable[str]) -> tuple[tuple[str, ...], Carried]:
    """The ordinary remarks among the free texts of a record, and what its lines say."""
    remarks = []
    carried = Carried()
    for text in texts:
        lines = text.split("\n")
        if lines[0].rstrip("\r") != MARKER:
            remarks.append(text)
            continue
        for line in lines[1:]:
            _take(line.rstrip("\r"), carried)
    return tuple(remarks), carried


def _take(line: str, carried: Carried) -> None:
    name, _, value = line.partition(": ")
    if name == "scp.tracings":
        groups = [_compiled(_GROUP).fullmatch(part) for part in value.split()]
        if all(groups):
            carried.groups = tuple((int(g[1]), int(g[2]), int(g[3])) for g in groups if g)
    elif name == "scp.not-said":
        carried.not_said.update(_measure(part) for part in value.split("; ") if part)
    elif name == "scp.positions":
        carried.own_positions = True
    elif name == "scp.codes":
        carried.codes_by_number = True
    elif name == "scp.part":
        part = _part(value)
        if part is None or part.name in carried.parts:
            carried.others.append(line)
        else:
            carried.parts[part.name] = part
    elif name == "scp.part-of":
        carried.part_of = True
    elif is_allowed(name):
        carried.model.append(line)
    elif line:
        carried.others.append(line)


def is_allowed(path: str) -> bool:
    """Whether a line may set this field: nothing that samples, their scale or their time depend on."""
    return _compiled(_ALLOWED).fullmatch(path) is not None


def _measure(text: str) -> tuple[str | None, str]:
    lead, _, concept = text.rpartition(" ")
    return lead or None, concept


def _part(value: str) -> Part | None:
    found = _compiled(_PART).fullmatch(value)
    if found is None or not found[2].isascii():
        return None
    try:
        name = found[2].encode("ascii").decode("unicode_escape")
        part = Part(int(found[1]), name, Fraction(found[3]), found[4])
    except (ValueError, ZeroDivisionError):
        return None
    return part if is_plain_name(name) else None


def text_blocks(lines: Sequence[str]) -> list[str]:
    """The lines as free texts, as few as hold them."""
    blocks: list[str] = []
    current: list[str] = []
    size = 0
    for line in lines:
        if current and size + len(line) > _LONGEST:
            blocks.append("\n".join([MARKER, *current]))
            current, size = [], 0
        current.append(line)
        size += len(line.encode("utf-8", "replace")) + 1
    if current:
        blocks.append("\n".join([MARKER, *current]))
    return blocks
