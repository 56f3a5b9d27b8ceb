"""A recording in which every field is set, every text with a mark of its own; new fields are filled by themselves."""

from __future__ import annotations

import dataclasses
import itertools
import types
import typing
from fractions import Fraction
from typing import Any

import numpy as np

from interchange.model import Channel, Code, Moment, Quantity, Recording, Tracing
from interchange.model.paths import NOT_CONTENT, type_hints

MARK = "Zyxmark"
"""Occurs in every text of a filled recording and nowhere else."""


def filled_recording() -> Recording:
    """Every field set; texts are ``Zyxmark`` with a number."""
    return typing.cast(Recording, _Filler().make(Recording))


class _Filler:
    def __init__(self) -> None:
        self._numbers = itertools.count(1)

    def make(self, cls: Any) -> Any:
        if cls is Tracing:
            channels = tuple(dataclasses.replace(self._object(Channel), name=name, unit="uV") for name in ("I", "II"))
            made = self._object(Tracing, {"channels": channels, "samples": np.array([[1, 2, 3], [4, 5, 6]])})
            return dataclasses.replace(made, missing=None, kind="rhythm", of=None)
        if cls is Code:
            number = next(self._numbers)
            return Code(f"{MARK}{number}", f"{MARK}{number}scheme", f"{MARK}{number}meaning")
        return self._object(cls)

    def _object(self, cls: Any, given: dict[str, Any] | None = None) -> Any:
        values = dict(given or {})
        for entry in dataclasses.fields(cls):
            if entry.name in values or entry.name in ("missing", "_digest") or entry.name in NOT_CONTENT:
                continue
            values[entry.name] = self._value(entry.name, type_hints(cls)[entry.name])
        return cls(**values)

    def _value(self, name: str, hint: Any) -> Any:
        union = isinstance(hint, types.UnionType) or typing.get_origin(hint) is typing.Union
        options = typing.get_args(hint) if union else (hint,)
        kinds = [kind for kind in options if kind is not type(None)]
        kind = kinds[0]
        origin = typing.get_origin(kind)
        if origin is tuple:
            inner = typing.get_args(kind)
            if len(inner) == 2 and inner[1] is Ellipsis:
                if inner[0] is Tracing:
                    return (self.make(Tracing),)
                return (self._value(name, inner[0]), self._value(name, inner[0]))
            return (f"key{next(self._numbers)}", "unknown" if name == "absent" else f"{MARK}{next(self._numbers)}")
        if origin is typing.Literal:
            return typing.get_args(kind)[0]
        return self._leaf(name, kind)

    def _leaf(self, name: str, kind: Any) -> Any:
        number = next(self._numbers)
        if name == "concept":
            return "pr-interval"
        if name == "lead":
            return "I"
        if kind is str:
            return f"{MARK}{number}"
        if kind is bool:
            return True
        if kind is int:
            return 0 if name in ("tracing", "of", "group", "beat") else 7
        if kind is Fraction:
            return Fraction(500) if name == "rate" else Fraction(number)
        if kind is Moment:
            return Moment.parse("1987-06-05T04:03:02+01:00")
        if kind is Quantity:
            return Quantity(61, "a")
        return self.make(kind)
