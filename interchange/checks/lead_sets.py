"""Which lead set is this, and is it all there?

Sets are rows of the table of lead sets.  What is missing is told in three kinds: it follows exactly from other leads
(and from which), another lead stands in for it, or it cannot be had: no chest lead comes from limb leads.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

from interchange.checks.sources import A07, ELECTRODE_ALGEBRA, P05
from interchange.checks.view import CHEST, Strip, View, listed
from interchange.findings import Finding, Rule
from interchange.leads import LIMB_LEADS, Derivation, completeness, derivations, identify
from interchange.records import dataclass
from interchange.vocabulary import LeadSet, channel_name, lead, lead_set

__all__ = ["RULES", "LeadSummary", "check", "summarise"]

_INCOMPLETE = Rule(
    "leads.incomplete", "error", "leads of the expected set are not there and cannot be had", ELECTRODE_ALGEBRA,
    "No other lead of the recording holds what these would show.", "computed",
)  # fmt: skip
_TWELVE = Rule(
    "leads.twelve-incomplete", "warning", "some of the twelve leads are not there and cannot be had", ELECTRODE_ALGEBRA,
    "A reader of a twelve-lead tracing will look for them; no other lead holds what they would show.", "computed",
)  # fmt: skip
_DERIVABLE = Rule(
    "leads.derivable", "note", "leads are not stored but follow exactly from others", ELECTRODE_ALGEBRA,
    "A receiver that does not calculate them shows fewer leads; a conversion adds them on request.", "computed",
)  # fmt: skip
_LIMB_ONLY = Rule(
    "leads.limb-only", "note", "there are limb leads and no chest lead", ELECTRODE_ALGEBRA,
    "The chest leads were not recorded here and cannot be calculated.", "computed",
)  # fmt: skip
_NONE = Rule(
    "leads.none", "warning", "there is no ECG lead", "table of leads (DICOM PS3.16 CID 3001)",
    "Either no rhythm was recorded, or the labels of the channels name no lead.", "computed",
)  # fmt: skip
_UNNAMED = Rule(
    "leads.unnamed", "note", "an ECG channel does not say which lead it is", "table of leads (DICOM PS3.16 CID 3001)",
    "Its shape cannot be compared with that of a lead.", "computed",
)  # fmt: skip
_TWICE = Rule(
    "leads.twice", "warning", "one lead stands in two channels with the same samples", "identity of the samples",
    "One of the two may have been meant to be another lead.", "computed",
)  # fmt: skip
_SAME_NAME = Rule(
    "leads.same-name-other-data", "error", "one lead stands in two channels with different samples",
    "identity of the samples", "Which of the two is the lead cannot be told; programs will show one or the other.",
    "computed",
)  # fmt: skip
_SEQUENTIAL = Rule(
    "leads.not-simultaneous", "note", "the leads were recorded in groups, one after the other",
    A07, "Beats cannot be compared between groups, and no lead follows from leads of two groups.", "memory",
)  # fmt: skip
_CALCULATED = Rule(
    "leads.calculated", "note", "leads are marked as calculated from others", ELECTRODE_ALGEBRA,
    "They hold nothing that the leads they come from do not hold.", "computed",
)  # fmt: skip
_RECONSTRUCTED = Rule(
    "leads.reconstructed", "note", "samples are marked as reconstructed, not exactly those that were recorded", A07,
    "Fine detail may differ from the tracing at the patient.", "memory",
)  # fmt: skip
_ESTIMATED = Rule(
    "leads.estimated", "warning", "the source says that the leads were estimated from another lead system", A07,
    "Estimated leads are no equal of recorded ones and have to be labelled.", "memory",
)  # fmt: skip
_TORSO = Rule(
    "leads.torso-placement", "note", "the limb electrodes were on the torso (Mason-Likar)", P05,
    "Such a tracing is not interchangeable with one from the standard places: axis and limb-lead patterns differ.",
)  # fmt: skip
_UNCALIBRATED = Rule(
    "leads.uncalibrated", "warning", "an ECG lead has no amplitude scale", "definition of the measuring unit",
    "No amplitude can be told from it, and leads cannot be compared.", "computed",
)  # fmt: skip

RULES = (
    _INCOMPLETE, _TWELVE, _DERIVABLE, _LIMB_ONLY, _NONE, _UNNAMED, _TWICE, _SAME_NAME, _SEQUENTIAL, _CALCULATED,
    _RECONSTRUCTED, _ESTIMATED, _TORSO, _UNCALIBRATED,
)  # fmt: skip

_TORSO_PLACES = ("placement-mason-likar", "placement-mason-likar-pad")
_ESTIMATED_SYSTEMS = ("twelve-from-frank", "twelve-from-non-standard", "twelve-from-dower", "twelve-from-easi",
                      "xyz-from-twelve")  # fmt: skip
_TWELVE_SIGN = 3
"""From so many of V1 to V6 on a recording is looked at as one of twelve leads."""


@dataclass(frozen=True, slots=True)
class LeadSummary:
    """The leads of the rhythm against a lead set.  Names are the trade's.

    ``id``, ``title``: the set, empty where the leads make up none of the table.  ``expected``: it was asked for.
    ``wanted``: leads of the set.  ``present``: those that are there; ``derivable``: those that follow exactly, with
    formula and condition; ``stood_in``: pairs of a lead of the set and the one taken in its place; ``missing``: what
    cannot be had.  ``extra``: leads that the set does not have; ``duplicates``: leads that stand in one tracing twice;
    ``calculated``: leads that are there and marked as derived; ``unnamed``: number of ECG channels without the name of
    a lead; ``empty``: leads with a channel but no sample.
    """

    id: str
    title: str
    expected: bool
    wanted: tuple[str, ...]
    present: tuple[str, ...]
    derivable: tuple[tuple[str, Derivation], ...]
    stood_in: tuple[tuple[str, str], ...]
    missing: tuple[str, ...]
    extra: tuple[str, ...]
    duplicates: tuple[str, ...]
    calculated: tuple[str, ...]
    unnamed: int
    empty: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether nothing is missing that cannot be had."""
        return bool(self.id) and not self.missing


