"""What a record has no field for, as info strings: customary keys where they say it exactly, else lines of the model.

The lines are those of :mod:`interchange.model.lines`, in plain words: ``# patient.name: family=Moor; given=Ada``.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import fields
from fractions import Fraction
from typing import Final

from interchange.formats.wfdb.comments import customary_lines, told
from interchange.formats.wfdb.guard import GUARD
from interchange.formats.wfdb.infostrings import InfoString, wrapped
from interchange.formats.wfdb.layout import is_layout
from interchange.formats.wfdb.mark_files import is_listing
from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.record_text import base_time
from interchange.formats.wfdb.storage import Signal
from interchange.model import Acquisition, Channel, Extras, Filters, Moment, Patient, Recording, Tracing
from interchange.model.lines import line, lines_below
from interchange.model.paths import NOT_CONTENT

__all__ = ["is_allowed", "is_own", "outside_lines", "recording_lines", "tracing_lines"]

_ROOTS: Final = tuple(entry.name for entry in fields(Recording) if entry.name not in NOT_CONTENT)
_OWN: Final = re.compile(rf"(?:{'|'.join(_ROOTS)})[a-z_.\[\]0-9]*: ", re.ASCII)
_ALLOWED: Final = re.compile(
    r"tracings\[\d+\]\.(?:kind|label|of|fiducial|beat|start|rate|extras\[\d+\]"
    r"|channels\[\d+\]\.(?:step|offset|name|unit|label|filters|skew|origin|derived_from|bits|extras\[\d+\]))"
    rf"|(?:{'|'.join(name for name in _ROOTS if name != 'tracings')})\b.*",
    re.ASCII,
)
_APART: Final = frozenset({"tracings", "patient", "acquisition", "marks", "extras"})
"""Fields of the recording that have a way of their own."""

_PREFIXES: Final = (
    *(f"patient.{entry.name}" for entry in fields(Patient)),
    *(f"acquisition.{entry.name}" for entry in fields(Acquisition) if entry.name not in ("time", "remarks")),
    *(name for name in _ROOTS if name not in _APART),
)
"""Fields that become lines as they are, in the order of the model."""

_COUNTER: Final = frozenset({"wfdb.counter-frequency", "wfdb.counter-base"})


def is_own(text: str) -> bool:
    """Whether an info string is a line of the model (``patient.name: ...``)."""
    return _OWN.match(text) is not None


def is_allowed(path: str) -> bool:
    """Whether a line may set this field: one that :func:`recording_lines` or :func:`tracing_lines` may write."""
    return _ALLOWED.fullmatch(path) is not None


def recording_lines(recording: Recording) -> list[str]:
    """All info strings but those about tracings and marks."""
    customary, carried = customary_lines(recording.patient, recording.statements)
    plain = _plain_remarks(recording.acquisition.remarks)
    found = [*customary, *recording.acquisition.remarks[:plain]]
    if recording.acquisition.time is not None and not _is_whole(recording.acquisition.time):
        found.append(line("acquisition.time", recording.acquisition.time))
    prefixes = [path for path in _PREFIXES if path not in carried]
    found.extend(lines_below(recording, prefixes))
    found.extend(
        line(f"acquisition.remarks[{index}]", text)
        for index, text in enumerate(recording.acquisition.remarks)
        if index >= plain
    )
    found.extend(_extras("extras", _without(recording.extras, _COUNTER)))
    return found


def _is_whole(moment: Moment) -> bool:
    """Whether base time and base date say all of it."""
    return moment.zone is None and bool(base_time(moment)) and (10**6 * (moment.second or 0)).denominator == 1


def _plain_remarks(remarks: tuple[str, ...]) -> int:
    """How many remarks from the first on can stand as they are and are read back as remarks."""
    for count, text in enumerate(remarks):
        if not text.isprintable() or text != text.strip() or not text:
            return count
        if is_own(text) or is_layout(text) or is_listing(text) or text.startswith(GUARD):
            return count
        story = told([InfoString(0, text)], Notes())
        if story != type(story)(remarks=[text]) or len(wrapped(text)) > 1 or text.endswith("\\"):
            return count
    return len(remarks)


def _without(extras: Extras, keys: frozenset[str]) -> Extras:
    return tuple(entry for entry in extras if entry[0] not in keys)


def _extras(path: str, extras: Extras) -> Iterator[str]:
    for index, entry in enumerate(extras):
        yield line(f"{path}[{index}]", entry)


def tracing_lines(
    tracing: Tracing,
    index: int,
    rate: Fraction,
    expected: Sequence[Channel],
    signals: Sequence[Signal],
    *,
    at: Fraction,
) -> list[str]:
    """Lines for what the header's fields do not say of tracing number ``index``.

    ``rate``, ``expected`` and ``at`` are rate, channels and start as the reader will make them from the fields;
    ``signals`` have the step and offset that the stored integers have.
    """
    path = f"tracings[{index}]"
    found: list[str] = []
    for name in ("kind", "label", "of", "fiducial", "beat"):
        value = getattr(tracing, name)
        if value is not None and (name, value) != ("kind", "rhythm"):
            found.append(line(f"{path}.{name}", value))
    if tracing.start != at:
        found.append(line(f"{path}.start", tracing.start))
    if tracing.rate != rate:
        found.append(line(f"{path}.rate", tracing.rate))
    found.extend(_extras(f"{path}.extras", tracing.extras))
    for row, (channel, read, signal) in enumerate(zip(tracing.channels, expected, signals, strict=True)):
        here = f"{path}.channels[{row}]"
        if read.step != signal.step:
            found.append(line(f"{here}.step", signal.step))
        if read.offset != signal.offset:
            found.append(line(f"{here}.offset", signal.offset))
        found.extend(_channel_lines(here, channel, read))
    return found


def outside_lines(tracing: Tracing, index: int) -> list[str]:
    """Lines in the first record about a tracing that is a record of its own."""
    found = [line(f"tracings[{index}].start", tracing.start)] if tracing.start else []
    return found + ([line(f"tracings[{index}].of", tracing.of)] if tracing.of is not None else [])


def _channel_lines(path: str, channel: Channel, read: Channel) -> Iterator[str]:
    """Lines for the fields in which a channel is not what the reader makes of its signal line."""
    for name in ("name", "unit", "label", "filters", "skew", "origin", "derived_from", "bits"):
        value = getattr(channel, name)
        if value is not None and value != getattr(read, name) and value != Filters():
            yield line(f"{path}.{name}", value)
    for index, entry in enumerate(channel.extras):
        if read.extras[index : index + 1] != (entry,):
            yield line(f"{path}.extras[{index}]", entry)
