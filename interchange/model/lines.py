r"""The model as lines of text, for formats that have no field for something.

A line is ``PATH: VALUE``.  The path names a field of the model with indices (``patient.height``,
``acquisition.devices[0].software[1]``, ``statements[2].author``).  A plain value is written as it is (``172 cm``,
``2031-04-05``, ``yes``, ``1/3``); an object is a list ``key=value; key=value`` of its fields that are set, nested
fields with dots and indices (``name.family=Moor; name.given=Ada``).  In texts a backslash escapes: ``\\`` itself, ``\;``,
``\=``, ``\n``, ``\r``, ``\t``, ``\s`` (a blank at either end) and ``\uXXXX`` (other control characters, and
everything beyond ASCII when the carrier has only ASCII).

Writers choose the paths, readers hand every line to :func:`apply`, which takes back what it understands, exactly.
"""

from __future__ import annotations

import dataclasses
import re
import types
import typing
from collections.abc import Iterable, Iterator
from fractions import Fraction
from functools import cache
from typing import Any

from interchange.model.basic import Moment, Quantity
from interchange.model.paths import NOT_CONTENT, type_hints
from interchange.model.recording import Recording

__all__ = ["apply", "decimal", "line", "lines_below"]

_STEP = re.compile(r"([a-z_]+)(?:\[(\d{1,6})\])?")
_LINE = re.compile(r"([a-z_]+(?:\[\d{1,6}\])?(?:\.[a-z_]+(?:\[\d{1,6}\])?)*): ?(.*)", re.DOTALL)
_MAX_ITEMS = 1_000_000


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
    waiting: dict[str, list[Any]] = {}
    for text in lines:
        found = _LINE.fullmatch(text)
        try:
            if not found:
                raise ValueError
            steps = [_step(part) for part in found[1].split(".")]
            name, index = steps[0]
            if name in NOT_CONTENT or (name == "tracings" and len(steps) < 2):
                raise ValueError
            if len(steps) == 1 and index is not None:
                items = waiting.setdefault(name, list(getattr(recording, name)))
                item, many = _item_type(type_hints(Recording)[name])
                if not many or index > len(items) or index >= _MAX_ITEMS:
                    raise IndexError
                items[index : index + 1] = [_parsed(item, found[2])]
            else:
                if name in waiting:
                    recording = recording.with_(**{name: tuple(waiting.pop(name))})
                recording = _set(recording, Recording, steps, found[2])
        except (ValueError, KeyError, IndexError, TypeError, ArithmeticError, AttributeError):
            others.append(text)
    done: dict[str, Any] = {name: tuple(items) for name, items in waiting.items()}
    return recording.with_(**done) if done else recording, tuple(others)


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
                    found.extend(_pairs(item, f"{key}[{index}]."))
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
        return f"{decimal(value.value)} {_escaped(value.unit, ascii_only)}"
    if _is_pair(value):
        key, text = typing.cast("tuple[str, str]", value)
        return f"{_escaped(key, ascii_only)}={_escaped(text, ascii_only)}"
    return _escaped(str(value), ascii_only)


_ESCAPES = {"\\": "\\\\", ";": "\\;", "=": "\\=", "\n": "\\n", "\r": "\\r", "\t": "\\t"}
_UNESCAPES = {"\\": "\\", ";": ";", "=": "=", "n": "\n", "r": "\r", "t": "\t", "s": " "}


def _escaped(text: str, ascii_only: bool) -> str:
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


# Reading -----------------------------------------------------------------------------------------------------------

_ESCAPED = re.compile(r"\\(?:u([0-9A-F]{4})|(.))", re.DOTALL)


def _unescaped(text: str) -> str:
    def plain(found: re.Match[str]) -> str:
        return chr(int(found[1], 16)) if found[1] else _UNESCAPES[found[2]]

    out = _ESCAPED.sub(plain, text)
    if any(0xD800 <= ord(c) < 0xE000 for c in out):
        out = out.encode("utf-16-be", "surrogatepass").decode("utf-16-be", "strict")
    return out


