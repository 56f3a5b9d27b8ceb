"""The manifest: a CSV table with one row per recording and nothing about the person."""

from __future__ import annotations

import csv
import io
import stat
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from interchange.batch.journal import Journal
from interchange.errors import TargetError

__all__ = ["COLUMNS", "NAME", "check_manifest", "manifest_bytes"]

NAME = "manifest.csv"

COLUMNS = (
    "name", "status", "reason", "format", "leads", "tracings", "rate", "duration", "digest", "verdict",
    "changed", "left", "added", "unread", "findings", "errors", "verified", "output",
)  # fmt: skip


def check_manifest(folder: Path, overwrite: bool) -> None:
    """TargetError for a manifest that no run of this program left here, unless it may be replaced."""
    path = folder / NAME
    try:
        status = path.lstat()
        if not stat.S_ISREG(status.st_mode):
            raise TargetError("is no regular file", file=str(path))
        if overwrite:
            return
        if not (folder / Journal.NAME).exists():
            raise TargetError("exists already, without a journal beside it (--overwrite replaces it)", file=str(path))
        heading = (",".join(COLUMNS) + "\r\n").encode()
        with path.open("rb") as file:
            if file.read(len(heading)) != heading:
                raise TargetError("is no manifest of this program (--overwrite replaces it)", file=str(path))
    except FileNotFoundError:
        return
    except OSError as error:
        raise TargetError(f"cannot be looked at: {error.strerror or 'input/output error'}", file=str(path)) from None


def manifest_bytes(entries: Iterable[Mapping[str, Any]]) -> bytes:
    """The table in UTF-8, rows sorted by name; what a spreadsheet would take for a formula gets an apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for entry in sorted(entries, key=lambda item: str(item["name"])):
        writer.writerow([_cell(entry.get(column, "")) for column in COLUMNS])
    return out.getvalue().encode("utf-8", "backslashreplace")


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = "" if value is None else str(value)
    if text.startswith(("=", "+", "-", "@", "\t", "\r")):
        text = f"'{text}"
    return text
