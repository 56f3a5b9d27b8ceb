"""Layout of sections 5 and 6: reference beat and rhythm data (EN 1064 clauses 5.8 and 5.9)."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Final

from interchange.errors import SourceError
from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.frame import Section
from interchange.records import dataclass

__all__ = ["LONGEST_BLOCK", "Block", "Signal", "build_signal", "parse_signal"]

_HEADER: Final = struct.Struct("<HHBB")
LONGEST_BLOCK: Final = 0xFFFF
"""Most bytes of one lead."""
_MOST_LEADS: Final = 255
_SHORTEST: Final = 32
"""A further lead takes at least this part of the bytes of the shortest lead: one without any signal is that short."""
_SHORTEST_OF_ZEROS: Final = 2
"""The same where what is left over are zeros: most of them are padding."""


@dataclass(frozen=True, slots=True)
class Block:
    """The bytes of one lead: offsets in the file; ``is_whole`` is False where the section ends within them."""

    start: int
    end: int
    is_whole: bool = True


@dataclass(frozen=True, slots=True)
class Signal:
    """What section 5 or 6 says in front of its data, and where the data of each lead are.

    ``step``: nanovolts per count; ``interval``: microseconds per sample; ``differences``: 0, 1 or 2;
    ``bimodal``: 0 no, 1 yes; ``further``: data of leads that section 3 does not describe.
    """

    section: int
    offset: int
    step: int
    interval: int
    differences: int
    bimodal: int
    blocks: tuple[Block, ...]
    further: tuple[Block, ...] = ()


def parse_signal(section: Section, stated: int, leads: int, log: Log) -> Signal | None:
    """The layout of section 5 or 6; None where it cannot hold any tracing.

    ``stated`` leads have a length each, of ``leads`` of them section 3 has more than the number.  Raises SourceError
    where the leads' lengths in section 6 do not say where the data begin.
    """
    size = section.end - section.start
    if size <= _HEADER.size and not section.body.strip(b"\0"):
        log.add("section-empty", section.place(), f"{len(section.body)} bytes")
        return None
    if size < _HEADER.size + 2 * stated:
        log.add("signal-length", section.place(), f"{len(section.body)} bytes for {stated} leads")
        return None
    step, interval, differences, bimodal = _HEADER.unpack_from(section.data, section.start)
    if not step or not interval:
        log.add("signal-header", section.place(), f"step {step} nV, interval {interval} us")
        return None
    if differences > 2:
        log.add("difference-code", section.place(4), f"code {differences}")
        return None
    if section.id == 6 and bimodal > 1:
        log.add("bimodal-code", section.place(5), f"code {bimodal}")
    elif section.id == 5 and bimodal:
        log.add("reserved", section.place(5))
    found = _blocks(section, stated, leads, log)
    if found is None:
        return None
    bimodal = bimodal if section.id == 6 else 0
    return Signal(section.id, section.start, step, interval, differences, bimodal, found[:leads], found[leads:])


def _blocks(section: Section, stated: int, leads: int, log: Log) -> tuple[Block, ...] | None:
    """The data of all leads that have a length; None where it is not known where they begin.

    Raises SourceError where that is section 6.
    """
    lengths = _lengths(section, stated)
    place = section.start + _HEADER.size + 2 * len(lengths) + sum(lengths)
    if not -1 <= place - section.end <= 0 and not (lengths := _other_lengths(section, lengths, leads, log)):
        return None
    place = section.start + _HEADER.size + 2 * len(lengths)
    limit = section.end
    blocks = []
    for number, length in enumerate(lengths):
        end = place + length
        if end > limit:
            where = at(section.start + _HEADER.size + 2 * number, section.id)
            log.add("lead-bytes", where, f"lead {number + 1}: {max(limit - place, 0)} of {length} bytes")
        blocks.append(Block(min(place, limit), min(end, limit), end <= limit))
        place = end
    if limit - place == 1 and section.data[place]:
        log.add("signal-padding", at(place, section.id))
    return tuple(blocks)


def _lengths(section: Section, count: int) -> tuple[int, ...]:
    return struct.unpack_from(f"<{count}H", section.data, section.start + _HEADER.size)


def _other_lengths(section: Section, lengths: tuple[int, ...], leads: int, log: Log) -> tuple[int, ...]:
    """The lengths where those of the leads that section 3 states do not fill the section; () where nobody can tell.

    There may be lengths of more leads, or of fewer: then the data begin at another byte, and every sample would be
    read from the wrong one.  Zeros behind the data are taken for padding; bytes of a damaged end are missed by the
    leads that have them.
    """
    stated = len(lengths)
    place = section.start + _HEADER.size + 2 * stated
    spare = section.end - place - sum(lengths)
    if spare < 0:
        fewer = _fewer(section, lengths) if section.is_whole else 0
        if fewer:
            log.add("signal-leads", section.place(_HEADER.size), f"{fewer} lengths for {stated} leads")
            fits = fewer == leads
            return lengths[:fewer] if fits else _unknown(section, "the section holds fewer leads than section 3 names")
        return lengths
    count = _more(section, lengths, spare)
    if count:
        log.add("signal-leads", section.place(_HEADER.size), f"{stated + count} lengths for {stated} leads")
        return _lengths(section, stated + count)
    log.add("signal-spare", at(section.end - spare, section.id), f"{spare} bytes")
    if any(section.data[section.end - spare : section.end]):
        return _unknown(section, "bytes follow the data of the last lead: where the data begin is not sure")
    return lengths


def _fewer(section: Section, lengths: tuple[int, ...]) -> int:
    """How many leads fill the section where all are too many; 0 for none."""
    room = section.end - section.start - _HEADER.size
    total = 0
    for number, length in enumerate(lengths[:-1], 1):
        total += 2 + length
        if room - 1 <= total <= room and length:
            return number
    return 0


def _more(section: Section, lengths: tuple[int, ...], spare: int) -> int:
    """How many further lengths fill the section; 0 for none.

    A further lead is no shorter than some part of the others: spare bytes and a small first sample make none.
    """
    part = _SHORTEST if any(section.data[section.end - spare : section.end]) else _SHORTEST_OF_ZEROS
    least = max(min((length for length in lengths if length), default=1) // part, 1)
    place = section.start + _HEADER.size + 2 * len(lengths)
    for number in range(1, _MOST_LEADS - len(lengths) + 1):
        if spare < 2:
            return 0
        length = int.from_bytes(section.data[place : place + 2], "little")
        spare -= 2 + length
        place += 2
        if length < least:
            return 0
        if spare == 0 or (spare == 1 and not section.data[section.end - 1]):
            return number
    return 0


def _unknown(section: Section, reason: str) -> tuple[int, ...]:
    if section.id == 6:
        raise SourceError(f"the rhythm data cannot be decoded: {reason}", section.place())
    return ()


def build_signal(step: int, interval: int, differences: int, blocks: Sequence[bytes]) -> bytes:
    """The body of section 5 or 6, never bimodal; each block has at most 65,535 bytes."""
    lengths = struct.pack(f"<{len(blocks)}H", *map(len, blocks))
    return _HEADER.pack(step, interval, differences, 0) + lengths + b"".join(blocks)
