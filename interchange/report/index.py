"""The index of a folder: one line per recording, with links to the reports."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.findings import Finding
from interchange.records import dataclass
from interchange.report.markup import Html, lines, link, section, table, tag
from interchange.report.page import page
from interchange.report.parts import finding_list

__all__ = ["Row", "index_page"]


@dataclass(frozen=True, slots=True)
class Row:
    """One recording: its file, its page, and a few words; ``reason`` why there is no page."""

    file: str
    address: str = ""
    format: str = ""
    patient: str = ""
    time: str = ""
    verdict: str = ""
    errors: int = 0
    warnings: int = 0
    notes: int = 0
    receipt: str = ""
    reason: str = ""


def index_page(folder: str, rows: Sequence[Row], together: Sequence[Finding], others: Sequence[str]) -> bytes:
    """The index: ``together`` is what the recordings say together, ``others`` files that are no recording."""
    unreadable = [row for row in rows if row.reason]
    good = sum(not row.reason and not row.errors for row in rows)
    words = f"{len(rows)} recordings: {good} without errors, {len(rows) - good - len(unreadable)} with errors, "
    words += f"{len(unreadable)} that cannot be read."
    head = [tag("h1", ["ECG recordings in ", tag("bdi", folder)]), tag("p", words, class_="lead")]
    heads = ("File", "Recorded", "Patient", "Format", "Errors", "Warnings", "Notes", "Check", "Conversion")
    listed = table("One line per recording", heads, [_cells(row) for row in rows], numbers=(4, 5, 6), wide=(2, 7))
    content = [section("recordings", "Recordings", [listed if rows else tag("p", "No recording was found.")])]
    places = [("recordings", "Recordings")]
    if together:
        places.append(("together", "Files together"))
        content.append(section("together", "Files together", [finding_list(together)]))
    if others:
        places.append(("others", "Other files"))
        shown = [*others[:200], *([f"and {len(others) - 200} more"] if len(others) > 200 else [])]
        content.append(section("others", "Other files", [lines(shown)], "Not recordings of a known format."))
    return page(f"ECG recordings in {folder}", head, places, content)


def _cells(row: Row) -> tuple[Html | str, ...]:
    if row.reason:
        return (row.file, "", "", "", "", "", "", tag("strong", f"Cannot be read: {row.reason}"), "")
    counts = (str(row.errors), str(row.warnings), str(row.notes))
    return (link(row.address, row.file), row.time, row.patient, row.format, *counts, row.verdict, row.receipt)
