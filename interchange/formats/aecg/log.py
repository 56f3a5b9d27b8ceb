"""What the reader notes while it reads: findings, bounded in number, and what it took in without using it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from interchange.formats.aecg.markup import WHITE, Node, place_of
from interchange.model import Unread

if TYPE_CHECKING:
    from lxml import etree

    from interchange.findings import Finding

__all__ = ["MOST", "Log"]

MOST = 20
"""Places that are named for one rule; the rest is counted."""


class Log:
    """Findings of one reading, in the order in which they were met."""

    def __init__(self) -> None:
        self._found: list[Finding] = []
        self._counts: dict[str, int] = {}
        self.zones: set[bool] = set()
        self.unread: list[Unread] = []
        self.integers: list[etree._Element] = []
        """Elements whose text was read as a list of integers, without any deviation from that form."""

    def add(self, id: str, node: Node | None = None, detail: str = "", place: str = "") -> None:
        """Rule ``id`` was broken at ``node``; ``detail`` never quotes the document."""
        count = self._counts[id] = self._counts.get(id, 0) + 1
        if count <= MOST:
            from interchange.formats.aecg.rules import rule

            where = place_of(node.element) if node is not None else place or "/"
            self._found.append(rule(id).at(where, detail))

    def loose(self, node: Node) -> None:
        """Note text that stands between the parts of a name or an address, which nothing takes in."""
        pieces = [node.element.text or "", *(child.element.tail or "" for child in node.children)]
        size = sum(len(piece.strip(WHITE)) for piece in pieces)
        if size:
            self.unread.append(Unread(place_of(node.element), size, "text between the parts"))

    def first(self, *ids: str) -> Finding | None:
        """The first finding of one of these rules."""
        return next((finding for finding in self._found if finding.rule in ids), None)

    def findings(self) -> tuple[Finding, ...]:
        """All findings; a rule broken at many places ends with one that counts the rest."""
        if not self._found:
            return ()
        from interchange.formats.aecg.rules import rule

        rest = [
            rule(id).at("/", f"at {count - MOST} further places") for id, count in self._counts.items() if count > MOST
        ]
        return (*self._found, *rest)
