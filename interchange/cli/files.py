"""Which recordings a command line means: files, folders, and ``-`` for names on standard input."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from interchange.errors import SourceError
from interchange.records import dataclass

__all__ = ["Named", "from_standard_input", "named_files", "recordings_in"]


@dataclass(frozen=True, slots=True)
class Named:
    """``recordings``: paths, in the order in which they were named, those of a folder sorted.

    ``others``: files in the folders that are no recording of a known format and belong to none.  ``many``: whether a
    list or a folder was named, so that the answer is about many even if it holds but one.
    """

    recordings: tuple[str, ...]
    others: tuple[str, ...]
    many: bool


def named_files(arguments: Sequence[str]) -> Named:
    """The files that the arguments name; SourceError for a folder that cannot be listed."""
    recordings: list[str] = []
    others: list[str] = []
    many = len(arguments) > 1
    for argument in arguments:
        for name in from_standard_input() if argument == "-" else (argument,):
            if name and Path(name).is_dir():
                found, rest = recordings_in(name)
                recordings += found
                others += rest
                many = True
            else:
                recordings.append(name)
        many = many or argument == "-"
    return Named(tuple(recordings), tuple(others), many)


def from_standard_input() -> list[str]:
    """Names from standard input: one a line, or ended by NUL characters where there are any."""
    if sys.stdin is None:
        return []
    data = sys.stdin.buffer.read()
    ends = b"\0" if b"\0" in data else b"\n"
    names = (os.fsdecode(part.removesuffix(b"\r")) for part in data.split(ends))
    return [name for name in names if name]


def recordings_in(folder: str) -> tuple[list[str], list[str]]:
    """(recordings below the folder, told by their content; other files), each sorted.

    Links are not followed.  Hidden files, and files that share the name of a recording up to a ``.``, ``-`` or ``_``
    (signal and annotation files), are no others.
    """
    from interchange.batch.find import find_recordings

    recordings = [found.path for found in find_recordings([folder]) if found.format is not None or found.reason]
    known = set(recordings)
    stems: dict[str, set[str]] = {}
    for path in map(Path, recordings):
        stems.setdefault(str(path.parent), set()).add(path.stem)
    others = []
    for here, folders, files in os.walk(folder, onerror=_cannot_list):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(files):
            path = Path(here, name)
            if str(path) in known or name.startswith(".") or path.is_symlink():
                continue
            if not _belongs(name, stems.get(str(path.parent), set())):
                others.append(str(path))
    return recordings, others


def _cannot_list(error: OSError) -> None:
    raise SourceError(f"the folder cannot be listed: {error.strerror}", file=str(error.filename))


def _belongs(name: str, stems: set[str]) -> bool:
    """Whether a file bears a recording's name: any part of it that ends before a dot, hyphen or underscore."""
    return any(name[:at] in stems for at, character in enumerate(name) if character in ".-_")
