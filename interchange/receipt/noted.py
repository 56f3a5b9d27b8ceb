"""What a conversion without reading back has to say of itself: what its writer noted, and what its format has no place
for.

This is less than a comparison: a defect of the writer is not in it, and how far something moved is not known.  So a
note about a protected field counts as a protected change, however small it may be.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any

from interchange.compare import Comparison, Difference, Protected
from interchange.compare.values import text_of
from interchange.formats.contract import Account, Note
from interchange.model import Channel, Recording, Tracing
from interchange.model.lines import lines_below

__all__ = ["CHANGED", "noted_comparison"]

CHANGED = "not read back"
"""Stands for a value that the writer says is another in the target."""
_STEP = re.compile(r"([a-z_]+)(?:\[(\d+)\])?")
_CLASSES: tuple[tuple[str, Protected], ...] = (
    (r"tracings\.(rate|start|channels\.skew)|acquisition\.time", "timing"),
    (r"tracings\.channels\.name", "leads"),
    (r"tracings\.(samples|missing|channels\.unit)", "signal"),
    (r"patient(\.(ids(\.value)?|name(\.(family|given|text))?|birth_date|sex))?", "identity"),
)


def noted_comparison(recording: Recording, notes: Iterable[Note], account: Account) -> Comparison:
    """The differences that the writer noted, with their protected classes, and the values that the format leaves."""
    found = [_noted(recording, note.kind, note.path) for note in notes if note.kind in ("changed", "left")]
    found += _left(recording, account)
    return Comparison(tuple({(d.kind, d.path): d for d in found}.values()))


def _noted(recording: Recording, kind: str, path: str) -> Difference:
    try:
        value = _at(recording, path)
    except (AttributeError, IndexError):
        value = None
    if value is None or (isinstance(value, tuple) and not value):
        return Difference(path, "added", None, CHANGED)
    if kind == "left":
        return Difference(path, "left", _text(value), None, _protected(path, left=True))
    return Difference(path, "changed", _text(value), CHANGED, _protected(path, left=False))


def _at(value: Any, path: str) -> Any:
    """The value at a path; a path that stands for a field of all items of a list gives the list."""
    for name, index in _STEP.findall(path):
        if isinstance(value, tuple):
            return value
        value = getattr(value, name)
        if index and name not in ("samples", "missing"):
            value = value[int(index)]
    return value


def _text(value: Any) -> str:
    if isinstance(value, Tracing):
        return f"{value.kind}, {len(value.channels)} x {value.length} samples"
    if isinstance(value, Channel):
        return value.name
    if hasattr(value, "dtype"):
        return f"{value.shape[-1]} samples"
    if isinstance(value, tuple):
        return f"{len(value)} values"
    return text_of(value)


def _protected(path: str, *, left: bool) -> Protected | None:
    """The class of a loss at this path, by the rules of the comparison; where they ask how much, it is protected."""
    bare = re.sub(r"\[\d+\]", "", path)
    if bare in ("tracings", "tracings.channels"):
        return "signal" if left or path.endswith("]") else "leads"
    further = re.match(r"patient\.ids\[(\d+)\]", path)
    if further and further[1] != "0":
        return None
    return next((name for pattern, name in _CLASSES if re.fullmatch(pattern, bare)), None)


def _left(recording: Recording, account: Account) -> Iterator[Difference]:
    """Every value that the format says it has no place for."""
    for field, place in account.items():
        if place.how == "left":
            for text in lines_below(recording, [field]):
                path, _, value = text.partition(": ")
                if field.endswith("extras"):  # (key, text) in a comparison go by their key
                    key, _, value = value.partition("=")
                    path = f"{path.rpartition('[')[0]}[{key}]"
                yield Difference(path, "left", value, None, _protected(path, left=True))
