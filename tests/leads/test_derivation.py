"""What follows from what, against linear algebra on the electrodes."""

import itertools
import random

import pytest

from interchange.leads import LIMB_LEADS, derivation, derivations
from interchange.vocabulary import lead, leads

from .electrodes import TEXTBOOK, rank, total, vector, vectors

FAMILY = (*LIMB_LEADS, "-aVR", "VR", "VL", "VF")
VECTORS = vectors()


def test_electrodes_of_the_table_are_those_of_the_textbook():
    for name, form in TEXTBOOK.items():
        assert vector(lead(name)) == form


def test_every_lead_with_electrodes_is_a_difference_of_potentials():
    for row in leads():
        if row.electrodes:
            assert sum(vector(row).values()) == 0


def test_every_derivation_is_true():
    """From each single source set of the table, from all limb pairs, and from random heaps of leads."""
    chance = random.Random(7)
    names = sorted(VECTORS)
    heaps = [*itertools.combinations(FAMILY, 2), *itertools.combinations(FAMILY, 3)]
    heaps += [chance.sample(names, 30) for _ in range(20)]
    heaps.append(tuple(names[:-1]))
    count = 0
    for heap in heaps:
        for name, how in derivations(heap).items():
            assert name not in heap
            assert set(how.sources) <= set(heap)
            assert how.lead == name
            assert all(factor for _, factor in how.combination.terms)
            assert total(how.combination.terms, VECTORS) == VECTORS[name]
            count += 1
    assert count > 1000


@pytest.mark.parametrize("pair", [*itertools.combinations(LIMB_LEADS, 2)], ids="-".join)
def test_each_of_the_fifteen_pairs_of_limb_leads_gives_all_six(pair):
    found = derivations(pair)
    assert set(FAMILY) - set(pair) == set(found) & set(FAMILY)
    assert all(total(found[name].combination.terms, TEXTBOOK) == TEXTBOOK[name] for name in found)


def test_nothing_that_follows_is_overlooked_and_nothing_else_is_claimed():
    """In the family of limb leads with chest leads beside: derived is exactly what lies in the span."""
    chance = random.Random(3)
    everything = [*FAMILY, "V1", "V2", "V4R", "V9"]
    heaps = [tuple(chance.sample(everything, size)) for size in range(1, 8) for _ in range(25)]
    for heap in [*((name,) for name in FAMILY), *itertools.combinations(FAMILY, 2), *heaps]:
        size = rank(VECTORS[name] for name in heap)
        for name in everything:
            if name not in heap:
                follows = rank([*(VECTORS[other] for other in heap), VECTORS[name]]) == size
                assert (derivation(name, heap) is not None) == follows, (heap, name)


def test_a_chest_lead_never_follows_from_the_other_eleven():
    twelve = [*LIMB_LEADS, "V1", "V2", "V3", "V4", "V5", "V6"]
    for name in twelve[6:]:
        assert derivation(name, [other for other in twelve if other != name]) is None
    for name in ("V7", "V8", "V9", "V3R", "V4R", "X", "Y", "Z", "LA", "MLII"):
        assert derivation(name, twelve) is None


def test_limb_leads_as_recorded_come_first():
    assert derivation("I", ["II", "III", "aVR", "aVL", "aVF"]).formula == "II - III"
    assert derivation("II", ["I", "III", "aVR"]).formula == "I + III"
    assert derivation("aVR", ["I", "II", "III"]).formula == "-(I + II)/2"
    assert derivation("III", ["I", "II"]).formula == "II - I"
    assert derivation("III", ["I", "aVF"]).formula == "-1/2*I + aVF"


def test_the_order_of_the_leads_plays_no_part():
    for heap in itertools.combinations(FAMILY, 3):
        assert derivations(heap) == derivations(heap[::-1])


def test_a_caller_cannot_spoil_what_is_remembered():
    derivations(["I", "II"]).clear()
    assert "III" in derivations(["I", "II"])


def test_bipolar_chest_leads_say_on_what_they_depend():
    found = derivations(["I", "II", "V1", "V5", "V5R"])
    for name in ("MCL1", "CL1", "CR5", "CF5"):
        assert "same recording" in found[name].condition
    assert found["CC5"].condition == ""
    assert found["aVR"].condition == ""


def test_unknown_and_lone_leads_give_nothing():
    assert derivations([]) == {}
    assert derivations(["Resp", "V1"]) == {}
    assert derivations(["Resp", "I"]) == {}
