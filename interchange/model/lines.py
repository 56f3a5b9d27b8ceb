r"""The model as lines of text, for formats that have no field for something.

A line is ``PATH: VALUE``.  The path names a field of the model with indices (``patient.height``,
``acquisition.devices[0].software[1]``, ``statements[2].author``).  A plain value is written as it is (``172 cm``,
``2031-04-05``, ``yes``, ``1/3``); an object is a list ``key=value; key=value`` of its fields that are set, nested
fields with dots and indices (``name.family=Moor; name.given=Ada``).  In texts a backslash escapes: ``\\`` itself,
``\;``, ``\=``, ``\n``, ``\r``, ``\t``, ``\s`` (a blank at either end) and ``\uXXXX`` (other control characters, and
everything beyond ASCII when the carrier has only ASCII).

Writers choose the paths, readers hand every line to :func:`apply`, which takes back what it understands, exactly.
"""

from __future__ import annotations

import dataclasses
import re
import typing
from collections.abc import Iterable, Iterator
from fractions import Fraction
from typing import Any

from interchange.model.basic import Moment, Quantity
from interchange.model.draft import NOT_UNDERSTOOD, Draft, steps_of
from interchange.model.paths import NOT_CONTENT
from interchange.model.recording import Recording

__all__ = ["apply", "decimal", "escaped", "line", "lines_below"]

_LINE = re.compile(r"([a-z_]+(?:\[\d{1,6}\])?(?:\.[a-z_]+(?:\[\d{1,6}\])?)*): ?(.*)", re.DOTALL | re.ASCII)


def line(path: str, value: object, *, ascii_only: bool = False) -> str:
    """``PATH: VALUE`` for one value of the model (a leaf, or an object that is no array)."""
    return f"{path}: {_object_text(value, ascii_only)}"


def lines_below(recording: Recording, prefixes: Iterable[str], *, ascii_only: bool = False) -> list[str]:
    """One line for every value that is set at or below the given field paths (without indices).

    A prefix that names a whole object or a tuple of objects gives one line per object; a prefix that names a field of
    items in a tuple (``statements.author``) gives one line per item that has it.
    """
    found: list[str] = []
    for prefix in prefixes:
        chosen = _select(recording, prefix.split("."), "")
        found.extend(line(path, value, ascii_only=ascii_only) for path, value in chosen)
    return found


def apply(recording: Recording, lines: Iterable[str]) -> tuple[Recording, tuple[str, ...]]:
    """The recording with every understood line taken in, and the lines that are none of ours, in order.

    A line sets its field; items are added to a tuple in the order of their indices.  Nothing raises: a line with an
    unknown path, an index that leaves a gap or a value that does not parse is handed back.
    """
    others: list[str] = []
    draft = Draft(Recording, recording)
    for text in lines:
        found = _LINE.fullmatch(text)
        try:
            if not found:
                raise ValueError
            steps = steps_of(found[1])
            if steps[0][0] in NOT_CONTENT or (steps[0][0] == "tracings" and len(steps) < 2):
                raise ValueError
            draft.set(steps, found[2])
        except NOT_UNDERSTOOD:
            others.append(text)
    return draft.build(), tuple(others)


def decimal(value: Fraction | int) -> str:
    """The shortest exact decimal, or ``n/d`` where there is none: ``0.05``, ``-3``, ``1/3``."""
    value = Fraction(value)
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    places = max(twos, fives)
    if rest != 1 or places > 40:
        return f"{value.numerator}/{value.denominator}"
    digits = f"{abs(value.numerator) * 10**places // value.denominator:0{places + 1}}"
    sign = "-" if value < 0 else ""
    return f"{sign}{digits[:-places]}.{digits[-places:]}" if places else f"{sign}{digits}"


# Writing -----------------------------------------------------------------------------------------------------------


