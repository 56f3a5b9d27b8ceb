"""Leaves of a recording, found by plain recursion: which fields say something, and copies with one leaf changed."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import numpy as np

from interchange.model import Code, Moment, Quantity, Recording, Tracing

ABOUT_THE_FILE = ("format", "unread", "findings", "_digest")
LEAVES = (str, int, Fraction, Moment, Quantity, Code, np.ndarray)


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """(path with indices, value) of everything that is said: not None, not the field's own default."""
    if value is None:
        return
    if isinstance(value, LEAVES):
        yield path, value
    elif isinstance(value, tuple):
        pairs = bool(value) and isinstance(value[0], tuple)
        for index, item in enumerate(value):
            if pairs:
                yield f"{path}[{item[0]}]", item[1]
            else:
                yield from leaves(item, f"{path}[{index}]")
    else:
        for field in dataclasses.fields(value):
            inner = getattr(value, field.name)
            if field.name not in ABOUT_THE_FILE and not _is_default(inner, field.default):
                yield from leaves(inner, f"{path}.{field.name}" if path else field.name)


def _is_default(value: Any, default: Any) -> bool:
    return not isinstance(value, np.ndarray) and type(value) is type(default) and value == default


def fields_said(recording: Any) -> set[str]:
    """Paths without indices of all fields that say something."""
    return {re.sub(r"\[[^\]]*\]", "", path) for path, _ in leaves(recording)}


def with_leaf(owner: Any, path: str, value: Any) -> Any:
    """A copy of an object with the leaf at ``path`` (as :func:`leaves` writes it) replaced."""
    found = re.fullmatch(r"([a-z_]+)((?:\[[^\]]*\])?)(?:\.(.*))?", path)
    assert found, path
    name, index, rest = found[1], found[2][1:-1], found[3]
    inner = getattr(owner, name)
    if not index:
        new = with_leaf(inner, rest, value) if rest else value
    elif not index.isdigit():
        new = tuple((key, value if key == index else text) for key, text in inner)
    else:
        item = with_leaf(inner[int(index)], rest, value) if rest else value
        new = (*inner[: int(index)], item, *inner[int(index) + 1 :])
    return dataclasses.replace(owner, **{name: new})


def may_be_none(owner: Any, path: str) -> bool:
    """Whether the field at ``path`` is one that is None where nothing was said (no item of a list)."""
    *above, last = path.split(".")
    for step in above:
        found = re.fullmatch(r"([a-z_]+)(?:\[(\d+)\])?", step)
        if not found:
            return False
        owner = getattr(owner, found[1]) if found[2] is None else getattr(owner, found[1])[int(found[2])]
    return any(field.name == last and field.default is None for field in dataclasses.fields(owner))


def changed(value: Any) -> Any:
    """Another value of the same kind, never equal."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, int):
        return value + 1
    if isinstance(value, Fraction):
        return value + Fraction(1, 7)
    if isinstance(value, str):
        return value + "'"
    if isinstance(value, Moment):
        return dataclasses.replace(value, year=(value.year or 1999) + 1)
    if isinstance(value, Quantity):
        return dataclasses.replace(value, value=value.value + 1)
    if isinstance(value, Code):
        return dataclasses.replace(value, meaning=f"{value.meaning}'")
    raise AssertionError(type(value))


def one_leaf_changed(recording: Recording) -> Iterator[tuple[str, Recording]]:
    """(path, copy with that leaf changed) for every leaf but the arrays."""
    for path, value in leaves(recording):
        if not isinstance(value, np.ndarray):
            yield path, with_leaf(recording, path, changed(value))


def one_count_changed(tracing: Tracing, row: int, column: int) -> Tracing:
    """A copy in which one sample is one count higher."""
    samples = tracing.samples.astype(np.int64)
    samples[row, column] += 1
    return dataclasses.replace(tracing, samples=samples)
