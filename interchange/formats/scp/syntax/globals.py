"""Section 7, global measurements (EN 1064 clause 5.10)."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import field, replace
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.frame import Section
from interchange.records import dataclass

__all__ = ["FORMULAS", "Additional", "Globals", "Measured", "Spike", "build_globals", "parse_globals"]

_HEADER: Final = struct.Struct("<BBHH")
_BLOCK: Final = struct.Struct("<HHHHHhhh")
_SPIKE: Final = struct.Struct("<Hh")
_INFORMATION: Final = struct.Struct("<BBHH")
_ADDITIONAL: Final = struct.Struct("<HHHBH")
FORMULAS: Final = {1: "bazett", 2: "hodges", 3: "fridericia", 4: "framingham"}
"""Correction formulas of the QT interval; 0 unknown, 255 no value."""
_SPECIAL: Final = frozenset({29999, 29998, 19999, 9999})
_UNDETERMINED: Final = 999
_LATEST: Final = 10_000
"""Milliseconds: no wave of an uncounted block is looked for beyond them."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One measurement block: positions in milliseconds, axes in degrees, special values as stored."""

    p_onset: int
    p_offset: int
    qrs_onset: int
    qrs_offset: int
    t_offset: int
    p_axis: int
    qrs_axis: int
    t_axis: int
    offset: int = field(default=0, kw_only=True)


@dataclass(frozen=True, slots=True)
class Spike:
    """One pacing spike: milliseconds from the record's start, microvolts, type, source, QRS (from 1), microseconds.

    The last four are None where the section ends before the spikes' information.
    """

    time: int
    amplitude: int
    type: int | None = None
    source: int | None = None
    qrs: int | None = None
    width: int | None = None
    offset: int = field(default=0, kw_only=True)


@dataclass(frozen=True, slots=True)
class Additional:
    """Rates per minute, corrected QT interval in milliseconds, its formula, and tagged fields as bytes."""

    ventricular_rate: int
    atrial_rate: int
    qtc: int
    formula: int
    tagged: bytes = field(default=b"", kw_only=True)
    offset: int = field(default=0, kw_only=True)


@dataclass(frozen=True, slots=True)
class Globals:
    """The section as far as it could be followed; ``rest`` are bytes of no known layout, at offset ``rest_offset``."""

    rr: int
    pp: int
    blocks: tuple[Measured, ...] = ()
    spikes: tuple[Spike, ...] = ()
    qrs_types: tuple[int, ...] | None = None
    additional: Additional | None = None
    rest: bytes = b""
    rest_offset: int = 0
    offset: int = field(default=0, kw_only=True)


@dataclass(frozen=True, slots=True)
class _Tail:
    """What follows blocks and spikes, and where it ends."""

    types: tuple[int, ...]
    additional: Additional | None
    end: int


