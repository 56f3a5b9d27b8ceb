"""What a recording's files looked like: when any of them changes, work that was done with them counts no more."""

# Paths are plain strings where every recording passes.
# ruff: noqa: PTH116, PTH118, PTH120

from __future__ import annotations

import os
from bisect import bisect_left
from collections.abc import Sequence
from hashlib import sha256
from typing import TYPE_CHECKING

from interchange.formats.scp.further import main_name

if TYPE_CHECKING:
    from interchange.batch.find import Found

__all__ = ["beside", "listed", "segments", "stamp"]


def stamp(found: Found) -> str:
    """A short hash over the real path, size and time of change of a recording, and over those of the files beside it.

    Nothing is opened: the files are asked for their size and time alone.
    """
    folder = os.path.dirname(found.path)
    words = [found.real or found.path, f"{found.size}:{found.changed}"]
    for name in found.beside:
        words.append(name)
        try:
            status = os.stat(os.path.join(folder, name))
            words.append(f"{status.st_size}:{status.st_mtime_ns}")
        except (OSError, ValueError):
            words.append("")
    return sha256("\0".join(words).encode("utf-8", "surrogatepass")).hexdigest()[:32]


def listed(head: bytes) -> list[str]:
    """The first words of a WFDB header's lines below the record line: signal files, or segments (header(5))."""
    lines = [line for line in map(bytes.strip, head.splitlines()) if line and not line.startswith(b"#")]
    return list(dict.fromkeys(os.fsdecode(line.split()[0]) for line in lines[1:]))


def segments(head: bytes) -> list[str]:
    """Names of the headers that a multi-segment header lists (WFDB header(5): NAME/SEGMENTS)."""
    for line in map(bytes.strip, head.splitlines()):
        if line and not line.startswith(b"#"):
            return [f"{name}.hea" for name in listed(head)] if b"/" in line.split()[0] else []
    return []


def beside(name: str, format: str | None, head: bytes, names: Sequence[str]) -> tuple[str, ...]:
    """Names of the files that belong to the recording ``name`` besides itself, of all ``names`` in its folder (sorted).

    Of a WFDB record those that its header lists, with those of its segments, and annotations; of an SCP-ECG record its
    further files.
    """
    stem = name.rsplit(".", 1)[0]
    if format == "scp":
        return tuple(other for other in _beginning(f"{stem}-", names) if main_name(other) == name)
    if format != "wfdb":
        return ()
    found = set(_beginning(f"{stem}.", names))
    if segments(head):
        for segment in listed(head):
            found.update(_beginning(f"{segment}.", names))
            found.update(_beginning(f"{segment}_", names))
    else:
        found.update(other for other in listed(head) if _has(other, names))
    return tuple(sorted(found - {name}))


def _beginning(start: str, names: Sequence[str]) -> list[str]:
    at = bisect_left(names, start)
    end = at
    while end < len(names) and names[end].startswith(start):
        end += 1
    return list(names[at:end])


def _has(name: str, names: Sequence[str]) -> bool:
    at = bisect_left(names, name)
    return at < len(names) and names[at] == name
