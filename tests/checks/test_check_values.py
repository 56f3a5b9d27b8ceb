"""Published and derived check values: lead algebra, exchanged wires, rates, corrected QT, axes, scales.

Sources stand beside the values.  *Algebra* means: from the definition of the leads by electrode potentials (Einthoven,
Goldberger, Wilson), worked by hand.
"""

from fractions import Fraction

import numpy as np
import pytest

from interchange.checks import CheckConfig, check_recording
from interchange.checks.consistency import sums
from interchange.checks.formulas import frontal_axis, microvolts_of, qtc, ventricular_rate
from interchange.checks.view import look_at
from interchange.model import Channel, Tracing
from tests.checks.build import LIMB, leads_of, measured, potentials, recording, tracing, twelve


def limb(step=1, **values):
    """A recording of limb leads in uV that vary: the values given, times 1, 2, 3 ... and back."""
    shape = np.array([0, 1, 2, 3, 2, 1, 0, -1, -2, -1] * 50)
    codes = np.array(
        [np.array([Fraction(v) * int(k) / Fraction(step) for k in shape], dtype=object) for v in values.values()]
    )
    whole = np.array([[int(code) for code in row] for row in codes])
    assert (whole == codes).all()
    channels = tuple(Channel(name, step=Fraction(step)) for name in values)
    return recording(Tracing(channels, whole.astype(np.int32), Fraction(500)))


def told(made):
    """Largest amount of each sum in uV, and what it says."""
    view = look_at(made, CheckConfig())
    return {entry.residual.relation: (entry.residual.largest, entry.says) for entry in sums(view, view.strips[0])}


# --- sums of limb leads


def integers(seed=1, count=20_000):
    random = np.random.default_rng(seed)
    return random.integers(-2000, 2000, count), random.integers(-2000, 2000, count)


def stored(**rows):
    channels = tuple(Channel(name) for name in rows)
    return recording(Tracing(channels, np.array(list(rows.values()), dtype=np.int32), Fraction(500)))


@pytest.mark.parametrize("rounding", [np.round, lambda x: np.sign(x) * np.floor(np.abs(x) + 0.5), np.trunc])
def test_l15_augmented_leads_rounded_symmetrically_sum_to_one_step_at_most(rounding):
    """L15, algebra: of the three half-integers none or two need rounding."""
    i, ii = integers()
    made = stored(aVR=rounding(-(i + ii) / 2), aVL=rounding(i - ii / 2), aVF=rounding(ii - i / 2))
    view = look_at(made, CheckConfig())
    (entry,) = sums(view, view.strips[0])
    assert entry.residual.largest == 1
    assert entry.says == "holds"
    assert "consistency" not in {f.rule.partition(".")[0] for f in check_recording(made)}


def test_l16_three_leads_each_rounded_from_exact_potentials():
    """L16, algebra: I + III - II is -1, 0 or 1 step."""
    random = np.random.default_rng(4)
    ra, la, ll = random.normal(scale=500, size=(3, 20_000))
    made = stored(I=np.round(la - ra), II=np.round(ll - ra), III=np.round(ll - la))
    assert told(made) == {"I + III - II": (1, "holds")}


def test_l17_rounding_downwards_shows_in_the_mean():
    """L17, algebra: floor rounding of all three gives 0 or -1, three times in four -1."""
    i, ii = integers(count=400_000)
    made = stored(aVR=np.floor(-(i + ii) / 2), aVL=np.floor(i - ii / 2), aVF=np.floor(ii - i / 2))
    view = look_at(made, CheckConfig())
    (entry,) = sums(view, view.strips[0])
    assert float(entry.residual.mean) == pytest.approx(-0.75, abs=0.02)
    assert entry.says == "holds"


def test_l19_test_signal_with_one_waveform_is_no_fault():
    """L19: in calibration signals I = II, III flat, aVR inverted, aVL and aVF half (IEC 60601-2-25 test signals)."""
    made = limb(step=1, I=1000, II=1000, III=0, aVR=-1000, aVL=500, aVF=500)
    assert set(told(made).values()) == {(0, "nothing")}
    rules = {f.rule for f in check_recording(made)}
    assert not any(rule.startswith("consistency") for rule in rules)
    assert "quality.no-signal" in rules  # III