def _select(value: Any, names: list[str], path: str) -> Iterator[tuple[str, object]]:
    inner = getattr(value, names[0])
    here = f"{path}.{names[0]}" if path else names[0]
    if len(names) == 1:
        if inner is not None and not _is_same(inner, _default(type(value), names[0])):
            yield from _spread(inner, here)
        return
    if isinstance(inner, tuple):
        for index, item in enumerate(inner):
            yield from _select(item, names[1:], f"{here}[{index}]")
    elif inner is not None:
        yield from _select(inner, names[1:], here)


def _spread(value: Any, path: str) -> Iterator[tuple[str, object]]:
    """The value itself, or its items one by one; nothing for an object without any field set."""
    if isinstance(value, tuple):
        for index, item in enumerate(value):
            yield f"{path}[{index}]", item
    elif (_is_object(value) and _pairs(value)) or not _is_object(value):
        yield path, value


def _is_object(value: object) -> bool:
    return dataclasses.is_dataclass(value) and not isinstance(value, (Moment, Quantity))


def _default(cls: Any, name: str) -> Any:
    entry = next(f for f in dataclasses.fields(cls) if f.name == name)
    return None if entry.default is dataclasses.MISSING else entry.default


def _is_same(value: object, default: object) -> bool:
    return type(value) is type(default) and value == default


def _is_pair(value: object) -> bool:
    return isinstance(value, tuple) and len(value) == 2 and all(isinstance(part, str) for part in value)


def _pairs(value: Any, prefix: str = "") -> list[tuple[str, object]]:
    """(dotted key, leaf) of every field that differs from its default."""
    found: list[tuple[str, object]] = []
    for entry in dataclasses.fields(value):
        inner = getattr(value, entry.name)
        if entry.default is not dataclasses.MISSING and _is_same(inner, entry.default):
            continue
        key = f"{prefix}{entry.name}"
        if isinstance(inner, tuple):
            for index, item in enumerate(inner):
                if _is_object(item):
                    found.extend(_pairs(item, f"{key}[{index}].") or [(f"{key}[{index}]", "")])
                else:
                    found.append((f"{key}[{index}]", item))
        elif _is_object(inner):
            found.extend(_pairs(inner, f"{key}."))
        elif inner is not None:
            found.append((key, inner))
    return found


def _object_text(value: object, ascii_only: bool) -> str:
    if not _is_object(value):
        return _leaf_text(value, ascii_only)
    return "; ".join(f"{key}={_leaf_text(inner, ascii_only)}" for key, inner in _pairs(value))


def _leaf_text(value: object, ascii_only: bool) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, Fraction)):
        return decimal(value)
    if isinstance(value, Quantity):
        return f"{decimal(value.value)} {escaped(value.unit, ascii_only)}"
    if _is_pair(value):
        key, text = typing.cast("tuple[str, str]", value)
        return f"{escaped(key, ascii_only)}={escaped(text, ascii_only)}"
    return escaped(str(value), ascii_only)


_ESCAPES = {"\\": "\\\\", ";": "\\;", "=": "\\=", "\n": "\\n", "\r": "\\r", "\t": "\\t"}


def escaped(text: str, ascii_only: bool = False) -> str:
    """The text with everything escaped that has a meaning in a line."""
    parts = [_ESCAPES.get(c, c) if c in _ESCAPES or _is_plain(c, ascii_only) else _hex(c) for c in text]
    if parts and parts[0] == " ":
        parts[0] = "\\s"
    if parts and parts[-1] == " ":
        parts[-1] = "\\s"
    return "".join(parts)


def _is_plain(character: str, ascii_only: bool) -> bool:
    number = ord(character)
    if number < 32 or 127 <= number < 160 or number in (0x2028, 0x2029) or 0xD800 <= number < 0xE000:
        return False
    return number < 127 or not ascii_only


def _hex(character: str) -> str:
    units = character.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[i] << 8 | units[i + 1]:04X}" for i in range(0, len(units), 2))
