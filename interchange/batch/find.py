"""Which recordings lie in a folder tree, by content."""

# Paths in folders are plain strings: an archive has hundreds of thousands.
# ruff: noqa: PTH110, PTH112, PTH114, PTH116, PTH118, PTH119, PTH208

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from interchange import formats
from interchange.batch.names import different
from interchange.batch.stamp import beside, segments
from interchange.errors import SourceError, UsageError
from interchange.records import dataclass
from interchange.sources import Source, load

__all__ = ["Found", "find_recordings"]

HEAD = 65536
"""Bytes of a file that are looked at to recognise it."""

LITTLE = 4096
"""Bytes that are enough where the file is no text."""

_WIDE_TEXT = (b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<")
_READ = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)  # a pipe would make us wait
_OWN = (".dcm", ".hea", ".scp")
"""Suffixes of recordings alone; XML files are many things."""

_NO_LINK = getattr(os, "O_NOFOLLOW", 0)
_NO_FILE = frozenset(
    (errno.ENOENT, errno.ENOTDIR, errno.ELOOP, errno.EMLINK, errno.ENXIO, errno.ENODEV, errno.EISDIR, errno.EOPNOTSUPP)
)
"""Errors of what is a link, a socket, or gone by now; any other keeps us from a file that is there."""


@dataclass(frozen=True, slots=True)
class Found:
    """A recording: ``path`` to open, ``name`` under which the books list it (relative, with slashes), its format.

    ``format`` is None for a file that was named one by one, or is called like a recording, and is none: its failure
    belongs into the books.
    ``real``: the path without links.  ``beside``: names of the other files that belong to it.  ``reason``: why a file
    or folder cannot be looked at; nobody knows whether it is a recording, so that is a row in the books too.
    """

    path: str
    name: str
    format: str | None
    size: int
    changed: int
    real: str = ""
    beside: tuple[str, ...] = ()
    reason: str = ""


def find_recordings(sources: Iterable[str], *, skip: Path | None = None) -> list[Found]:
    """All recordings below the given folders, and the given files, sorted by name; no file and no name twice.

    Folders are searched without following links; ``skip`` is a folder that is left out (the target inside a source).
    With several folders the name begins with the folder's own name.  Where two names meet, more folders come before
    them.  A WFDB header that another header in the same folder lists as its segment is part of that record and not
    found on its own, unless it lists segments itself, which no segment may.  Nor is a further file of an SCP-ECG
    record.  A source that does not exist is kept, so that the books say so, and so is what cannot be read, or is called
    like a recording (``x.dcm``) and is none; UsageError when no source exists, or one has no name.
    """
    given = list(dict.fromkeys(sources))
    if "" in given:
        raise UsageError("the name of a source is empty")
    prefixes = _prefixes([source for source in given if os.path.isdir(source)])
    skipped = os.path.realpath(skip) if skip is not None else None
    listings: dict[str, list[str]] = {}
    real_folders: dict[str, str] = {}
    found: dict[str, tuple[Found, str]] = {}
    missing = [source for source in given if source not in prefixes and _gone(source)]
    for source in given:
        if source in prefixes:
            for item in _in_folder(source, prefixes[source], skipped):
                found.setdefault(item.real, (item, item.real))
        else:
            item, place = _named(source, listings, real_folders)
            found.setdefault(item.real, (item, place))
    if missing and len(missing) == len(given):
        raise UsageError("there is no such file or folder", file=missing[0])
    items = [item for item, _ in found.values()]
    names = different([item.name for item in items], [place for _, place in found.values()])
    named = (item if item.name == name else replace(item, name=name) for item, name in zip(items, names, strict=True))
    return sorted(named, key=lambda item: (item.name, item.path))


def _prefixes(folders: list[str]) -> dict[str, str]:
    """What the names of the recordings in each folder begin with: nothing, if there is but one."""
    real = {folder: os.path.realpath(folder) for folder in folders}
    places = list(dict.fromkeys(real.values()))
    if len(places) == 1:
        return dict.fromkeys(folders, "")
    names = dict(zip(places, different([os.path.basename(place) or "root" for place in places], places), strict=True))
    return {folder: f"{names[real[folder]]}/" for folder in folders}


def _gone(source: str) -> bool:
    for name in (source, f"{source}.hea"):
        try:
            os.stat(name)
        except (FileNotFoundError, NotADirectoryError, ValueError):
            continue
        except OSError:
            return False
        return False
    return True


