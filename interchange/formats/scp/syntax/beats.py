"""Section 4, QRS locations, subtraction zones and protected areas (EN 1064 clause 5.7)."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import field
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.frame import Section
from interchange.records import dataclass

__all__ = ["Area", "Beats", "Zone", "build_beats", "check_ranges", "parse_beats"]

_HEADER: Final = struct.Struct("<HHH")
_ZONE: Final = struct.Struct("<HIII")
_AREA: Final = struct.Struct("<II")


@dataclass(frozen=True, slots=True)
class Zone:
    """One QRS: its beat type, and the samples of the subtraction zone's start, of the fiducial, of the zone's end."""

    type: int
    start: int
    fiducial: int
    end: int
    offset: int = field(default=0, kw_only=True)

    @property
    def is_subtracted(self) -> bool:
        """Whether reference beat 0 was subtracted here (as far as the record says that it used subtraction)."""
        return self.type == 0


@dataclass(frozen=True, slots=True)
class Area:
    """One protected area: first and last sample, from 1, both included."""

    start: int
    end: int
    offset: int = field(default=0, kw_only=True)


@dataclass(frozen=True, slots=True)
class Beats:
    """Length of reference beat 0 in milliseconds, its fiducial (sample from 1), and all QRS of the record.

    ``areas`` is None where the section ends behind the zones.
    """

    length: int
    fiducial: int
    zones: tuple[Zone, ...]
    areas: tuple[Area, ...] | None


def parse_beats(section: Section, log: Log) -> Beats | None:
    """Section 4, as much as is there; None where not even its header is."""
    body = section.body
    if len(body) < _HEADER.size:
        log.add("zones-length" if body else "section-empty", section.place(), f"{len(body)} bytes")
        return None
    length, fiducial, count = _HEADER.unpack_from(body)
    there = min(count, (len(body) - _HEADER.size) // _ZONE.size)
    if there < count:
        log.add("zones-length", section.place(_HEADER.size), f"{there} of {count} zones")
    zones = tuple(
        Zone(*_ZONE.unpack_from(body, place), offset=section.start + place)
        for place in range(_HEADER.size, _HEADER.size + there * _ZONE.size, _ZONE.size)
    )
    areas = _areas(section, _HEADER.size + count * _ZONE.size, count, log)
    return Beats(length, fiducial, zones, areas)


def _areas(section: Section, first: int, count: int, log: Log) -> tuple[Area, ...] | None:
    body = section.body
    room = len(body) - first
    if count and room < _AREA.size and not body[first:].strip(b"\0"):
        if room >= 0:
            log.add("zones-no-areas", section.place(first))
        return None
    there = min(count, max(room, 0) // _AREA.size)
    if there < count:
        log.add("zones-length", section.place(first), f"{there} of {count} protected areas")
    used = first + count * _AREA.size
    if len(body) > used + 1 or body[used:].strip(b"\0"):
        log.add("zones-spare", section.place(used), f"{len(body) - used} bytes")
    return tuple(
        Area(*_AREA.unpack_from(body, place), offset=section.start + place)
        for place in range(first, first + there * _AREA.size, _AREA.size)
    )


def check_ranges(beats: Beats, last: int, subtracted: bool, bimodal: bool, log: Log) -> None:
    """Order and limits of zones and areas (``last``: the last sample of the recording)."""
    before = 0
    for zone in beats.zones:
        place = at(zone.offset, 4)
        if not 1 <= zone.fiducial <= last:
            log.add("zone-range", place, f"fiducial {zone.fiducial}")
        if not zone.is_subtracted:
            if subtracted and zone.end > zone.start > 1:
                log.add("zone-untyped", place)
        elif subtracted:
            if not 1 <= zone.start <= zone.fiducial <= zone.end <= last:
                log.add("zone-range", place, f"zone {zone.start} to {zone.end}, fiducial {zone.fiducial}")
            elif zone.start <= before:
                log.add("zone-overlap", place, f"zone {zone.start} to {zone.end}, former end {before}")
            before = max(before, zone.end)
    _check_areas(beats.areas or (), last, bimodal, log)


def _check_areas(areas: tuple[Area, ...], last: int, bimodal: bool, log: Log) -> None:
    before = Area(0, 0)
    for area in areas:
        place = at(area.offset, 4)
        if bimodal and not 1 <= area.start <= area.end <= last:
            log.add("zone-range", place, f"protected area {area.start} to {area.end}")
        elif area.start < before.start:
            log.add("zone-order", place, f"{area.start} behind {before.start}")
        elif before.end >= area.start > 0:
            log.add("area-overlap", place, f"{area.start} to {area.end}")
        before = area


def build_beats(length: int, fiducial: int, zones: Sequence[Zone], areas: Sequence[Area]) -> bytes:
    """The body of section 4; one protected area for each zone."""
    parts = [_HEADER.pack(length, fiducial, len(zones))]
    parts += [_ZONE.pack(zone.type, zone.start, zone.fiducial, zone.end) for zone in zones]
    parts += [_AREA.pack(area.start, area.end) for area in areas]
    return b"".join(parts)
