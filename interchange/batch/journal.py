"""The journal: one line of JSON per recording, appended and flushed, readable after any kill."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from interchange.batch.job import Outcome
from interchange.errors import TargetError, UsageError

__all__ = ["Journal"]

VERSION = 1


class Journal:
    """Append-only book of a run in the target folder.

    A line counts when it ends with a line feed; a half-written last line is cut off when the book is opened again.  The
    latest line for a name counts.
    """

    NAME = "journal.jsonl"

    def __init__(self, folder: Path) -> None:
        self.path = folder / self.NAME
        self.entries: dict[str, dict[str, Any]] = {}
        try:
            self._load()
            self._handle = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o666)
        except OSError as error:
            raise TargetError(f"the journal cannot be opened: {error.strerror}", file=str(self.path)) from None

    def _load(self) -> None:
        if self.path.is_symlink():
            raise TargetError("the journal is a link", file=str(self.path))
        if not self.path.exists():
            return
        data = self.path.read_bytes()
        whole = data.rfind(b"\n") + 1
        for number, line in enumerate(data[:whole].splitlines(), 1):
            try:
                entry = json.loads(line)
                if entry["journal"] != VERSION:
                    raise ValueError
                self.entries[entry["name"]] = entry
            except (ValueError, KeyError, TypeError):
                raise UsageError("is no journal of this program", f"line {number}", str(self.path)) from None
        if whole != len(data):
            with self.path.open("r+b") as file:
                file.truncate(whole)

    def close(self) -> None:
        """Close the file."""
        os.close(self._handle)

    def finished(self, name: str, stamp: str, key: str, folder: Path, output: str) -> bool:
        """Whether this recording was done with the same settings, is unchanged, and its output still stands."""
        entry = self.entries.get(name)
        if entry is None or entry["status"] not in ("done", "refused", "failed"):
            return False
        if (entry["stamp"], entry["settings"]) != (stamp, key):
            return False
        if entry["status"] != "done":
            return bool(entry["exit_status"] in (3, 4))
        if entry["output"] and entry["output"] != output:
            return False
        beside = (folder / output).parent
        try:
            return all((beside / name).stat().st_size == size for name, size in entry["files"])
        except OSError:
            return False

    def append(self, items: Iterable[tuple[str, Outcome]], key: str) -> None:
        """Write these (stamp of the source, outcome) and flush them to the system in one go."""
        lines = []
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
