"""Lines of free text for what the fields of a record do not hold.

The writer first makes the record without lines and asks the reader what it finds in it.  Whatever is not as it was in
the recording becomes a line (see :mod:`interchange.formats.scp.carried`), as deep in the model as it can be said.
"""

from __future__ import annotations

import contextlib
import dataclasses
from collections import Counter, defaultdict
from collections.abc import Sequence
from typing import Any, Final

from interchange.formats.scp.carried import is_allowed
from interchange.model import Code, Mark, Measurement, Moment, Quantity, Recording, Statement, Tracing

__all__ = ["lines_for"]

_LONGEST_LINE: Final = 16_000
"""Characters of a line that is still carried; longer values are left behind."""
_MOST_MARKS: Final = 200
"""Marks that are carried as lines, and no more than that: the text is meant for people."""
_WHOLE: Final = ("patient", "acquisition", "trial", "document_id", "deidentification", "extras")
_TRACING_FIELDS: Final = ("label", "of", "fiducial", "beat", "extras")

Key = tuple[str | None, str]


class _UnsetError(Exception):
    """The base has a value that no line below this place can take away."""


class _TooLongError(Exception):
    """A value is too long for a line; it is left behind."""


def lines_for(base: Recording, wanted: Recording, order: Sequence[Mark], *, ascii_only: bool = False) -> list[str]:
    """The lines that make of ``base``, as read without lines, the recording that is wanted, as far as lines can.

    ``wanted`` has the tracings, marks and statements that the record holds, numbered as in ``base``; ``order`` has the
    marks that its sections hold, in the order of ``base.marks``.  ``ascii_only``: everything beyond ASCII as escapes.
    """
    make = _Lines(ascii_only)
    found: list[str] = []
    for name in _WHOLE:
        found += make.attempt(name, getattr(base, name), getattr(wanted, name))
    for index, (before, after) in enumerate(zip(base.tracings, wanted.tracings, strict=True)):
        found += _tracing(make, f"tracings[{index}]", before, after)
    if base.measurements != wanted.measurements:
        found += _measurements(make, base.measurements, wanted.measurements)
    if base.marks or wanted.marks:
        found += _marks(make, base.marks, wanted.marks, order)
    if base.statements or wanted.statements:
        found += _statements(make, base.statements, wanted.statements)
    return found


class _Lines:
    """Makes lines for the differences of two values of one field."""

    def __init__(self, ascii_only: bool) -> None:
        self.ascii_only = ascii_only

    def line(self, path: str, value: Any) -> str:
        """One line."""
        from interchange.model.lines import line

        text = line(path, value, ascii_only=self.ascii_only)
        if len(text) > _LONGEST_LINE:
            raise _TooLongError
        return text

    def attempt(self, path: str, base: Any, wanted: Any) -> list[str]:
        """The lines at or below ``path``, none where lines cannot say it."""
        try:
            return self.below(path, base, wanted)
        except (_UnsetError, _TooLongError):
            return []

    def below(self, path: str, base: Any, wanted: Any) -> list[str]:
        """The lines at or below ``path``."""
        if base == wanted and type(base) is type(wanted):
            return []
        if isinstance(base, tuple) and isinstance(wanted, tuple) and not path.endswith("]"):  # an item is a pair
            return self._items(path, base, wanted)
        if _is_object(wanted) and (base is None or type(base) is type(wanted)):
            return self._object(path, base, wanted)
        if wanted is None:
            raise _UnsetError
        return [self.line(path, wanted)]

    def _items(self, path: str, base: tuple[Any, ...], wanted: tuple[Any, ...]) -> list[str]:
        if len(base) > len(wanted):
            raise _UnsetError
        found: list[str] = []
        end = len(base)
        for index, item in enumerate(wanted):
            with contextlib.suppress(_TooLongError):
                if index < len(base):
                    found += self.below(f"{path}[{index}]", base[index], item)
                else:
                    found.append(self.line(f"{path}[{end}]", item))
                    end += 1
        return found

    def _object(self, path: str, base: Any, wanted: Any) -> list[str]:
        """Lines for the fields that differ, or one line for the whole object where only that can say it."""
        if base is None or isinstance(wanted, Code):
            return [self.line(path, wanted)]
        found: list[str] = []
        try:
            for entry in dataclasses.fields(wanted):
                with contextlib.suppress(_TooLongError):
                    found += self.below(f"{path}.{entry.name}", getattr(base, entry.name), getattr(wanted, entry.name))
        except _UnsetError:
            return [self.line(path, wanted)]
        return found