def summarise(view: View, expect: str | None = None) -> LeadSummary:
    """The lead summary; ``expect`` is the id of a lead set (KeyError where there is none)."""
    key = ("leads", expect)
    if key not in view.kept:
        view.kept[key] = _summary(view, expect)
    found: LeadSummary = view.kept[key]
    return found


def _summary(view: View, expect: str | None) -> LeadSummary:
    names = tuple(_name(id_) for id_ in _all_leads(view))
    wanted = lead_set(expect) if expect else _set_of(names)
    known = {} if wanted is None else _derivations(view, wanted)
    base = completeness(names, wanted) if wanted else None
    stood_in = base.stood_in if base else ()
    present = base.present if base else tuple(_all_leads(view))
    extra = (*base.extra, *base.optional) if base else ()
    required = wanted.required if wanted else ()
    missing = [id_ for id_ in required if id_ not in present and id_ not in known and id_ not in dict(stood_in)]
    rows = [row for strip in view.rhythms for row in strip.rows]
    return LeadSummary(
        id=wanted.id if wanted else "",
        title=wanted.name if wanted else "",
        expected=expect is not None,
        wanted=tuple(map(_name, required)),
        present=tuple(map(_name, present)),
        derivable=tuple((_name(id_), how) for id_, how in known.items()),
        stood_in=tuple((_name(a), _name(b)) for a, b in stood_in),
        missing=tuple(map(_name, missing)),
        extra=tuple(map(_name, dict.fromkeys(extra))),
        duplicates=tuple(dict.fromkeys(_name(id_) for strip in view.rhythms for id_ in _duplicates(strip))),
        calculated=tuple(dict.fromkeys(row.shown for row in rows if row.lead and row.channel.origin == "derived")),
        unnamed=sum(row.lead is None for row in rows),
        empty=tuple(dict.fromkeys(row.shown for row in rows if row.lead and row.empty)),
    )


def _name(id_: str) -> str:
    return channel_name(lead(id_))


def _all_leads(view: View) -> tuple[str, ...]:
    return tuple(dict.fromkeys(id_ for strip in view.rhythms for id_ in strip.leads if id_ != "unspecified"))


@lru_cache(maxsize=256)
def _set_of(names: tuple[str, ...]) -> LeadSet | None:
    """The lead set to compare with: the one that the leads make up, else twelve where three chest leads are there."""
    found = identify(names)
    chest = sum(name in CHEST for name in names)
    if found and found.lead_set.id == "independent-8":
        return lead_set("standard-12")
    if found and found.complete and not found.extra:
        return found.lead_set
    if chest >= _TWELVE_SIGN:
        return lead_set("standard-12")
    return found.lead_set if found else None


