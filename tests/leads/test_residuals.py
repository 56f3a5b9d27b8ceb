"""Sums that must be zero."""

import math
import random
from fractions import Fraction

import numpy as np
import pytest

from interchange.errors import UsageError
from interchange.leads import RELATIONS, Samples, parse, residual, residuals, rounding_tolerance

from .electrodes import total, vectors


def channel(name, integers, step=1, offset=0, missing=None, dtype=np.int32):
    return Samples(name, np.array(integers, dtype), Fraction(step), Fraction(offset), missing)


@pytest.mark.parametrize("relation", RELATIONS)
def test_relations_are_zero_by_definition_of_the_leads(relation):
    assert not any(total(parse(relation).terms, vectors()).values())


def test_the_tolerance_is_half_a_step_for_each_lead():
    steps = {"I": Fraction(5), "II": Fraction(5), "III": Fraction(2), "aVR": Fraction(1)}
    assert rounding_tolerance(parse("I + III - II"), steps) == 6
    assert rounding_tolerance(parse("2*aVR + I + II"), steps) == 6


def test_the_tolerance_is_kept_by_rounding_and_can_be_reached():
    """Potentials in hundredths of a step, each lead rounded to its own step."""
    chance = random.Random(2)
    steps = {"aVR": 3, "I": 2, "II": 7}
    rows = {name: [] for name in steps}
    for _ in range(3000):
        i, ii = (Fraction(chance.randint(-9999, 9999), 100) for _ in range(2))
        for name, value in (("I", i), ("II", ii), ("aVR", -(i + ii) / 2)):
            rows[name].append(round(value / steps[name]))
    found = residual("2*aVR + I + II", {name: channel(name, row, steps[name]) for name, row in rows.items()})
    assert found.tolerance == Fraction(15, 2)
    assert found.holds
    assert found.largest >= 6


def test_figures():
    a, b, c = channel("I", [1, 0, 0, -4], 5), channel("III", [0, 0, 9, 0], 5), channel("II", [0, 0, 0, 0], 5)
    (found,) = residuals([a, b, c])
    assert found.relation == "I + III - II"
    assert found.leads == ("I", "III", "II")
    assert (found.compared, found.beyond, found.at, found.largest) == (4, 2, 2, 45)
    assert found.mean == Fraction(5 + 45 - 20, 4)
    assert math.isclose(found.rms, math.sqrt((5**2 + 45**2 + 20**2) / 4))
    assert not found.holds
    assert not found.calculated


def test_the_bound_itself_is_no_fault():
    steps = ("I", [3], 1), ("II", [0], 1), ("III", [-2], Fraction(1, 2))
    (found,) = residuals([channel(*s) for s in steps])
    assert (found.largest, found.tolerance, found.beyond) == (2, Fraction(5, 4), 1)
    (found,) = residuals([channel("I", [5], 1), channel("II", [0], 1), channel("III", [-15], Fraction(1, 4), 0)])
    assert (found.largest, found.tolerance, found.beyond) == (Fraction(5, 4), Fraction(9, 8), 1)
    (found,) = residuals([channel("I", [5], 1), channel("II", [0], 1), channel("III", [-31], Fraction(1, 8))])
    assert (found.largest, found.tolerance, found.beyond) == (Fraction(9, 8), Fraction(17, 16), 1)
    (found,) = residuals([channel("I", [1], 1), channel("II", [0], 1), channel("III", [0], 1)])
    assert (found.largest, found.tolerance, found.beyond) == (1, Fraction(3, 2), 0)
    (found,) = residuals([channel("I", [2], 1), channel("II", [0], 1), channel("III", [0], 2)])
    assert (found.largest, found.tolerance, found.beyond) == (2, 2, 0)


def test_missing_samples_are_not_compared():
    mask = np.array([False, True, False])
    (found,) = residuals([channel("I", [0, 99, 7], missing=mask), channel("II", [0, 0, 0]), channel("III", [0, 0, 0])])
    assert (found.compared, found.largest, found.at) == (2, 7, 2)
    nothing = np.ones(3, bool)
    (found,) = residuals(
        [channel("I", [0, 9, 7], missing=nothing), channel("II", [0, 0, 0]), channel("III", [0, 0, 0])]
    )
    assert (found.compared, found.beyond, found.largest, found.at, found.rms) == (0, 0, 0, None, 0.0)
    assert not found.calculated


