"""A recording under construction from lines of text: fields are set one by one, the objects are built once at the end.

Lists stay lists until then, so the work is in proportion to the lines, however many there are.
"""

from __future__ import annotations

import dataclasses
import re
import types
import typing
from fractions import Fraction
from functools import cache
from typing import Any, TypeAlias

from interchange.model.basic import Moment, Quantity
from interchange.model.paths import type_hints
from interchange.model.tracing import Channel, Tracing

__all__ = ["NOT_UNDERSTOOD", "Draft", "steps_of"]

NOT_UNDERSTOOD = (ValueError, KeyError, IndexError, TypeError, ArithmeticError, AttributeError)
"""What :meth:`Draft.set` raises for a path or a value that makes no sense; the draft is then as before."""

Steps: TypeAlias = list[tuple[str, int | None]]

_STEP = r"([a-z_]+)(?:\[(\d{1,6})\])?"
_NUMBER = r"-?\d{1,400}(?:\.\d{1,400}|/\d{1,400})?"
_ESCAPED = r"\\(?:u([0-9A-F]{4})|(.)|\Z)"
_UNESCAPES = {"\\": "\\", ";": ";", "=": "=", "n": "\n", "r": "\r", "t": "\t", "s": " "}
_FIXED = {Tracing: frozenset({"samples", "missing", "_digest"})}
"""Fields that no line sets."""


@cache
def _compiled(pattern: str, flags: re.RegexFlag) -> re.Pattern[str]:
    """One of the patterns above, compiled when it is first needed."""
    return re.compile(pattern, flags)


def steps_of(path: str) -> Steps:
    """``statements[2].author`` as ``[("statements", 2), ("author", None)]``; ValueError for what is no path."""
    step = _compiled(_STEP, re.ASCII)
    found = [step.fullmatch(part) for part in path.split(".")]
    if not all(found):
        raise ValueError
    return [(part[1], int(part[2]) if part[2] is not None else None) for part in found if part]


class Draft:
    """An object of the model of which fields are being set; ``base`` is what it was before, None for a new one."""

    __slots__ = ("_base", "_class", "_set")

    def __init__(self, cls: Any, base: Any = None) -> None:
        self._class = cls
        self._base = base
        self._set: dict[str, Any] = {}

    def set(self, steps: Steps, text: str) -> None:
        """Set the field at ``steps`` from its text; raises one of :data:`NOT_UNDERSTOOD` and changes nothing."""
        (name, index), rest = steps[0], steps[1:]
        kind, many = _item_type(type_hints(self._class)[name])
        if many != (index is not None) or name in _FIXED.get(self._class, ()):
            raise ValueError
        if index is None:
            old = self._current(name)
            self._set[name] = self._below(kind, old, rest, text) if rest else self._leaf(name, kind, text)
            return
        items = self._items(name)
        if index > len(items) or (index == len(items) and self._class is Tracing and name == "channels"):
            raise IndexError
        old = items[index] if index < len(items) else None
        new = self._below(kind, old, rest, text) if rest else _parsed(kind, text, empty=True)
        items[index : index + 1] = [new]
        self._set[name] = items

    def build(self) -> Any:
        """The object with everything that was set; TypeError where a new one lacks what it must have."""
        if not self._set and self._base is not None:
            return self._base
        fields = {name: _built(value) for name, value in self._set.items()}
        return self._class(**fields) if self._base is None else dataclasses.replace(self._base, **fields)

    def _current(self, name: str) -> Any:
        if name in self._set:
            return self._set[name]
        return getattr(self._base, name) if self._base is not None else _defaults(self._class)[name]

    def _items(self, name: str) -> list[Any]:
        held = self._current(name)
        return held if isinstance(held, list) else list(held or ())

    def _leaf(self, name: str, kind: Any, text: str) -> Any:
        value = _parsed(kind, text, empty=self._current(name) is None)
        if (self._class is Tracing and name == "rate" and value <= 0) or (
            self._class is Channel and name == "step" and value == 0
        ):
            raise ValueError
        return value

    @staticmethod
    def _below(kind: Any, old: Any, rest: Steps, text: str) -> Draft:
        """The object ``old`` (None: a new one, which must be whole with this one field) with the field below it set."""
        if not _is_object_type(kind):
            raise ValueError
        draft = old if isinstance(old, Draft) else Draft(kind, old)
        if old is None and not _required(kind) <= {rest[0][0]}:
            raise TypeError
        draft.set(rest, text)
        return draft