def _named(source: str, listings: dict[str, list[str]], real_folders: dict[str, str]) -> tuple[Found, str]:
    """The recording that was named (the header for a WFDB record's bare name), and where it lies, its own name kept."""
    path = source
    if not os.path.exists(path) and os.path.exists(f"{path}.hea"):
        path = f"{path}.hea"
    folder, name = os.path.split(path)
    try:
        if folder not in real_folders:
            real_folders[folder] = os.path.realpath(folder or os.curdir)
        place = os.path.join(real_folders[folder], name)
        real = os.path.realpath(path) if os.path.islink(place) or name in ("", os.curdir, os.pardir) else place
    except (OSError, ValueError):
        return Found(path, name or path, None, 0, 0, path), path
    item, head = _file(path, name or path, real, keep=True)
    assert item is not None
    if item.format in ("wfdb", "scp"):
        if folder not in listings:
            listings[folder] = _listing(folder or os.curdir)
        item = replace(item, beside=beside(name, item.format, head, listings[folder]))
    return item, place


def _listing(folder: str) -> list[str]:
    try:
        return sorted(os.listdir(folder))
    except OSError:
        return []


def _in_folder(root: str, prefix: str, skipped: str | None) -> Iterator[Found]:
    errors: list[OSError] = []
    real = os.path.realpath(root)
    for current, folders, files in os.walk(root, onerror=errors.append):
        folders.sort()
        if skipped is not None:
            folders[:] = [name for name in folders if os.path.realpath(os.path.join(current, name)) != skipped]
        here = os.path.relpath(current, root)
        below = "" if here == os.curdir else f"{here.replace(os.sep, '/')}/"
        yield from _among(sorted(files), current, f"{prefix}{below}", real if not below else os.path.join(real, here))
    for error in errors:
        path = root if error.filename is None else os.fspath(error.filename)
        here = os.path.relpath(path, root)
        name = prefix.rstrip("/") or os.path.basename(real) or root
        if here != os.curdir:
            name = f"{prefix}{here.replace(os.sep, '/')}"
        yield Found(path, name, None, 0, 0, os.path.normpath(os.path.join(real, here)), (), _reason(error))


def _among(files: list[str], current: str, before: str, real: str) -> Iterator[Found]:
    """The recordings among the files (sorted) of one folder."""
    further = _further(current, files)
    items = []
    whole: set[str] = set()
    parts: set[str] = set()
    claimed: set[str] = set()
    for name in files:
        if name in further or name.startswith(".interchange-"):
            continue
        item, head = _file(os.path.join(current, name), f"{before}{name}", os.path.join(real, name), keep=False)
        if item is None:
            continue
        if item.format in ("wfdb", "scp"):
            item = replace(item, beside=beside(name, item.format, head, files))
            claimed.update(item.beside)
        items.append((name, item))
        listed = segments(head) if item.format == "wfdb" else []
        if listed:
            whole.add(name)
            parts.update(listed)
    for name, item in items:
        if item.reason and name in claimed:
            continue  # the recording that it belongs to says so
        if name in whole or name not in parts:
            yield item


def _file(path: str, name: str, real: str, *, keep: bool) -> tuple[Found | None, bytes]:
    """The recording in a file, and the beginning of the file; ``keep``: it was named, so it counts whatever it is."""
    kind, size, changed, head = None, 0, 0, b""
    called_so = False
    try:
        if not keep and not _NO_LINK and os.path.islink(path):
            return None, b""
        head, status = _head(path, _READ if keep else _READ | _NO_LINK)
        size, changed = status.st_size, status.st_mtime_ns
        called_so = stat.S_ISREG(status.st_mode) and _is_called_so(os.path.basename(path))
        kind = formats.recognise(Source(head, os.path.basename(path), path))
    except (OSError, SourceError, ValueError) as error:
        if not keep and not (called_so and isinstance(error, SourceError)):
            told = isinstance(error, OSError) and _is_kept_from_us(path, error)
            return (Found(path, name, None, 0, 0, real, (), _reason(error)) if told else None), b""
    return Found(path, name, kind, size, changed, real), head


def _is_called_so(name: str) -> bool:
    """Whether a file has a suffix that recordings alone have: then it is a damaged one, and no other file."""
    return name.lower().endswith(_OWN) and not name.startswith(".")


def _is_kept_from_us(path: str, error: OSError) -> bool:
    """Whether the error hides a file's content, as against something that is no file."""
    if error.errno in _NO_FILE:
        return False
    try:
        return stat.S_ISREG(os.lstat(path).st_mode)
    except OSError as again:
        return again.errno not in _NO_FILE


def _reason(error: Exception) -> str:
    return f"cannot be read: {getattr(error, 'strerror', None) or 'input/output error'}"


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
