"""Which recordings lie in a folder tree, by content, and what each output will be called."""

# Paths in folders are plain strings: an archive has hundreds of thousands.
# ruff: noqa: PTH114, PTH118, PTH119

from __future__ import annotations

import os
import stat
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path, PurePosixPath

from interchange import formats
from interchange.errors import SourceError, UsageError
from interchange.records import dataclass
from interchange.sources import Source, is_plain_name, load

__all__ = ["Found", "find_recordings", "output_names"]

HEAD = 65536
"""Bytes of a file that are looked at to recognise it."""

LITTLE = 4096
"""Bytes that are enough where the file is no text."""

_WIDE_TEXT = (b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<")
_READ = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)  # a pipe would make us wait
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)


@dataclass(frozen=True, slots=True)
class Found:
    """A recording: ``path`` to open, ``name`` under which the books list it (relative, with slashes), its format.

    ``format`` is None for a file that was named one by one and is no recording: its failure belongs into the books.
    """

    path: str
    name: str
    format: str | None
    size: int
    changed: int


def find_recordings(sources: Iterable[str], *, skip: Path | None = None) -> list[Found]:
    """All recordings below the given folders, and the given files, sorted by name.

    Folders are searched without following links; ``skip`` is a folder that is left out (the target inside a source).
    With several folders the name begins with the folder's own name.  A WFDB header that another header in the same
    folder lists as its segment is part of that record and not found on its own, unless it lists segments itself, which
    no segment may.  Nor is a further file of an SCP-ECG record.  A source that does not exist is kept, so that the
    books say so; UsageError when none exists.
    """
    given = list(sources)
    folders = [source for source in given if Path(source).is_dir()]
    found: dict[str, Found] = {}
    missing: list[str] = []
    for source in given:
        path = Path(source)
        if path.is_dir():
            prefix = _prefix(path) if len(folders) > 1 else ""
            for item in _in_folder(path, prefix, skip):
                found.setdefault(item.path, item)
        elif path.exists():
            found.setdefault(source, _named(source, path.name))
        elif path.with_name(f"{path.name}.hea").exists():
            header = path.with_name(f"{path.name}.hea")
            found.setdefault(str(header), _named(str(header), header.name))
        else:
            found.setdefault(source, Found(source, path.name or source, None, 0, 0))
            missing.append(source)
    if missing and len(missing) == len(given):
        raise UsageError("there is no such file or folder", file=missing[0])
    return sorted(found.values(), key=lambda item: (item.name, item.path))


def output_names(found: Iterable[Found], suffix: str) -> list[str]:
    """The output's relative name for each recording, all different on every system, in the order given.

    ``a/b/x.scp`` becomes ``a/b/x`` + suffix; where two would meet (letter case aside), each keeps its own suffix
    (``x.scp.dcm``), and where that is not enough, a number.
    """
    items = list(found)
    plain = [_safe(PurePosixPath(item.name).with_suffix("")) for item in items]
    counts = Counter(name.casefold() for name in plain)
    long = [
        name if counts[name.casefold()] == 1 else _safe(PurePosixPath(item.name))
        for name, item in zip(plain, items, strict=True)
    ]
    taken: Counter[str] = Counter()
    names = []
    for name in long:
        taken[name.casefold()] += 1
        number = taken[name.casefold()]
        names.append(f"{name}{suffix}" if number == 1 else f"{name}~{number}{suffix}")
    return names


def _named(path: str, name: str) -> Found:
    item, _ = _file(path, name, keep=True)
    assert item is not None
    return item


def _prefix(folder: Path) -> str:
    return f"{folder.resolve().name or 'root'}/"


def _in_folder(folder: Path, prefix: str, skip: Path | None) -> Iterator[Found]:
    root = os.fspath(folder)
    skipped = skip.resolve() if skip is not None else None
    for current, folders, files in os.walk(root):
        folders.sort()
        if skipped is not None:
            folders[:] = [name for name in folders if Path(current, name).resolve() != skipped]
        here = os.path.relpath(current, root)
        below = "" if here == "." else PurePosixPath(*Path(here).parts).as_posix() + "/"
        further = _further(current, files)
        items = []
        whole: set[str] = set()
        parts: set[str] = set()
        for name in sorted(files):
            if name in further or name.startswith(".interchange-"):
                continue
            item, head = _file(os.path.join(current, name), f"{prefix}{below}{name}", keep=False)
            if item is not None:
                items.append((name, item))
                segments = _segments(head) if item.format == "wfdb" else []
                if segments:
                    whole.add(name)
                    parts.update(segments)
        yield from (item for name, item in items if name in whole or name not in parts)


def _file(path: str, name: str, *, keep: bool) -> tuple[Found | None, bytes]:
    """The recording in a file, and the beginning of the file; ``keep``: it was named, so it counts whatever it is."""
    kind, size, changed, head = None, 0, 0, b""
    try:
        if not keep and not _NO_LINK and os.path.islink(path):
            return None, b""
        head, status = _head(path, _READ if keep else _READ | _NO_LINK)
        size, changed = status.st_size, status.st_mtime_ns
        kind = formats.recognise(Source(head, os.path.basename(path), path))
    except (OSError, SourceError):
        if not keep:
            return None, b""
    return Found(path, name, kind, size, changed), head


def _head(path: str, flags: int) -> tuple[bytes, os.stat_result]:
    """The beginning of a file: of text as much as a long comment may take, of anything else a little.

    Nothing of what is no regular file, and nobody waits for one.
    """
    handle = os.open(path, flags)
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            return b"", status
        head = os.read(handle, LITTLE)
        if len(head) == LITTLE and (b"\0" not in head or head.startswith(_WIDE_TEXT)):
            head += os.read(handle, HEAD - LITTLE)
        return head, status
    finally:
        os.close(handle)


def _segments(head: bytes) -> list[str]:
    """Names of the headers that a multi-segment header lists (WFDB header(5): NAME/SEGMENTS)."""
    lines = [line for line in map(bytes.strip, head.splitlines()) if line and not line.startswith(b"#")]
    if not lines or b"/" not in lines[0].split()[0]:
        return []
    return [f"{line.split()[0].decode('latin-1')}.hea" for line in lines[1:]]


def _further(folder: str, files: list[str]) -> set[str]:
    """Names of the files that an SCP-ECG record in this folder lists as its further files."""
    from interchange.formats.scp.further import is_further_file, main_name

    found: set[str] = set()
    there = set(files)
    for name in files:
        main = main_name(name)
        if main in there:
            try:
                first, second = load(os.path.join(folder, name), folder), load(os.path.join(folder, main), folder)
            except SourceError:
                continue
            if first and second and is_further_file(name, first, main, second):
                found.add(name)
    return found


def _safe(path: PurePosixPath) -> str:
    """The relative path with every part a plain name on every system."""
    parts = []
    for part in path.parts:
        name = "".join("_" if c in '/\\:"<>|?*' or ord(c) < 32 or 127 <= ord(c) < 160 else c for c in part)
        name = name.rstrip(". ") or "_"
        parts.append(name if is_plain_name(name) and name not in ("..", ".") else "_")
    return "/".join(parts)