def _built(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_built(item) for item in value)
    return value.build() if isinstance(value, Draft) else value


@cache
def _defaults(cls: Any) -> dict[str, Any]:
    return {
        entry.name: None if entry.default is dataclasses.MISSING else entry.default for entry in dataclasses.fields(cls)
    }


@cache
def _required(cls: Any) -> frozenset[str]:
    """Fields that a new object must be given."""
    return frozenset(
        entry.name
        for entry in dataclasses.fields(cls)
        if entry.default is dataclasses.MISSING and entry.default_factory is dataclasses.MISSING
    )


@cache
def _item_type(hint: Any) -> tuple[Any, bool]:
    """(type of the value or of the items, whether it is a tuple of any length)."""
    options = [part for part in _options(hint) if part is not type(None)]
    for part in options:
        if typing.get_origin(part) is tuple:
            inner = typing.get_args(part)
            if len(inner) == 2 and inner[1] is Ellipsis:
                return inner[0], True
    return (options[0] if len(options) == 1 else tuple(options)), False


def _options(hint: Any) -> tuple[Any, ...]:
    if isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union:
        return typing.get_args(hint)
    return (hint,)


# Values ------------------------------------------------------------------------------------------------------------


@cache
def _is_object_type(kind: Any) -> bool:
    return dataclasses.is_dataclass(kind) and kind not in (Moment, Quantity)


def _parsed(kind: Any, text: str, *, empty: bool = False) -> Any:
    """A value of this type from its text; ``empty``: an object may be one that says nothing."""
    if not _is_object_type(kind):
        return _leaf(kind, text)
    if not text and not empty:
        raise ValueError
    draft = Draft(kind)
    for pair in _split(text, ";") if text else []:
        key, value = _split(pair.strip(" "), "=", 1)
        draft.set(steps_of(key), value)
    return draft.build()


def _leaf(kind: Any, text: str) -> Any:
    if typing.get_origin(kind) is tuple:
        key, value = _split(text, "=", 1)
        return _unescaped(key), _unescaped(value)
    if typing.get_origin(kind) is typing.Literal:
        if text not in typing.get_args(kind):
            raise ValueError
        return text
    if kind is str:
        return _unescaped(text)
    if kind is bool:
        return {"yes": True, "no": False}[text]
    if kind is Moment:
        return Moment.parse(text)
    if kind is Quantity:
        number, unit = text.split(" ", 1)
        return Quantity(_number(number), _unescaped(unit))
    if kind is Fraction:
        return Fraction(_number(text))
    if kind is int or (isinstance(kind, tuple) and set(kind) == {int, Fraction}):
        number_read = _number(text)
        if kind is int and not isinstance(number_read, int):
            raise ValueError
        return number_read
    raise ValueError


def _number(text: str) -> int | Fraction:
    if not _compiled(_NUMBER, re.ASCII).fullmatch(text):
        raise ValueError
    if text.isdigit() and len(text) <= 18:
        return int(text)
    value = Fraction(text)
    return value.numerator if value.denominator == 1 else value


def _unescaped(text: str) -> str:
    if "\\" not in text and text.isascii():
        return text

    def plain(found: re.Match[str]) -> str:
        return chr(int(found[1], 16)) if found[1] else _UNESCAPES[found[2]]

    out = _compiled(_ESCAPED, re.DOTALL).sub(plain, text)
    if any(0xD800 <= ord(c) < 0xE000 for c in out):
        out = out.encode("utf-16-be", "surrogatepass").decode("utf-16-be", "strict")
    return out


def _split(text: str, separator: str, most: int = -1) -> list[str]:
    """Split at a separator that is not escaped."""
    if "\\" not in text:
        return text.split(separator, most)
    parts: list[str] = []
    begin = at = 0
    while at < len(text) and (most < 0 or len(parts) < most):
        if text[at] == "\\":
            at += 2
            continue
        if text[at] == separator:
            parts.append(text[begin:at])
            begin = at + 1
        at += 1
    parts.append(text[begin:])
    return parts
