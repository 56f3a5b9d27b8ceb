"""Derived limb leads: check values, exactness, what is left alone."""

from dataclasses import replace
from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest

from interchange.checks import build_report, check_recording
from interchange.derive import derivable_leads, derive
from interchange.errors import RefusedError, UsageError
from interchange.model import Channel, Filters, Mark, Tracing
from tests.checks.build import CHEST, LIMB, RATE, leads_of, potentials, recording, tracing, twelve

# L01 to L09: I, II and what follows, in uV (definition of the leads by electrode potentials, worked by hand)
VALUES = {
    "L01-L05": ((500, 800), {"III": 300, "aVR": -650, "aVL": 100, "aVF": 550}),
    "L06": ((505, 800), {"III": 295, "aVR": Fraction(-1305, 2), "aVL": 105, "aVF": Fraction(1095, 2)}),
    "L07": ((500, 805), {"III": 305, "aVR": Fraction(-1305, 2), "aVL": Fraction(195, 2), "aVF": 555}),
    "L08": ((505, 805), {"III": 300, "aVR": -655, "aVL": Fraction(205, 2), "aVF": Fraction(1105, 2)}),
    "L09": ((-120, 340), {"III": 460, "aVR": -110, "aVL": -290, "aVF": 400}),
    "L19": ((1000, 1000), {"III": 0, "aVR": -1000, "aVL": 500, "aVF": 500}),
}
# L12 to L14: other pairs
PAIRS = {
    "L12": ({"aVL": 100, "aVF": 550}, {"I": 500, "II": 800}),
    "L13": ({"III": 300, "aVR": -650}, {"I": 500, "II": 800}),
    "L14": ({"II": 800, "aVF": 550}, {"I": 500}),
}


def of(step=1, **values):
    """A recording of one sample for each lead, in uV."""
    codes = np.array([[int(Fraction(value) / step)] for value in values.values()], dtype=np.int16)
    channels = tuple(Channel(name, step=Fraction(step)) for name in values)
    return recording(Tracing(channels, codes, Fraction(RATE)))


def exact(made, name, at=0):
    """The exact value of a sample in uV, by the model's own definition: offset + step x integer."""
    found = made.tracings[0]
    row = found.names.index(name)
    return found.channels[row].offset + found.channels[row].step * int(found.samples[row, at])


@pytest.mark.parametrize("name", VALUES)
def test_leads_from_i_and_ii(name):
    (i, ii), expected = VALUES[name]
    made = derive(of(step=5, I=i, II=ii))
    assert {lead: exact(made, lead) for lead in expected} == expected


def test_l05_minus_avr_on_demand():
    assert exact(derive(of(I=500, II=800), ["-aVR"]), "-aVR") == 650


@pytest.mark.parametrize("name", PAIRS)
def test_leads_from_other_pairs(name):
    given, expected = PAIRS[name]
    made = derive(of(**given))
    assert {lead: exact(made, lead) for lead in expected} == expected


@pytest.mark.parametrize("pair", list(combinations(LIMB, 2)), ids="-".join)
def test_any_two_limb_leads_give_all_six_exactly(pair):
    """Potentials in multiples of 6 uV make every limb lead a multiple of 3 uV; nothing is to be rounded."""
    random = np.random.default_rng(6)
    body = np.concatenate([random.integers(-400, 400, (3, 200)) * 6, np.zeros((6, 200))])
    truth = leads_of(body)
    made = derive(recording(tracing(truth, pair, step=Fraction(3))))
    assert set(made.tracings[0].names) == set(LIMB)
    for name in LIMB:
        for at in (0, 57, 199):
            assert exact(made, name, at) == truth[name][at]


def test_l10_l11_chest_leads_of_two_electrodes():
    """RA -0.2, LA 0.3, LL 0.6, C1 -0.4 mV: V1 -0.63333, MCL1 = V1 - 2/3 aVL = -0.7, CR1 -0.2 (C1 - RA)."""
    truth = leads_of(np.array([-0.2, 0.3, 0.6, -0.4, 0, 0, 0, 0, 0]) * 1000)
    assert truth["V1"] / 1000 == pytest.approx(-0.63333, abs=1e-5)
    assert [truth[n] / 1000 for n in ("I", "II", "III", "aVL")] == pytest.approx([0.5, 0.8, 0.3, 0.1])
    step = Fraction(1, 3)
    made = derive(of(step=step, I=500, II=800, V1=Fraction(-1900, 3)), ["MCL1", "CR1"])
    assert (exact(made, "MCL1"), exact(made, "CR1")) == (-700, -200)


