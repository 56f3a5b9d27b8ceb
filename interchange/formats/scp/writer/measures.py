"""Measurements to sections 7 and 10 (EN 1064 clauses 5.10 and 5.13.5)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from interchange.formats.scp.maps import ABSENT, LEAD_CONCEPTS, QTC_CONCEPTS, SPECIAL
from interchange.formats.scp.syntax.globals import Additional, Measured, Spike, build_globals
from interchange.formats.scp.syntax.leadvalues import build_lead_values
from interchange.model import Measurement
from interchange.vocabulary import Scope, concept
from interchange.vocabulary.units import converted

__all__ = ["build_section_7", "build_section_10"]

_NOT_COMPUTED: Final = 29999
_UNDETERMINED: Final = 999
_ORIGIN: Final = 1000
"""Milliseconds of QRS onset where positions count from an origin of the writer's choice."""
_LONGEST: Final = 2000
"""Longest interval that is written as two positions, in milliseconds: positions stay clear of special values."""
_BLOCK: Final = ("p-duration", "pr-interval", "qrs-duration", "qt-interval")
_AXES: Final = ("p-axis", "qrs-axis", "t-axis")

Found = Mapping[str, Measurement]


def build_section_7(
    measurements: Sequence[Measurement],
    spikes: Sequence[Spike],
    positions: Mapping[str, int],
    qrs_types: Sequence[int],
) -> bytes | None:
    """The body of section 7, None where there is nothing to say.

    ``positions``: milliseconds on the reference beat of the concepts ``p-onset`` ... ``t-offset``; empty where there
    are none.  ``qrs_types``: the type of each QRS of section 4.
    """
    found = _first_of_each(m for m in _in_own_units(measurements, "global") if m.lead is None and not m.beat)
    known = {"rr-interval", "pp-interval", *_BLOCK, *_AXES, "heart-rate-ventricular", "heart-rate-atrial"}
    if not ({*known, *QTC_CONCEPTS.values()} & set(found) or spikes or positions or qrs_types):
        return None
    has_block = bool({*_BLOCK, *_AXES} & set(found)) or bool(positions)
    blocks = [_block(found, positions)] if has_block else []
    formula, qtc = _corrected(found)
    additional = Additional(
        _unsigned(found.get("heart-rate-ventricular")), _unsigned(found.get("heart-rate-atrial")), qtc, formula
    )
    return build_globals(
        _unsigned(found.get("rr-interval")),
        _unsigned(found.get("pp-interval")),
        blocks,
        spikes,
        qrs_types,
        additional,
    )


def _in_own_units(measurements: Iterable[Measurement], scope: Scope) -> Iterator[Measurement]:
    """The measurements in the units that the sections count in; what cannot be brought to them has no place there."""
    for m in measurements:
        try:
            unit = concept(m.concept, scope).unit or None
        except KeyError:
            continue
        if m.value is None or m.unit == unit:
            yield m
            continue
        value = converted(m.value, m.unit, unit)
        if value is not None:
            yield replace(m, value=value, unit=unit)


def _first_of_each(measurements: Iterable[Measurement]) -> dict[str, Measurement]:
    found: dict[str, Measurement] = {}
    for m in measurements:
        found.setdefault(m.concept, m)
    return found


def _unsigned(m: Measurement | None, largest: int = 0xFFFF) -> int:
    """The stored number of a value that may not be negative; 0 and special numbers cannot be values."""
    if m is None:
        return _NOT_COMPUTED
    if m.value is None:
        return ABSENT.get(m.absent or "not-measured", _NOT_COMPUTED)
    value = round(m.value)
    return value if 0 < value <= largest and value not in SPECIAL and value != 9999 else _NOT_COMPUTED


def _corrected(found: Found) -> tuple[int, int]:
    """Formula and value of the corrected QT interval; the first one that has a value."""
    there = [(code, found[name]) for code, name in QTC_CONCEPTS.items() if name in found]
    for code, m in sorted(there, key=lambda entry: (entry[1].value is None, entry[0] == 0)):
        return code, _unsigned(m)
    return 255, _NOT_COMPUTED


