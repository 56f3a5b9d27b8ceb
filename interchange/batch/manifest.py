"""The manifest: a CSV table with one row per recording and nothing about the person."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping
from typing import Any

__all__ = ["COLUMNS", "manifest_bytes"]

COLUMNS = (
    "name", "status", "reason", "format", "leads", "tracings", "rate", "duration", "digest", "verdict",
    "changed", "left", "added", "unread", "findings", "errors", "verified", "output",
)  # fmt: skip


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
