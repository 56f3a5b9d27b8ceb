"""Do the marks make sense, and do the measurements agree with them?"""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Iterator
from fractions import Fraction
from functools import cache

from interchange.checks.plausibility import of_beat
from interchange.checks.sources import DEFINITION, I27, PROJECT
from interchange.checks.view import View, marks_by_tracing, number
from interchange.findings import Finding, Rule
from interchange.model import Mark, Recording
from interchange.vocabulary import beats

__all__ = ["RULES", "beat_instants", "check", "marks_on", "wave_bounds"]

_REVERSED = Rule(
    "plausibility.end-before-start", "error", "a mark ends before it begins", DEFINITION,
    "What it says about duration is wrong.", "computed",
)  # fmt: skip
_ORDER = Rule(
    "plausibility.mark-order", "warning", "the marks of one beat are not in the order of the waves", DEFINITION,
    "Intervals taken from them come out negative; marks may be exchanged or belong to other beats.", "computed",
)  # fmt: skip
_OUTSIDE = Rule(
    "plausibility.mark-outside", "warning", "marks lie outside the tracing that they refer to", DEFINITION,
    "They belong to another tracing or another time base.", "computed",
)  # fmt: skip
_HEART_RATE = Rule(
    "plausibility.rate-and-beats", "warning", "the heart rate is not that of the marked beats",
    f"{I27} (rate meter: 10 % or 5 /min)",
    "The rate, the marks, or the sampling rate may be wrong.", "memory",
)  # fmt: skip
_INTERVAL = Rule(
    "plausibility.interval-and-marks", "warning", "a measured interval is not that between the marks of its waves",
    f"{DEFINITION}; {PROJECT}", "Interval, marks, or the sampling rate may be wrong.", "proposal",
)  # fmt: skip

RULES = (_REVERSED, _ORDER, _OUTSIDE, _HEART_RATE, _INTERVAL)

_WAVES = ("p-onset", "p-offset", "qrs-onset", "qrs-offset", "t-offset")
_INTERVALS = (
    ("p-duration", "p-onset", "p-offset"),
    ("pr-interval", "p-onset", "qrs-onset"),
    ("pq-interval", "p-onset", "qrs-onset"),
    ("qrs-duration", "qrs-onset", "qrs-offset"),
    ("qt-interval", "qrs-onset", "t-offset"),
)
_FIDUCIALS = ("r-peak", "qrs-complex", "qrs-onset", "fiducial-point")
_FEWEST_BEATS = 4


def check(view: View) -> Iterator[Finding]:
    """Findings on marks, then on measurements against them."""
    yield from _places(view.recording)
    yield from _heart_rate(view)
    yield from _bounds(view)


def _places(recording: Recording) -> Iterator[Finding]:
    reversed_, outside = [], []
    for index, mark in enumerate(recording.marks):
        if mark.end is not None and mark.end < mark.start:
            reversed_.append(index)
        if not 0 <= mark.tracing < len(recording.tracings):
            outside.append(index)
        else:
            tracing = recording.tracings[mark.tracing]
            last = mark.start if mark.end is None else max(mark.start, mark.end)
            if tracing.length and (mark.start < 0 or last > tracing.duration):
                outside.append(index)
    for rule, hits in ((_REVERSED, reversed_), (_OUTSIDE, outside)):
        if hits:
            yield rule.at(f"marks[{hits[0]}]", f"{len(hits)} of {len(recording.marks)} marks" if len(hits) > 1 else "")


@cache
def _beat_concepts() -> frozenset[str]:
    return frozenset(row.concept for row in beats() if row.counts_as_qrs and row.concept) | {"beat"}


def marks_on(view: View, tracing: int) -> list[list[Mark]]:
    """The marks on a tracing that speak of all leads, one list for each that marked them, in order of time.

    Marks of one group belong together.  Where every group holds each concept once only the groups are beats, and all
    are of one.
    """
    groups: dict[str | None, list[Mark]] = {}
    for mark in marks_by_tracing(view).get(tracing, ()):
        if mark.lead is None:
            groups.setdefault(mark.group, []).append(mark)
    if all(len({m.concept for m in marks}) == len(marks) for marks in groups.values()):
        groups = {None: [mark for marks in groups.values() for mark in marks]}
    return [sorted(marks, key=lambda m: m.start) for marks in groups.values() if marks]