def _block(found: Found, positions: Mapping[str, int]) -> Measured:
    block = _positions(found) if not positions else _marked(positions)
    axes = [_axis(found.get(name)) for name in _AXES]
    return replace(block, p_axis=axes[0], qrs_axis=axes[1], t_axis=axes[2])


def _axis(m: Measurement | None) -> int:
    if m is None or m.value is None:
        return _UNDETERMINED if m is not None and m.absent == "undefined" else _NOT_COMPUTED
    value = round(m.value)
    return value if -32768 <= value <= 32767 and value not in (*SPECIAL, _UNDETERMINED, 9999) else _NOT_COMPUTED


def _marked(positions: Mapping[str, int]) -> Measured:
    """Positions on the reference beat."""
    names = ("p-onset", "p-offset", "qrs-onset", "qrs-offset", "t-offset")
    p_on, p_off, qrs_on, qrs_off, t_off = (positions.get(name, _NOT_COMPUTED) for name in names)
    return Measured(p_on, p_off, qrs_on, qrs_off, t_off, 0, 0, 0)


def _positions(found: Found) -> Measured:
    """Positions whose differences are the intervals, counted from an origin of our own.

    A P wave has its place by the PR interval; without one its duration alone cannot be said, because two positions
    would say a PR interval too.
    """
    p, pr, qrs, qt = (_length(found.get(name)) for name in _BLOCK)
    nothing = _NOT_COMPUTED
    p_onset = _absent(found.get("pr-interval")) if pr is None else _ORIGIN + _LONGEST - pr
    p_offset = _absent(found.get("p-duration")) if p is None or pr is None else p_onset + p
    qrs_onset = nothing if pr is None and qrs is None and qt is None else _ORIGIN + _LONGEST
    qrs_offset = _absent(found.get("qrs-duration")) if qrs is None else qrs_onset + qrs
    t_offset = _absent(found.get("qt-interval")) if qt is None else qrs_onset + qt
    return Measured(p_onset, p_offset, qrs_onset, qrs_offset, t_offset, 0, 0, 0)


def _length(m: Measurement | None) -> int | None:
    """The interval in whole milliseconds, None where it cannot be written."""
    if m is None or m.value is None or m.unit != "ms" or not 0 <= m.value <= _LONGEST:
        return None
    return round(m.value)


def _absent(m: Measurement | None) -> int:
    return ABSENT.get(m.absent, _NOT_COMPUTED) if m is not None and m.absent is not None else _NOT_COMPUTED


def build_section_10(measurements: Sequence[Measurement], codes: Mapping[str, int]) -> bytes | None:
    """The body of section 10, None where no lead with a code has a measurement of the list.

    ``codes``: lead code of each channel name.  A lead's list ends with its last value that the source speaks of.
    """
    leads: dict[str, dict[str, Measurement]] = {}
    for m in _in_own_units(measurements, "per lead"):
        if m.lead is not None and codes.get(m.lead) and not m.beat and m.concept in LEAD_CONCEPTS:
            leads.setdefault(m.lead, {}).setdefault(m.concept, m)
    blocks = []
    for name in codes:
        if name in leads:
            values = [_lead_value(leads[name].get(concept)) for concept in LEAD_CONCEPTS]
            last = max(LEAD_CONCEPTS.index(concept) for concept in leads[name])
            blocks.append((codes[name], values[: last + 1]))
    return build_lead_values(blocks) if blocks else None


def _lead_value(m: Measurement | None) -> int:
    if m is None:
        return _NOT_COMPUTED
    if m.value is None:
        if m.concept.endswith("-morphology") and m.absent == "unknown":
            return 0
        return ABSENT.get(m.absent or "not-measured", _NOT_COMPUTED)
    value = round(m.value)
    if m.concept == "lead-quality" and 0 <= value <= 0xFFFF:
        value -= (value >> 15) << 16
    forbidden = value in SPECIAL or (value == 9999 and m.unit == "ms")
    return value if -32768 <= value <= 32767 and not forbidden else _NOT_COMPUTED
