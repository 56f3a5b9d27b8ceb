"""Worked values.

Published relations: Einthoven's law and the definitions of the augmented leads and of the central terminal
(AHA/ACC/HRS Recommendations for the Standardization and Interpretation of the Electrocardiogram, part I, Circulation
2007;115:1306-1324).  The bounds of rounding follow from them by arithmetic.
"""

from fractions import Fraction

import numpy as np
import pytest

from interchange.leads import Samples, derive, residual, residuals
from interchange.vocabulary import lead

from .electrodes import evaluate

HALF = Fraction(1, 2)


def channel(name, values, step=1):
    return Samples(name, np.atleast_1d(np.asarray(values)), Fraction(step))


def value(name, step=1, **given):
    """The value of lead ``name`` in uV, calculated from one sample of each lead given in uV."""
    return derive(name, [channel(key, int(Fraction(amount) / step), step) for key, amount in given.items()]).value(0)


@pytest.mark.parametrize(
    ("i", "ii", "iii", "avr", "avl", "avf"),
    [
        (500, 800, 300, -650, 100, 550),
        (505, 800, 295, Fraction("-652.5"), 105, Fraction("547.5")),
        (500, 805, 305, Fraction("-652.5"), Fraction("97.5"), 555),
        (505, 805, 300, -655, Fraction("102.5"), Fraction("552.5")),
        (-120, 340, 460, -110, -290, 400),
        (1000, 1000, 0, -1000, 500, 500),
    ],
)
def test_the_other_limb_leads_from_i_and_ii(i, ii, iii, avr, avl, avf):
    """The last row: a calibration pulse into I and II alike, as device standards describe it."""
    expected = {"III": iii, "aVR": avr, "aVL": avl, "aVF": avf, "-aVR": -avr}
    assert {name: value(name, 5, I=i, II=ii) for name in expected} == expected


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"aVL": 100, "aVF": 550}, {"I": 500, "II": 800}),
        ({"III": 300, "aVR": -650}, {"I": 500, "II": 800}),
        ({"II": 800, "aVF": 550}, {"I": 500}),
    ],
)
def test_pairs(given, expected):
    assert {name: value(name, **given) for name in expected} == expected


def test_from_potentials():
    """Potentials in mV: RA -0.2, LA 0.3, LL 0.6, C1 -0.4."""
    volt = {"RA": Fraction("-0.2"), "LA": Fraction("0.3"), "LL": Fraction("0.6"), "C1": Fraction("-0.4")}
    seen = {name: evaluate(lead(name).electrodes, volt) for name in ("I", "II", "III", "aVL", "V1", "MCL1", "CR1")}
    assert seen == {
        "I": HALF, "II": Fraction("0.8"), "III": Fraction("0.3"), "aVL": Fraction("0.1"),
        "V1": Fraction("-0.4") - Fraction("0.7") / 3, "MCL1": Fraction("-0.7"), "CR1": Fraction("-0.2"),
    }  # fmt: skip
    third = Fraction(1, 3000)
    recorded = [channel("I", 1500, third), channel("II", 2400, third), channel("V1", -1900, third)]
    assert derive("MCL1", recorded).value(0) == Fraction("-0.7")
    assert derive("CR1", recorded).value(0) == Fraction("-0.2")


def grid():
    """Every pair of I and II from -6 to 6 counts."""
    i, ii = np.meshgrid(np.arange(-6, 7), np.arange(-6, 7))
    return i.ravel(), ii.ravel()


def halves_away(twice):
    """Half of ``twice`` rounded to whole counts, halves away from zero."""
    return np.sign(twice) * ((np.abs(twice) + 1) // 2)


def test_augmented_leads_rounded_to_whole_counts_sum_to_at_most_one():
    i, ii = grid()
    rounded = [channel(n, halves_away(t)) for n, t in (("aVR", -(i + ii)), ("aVL", 2 * i - ii), ("aVF", 2 * ii - i))]
    (found,) = (r for r in residuals(rounded) if r.relation == "aVR + aVL + aVF")
    assert set(np.unique(sum(c.integers for c in rounded))) == {-1, 0, 1}
    assert found.largest == 1
    assert found.holds
    assert found.tolerance == Fraction(3, 2)


def test_limb_leads_rounded_one_by_one_sum_to_at_most_one():
    """Exact potentials in sevenths of a count."""
    sevenths = np.arange(-30, 31)
    i, ii = (axis.ravel() for axis in np.meshgrid(sevenths, sevenths))

    def rounded(name, amount):
        return channel(name, (2 * amount + 7) // 14)

    channels = {"I": rounded("I", i), "II": rounded("II", ii), "III": rounded("III", ii - i)}
    found = residual("I + III - II", channels)
    assert set(np.unique(channels["I"].integers + channels["III"].integers - channels["II"].integers)) == {-1, 0, 1}
    assert (found.largest, found.holds) == (1, True)


def test_rounding_downwards_shows_in_the_mean():
    chance = np.random.default_rng(5)
    i, ii = chance.integers(-2000, 2000, (2, 40000))
    floored = [channel("aVR", -(i + ii) // 2), channel("aVL", (2 * i - ii) // 2), channel("aVF", (2 * ii - i) // 2)]
    (found,) = residuals(floored)
    sums = sum(c.integers for c in floored)
    assert (sums.min(), sums.max()) == (-1, 0)
    assert abs(found.mean + Fraction(3, 4)) < Fraction(2, 100)
    assert found.mean == Fraction(int(sums.sum()), sums.size)


def test_half_the_step_keeps_everything():
    """I and II on 5 uV, the augmented leads on 2.5 uV: their sum is zero, not nearly zero."""
    i, ii = grid()
    recorded = [channel("I", i, 5), channel("II", ii, 5)]
    augmented = [derive(name, recorded) for name in ("aVR", "aVL", "aVF")]
    assert {c.step for c in augmented} == {Fraction("2.5")}
    found = {r.relation: r for r in residuals([*recorded, derive("III", recorded), *augmented])}
    assert set(found) == {"I + III - II", "aVR + aVL + aVF", "2*aVR + I + II", "2*aVL - I + III", "2*aVF - II - III"}
    assert all(r.calculated and r.compared == i.size for r in found.values())


def test_turned_sign_and_missing_augmentation_show():
    """aVR stored with its sign turned; VR, VL, VF stored as augmented leads.  Input as in the first row above."""
    third = Fraction(1, 3)
    turned = [channel("aVR", 650), channel("aVL", 100), channel("aVF", 550)]
    (found,) = residuals(turned)
    assert (found.largest, found.mean, found.holds) == (1300, 1300, False)
    two_thirds = [channel("aVR", -1300, third), channel("aVL", 200, third), channel("aVF", 1100, third)]
    found = {r.relation: r for r in residuals([channel("I", 500), channel("II", 800), *two_thirds])}
    assert found["aVR + aVL + aVF"].largest == 0
    assert found["2*aVR + I + II"].mean == Fraction(1300, 3)
    assert not found["2*aVR + I + II"].holds