def parse_globals(section: Section, qrs: int | None, log: Log) -> Globals | None:
    """Section 7; ``qrs`` is the number of QRS complexes that section 4 has, where there is one."""
    body = section.body
    if len(body) < _HEADER.size:
        log.add("measurements-length" if body else "section-empty", section.place(), f"{len(body)} bytes")
        return None
    count, spikes, rr, pp = _HEADER.unpack_from(body)
    room = len(body) - _HEADER.size
    blocks = _block_count(section, count, spikes, qrs, log)
    there = min(blocks, room // _BLOCK.size)
    if there < blocks:
        log.add("measurements-length", section.place(), f"{there} of {blocks} blocks")
    measured = tuple(_block(section, number) for number in range(there))
    place = _HEADER.size + there * _BLOCK.size
    found, place = _spikes(section, place, spikes if there == blocks else 0, log)
    tail = _tail(body, place, section.start, qrs)
    types, additional, end = (tail.types, tail.additional, tail.end) if tail else (None, None, place)
    if tail is not None:
        _check_tail(section, place, tail, qrs, log)
    rest = body[end:] if body[end:].strip(b"\0") else b""
    if rest:
        log.add("measurements-tail", section.place(end), f"{len(rest)} bytes")
    return Globals(rr, pp, measured, found, types, additional, rest, section.start + end, offset=section.start)


def _block(section: Section, number: int) -> Measured:
    place = _HEADER.size + number * _BLOCK.size
    return Measured(*_BLOCK.unpack_from(section.body, place), offset=section.start + place)


def _block_count(section: Section, count: int, spikes: int, qrs: int | None, log: Log) -> int:
    """The number of blocks: as counted, or one more.

    One more is taken only where nothing else explains the bytes behind those counted: they begin with what can be a
    block, the section ends where it then has to end, and they are not QRS types and additional measurements
    themselves.
    """
    body = section.body
    place = _HEADER.size + count * _BLOCK.size + spikes * (_SPIKE.size + _INFORMATION.size)
    if not count or place + _BLOCK.size > len(body):
        return count
    tail, further = _tail(body, place, 0, qrs), _tail(body, place + _BLOCK.size, 0, qrs)
    if further is not None and further.additional is not None:
        fits = _is_end(body, further.end) and (tail is None or not _is_end(body, tail.end))
    else:
        fits = _is_end(body, further.end if further else place + _BLOCK.size) and tail is None
    if fits and _may_be_block(_block(section, count)):
        log.add("measurements-overall", section.place(), f"{count + 1} blocks, counted {count}")
        return count + 1
    return count


def _is_end(body: bytes, place: int) -> bool:
    """Whether nothing but padding follows."""
    return 0 <= len(body) - place <= 1 and not body[place:].strip(b"\0")


def _may_be_block(block: Measured) -> bool:
    """Whether bytes can be measurements: waves one behind the other with a QRS among them, axes within the circle."""
    if block.qrs_onset in _SPECIAL or block.qrs_offset in _SPECIAL or block.qrs_onset >= block.qrs_offset:
        return False
    positions = (block.p_onset, block.p_offset, block.qrs_onset, block.qrs_offset, block.t_offset)
    given = [position for position in positions if position not in _SPECIAL]
    axes = (block.p_axis, block.qrs_axis, block.t_axis)
    return (
        given == sorted(given)
        and given[-1] <= _LATEST
        and all(-180 <= axis <= 180 or axis == _UNDETERMINED or axis in _SPECIAL for axis in axes)
    )


def _spikes(section: Section, place: int, count: int, log: Log) -> tuple[tuple[Spike, ...], int]:
    body = section.body
    there = min(count, (len(body) - place) // _SPIKE.size)
    information = place + there * _SPIKE.size
    informed = min(there, max(len(body) - information, 0) // _INFORMATION.size)
    if there < count or 0 < informed < there:
        log.add("measurements-length", section.place(place), f"{there} of {count} spikes, {informed} with type")
    spikes = []
    for number in range(there):
        at = place + number * _SPIKE.size
        time, amplitude = _SPIKE.unpack_from(body, at)
        spike = Spike(time, amplitude, offset=section.start + at)
        if number < informed:
            kind, source, qrs, width = _INFORMATION.unpack_from(body, information + number * _INFORMATION.size)
            spike = replace(spike, type=kind, source=source, qrs=qrs, width=width)
        spikes.append(spike)
    return tuple(spikes), information + informed * _INFORMATION.size


def _tail(body: bytes, place: int, base: int, qrs: int | None) -> _Tail | None:
    """QRS types and additional measurements; None where the bytes do not look like them.

    A number of QRS complexes other than that of section 4, or a formula without a meaning, is believed only where the
    section then ends where it has to: a maker's own content hardly does that.
    """
    if len(body) - place < 2:
        return None
    count = struct.unpack_from("<H", body, place)[0]
    end = place + 2 + count
    if end > len(body):
        return None
    types = tuple(body[place + 2 : end])
    agrees = qrs is None or count in (0, qrs)
    if len(body) - end < _ADDITIONAL.size:
        whole = not body[end:].strip(b"\0") and (agrees or _is_end(body, end))
        return _Tail(types, None, end) if whole else None
    *values, tagged = _ADDITIONAL.unpack_from(body, end)
    stop = end + _ADDITIONAL.size + tagged
    additional = Additional(*values, tagged=body[end + _ADDITIONAL.size : stop], offset=base + end)
    if stop > len(body) or not _is_plausible(additional):
        return None
    sure = bool(count) and count == qrs
    if _is_end(body, stop) or sure or (agrees and not _is_reserved(additional.formula)):
        return _Tail(types, additional, stop)
    return None


def _check_tail(section: Section, place: int, tail: _Tail, qrs: int | None, log: Log) -> None:
    if qrs is not None and len(tail.types) not in (0, qrs):
        log.add("measurements-types", section.place(place), f"{len(tail.types)} here, {qrs} in section 4")
    more = tail.additional
    if more is not None and _is_reserved(more.formula):
        log.add("measurements-formula", at(more.offset + 6, section.id), f"code {more.formula}")


def _is_plausible(found: Additional) -> bool:
    """Whether rates and QTc may be such: bytes of another layout hardly are."""
    rates = all(rate <= 1000 or rate in _SPECIAL for rate in (found.ventricular_rate, found.atrial_rate))
    return rates and (found.qtc <= 3000 or found.qtc in _SPECIAL)


def _is_reserved(formula: int) -> bool:
    """Whether a formula has a code that the standard keeps for later: 1 to 4 are named, from 128 on makers' own."""
    return bool(formula) and formula not in FORMULAS and formula < 128


def build_globals(
    rr: int,
    pp: int,
    blocks: Sequence[Measured],
    spikes: Sequence[Spike],
    qrs_types: Sequence[int],
    additional: Additional,
) -> bytes:
    """The body of section 7 with all its parts."""
    parts = [_HEADER.pack(len(blocks), len(spikes), rr, pp)]
    parts += [
        _BLOCK.pack(b.p_onset, b.p_offset, b.qrs_onset, b.qrs_offset, b.t_offset, b.p_axis, b.qrs_axis, b.t_axis)
        for b in blocks
    ]
    parts += [_SPIKE.pack(spike.time, spike.amplitude) for spike in spikes]
    parts += [_INFORMATION.pack(s.type or 0, s.source or 0, s.qrs or 0, s.width or 0) for s in spikes]
    parts.append(struct.pack("<H", len(qrs_types)) + bytes(qrs_types))
    a = additional
    parts.append(_ADDITIONAL.pack(a.ventricular_rate, a.atrial_rate, a.qtc, a.formula, len(a.tagged)) + a.tagged)
    return b"".join(parts)
