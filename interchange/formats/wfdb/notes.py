"""Findings as they are gathered while a record is read: one for all lines that break the same rule."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from interchange.findings import Finding

__all__ = ["Notes"]


class Notes:
    """Gathers findings; several lines that break one rule become one finding that names them all."""

    __slots__ = ("_lines", "_others")

    def __init__(self) -> None:
        self._lines: dict[str, list[int]] = {}
        self._others: list[Finding] = []

    def line(self, rule: str, number: int) -> None:
        """Rule ``rule`` is broken in header line ``number``."""
        self._lines.setdefault(rule, []).append(number)

    def at(self, rule: str, place: str, detail: str = "") -> None:
        """Rule ``rule`` is broken at ``place``; ``detail`` holds numbers, never text from the file."""
        self._others.append(_finding(rule, place, detail))

    def findings(self) -> list[Finding]:
        """All findings: those on lines first, each rule once."""
        return [_finding(rule, _span(lines)) for rule, lines in self._lines.items()] + self._others


def _finding(rule: str, place: str, detail: str = "") -> Finding:
    from interchange.formats.wfdb.rules import BY_ID

    return BY_ID[rule].at(place, detail)


def _span(lines: list[int]) -> str:
    """``line 3``, ``lines 3-14`` or ``lines 3, 5, 9`` (at most eight are named)."""
    lines = sorted(set(lines))
    if len(lines) == 1:
        return f"line {lines[0]}"
    if lines[-1] - lines[0] == len(lines) - 1:
        return f"lines {lines[0]}-{lines[-1]}"
    named = ", ".join(map(str, lines[:8]))
    return f"lines {named}" + (f" and {len(lines) - 8} more" if len(lines) > 8 else "")
