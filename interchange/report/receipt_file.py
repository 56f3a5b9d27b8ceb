"""A receipt as it was written to a file (schemas/receipt.schema.json), taken back."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from fractions import Fraction
from typing import Any

from interchange.errors import SourceError
from interchange.findings import SEVERITIES, Finding
from interchange.model import Unread
from interchange.receipt import Added, Carried, Document, Entry, Receipt
from interchange.receipt.content import RECEIPT_VERSION, TracingSummary

__all__ = ["looks_like_receipt", "read_receipt"]

TITLE = "interchange receipt"
_NUMBER = re.compile(r"-?\d{1,400}(\.\d{1,400}|/[1-9]\d{0,399})?", re.ASCII)
HEAD = 4096


def looks_like_receipt(data: bytes) -> bool:
    """Whether the bytes begin like a receipt's file."""
    start = data[:HEAD].lstrip(b"\xef\xbb\xbf \t\r\n")
    return start.startswith(b"{") and TITLE.encode() in start


def read_receipt(data: bytes, shown: str = "") -> Receipt:
    """The receipt in a file's bytes.  Raises SourceError, naming ``shown``, for what is none."""
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        raise SourceError("is no JSON document in UTF-8", file=shown) from None
    if not isinstance(document, dict) or document.get("document") != TITLE:
        raise SourceError("is no receipt of this program", file=shown)
    if document.get("version") != RECEIPT_VERSION:
        raise SourceError(f"is a receipt of another version; {RECEIPT_VERSION} is known", "version", shown)
    try:
        return _receipt(_Reader(document, ""))
    except SourceError as error:
        raise error.in_file(shown) from None


class _Reader:
    """A JSON object whose fields are asked for by type; a wrong one is named by its place."""

    def __init__(self, value: Any, place: str) -> None:
        if not isinstance(value, dict):
            raise SourceError("is no object", place)
        self.value, self.place = value, place

    def at(self, name: str) -> str:
        """Place of a field."""
        return f"{self.place}.{name}" if self.place else name

    def get(self, name: str, *kinds: type) -> Any:
        """A field of one of these types."""
        found = self.value.get(name)
        if not isinstance(found, kinds) or (isinstance(found, bool) and bool not in kinds):
            raise SourceError("is missing or of another type", self.at(name))
        return found

    def text(self, name: str) -> str:
        """A text."""
        found: str = self.get(name, str)
        return found

    def maybe(self, name: str) -> str | None:
        """A text or null."""
        found: str | None = self.get(name, str, type(None))
        return found

    def count(self, name: str) -> int:
        """A whole number from 0 on."""
        found: int = self.get(name, int)
        if found < 0:
            raise SourceError("is below zero", self.at(name))
        return found

    def number(self, name: str) -> Fraction:
        """An exact number, written as decimal or fraction."""
        found = self.text(name)
        if not _NUMBER.fullmatch(found):
            raise SourceError("is no number", self.at(name))
        return Fraction(found)

    def texts(self, name: str) -> tuple[str, ...]:
        """A list of texts."""
        found = self.get(name, list)
        if not all(isinstance(item, str) for item in found):
            raise SourceError("is no list of texts", self.at(name))
        return tuple(found)

    def each(self, name: str, make: Callable[[_Reader], Any]) -> tuple[Any, ...]:
        """A list of objects."""
        return tuple(make(_Reader(item, f"{self.at(name)}[{n}]")) for n, item in enumerate(self.get(name, list)))


def _receipt(r: _Reader) -> Receipt:
    from interchange.deidentify.rules import Removal

    return Receipt(
        source=r.each("source", _document),
        target=r.each("target", _document),
        tracings=r.each("tracings", _tracing),
        carried=r.each("carried", lambda c: Carried(c.text("path"), c.count("count"))),
        changed=r.each("changed", _entry),
        left=r.each("left", _entry),
        added=r.each("added", lambda a: Added(a.text("path"), a.text("value"), a.text("reason"), a.text("field"))),
        notes=r.texts("notes"),
        unread=r.each("unread", lambda u: Unread(u.text("place"), u.count("size"), u.text("what"))),
        findings=r.each("findings", _finding),
        accepted=r.texts("accepted"),
        sample_error=r.number("largest_sample_change_microvolts"),
        time_error=r.number("largest_time_change_seconds"),
        verified=r.get("verified", bool),
        version=r.text("program").removeprefix("interchange "),
        removals=r.each(
            "deidentification",
            lambda d: Removal(d.text("group"), d.count("removed"), d.count("replaced"), d.count("kept")),
        ),
    )


def _document(r: _Reader) -> Document:
    return Document(r.text("name"), r.maybe("format"), r.count("size"), r.text("sha256"))


def _tracing(r: _Reader) -> TracingSummary:
    return TracingSummary(
        r.text("kind"),
        r.texts("leads"),
        r.count("samples"),
        r.number("rate"),
        r.number("start"),
        r.text("digest"),
        r.maybe("written_digest"),
    )


def _entry(r: _Reader) -> Entry:
    return Entry(
        r.text("path"),
        r.maybe("before"),
        r.maybe("after"),
        r.text("reason"),
        r.maybe("protected"),
        r.get("requested", bool),
        r.text("field"),
    )


def _finding(r: _Reader) -> Finding:
    severity = r.text("severity")
    if severity not in SEVERITIES:
        raise SourceError("is no severity", r.at("severity"))
    return Finding(r.text("rule"), severity, r.text("place"), r.text("reason"), r.text("clause"))
