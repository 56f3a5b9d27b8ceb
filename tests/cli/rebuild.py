"""A recording from its JSON document, by plain recursion over the model's types; shares nothing with what wrote it."""

from __future__ import annotations

import dataclasses
import typing
from fractions import Fraction
from types import NoneType, UnionType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interchange import findings, model
from interchange.model import Moment, Recording, Tracing

NAMES = {**vars(typing), **vars(findings), **vars(model), "np": np, "NDArray": NDArray, "Fraction": Fraction}


def recording_of(document: dict[str, Any]) -> Recording:
    return build(Recording, document["recording"])


def build(kind: Any, data: Any) -> Any:
    if data is None:
        return None
    origin, parts = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, UnionType):
        parts = tuple(part for part in parts if part is not NoneType)
        if len(parts) == 1:
            return build(parts[0], data)
        assert set(parts) == {int, Fraction}
        return number(data)
    if origin is tuple:
        if parts[1] is not Ellipsis:
            return tuple(data.values())
        return tuple(build(parts[0], item) for item in data)
    if kind is Fraction:
        return number(data)
    if kind is Moment:
        return Moment.parse(data)
    if kind is Tracing:
        return tracing(data)
    if dataclasses.is_dataclass(kind):
        return kind(**fields(kind, data))
    if kind is int:
        assert type(data) is int
    return data


def number(text: Any) -> Any:
    assert isinstance(text, str)
    return Fraction(text)


def fields(kind: Any, data: dict[str, Any], *without: str) -> dict[str, Any]:
    hints = typing.get_type_hints(kind, NAMES)
    names = [f.name for f in dataclasses.fields(kind) if f.name not in without and not f.name.startswith("_")]
    return {name: build(hints[name], data[name]) for name in names}


def tracing(data: dict[str, Any]) -> Tracing:
    rows, length = data["shape"]
    samples = np.zeros((rows, length), dtype=np.int64)
    missing = np.zeros((rows, length), dtype=bool)
    for row, values in enumerate(data["samples"]):
        for column, value in enumerate(values):
            if value is None:
                missing[row, column] = True
            else:
                samples[row, column] = value
    return Tracing(samples=samples, missing=missing, **fields(Tracing, data, "samples", "missing"))
