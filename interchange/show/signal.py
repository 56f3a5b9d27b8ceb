"""Leads and tracings as lines of text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interchange.leads import LIMB_LEADS, Completeness, completeness, identify
from interchange.model import Acquisition, Recording, Tracing
from interchange.show.about import filter_text
from interchange.show.layout import limited, short
from interchange.show.words import joined, number
from interchange.vocabulary import lead_set

__all__ = ["lead_lines", "tracing_lines"]

MOST_NAMES = 40
TWELVE = "standard-12"
FEWEST = 6
"""With fewer of the twelve leads those that are there are named, not those that are missing."""


def lead_lines(recording: Recording) -> list[str]:
    """Which of the standard twelve leads are there, what else, placement, filters."""
    rhythms = recording.rhythms
    if not rhythms:
        return ["no rhythm tracing"]
    best = max(rhythms, key=lambda tracing: len(_known(tracing.names)))
    lines = [_standard(best, rhythms), *_calculated(rhythms)]
    found = identify(best.names)
    if found is not None and found.lead_set.id not in (TWELVE, "independent-8", "limb-6"):
        lines.append(f"lead set: {found.lead_set.name}")
    judged = completeness(best.names, TWELVE)
    if judged.duplicates:
        lines.append(f"more than once: {_names(judged.duplicates)}")
    others = [name for tracing in rhythms for name in completeness(tracing.names, TWELVE).unknown]
    if others:
        lines.append(f"signals that are no lead: {_names(dict.fromkeys(others))}")
    return [*lines, _placement(recording.acquisition), _filters(recording.acquisition)]


def _known(names: Sequence[str]) -> tuple[str, ...]:
    return completeness(names, TWELVE).present


def _standard(best: Tracing, rhythms: Sequence[Tracing]) -> str:
    judged = completeness(best.names, TWELVE)
    every = {name for tracing in rhythms for name in _known(tracing.names)}
    count = len(judged.present)
    if count < len(every):
        missing = [name for name in judged.lead_set.required if name not in every]
        rest = f"; not recorded: {_names(missing)}" if missing else ""
        return f"{len(every)} of 12 standard leads, but not all at the same time{rest}"
    if every and every <= set(LIMB_LEADS):
        text = f"{count} of 6 limb leads, no chest lead"
        return text + (f"; {_following(judged)}" if judged.derivable else "")
    text = f"{count} of 12 standard leads"
    if judged.derivable:
        text += f"; {_following(judged)}"
    if count < FEWEST:
        text += f": {_names(judged.present)}" if count else ""
    elif judged.missing:
        text += f"; not recorded: {_names(judged.missing)}"
    if judged.extra:
        text += f"; also {_names(judged.extra)}"
    return text


def _following(judged: Completeness) -> str:
    needed = {name for d in judged.derivable for name in d.sources}
    sources = [name for name in judged.present if name in needed]
    return f"{_names(d.lead for d in judged.derivable)} not recorded, would follow exactly from {_names(sources)}"


def _calculated(rhythms: Sequence[Tracing]) -> list[str]:
    lines = []
    for origin, word in (("derived", "calculated from other leads"), ("reconstructed", "reconstructed, not exact")):
        found = dict.fromkeys(c.name for t in rhythms for c in t.channels if c.origin == origin)
        if found:
            lines.append(f"{word}: {_names(found)}")
    return lines


def _placement(acquisition: Acquisition) -> str:
    placement = acquisition.electrode_placement
    if not placement:
        return "electrode placement not said"
    try:
        return f"electrode placement: {lead_set(placement).name}"
    except KeyError:
        return f"electrode placement: {short(placement, 200)}"


def _filters(acquisition: Acquisition) -> str:
    mains = f"mains frequency {number(acquisition.mains)} Hz" if acquisition.mains is not None else None
    return joined((filter_text(acquisition.filters), mains))


def tracing_lines(recording: Recording) -> list[str]:
    """Each tracing in two lines: what it is, and its leads."""
    lines: list[str] = []
    for index, tracing in enumerate(recording.tracings):
        lines += [f"{index + 1}. {_tracing(tracing)}", f"   {_names(tracing.names)}"]
        lines += [f"   {detail}" for detail in _details(tracing)]
    return limited(lines, 40) or ["none"]


def _tracing(tracing: Tracing) -> str:
    count = len(tracing.channels)
    what = "channel" if completeness(tracing.names, TWELVE).unknown else "lead"
    label = f' "{short(tracing.label, 200)}"' if tracing.label else ""
    number_of = f"{tracing.of + 1}" if tracing.of is not None else ""
    return joined(
        (
            f"{tracing.kind}{label}" + (f" of tracing {number_of}" if number_of else ""),
            f"{count} {what}{'' if count == 1 else 's'}",
            f"{number(tracing.duration)} s" + (f" from second {number(tracing.start)} on" if tracing.start else ""),
            f"{number(tracing.rate)} samples/s",
            _steps(tracing),
        )
    )


def _steps(tracing: Tracing) -> str | None:
    steps = sorted({(channel.unit or "", channel.step) for channel in tracing.channels})
    if not steps:
        return None
    units = {unit for unit, _ in steps}
    if units == {""}:
        return "not calibrated"
    if len(units) > 1:
        return f"units {', '.join(unit or 'none (not calibrated)' for unit in sorted(units))}"
    low, high = steps[0][1], steps[-1][1]
    span = number(low) if low == high else f"{number(low)} to {number(high)}"
    return f"{span} {units.pop()} per count"


def _details(tracing: Tracing) -> list[str]:
    lines = []
    if tracing.missing is not None:
        lines.append(f"samples missing: {_gone(tracing, tracing.missing.sum(axis=1).tolist())}")
    skewed = [channel.name for channel in tracing.channels if channel.skew]
    if skewed:
        lines.append(f"taken later than the nominal instant: {_names(skewed)}")
    own = {filter_text(channel.filters) for channel in tracing.channels if channel.filters is not None}
    lines += [f"filters of single leads: {text}" for text in sorted(own)[:3]]
    return lines


def _gone(tracing: Tracing, counts: list[int]) -> str:
    """How many samples each lead misses, in one word where it is the same for all."""
    if len(counts) > 1 and len(set(counts)) == 1:
        return f"{counts[0]} of {tracing.length} in every channel"
    pairs = [(name, count) for name, count in zip(tracing.names, counts, strict=True) if count]
    return ", ".join(limited([f"{short(name, 80)} {count} of {tracing.length}" for name, count in pairs]))


def _names(names: Iterable[str]) -> str:
    held = list(names)
    more = f" and {len(held) - MOST_NAMES} more" if len(held) > MOST_NAMES else ""
    return short(" ".join(held[:MOST_NAMES])) + more
