"""Section 10, measurements per lead (EN 1064 clause 5.13)."""

from __future__ import annotations

import struct
from collections import deque
from collections.abc import Sequence
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.frame import Section
from interchange.records import dataclass

__all__ = ["STANDARD", "LeadValues", "build_lead_values", "check_codes", "owners", "parse_lead_values"]

STANDARD: Final = 31
"""Number of measurements that the standard lists for a lead."""
_HEADER: Final = struct.Struct("<HH")
_LEAD: Final = struct.Struct("<HH")


@dataclass(frozen=True, slots=True)
class LeadValues:
    """The measurements of one lead in the order of the standard, special values as stored.

    ``rest``: bytes behind those measurements that the standard lists.
    """

    code: int
    values: tuple[int, ...]
    offset: int
    rest: int = 0


def parse_lead_values(section: Section, log: Log) -> tuple[LeadValues, ...]:
    """All leads of section 10, as many as are there."""
    body = section.body
    if len(body) < _HEADER.size:
        log.add("lead-block-length" if body else "section-empty", section.place(), f"{len(body)} bytes")
        return ()
    count, _ = _HEADER.unpack_from(body)
    found: list[LeadValues] = []
    place = _HEADER.size
    while len(found) < count and place + _LEAD.size <= len(body):
        code, length = _LEAD.unpack_from(body, place)
        end = place + _LEAD.size + length
        there = min(end, len(body)) - place - _LEAD.size
        size = there // 2
        values = struct.unpack_from(f"<{size}h", body, place + _LEAD.size)
        listed = 2 * min(size, STANDARD)
        found.append(LeadValues(code, values, section.start + place, there - listed))
        if end > len(body):
            log.add("lead-block-length", section.place(place), f"lead {len(found)}: {size} of {length // 2} values")
            return tuple(found)
        if size > STANDARD or length % 2:
            where = section.place(place + _LEAD.size + listed)
            log.add("lead-block-long", where, f"lead {len(found)}: {length} bytes")
        place = end
    if len(found) < count:
        log.add("lead-block-length", section.place(place), f"{len(found)} of {count} leads")
    elif len(body) - place > 1 or body[place:].strip(b"\0"):
        log.add("lead-block-spare", section.place(place), f"{len(body) - place} bytes")
    return tuple(found)


def owners(found: Sequence[LeadValues], codes: Sequence[int]) -> list[int | None]:
    """For each block the index of its lead in section 3, which has these ``codes``; None where it has no such lead.

    A code may occur several times: the first block of a code belongs to the first lead of that code, and so on.
    """
    waiting: dict[int, deque[int]] = {}
    for index, code in enumerate(codes):
        waiting.setdefault(code, deque()).append(index)
    return [waiting[block.code].popleft() if waiting.get(block.code) else None for block in found]


def check_codes(found: Sequence[LeadValues], codes: Sequence[int], log: Log) -> None:
    """Blocks of leads that section 3 does not have."""
    for block, lead in zip(found, owners(found, codes), strict=True):
        if lead is None:
            log.add("lead-block-code", at(block.offset, 10), f"code {block.code}")


def build_lead_values(leads: Sequence[tuple[int, Sequence[int]]]) -> bytes:
    """The body of section 10 from lead codes and their measurements in the order of the standard."""
    parts = [_HEADER.pack(len(leads), 0)]
    for code, values in leads:
        parts.append(_LEAD.pack(code, 2 * len(values)) + struct.pack(f"<{len(values)}h", *values))
    return b"".join(parts)
