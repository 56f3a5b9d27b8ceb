"""A recording as the checks look at it: which channels are ECG leads, what they are called, how to write numbers."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from interchange.model import Channel, Mark, Recording, Tracing
from interchange.records import dataclass
from interchange.vocabulary import Lead, lead_for_channel

if TYPE_CHECKING:
    from interchange.checks.config import CheckConfig

__all__ = ["Row", "Strip", "View", "counted", "listed", "look_at", "marks_by_tracing", "number", "seconds"]

CHEST = ("V1", "V2", "V3", "V4", "V5", "V6")
_UNPLACED = frozenset({"unspecified", "C", "V", "MCL", "CC", "CM", "Extern"})
"""Leads whose place is not said: two of them may well be two leads."""
_MANY = 6


@dataclass(frozen=True, slots=True)
class Row:
    """One ECG channel: its row in the tracing, its lead (None where the label names none), what to call it."""

    index: int
    channel: Channel
    lead: Lead | None
    shown: str
    empty: bool

    @property
    def is_voltage(self) -> bool:
        """Whether its amplitudes are known."""
        return self.channel.unit == "uV" and self.channel.step != 0

    @property
    def placed(self) -> bool:
        """Whether the lead says where its electrodes are."""
        return self.lead is not None and self.lead.id not in _UNPLACED


@dataclass(frozen=True, slots=True)
class Strip:
    """One tracing with its ECG rows."""

    index: int
    tracing: Tracing
    rows: tuple[Row, ...]

    @property
    def place(self) -> str:
        """The tracing as a field of the model."""
        return f"tracings[{self.index}]"

    def place_of(self, rows: Sequence[Row]) -> str:
        """The channel where it is one, else the tracing."""
        return f"{self.place}.channels[{rows[0].index}]" if len(rows) == 1 else self.place

    @property
    def leads(self) -> tuple[str, ...]:
        """Ids of the leads that have samples, each once, in order."""
        return tuple(dict.fromkeys(row.lead.id for row in self.rows if row.lead is not None and not row.empty))

    def row_of(self, lead: str) -> Row | None:
        """The first row of that lead with samples."""
        return next((row for row in self.rows if row.lead is not None and row.lead.id == lead and not row.empty), None)


@dataclass(frozen=True, slots=True)
class View:
    """What the checks get: the recording, the configuration, all tracings with ECG rows in them.

    ``kept`` holds what several checks need and one calculated.
    """

    recording: Recording
    config: CheckConfig
    strips: tuple[Strip, ...]
    kept: dict[Hashable, Any] = field(default_factory=dict)

    @property
    def rhythms(self) -> tuple[Strip, ...]:
        """The strips that are no representative beats."""
        return tuple(strip for strip in self.strips if strip.tracing.kind == "rhythm")

    @property
    def leads(self) -> frozenset[str]:
        """Ids of all leads of the rhythm."""
        return frozenset(lead for strip in self.rhythms for lead in strip.leads)

    @property
    def main(self) -> Strip | None:
        """The rhythm strip with most leads, the first of several."""
        return max(self.rhythms, key=lambda strip: len(strip.rows), default=None)


def look_at(recording: Recording, config: CheckConfig) -> View:
    """The view of a recording."""
    strips = [Strip(index, tracing, _rows(tracing)) for index, tracing in enumerate(recording.tracings)]
    return View(recording, config, tuple(strip for strip in strips if strip.rows and strip.tracing.length))


def marks_by_tracing(view: View) -> dict[int, list[Mark]]:
    """The marks of each tracing, in their order."""
    if "marks" not in view.kept:
        found: dict[int, list[Mark]] = {}
        for mark in view.recording.marks:
            found.setdefault(mark.tracing, []).append(mark)
        view.kept["marks"] = found
    kept: dict[int, list[Mark]] = view.kept["marks"]
    return kept


def _rows(tracing: Tracing) -> tuple[Row, ...]:
    found = []
    for index, channel in enumerate(tracing.channels):
        if channel.unit not in ("uV", "{NU}", None):
            continue
        lead = lead_for_channel(channel.name)
        if lead is None and not ("ecg" in channel.name.casefold() or "ekg" in channel.name.casefold()):
            continue
        empty = tracing.missing is not None and bool(tracing.missing[index].all())
        found.append(Row(index, channel, lead, channel.name if lead else f"channel {index + 1}", empty))
    return tuple(found)


def listed(rows: Iterable[str], total: int = 0) -> str:
    """Names as text: "V1, V2", "all 12 leads", "I, II, III, aVR, aVL, aVF and 3 more"."""
    names = list(rows)
    if total > 1 and len(names) == total:
        return f"all {total} leads"
    if len(names) > _MANY + 1:
        return f"{', '.join(names[:_MANY])} and {len(names) - _MANY} more"
    return ", ".join(names)


def counted(count: int, thing: str) -> str:
    """ "1 gap", "2 gaps"."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def number(value: float | Fraction, digits: int = 3) -> str:
    """A number with so many significant digits, without trailing zeros or exponent."""
    text = f"{float(value):.{digits}g}"
    if "e" in text:
        text = f"{float(value):.0f}"
    return text


def seconds(value: float | Fraction) -> str:
    """An instant or a length, to the millisecond."""
    text = f"{float(value):.3f}".rstrip("0").rstrip(".")
    return f"{text} s"
