"""Section 3, lead definition (EN 1064 clause 5.6)."""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Sequence
from dataclasses import field
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.frame import Section
from interchange.records import dataclass

__all__ = ["LAST_CODE", "FROM_MEMORY", "Lead", "Leads", "build_leads", "parse_leads"]

LAST_CODE: Final = 184
FROM_MEMORY: Final = frozenset((*range(44, 61), *range(79, 86), *range(115, 121), *range(135, 147), *range(152, 185)))
"""Lead codes whose meaning could not be looked up."""
_LEAD: Final = struct.Struct("<IIB")
_SUBTRACTED: Final = 1
_RESERVED: Final = 2
_SIMULTANEOUS: Final = 4
_MOST_AT_A_TIME: Final = 31


@dataclass(frozen=True, slots=True)
class Lead:
    """One lead: first and last sample (from 1, both included, at the full rate) and lead code."""

    first: int
    last: int
    code: int
    offset: int = field(default=0, kw_only=True)

    @property
    def samples(self) -> int:
        """Number of samples; 0 where the numbers make no sense."""
        return self.last - self.first + 1 if self.first <= self.last else 0


@dataclass(frozen=True, slots=True)
class Leads:
    """The leads in the order of their data, and what the flags say."""

    leads: tuple[Lead, ...]
    subtracted: bool = False
    simultaneous: bool = True
    at_a_time: int = 0
    stated: int = 0


def parse_leads(section: Section, log: Log) -> Leads:
    """The leads of section 3, as many as are there."""
    body = section.body
    if len(body) < 2:
        log.add("leads-length", section.place(), f"{len(body)} bytes")
        return Leads(())
    count, flags = body[0], body[1]
    if not count:
        log.add("lead-count", section.place())
    there = min(count, (len(body) - 2) // _LEAD.size)
    if there < count:
        log.add("leads-length", section.place(), f"{there} of {count} leads")
    used = 2 + count * _LEAD.size
    if len(body) > used + 1 or body[used:].strip(b"\0"):
        log.add("leads-spare", section.place(used), f"{len(body) - used} bytes")
    leads = tuple(
        Lead(*_LEAD.unpack_from(body, 2 + i * _LEAD.size), offset=section.start + 2 + i * _LEAD.size)
        for i in range(there)
    )
    found = Leads(leads, bool(flags & _SUBTRACTED), bool(flags & _SIMULTANEOUS), flags >> 3, count)
    _check_leads(section, found, log)
    return found


def _check_leads(section: Section, found: Leads, log: Log) -> None:
    met: set[tuple[int, int]] = set()
    for lead in found.leads:
        place = at(lead.offset, 3)
        if not lead.samples:
            log.add("lead-range", place, f"samples {lead.first} to {lead.last}")
        elif not lead.first:
            log.add("lead-start", place)
        if lead.code > LAST_CODE:
            log.add("lead-code", at(lead.offset + 8, 3), f"code {lead.code}")
        elif lead.code in FROM_MEMORY:
            log.add("lead-code-memory", at(lead.offset + 8, 3), f"code {lead.code}")
        if lead.code and (lead.code, lead.first) in met:
            log.add("lead-doubled", place, f"code {lead.code}")
        met.add((lead.code, lead.first))
    if found.leads:
        _check_flags(section, found, log)


def _check_flags(section: Section, found: Leads, log: Log) -> None:
    """Whether the flags agree with the leads' numbers.

    Leads that were recorded in groups lie one group behind the other: with the same numbers for all nothing says when
    each group was recorded.  A lead that goes on through all groups may be counted in their size or not.
    """
    if section.body[1] & _RESERVED:
        log.add("reserved", section.place(1))
    starts = {lead.first for lead in found.leads}
    spans = Counter((lead.first, lead.last) for lead in found.leads)
    is_one = len(spans) == 1
    place, size, most = section.place(1), found.at_a_time, min(found.stated, _MOST_AT_A_TIME)
    if found.simultaneous:
        if not is_one:
            log.add("simultaneous", place, "all simultaneous, and the leads' numbers differ")
        elif size != most:
            log.add("simultaneous", place, f"{size} at a time, {found.stated} leads")
    elif len(starts) > 1:
        together = max(sum(first <= start <= last for first, last in spans.elements()) for start in starts)
        if size not in (min(together, _MOST_AT_A_TIME), min(max(spans.values()), _MOST_AT_A_TIME)):
            log.add("simultaneous", place, f"{size} at a time, at most {together} leads have samples together")
    elif 0 < size < most:
        log.add("group-timing", place, f"{size} at a time, {found.stated} leads")
    elif size > most or (found.stated > 1 and (is_one or not size)):
        log.add("simultaneous", place, f"not all simultaneous, {size} at a time, and all begin together")


def build_leads(leads: Sequence[Lead]) -> bytes:
    """The body of section 3 without subtraction; the flags follow from the leads' numbers."""
    starts = sorted({lead.first for lead in leads})
    simultaneous = len({(lead.first, lead.last) for lead in leads}) == 1
    groups = [sum(lead.first == start for lead in leads) for start in starts]
    at_a_time = min(len(leads) if simultaneous else max(groups), _MOST_AT_A_TIME)
    flags = at_a_time << 3 | (_SIMULTANEOUS if simultaneous else 0)
    return bytes((len(leads), flags)) + b"".join(_LEAD.pack(lead.first, lead.last, lead.code) for lead in leads)
