"""Arithmetic of rates, corrected QT intervals, axes and paper scales, as published."""

from __future__ import annotations

import math
from fractions import Fraction

__all__ = ["QTC_FORMULAS", "frontal_axis", "microvolts_of", "qtc", "ventricular_rate"]

QTC_FORMULAS = ("bazett", "fridericia", "framingham", "hodges")


def ventricular_rate(rr: float) -> float:
    """Beats per minute for an RR interval in ms."""
    return 60000 / rr


def qtc(formula: str, qt: float, rr: float) -> float:
    """QT in ms corrected for an RR interval in ms, in ms.

    Bazett QT / sqrt(RR), Fridericia QT / RR^(1/3), Framingham QT + 154 (1 - RR), Hodges QT + 1.75 (rate - 60), with
    RR in seconds and the rate per minute.
    """
    seconds = rr / 1000
    match formula:
        case "bazett":
            return qt / math.sqrt(seconds)
        case "fridericia":
            return qt / float(seconds ** (1 / 3))
        case "framingham":
            return qt + 154 * (1 - seconds)
        case "hodges":
            return qt + 1.75 * (ventricular_rate(rr) - 60)
    raise ValueError(formula)


def frontal_axis(lead_i: float, avf: float) -> tuple[float, float] | None:
    """Angle in degrees (0 = left, 90 = down, above -180 to 180) and length of the frontal vector.

    From net amplitudes or areas of leads I and aVF; the factor 2/sqrt(3) makes up for augmented leads being weaker
    than bipolar ones.  None where both are zero: there is no direction then.
    """
    down = 2 * avf / math.sqrt(3)
    if lead_i == 0 and down == 0:
        return None
    return math.degrees(math.atan2(down, lead_i)), math.hypot(lead_i, down)


def microvolts_of(millimetres: Fraction | float, gain: Fraction | int) -> Fraction:
    """What so many millimetres on paper are at ``gain`` mm/mV, uV."""
    return Fraction(millimetres) * 1000 / gain
