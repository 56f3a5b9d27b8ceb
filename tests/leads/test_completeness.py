"""Lead sets: what is there, what follows, what is missing."""

import itertools

import pytest

from interchange.leads import completeness, identify
from interchange.vocabulary import channel_name, lead, lead_sets

from .electrodes import rank, vectors

LIMB = "I II III aVR aVL aVF"
CHEST = "V1 V2 V3 V4 V5 V6"
TWELVE = f"{LIMB} {CHEST}"
VECTORS = vectors()


def names(text):
    return text.split()


def test_twelve_leads_as_recorded():
    found = completeness(names(TWELVE), "standard-12")
    assert found.complete
    assert found.acceptable
    assert found.present == tuple(names(TWELVE))
    assert (found.derivable, found.stood_in, found.missing, found.extra, found.duplicates, found.unknown) == ((),) * 6


def test_eight_leads_are_twelve():
    found = completeness(names(f"I II {CHEST}"), "standard-12")
    assert found.complete
    assert [(how.lead, how.formula, how.sources) for how in found.derivable] == [
        ("III", "II - I", ("II", "I")),
        ("aVR", "-(I + II)/2", ("I", "II")),
        ("aVL", "I - II/2", ("I", "II")),
        ("aVF", "II - I/2", ("II", "I")),
    ]


def test_a_missing_chest_lead_stays_missing():
    found = completeness(names(f"{LIMB} V1 V2 V4 V5 V6"), "standard-12")
    assert not found.complete
    assert not found.acceptable
    assert (found.missing, found.estimable) == (("V3",), ())


def test_one_limb_lead_is_not_enough():
    found = completeness(names(f"II {CHEST}"), "standard-12")
    assert found.missing == ("I", "III", "aVR", "aVL", "aVF")
    assert found.present == ("II", *names(CHEST))


def test_chest_electrodes_off():
    found = completeness(names(LIMB), "standard-12")
    assert found.missing == tuple(names(CHEST))
    assert not found.acceptable
    assert completeness(names(LIMB), "limb-6").complete


def test_extra_duplicate_and_unknown_channels_are_told():
    found = completeness(["I", "II", "V4R", "Resp", "II", "ECG", "ECG"], "limb-6")
    assert found.complete
    assert (found.extra, found.duplicates, found.unknown) == (("V4R",), ("II",), ("Resp", "ECG", "ECG"))


def test_labels_are_those_of_the_model():
    """Matching of labels is the readers' work: here "avr" is no lead."""
    assert completeness(["I", "II", "avr"], "limb-6").unknown == ("avr",)


def test_optional_leads_are_not_extra():
    eighteen = f"{TWELVE} V3R V4R V5R V7 V8 V9"
    found = completeness(names(f"{eighteen} V6R"), "extended-18")
    assert found.complete
    assert (found.optional, found.extra) == (("V6R",), ())


def test_a_monitor_takes_any_chest_lead():
    found = completeness(names("I II V5"), "monitor-5")
    assert found.complete
    assert (found.stood_in, found.extra) == ((("V", "V5"),), ())
    assert completeness(names("I II"), "monitor-5").missing == ("V",)


def test_right_sided_leads_without_v1_and_v2_are_acceptable_but_not_complete():
    found = completeness(names("I II V3R V4R V5R V6R"), "right-12")
    assert (found.complete, found.acceptable, found.missing) == (False, True, ("V1", "V2"))


def test_a_sign_turned_lead_counts():
    found = completeness(names("I -aVR"), "limb-6")
    assert found.complete
    assert {how.lead: how.formula for how in found.derivable}["aVR"] == "-(-aVR)"
    cabrera = completeness(names(f"aVL I aVR II aVF III {CHEST}"), "cabrera-12")
    assert [how.lead for how in cabrera.derivable] == ["-aVR"]
    assert cabrera.extra == ("aVR",)


def test_estimates_are_told_apart_from_what_cannot_be_had():
    found = completeness(names("I II V2"), "twelve-from-limb-and-chest")
    assert found.missing == found.estimable == ("V1", "V3", "V4", "V5", "V6")


def test_letters_of_two_systems():
    assert completeness(["D", "A"], "nehb-3").complete
    assert completeness(["D", "fA"], "nehb-3").missing == ("NehbA", "NehbJ")


def test_an_unknown_set_is_a_key_error():
    with pytest.raises(KeyError):
        completeness(["I"], "no-such-set")


def choices(row):
    parts = [itertools.combinations(need.leads, need.count) for need in row.minimum]
    return [tuple(itertools.chain(*choice)) for choice in itertools.product(*parts)]


@pytest.mark.parametrize("row", lead_sets(), ids=lambda row: row.id)
def test_every_least_choice_is_judged_as_linear_algebra_judges_it(row):
    for choice in choices(row):
        found = completeness([channel_name(lead(name)) for name in choice], row)
        assert found.acceptable
        assert (found.duplicates, found.unknown) == ((), ())
        size = rank(VECTORS[name] for name in choice)
        follows = {
            n for n in row.required if n not in choice and rank([*(VECTORS[c] for c in choice), VECTORS[n]]) == size
        }
        assert {how.lead for how in found.derivable} == follows
        assert follows <= set(row.derivable)
        assert set(found.present) == set(choice) & set(row.required)
        lacking = set(row.required) - set(choice) - follows - dict(found.stood_in).keys()
        assert set(found.missing) == lacking
        assert not found.stood_in or row.id in ("monitor-3", "monitor-5")
        for gone in choice if size == len(choice) else ():
            less = completeness([channel_name(lead(name)) for name in choice if name != gone], row)
            assert not less.complete


@pytest.mark.parametrize(
    ("channels", "id_"),
    [
        (TWELVE, "standard-12"), (f"I II {CHEST}", "independent-8"), (f"III aVF {CHEST}", "standard-12"),
        (LIMB, "limb-6"),
        ("I II", "limb-6"), ("I II III", "limb-6"), ("II", "monitor-3"), ("I", "monitor-3"), ("I II V1", "monitor-5"),
        (f"{LIMB} V", "monitor-5"), (f"aVL I -aVR II aVF III {CHEST}", "cabrera-12"),
        (f"{LIMB} V1 V2 V3R V4R V5R V6R", "right-12"),
        ("I II V3R V4R V5R V6R", "right-12"), (f"{TWELVE} V4R V8 V9", "extended-15"),
        (f"{TWELVE} V7 V8 V9", "extended-15-back"),
        (f"{TWELVE} V3R V4R V5R", "extended-15-right"), (f"{TWELVE} V3R V4R V5R V7 V8 V9", "extended-18"),
        ("V7 V8 V9", "back-3"),
        ("X Y Z", "xyz-unspecified"), ("ES AS AI", "easi"), ("D A J", "nehb-3"), ("Defib", "pads"),
        (f"{TWELVE} V4R", "standard-12"),
        (f"{TWELVE} Resp", "standard-12"), ("CC5 CM5 ML", "holter-cc5-cm5-ml"), ("CM5 CC5 CH5", "holter-cm5-cc5-ch5"),
    ],
)  # fmt: skip
def test_which_set_it_is(channels, id_):
    assert identify(names(channels)).lead_set.id == id_


@pytest.mark.parametrize("channels", ["", "V1", "Resp ABP", "MLII V5", "ECG", "aVR", "V1 V2 V3 V4 V5 V6"])
def test_what_makes_up_no_set(channels):
    assert identify(names(channels)) is None
