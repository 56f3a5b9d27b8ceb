"""Where bytes come from: a file with its neighbours, or bytes that the caller holds.

Formats see a :class:`Source` only.  They know no folders: a neighbour is asked for by its plain name, and a name with
a path in it is refused here, once for all formats.
"""

# Paths are plain strings here: as objects they would take as long as reading a small header.
# ruff: noqa: PTH116, PTH118, PTH119, PTH120

from __future__ import annotations

import errno
import os
import stat
import time
from bisect import bisect_left
from typing import TYPE_CHECKING

from interchange.errors import SourceError
from interchange.limits import limit

if TYPE_CHECKING:
    from collections.abc import Mapping
    from os import PathLike
    from pathlib import Path

__all__ = ["Source", "is_plain_name", "load", "open_path"]


_NOT_PLAIN = frozenset('/\\:"<>|?*').union(map(chr, range(0x20)), map(chr, range(0x7F, 0xA0)))
"""Characters that a plain name does not have."""


def is_plain_name(name: str) -> bool:
    """Whether ``name`` is a file name without any path, drive, control character or device in it."""
    if name in (".", "..") or (len(name) > 63 and len(name.encode("utf-8", "replace")) > 255):
        return False
    return bool(name) and _NOT_PLAIN.isdisjoint(name)


class Source:
    """One document: the main bytes, its plain name, and the files that lie beside it.

    ``name`` is the plain name ("tracing.hea"), ``shown`` the path as the caller gave it (used in messages),
    ``data`` the bytes of the main file.
    """

    __slots__ = ("_files", "_folder", "_given", "data", "name", "shown")

    def __init__(
        self,
        data: bytes,
        name: str = "",
        shown: str = "",
        files: Mapping[str, bytes] | None = None,
        folder: str | PathLike[str] | None = None,
    ) -> None:
        self.data = data
        self.name = name
        self.shown = shown or name or "bytes"
        self._files = files or {}
        self._folder = None if folder is None else os.fspath(folder)
        self._given: list[str] = []

    @property
    def path(self) -> Path | None:
        """Where the main file lies, None for bytes that came without a file."""
        if self._folder is None:
            return None
        from pathlib import Path

        return Path(self._folder, self.name)

    @property
    def paths(self) -> tuple[str, ...]:
        """Where all files lie whose bytes were given out so far, the main one first; () without a folder."""
        return () if self._folder is None else (os.path.join(self._folder, self.name), *self._given)

    @property
    def stem(self) -> str:
        """The plain name without its last suffix."""
        return self.name.rsplit(".", 1)[0] if "." in self.name else self.name

    def neighbour(self, name: str) -> bytes | None:
        """The bytes of the file ``name`` beside the main one, or None where there is none.

        Raises SourceError for a name that is no plain file name, for a link that leads out of the folder, and for
        what is no regular file.
        """
        if not is_plain_name(name):
            raise SourceError("names a file that is no plain name in the same folder")
        if name in self._files:
            return self._files[name]
        if self._folder is None:
            return None
        path = os.path.join(self._folder, name)
        data = load(path, within=self._folder)
        if data is not None:
            self._given.append(path)
        return data

    def neighbours(self) -> tuple[str, ...]:
        """Plain names, sorted, of the files beside the main one that begin with its stem and ``.``, ``-`` or ``_``."""
        stem = self.stem
        found = {name for name in self._files if name.startswith(stem)}
        if self._folder is not None:
            try:
                names = _listing(self._folder)
            except OSError as error:
                raise SourceError(f"the folder cannot be listed: {error.strerror}") from None
            at = bisect_left(names, stem)
            while at < len(names) and names[at].startswith(stem):
                found.add(names[at])
                at += 1
        return tuple(sorted(n for n in found if n != self.name and n.startswith((f"{stem}.", f"{stem}-", f"{stem}_"))))


_LISTINGS: dict[tuple[int, int], tuple[int, list[str]]] = {}
"""Cache of the last few folders: (device, inode) -> (time of change in nanoseconds, names in order)."""

_SETTLED = 2 * 10**9
"""A listing is kept only of a folder that did not change in the last two seconds: two changes may share a time."""


def _listing(folder: str) -> list[str]:
    """The names in a folder, sorted; a big archive is not listed anew for every record in it."""
    status = os.stat(folder)
    key, stamp = (status.st_dev, status.st_ino), status.st_mtime_ns
    held = _LISTINGS.get(key)
    if held is not None and held[0] == stamp:
        return held[1]
    with os.scandir(folder) as entries:
        names = sorted(entry.name for entry in entries)
    if time.time_ns() - stamp > _SETTLED:
        if len(_LISTINGS) >= 4:
            _LISTINGS.clear()
        _LISTINGS[key] = (stamp, names)
    return names


def open_path(given: str) -> Source | None:
    """The file of that name, or the WFDB header of the record of that name; None where it is not as simple as that."""
    name = os.path.basename(given)
    if name in ("", ".", ".."):
        return None
    try:
        for suffix in ("", ".hea"):
            data = load(given + suffix)
            if data is not None:
                return Source(data, name + suffix, given, folder=os.path.dirname(given) or os.curdir)
    except SourceError:
        pass  # a folder beside a header, perhaps; whoever looks closer says what is wrong
    return None


def load(path: str | PathLike[str], within: str | None = None) -> bytes | None:
    """The bytes of a regular file, None where there is none; SourceError says why it cannot be had.

    With ``within``, a symbolic link that leads out of that folder is refused.
    """
    try:
        try:
            status = os.lstat(path)
        except (FileNotFoundError, NotADirectoryError, ValueError):  # the last: a NUL in the name
            return None
        if stat.S_ISLNK(status.st_mode):
            if within is not None and os.path.dirname(os.path.realpath(path)) != os.path.realpath(within):
                raise SourceError("is a link that leads out of the folder", file=os.fspath(path))
            try:
                status = os.stat(path)
            except OSError as error:
                if error.errno in (errno.ENOENT, errno.ENOTDIR, errno.ELOOP):
                    return None
                raise
        if not stat.S_ISREG(status.st_mode):
            folder = stat.S_ISDIR(status.st_mode)
            raise SourceError("is a folder, not a file" if folder else "is no regular file", file=os.fspath(path))
        most = limit("bytes")
        if status.st_size > most:
            raise SourceError(f"is larger than {most} bytes", file=os.fspath(path))
        return _content(path, status.st_size)
    except OSError as error:
        reason = f"cannot be read: {error.strerror or 'input/output error'}"
        raise SourceError(reason, file=os.fspath(path)) from None


def _content(path: str | PathLike[str], size: int) -> bytes:
    """All bytes of the file: ``size`` of them, unless it changes meanwhile."""
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0))
    try:
        data = os.read(handle, size + 1)
        if len(data) == size:
            return data
        parts = [data]
        while part := os.read(handle, 1 << 20):
            parts.append(part)
        return b"".join(parts)
    finally:
        os.close(handle)
