"""The journal: one line of JSON per recording, appended and flushed, readable after any kill."""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from interchange.batch.job import Outcome
from interchange.errors import TargetError, UsageError

__all__ = ["Journal"]

VERSION = 1


_OPEN = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)
_BEGINNING = b'{"journal":%d,"settings":"' % VERSION
"""How every line begins."""

_NEEDED = {"name": str, "status": str, "stamp": str, "settings": str, "output": str, "files": list}
_COUNTS = ("exit_status", "errors")


class Journal:
    """Append-only book of a run in the target folder.

    A line counts when it ends with a line feed; a half-written last line is cut off when the book is opened again.  The
    latest line for a name counts.  Whoever has the book open has it alone, where the system knows locks.
    """

    NAME = "journal.jsonl"

    def __init__(self, folder: Path) -> None:
        """Open or begin the book; TargetError when that fails, UsageError when it is no journal of this program."""
        self.path = folder / self.NAME
        self.entries: dict[str, dict[str, Any]] = {}
        try:
            self._look()
            self._handle = os.open(self.path, _OPEN, 0o666)
            try:
                _lock(self._handle, str(self.path))
                self._load()
            except BaseException:
                os.close(self._handle)
                raise
        except OSError as error:
            raise TargetError(f"the journal cannot be opened: {error.strerror}", file=str(self.path)) from None

    def _look(self) -> None:
        try:
            mode = self.path.lstat().st_mode
        except FileNotFoundError:
            return
        if stat.S_ISLNK(mode):
            raise TargetError("the journal is a link", file=str(self.path))
        if not stat.S_ISREG(mode):
            raise TargetError("the journal is no regular file", file=str(self.path))

    def _load(self) -> None:
        data = self.path.read_bytes()
        whole = data.rfind(b"\n") + 1
        lines = data[:whole].split(b"\n")[:-1]
        for number, line in enumerate(lines, 1):
            try:
                entry = _entry(line)
            except (ValueError, KeyError, TypeError, RecursionError):
                raise UsageError("is no journal of this program", f"line {number}", str(self.path)) from None
            self.entries[entry["name"]] = entry
        torn = data[whole:]
        if torn:
            if not torn.startswith(_BEGINNING) and not _BEGINNING.startswith(torn):
                raise UsageError("is no journal of this program", f"line {len(lines) + 1}", str(self.path))
            os.ftruncate(self._handle, whole)

    def close(self) -> None:
        """Close the file, and let others have it."""
        os.close(self._handle)

    def finished(self, name: str, stamp: str, key: str, folder: Path, output: str) -> bool:
        """Whether this recording was done (or refused) with the same settings, is unchanged, and its files still stand.

        A failure is tried again: what could not be read or written may have been repaired without any trace here.
        """
        entry = self.entries.get(name)
        if entry is None or entry["status"] not in ("done", "refused"):
            return False
        if (entry["stamp"], entry["settings"]) != (stamp, key):
            return False
        if entry["status"] != "done":
            return True
        if entry["output"] and entry["output"] != output:
            return False
        beside = (folder / output).parent
        try:
            return all((beside / name).stat().st_size == size for name, size in entry["files"])
        except (OSError, ValueError):
            return False

    def append(self, items: Iterable[tuple[str, Outcome]], key: str) -> None:
        """Write these (stamp of the source, outcome) and flush them to the system in one go."""
        lines: list[str] = []
        for stamp, outcome in items:
            entry = {"journal": VERSION, "settings": key, "stamp": stamp, **outcome.as_dict()}
            self.entries[outcome.name] = entry
            lines.append(json.dumps(entry, ensure_ascii=True, separators=(",", ":")) + "\n")
        data = "".join(lines).encode("ascii")
        try:
            while data:
                data = data[os.write(self._handle, data) :]
        except OSError as error:
            raise TargetError(f"the journal cannot be written: {error.strerror}", file=str(self.path)) from None


def _entry(line: bytes) -> dict[str, Any]:
    """The entry in a line; ValueError, KeyError or TypeError where it is none."""
    entry: dict[str, Any] = json.loads(line)
    if entry["journal"] != VERSION:
        raise ValueError
    if not all(isinstance(entry[name], kind) for name, kind in _NEEDED.items()):
        raise ValueError
    if not all(isinstance(entry[name], int) for name in _COUNTS):
        raise ValueError
    for name, size in entry["files"]:
        if not isinstance(name, str) or not isinstance(size, int):
            raise TypeError
    return entry


def _lock(handle: int, shown: str) -> None:
    """Have the book for oneself; TargetError when somebody else has it.  On a system without locks nothing happens."""
    try:
        import fcntl
    except ImportError:
        return
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        reason = "another batch is at work in this folder; wait for its end, or name another folder"
        raise TargetError(reason, file=shown) from None
    except OSError:
        return  # a file system without locks
