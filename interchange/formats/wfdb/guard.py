"""The guard that info strings still speak of what the record holds.

Lines of the model name tracings and signals by their numbers, lines of the layout name signals, and annotations that
an info string tells in full name that info string.  If somebody takes a signal out, puts signals in another order or
edits the annotations, a number may stand for something else, and a label could land on the wrong channel.  So the last
info string holds digests of what the others rest on::

    # Guard: samples 0f1e2d3c4b5a6978, signals 1f2e3d4c5b6a7988, annotations 8c7d6e5f4a3b2c1d

``samples``: format, initial value and checksum of every signal in order; ``signals``: everything that the record line
says of time and the signal lines of the signals; ``annotations``: the info strings that name annotation files, whose
names hold digests of their content.  The names of record and signal files play no role, so that a record can be
renamed.  A header without a guard is taken at its word.  The words are this project's own.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable
from typing import Final

from interchange.records import NamedTuple

__all__ = ["GUARD", "Guard", "guard_line", "guard_of", "guarded"]

GUARD: Final = "Guard: samples "
"""How a guard begins."""

_LINE: Final = re.compile(
    r"Guard: samples ([0-9a-f]{16}), signals ([0-9a-f]{16}), annotations ([0-9a-f]{16})", re.ASCII
)
_INITIAL, _CHECKSUM = 4, 5
"""Fields of a signal line behind the name of its file."""


class Guard(NamedTuple):
    """Digests of what info strings rest on."""

    samples: str
    signals: str
    annotations: str


def guard_line(header: bytes) -> str:
    """The info string that guards the others of a header."""
    found = guarded(header)
    return f"Guard: samples {found.samples}, signals {found.signals}, annotations {found.annotations}"


def guard_of(text: str) -> Guard | None:
    """The digests in an info string, None where it is no guard."""
    match = _LINE.fullmatch(text)
    return None if match is None else Guard(match[1], match[2], match[3])


def guarded(header: bytes) -> Guard:
    """The digests of a header as it is."""
    lines = header.decode("utf-8", "replace").splitlines()
    fields = [line.split() for line in lines if line.strip() and not line.lstrip().startswith("#")]
    record = [fields[0][2].partition("/")[0], *fields[0][3:4]] if fields and len(fields[0]) > 2 else []
    files: dict[str, int] = {}
    signals = [[str(files.setdefault(line[0], len(files))), *line[1:]] for line in fields[1:]]
    samples = [[line[0], *line[1:2], *line[_INITIAL + 1 : _CHECKSUM + 2]] for line in signals]
    listing = [line.lstrip("# ").split() for line in lines if line.startswith("# Annotations ")]
    return Guard(_digest(samples), _digest([record, *signals]), _digest(listing))


def _digest(lines: Iterable[list[str]]) -> str:
    text = "\n".join(" ".join(line) for line in lines)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:16]
