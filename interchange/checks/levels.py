"""Measured J-point levels against the waveform.

Where onset and end of the QRS are marked the level can be read off the tracing: the value at the end of the QRS (the
J point) against that at its onset (the reference of the Fourth Universal Definition of Myocardial Infarction).  A level
is doubted only when no instant near the mark gives it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from interchange.checks.formulas import microvolts_of
from interchange.checks.marks import marks_on, wave_bounds
from interchange.checks.sources import PROJECT, U18
from interchange.checks.view import Row, Strip, View, number
from interchange.findings import Finding, Rule
from interchange.model import Measurement
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["RULES", "Level", "check", "level_at"]

_LEVEL = Rule(
    "plausibility.j-level", "warning", "a measured J level is not that of the waveform at the marked J point",
    f"{U18} (J point against QRS onset); {PROJECT}",
    "Look at the tracing itself: the number may have another sign, unit, lead or instant.", "proposal",
)  # fmt: skip

RULES = (_LEVEL,)

_AROUND = Fraction(1, 100)
"""Seconds around a mark in which a lead may have its own J point."""
_REFERENCE = Fraction(1, 100)
_GAINS = (10, 5, 20)
_LONGEST_QRS = Fraction(2, 5)
_SHOWN = 4


@dataclass(frozen=True, slots=True)
class Level:
    """Level of the J point in uV: at the mark, and the least and the largest near it."""

    value: float
    low: float
    high: float


def level_at(samples: NDArray[np.float64], rate: Fraction, onset: Fraction, offset: Fraction) -> Level | None:
    """The level at ``offset`` against the mean of the 10 ms before ``onset`` (seconds); None outside the samples."""
    first, last = round((onset - _REFERENCE) * rate), round(onset * rate)
    at, reach = round(offset * rate), int(np.ceil(float(_AROUND * rate)))
    if not (0 <= first <= last < samples.size and 0 <= at < samples.size):
        return None
    around = samples[max(0, at - reach) : at + reach + 1]
    before = samples[first : last + 1]
    if np.isnan(around).any() or np.isnan(before).any():
        return None
    reference = float(before.mean())
    spread = max(float(np.ptp(before)) / 2, 0.0)
    return Level(
        float(samples[at]) - reference,
        float(around.min()) - reference - spread,
        float(around.max()) - reference + spread,
    )


def check(view: View) -> Iterator[Finding]:
    """One finding per representative beat, else per rhythm tracing whose beats are marked; leads are named."""
    strips = {strip.index: strip for strip in view.strips}
    beats = [(strips[index], [bounds]) for index, bounds in wave_bounds(view) if index in strips]
    if not any(_pairs(bounds) for _, bounds in beats):
        beats = [(strip, _marked_beats(view, strip.index)) for strip in view.rhythms]
    for strip, bounds in beats:
        pairs = _pairs(bounds)
        if pairs:
            yield from _compared(view, strip, pairs)


def _pairs(bounds: Sequence[Mapping[str, Fraction]]) -> list[tuple[Fraction, Fraction]]:
    return [(b["qrs-onset"], b["qrs-offset"]) for b in bounds if "qrs-onset" in b and "qrs-offset" in b]


def _marked_beats(view: View, tracing: int) -> list[dict[str, Fraction]]:
    """QRS complexes of a rhythm tracing: each onset with the end that follows it before the next onset."""
    marks = next(iter(marks_on(view, tracing)), [])
    ordered = [(m.start, m.concept) for m in marks if m.concept in ("qrs-onset", "qrs-offset")]
    return [
        {"qrs-onset": start, "qrs-offset": stop}
        for (start, first), (stop, second) in itertools.pairwise(ordered)
        if first == "qrs-onset" and second == "qrs-offset" and stop - start < _LONGEST_QRS
    ]


def _compared(view: View, strip: Strip, pairs: Sequence[tuple[Fraction, Fraction]]) -> Iterator[Finding]:
    slack = view.config.number("level")
    rows = {row.shown: row for row in reversed(strip.rows) if row.is_voltage and not row.empty}
    levels: dict[str, Level | None] = {}
    wrong = []
    for m in view.recording.measurements:
        if m.concept != "j-amplitude" or m.value is None or m.unit != "uV" or m.lead not in rows:
            continue
        if m.beat not in (None, strip.tracing.beat or 0):
            continue
        if m.lead not in levels:
            levels[m.lead] = _usual_level(strip, rows[m.lead], pairs)
        level = levels[m.lead]
        if level and not level.low - slack <= m.value <= level.high + slack:
            hint = _hint(m, level, slack)
            wrong.append(f"{m.lead} {number(m.value)} uV, the waveform {number(level.value)} uV{hint}")
    if wrong:
        more = f" and {len(wrong) - _SHOWN} more" if len(wrong) > _SHOWN else ""
        yield _LEVEL.at(strip.place, "; ".join(wrong[:_SHOWN]) + more)


def _usual_level(strip: Strip, row: Row, pairs: Sequence[tuple[Fraction, Fraction]]) -> Level | None:
    """The median of the levels of the beats."""
    samples = strip.tracing.take([row.index]).microvolts()[0]
    found = [level for start, stop in pairs if (level := level_at(samples, strip.tracing.rate, start, stop))]
    if not found:
        return None
    return Level(*(float(np.median([getattr(level, name) for level in found])) for name in ("value", "low", "high")))


def _hint(m: Measurement, level: Level, slack: float) -> str:
    """What else the number may be."""
    value = Fraction(m.value or 0)
    if level.low - slack <= -value <= level.high + slack and abs(level.value) > slack:
        return " (fits with the sign changed)"
    if level.low - slack <= value * 1000 <= level.high + slack and value:
        return " (fits as millivolts)"
    for gain in _GAINS:
        if value and level.low - slack <= microvolts_of(value, gain) <= level.high + slack:
            return f" (fits as millimetres at {gain} mm/mV)"
    return ""