def test_l20_wrong_sign_leaves_twice_the_lead():
    """L20, algebra: -aVR under the name aVR makes aVR + aVL + aVF = -2 aVR: 1300 uV for I 500 and II 800."""
    made = limb(I=500, II=800, III=300, aVR=650, aVL=100, aVF=550)
    assert told(made)["aVR + aVL + aVF"] == (3 * 1300, "broken")
    (finding,) = [f for f in check_recording(made) if f.rule.startswith("consistency")]
    assert finding.rule == "consistency.sign"
    assert finding.place == "tracings[0].channels[3]"
    assert "aVR" in finding.reason


def test_l21_unaugmented_leads_keep_their_own_sum_and_break_the_others():
    """L21, algebra: two thirds of aVR, aVL, aVF sum to 0, but 2 aVR + I + II is 433.33 uV for I 500 and II 800."""
    third = Fraction(1, 3)
    made = limb(step=third, I=500, II=800, III=300, aVR=Fraction(-1300, 3), aVL=Fraction(200, 3), aVF=Fraction(1100, 3))
    found = told(made)
    assert found["aVR + aVL + aVF"] == (0, "nothing")
    assert float(found["2*aVR + I + II"][0]) == pytest.approx(3 * 433.33, abs=0.03)
    assert [f.rule for f in check_recording(made) if f.rule.startswith("consistency")] == ["consistency.unaugmented"]


# --- exchanged wires leave every sum at zero: nothing is claimed about them

WIRES = {
    # what lead electrode hangs on which wire, and the leads for I 0.5, II 0.8, V5 1.2 mV (algebra; RL taken equal to LL
    # as recommended in Sensors 2019;19(13):2920)
    "S01 RA-LA": (("LA", "RA", "LL"), (-0.5, 0.3, 0.8, 0.1, -0.65, 0.55, 1.2)),
    "S02 LA-LL": (("RA", "LL", "LA"), (0.8, 0.5, -0.3, -0.65, 0.55, 0.1, 1.2)),
    "S03 RA-LL": (("LL", "LA", "RA"), (-0.3, -0.8, -0.5, 0.55, 0.1, -0.65, 1.2)),
    "S04 RA-RL": (("RL", "LA", "LL"), (-0.3, 0.0, 0.3, 0.15, -0.3, 0.15, 0.93333)),
    "S05 LA-RL": (("RA", "RL", "LL"), (0.8, 0.8, 0.0, -0.8, 0.4, 0.4, 1.1)),
    "S06 RA-RL and LA-LL": (("RL", "LL", "LA"), (0.0, -0.3, -0.3, 0.15, 0.15, -0.3, 0.93333)),
}


def millivolts(wires):
    """The leads in mV with the electrodes on those wires, for potentials RA -0.2, LA 0.3, LL 0.6 mV and V5 = 1.2 mV."""
    body = {"RA": -0.2, "LA": 0.3, "LL": 0.6, "RL": 0.6}
    c5 = 1.2 + (body["RA"] + body["LA"] + body["LL"]) / 3
    on = [body[name] for name in wires]
    found = leads_of(np.array([*on, 0, 0, 0, 0, c5, 0]))
    return [found[name] for name in (*LIMB, "V5")]


@pytest.mark.parametrize("name", WIRES)
def test_s01_to_s06_leads_of_exchanged_wires(name):
    wires, expected = WIRES[name]
    assert millivolts(wires) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("name", WIRES)
def test_s07_no_exchange_breaks_a_sum_or_brings_up_a_finding(name):
    wires, _ = WIRES[name]
    body = potentials()
    rows = {"RA": body[0], "LA": body[1], "LL": body[2], "RL": body[2]}
    made = recording(tracing(leads_of(np.array([*(rows[wire] for wire in wires), *body[3:]]))))
    assert {says for _, says in told(made).values()} <= {"holds", "nothing"}
    rules = {f.rule for f in check_recording(made)}
    assert not any(rule.startswith("consistency") for rule in rules)


