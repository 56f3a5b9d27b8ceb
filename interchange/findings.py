"""Rules and findings.

A :class:`Rule` is a row of a table: a readable dotted id (``scp.section-crc``), how serious it is, why it matters
and where that is written.  A :class:`Finding` is one place where a rule was broken.  Formats and checks keep their
rules in tables of their own; nothing here knows them.
"""

from __future__ import annotations

from typing import Literal

from interchange.records import dataclass

__all__ = ["SEVERITIES", "Finding", "Rule", "Severity"]

Severity = Literal["error", "warning", "note"]
SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")


@dataclass(frozen=True, slots=True)
class Finding:
    """One broken rule at one place.

    ``place`` names a byte offset, a header line, an element path, a tag path or a field of the model; ``reason`` is
    one sentence for people; ``clause`` the document and clause that the rule rests on.
    """

    rule: str
    severity: Severity
    place: str
    reason: str
    clause: str = ""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule.

    ``reason`` says in one sentence what is wrong when the rule is broken; ``why`` what follows from it for the
    person who has to use the tracing; ``clause`` names document and clause; ``confidence`` is ``seen``,
    ``computed``, ``memory``, ``unsure`` or ``proposal`` (a threshold of this project).
    """

    id: str
    severity: Severity
    reason: str
    clause: str
    why: str = ""
    confidence: Literal["seen", "computed", "memory", "unsure", "proposal"] = "seen"

    def at(self, place: str, detail: str = "") -> Finding:
        """The finding that this rule is broken at ``place``; ``detail`` adds numbers, never text from the file."""
        reason = f"{self.reason} ({detail})" if detail else self.reason
        clause = self.clause
        if self.confidence in ("memory", "unsure"):
            clause = f"{clause} [{'from memory' if self.confidence == 'memory' else 'unsure'}]"
        return Finding(self.id, self.severity, place, reason, clause)