def beat_instants(view: View) -> Iterator[tuple[int, list[Fraction]]]:
    """Instants of the beats of the rhythm by tracing, for each that marked them: beats, else R peaks, else onsets."""
    for index, tracing in enumerate(view.recording.tracings):
        if tracing.kind != "rhythm":
            continue
        for marks in marks_on(view, index):
            kinds: dict[str, list[Fraction]] = {}
            for mark in marks:
                kind = "beat" if mark.concept in _beat_concepts() else mark.concept
                kinds.setdefault(kind, []).append(mark.start)
            enough = [name for name in ("beat", *_FIDUCIALS) if len(kinds.get(name, ())) >= _FEWEST_BEATS]
            if enough:
                yield index, kinds[enough[0]]


def _heart_rate(view: View) -> Iterator[Finding]:
    """The stated rate, or that of the stated RR interval, against the mean or the median of the beats."""
    rates = [of_beat(view, name, None) for name in ("heart-rate-ventricular", "heart-rate")]
    rr = of_beat(view, "rr-interval", None)
    stated = next((rate for rate in rates if rate is not None), 60000 / rr if rr and rr > 0 else None)
    if stated is None:
        return
    for tracing, instants in beat_instants(view):
        gaps = [float(b - a) for a, b in itertools.pairwise(instants) if b > a]
        if len(gaps) < _FEWEST_BEATS - 1:
            continue
        counted = [60 / statistics.fmean(gaps), 60 / statistics.median(gaps)]
        nearest = min(counted, key=lambda rate: abs(rate - float(stated)))
        slack = max(view.config.number("heart-rate") * nearest, view.config.number("heart-rate-beats"))
        if abs(nearest - float(stated)) > slack:
            yield _HEART_RATE.at(
                f"tracings[{tracing}]", f"{number(stated)} /min stated, {number(nearest)} /min by {len(instants)} beats"
            )


def wave_bounds(view: View) -> Iterator[tuple[int, dict[str, Fraction]]]:
    """For every representative beat the earliest onset and latest end of each wave in any lead, by tracing index."""
    for index, tracing in enumerate(view.recording.tracings):
        marks = marks_by_tracing(view).get(index)
        if tracing.kind != "representative beat" or not marks:
            continue
        bounds: dict[str, Fraction] = {}
        for mark in marks:
            if mark.group == marks[0].group:
                for concept, instant in _instants(mark):
                    keep = max if concept.endswith("offset") else min
                    bounds[concept] = keep(bounds.get(concept, instant), instant)
        if bounds:
            yield index, bounds


_SPANS = {"p-wave": "p", "qrs-complex": "qrs", "t-wave": "t"}


def _instants(mark: Mark) -> Iterator[tuple[str, Fraction]]:
    """The bounds of waves that a mark says."""
    if mark.concept in _WAVES:
        yield mark.concept, mark.start
    elif mark.concept == "j-point":
        yield "qrs-offset", mark.start
    elif mark.concept in _SPANS and mark.end is not None:
        yield f"{_SPANS[mark.concept]}-onset", mark.start
        yield f"{_SPANS[mark.concept]}-offset", mark.end


def _bounds(view: View) -> Iterator[Finding]:
    slack = view.config.exact("interval-marks")
    for index, bounds in wave_bounds(view):
        present = [name for name in _WAVES if name in bounds]
        wrong = [(a, b) for a, b in itertools.pairwise(present) if bounds[a] > bounds[b]]
        if wrong:
            yield _ORDER.at(f"tracings[{index}]", ", ".join(f"{a} after {b}" for a, b in wrong))
            continue
        beat = view.recording.tracings[index].beat
        for concept, start, stop in _INTERVALS:
            stated = of_beat(view, concept, beat)
            if stated is None or start not in bounds or stop not in bounds:
                continue
            marked = (bounds[stop] - bounds[start]) * 1000
            if abs(marked - stated) > slack:
                yield _INTERVAL.at(
                    f"tracings[{index}]", f"{concept} {number(stated, 4)} ms, by the marks {number(marked, 4)} ms"
                )
