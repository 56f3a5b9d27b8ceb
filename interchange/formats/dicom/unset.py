"""Fields taken out of a recording again, where the format had to make a value up.

Lists stay lists until the end, so the work is in proportion to the number of paths.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any, Final

from interchange.errors import UsageError
from interchange.model import Recording
from interchange.model.draft import steps_of

__all__ = ["without"]

_KEPT: Final = frozenset({"samples", "missing", "_digest", "format", "unread", "findings", "document_id"})
_WHOLE: Final = frozenset({"tracings", "channels"})
"""Lists that have as many items as there are samples for."""

_Steps = list[tuple[str, int | None]]


def without(recording: Recording, paths: Iterable[str]) -> tuple[Recording, list[str]]:
    """The recording without values at ``paths``, and the paths that name none which may be taken out.

    An item at the end of a list is dropped, any other field is unset; nothing that samples depend on can be.
    """
    open_ = _Open(recording)
    found = list(paths)
    failed = []
    for path in found:
        try:
            open_.unset(steps_of(path))
        except (ValueError, IndexError, TypeError, AttributeError, StopIteration):
            failed.append(path)
    try:
        made: Recording = open_.build()
    except (UsageError, ValueError, TypeError):
        return recording, found
    return made, failed


class _Open:
    """An object of the model while fields are taken out of it."""

    __slots__ = ("_base", "_changed")

    def __init__(self, base: Any) -> None:
        self._base = base
        self._changed: dict[str, Any] = {}

    def unset(self, steps: _Steps) -> None:
        (name, index), rest = steps[0], steps[1:]
        kind = next(entry for entry in dataclasses.fields(self._base) if entry.name == name)
        if name in _KEPT or isinstance(getattr(self._base, name), tuple) != (index is not None):
            raise ValueError
        if index is None:
            self._unset_field(kind, rest)
            return
        items = self._changed[name] if name in self._changed else list(getattr(self._base, name))
        if rest:
            inner = items[index] if isinstance(items[index], _Open) else _Open(items[index])
            inner.unset(rest)
            items[index] = inner
        elif index == len(items) - 1 and name not in _WHOLE:
            items.pop()
        else:
            raise IndexError
        self._changed[name] = items

    def _unset_field(self, kind: dataclasses.Field[Any], rest: _Steps) -> None:
        if not rest:
            if kind.default is not None:
                raise ValueError
            self._changed[kind.name] = None
            return
        held = self._changed.get(kind.name, getattr(self._base, kind.name))
        inner = held if isinstance(held, _Open) else _Open(held)
        inner.unset(rest)
        self._changed[kind.name] = inner

    def build(self) -> Any:
        return dataclasses.replace(self._base, **{name: _built(value) for name, value in self._changed.items()})


def _built(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_built(item) for item in value)
    return value.build() if isinstance(value, _Open) else value
