"""Where parsers write down what they had to tolerate."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from interchange.findings import Finding

__all__ = ["Log", "Unwritten", "at"]

_MOST: Final = 200
"""Findings of one rule that are listed one by one; the rest is counted: a file can break one rule a million times."""


def at(offset: int, section: int | None = None) -> str:
    """The place ``offset`` (bytes from the start of the file, from 0), with the section's number where it has one."""
    return f"offset {offset}" if section is None else f"section {section}, offset {offset}"


class Log:
    """Collects findings in the order in which they are met."""

    def __init__(self) -> None:
        self._findings: list[Finding] = []
        self._counts: dict[str, int] = {}
        self._last: dict[str, str] = {}

    def add(self, name: str, place: str, detail: str = "") -> None:
        """Rule ``scp.name`` is broken at ``place``; ``detail`` holds numbers, never text from the file."""
        count = self._counts[name] = self._counts.get(name, 0) + 1
        if count <= _MOST:
            from interchange.formats.scp.rules import rule

            self._findings.append(rule(name).at(place, detail))
        else:
            self._last[name] = place

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings; of a rule broken very often the first ones and a count of the others."""
        if not self._last:
            return tuple(self._findings)
        from interchange.formats.scp.rules import rule

        more = (
            rule(name).at(place, f"{self._counts[name] - _MOST} more, the last of them here")
            for name, place in self._last.items()
        )
        return (*self._findings, *more)


class Unwritten(Log):
    """Where findings go that nobody will read."""

    def add(self, name: str, place: str, detail: str = "") -> None:
        """Nothing."""
