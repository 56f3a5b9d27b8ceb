"""Which channel fills which place on the sheet, and the words for a place that stays empty."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interchange.leads import derivations
from interchange.model import Channel, Mark, Recording, Tracing
from interchange.records import dataclass
from interchange.vocabulary import lead_for_channel

__all__ = [
    "CABRERA",
    "MINUS_AVR",
    "STANDARD",
    "Place",
    "Source",
    "drawable",
    "is_spike",
    "main_group",
    "place_for",
    "sources_of",
    "why_not_drawable",
]

STANDARD = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")
MINUS_AVR = "-aVR"
CABRERA = ("aVL", "I", MINUS_AVR, "II", "aVF", "III", "V1", "V2", "V3", "V4", "V5", "V6")
"""Limb leads by their direction in the frontal plane, -30 to +120 degrees (BMC Cardiovasc Disord 2019)."""
_TWINS = {"aVR": MINUS_AVR, MINUS_AVR: "aVR"}


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A channel that is drawn: tracing ``index`` of the recording, its ``row``; ``sign`` -1 turns every value."""

    tracing: Tracing
    index: int
    row: int
    name: str
    sign: int = 1

    @property
    def channel(self) -> Channel:
        """The channel itself."""
        return self.tracing.channels[self.row]

    @property
    def origin(self) -> str:
        """How the lead came about, in brackets behind a blank, where it was not simply recorded."""
        return "" if self.channel.origin == "recorded" else f" ({self.channel.origin})"


@dataclass(frozen=True, slots=True, eq=False)
class Place:
    """A place on the sheet: a lead with its source, or without one and why (``words``, ``hint``)."""

    name: str
    source: Source | None
    words: str = ""
    hint: str = ""


def drawable(channel: Channel) -> bool:
    """Whether the channel is a voltage, so that it can be drawn to scale."""
    return channel.unit == "uV"


def is_spike(mark: Mark) -> bool:
    """Whether a mark is a stimulus of a pacemaker or the like."""
    return mark.concept.endswith("-spike")


def why_not_drawable(channel: Channel) -> str:
    """Why a channel cannot be drawn to the sheet's scale."""
    return "not calibrated" if channel.unit is None else f"no voltage: {channel.unit}"


def main_group(recording: Recording) -> tuple[int, ...]:
    """Indices of the tracings that together make the sheet's leads.

    The first rhythm tracing, and with it those that hold nothing but standard leads that no earlier one has (leads that
    were recorded one group after the other).
    """
    rhythms = [index for index, tracing in enumerate(recording.tracings) if tracing.kind == "rhythm"]
    group = rhythms[:1]
    held = {_twin_free(name) for index in group for name in recording.tracings[index].names}
    if not held <= set(STANDARD):
        return tuple(group)
    for index in rhythms[1:]:
        names = {_twin_free(name) for name in recording.tracings[index].names}
        if names <= set(STANDARD) and not names & held:
            group.append(index)
            held |= names
    return tuple(group)


def _twin_free(name: str) -> str:
    return "aVR" if name == MINUS_AVR else name


def place_for(recording: Recording, name: str, group: Sequence[int]) -> Place:
    """The place of the standard lead ``name``, filled from the tracings ``group``."""
    for wanted, sign in ((name, 1), (_TWINS.get(name), -1)):
        for index in group:
            tracing = recording.tracings[index]
            row = tracing.row(wanted) if wanted else None
            if row is None:
                continue
            if not drawable(tracing.channels[row]):
                return Place(name, None, why_not_drawable(tracing.channels[row]))
            return Place(name, Source(tracing, index, row, _shown(name), sign))
    for index, tracing in enumerate(recording.tracings):
        if index not in group and tracing.kind == "rhythm" and tracing.row(name) is not None:
            return Place(name, None, f"in tracing {index + 1}")
    return Place(name, None, "not recorded", _follows(recording, name, group))


def _shown(name: str) -> str:
    return "−aVR" if name == MINUS_AVR else name


def _follows(recording: Recording, name: str, group: Sequence[int]) -> str:
    """From which recorded leads a missing one would follow exactly, if it does."""
    for index in group:
        names = recording.tracings[index].names
        recorded = {lead.id for held in names if (lead := lead_for_channel(held)) is not None}
        found = derivations(recorded).get(name)
        if found is not None and not found.condition:
            return f"follows from {', '.join(sorted(found.sources, key=_rank))}"
    return ""


def _rank(name: str) -> int:
    return STANDARD.index(name) if name in STANDARD else len(STANDARD)


def sources_of(recording: Recording, indices: Iterable[int], without: Iterable[Source] = ()) -> list[Source]:
    """All channels of these tracings that can be drawn, but for those drawn already."""
    drawn = {(source.index, source.row) for source in without}
    return [
        Source(recording.tracings[index], index, row, _shown(channel.name))
        for index in indices
        for row, channel in enumerate(recording.tracings[index].channels)
        if drawable(channel) and (index, row) not in drawn
    ]