def test_l18_half_a_step_keeps_everything():
    """I and II on 5 uV: the derived augmented leads stand on 2.5 uV, and every sum is exactly zero."""
    made = derive(recording(tracing(leads_of(potentials()), ("I", "II"), step=Fraction(5))))
    by_name = dict(zip(made.tracings[0].names, made.tracings[0].channels, strict=True))
    assert [by_name[name].step for name in LIMB] == [5, 5, 5, Fraction(5, 2), Fraction(5, 2), Fraction(5, 2)]
    rows = {name: made.tracings[0].scaled_to(row, 2) for row, name in enumerate(made.tracings[0].names)}
    assert not (rows["I"] + rows["III"] - rows["II"]).any()
    assert not (rows["aVR"] + rows["aVL"] + rows["aVF"]).any()
    assert not (2 * rows["aVR"] + rows["I"] + rows["II"]).any()
    assert {entry.says for entry in build_report(made, ()).sums} == {"nothing"}


def test_recorded_leads_are_the_same_to_the_last_bit_and_come_first():
    source = recording(tracing(leads_of(potentials()), ("I", "II", *CHEST)))
    made = derive(source)
    old, new = source.tracings[0], made.tracings[0]
    assert new.names == ("I", "II", "III", "aVR", "aVL", "aVF", *CHEST)
    for name in old.names:
        a, b = old.names.index(name), new.names.index(name)
        assert np.array_equal(old.samples[a], new.samples[b])
        assert old.channels[a] == new.channels[b]
    assert (new.rate, new.start, new.kind) == (old.rate, old.start, old.kind)
    assert source.tracings[0] is old


def test_derived_leads_say_so():
    made = derive(recording(tracing(leads_of(potentials()), ("I", "II", *CHEST))))
    for channel in made.tracings[0].channels:
        if channel.name in ("III", "aVR", "aVL", "aVF"):
            assert channel.origin == "derived"
            assert channel.derived_from
        else:
            assert channel.origin == "recorded"
    assert {c.name: c.derived_from for c in made.tracings[0].channels}["aVF"] == "II - I/2"
    rules = {f.rule for f in check_recording(made)}
    assert "leads.calculated" in rules
    assert "leads.derivable" not in rules


def test_no_chest_lead_is_ever_made():
    made = derive(recording(tracing(leads_of(potentials()), LIMB)), (*LIMB, *CHEST))
    assert made.tracings[0].names == LIMB


def test_nothing_to_add_is_the_same_object():
    for made in (twelve(), recording(), recording(tracing(leads_of(potentials()), ("II", *CHEST)))):
        assert derive(made) is made


def test_order_of_cabrera_stays_and_new_leads_stand_behind():
    made = derive(recording(tracing(leads_of(potentials()), ("aVL", "I", "V1"))))
    assert made.tracings[0].names == ("aVL", "I", "II", "III", "aVR", "aVF", "V1")


def test_missing_samples_stay_missing():
    old = tracing(leads_of(potentials()), ("I", "II", "V1"))
    mask = np.zeros(old.samples.shape, dtype=bool)
    mask[0, 10:20] = mask[1, 15:30] = mask[2, 0] = True
    new = derive(recording(replace(old, missing=mask))).tracings[0]
    by_name = dict(zip(new.names, new.missing, strict=True))
    for name in ("III", "aVR", "aVL", "aVF"):
        assert np.flatnonzero(by_name[name]).tolist() == list(range(10, 30))
        assert not new.samples[new.names.index(name)][by_name[name]].any()
    assert np.flatnonzero(by_name["I"]).tolist() == list(range(10, 20))
    assert np.flatnonzero(by_name["V1"]).tolist() == [0]


def test_scales_and_offsets_of_their_own_stay_exact():
    channels = (Channel("I", step=Fraction("4.88"), offset=Fraction(10)), Channel("II", step=Fraction(5, 2)))
    made = derive(recording(Tracing(channels, np.array([[100, -3], [40, 7]], dtype=np.int16), Fraction(RATE))))
    for at in (0, 1):
        i, ii = exact(made, "I", at), exact(made, "II", at)
        assert exact(made, "III", at) == ii - i
        assert exact(made, "aVR", at) == -(i + ii) / 2
        assert exact(made, "aVL", at) == i - ii / 2


