"""Signals as channels of the model: names, units, steps."""

from __future__ import annotations

import re
from collections import Counter
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from interchange.formats.wfdb.signal_line import NO_GAIN, SignalLine, read_gain
from interchange.formats.wfdb.units import unit_named
from interchange.model import Channel
from interchange.model.tracing import shared

if TYPE_CHECKING:
    from collections.abc import Sequence

    from interchange.formats.wfdb.notes import Notes

__all__ = ["channel", "channel_of", "channels_of", "lead_name"]

_PREFIX: Final = r"(?:ECG)?[ _]*(?:lead[ _]+)?(.+)"
STANDARD: Final = frozenset({"I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6"})
"""Descriptions that are the trade's names of leads: no table is asked."""

DEFAULT_UNIT: Final = "mV"


def channels_of(lines: Sequence[SignalLine], rows: Sequence[int], notes: Notes) -> tuple[Channel, ...]:
    """One channel for each of the header's signals ``rows``, in that order; they make up one tracing."""
    found = tuple(channel_of(lines[row], row) for row in rows)
    if len({channel.name for channel in found}) < len(found):
        _note_repeats(lines, rows, notes)
    return found


def _note_repeats(lines: Sequence[SignalLine], rows: Sequence[int], notes: Notes) -> None:
    counts = Counter(lines[row].description for row in rows)
    for row in rows:
        if lines[row].description and counts[lines[row].description] > 1:
            notes.line("wfdb.description-repeats", lines[row].line)


def channel_of(line: SignalLine, row: int) -> Channel:
    """The channel that a signal line describes; ``row`` is its place among the signals."""
    label = line.description
    return channel(label, line.scale, line.resolution, line.zero, 0 if label else row)


@lru_cache(maxsize=1024)
def channel(label: str, scale: str, bits: int | None, zero: int | None, row: int) -> Channel:
    """The channel with these fields of a signal line: description, gain field, ADC resolution and zero."""
    field = (read_gain(scale) if scale else None) or NO_GAIN
    unit, step = None, Fraction(1)
    if field.gain is not None:
        known = unit_named(field.units or DEFAULT_UNIT)
        unit, step = known.ucum, known.factor / field.gain
    name = lead_name(label) if unit in ("uV", "{NU}", None) else label
    origin = field.baseline if field.baseline is not None else zero or 0
    extras = []
    if zero:
        extras.append(("wfdb.adc-zero", str(zero)))
    if field.units is not None and unit is None:
        extras.append(("wfdb.units", field.units))
    made = Channel(
        name=name or f"signal {row + 1}",
        unit=unit,
        step=step,
        offset=-origin * step,
        label=label if label and label != name else None,
        bits=bits,
        extras=tuple(extras),
    )
    return shared(made)


@lru_cache(maxsize=1024)
def lead_name(label: str) -> str:
    """The trade's name of the lead that a description names; the description itself where it names none.

    Takes the descriptions of public archives: ``avr``, ``AVR``, ``vx``, ``ECG lead II``, ``ECG V1``.
    """
    if label in STANDARD or not label:
        return label
    from interchange.vocabulary import channel_name, lead_named

    lead = lead_named(label)
    if lead is None or lead.id == "unspecified":
        match = re.fullmatch(_PREFIX, label, re.IGNORECASE | re.DOTALL)
        lead = lead_named(match[1]) if match else None
    return label if lead is None or lead.id == "unspecified" else channel_name(lead)
