"""Which recordings lie in a folder tree, by content, and what each output will be called."""

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
    folder lists as its segment is part of that record and not found on its own; nor is a further file of an SCP-ECG
    record.  A source that does not exist is kept, so that the books say so; UsageError when none exists.
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
            found.setdefault(source, _file(path, path.name, keep=True))  # type: ignore[arg-type]
        elif path.with_name(f"{path.name}.hea").exists():
            header = path.with_name(f"{path.name}.hea")
            found.setdefault(str(header), _file(header, header.name, keep=True))  # type: ignore[arg-type]
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
        segments = _segments(Path(current), files) | _further(Path(current), files)
        for name in sorted(files):
            if name in segments or name.startswith(".interchange-"):
                continue
            item = _file(Path(current, name), f"{prefix}{below}{name}", keep=False)
            if item is not None:
                yield item


def _file(path: Path, name: str, *, keep: bool) -> Found | None:
    kind, size, changed = None, 0, 0
    try:
        if not keep and not _NO_LINK and path.is_symlink():
            return None
        head, status = _head(path, _READ if keep else _READ | _NO_LINK)
        size, changed = status.st_size, status.st_mtime_ns
        kind = formats.recognise(Source(head, path.name, str(path)))
    except (OSError, SourceError):
        if not keep:
            return None
    return Found(str(path), name, kind, size, changed)


def _head(path: Path, flags: int) -> tuple[bytes, os.stat_result]:
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


def _segments(folder: Path, files: list[str]) -> set[str]:
    """Names of the headers that a multi-segment header in this folder lists (WFDB header(5): NAME/SEGMENTS)."""
    found: set[str] = set()
    for name in files:
        if not name.endswith(".hea"):
            continue
        try:
            lines = [line.strip() for line in _head(folder / name, _READ)[0].splitlines()]
        except OSError:
            continue
        content = [line for line in lines if line and not line.startswith(b"#")]
        if content and b"/" in content[0].split()[0]:
            found.update(f"{line.split()[0].decode('latin-1')}.hea" for line in content[1:])
    return found


def _further(folder: Path, files: list[str]) -> set[str]:
    """Names of the files that an SCP-ECG record in this folder lists as its further files."""
    from interchange.formats.scp.further import is_further_file, main_name

    found: set[str] = set()
    there = set(files)
    for name in files:
        main = main_name(name)
        if main in there:
            try:
                first, second = load(str(folder / name), str(folder)), load(str(folder / main), str(folder))
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