@pytest.mark.parametrize("name", ["S01 RA-LA", "S02 LA-LL", "S03 RA-LL"])
def test_s08_the_same_exchange_twice_restores_the_leads(name):
    wires, _ = WIRES[name]
    twice = tuple(wires[("RA", "LA", "LL").index(wire)] for wire in wires)
    assert millivolts(twice) == pytest.approx(millivolts(("RA", "LA", "LL")), abs=1e-12)


# --- skew, scale, length


def test_f05_skew_of_one_sample_at_100_mv_per_s_leaves_a_fifth_of_a_millivolt():
    """F05, algebra: residual = slope x skew; 100 mV/s x 2 ms = 0.2 mV."""
    ramp = np.concatenate([np.zeros(200), np.arange(0, 2001, 200), np.full(200, 2000)])  # 200 uV in 2 ms
    other = np.roll(np.concatenate([np.zeros(100), np.arange(0, 901, 90), np.full(300, 900)]), 40)[: ramp.size]
    late = np.concatenate([[0], ramp[:-1]])
    made = stored(I=ramp - other, II=late, III=other)
    view = look_at(made, CheckConfig())
    (entry,) = sums(view, view.strips[0])
    assert float(entry.residual.largest) / 1000 == pytest.approx(0.2, abs=0.001)


@pytest.mark.parametrize(
    ("step", "count"), [(Fraction(5), 200), (Fraction("4.88"), Fraction("204.918"))], ids=["5 uV", "4.88 uV"]
)
def test_f06_one_millivolt_in_counts(step, count):
    """F06, arithmetic: 1 mV is 200 steps of 5 uV and 204.9 of 4.88 uV."""
    made = Tracing((Channel("I", step=step),), np.array([[round(count)]], dtype=np.int16), Fraction(500))
    assert made.microvolts()[0, 0] == pytest.approx(1000, abs=0.5)
    assert float(1000 / step) == pytest.approx(float(count), abs=0.1)


@pytest.mark.parametrize(("per_millivolt", "step"), [(200, 5), (1000, 1)])
def test_f07_counts_per_millivolt_as_a_step(per_millivolt, step):
    """F07, arithmetic."""
    assert Fraction(1000, per_millivolt) == step
    made = Tracing((Channel("I", step=Fraction(step)),), np.array([[per_millivolt]], dtype=np.int16), Fraction(500))
    assert made.microvolts()[0, 0] == 1000


@pytest.mark.parametrize(("step", "millivolts_"), [(5, 163.84), (1, 32.768)])
def test_f08_range_of_sixteen_bits(step, millivolts_):
    """F08, arithmetic: 32768 steps."""
    made = Tracing((Channel("I", step=Fraction(step)),), np.array([[-32768]], dtype=np.int16), Fraction(500))
    assert made.microvolts()[0, 0] / 1000 == pytest.approx(-millivolts_, abs=0.001)


@pytest.mark.parametrize(("rate", "samples"), [(500, 5000), (1000, 10000)])
def test_f09_samples_of_ten_seconds(rate, samples):
    """F09, arithmetic."""
    made = tracing(leads_of(potentials(rate=rate)), rate=Fraction(rate))
    assert made.length == samples
    assert made.duration == 10
    rules = {f.rule for f in check_recording(recording(made))}
    assert not rules & {"quality.short", "quality.very-short", "quality.sampling-rate"}


# --- rate and corrected QT (Bazett, Fridericia, Framingham, Hodges as published)


@pytest.mark.parametrize(("rr", "rate"), [(800, 75), (714.2857, 84)], ids=["T01", "T02"])
def test_t01_t02_ventricular_rate(rr, rate):
    assert ventricular_rate(rr) == pytest.approx(rate, abs=0.01)


