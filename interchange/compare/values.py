"""The generic part of the walk: values, objects and lists of the model."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import field
from fractions import Fraction
from typing import Any

from interchange.compare.difference import Difference, Protected
from interchange.compare.match import match
from interchange.model import Code, Moment, Quantity
from interchange.records import dataclass

__all__ = ["FieldWalk", "text_of"]

_ORDERED = ("patient.ids", "statements", "acquisition.remarks", "acquisition.reasons", "patient.comments")
"""Lists whose order says something to a reader."""


def text_of(value: object) -> str:
    """A value of the model as the receipt shows it: a text as it is, everything else as a line of the model."""
    if isinstance(value, str):
        return value
    from interchange.model.lines import line

    return line("", value)[2:]


def _is_leaf(value: object) -> bool:
    return not dataclasses.is_dataclass(value) or isinstance(value, (Moment, Quantity, Code))


def _is_pairs(value: object) -> bool:
    """Whether this is a list of (key, text), as in ``extras`` and ``absent``."""
    return isinstance(value, tuple) and bool(value) and isinstance(value[0], tuple)


@dataclass(slots=True)
class FieldWalk:
    """Collects differences in the order in which it meets them."""

    protected: Callable[[str], Protected | None]
    found: list[Difference] = field(default_factory=list)

    def add(self, difference: Difference) -> None:
        """Note one difference."""
        self.found.append(difference)

    def value(self, path: str, before: Any, after: Any, protected: Protected | None = None) -> None:
        """Compare two values of the same field, whatever they are."""
        if before is after or (before == after and type(before) is type(after)):
            return
        if _is_pairs(before) or _is_pairs(after):
            self._pairs(path, before, after)
        elif isinstance(before, tuple) or isinstance(after, tuple):
            self.items(path, before, after)
        elif not _is_leaf(before if before is not None else after):
            self._fields(path, before, after)
        elif before != after:
            self._leaf(path, before, after, protected)

    def items(self, path: str, before: Sequence[Any], after: Sequence[Any]) -> None:
        """Compare two lists: pairs field by field, the rest as left or added whole."""
        if not before and not after:
            return
        pairs, left, right = match(before, after)
        for i, j in pairs:
            self.value(f"{path}[{i}]", before[i], after[j])
        for index in left:
            name = f"{path}[{index}]"
            self.add(Difference(name, "left", text_of(before[index]), None, self.protected(name)))
        for index in right:
            self.add(Difference(f"{path}[{index}]", "added", None, text_of(after[index])))
        order = [j for _, j in pairs]
        first_moved = path == "patient.ids" and dict(pairs).get(0, 0) != 0
        if first_moved or (path in _ORDERED and order != sorted(order)):
            another = first_moved and before[0].value != after[0].value
            protected: Protected | None = "identity" if another else None
            self.add(Difference(path, "changed", "in this order", "in another order", protected))

    def _fields(self, path: str, before: Any, after: Any) -> None:
        sample = before if before is not None else after
        for entry in dataclasses.fields(sample):
            empty = None if entry.default is dataclasses.MISSING else entry.default
            a = getattr(before, entry.name) if before is not None else empty
            b = getattr(after, entry.name) if after is not None else empty
            self.value(f"{path}.{entry.name}", a, b)

    def _pairs(self, path: str, before: Any, after: Any) -> None:
        for key in sorted({key for key, _ in (*(before or ()), *(after or ()))}):
            a, b = (tuple(text for k, text in side or () if k == key) for side in (before, after))
            if a != b:
                texts = ["; ".join(map(text_of, side)) if side else None for side in (a, b)]
                self._add(f"{path}[{key}]", texts[0], texts[1], None)

    def _leaf(self, path: str, before: Any, after: Any, protected: Protected | None) -> None:
        protected = protected or (self.protected(path) if before is not None else None)
        texts = [None if value is None else text_of(value) for value in (before, after)]
        if isinstance(before, (int, Fraction)) and before == after:
            return
        self._add(path, texts[0], texts[1], protected)

    def _add(self, path: str, before: str | None, after: str | None, protected: Protected | None) -> None:
        kind: Any = "added" if before is None else "left" if after is None else "changed"
        self.add(Difference(path, kind, before, after, protected))
