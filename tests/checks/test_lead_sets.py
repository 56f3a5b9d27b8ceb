"""Which lead set is it, what follows, what cannot be had, and what the verdict says of it."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from interchange.checks import CheckConfig, build_report, check_recording
from interchange.errors import UsageError
from interchange.model import Channel, Tracing
from tests.checks.build import CHEST, LIMB, RATE, STEP, TWELVE, leads_of, potentials, recording, tracing, twelve


def made_of(*names, **fields):
    """A recording of leads with these names; what is no lead of the twelve gets the samples of V1."""
    values = leads_of(potentials())
    return recording(tracing({name: values.get(name, values["V1"] * 0.5) for name in names}, names), **fields)


def summary(made, expect=None):
    return build_report(made, (), expect).lead_set


def test_twelve_leads():
    found = summary(twelve())
    assert (found.id, found.complete, found.missing, found.derivable) == ("standard-12", True, (), ())
    assert found.present == TWELVE


def test_eight_leads_are_twelve_with_four_that_follow_with_formula_and_sources():
    found = summary(made_of("I", "II", *CHEST))
    assert found.id == "standard-12"
    assert found.complete
    assert {name: how.formula for name, how in found.derivable} == {
        "III": "II - I",
        "aVR": "-(I + II)/2",
        "aVL": "I - II/2",
        "aVF": "II - I/2",
    }
    assert all(set(how.sources) == {"I", "II"} for _, how in found.derivable)


@pytest.mark.parametrize("pair", [("I", "II"), ("III", "aVR"), ("aVL", "aVF")])
def test_any_two_limb_leads_complete_the_six(pair):
    found = summary(made_of(*pair, *CHEST))
    assert found.complete
    assert len(found.derivable) == 4


def test_a_chest_lead_is_missing_and_cannot_be_had():
    found = summary(made_of(*LIMB, "V1", "V2", "V3", "V5", "V6"))
    assert (found.id, found.missing, found.complete) == ("standard-12", ("V4",), False)


def test_one_limb_lead_gives_no_other():
    found = summary(made_of("II", *CHEST))
    assert set(found.missing) == set(LIMB) - {"II"}


def test_limb_leads_alone_are_six_of_six_and_no_chest_lead():
    report = build_report(made_of(*LIMB), ())
    assert report.lead_set.id == "limb-6"
    assert report.verdict.startswith("Six of six limb leads and no chest lead, 10 s")
    assert report.status == 0
    (finding,) = [f for f in report.findings if f.rule == "leads.limb-only"]
    assert finding.reason.endswith("(6 of 6 limb leads, 0 of 6 chest leads)")


@pytest.mark.parametrize("name", ["I", "II", "V2", "MCL1"])
def test_one_lead_is_named_whatever_set_it_makes_up(name):
    assert build_report(made_of(name), ()).verdict.startswith(f"One lead, {name}, 10 s")


def test_limb_leads_against_an_expected_twelve_are_an_error():
    report = build_report(made_of(*LIMB), (), "standard-12")
    assert report.status == 1
    assert report.lead_set.missing == CHEST
    (finding,) = [f for f in report.findings if f.rule == "leads.incomplete"]
    assert finding.severity == "error"
    assert "V1, V2, V3, V4, V5, V6" in finding.reason
    assert report.verdict == ("Six of twelve leads, 10 s, 500 samples/s. One error to look at.")


def test_no_purpose_of_a_lead_set_is_named():
    words = ("asystole", "arrest", "death", "pronounce", "resuscitat", "ischaemi", "infarct")
    for names in (LIMB, ("II",), TWELVE, (*TWELVE, "V4R", "V8", "V9"), ("I", "II")):
        report = build_report(made_of(*names), ())
        told = f"{report.verdict} {' '.join(f.reason for f in report.findings)}".casefold()
        assert not any(word in told for word in words)


def test_expectation_of_the_call_comes_before_that_of_the_configuration():
    made = made_of(*LIMB)
    assert build_report(made, (), "limb-6", CheckConfig(expect="standard-12")).status == 0
    assert build_report(made, (), None, CheckConfig(expect="standard-12")).status == 1


def test_expected_set_must_be_one_of_the_table():
    with pytest.raises(UsageError):
        build_report(twelve(), (), "standard-13")


@pytest.mark.parametrize(
    ("names", "id_", "extra"),
    [
        ((*TWELVE, "V4R", "V8", "V9"), "extended-15", ()),
        ((*TWELVE, "V7", "V8", "V9"), "extended-15-back", ()),
        ((*TWELVE, "X", "Y", "Z"), "standard-12", ("X", "Y", "Z")),
        ((*LIMB, "V1"), "monitor-5", ()),
        (("X", "Y", "Z"), "xyz-unspecified", ()),
        (("ES", "AS", "AI"), "easi", ()),
        (("II",), "monitor-3", ()),
        (("V7", "V8", "V9"), "back-3", ()),
        ((*LIMB, "V1", "V2", "V3R", "V4R", "V5R", "V6R"), "right-12", ()),
    ],
)
def test_sets_of_the_table_are_known(names, id_, extra):
    found = summary(made_of(*names))
    assert (found.id, found.extra, found.complete) == (id_, extra, True)


def test_leads_that_make_up_no_set_are_named():
    report = build_report(made_of("MLII", "V5"), ())
    assert report.lead_set.id == ""
    assert report.verdict.startswith("Two leads, MLII, V5, 10 s, 500 samples/s")


def test_a_lead_without_any_sample_is_not_there():
    old = twelve().tracings[0]
    mask = np.zeros(old.samples.shape, dtype=bool)
    mask[11] = True
    report = build_report(recording(replace(old, missing=mask)), (), "standard-12")
    assert report.lead_set.missing == ("V6",)
    assert report.lead_set.empty == ("V6",)
    assert report.status == 1


def test_leads_of_groups_are_all_there_but_derive_only_within_a_group():
    values = leads_of(potentials())
    groups = [("I", "II"), ("V1", "V2", "V3"), ("V4", "V5", "V6")]
    together = recording(*(tracing(values, g, start=Fraction(10 * at)) for at, g in enumerate(groups)))
    assert summary(together).complete
    apart = recording(*(tracing(values, g, start=Fraction(10 * at)) for at, g in enumerate([("I", *CHEST), ("II",)])))
    assert summary(apart).missing == ("III", "aVR", "aVL", "aVF")


def test_an_additional_strip_is_no_duplicate():
    values = leads_of(potentials(seconds=20))
    made = recording(*twelve().tracings, tracing(values, ("II", "V1"), start=Fraction(10)))
    report = build_report(made, ())
    assert report.lead_set.duplicates == ()
    assert report.verdict.startswith("Twelve of twelve leads, 10 s, 500 samples/s, and one more tracing.")
    assert not {f.rule for f in report.findings} & {"leads.twice", "leads.not-simultaneous"}


def test_a_recorded_and_a_calculated_lead_are_no_duplicate():
    old = twelve().tracings[0]
    channels = (*old.channels, Channel("V1", step=STEP, origin="derived", derived_from="a matrix"))
    made = recording(replace(old, channels=channels, samples=np.vstack([old.samples, old.samples[6:7] + 1])))
    rules = {f.rule for f in check_recording(made)}
    assert "leads.same-name-other-data" not in rules
    assert "leads.calculated" in rules


def test_chest_leads_whose_place_is_not_said_may_be_several():
    values = leads_of(potentials())
    channels = tuple(Channel(name, step=STEP) for name in ("II", "V", "V"))
    codes = np.array([np.round(values[name] / 2.5) for name in ("II", "V1", "V5")]).astype(np.int16)
    made = recording(Tracing(channels, codes, Fraction(RATE)))
    assert not {f.rule for f in check_recording(made)} & {"leads.twice", "leads.same-name-other-data"}


def test_no_tracing_at_all():
    report = build_report(recording(), ())
    assert report.verdict == "No rhythm tracing. One thing to look at."
    assert build_report(recording(), (), "standard-12").status == 1


def test_channels_that_are_no_ecg_take_no_part():
    values = leads_of(potentials())
    old = tracing(values, ("II",))
    pressure = Channel("ABP", unit="mm[Hg]", step=Fraction(1, 10))
    made = recording(
        replace(old, channels=(*old.channels, pressure), samples=np.vstack([old.samples, old.samples * 0]))
    )
    report = build_report(made, ())
    assert report.verdict.startswith("One lead, II, 10 s")
    assert report.findings == ()


def test_leads_calculated_from_three_signals_are_found_and_declared_ones_left_alone():
    from tests.checks.samples import SAMPLES

    bad, _ = SAMPLES["leads.from-three-signals"]
    assert "leads.from-three-signals" in {f.rule for f in check_recording(bad)}
    declared = bad.with_(acquisition=replace(bad.acquisition, electrode_placement="twelve-from-easi"))
    assert "leads.from-three-signals" not in {f.rule for f in check_recording(declared)}


@pytest.mark.parametrize(("seconds", "words"), [(9.6, "9.6 s"), (150, "2 min 30 s"), (7200, "2 h")])
def test_lengths_in_words(seconds, words):
    codes = np.zeros((1, round(seconds * 100)), dtype=np.int16)
    made = recording(Tracing((Channel("II"),), codes, Fraction(100)))
    assert f"One lead, II, {words}, 100 samples/s" in build_report(made, ()).verdict
