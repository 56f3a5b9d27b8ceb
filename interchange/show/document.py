"""The recording as plain data: every field of the model, nothing rounded, nothing left out.

Numbers that may be fractions are text: the exact decimal, or ``n/d`` where there is none.  Dates and times are ISO 8601
as far as they are known.  ``null`` and an empty list mean that nothing was said; what was said to be unknown is listed
in ``absent`` of its owner.  Samples are left out unless asked for: their digest, number and range are always there.
"""

from __future__ import annotations

import dataclasses
import typing
from fractions import Fraction
from functools import cache
from typing import Any

from interchange._version import __version__
from interchange.findings import Finding
from interchange.model import Mark, Measurement, Moment, Recording, Tracing
from interchange.model.lines import decimal
from interchange.model.paths import type_hints
from interchange.receipt.content import CAUTIONS

__all__ = ["RECORDING_VERSION", "recording_document"]

RECORDING_VERSION = 1
PAIRS = {"absent": ("field", "reason"), "extras": ("key", "text")}
"""Fields that hold pairs, and what the two are called."""


def recording_document(recording: Recording, *, file: str | None = None, samples: bool = False) -> dict[str, Any]:
    """The recording as plain data for ``json.dumps``.

    ``file``: the path as given.  ``samples``: with the integers as stored, one list per channel, ``null`` where
    missing.
    """
    fields = {
        entry.name: _value(getattr(recording, entry.name), False)
        for entry in dataclasses.fields(Recording)
        if entry.name not in ("tracings", *PAIRS)
    }
    return {
        "document": "interchange recording",
        "version": RECORDING_VERSION,
        "program": f"interchange {__version__}",
        "file": file,
        "recording": {
            "format": fields.pop("format"),
            "tracings": [_tracing(tracing, samples) for tracing in recording.tracings],
            **fields,
            "extras": _pairs("extras", recording.extras),
        },
        "cautions": list(CAUTIONS[:2]),
    }


def _value(value: Any, is_number: bool) -> Any:
    if isinstance(value, tuple):
        return [_value(item, is_number) for item in value]
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, Moment):
        return str(value)
    if isinstance(value, Fraction) or is_number:
        return decimal(value)
    return value if isinstance(value, int) else _object(value)


def _object(value: Any) -> dict[str, Any]:
    if isinstance(value, Finding):
        return {entry.name: getattr(value, entry.name) for entry in dataclasses.fields(value)}
    built: dict[str, Any] = {}
    for name, is_number in _fields(value.__class__):
        inner = getattr(value, name)
        built[name] = _pairs(name, inner) if name in PAIRS and isinstance(inner, tuple) else _value(inner, is_number)
    if isinstance(value, (Measurement, Mark)):
        built["code"] = value.code
    return built


def _pairs(name: str, pairs: tuple[tuple[str, str], ...]) -> list[dict[str, str]]:
    first, second = PAIRS[name]
    return [{first: key, second: text} for key, text in pairs]


@cache
def _fields(cls: Any) -> tuple[tuple[str, bool], ...]:
    """The fields of a class of the model, each with whether its numbers may be fractions."""
    hints = type_hints(cls)
    return tuple(
        (entry.name, _holds_fraction(hints[entry.name]))
        for entry in dataclasses.fields(cls)
        if entry.name not in ("_digest", "samples", "missing")
    )


def _holds_fraction(hint: Any) -> bool:
    return hint is Fraction or any(_holds_fraction(part) for part in typing.get_args(hint))


def _tracing(tracing: Tracing, samples: bool) -> dict[str, Any]:
    built = _object(tracing)
    channels = built.pop("channels")
    for row, channel in enumerate(channels):
        channel.update(_range(tracing, row))
    built = {
        "kind": built.pop("kind"),
        "leads": list(tracing.names),
        "shape": [len(tracing.channels), tracing.length],
        "duration": decimal(tracing.duration),
        "digest": tracing.digest,
        **built,
        "channels": channels,
    }
    if samples:
        built["samples"] = [_row(tracing, row) for row in range(len(tracing.channels))]
    return built


def _range(tracing: Tracing, row: int) -> dict[str, int | None]:
    """Least and greatest stored integer of a row, and how many samples are missing."""
    values, gone = tracing.samples[row], 0
    if tracing.missing is not None:
        mask = tracing.missing[row]
        gone = int(mask.sum())
        values = values[~mask]
    low, high = (int(values.min()), int(values.max())) if values.size else (None, None)
    return {"least": low, "greatest": high, "missing": gone}


def _row(tracing: Tracing, row: int) -> list[int | None]:
    values: list[int | None] = tracing.samples[row].tolist()
    if tracing.missing is not None:
        for index in tracing.missing[row].nonzero()[0].tolist():
            values[index] = None
    return values
