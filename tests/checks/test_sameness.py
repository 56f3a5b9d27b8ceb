"""Leads that are alike: a copy is told, what follows from a flat limb lead is not.

Source of the relations: the definitions of the leads by electrode potentials (I = LA - RA, II = LL - RA, III = LL - LA,
aVR = RA - (LA + LL) / 2 and so on).
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

import interchange
from interchange.model import Channel, Recording, Tracing

LENGTH = 1000


def from_electrodes(**potentials: np.ndarray) -> dict[str, np.ndarray]:
    ra, la, ll = (potentials.get(name, np.zeros(LENGTH, dtype=np.int64)) for name in ("ra", "la", "ll"))
    return {
        "I": la - ra, "II": ll - ra, "III": ll - la, "aVR": ra - (la + ll) // 2, "aVL": la - (ra + ll) // 2,
        "aVF": ll - (ra + la) // 2,
    }  # fmt: skip


def waveform(seed: int) -> np.ndarray:
    return 12 * np.random.default_rng(seed).integers(-60, 60, LENGTH).astype(np.int64)


def alike(leads: dict[str, np.ndarray]) -> list[str]:
    leads = {**leads, **{f"V{n}": waveform(100 + n) for n in range(1, 7)}}
    channels = tuple(Channel(name, step=Fraction(1)) for name in leads)
    recording = Recording(tracings=(Tracing(channels, np.array(list(leads.values()), dtype=np.int32), Fraction(500)),))
    return [f.reason for f in interchange.check(recording).findings if f.rule == "leads.identical"]


@pytest.mark.parametrize("flat", ["I", "II", "III", "aVR", "aVL", "aVF"])
def test_leads_that_a_flat_lead_makes_alike_are_no_copies(flat: str) -> None:
    one, two = waveform(1), waveform(2)
    potentials = {
        "I": {"ra": one, "la": one, "ll": two},
        "II": {"ra": one, "ll": one, "la": two},
        "III": {"la": one, "ll": one, "ra": two},
        "aVR": {"la": one, "ll": -one},
        "aVL": {"ra": one, "ll": -one},
        "aVF": {"ra": one, "la": -one},
    }[flat]
    leads = from_electrodes(**potentials)
    assert np.ptp(leads[flat]) == 0
    assert sum(np.array_equal(abs(a), abs(b)) for a in leads.values() for b in leads.values()) > 6
    assert alike(leads) == []


def test_a_copy_among_limb_leads_is_told_when_no_lead_is_flat() -> None:
    leads = from_electrodes(ra=waveform(1), la=waveform(2), ll=waveform(3))
    assert alike(leads) == []
    copied = {**leads, "III": leads["I"].copy()}
    assert [reason.partition(" (")[2] for reason in alike(copied)] == ["I and III)"]
    turned = {**leads, "III": -leads["I"]}
    assert alike(turned) == [
        "two different leads hold the same waveform, or its negative (I and III, with opposite signs)"
    ]


def test_a_flat_lead_explains_its_own_pairs_alone() -> None:
    leads = from_electrodes(ra=waveform(1), la=waveform(2), ll=waveform(3))
    copied = {**leads, "II": leads["I"].copy(), "aVF": np.zeros(LENGTH, dtype=np.int64)}
    assert [reason.partition(" (")[2] for reason in alike(copied)] == ["I and II)"]
