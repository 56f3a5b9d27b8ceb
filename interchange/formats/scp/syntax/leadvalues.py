"""Section 10, measurements per lead (EN 1064 clause 5.13)."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.frame import Section
from interchange.records import dataclass

__all__ = ["STANDARD", "LeadValues", "build_lead_values", "parse_lead_values"]

STANDARD: Final = 31
"""Number of measurements that the standard lists for a lead."""
_HEADER: Final = struct.Struct("<HH")
_LEAD: Final = struct.Struct("<HH")


@dataclass(frozen=True, slots=True)
class LeadValues:
    """The measurements of one lead in the order of the standard, special values as stored."""

    code: int
    values: tuple[int, ...]
    offset: int


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
        size = (min(end, len(body)) - place - _LEAD.size) // 2
        values = struct.unpack_from(f"<{size}h", body, place + _LEAD.size)
        found.append(LeadValues(code, values, section.start + place))
        if end > len(body):
            log.add("lead-block-length", section.place(place), f"lead {len(found)}: {size} of {length // 2} values")
            return tuple(found)
        if size > STANDARD or length % 2:
            where = section.place(place + _LEAD.size + 2 * STANDARD)
            log.add("lead-block-long", where, f"lead {len(found)}: {length} bytes")
        place = end
    if len(found) < count:
        log.add("lead-block-length", section.place(place), f"{len(found)} of {count} leads")
    elif len(body) - place > 1 or body[place:].strip(b"\0"):
        log.add("lead-block-spare", section.place(place), f"{len(body) - place} bytes")
    return tuple(found)


def check_codes(found: Sequence[LeadValues], codes: frozenset[int], log: Log) -> None:
    """Leads that section 3 does not have."""
    for lead in found:
        if lead.code not in codes:
            log.add("lead-block-code", at(lead.offset, 10), f"code {lead.code}")


def build_lead_values(leads: Sequence[tuple[int, Sequence[int]]]) -> bytes:
    """The body of section 10 from lead codes and their measurements in the order of the standard."""
    parts = [_HEADER.pack(len(leads), 0)]
    for code, values in leads:
        parts.append(_LEAD.pack(code, 2 * len(values)) + struct.pack(f"<{len(values)}h", *values))
    return b"".join(parts)