QTC = {
    "T03": (400, 60, (400.0, 400.0, 400.0, 400.0)),
    "T04": (400, 75, (447.2, 430.9, 430.8, 426.25)),
    "T05": (384, 84, (454.4, 429.6, 428.0, 426.0)),
    "T06": (360, 100, (464.8, 426.8, 421.6, 430.0)),
    "T07": (320, 120, (452.5, 403.2, 397.0, 425.0)),
    "T08": (440, 50, (401.7, 414.1, 409.2, 422.5)),
}
FORMULAS = ("bazett", "fridericia", "framingham", "hodges")


@pytest.mark.parametrize("name", QTC)
def test_t03_to_t08_corrected_qt(name):
    qt, rate, expected = QTC[name]
    assert [qtc(formula, qt, 60000 / rate) for formula in FORMULAS] == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("name", QTC)
def test_values_by_the_formulas_are_not_doubted_and_each_others_are(name):
    """The check of a stated QTc knows the four formulas apart wherever they differ by more than rounding."""
    qt, rate, expected = QTC[name]
    for formula, value in zip(FORMULAS, expected, strict=True):
        for other in expected:
            made = twelve(measurements=measured(heart_rate=rate, qt_interval=qt, **{f"qtc_{formula}": round(other)}))
            doubted = "plausibility.qtc-formula" in {f.rule for f in check_recording(made)}
            if abs(other - value) < 2:
                assert not doubted
            if abs(other - value) > 8:
                assert doubted


def test_t09_rr_in_milliseconds_under_the_root_is_caught():
    """T09, arithmetic: 400 / sqrt(800) = 14.14."""
    made = twelve(measurements=measured(rr_interval=800, qt_interval=400, qtc_bazett=Fraction("14.14")))
    rules = {f.rule for f in check_recording(made)}
    assert {"plausibility.impossible-value", "plausibility.qtc-formula"} <= rules


@pytest.mark.parametrize("name", QTC)
def test_t10_hodges_by_rr(name):
    """T10, algebra: QT + 105 (1 / RR - 1) with RR in seconds."""
    qt, rate, expected = QTC[name]
    assert qt + 105 * (rate / 60 - 1) == pytest.approx(expected[3], abs=0.1)
    assert qtc("hodges", qt, 60000 / rate) == pytest.approx(qt + 105 * (rate / 60 - 1), abs=1e-9)


# --- frontal axis (factor 2/sqrt(3) for the augmented lead)

AXES = {
    # I, II: degrees
    "T11": (1, 1, 30.00),
    "T12": (0.6, 0.9, 49.11),
    "T13": (1, 0, -30.00),
    "T14": (0.5, -0.5, -60.00),
    "T15": (-0.5, 0.5, 120.00),
    "T16": (0, 1, 90.00),
    "T17": (-1, -1, -150.00),
    "T18": (1, -0.2, -38.95),  # from I and III = -1.2
}


@pytest.mark.parametrize("name", AXES)
def test_t11_to_t18_frontal_axis(name):
    lead_i, lead_ii, degrees = AXES[name]
    found = frontal_axis(lead_i, lead_ii - lead_i / 2)
    assert found is not None
    assert found[0] == pytest.approx(degrees, abs=0.05)


def test_t12_length_of_the_frontal_vector():
    found = frontal_axis(0.6, 0.6)
    assert found is not None
    assert found[1] == pytest.approx(0.9165, abs=1e-4)


def test_t19_no_direction_is_not_zero_degrees():
    assert frontal_axis(0, 0) is None


def test_t20_the_factor_is_not_forgotten():
    """T20: 26.57 degrees is what I = II gives without 2/sqrt(3)."""
    found = frontal_axis(1, 0.5)
    assert found is not None
    assert abs(found[0] - 26.57) > 3


@pytest.mark.parametrize(("gain", "microvolts"), [(10, 250), (5, 500), (20, 125)], ids=["T21", "T22 5", "T22 20"])
def test_t21_t22_millimetres_on_paper(gain, microvolts):
    """T21, T22, arithmetic: 1 mm is 0.1 mV only at 10 mm/mV."""
    assert microvolts_of(Fraction(5, 2), gain) == microvolts