def _derivations(view: View, wanted: LeadSet) -> dict[str, Derivation]:
    """Leads of the set that are nowhere recorded and follow from leads of one tracing."""
    there = set(_all_leads(view))
    found: dict[str, Derivation] = {}
    for strip in view.rhythms:
        known = derivations(strip.leads)
        for id_ in wanted.required:
            if id_ in known and id_ not in there:
                found.setdefault(id_, known[id_])
    return {id_: found[id_] for id_ in wanted.required if id_ in found}


def _duplicates(strip: Strip) -> list[str]:
    seen: set[tuple[str, bool]] = set()
    twice = []
    for row in strip.rows:
        if row.lead is None or not row.placed or row.empty:
            continue
        key = (row.lead.id, row.channel.origin == "derived")
        if key in seen:
            twice.append(row.lead.id)
        seen.add(key)
    return list(dict.fromkeys(twice))


def check(view: View) -> Iterator[Finding]:
    """Findings on lead sets, in a fixed order."""
    summary = summarise(view, view.config.expect)
    yield from _completeness(view, summary)
    for strip in view.rhythms:
        yield from _same_lead(strip)
    yield from _origins(view, summary)
    placement = view.recording.acquisition.electrode_placement
    if placement in _TORSO_PLACES:
        yield _TORSO.at("acquisition.electrode_placement")
    if placement in _ESTIMATED_SYSTEMS:
        yield _ESTIMATED.at("acquisition.electrode_placement")


def _completeness(view: View, summary: LeadSummary) -> Iterator[Finding]:
    leads = _all_leads(view)
    unnamed = [row for strip in view.rhythms for row in strip.rows if row.lead is None or row.lead.id == "unspecified"]
    if unnamed:
        yield _UNNAMED.at("tracings", listed(row.shown for row in unnamed))
    elif not leads:
        yield _NONE.at("tracings")
    if summary.missing and summary.expected:
        yield _INCOMPLETE.at("tracings", f"of {summary.id}: {', '.join(summary.missing)}")
    elif summary.missing and summary.id == "standard-12":
        yield _TWELVE.at("tracings", ", ".join(summary.missing))
    if summary.derivable:
        yield _DERIVABLE.at("tracings", ", ".join(_formula(name, how) for name, how in summary.derivable))
    if leads and set(leads) <= {*LIMB_LEADS, "-aVR"} and len(leads) > 1:
        count = len(LIMB_LEADS) if _six(view) else len(leads)
        recorded = f"{len(leads)} recorded, " if count > len(leads) else ""
        yield _LIMB_ONLY.at("tracings", f"{recorded}{count} of 6 limb leads, 0 of 6 chest leads")
    if summary.id == "standard-12" and view.main and set(view.main.leads) < set(leads) & {*LIMB_LEADS, *CHEST}:
        yield _SEQUENTIAL.at("tracings", f"{len(view.rhythms)} tracings")


def _six(view: View) -> bool:
    """Whether all six limb leads are there or follow."""
    return any(set(LIMB_LEADS) <= {*strip.leads, *derivations(strip.leads)} for strip in view.rhythms)


def _formula(name: str, how: Derivation) -> str:
    return f"{name} = {how.formula}" + (f", which {how.condition}" if how.condition else "")


def _same_lead(strip: Strip) -> Iterator[Finding]:
    for id_ in _duplicates(strip):
        rows = [row for row in strip.rows if row.lead is not None and row.lead.id == id_ and not row.empty]
        parts = [strip.tracing.take([row.index]) for row in rows]
        same = all(part.digest == parts[0].digest for part in parts[1:])
        yield (_TWICE if same else _SAME_NAME).at(strip.place, f"{len(rows)} channels of lead {_name(id_)}")


def _origins(view: View, summary: LeadSummary) -> Iterator[Finding]:
    if summary.calculated:
        yield _CALCULATED.at("tracings", listed(summary.calculated))
    for strip in view.rhythms:
        again = [row for row in strip.rows if row.channel.origin == "reconstructed"]
        if again:
            yield _RECONSTRUCTED.at(strip.place_of(again), listed((r.shown for r in again), len(strip.rows)))
        bare = [row for row in strip.rows if not row.is_voltage]
        if bare:
            yield _UNCALIBRATED.at(strip.place_of(bare), listed((r.shown for r in bare), len(strip.rows)))
