"""Can the measurements be true, and do they agree with each other?

Values are carried as they are; nothing here corrects one.  Limits are rows of ``tables/limits.csv``, wide on purpose.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from fractions import Fraction

from interchange.checks.formulas import QTC_FORMULAS, frontal_axis, qtc
from interchange.checks.sources import DEFINITION, PROJECT, QTC, X01
from interchange.checks.view import View, number
from interchange.findings import Finding, Rule
from interchange.model import Measurement
from interchange.vocabulary import lead_for_channel

__all__ = ["RULES", "check", "of_beat"]

_IMPOSSIBLE = Rule(
    "plausibility.impossible-value", "warning", "a value is none that a heart can have", PROJECT,
    "It may have another unit, or stand for no value at all.", "proposal",
)  # fmt: skip
_UNUSUAL = Rule(
    "plausibility.unusual-value", "note", "a value is unusual", PROJECT,
    "Check its unit and where it comes from. Patients are ill: it may well be true.", "proposal",
)  # fmt: skip
_RATE_RR = Rule(
    "plausibility.rate-and-rr", "warning", "heart rate and RR interval contradict each other",
    f"{DEFINITION}; {PROJECT}",
    "One of them has another unit, or they were measured on different beats.", "proposal",
)  # fmt: skip
_QTC = Rule(
    "plausibility.qtc-formula", "warning", "the corrected QT interval is not what its formula makes of QT and rate",
    f"{QTC}; {PROJECT}", "The formula may be another than the one named, or a value is wrong.", "proposal",
)  # fmt: skip
_QTC_ANY = Rule(
    "plausibility.qtc-no-formula", "note",
    "the corrected QT interval is far from what any of the four formulas makes of QT and rate",
    f"{QTC}; {PROJECT}", "QT, its correction or the rate may be wrong.", "proposal",
)  # fmt: skip
_ORDER = Rule(
    "plausibility.interval-order", "warning", "an interval is longer than one that contains it", DEFINITION,
    "The values may be exchanged, or one of them is wrong.", "computed",
)  # fmt: skip
_QT_RR = Rule(
    "plausibility.qt-and-rr", "warning", "QT is longer than the time from beat to beat", PROJECT,
    "The end of the T wave or the rate is wrong.", "proposal",
)  # fmt: skip
_AXIS = Rule(
    "plausibility.qrs-axis", "note", "the QRS axis is far from that of the measured amplitudes", f"{X01}; {PROJECT}",
    "Axis, an amplitude or its sign may be wrong.", "proposal",
)  # fmt: skip

RULES = (_IMPOSSIBLE, _UNUSUAL, _RATE_RR, _QTC, _QTC_ANY, _ORDER, _QT_RR, _AXIS)

_RATES = ("heart-rate-ventricular", "heart-rate")
_CONTAINED = (
    ("pr-interval", "p-duration"),
    ("pq-interval", "p-duration"),
    ("qt-interval", "qrs-duration"),
)
_SHOWN = 6


def of_beat(view: View, concept: str, beat: int | None) -> Fraction | None:
    """The global value of a concept for a beat type, else that without a beat type; None where there is none."""
    if "globals" not in view.kept:
        view.kept["globals"] = _globals(view)
    values: dict[int | None, Fraction] = view.kept["globals"].get(concept, {})
    return values.get(beat, values.get(None))


def _globals(view: View) -> dict[str, dict[int | None, Fraction]]:
    """The first value of each concept and beat type."""
    found: dict[str, dict[int | None, Fraction]] = {}
    for m in view.recording.measurements:
        if m.lead is None and m.value is not None:
            found.setdefault(m.concept, {}).setdefault(m.beat, Fraction(m.value))
    return found


def check(view: View) -> Iterator[Finding]:
    """Findings on measurements: each by itself, then against each other."""
    yield from _limits(view)
    for beat in dict.fromkeys(m.beat for m in view.recording.measurements if m.lead is None):
        yield from _intervals(view, beat)
    yield from _axis(view)


def _limits(view: View) -> Iterator[Finding]:
    """One finding per rule and concept; leads are named."""
    found: dict[tuple[str, str], list[tuple[int, Measurement]]] = {}
    for index, m in enumerate(view.recording.measurements):
        limit = view.config.limit(m.concept, "global" if m.lead is None else "per lead")
        if limit is None or m.value is None or m.unit != limit.unit:
            continue
        value = Fraction(m.value)
        if not limit.possible[0] <= value <= limit.possible[1]:
            found.setdefault((_IMPOSSIBLE.id, m.concept), []).append((index, m))
        elif not limit.usual[0] <= value <= limit.usual[1]:
            found.setdefault((_UNUSUAL.id, m.concept), []).append((index, m))
    for (rule_id, concept), hits in found.items():
        rule = _IMPOSSIBLE if rule_id == _IMPOSSIBLE.id else _UNUSUAL
        place = f"measurements[{hits[0][0]}]" if len(hits) == 1 else "measurements"
        yield rule.at(place, f"{concept}: {_values(m for _, m in hits)}")


def _values(hits: Iterable[Measurement]) -> str:
    texts = []
    for m in hits:
        lead = lead_for_channel(m.lead) if m.lead else None
        texts.append(f"{m.lead} {number(m.value or 0, 4)}" if lead else number(m.value or 0, 4))
        unit = m.unit
    more = f" and {len(texts) - _SHOWN} more" if len(texts) > _SHOWN else ""
    return f"{', '.join(texts[:_SHOWN])}{more} {unit}"


def _intervals(view: View, beat: int | None) -> Iterator[Finding]:
    rr = of_beat(view, "rr-interval", beat)
    rate = next((value for name in _RATES if (value := of_beat(view, name, beat)) is not None), None)
    if rr and rr > 0 and rate is not None:
        expected = 60000 / rr
        if abs(rate - expected) > max(
            view.config.exact("rate-times-rr") * expected, view.config.exact("rate-times-rr-beats")
        ):
            yield _RATE_RR.at(
                "measurements", f"{number(rate)} /min and {number(rr, 4)} ms, which is {number(expected)} /min"
            )
    for longer, shorter in _CONTAINED:
        outer, inner = of_beat(view, longer, beat), of_beat(view, shorter, beat)
        if outer is not None and inner is not None and outer < inner:
            yield _ORDER.at("measurements", f"{longer} {number(outer, 4)} ms, {shorter} {number(inner, 4)} ms")
    qt = of_beat(view, "qt-interval", beat)
    lengths = [value for value in (rr, 60000 / rate if rate else None) if value and value > 0]
    if qt is None or not lengths:
        return
    if all(qt > value + view.config.exact("qt-beyond-rr") for value in lengths):
        yield _QT_RR.at("measurements", f"QT {number(qt, 4)} ms, RR {number(lengths[0], 4)} ms")
    yield from _corrected(view, beat, float(qt), [float(value) for value in lengths], rate)


def _corrected(
    view: View, beat: int | None, qt: float, lengths: list[float], rate: Fraction | None
) -> Iterator[Finding]:
    """QTc by its formula from every RR that may have been used, allowing for QT and rate given in whole numbers."""
    for formula in QTC_FORMULAS:
        stated = of_beat(view, f"qtc-{formula}", beat)
        if stated is None:
            continue
        spread = [_spread(formula, qt, rr, rate) for rr in lengths]
        slack = view.config.number("qtc")
        if all(not low - slack <= stated <= high + slack for low, high in spread):
            target = float(stated)
            made = [qtc(formula, qt, rr) for rr in lengths]
            nearest = made[min(range(len(made)), key=lambda i: abs(made[i] - target))]
            yield _QTC.at(
                "measurements", f"qtc-{formula} {number(stated, 4)} ms, by the formula {number(nearest, 4)} ms"
            )
    stated = of_beat(view, "qtc-interval", beat)
    if stated is not None:
        every = [bound for formula in QTC_FORMULAS for rr in lengths for bound in _spread(formula, qt, rr, rate)]
        slack = view.config.number("qtc-any")
        if not min(every) * (1 - slack) <= stated <= max(every) * (1 + slack):
            yield _QTC_ANY.at(
                "measurements",
                f"{number(stated, 4)} ms; the formulas make {number(min(every), 4)} to {number(max(every), 4)} ms",
            )


def _spread(formula: str, qt: float, rr: float, rate: Fraction | None) -> tuple[float, float]:
    """Least and largest QTc for a QT and a rate that were rounded to whole numbers."""
    beats = 60000 / rr
    blurred = 0.5 if rate is not None and math.isclose(beats, float(rate)) else 0.0
    values = [
        qtc(formula, qt + off, 60000 / speed)
        for off in (-0.5, 0.5)
        for speed in (beats - blurred, beats + blurred)
        if speed > 0
    ]
    return min(values), max(values)


def _axis(view: View) -> Iterator[Finding]:
    """The axis of QRS against the net amplitudes of I and aVF."""
    nets = _nets(view)
    for beat in dict.fromkeys(m.beat for m in view.recording.measurements if m.concept == "qrs-axis"):
        stated = of_beat(view, "qrs-axis", beat)
        found = [nets.get((lead, beat), nets.get((lead, 0 if beat is None else None))) for lead in ("I", "aVF")]
        if stated is None or found[0] is None or found[1] is None:
            continue
        axis = frontal_axis(found[0], found[1])
        if axis is None or axis[1] < view.config.number("axis-amplitude"):
            continue
        apart = abs((float(stated) - axis[0] + 180) % 360 - 180)
        if apart > view.config.number("axis"):
            yield _AXIS.at(
                "measurements", f"{number(stated)} deg, by the amplitudes of I and aVF {number(axis[0])} deg"
            )


def _nets(view: View) -> dict[tuple[str, int | None], float]:
    """R minus Q and S by lead and beat, uV, where R was measured; Q and S count as negative however they are signed."""
    signs = {"q-amplitude": -1, "r-amplitude": 1, "s-amplitude": -1}
    parts: dict[tuple[str, int | None], dict[str, float]] = {}
    for m in view.recording.measurements:
        if m.concept in signs and m.lead in ("I", "aVF") and m.value is not None and m.unit == "uV":
            parts.setdefault((m.lead, m.beat), {})[m.concept] = signs[m.concept] * abs(float(m.value))
    return {key: sum(found.values()) for key, found in parts.items() if "r-amplitude" in found}