def _is_object(value: Any) -> bool:
    return dataclasses.is_dataclass(value) and not isinstance(value, (Moment, Quantity))


def _tracing(make: _Lines, path: str, base: Tracing, wanted: Tracing) -> list[str]:
    found: list[str] = []
    for name in _TRACING_FIELDS:
        found += make.attempt(f"{path}.{name}", getattr(base, name), getattr(wanted, name))
    for index, (before, after) in enumerate(zip(base.channels, wanted.channels, strict=True)):
        if before == after:
            continue
        for entry in dataclasses.fields(after):
            here = f"{path}.channels[{index}].{entry.name}"
            if is_allowed(here) or entry.name == "extras":
                found += make.attempt(here, getattr(before, entry.name), getattr(after, entry.name))
    return found


def _measurements(make: _Lines, base: Sequence[Measurement], wanted: Sequence[Measurement]) -> list[str]:
    """Lines for measurements that the sections do not hold, or hold otherwise, and for those that nobody spoke of."""
    matched = Counter(base) & Counter(wanted)
    waiting = _without(wanted, matched)
    asked = Counter((m.lead, m.concept) for m in waiting)
    unsaid = Counter((m.lead, m.concept) for m in _without(base, matched))
    stored = Counter((m.lead, m.concept) for m in base)
    dropped = {key for key, count in unsaid.items() if count == stored[key] and not asked[key]}
    kept = [m for m in base if (m.lead, m.concept) not in dropped]
    found = _not_said(dropped, {(m.lead, m.concept) for m in kept})
    free: dict[Key, list[int]] = defaultdict(list)
    rest = Counter(matched)
    for index, m in enumerate(kept):
        if rest[m]:
            rest[m] -= 1
        else:
            free[m.lead, m.concept].append(index)
    end = len(kept)
    for m in waiting:
        same = free[m.lead, m.concept]
        index = same.pop(0) if same else end
        with contextlib.suppress(_TooLongError):
            found.append(make.line(f"measurements[{index}]", m))
            end += index == end
    return found


def _without(items: Sequence[Measurement], taken: Counter[Measurement]) -> list[Measurement]:
    rest = Counter(taken)
    found = []
    for item in items:
        if rest[item]:
            rest[item] -= 1
        else:
            found.append(item)
    return found


def _not_said(dropped: set[Key], kept: set[Key]) -> list[str]:
    """Lines about values that are there because the layout demands them; ``*`` where it is so for every lead."""
    told = {concept for lead, concept in kept if lead is not None}
    names = {
        concept if lead is None else f"* {concept}" if concept not in told else f"{lead} {concept}"
        for lead, concept in dropped
    }
    ordered = sorted(names)
    return ["scp.not-said: " + "; ".join(ordered[n : n + 100]) for n in range(0, len(ordered), 100)]


def _marks(make: _Lines, base: Sequence[Mark], wanted: Sequence[Mark], order: Sequence[Mark]) -> list[str]:
    """Lines for the marks: those that sections hold first, in their order, then the others."""
    rest = Counter(wanted) - Counter(order)
    found: list[str] = []
    for index, (before, after) in enumerate(zip(base, order, strict=True)):
        found += make.attempt(f"marks[{index}]", before, after)
    end = len(base)
    for mark in wanted:
        if rest[mark]:
            rest[mark] -= 1
            with contextlib.suppress(_TooLongError):
                found.append(make.line(f"marks[{end}]", mark))
                end += 1
    return found if len(found) <= _MOST_MARKS else []


def _statements(make: _Lines, base: Sequence[Statement], wanted: Sequence[Statement]) -> list[str]:
    found: list[str] = []
    for index, (before, after) in enumerate(zip(base, wanted, strict=True)):
        for entry in dataclasses.fields(after):
            found += make.attempt(
                f"statements[{index}].{entry.name}", getattr(before, entry.name), getattr(after, entry.name)
            )
    return found
