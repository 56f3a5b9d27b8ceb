"""Named lead sets, lead systems and electrode placements."""

from __future__ import annotations

from functools import cache
from typing import Literal, cast

from interchange.records import dataclass
from interchange.vocabulary.codes import plain_code
from interchange.vocabulary.load import rows

__all__ = ["LeadSet", "Need", "lead_set", "lead_sets", "lead_sets_by_code", "lead_sets_by_scp"]

Kind = Literal["lead set", "lead system", "placement", "order"]


@dataclass(frozen=True, slots=True)
class Need:
    """At least ``count`` of ``leads`` (lead ids) must have been recorded."""

    count: int
    leads: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LeadSet:
    """One lead set; ``id`` is also the name for ``--expect``.

    ``required``: ids of the leads that it consists of, in their order.  ``minimum``: what must have been recorded at
    the same time so that each lead in ``derivable`` follows exactly; those in ``estimated`` follow only by a
    statistical matrix; ``optional`` leads belong to it too where present.  ``kind`` placement: the same leads with
    other electrode places.  ``code`` and ``refid``: DICOM PS3.16 CID 3263; ``scp_electrodes``: value and number of the
    byte of EN 1064 section 1 tag 33, or None; ``nemsis``: NEMSIS version 3 eVitals.04.
    """

    id: str
    name: str
    kind: Kind
    required: tuple[str, ...]
    minimum: tuple[Need, ...]
    derivable: tuple[str, ...]
    estimated: tuple[str, ...]
    optional: tuple[str, ...]
    code: str
    refid: str
    scp_electrodes: tuple[int, int] | None
    nemsis: str
    note: str
    source: str
    confidence: str


@cache
def lead_sets() -> tuple[LeadSet, ...]:
    """All lead sets in the order of the table."""
    return tuple(_lead_set(row) for row in rows("lead-sets.csv"))


def _lead_set(row: list[str]) -> LeadSet:
    (id_, name, kind, required, minimum, derivable, estimated, optional, code, refid, electrodes, nemsis, note, source,
     confidence) = row  # fmt: skip
    value, _, byte = electrodes.partition(" byte ")
    return LeadSet(
        id=id_,
        name=name,
        kind=cast(Kind, kind),
        required=tuple(required.split()),
        minimum=tuple(_need(part) for part in minimum.split("; ")),
        derivable=tuple(derivable.split()),
        estimated=tuple(estimated.split()),
        optional=tuple(optional.split()),
        code=code,
        refid=refid,
        scp_electrodes=(int(value), int(byte)) if electrodes else None,
        nemsis=nemsis,
        note=note,
        source=source,
        confidence=confidence,
    )


def _need(text: str) -> Need:
    """``2 of A B C`` or, all of them, ``A B``."""
    count, of, names = text.partition(" of ")
    leads = tuple((names if of else text).split())
    return Need(int(count) if of else len(leads), leads)


@cache
def _by_id() -> dict[str, LeadSet]:
    return {row.id: row for row in lead_sets()}


def lead_set(id: str) -> LeadSet:
    """The lead set with this ``id``.  Raises KeyError where there is none."""
    return _by_id()[id]


def lead_sets_by_code(code: str) -> tuple[LeadSet, ...]:
    """The lead sets with the lead system code or reference id ``code`` (CID 3263); extended sets share theirs."""
    text = plain_code(code)
    return tuple(row for row in lead_sets() if text and (row.code == text or row.refid == text.upper()))


def lead_sets_by_scp(value: int, byte: int) -> tuple[LeadSet, ...]:
    """The lead sets that ``value`` in byte 1 (twelve leads) or 2 (XYZ) of SCP-ECG section 1 tag 33 names.

    Source: EN 1064 5.4 (from memory).
    """
    return tuple(row for row in lead_sets() if row.scp_electrodes == (value, byte))
