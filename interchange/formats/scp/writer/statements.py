"""Statements to sections 8 and 11 (EN 1064 clauses 5.11 and 5.14)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from interchange.formats.contract import Note
from interchange.formats.scp.maps import SCHEME_STATEMENT
from interchange.formats.scp.syntax.statements import CODED, build_coded, build_report
from interchange.formats.scp.syntax.values import Clock, Date
from interchange.model import Moment, Statement
from interchange.records import dataclass

__all__ = ["Reported", "choose_statements"]

_MOST: Final = 255
_ACRONYM: Final = 40
"""Most characters of an acronym."""


@dataclass(frozen=True, slots=True)
class Reported:
    """The report that section 8 holds: its statements, and what is said of all of them."""

    statements: tuple[Statement, ...] = ()
    flag: int = 0
    date: Date = Date(0, 0, 0)
    time: Clock = Clock(0, 0, 0)
    notes: tuple[Note, ...] = ()

    @property
    def has_codes(self) -> bool:
        """Whether section 11 is written."""
        return any(_acronyms(statement) for statement in self.statements)

    def section_8(self, language: int) -> bytes:
        """The body of section 8."""
        return build_report(self.flag, self.date, self.time, [s.text for s in self.statements], language)

    def section_11(self, language: int) -> bytes:
        """The body of section 11: the codes of the statements under their numbers."""
        coded = [
            (number, CODED, " ".join(codes)) for number, s in enumerate(self.statements, 1) if (codes := _acronyms(s))
        ]
        return build_coded(self.flag, self.date, self.time, coded, language)


def _acronyms(statement: Statement) -> list[str]:
    """The statement's codes of the standard's own table."""
    return [
        code.value
        for code in statement.codes
        if code.scheme == SCHEME_STATEMENT and code.value and len(code.value) <= _ACRONYM and " " not in code.value
    ]


def choose_statements(statements: Sequence[Statement]) -> Reported:
    """The one report of a record: the confirmed interpretation where there is one, else the first."""
    groups = sorted({statement.group for statement in statements})
    if not groups:
        return Reported()
    chosen = next((group for group in groups if _all_confirmed(statements, group)), groups[0])
    kept: list[Statement] = []
    notes = []
    for index, statement in enumerate(statements):
        if statement.group != chosen:
            reason = "SCP-ECG holds one report; another interpretation is in it"
            notes.append(Note("left", f"statements[{index}]", reason))
        elif len(kept) == _MOST:
            notes.append(Note("left", f"statements[{index}]", f"a report holds {_MOST} statements"))
        else:
            kept.append(statement)
    moment = next((s.time for s in kept if s.time is not None), None)
    date, time = _when(moment)
    return Reported(tuple(kept), _flag(kept), date, time, tuple(notes))


def _all_confirmed(statements: Sequence[Statement], group: int) -> bool:
    return all(statement.confirmed for statement in statements if statement.group == group)


def _flag(statements: Sequence[Statement]) -> int:
    if all(statement.confirmed for statement in statements):
        return 1
    return 2 if all(statement.overread and not statement.confirmed for statement in statements) else 0


def _when(moment: Moment | None) -> tuple[Date, Clock]:
    if moment is None:
        return Date(0, 0, 0), Clock(0, 0, 0)
    clock = Clock(moment.hour or 0, moment.minute or 0, min(int(moment.second or 0), 59))
    if moment.year is None or moment.month is None or moment.day is None:
        return Date(0, 0, 0), clock
    return Date(moment.year, moment.month, moment.day), clock
