"""Limb leads that do not fit together: which cause is named, and when none is."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from interchange.checks import CheckConfig, check_recording
from interchange.checks.consistency import sums
from interchange.checks.view import look_at
from interchange.model import Channel, Measurement, Tracing
from tests.checks.build import LIMB, RATE, leads_of, levels, potentials, recording, tracing, twelve, with_rows


def consistency(made):
    return [f for f in check_recording(made) if f.rule.startswith("consistency.")]


def changed(change, names=LIMB):
    made = recording(tracing(leads_of(potentials()), names))
    return with_rows(made, change)


@pytest.mark.parametrize("name", LIMB)
def test_wrong_sign_names_the_lead(name):
    def flip(values):
        values[name] = -values[name]

    (finding,) = consistency(changed(flip))
    assert finding.rule == "consistency.sign"
    assert finding.severity == "error"
    assert finding.reason.endswith(f"({name})")


@pytest.mark.parametrize(("one", "other"), [("I", "III"), ("aVR", "aVF"), ("II", "aVF"), ("I", "aVL")])
def test_exchanged_names_are_told(one, other):
    def swap(values):
        values[one], values[other] = values[other], values[one]

    (finding,) = consistency(changed(swap))
    assert finding.rule == "consistency.exchanged-names"
    assert finding.reason.endswith(f"({one} and {other})")


@pytest.mark.parametrize(("factor", "words"), [(10, "10 times too large"), (0.5, "2 times too small")])
def test_scale_of_one_lead_is_told(factor, words):
    def scale(values):
        values["II"] = values["II"] * factor

    (finding,) = consistency(changed(scale, ("I", "II", "III")))
    assert finding.rule == "consistency.scale"
    assert finding.reason.endswith(f"(II, {words})")


@pytest.mark.parametrize(("samples", "words"), [(3, "0.006 s late"), (-2, "0.004 s early")])
def test_skew_of_one_lead_is_told_in_time(samples, words):
    def shift(values):
        values["III"] = np.roll(values["III"], samples)

    (finding,) = consistency(changed(shift, ("I", "II", "III")))
    assert finding.rule == "consistency.skew"
    assert finding.reason.endswith(f"(III, {words})")


def test_two_causes_that_explain_as_much_are_not_told_apart():
    """With I, II, III alone, names of I and II exchanged leave what a wrong sign of III leaves."""

    def swap(values):
        values["I"], values["II"] = values["II"], values["I"]

    (finding,) = consistency(changed(swap, ("I", "II", "III")))
    assert finding.rule == "consistency.limb-sums"
    assert "I + III - II" in finding.reason


def test_a_lead_of_another_recording_has_no_cause_but_is_told():
    other = leads_of(potentials(seed=11))

    def replace_one(values):
        values["aVF"] = np.roll(other["V3"], 117)

    (finding,) = consistency(changed(replace_one))
    assert finding.rule == "consistency.limb-sums"
    assert finding.severity == "warning"


def test_coarse_storage_and_rounding_downwards_bring_up_nothing():
    values = leads_of(potentials())
    codes = np.array([np.floor(values[name] / 10) for name in LIMB]).astype(np.int16)
    made = recording(Tracing(tuple(Channel(name, step=Fraction(10)) for name in LIMB), codes, Fraction(RATE)))
    assert consistency(made) == []


def test_leads_with_steps_of_their_own_are_compared_in_microvolts():
    values = leads_of(potentials())
    steps = {"I": Fraction(5), "II": Fraction("4.88"), "III": Fraction(5, 2)}
    codes = np.array([np.round(values[name] / float(step)) for name, step in steps.items()]).astype(np.int16)
    made = recording(Tracing(tuple(Channel(n, step=s) for n, s in steps.items()), codes, Fraction(RATE)))
    assert consistency(made) == []


def test_minus_avr_under_its_own_name_is_no_fault():
    values = leads_of(potentials())
    values["-aVR"] = -values["aVR"]
    names = ("aVL", "I", "-aVR", "II", "aVF", "III")
    assert consistency(recording(tracing(values, names))) == []


def test_leads_taken_at_other_instants_are_not_summed():
    old = recording(tracing(leads_of(potentials()), ("I", "II", "III"))).tracings[0]
    rolled = old.samples.copy()
    rolled[2] = np.roll(rolled[2], 5)
    channels = (*old.channels[:2], replace(old.channels[2], skew=Fraction(1, 100)))
    assert consistency(recording(replace(old, samples=rolled, channels=channels))) == []


def test_samples_that_are_missing_take_no_part():
    old = recording(tracing(leads_of(potentials()), ("I", "II", "III"))).tracings[0]
    mask = np.zeros(old.samples.shape, dtype=bool)
    mask[0, 1000:4000] = True
    made = recording(replace(old, missing=mask))
    assert consistency(made) == []
    view = look_at(made, CheckConfig())
    (entry,) = sums(view, view.strips[0])
    assert entry.residual.compared == 2000


def test_a_negative_step_is_a_scale_like_any_other():
    old = recording(tracing(leads_of(potentials()), ("I", "II", "III"))).tracings[0]
    channels = tuple(replace(channel, step=-channel.step) for channel in old.channels)
    made = recording(replace(old, channels=channels, samples=-old.samples))
    assert consistency(made) == []


def test_calculated_leads_say_nothing():
    values = leads_of(potentials())
    i, ii = (np.round(values[name] / 2.5).astype(np.int16) for name in ("I", "II"))
    channels = tuple(Channel(name, step=Fraction(5, 2)) for name in ("I", "II", "III"))
    view = look_at(recording(Tracing(channels, np.array([i, ii, ii - i]), Fraction(RATE))), CheckConfig())
    assert [entry.says for entry in sums(view, view.strips[0])] == ["nothing"]


def test_measured_levels_are_held_against_each_other_for_each_beat():
    good = levels("st-amplitude-60", I=60, II=40, III=-20)
    bad = tuple(
        Measurement("st-amplitude-60", value, "uV", lead, beat=1)
        for lead, value in (("I", 60), ("II", 40), ("III", 120))
    )
    (finding,) = consistency(twelve(measurements=(*good, *bad)))
    assert finding.rule == "consistency.measured-levels"
    assert "I + III - II is 140 uV" in finding.reason


def test_long_tracings_are_searched_around_the_worst_place():
    body = np.tile(potentials(seconds=40.0), 20)
    made = recording(tracing(leads_of(body), LIMB))

    def flip(values):
        values["aVL"] = -values["aVL"]

    (finding,) = consistency(with_rows(made, flip))
    assert finding.rule == "consistency.sign"
