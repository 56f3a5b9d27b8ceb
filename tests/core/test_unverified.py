"""Without reading back: what the writer noted is listed and judged, and no more is promised."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import interchange
from interchange import Recording, RefusedError
from interchange.formats.contract import Note, Place
from interchange.model import Identifier, Patient
from interchange.receipt.noted import noted_comparison


def recording(rate: Fraction = Fraction(500)) -> Recording:
    samples = np.arange(4000, dtype=np.int16).reshape(2, 2000)
    return Recording.from_arrays(samples, ["I", "II"], rate, 5)


@pytest.mark.parametrize("verify", [True, False])
def test_a_noted_loss_is_refused_whether_the_target_is_read_back_or_not(tmp_path: Path, verify: bool) -> None:
    with pytest.raises(RefusedError) as caught:
        interchange.write(recording(Fraction(360)), tmp_path / "a.scp", verify=verify)
    assert {loss.protected for loss in caught.value.losses} == {"timing"}
    assert list(tmp_path.iterdir()) == []


def test_an_accepted_loss_is_listed(tmp_path: Path) -> None:
    receipt = interchange.write(recording(Fraction(360)), tmp_path / "a.scp", verify=False, accept=["timing"])
    assert [(e.path, e.before, e.after, e.protected) for e in receipt.changed] == [
        ("tracings[0].rate", "360", "not read back", "timing")
    ]
    assert not receipt.verified
    assert not receipt.samples_identical


def test_what_the_format_has_no_place_for_is_listed(tmp_path: Path) -> None:
    odd = recording().with_(extras=(("wfdb.adc-zero", "7"),))
    receipt = interchange.write(odd, tmp_path / "a.xml", verify=False)
    verified = interchange.write(odd, tmp_path / "b.xml")
    assert receipt.left == verified.left != ()


PROTECTED = {
    ("left", "tracings[0]"): "signal",
    ("left", "tracings[0].channels[1]"): "signal",
    ("changed", "tracings[0].channels"): "leads",
    ("changed", "tracings[0].channels[1].name"): "leads",
    ("changed", "tracings[0].channels[1].unit"): "signal",
    ("changed", "tracings[0].channels[1].skew"): "timing",
    ("changed", "tracings[0].channels[1].step"): None,
    ("changed", "tracings[0].samples"): "signal",
    ("changed", "tracings[0].samples[1]"): "signal",
    ("changed", "tracings.rate"): "timing",
    ("changed", "patient.ids[0]"): "identity",
    ("changed", "patient.ids[1].value"): None,
    ("left", "patient.sex"): "identity",
    ("left", "patient.age"): None,
}


@pytest.mark.parametrize(("kind", "path"), PROTECTED)
def test_the_class_of_a_note(kind: str, path: str) -> None:
    ids = (Identifier("7"), Identifier("8"))
    patient = Patient(ids=ids, sex="female", age=interchange.model.Quantity(Fraction(40), "a"))
    note = Note(kind, path, "why")  # type: ignore[arg-type]
    found = noted_comparison(recording().with_(patient=patient), [note, note], {}).differences
    assert [(d.kind, d.path, d.protected) for d in found] == [(kind, path, PROTECTED[kind, path])]


def test_a_note_on_what_the_recording_does_not_have_is_an_addition() -> None:
    found = noted_comparison(recording(), [Note("changed", "patient.ids[0]", "why")], {}).differences
    assert [(d.kind, d.protected) for d in found] == [("added", None)]


def test_a_protected_value_without_a_place_is_protected() -> None:
    who = recording().with_(patient=Patient(ids=(Identifier("7"),)))
    found = noted_comparison(who, [], {"patient": Place("nowhere", "left")}).differences
    assert [(d.path, d.protected) for d in found] == [("patient", "identity")]