def test_sums_beyond_sixteen_bits_go_to_thirty_two():
    channels = (Channel("I"), Channel("II"))
    made = derive(recording(Tracing(channels, np.array([[-32768], [32767]], dtype=np.int16), Fraction(RATE))))
    assert made.tracings[0].samples.dtype == np.int32
    assert exact(made, "III") == 65535
    assert exact(made, "I") == -32768


def test_sums_beyond_thirty_two_bits_are_refused():
    channels = (Channel("I"), Channel("II"))
    codes = np.array([[-(2**31)], [2**31 - 1]], dtype=np.int32)
    with pytest.raises(RefusedError):
        derive(recording(Tracing(channels, codes, Fraction(RATE))))


@pytest.mark.parametrize(
    "change",
    [
        {"unit": None},
        {"unit": "{NU}"},
        {"skew": Fraction(1, 1000)},
        {"step": Fraction(0)},
        {"step": Fraction(-1)},
    ],
    ids=["not calibrated", "arbitrary unit", "another instant", "no step", "negative step"],
)
def test_leads_that_cannot_be_added_up_take_no_part(change):
    old = tracing(leads_of(potentials()), ("I", "II", "V1"))
    channels = (old.channels[0], replace(old.channels[1], **change), old.channels[2])
    made = recording(replace(old, channels=channels))
    assert derive(made) is made


def test_a_lead_that_stands_there_twice_takes_no_part():
    old = tracing(leads_of(potentials()), ("I", "II"))
    channels = (*old.channels, Channel("I", step=old.channels[0].step))
    made = recording(replace(old, channels=channels, samples=np.vstack([old.samples, old.samples[:1] + 5])))
    assert derive(made) is made


def test_a_lead_without_samples_takes_no_part_and_is_not_made_twice():
    old = tracing(leads_of(potentials()), ("I", "II", "III"))
    mask = np.zeros(old.samples.shape, dtype=bool)
    mask[2] = True
    new = derive(recording(replace(old, missing=mask))).tracings[0]
    assert new.names == LIMB
    assert new.missing is not None
    assert new.missing[2].all()
    assert not new.missing[3].any()


def test_leads_of_another_tracing_take_no_part():
    values = leads_of(potentials())
    made = recording(tracing(values, ("I", "V1")), tracing(values, ("II",), start=Fraction(10)))
    assert derive(made) is made


def test_representative_beats_are_left_alone():
    """A median of beats does not obey the sums that its beats obey."""
    beat = tracing(leads_of(potentials(seconds=1)), ("I", "II"), kind="representative beat", of=0)
    made = recording(tracing(leads_of(potentials()), ("I", "II")), beat)
    new = derive(made)
    assert new.tracings[0].names == LIMB
    assert new.tracings[1] is beat


def test_filters_and_instants_of_the_sources_are_those_of_the_derived_lead():
    wide, narrow = Filters(lowpass=Fraction(150)), Filters(lowpass=Fraction(40))
    old = tracing(leads_of(potentials()), ("I", "II"))
    same = tuple(replace(c, filters=wide, skew=Fraction(1, 1000)) for c in old.channels)
    other = (same[0], replace(same[1], filters=narrow))
    made = derive(recording(replace(old, channels=same))).tracings[0].channels[2]
    assert (made.filters, made.skew) == (wide, Fraction(1, 1000))
    assert derive(recording(replace(old, channels=other))).tracings[0].channels[2].filters is None


def test_everything_else_of_the_recording_is_kept():
    source = recording(tracing(leads_of(potentials()), ("I", "II")), marks=(Mark("r-peak", 0, Fraction(1), lead="II"),))
    made = derive(source)
    assert (made.patient, made.acquisition, made.marks) == (source.patient, source.acquisition, source.marks)


def test_derivable_leads_are_told_before():
    source = tracing(leads_of(potentials()), ("I", "II", "V1"))
    assert derivable_leads(source) == ("III", "aVR", "aVL", "aVF")
    assert derivable_leads(source, ["V2", "aVF"]) == ("aVF",)


def test_a_name_that_is_no_lead_is_refused():
    with pytest.raises(UsageError):
        derive(twelve(), ["VII"])