def _split(text: str, separator: str, most: int = -1) -> list[str]:
    """Split at a separator that is not escaped."""
    parts: list[str] = []
    current: list[str] = []
    escaped = False
    for character in text:
        if character == separator and not escaped and (most < 0 or len(parts) < most):
            parts.append("".join(current))
            current = []
            continue
        escaped = character == "\\" and not escaped
        current.append(character)
    parts.append("".join(current))
    return parts


def _step(text: str) -> tuple[str, int | None]:
    found = _STEP.fullmatch(text)
    if not found:
        raise ValueError
    return found[1], int(found[2]) if found[2] is not None else None


def _set(owner: Any, cls: Any, steps: list[tuple[str, int | None]], text: str) -> Any:
    """A copy of ``owner`` (or a new object of ``cls``) with the value at ``steps`` set from its text."""
    name, index = steps[0]
    hint = type_hints(cls)[name]
    current = getattr(owner, name) if owner is not None else _default(cls, name)
    item, many = _item_type(hint)
    if many != (index is not None):
        raise ValueError
    if index is None:
        new = _set(current, item, steps[1:], text) if steps[1:] else _parsed(item, text)
    else:
        if index > len(current) or index >= _MAX_ITEMS:
            raise IndexError
        old = current[index] if index < len(current) else None
        value = _set(old, item, steps[1:], text) if steps[1:] else _parsed(item, text)
        new = (*current[:index], value, *current[index + 1 :])
    if owner is None:
        return cls(**{name: new})
    return dataclasses.replace(owner, **{name: new})


def _default(cls: Any, name: str) -> Any:
    entry = next(f for f in dataclasses.fields(cls) if f.name == name)
    return None if entry.default is dataclasses.MISSING else entry.default


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


def _parsed(kind: Any, text: str) -> Any:
    if dataclasses.is_dataclass(kind) and kind not in (Moment, Quantity):
        return _built(kind, text)
    return _leaf(kind, text)


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
    if kind is int:
        return int(text)
    if kind is Moment:
        return Moment.parse(text)
    if kind is Quantity:
        number, unit = text.split(" ", 1)
        return Quantity(_number(number), _unescaped(unit))
    if kind is Fraction:
        return Fraction(text)
    if isinstance(kind, tuple) and set(kind) == {int, Fraction}:
        return _number(text)
    raise ValueError


def _number(text: str) -> int | Fraction:
    value = Fraction(text)
    return value.numerator if value.denominator == 1 else value


def _built(cls: Any, text: str) -> Any:
    built: Any = None
    for pair in _split(text, ";") if text else []:
        key, value = _split(pair.strip(" "), "=", 1)
        steps = [_step(part) for part in key.split(".")]
        built = _fill(built, cls, steps, value)
    return cls(**built)


def _fill(built: Any, cls: Any, steps: list[tuple[str, int | None]], text: str) -> dict[str, Any]:
    """Collect constructor arguments; nested objects are set through :func:`_set` on what was collected so far."""
    arguments: dict[str, Any] = built or {}
    name, index = steps[0]
    item, many = _item_type(type_hints(cls)[name])
    if many != (index is not None):
        raise ValueError
    if index is None:
        if steps[1:]:
            old = arguments.get(name)
            arguments[name] = _set(old, item, steps[1:], text) if old is not None else _fresh(item, steps[1:], text)
        else:
            arguments[name] = _parsed(item, text)
        return arguments
    items = arguments.get(name, ())
    if index > len(items):
        raise IndexError
    old = items[index] if index < len(items) else None
    if not steps[1:]:
        new = _parsed(item, text)
    elif old is not None:
        new = _set(old, item, steps[1:], text)
    else:
        new = _fresh(item, steps[1:], text)
    arguments[name] = (*items[:index], new, *items[index + 1 :])
    return arguments


def _fresh(cls: Any, steps: list[tuple[str, int | None]], text: str) -> Any:
    return cls(**_fill(None, cls, steps, text))
