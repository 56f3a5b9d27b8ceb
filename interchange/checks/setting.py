"""How the recording was made: length, rate, resolution, bandwidth."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from interchange.checks.people import age_in_years
from interchange.checks.sources import A07, BANDWIDTH_CHILD, H12, I25, PROJECT
from interchange.checks.view import CHEST, Row, Strip, View, listed, number, seconds
from interchange.findings import Finding, Rule
from interchange.model import Filters

__all__ = ["RULES", "check"]

_SHORT = Rule(
    "quality.short", "note", "a twelve-lead tracing is shorter than ten seconds", "common practice",
    "Rhythm is harder to judge; layouts made for ten seconds stay partly empty.", "memory",
)  # fmt: skip
_VERY_SHORT = Rule(
    "quality.very-short", "warning", "the tracing is shorter than one column of a printed page", "common practice",
    "There may not be two beats in it; rate and rhythm cannot be told.", "memory",
)  # fmt: skip
_RATE = Rule(
    "quality.sampling-rate", "note", "there are fewer than 500 samples per second", A07,
    "Fast detail (notches, pacing spikes) is smoothed or lost.", "memory",
)  # fmt: skip
_LOW_RATE = Rule(
    "quality.low-sampling-rate", "warning", "there are fewer than 250 samples per second", f"{A07}; {PROJECT}",
    "Amplitudes of the QRS and the ends of waves are not of diagnostic grade.", "proposal",
)  # fmt: skip
_RESOLUTION = Rule(
    "quality.resolution", "note", "the amplitude step is above 5 uV", f"{I25} (amplitude quantum)",
    "Small waves are drawn in few steps.", "memory",
)  # fmt: skip
_COARSE = Rule(
    "quality.coarse-resolution", "warning", "the amplitude step is above 10 uV",
    "AHA recommendations on automated ECG 1990", "Small waves and small ST changes are lost between two steps.",
    "memory",
)  # fmt: skip
_HIGH = Rule(
    "quality.high-cutoff", "note", "the high cut-off is below 150 Hz", A07,
    "QRS amplitudes are reduced, notches and pacing spikes smoothed.", "memory",
)  # fmt: skip
_HIGH_CHILD = Rule(
    "quality.high-cutoff-child", "note", "the high cut-off is below the 250 Hz recommended for children",
    BANDWIDTH_CHILD,
    "QRS amplitudes of a child are reduced.",
)  # fmt: skip
_LOW = Rule(
    "quality.low-cutoff", "note", "the low cut-off is above 0.05 Hz", A07,
    "ST levels may be shifted unless the filter had no phase distortion, which the recording does not say.",
)  # fmt: skip
_MONITOR = Rule(
    "quality.monitor-bandwidth", "warning", "the low cut-off is that of a monitor", H12,
    "Caution: such a filter shifts ST levels to a degree that matters, unless it had no phase distortion, which the "
    "recording does not say.",
)  # fmt: skip
_UNKNOWN = Rule(
    "quality.bandwidth-unknown", "note", "the recording does not say how it was filtered", A07,
    "Whether ST levels and QRS amplitudes are true cannot be judged from the file.", "memory",
)  # fmt: skip

RULES = (
    _SHORT, _VERY_SHORT, _RATE, _LOW_RATE, _RESOLUTION, _COARSE, _HIGH, _HIGH_CHILD, _LOW, _MONITOR, _UNKNOWN,
)  # fmt: skip

_NO_PHASE = ("zero phase", "zero-phase", "linear phase", "linear-phase", "phase-free", "forward-backward")


def check(view: View) -> Iterator[Finding]:
    """Findings on how the rhythm was recorded."""
    for strip in view.rhythms:
        yield from _length(view, strip)
        yield from _sampling(view, strip)
    yield from _bandwidth(view)


def _length(view: View, strip: Strip) -> Iterator[Finding]:
    tracing = strip.tracing
    lasting = (tracing.length + 1) / tracing.rate  # N samples span N - 1 or N intervals, as one likes to count
    if lasting < view.config.exact("duration-short"):
        yield _VERY_SHORT.at(strip.place, seconds(tracing.duration))
    elif lasting < view.config.exact("duration") and len(set(strip.leads) & set(CHEST)) == len(CHEST):
        yield _SHORT.at(strip.place, seconds(tracing.duration))


def _sampling(view: View, strip: Strip) -> Iterator[Finding]:
    rate = strip.tracing.rate
    for rule, name in ((_LOW_RATE, "rate-low"), (_RATE, "rate")):
        if rate < view.config.exact(name):
            yield rule.at(strip.place, f"{number(rate, 6)}/s")
            break
    rows = [row for row in strip.rows if row.is_voltage and not row.empty]
    for rule, name in ((_COARSE, "resolution-coarse"), (_RESOLUTION, "resolution")):
        wide = [row for row in rows if abs(row.channel.step) > view.config.exact(name)]
        if wide:
            largest = max(abs(row.channel.step) for row in wide)
            yield rule.at(
                strip.place_of(wide), f"{listed((r.shown for r in wide), len(strip.rows))}, {number(largest)} uV"
            )
            break


def _bandwidth(view: View) -> Iterator[Finding]:
    """Filters of the channels, else of the whole recording."""
    general = view.recording.acquisition.filters
    for strip in view.rhythms:
        groups: dict[Filters | None, list[Row]] = {}
        for row in strip.rows:
            groups.setdefault(row.channel.filters or general, []).append(row)
        for filters, rows in groups.items():
            yield from _filtered(view, strip, filters or Filters(), rows)


def _filtered(view: View, strip: Strip, filters: Filters, rows: Sequence[Row]) -> Iterator[Finding]:
    place, names = strip.place_of(rows), listed((r.shown for r in rows), len(strip.rows))
    if filters.lowpass is None and filters.highpass is None:
        if not filters.descriptions:
            yield _UNKNOWN.at(place, names)
        return
    if filters.lowpass is not None:
        years = age_in_years(view.recording)
        if years is not None and years < view.config.exact("child-age"):
            if filters.lowpass < view.config.exact("high-cutoff-child"):
                yield _HIGH_CHILD.at(place, f"{names}, {number(filters.lowpass)} Hz")
        elif filters.lowpass < view.config.exact("high-cutoff"):
            yield _HIGH.at(place, f"{names}, {number(filters.lowpass)} Hz")
    if filters.highpass is not None and not _phase_free(filters):
        yield from _low_end(view, place, names, filters.highpass)


def _low_end(view: View, place: str, names: str, highpass: Fraction) -> Iterator[Finding]:
    for rule, name in ((_MONITOR, "low-cutoff-monitor"), (_LOW, "low-cutoff")):
        limit = view.config.exact(name)
        if highpass > limit or (rule is _MONITOR and highpass == limit):
            yield rule.at(place, f"{names}, {number(highpass)} Hz")
            return


def _phase_free(filters: Filters) -> bool:
    """Whether the source says in words that the filter does not shift phases."""
    return any(word in text.casefold() for text in filters.descriptions for word in _NO_PHASE)