def test_offsets_are_part_of_the_sum():
    (found,) = residuals([channel("I", [1], 5, "2.5"), channel("II", [1], 5), channel("III", [0], 5)])
    assert (found.largest, found.mean) == (Fraction("2.5"), Fraction("2.5"))


@pytest.mark.parametrize("size", [1, 65535, 65536, 65537, 200001])
def test_long_recordings_are_the_same_as_short_ones(size):
    sums = np.zeros(size, np.int64)
    sums[size // 2] = -9
    sums[-1] = 4
    zero = np.zeros(size, np.int32)
    (found,) = residuals([channel("I", sums), channel("II", zero), channel("III", zero)])
    at = int(np.argmax(np.abs(sums)))
    assert (found.at, found.largest) == (at, abs(int(sums[at])))
    assert (found.compared, found.beyond, found.mean) == (
        size,
        int((np.abs(sums) > 1).sum()),
        Fraction(int(sums.sum()), size),
    )


def test_missing_samples_far_into_a_long_recording():
    size = 150000
    sums, mask = np.zeros(size, np.int32), np.zeros(size, bool)
    sums[[10, 140000]] = 50, 99
    mask[[140000, 20]] = True
    zero = np.zeros(size, np.int32)
    (found,) = residuals([channel("I", sums, missing=mask), channel("II", zero), channel("III", zero)])
    assert (found.compared, found.beyond, found.largest, found.at) == (size - 2, 1, 50, 10)


def test_the_first_of_equal_peaks_is_named():
    sums = np.zeros(150000, np.int32)
    sums[[9, 7, 140000]] = -50, 50, 50
    zero = np.zeros(150000, np.int32)
    (found,) = residuals([channel("I", sums), channel("II", zero), channel("III", zero)])
    assert (found.beyond, found.largest, found.at) == (3, 50, 7)


def test_scales_without_a_useful_common_step_are_still_exact():
    """Gains as an automatic scaling leaves them: the sum needs more than 64 bits."""
    steps = [Fraction(10**12, 17619352412839 + odd) for odd in (0, 1234567, 7654321)]
    counts = [30001, -32768, 12345]
    channels = [channel(n, [0, c], s) for n, c, s in zip(("I", "III", "II"), counts, steps, strict=True)]
    (found,) = residuals(channels)
    exact = counts[0] * steps[0] + counts[1] * steps[1] - counts[2] * steps[2]
    assert (found.largest, found.mean, found.at) == (abs(exact), exact / 2, 1)
    assert math.isclose(found.rms, abs(float(exact)) / math.sqrt(2))


def test_sums_near_the_end_of_64_bits():
    top = 2**63 - 1
    (found,) = residuals(
        [channel("I", [top, top], dtype=np.int64), channel("II", [-top] * 2, dtype=np.int64), channel("III", [0, 0])]
    )
    assert (found.largest, found.mean) == (2 * top, 2 * top)


def test_which_relations_are_looked_at():
    def relations(names):
        return [r.relation for r in residuals([channel(n, [0]) for n in names.split()])]

    assert relations("I II") == []
    assert relations("I II V1 Resp") == []
    assert relations("I II III") == ["I + III - II"]
    assert relations("I II aVL aVF") == ["2*aVL - 2*I + II", "2*aVF - 2*II + I"]
    assert relations("I II III aVL aVF") == ["I + III - II", "2*aVL - I + III", "2*aVF - II - III"]
    assert relations("I II III aVR aVL aVF V1 V2 V3 V4 V5 V6") == list(RELATIONS[:5])
    assert relations("D A J") == ["NehbD + NehbJ - NehbA"]


def test_leads_that_are_an_augmented_one_but_for_a_factor_stand_for_it():
    given = [channel("I", [500]), channel("II", [800]), channel("-aVR", [650])]
    (found,) = residuals(given)
    assert (found.relation, found.largest) == ("2*aVR + I + II", 0)
    (found,) = residuals([channel("VR", [-650]), channel("aVL", [100]), channel("VF", [450])])
    assert found.relation == "aVR + aVL + aVF"
    assert found.mean == Fraction(-975 + 100 + 675)


def test_of_two_channels_of_one_lead_the_first_is_taken():
    (found,) = residuals([channel("I", [1]), channel("I", [50]), channel("II", [1]), channel("III", [0])])
    assert found.largest == 0


def test_lengths_must_agree():
    with pytest.raises(UsageError, match="number of samples"):
        residuals([channel("I", [1]), channel("II", [1, 2]), channel("III", [1])])
