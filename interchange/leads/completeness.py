"""Is everything there that a lead set asks for?"""

from __future__ import annotations

from collections.abc import Iterable

from interchange.leads.derivation import Derivation, derivations
from interchange.records import dataclass
from interchange.vocabulary import LeadSet, lead_for_channel, lead_set, lead_sets

__all__ = ["Completeness", "completeness", "identify"]

NOT_BY_NAME = {"frank-xyz": "xyz-unspecified"}
"""Names alone cannot tell which system of orthogonal leads it is."""


@dataclass(frozen=True, slots=True)
class Completeness:
    """Channels recorded at the same time against a lead set.  Leads are ids of the lead table.

    ``present``: recorded leads that the set asks for, in its order.  ``derivable``: those that are not recorded but
    follow exactly.  ``stood_in``: pairs of a lead asked for and the recorded one that the set takes in its place (a
    monitor's chest lead V by V1).  ``missing``: what cannot be had; ``estimable`` those of them that only a statistical
    matrix could give.  ``extra``: recorded leads that the set does not ask for; ``optional``: those that belong to it
    when present; ``duplicates``: leads recorded more than once; ``unknown``: names of channels that are no lead of the
    table.  ``acceptable``: the least that the set must have recorded is there, even where ``missing`` is not empty (a
    right-sided tracing without V1 and V2).
    """

    lead_set: LeadSet
    present: tuple[str, ...]
    derivable: tuple[Derivation, ...]
    stood_in: tuple[tuple[str, str], ...]
    missing: tuple[str, ...]
    estimable: tuple[str, ...]
    extra: tuple[str, ...]
    optional: tuple[str, ...]
    duplicates: tuple[str, ...]
    unknown: tuple[str, ...]
    acceptable: bool

    @property
    def complete(self) -> bool:
        """Whether every lead of the set is recorded, follows exactly, or is stood in for."""
        return not self.missing


def completeness(names: Iterable[str], expected: LeadSet | str) -> Completeness:
    """The channels called ``names``, all recorded at the same time, against the lead set ``expected`` (or its id).

    Raises KeyError for an unknown lead set.  Channels that were calculated from others may be named too: that they are
    there counts, not how they came about.
    """
    wanted = lead_set(expected) if isinstance(expected, str) else expected
    recorded, duplicates, unknown = _sorted_out(names)
    known = derivations(recorded)
    gaps = [name for name in wanted.required if name not in recorded and name not in known]
    stood_in = [(name, other) for name in gaps if (other := _stand_in(name, wanted, recorded))]
    missing = [name for name in gaps if name not in dict(stood_in)]
    belonging = {*wanted.required, *wanted.optional, *(other for _, other in stood_in)}
    return Completeness(
        lead_set=wanted,
        present=tuple(name for name in wanted.required if name in recorded),
        derivable=tuple(known[name] for name in wanted.required if name in known),
        stood_in=tuple(stood_in),
        missing=tuple(missing),
        estimable=tuple(name for name in missing if name in wanted.estimated),
        extra=tuple(name for name in recorded if name not in belonging),
        optional=tuple(name for name in wanted.optional if name in recorded),
        duplicates=duplicates,
        unknown=unknown,
        acceptable=not missing or all(len(set(need.leads) & set(recorded)) >= need.count for need in wanted.minimum),
    )


def _sorted_out(names: Iterable[str]) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
    """Ids of the leads in their order, ids of those named more than once, and names that are no lead."""
    times: dict[str, int] = {}
    unknown: list[str] = []
    for name in names:
        row = lead_for_channel(name)
        if row is None or row.id == "unspecified":
            unknown.append(name)
        else:
            times[row.id] = times.get(row.id, 0) + 1
    return tuple(times), tuple(name for name, count in times.items() if count > 1), tuple(unknown)


def _stand_in(name: str, wanted: LeadSet, recorded: tuple[str, ...]) -> str:
    """The recorded lead that ``wanted`` takes for ``name``: it needs any one of several, of which it names this one."""
    choices = (need.leads for need in wanted.minimum if set(need.leads) & set(wanted.required) == {name})
    return next((other for leads in choices for other in leads if other in recorded), "")


def identify(names: Iterable[str]) -> Completeness | None:
    """The lead set that the channels called ``names`` make up, with how; None where they make up none of the table.

    Of the sets that are acceptable: the one with the fewest extra leads, then the fewest missing, then the fewest that
    have to be derived.  What names cannot tell (electrode places, the system of X, Y, Z) is left open.
    """
    channels = tuple(names)
    candidates = (lead_set(NOT_BY_NAME.get(row.id, row.id)) for row in lead_sets() if row.kind != "placement")
    judged = [result for row in candidates if (result := completeness(channels, row)).acceptable]
    return min(judged, key=lambda r: (len(r.extra), len(r.missing), len(r.derivable), len(r.stood_in)), default=None)
