"""Names of the model's fields, as the receipt, the formats' accounts and ``--set`` write them."""

from __future__ import annotations

import dataclasses
import types
import typing
from functools import cache
from typing import Any

__all__ = ["NOT_CONTENT", "field_paths", "type_hints"]

NOT_CONTENT = frozenset({"format", "unread", "findings", "tracings._digest"})
"""Fields that speak about the source file or the reading of it, not about the recording."""


@cache
def field_paths() -> tuple[str, ...]:
    """Every leaf field of a Recording as a dotted path without indices: ``patient.ids.issuer``, ``marks.lead``."""
    from interchange.model.recording import Recording

    return tuple(path for path in _walk(Recording, "") if path not in NOT_CONTENT)


def _walk(cls: Any, prefix: str) -> list[str]:
    hints = type_hints(cls)
    found: list[str] = []
    for entry in dataclasses.fields(cls):
        path = f"{prefix}{entry.name}"
        inner = _dataclass_in(hints[entry.name])
        if inner is None or path in NOT_CONTENT:
            found.append(path)
        else:
            found.extend(_walk(inner, f"{path}."))
    return found


@cache
def type_hints(cls: Any) -> dict[str, Any]:
    """The types of a model class's fields, resolved."""
    import numpy as np

    from interchange import model

    names = {**vars(model), "np": np, "NDArray": list}  # what an array holds plays no part here
    module = __import__(cls.__module__, fromlist=["_"])
    return typing.get_type_hints(cls, {**names, **vars(module)})


def _dataclass_in(hint: Any) -> Any:
    """The dataclass that a hint holds, directly, as an option or in a tuple; None for leaves."""
    if dataclasses.is_dataclass(hint):
        return None if getattr(hint, "__name__", "") in ("Quantity", "Moment", "Code") else hint
    for part in typing.get_args(hint):
        if isinstance(part, types.UnionType) or typing.get_args(part) or dataclasses.is_dataclass(part):
            inner = _dataclass_in(part)
            if inner is not None:
                return inner
    return None
