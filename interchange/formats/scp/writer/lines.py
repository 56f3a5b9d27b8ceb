"""Lines of free text for what the fields of a record do not hold.

The writer first makes the record without lines and asks the reader what it finds in it.  Whatever is not as it was in
the recording becomes a line (see :mod:`interchange.formats.scp.carried`), as deep in the model as it can be said.
"""

from __future__ import annotations

import dataclasses
from collections import Counter, defaultdict
from collections.abc import Sequence
from typing import Any, Final

from interchange.formats.scp.carried import is_allowed
from interchange.model import Code, Mark, Measurement, Moment, Quantity, Recording, Statement, Tracing
from interchange.model.lines import line

__all__ = ["lines_for"]

_LONGEST_LINE: Final = 16_000
"""Characters of a line that is still carried; longer values are left behind."""
_MOST_MARKS: Final = 200
"""Marks that are carried as lines, and no more than that: the text is meant for people."""
_WHOLE: Final = ("patient", "acquisition", "trial", "document_id", "deidentification", "extras")


class _NoLineError(Exception):
    """A value of the base that no line below this place can take away."""


def lines_for(base: Recording, wanted: Recording, order: Sequence[Mark]) -> list[str]:
    """The lines that make of ``base``, as read without lines, the recording that is wanted, as far as lines can.

    ``wanted`` has the tracings, marks and statements that the record holds, numbered as in ``base``; ``order`` has the
    marks that its sections hold, in the order of ``base.marks``.
    """
    found: list[str] = []
    for name in _WHOLE:
        found += _try(name, getattr(base, name), getattr(wanted, name))
    for index, (before, after) in enumerate(zip(base.tracings, wanted.tracings, strict=True)):
        found += _tracing(f"tracings[{index}]", before, after)
    found += _measurements(base.measurements, wanted.measurements)
    found += _marks(base.marks, wanted.marks, order)
    found += _statements(base.statements, wanted.statements)
    return [text for text in found if len(text) <= _LONGEST_LINE]


def _try(path: str, base: Any, wanted: Any) -> list[str]:
    try:
        return _lines(path, base, wanted)
    except _NoLineError:
        return []


def _lines(path: str, base: Any, wanted: Any) -> list[str]:
    """Lines below ``path``; raises where the base has something that the wanted value does not."""
    if base == wanted and type(base) is type(wanted):
        return []
    if isinstance(base, tuple) and isinstance(wanted, tuple) and not path.endswith("]"):  # an item is a pair of texts
        return _items(path, base, wanted)
    if _is_object(wanted) and (base is None or type(base) is type(wanted)):
        return _object(path, base, wanted)
    if wanted is None:
        raise _NoLineError
    return [line(path, wanted)]


def _is_object(value: Any) -> bool:
    return dataclasses.is_dataclass(value) and not isinstance(value, (Moment, Quantity))


def _items(path: str, base: tuple[Any, ...], wanted: tuple[Any, ...]) -> list[str]:
    if len(base) > len(wanted):
        raise _NoLineError
    found = []
    for index, item in enumerate(wanted):
        here = f"{path}[{index}]"
        if index >= len(base):
            found.append(line(here, item))
        else:
            found += _lines(here, base[index], item)
    return found


def _object(path: str, base: Any, wanted: Any) -> list[str]:
    """Lines for the fields that differ, or one line for the whole object where that is the only or the shorter way."""
    if base is None or isinstance(wanted, Code):
        return [line(path, wanted)]
    found: list[str] = []
    try:
        for entry in dataclasses.fields(wanted):
            found += _lines(f"{path}.{entry.name}", getattr(base, entry.name), getattr(wanted, entry.name))
    except _NoLineError:
        return [line(path, wanted)]
    return found


_TRACING_FIELDS: Final = ("label", "of", "fiducial", "beat", "extras")


def _tracing(path: str, base: Tracing, wanted: Tracing) -> list[str]:
    found: list[str] = []
    for name in _TRACING_FIELDS:
        found += _try(f"{path}.{name}", getattr(base, name), getattr(wanted, name))
    for index, (before, after) in enumerate(zip(base.channels, wanted.channels, strict=True)):
        for entry in dataclasses.fields(after):
            here = f"{path}.channels[{index}].{entry.name}"
            if is_allowed(here) or entry.name == "extras":
                found += _try(here, getattr(before, entry.name), getattr(after, entry.name))
    return found


def _measurements(base: Sequence[Measurement], wanted: Sequence[Measurement]) -> list[str]:
    """Lines for measurements that the sections do not hold, or hold otherwise, and for those that nobody spoke of."""
    matched = Counter(base) & Counter(wanted)
    waiting = _without(wanted, matched)
    asked = Counter((m.lead, m.concept) for m in waiting)
    unsaid = Counter((m.lead, m.concept) for m in _without(base, matched))
    stored = Counter((m.lead, m.concept) for m in base)
    dropped = {key for key, count in unsaid.items() if count == stored[key] and not asked[key]}
    kept = [m for m in base if (m.lead, m.concept) not in dropped]
    found = _not_said(dropped, {(m.lead, m.concept) for m in kept})
    free: dict[tuple[str | None, str], list[int]] = defaultdict(list)
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
        end += index == end
        found.append(line(f"measurements[{index}]", m))
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


def _not_said(dropped: set[tuple[str | None, str]], kept: set[tuple[str | None, str]]) -> list[str]:
    """The line about values that are there because the layout demands them; ``*`` where it is so for every lead."""
    told = {concept for lead, concept in kept if lead is not None}
    names = {
        concept if lead is None else f"* {concept}" if concept not in told else f"{lead} {concept}"
        for lead, concept in dropped
    }
    return ["scp.not-said: " + "; ".join(sorted(names))] if names else []


def _marks(base: Sequence[Mark], wanted: Sequence[Mark], order: Sequence[Mark]) -> list[str]:
    """Lines for the marks: those that sections hold first, in their order, then the others."""
    rest = Counter(wanted) - Counter(order)
    found: list[str] = []
    for index, (before, after) in enumerate(zip(base, order, strict=True)):
        found += _try(f"marks[{index}]", before, after)
    end = len(base)
    for mark in wanted:
        if rest[mark]:
            rest[mark] -= 1
            found.append(line(f"marks[{end}]", mark))
            end += 1
    return found if len(found) <= _MOST_MARKS else []


def _statements(base: Sequence[Statement], wanted: Sequence[Statement]) -> list[str]:
    found: list[str] = []
    for index, (before, after) in enumerate(zip(base, wanted, strict=True)):
        for entry in dataclasses.fields(after):
            found += _try(f"statements[{index}].{entry.name}", getattr(before, entry.name), getattr(after, entry.name))
    return found
