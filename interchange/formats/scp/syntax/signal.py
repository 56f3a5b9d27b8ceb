"""Layout of sections 5 and 6: reference beat and rhythm data (EN 1064 clauses 5.8 and 5.9)."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.frame import Section
from interchange.records import dataclass

__all__ = ["LONGEST_BLOCK", "Block", "Signal", "build_signal", "parse_signal"]

_HEADER: Final = struct.Struct("<HHBB")
LONGEST_BLOCK: Final = 0xFFFF
"""Most bytes of one lead."""


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
    ``bimodal``: 0 no, 1 yes.
    """

    section: int
    offset: int
    step: int
    interval: int
    differences: int
    bimodal: int
    blocks: tuple[Block, ...]


def parse_signal(section: Section, stated: int, leads: int, log: Log) -> Signal | None:
    """The layout of section 5 or 6; None where it cannot hold any tracing.

    ``stated`` leads have a length each, of ``leads`` of them section 3 has more than the number.
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
    blocks = _blocks(section, stated, log)[:leads]
    return Signal(section.id, section.start, step, interval, differences, bimodal if section.id == 6 else 0, blocks)


def _blocks(section: Section, leads: int, log: Log) -> tuple[Block, ...]:
    lengths = struct.unpack_from(f"<{leads}H", section.data, section.start + _HEADER.size)
    place = section.start + _HEADER.size + 2 * leads
    limit = section.end
    blocks = []
    for number, length in enumerate(lengths):
        end = place + length
        if end > limit:
            where = at(section.start + _HEADER.size + 2 * number, section.id)
            log.add("lead-bytes", where, f"lead {number + 1}: {max(limit - place, 0)} of {length} bytes")
        blocks.append(Block(min(place, limit), min(end, limit), end <= limit))
        place = end
    rest = section.data[place:limit]
    if len(rest) > 1 or rest.strip(b"\0"):
        log.add("signal-spare", at(place, section.id), f"{len(rest)} bytes")
    return tuple(blocks)


def build_signal(step: int, interval: int, differences: int, blocks: Sequence[bytes]) -> bytes:
    """The body of section 5 or 6, never bimodal; each block has at most 65,535 bytes."""
    lengths = struct.pack(f"<{len(blocks)}H", *map(len, blocks))
    return _HEADER.pack(step, interval, differences, 0) + lengths + b"".join(blocks)
