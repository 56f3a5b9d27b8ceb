"""Recordings together."""

from dataclasses import replace
from fractions import Fraction

from interchange.checks import CheckConfig, check_collection, load_config, summary_of
from interchange.model import Identifier, Patient, PersonName
from tests.checks.build import KNOWN, STEP, twelve, with_channels
from tests.checks.samples import of_device, patient


def found(*recordings, config=None):
    kept = [summary_of(made, f"{at}.scp") for at, made in enumerate(recordings)]
    return [(f.rule, f.place) for f in check_collection(kept, config)]


def test_the_same_samples_under_another_scale_of_storage_are_the_same_tracing():
    other = with_channels(twelve(), step=STEP / 2)
    doubled = other.with_(tracings=(replace(other.tracings[0], samples=other.tracings[0].samples * 2),))
    assert found(twelve(), doubled) == [("set.same-tracing", "1.scp")]


def test_an_additional_strip_does_not_hide_a_shared_tracing():
    more = twelve()
    strip = replace(more.tracings[0].take([1]), start=Fraction(10))
    assert found(twelve(), more.with_(tracings=(*more.tracings, strip))) == [("set.same-tracing", "1.scp")]


def test_a_copy_without_identity_contradicts_nothing():
    assert found(twelve(), twelve(patient=Patient())) == [("set.same-tracing", "1.scp")]


def test_ids_of_different_issuers_contradict_nothing():
    mine = patient(ids=(Identifier("A1", "Harbour county"),))
    theirs = patient(ids=(Identifier("B2", "Hill clinic"),))
    unsaid = patient(ids=(Identifier("B2"),))
    assert found(mine, theirs) == [("set.same-tracing", "1.scp")]
    assert found(mine, unsaid) == [("set.same-tracing-other-patient", "1.scp")]


def test_which_fields_contradict_is_said_without_their_values():
    other = patient(name=PersonName(family="Lindqvist", given="Tuva"), sex="male")
    kept = [summary_of(twelve(), "a.scp"), summary_of(other, "b.scp")]
    (finding,) = check_collection(kept)
    assert finding.severity == "error"
    assert finding.reason.endswith("(name, sex; the other is a.scp)")
    assert "Lindqvist" not in finding.reason


def test_case_of_a_name_is_no_contradiction():
    other = patient(name=PersonName(family="OKAFOR", given="MARLIS"))
    assert found(twelve(), other) == [("set.same-tracing", "1.scp")]


def test_shared_age_needs_many_tracings_of_one_device():
    few = of_device([50] * 5)
    assert check_collection(summary_of(made, name) for name, made in few) == ()
    many = of_device([50] * 5 + list(range(60, 70)))
    (finding,) = check_collection(summary_of(made, name) for name, made in many)
    assert finding.rule == "set.shared-age"
    assert finding.reason.endswith("(5 of 15 tracings of one device)")


def test_the_same_tracing_again_does_not_count_twice():
    many = of_device([50] * 2 + list(range(60, 70)))
    again = [*many, *[("x", many[0][1])] * 10]
    assert "set.shared-age" not in {f.rule for f in check_collection(summary_of(made, name) for name, made in again)}


def test_tracings_without_a_serial_number_are_of_no_device():
    many = [
        (name, made.with_(acquisition=replace(made.acquisition, devices=()))) for name, made in of_device([50] * 20)
    ]
    assert check_collection(summary_of(made, name) for name, made in many) == ()


def test_configuration_applies_to_sets_too():
    config = load_config('off = ["set.same-tracing"]')
    assert found(twelve(), twelve(), config=config) == []
    louder = load_config('[severity]\n"set.same-tracing" = "error"')
    (finding,) = check_collection([summary_of(twelve(), "a"), summary_of(twelve(), "b")], louder)
    assert finding.severity == "error"
    many = of_device([50] * 5 + list(range(60, 70)))
    strict = load_config("[thresholds]\nshared-age = 0.5")
    assert check_collection((summary_of(made, name) for name, made in many), strict) == ()
    small = CheckConfig(thresholds={"shared-age-tracings": Fraction(100)})
    assert check_collection((summary_of(made, name) for name, made in many), small) == ()


def test_nothing_and_one():
    assert check_collection(()) == ()
    assert check_collection([summary_of(twelve(patient=KNOWN), "a")]) == ()
