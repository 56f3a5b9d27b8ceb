"""Lines of text in which this project keeps what the message has no field for, and the guard that they still fit.

Lines name measurements, marks, statements and channels by their number.  If somebody else has changed the annotations
since, a number may stand for something else, and a confirmation could land on the wrong statement.  So the writer adds
one line with a digest of all annotations and sequences, and the reader takes numbered lines in only where it agrees.
"""

from __future__ import annotations

import hashlib
import re
from typing import TYPE_CHECKING

from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import WHITE, Node
from interchange.formats.native import with_native_identity
from interchange.model import Recording
from interchange.model.lines import apply

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lxml import etree

__all__ = ["guard_line", "is_numbered", "taken_in"]

GUARD = "content"
_NUMBERED = re.compile(r"(?:tracings|measurements|marks|statements)\[")
_PLAIN = re.compile(r"(?:patient|acquisition|trial)\.|(?:deidentification|trial)[\[:]")
_IDENTITY = re.compile(r"patient\.(?:ids\[0\]|name|birth_date|sex)[.:]")
_TRACINGS = re.compile(r"tracings\[\d+\]\.(?:channels\[|(?:label|fiducial|beat|start):)")


def is_numbered(line: str) -> bool:
    """Whether a line speaks of something by its number in the document."""
    return _NUMBERED.match(line) is not None


def guard_line(root: etree._Element) -> str:
    """The line that binds numbered lines to the annotations and sequences of this message."""
    return f"{GUARD}: {_digest(root)}"


def _digest(root: etree._Element) -> str:
    """Digest of codes and values of all annotations and of the codes of all sequences, in order."""
    digest = hashlib.sha256()
    for node in root.iter("{*}annotation", "{*}sequence"):
        code, value = node.find("{*}code"), node.find("{*}value")
        parts = [] if code is None else [code.get("code", ""), *code.itertext()]
        if value is not None and value.find("{*}digits") is None:
            parts += [value.get("value", ""), value.get("code", ""), *(value.itertext() if len(value) == 0 else ())]
        words = "\x1f".join(filter(None, (part.strip(WHITE) for part in parts)))
        digest.update(words.encode("utf-8", "surrogatepass") + b"\x1e")
    return digest.hexdigest()[:32]


def taken_in(recording: Recording, lines: Iterable[str], message: Node, log: Log) -> tuple[Recording, tuple[str, ...]]:
    """The recording with the lines taken in, and those that are not: unknown ones, numbered ones that no longer fit."""
    numbered: list[str] = []
    plain: list[str] = []
    others: list[str] = []
    guards: list[str] = []
    for line in lines:
        if line.startswith(f"{GUARD}: "):
            guards.append(line)
        elif is_numbered(line):
            numbered.append(line)
        else:
            (plain if _PLAIN.match(line) else others).append(line)
    if numbered:
        if guards == [guard_line(message.element)]:
            recording, rest = _numbered(recording, numbered)
            others += rest
        else:
            log.add("aecg.lines-stale", message, f"{len(numbered)} lines")
            others += numbered
    changed, rest = apply(recording, plain)
    if with_native_identity(changed, recording) != changed:
        log.add("aecg.lines-identity", message)
        others += [line for line in plain if _IDENTITY.match(line)]
        changed, rest = apply(recording, [line for line in plain if not _IDENTITY.match(line)])
    return changed, (*others, *rest)


def _numbered(recording: Recording, lines: list[str]) -> tuple[Recording, tuple[str, ...]]:
    """Numbered lines; none of them may touch samples, rate or scale, or point to a tracing that is not there."""
    allowed = [line for line in lines if not line.startswith("tracings[") or _TRACINGS.match(line)]
    changed, rest = apply(recording, allowed)
    if not _is_sound(recording, changed):
        return recording, tuple(lines)
    return changed, (*(line for line in lines if line not in allowed), *rest)


def _is_sound(before: Recording, after: Recording) -> bool:
    count = len(before.tracings)
    if len(after.tracings) != count or any(not 0 <= mark.tracing < count for mark in after.marks):
        return False
    for old, new in zip(before.tracings, after.tracings, strict=True):
        if len(old.channels) != len(new.channels):
            return False
        scales = zip(old.channels, new.channels, strict=True)
        if any((a.step, a.offset) != (b.step, b.offset) for a, b in scales):
            return False
    return all(len(getattr(before, n)) == len(getattr(after, n)) for n in ("measurements", "marks", "statements"))
