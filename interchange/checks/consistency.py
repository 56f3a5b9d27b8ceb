"""Do the limb leads fit together, sample by sample?

I + III = II and aVR + aVL + aVF = 0 follow from the definition of the leads.  No exchange of wires can break them, so
nothing is said about wires here: what breaks them is a channel of another time, scale, sign, filter or name.  The sums
are exact (:mod:`interchange.leads.residuals`); only where one does not hold the likely cause is looked for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

import numpy as np

from interchange.checks.causes import Cause, find_cause
from interchange.checks.sources import ELECTRODE_ALGEBRA, PROJECT
from interchange.checks.view import Row, Strip, View, number, seconds
from interchange.findings import Finding, Rule
from interchange.leads import Residual, Samples, parse, residuals, rounding_tolerance
from interchange.records import dataclass

__all__ = ["RULES", "Sums", "check", "limb_samples", "sums"]

_SIGN = Rule(
    "consistency.sign", "error", "a limb lead is stored with the wrong sign", ELECTRODE_ALGEBRA,
    "Every deflection of the lead points the wrong way; -aVR may stand under the name aVR.", "computed",
)  # fmt: skip
_UNAUGMENTED = Rule(
    "consistency.unaugmented", "error", "the augmented leads are two thirds of what they should be", ELECTRODE_ALGEBRA,
    "VR, VL and VF stand under the names of aVR, aVL and aVF: amplitudes there are too small by a third.", "computed",
)  # fmt: skip
_EXCHANGED = Rule(
    "consistency.exchanged-names", "error", "the names of two limb leads are exchanged", ELECTRODE_ALGEBRA,
    "Each of the two shows the other's waveform.  (This is about channels, not about wires: wires cannot be told.)",
    "computed",
)  # fmt: skip
_SCALE = Rule(
    "consistency.scale", "error", "a limb lead is stored at another scale than the others", ELECTRODE_ALGEBRA,
    "Amplitudes read from the lead are wrong by that factor.", "computed",
)  # fmt: skip
_SKEW = Rule(
    "consistency.skew", "warning", "a limb lead is shifted in time against the others", ELECTRODE_ALGEBRA,
    "Instants read from the lead are off by the shift; sums of leads do not hold at steep waves.", "computed",
)  # fmt: skip
_SUMS = Rule(
    "consistency.limb-sums", "warning", "the limb leads do not fit together", f"{ELECTRODE_ALGEBRA}; {PROJECT}",
    "At least one of these channels is not what its name says, or was recorded or processed apart from the others.",
    "proposal",
)  # fmt: skip
_APART = Rule(
    "consistency.processed-apart", "note", "the limb leads fit together, but not to the last step",
    f"{ELECTRODE_ALGEBRA}; {PROJECT}",
    "The leads were filtered, compressed or digitised each by itself.", "proposal",
)  # fmt: skip
_LEVELS = Rule(
    "consistency.measured-levels", "warning", "measured levels of the limb leads do not fit together",
    f"{ELECTRODE_ALGEBRA}; {PROJECT}",
    "At least one of the levels is wrong in sign, scale or lead.", "proposal",
)  # fmt: skip

RULES = (_SIGN, _UNAUGMENTED, _EXCHANGED, _SCALE, _SKEW, _SUMS, _APART, _LEVELS)

_COARSEST = Fraction(10)
_LIMB = ("I", "II", "III", "aVR", "aVL", "aVF")
_TWINS = ("-aVR", "VR", "VL", "VF")
_BY_CAUSE = {
    "sign": _SIGN,
    "unaugmented": _UNAUGMENTED,
    "exchanged": _EXCHANGED,
    "scale": _SCALE,
    "skew": _SKEW,
}
_LEVEL_CONCEPTS = ("j-amplitude", "st-amplitude-20", "st-amplitude-40", "st-amplitude-60", "st-amplitude-80")
_LEVEL_SUMS = ("I + III - II", "aVR + aVL + aVF", "2*aVR + I + II", "2*aVL - 2*I + II", "2*aVF - 2*II + I")


@dataclass(frozen=True, slots=True)
class Sums:
    """The sums of the limb leads of one tracing and what they say.

    ``says``: "nothing" (a lead was calculated from the others), "holds" (within rounding), "apart", "broken".
    """

    strip: Strip
    residual: Residual
    says: str


def limb_samples(strip: Strip) -> tuple[Samples, ...]:
    """The calibrated limb leads of a tracing that were sampled at the same instants, once each."""
    rows = [row for name in (*_LIMB, *_TWINS) if (row := strip.row_of(name)) is not None and row.is_voltage]
    if not rows:
        return ()
    skews = [row.channel.skew for row in rows]
    usual = max(skews, key=skews.count)
    return tuple(_samples(strip, row) for row in rows if row.channel.skew == usual)


def _samples(strip: Strip, row: Row) -> Samples:
    tracing, channel = strip.tracing, row.channel
    integers, step = tracing.samples[row.index], channel.step
    if step < 0:
        integers, step = -integers.astype(np.int64), -step
    missing = None if tracing.missing is None else tracing.missing[row.index]
    return Samples(channel.name, integers, step, channel.offset, missing)


def sums(view: View, strip: Strip) -> tuple[Sums, ...]:
    """Every sum of limb leads that the tracing has, with what it says."""
    key = ("sums", strip.index)
    if key not in view.kept:
        channels = limb_samples(strip)
        steps = {sample.name: sample.step for sample in channels}
        view.kept[key] = tuple(Sums(strip, r, _says(view, r, steps)) for r in residuals(channels) if r.compared)
    found: tuple[Sums, ...] = view.kept[key]
    return found


def _says(view: View, residual: Residual, steps: dict[str, Fraction]) -> str:
    if residual.calculated:
        return "nothing"
    if residual.largest <= _quiet(residual, steps):
        return "holds"
    loud = residual.rms > view.config.number("residual-rms") or residual.largest > view.config.exact("residual-peak")
    return "broken" if loud else "apart"


def _quiet(residual: Residual, steps: dict[str, Fraction]) -> Fraction:
    """What rounding in one direction and one further step, or rounding to 10 uV, can make of a sum.

    10 uV is the coarsest step that was ever recommended (AHA 1990): a source that rounded to it and says a finer step
    is none that was processed apart.
    """
    own = 2 * residual.tolerance + max((steps.get(name, Fraction(0)) for name in residual.leads), default=Fraction(0))
    return max(own, rounding_tolerance(parse(residual.relation), dict.fromkeys(residual.leads, _COARSEST)))


def check(view: View) -> Iterator[Finding]:
    """Findings on samples, tracing by tracing, then on measured levels."""
    for strip in view.strips:
        yield from _judged(view, strip, sums(view, strip))
    yield from _levels(view)


def _judged(view: View, strip: Strip, found: Sequence[Sums]) -> Iterator[Finding]:
    broken = [s for s in found if s.says == "broken"]
    apart = [s for s in found if s.says == "apart"]
    if broken:
        worst = max(broken, key=lambda s: s.residual.rms)
        channels = limb_samples(strip)
        cause = find_cause(channels, worst.residual.at or 0, strip.tracing.rate)
        if cause is not None:
            yield _named(strip, cause)
        else:
            yield _SUMS.at(strip.place, "; ".join(_told(strip, s.residual) for s in broken))
    elif apart:
        worst = max(apart, key=lambda s: s.residual.rms)
        yield _APART.at(strip.place, _told(strip, worst.residual))


def _told(strip: Strip, residual: Residual) -> str:
    at = seconds((residual.at or 0) / strip.tracing.rate)
    return f"{residual.relation} reaches {number(residual.largest)} uV at {at}, rms {number(residual.rms)} uV"


def _named(strip: Strip, cause: Cause) -> Finding:
    rows = [row for name in cause.leads if (row := strip.row_of(name)) is not None]
    detail = " and ".join(row.shown for row in rows)
    if cause.kind == "scale":
        detail += f", {number(cause.amount)} times too large" if cause.amount > 1 else \
            f", {number(1 / cause.amount)} times too small"  # fmt: skip
    if cause.kind == "skew":
        later = "late" if cause.amount > 0 else "early"
        detail += f", {seconds(abs(cause.amount))} {later}"
    return _BY_CAUSE[cause.kind].at(strip.place_of(rows), detail)


def _levels(view: View) -> Iterator[Finding]:
    """Levels read at one instant obey the same sums as the samples."""
    values: dict[tuple[str, int | None], dict[str, Fraction]] = {}
    for m in view.recording.measurements:
        if m.concept in _LEVEL_CONCEPTS and m.lead in _LIMB and m.value is not None and m.unit == "uV":
            values.setdefault((m.concept, m.beat), {}).setdefault(m.lead, Fraction(m.value))
    for (concept, _), found in values.items():
        broken = _broken_levels(found, view.config.exact("level-difference"))
        if broken:
            yield _LEVELS.at("measurements", f"{concept}: {'; '.join(broken)}")


def _broken_levels(values: dict[str, Fraction], slack: Fraction) -> list[str]:
    broken = []
    for text in _LEVEL_SUMS:
        terms = parse(text).terms
        if all(lead in values for lead, _ in terms):
            total = sum((factor * values[lead] for lead, factor in terms), Fraction(0))
            if abs(total) > slack:
                broken.append(f"{text} is {number(total)} uV")
    return broken
