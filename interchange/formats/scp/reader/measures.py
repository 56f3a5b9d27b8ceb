"""Sections 7 and 10 to measurements (EN 1064 clauses 5.10 and 5.13.5).

Positions of waves in section 7 become intervals by their differences alone: where they count from depends on who
wrote them.  Special values stay what they mean: wave absent, lead rejected, not computed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.maps import LEAD_CONCEPTS, QTC_CONCEPTS, SPECIAL
from interchange.formats.scp.reader.tracings import lead_name
from interchange.formats.scp.syntax.document import Document
from interchange.formats.scp.syntax.globals import Additional, Globals, Measured
from interchange.model import Absent, Measurement
from interchange.records import dataclass

__all__ = ["Sorted", "read_globals", "read_lead_values", "sort_blocks"]

_INTERVALS: Final = (
    ("p-duration", "p_onset", "p_offset"),
    ("pr-interval", "p_onset", "qrs_onset"),
    ("qrs-duration", "qrs_onset", "qrs_offset"),
    ("qt-interval", "qrs_onset", "t_offset"),
)
_AXES: Final = (("p-axis", "p_axis"), ("qrs-axis", "qrs_axis"), ("t-axis", "t_axis"))
_UNDETERMINED: Final = 999
_NOT_AVAILABLE: Final = 9999
_LAST_MORPHOLOGY: Final = 8
"""Last code of the form of a P or T wave (clause 5.13.5)."""


def read_globals(document: Document, log: Log) -> tuple[Measurement, ...]:
    """Intervals, axes, rates and counts of the whole recording, and of further beat types."""
    found = document.globals
    if found is None:
        return ()
    measured = [
        _header_value(found, "rr-interval", found.rr, 2, log),
        _header_value(found, "pp-interval", found.pp, 4, log),
    ]
    blocks = sort_blocks(document)
    if blocks.doubt:
        log.add(blocks.doubt, at(found.blocks[0].offset, 7), f"{len(found.blocks)} blocks, {len(blocks.left)} left")
    for block, beat in blocks.kept:
        measured += _block(block, beat or None, log)
    if found.additional is not None:
        measured += _additional(found, found.additional, log)
    if found.qrs_types and document.beats is None:
        measured.append(Measurement("beat-count", len(found.qrs_types), "{beats}"))
    return tuple(measured)


@dataclass(frozen=True, slots=True)
class Sorted:
    """Measurement blocks with their beat types, blocks without a place in the model, and the rule of what is in doubt.

    Positions in blocks of ``is_of_beats`` count from the start of the reference beat.
    """

    kept: tuple[tuple[Measured, int], ...]
    left: tuple[Measured, ...] = ()
    doubt: str | None = None

    @property
    def is_of_beats(self) -> bool:
        """Whether the blocks belong to beat types and not to single complexes, or to who knows what."""
        return self.doubt is None


def sort_blocks(document: Document) -> Sorted:
    """Which beat type each block of section 7 belongs to (clause 5.10.2.1).

    There is one block for each type or one for each QRS complex; which of both it is follows from the types in section
    7, else in section 4.  Of several complexes of a type the model holds the first.  Where neither number is that of
    the blocks only the first block is known: it belongs to type 0.
    """
    found = document.globals
    if found is None or not found.blocks:
        return Sorted(())
    types = found.qrs_types or (tuple(zone.type for zone in document.beats.zones) if document.beats else ())
    blocks = found.blocks
    there = sorted(set(types))
    if len(blocks) == 1:
        return Sorted(((blocks[0], 0),))
    if len(blocks) == len(there) and there[0] == 0:
        return Sorted(tuple(zip(blocks, there, strict=True)))
    if len(blocks) == len(types):
        return _first_of_each(blocks, types)
    return Sorted(((blocks[0], 0),), blocks[1:], "measurements-blocks")


def _first_of_each(blocks: Sequence[Measured], types: Sequence[int]) -> Sorted:
    kept: dict[int, Measured] = {}
    left = []
    for block, kind in zip(blocks, types, strict=True):
        if kind in kept:
            left.append(block)
        else:
            kept[kind] = block
    return Sorted(tuple((block, kind) for kind, block in kept.items()), tuple(left), "measurements-single")


def _header_value(found: Globals, concept: str, value: int, place: int, log: Log) -> Measurement:
    return _value(concept, value, "ms", at(found.offset + place, 7), log, zero="not-measured")


def _value(
    concept: str, value: int, unit: str, place: str, log: Log, zero: Absent | None = None, lead: str | None = None
) -> Measurement:
    """One stored value; ``zero`` is what a 0 means where it cannot be a value."""
    absent = SPECIAL.get(value) or (zero if value == 0 else None)
    if value == _NOT_AVAILABLE and unit in ("ms", "/min"):
        log.add("measurements-9999", place)
        absent = "not-measured"
    if absent is not None:
        return Measurement(concept, None, unit, lead, absent)
    return Measurement(concept, value, unit, lead)


def _block(block: Measured, beat: int | None, log: Log) -> list[Measurement]:
    found = []
    for concept, begin, end in _INTERVALS:
        first, last = getattr(block, begin), getattr(block, end)
        absent = _reason(first, last)
        if _NOT_AVAILABLE in (first, last):
            log.add("measurements-9999", at(block.offset, 7))
        if absent is not None:
            found.append(Measurement(concept, None, "ms", absent=absent, beat=beat))
        elif last < first:
            log.add("measurements-order", at(block.offset, 7), concept)
        else:
            found.append(Measurement(concept, last - first, "ms", beat=beat))
    for concept, name in _AXES:
        found.append(_axis(concept, getattr(block, name), beat, at(block.offset, 7), log))
    return found


def _reason(first: int, last: int) -> Absent | None:
    """Why the interval between two positions is none; an absent wave says more than a missing value."""
    for value in (19999, 29998, 29999):
        if value in (first, last):
            return SPECIAL[value]
    return "not-measured" if _NOT_AVAILABLE in (first, last) else None


def _axis(concept: str, value: int, beat: int | None, place: str, log: Log) -> Measurement:
    absent: Absent | None = "undefined" if value == _UNDETERMINED else SPECIAL.get(value)
    if value == _NOT_AVAILABLE:
        log.add("measurements-9999", place)
        absent = "not-measured"
    if absent is not None:
        return Measurement(concept, None, "deg", absent=absent, beat=beat)
    if not -180 <= value <= 180:
        log.add("axis-range", place, f"{value} degrees")
    return Measurement(concept, value, "deg", beat=beat)


def _additional(found: Globals, more: Additional, log: Log) -> Iterator[Measurement]:
    yield _value("heart-rate-ventricular", more.ventricular_rate, "/min", at(more.offset, 7), log, zero="not-measured")
    yield _value("heart-rate-atrial", more.atrial_rate, "/min", at(more.offset + 2, 7), log, zero="not-measured")
    concept = QTC_CONCEPTS.get(more.formula, "qtc-interval")
    if more.formula == 255:
        yield Measurement(concept, None, "ms", absent="not-measured")
    else:
        yield _value(concept, more.qtc, "ms", at(more.offset + 4, 7), log, zero="not-measured")
    rate, rr = more.ventricular_rate, found.rr
    if 0 < rr < _NOT_AVAILABLE and 0 < rate < _NOT_AVAILABLE and abs(60000 / rr - rate) > 2:
        log.add("measurements-rate", at(more.offset, 7), f"RR {rr} ms, rate {rate}")


def read_lead_values(document: Document, log: Log) -> tuple[Measurement, ...]:
    """Measurements per lead; blocks that belong to no lead are left."""
    from interchange.formats.scp.syntax.leadvalues import owners
    from interchange.vocabulary import concept

    units = [concept(name, "per lead").unit or None for name in LEAD_CONCEPTS]
    leads = owners(document.lead_values, [lead.code for lead in document.leads.leads])
    found = []
    for block, index in zip(document.lead_values, leads, strict=True):
        if index is None:
            continue
        lead = lead_name(block.code, index + 1)
        for item, value in enumerate(block.values[: len(LEAD_CONCEPTS)]):
            place = at(block.offset + 4 + 2 * item, 10)
            found.append(_lead_value(LEAD_CONCEPTS[item], value, units[item], lead, place, log))
    return tuple(found)


def _lead_value(concept: str, value: int, unit: str | None, lead: str, place: str, log: Log) -> Measurement:
    if concept == "lead-quality" and value not in SPECIAL:
        return Measurement(concept, value & 0xFFFF, None, lead)
    if concept.endswith("-morphology"):
        if value == 0:
            return Measurement(concept, None, None, lead, "unknown")
        if value not in SPECIAL and not 0 < value <= _LAST_MORPHOLOGY:
            log.add("morphology-code", place, f"code {value}")
    measured = _value(concept, value, unit or "", place, log, lead=lead)
    return measured if unit else Measurement(concept, measured.value, None, lead, measured.absent)
