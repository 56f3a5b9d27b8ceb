"""Lines of the model taken back into a recording."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.record_text import described
from interchange.formats.wfdb.storage import NO_UNIT
from interchange.formats.wfdb.unfit import appended, unfit_lines
from interchange.model import Mark, Moment, Recording, Tracing, Unread
from interchange.model.lines import apply

__all__ = ["with_lines", "without_gaps"]

_INFOS: Final = "the info strings"
_CUT: Final = Fraction(1, 10**6)
"""What a base time leaves out is less than this."""

_UNNAMED: Final = re.compile(r"signal \d+", re.ASCII)
_TRACING: Final = re.compile(r"tracings\[(\d{1,6})\]", re.ASCII)


def with_lines(
    recording: Recording, tracings: Sequence[Tracing | None], lines: Sequence[str], notes: Notes, unread: list[Unread]
) -> tuple[Recording, list[Tracing | None]]:
    """The recording with every line of the model that is understood, and the tracings after that.

    Lines are applied to tracings without samples, which makes the work independent of their size.  Lines that are not
    understood, or that contradict the rest of the header, become remarks.
    """
    if not lines:
        return recording, list(tracings)
    base = recording.acquisition.time
    kept = [text for text in lines if not _is_on_gap(text, tracings)]
    if len(kept) < len(lines):
        unread.append(Unread(_INFOS, 0, "lines about a further record that is not there"))
    unfit = set(unfit_lines(kept, recording, tracings))
    fit = appended((text for text in kept if text not in unfit), recording)
    recording, others = apply(recording.with_(tracings=tuple(map(_hollow, tracings))), fit)
    others = (*(text for text in kept if text in unfit), *others)
    if others:
        notes.at("wfdb.line", _INFOS, f"{len(others)} lines")
        held = recording.acquisition
        recording = recording.with_(acquisition=replace(held, remarks=(*held.remarks, *others)))
    settled = [_settled(*pair) for pair in zip(recording.tracings, tracings, strict=False)]
    against = sum(count for _, count in settled)
    if against:
        notes.at("wfdb.line", _INFOS, f"{against} against names or units of signal lines")
        unread.append(Unread(_INFOS, 0, f"{against} lines against names or units of signal lines"))
    filled = [_filled(hollow, tracing) for (hollow, _), tracing in zip(settled, tracings, strict=False)]
    return _timed(recording, base, notes).with_(tracings=()), filled


def _is_on_gap(text: str, tracings: Sequence[Tracing | None]) -> bool:
    match = _TRACING.match(text)
    return match is not None and int(match[1]) < len(tracings) and tracings[int(match[1])] is None


def _hollow(tracing: Tracing | None) -> Tracing:
    """The tracing without its samples."""
    import numpy as np

    if tracing is None:
        return Tracing((), np.zeros((0, 0), dtype=np.int16), Fraction(1))
    return replace(tracing, samples=np.zeros((len(tracing.channels), 0), dtype=np.int16), missing=None)


def _settled(hollow: Tracing, tracing: Tracing | None) -> tuple[Tracing, int]:
    """The tracing with names and units that do not contradict its signal lines, and how many lines do.

    A line tells a name that is more than a description can hold, and a unit that a signal line cannot.
    """
    if tracing is None or len(hollow.channels) != len(tracing.channels) or hollow.channels == tracing.channels:
        return hollow, 0
    count, channels = 0, []
    for told, said in zip(hollow.channels, tracing.channels, strict=True):
        name, unit = told.name, told.unit
        unnamed = said.label is None and _UNNAMED.fullmatch(said.name)
        if name != said.name and described(name) != (said.label or said.name) and not unnamed:
            name, count = said.name, count + 1
        if unit != said.unit and said.unit not in (None, NO_UNIT):
            unit, count = said.unit, count + 1
        channels.append(replace(told, name=name, unit=unit, label=None if told.label == name else told.label))
    return replace(hollow, channels=tuple(channels)), count


def _filled(hollow: Tracing, tracing: Tracing | None) -> Tracing | None:
    if tracing is None:
        return None
    if len(hollow.channels) != len(tracing.channels) or hollow.rate <= 0:
        return tracing
    return replace(hollow, samples=tracing.samples, missing=tracing.missing)


def _timed(recording: Recording, base: Moment | None, notes: Notes) -> Recording:
    """The header's own base time counts where a line of the model contradicts it."""
    told = recording.acquisition.time
    if base is None or told is None or told == base or base.second is None:
        return recording
    plain = replace(told, zone=None)
    if plain.second is not None and 0 <= plain.second - base.second < _CUT:
        plain = replace(plain, second=base.second)
    if plain == base or (base.year is None and replace(plain, year=None, month=None, day=None) == base):
        return recording
    notes.at("wfdb.time-differs", _INFOS)
    return recording.with_(acquisition=replace(recording.acquisition, time=base))


def without_gaps(
    marks: Sequence[Mark], tracings: Sequence[Tracing | None], unread: list[Unread]
) -> tuple[tuple[Tracing, ...], tuple[Mark, ...]]:
    """Tracings that are there, and marks, with everything that refers to a tracing renumbered."""
    places = {index: place for place, index in enumerate(i for i, t in enumerate(tracings) if t is not None)}
    kept = tuple(replace(mark, tracing=places[mark.tracing]) for mark in marks if mark.tracing in places)
    if len(kept) < len(marks):
        unread.append(Unread(_INFOS, 0, "marks on a tracing that is not there"))
    there = (replace(t, of=None if t.of is None else places.get(t.of)) for t in tracings if t is not None)
    return tuple(there), kept
