"""Signals as channels of the model: names, units, steps."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Final

from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.signal_line import SignalLine
from interchange.formats.wfdb.units import unit_named
from interchange.model import Channel

__all__ = ["channel", "channel_of", "channels_of", "lead_name"]

_PREFIX: Final = re.compile(r"(?:ECG)?[ _]*(?:lead[ _]+)?(.+)", re.IGNORECASE | re.DOTALL)
DEFAULT_UNIT: Final = "mV"


def channels_of(lines: Sequence[SignalLine], rows: Sequence[int], notes: Notes) -> tuple[Channel, ...]:
    """One channel for each of the header's signals ``rows``, in that order; they make up one tracing."""
    found = tuple(channel_of(lines[row], row, notes) for row in rows)
    if len({channel.name for channel in found}) < len(found):
        _note_repeats(lines, rows, notes)
    return found


def _note_repeats(lines: Sequence[SignalLine], rows: Sequence[int], notes: Notes) -> None:
    counts = Counter(lines[row].description for row in rows)
    for row in rows:
        if lines[row].description and counts[lines[row].description] > 1:
            notes.line("wfdb.description-repeats", lines[row].line)


def channel_of(line: SignalLine, row: int, notes: Notes) -> Channel:
    """The channel that a signal line describes; ``row`` is its place among the signals."""
    if line.gain is not None and line.units is not None and unit_named(line.units).usual != line.units:
        notes.line("wfdb.units-spelling", line.line)
    return channel(line.description, line.gain, line.units, line.origin, line.resolution, line.zero, row)


@lru_cache(maxsize=512)
def channel(
    label: str, gain: Fraction | None, units: str | None, origin: int, bits: int | None, zero: int | None, row: int
) -> Channel:
    """The channel with these fields of a signal line; ``origin`` is the digital value of zero units."""
    unit, step = None, Fraction(1)
    if gain is not None:
        known = unit_named(units or DEFAULT_UNIT)
        unit, step = known.ucum, known.factor / gain
    name = lead_name(label) if unit in ("uV", "{NU}", None) else label
    extras = []
    if zero:
        extras.append(("wfdb.adc-zero", str(zero)))
    if units is not None and unit is None:
        extras.append(("wfdb.units", units))
    return Channel(
        name=name or f"signal {row + 1}",
        unit=unit,
        step=step,
        offset=-origin * step,
        label=label if label and label != name else None,
        bits=bits,
        extras=tuple(extras),
    )


@lru_cache(maxsize=1024)
def lead_name(label: str) -> str:
    """The trade's name of the lead that a description names; the description itself where it names none.

    Takes the descriptions of public archives: ``avr``, ``AVR``, ``vx``, ``ECG lead II``, ``ECG V1``.
    """
    from interchange.vocabulary import channel_name, lead_named

    match = _PREFIX.fullmatch(label)
    for text in (label, match[1] if match else ""):
        lead = lead_named(text) if text else None
        if lead is not None and lead.id != "unspecified":
            return channel_name(lead)
    return label
