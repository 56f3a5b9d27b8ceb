"""The walk over two recordings."""

from __future__ import annotations

import re
from dataclasses import fields, replace

from interchange.compare.difference import Comparison, Difference, Protected
from interchange.compare.signal import TracingWalk, match_tracings
from interchange.compare.values import FieldWalk, text_of
from interchange.model import Acquisition, Mark, Moment, Recording, Tracing

__all__ = ["compare_recordings"]

_IDENTITY = r"patient\.(ids\[0\](\.value)?|name\.(family|given|text)|birth_date|sex)"


def compare_recordings(before: Recording, after: Recording) -> Comparison:
    """Every difference between two recordings, in the order of the model, samples exactly.

    Not compared: ``format``, ``unread`` and ``findings``, which speak about a file and not about the recording.
    """
    walk = FieldWalk(_protected)
    tracings = TracingWalk(walk)
    pairs = match_tracings(before.tracings, after.tracings)
    for index, tracing in enumerate(before.tracings):
        if index in pairs:
            tracings.tracing(f"tracings[{index}]", tracing, after.tracings[pairs[index]])
        else:
            walk.add(Difference(f"tracings[{index}]", "left", _tracing_text(tracing), None, "signal"))
    for index, tracing in enumerate(after.tracings):
        if index not in pairs.values():
            walk.add(Difference(f"tracings[{index}]", "added", None, _tracing_text(tracing), "signal"))
    if list(pairs.values()) != sorted(pairs.values()):
        walk.add(Difference("tracings", "changed", "in this order", "in another order", "leads"))
    walk.value("patient", before.patient, after.patient)
    _acquisition(walk, before.acquisition, after.acquisition)
    walk.items("measurements", before.measurements, after.measurements)
    back = {new: old for old, new in pairs.items()}
    walk.items("marks", before.marks, tuple(_mark_on(mark, back) for mark in after.marks))
    for name in ("statements", "trial", "document_id", "deidentification", "extras"):
        walk.value(name, getattr(before, name), getattr(after, name))
    return Comparison(tuple(walk.found), tracings.sample_error, tracings.time_error)


def _protected(path: str) -> Protected | None:
    return "identity" if re.fullmatch(_IDENTITY, path) else None


def _tracing_text(tracing: Tracing) -> str:
    names = " ".join(tracing.names[:24]) + (" ..." if len(tracing.names) > 24 else "")
    return f"{tracing.kind}, {len(tracing.channels)} x {tracing.length} samples at {text_of(tracing.rate)}/s: {names}"


def _mark_on(mark: Mark, tracing: dict[int, int]) -> Mark:
    """The mark with the index that its tracing has in the first recording."""
    index = tracing.get(mark.tracing, mark.tracing)
    return mark if index == mark.tracing else replace(mark, tracing=index)


def _acquisition(walk: FieldWalk, before: Acquisition, after: Acquisition) -> None:
    for entry in fields(Acquisition):
        a, b = getattr(before, entry.name), getattr(after, entry.name)
        if entry.name == "time" and a != b:
            protected: Protected | None = None if _same_instant(a, b) else "timing"
            walk.value("acquisition.time", a, b, protected)
        else:
            walk.value(f"acquisition.{entry.name}", a, b)


def _same_instant(before: Moment | None, after: Moment | None) -> bool:
    """Whether two moments name the same instant; a zone that only one side has plays no part."""
    if before is None or after is None:
        return False
    if before.zone is not None and after.zone is not None:
        if before.is_instant and after.is_instant:
            return before.minus(after) == 0
        return before == after
    return replace(before, zone=None) == replace(after, zone=None)
