"""The line of text that tells a reader of the annotations whether they were confirmed, and by whom.

DICOM's waveform annotations have no attribute for it (PS3.3 C.10.10), and an unconfirmed machine reading must never
look like a confirmed one.  So the writer ends each interpretation with one annotation of this form; the exact values
travel in the text lines of the model, and the reader does not take this line for a statement.
"""

from __future__ import annotations

from typing import Final

from interchange.model import Statement

__all__ = ["is_status", "status_text"]

PREFIX: Final = "Status of the statements above: "


def is_status(text: str) -> bool:
    """Whether an annotation text is such a line."""
    return text.startswith(PREFIX)


def status_text(statements: list[Statement]) -> str | None:
    """The line for one interpretation, None where nothing was said about confirmation."""
    words = {_words(statement) for statement in statements}
    words.discard("")
    if not words:
        return None
    if len({_words(statement) for statement in statements}) > 1:
        return f"{PREFIX}not the same for all; see the record"
    return PREFIX + words.pop()


def _words(statement: Statement) -> str:
    if statement.confirmed:
        by = f" by {statement.confirmed_by}" if statement.confirmed_by else ""
        at = f" on {statement.confirmed_time}" if statement.confirmed_time else ""
        return f"confirmed{by}{at}"
    if statement.confirmed is None and statement.overread is None:
        return ""
    return "overread, not confirmed" if statement.overread else "not confirmed"
