"""Changes on request: exactly what was asked for, nothing else."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import interchange
from interchange.compare import compare_recordings
from interchange.errors import UsageError
from interchange.model import Acquisition, Channel, Mark, Measurement, Moment, Patient, PersonName, Recording, Tracing
from interchange.requests import Requests

SAMPLES = np.arange(12, dtype=np.int16).reshape(3, 4)
RECORDING = Recording(
    tracings=(
        Tracing((Channel("I"), Channel("V4"), Channel("RESP", unit="mV/V")), SAMPLES, Fraction(500)),
        Tracing((Channel("II"),), SAMPLES[:1], Fraction(250), start=Fraction(12)),
    ),
    patient=Patient(name=PersonName(family="Quill")),
    acquisition=Acquisition(time=Moment.parse("2031-04-05T14:03:07")),
    measurements=(Measurement("j-amplitude", 12, "uV", "V4"), Measurement("pr-interval", 160, "ms")),
    marks=(Mark("note", 0, Fraction(0), lead="V4", text="a"), Mark("note", 1, Fraction(0), text="b")),
)


def paths(requests: Requests) -> list[str]:
    return [d.path for d in compare_recordings(RECORDING, requests.apply(RECORDING)).differences]


def test_set_takes_short_names_and_model_paths() -> None:
    done = Requests(
        fields=(("accession-number", "A;7"), ("patient.height", "172 cm"), ("patient-id", "4711"), ("sex", "male"))
    ).apply(RECORDING)
    assert done.acquisition.study is not None
    assert done.acquisition.study.accession is not None
    assert done.acquisition.study.accession.value == "A;7"
    assert str(done.patient.height) == "172 cm"
    assert done.patient.ids[0].value == "4711"
    assert done.patient.sex == "male"
    assert done.patient.name == RECORDING.patient.name


@pytest.mark.parametrize(
    "field",
    [("sex", "Male?"), ("tracings[0].rate", "1"), ("nonsense", "1"), ("birth-date", "5.4.31"), ("patient", "x")],
)
def test_set_refuses_what_is_not_there(field: tuple[str, str]) -> None:
    with pytest.raises(UsageError):
        Requests(fields=(field,)).apply(RECORDING)


def test_zone_and_time() -> None:
    done = Requests(time="2031-04-05T15:00:00", zone="-03:30").apply(RECORDING)
    assert str(done.acquisition.time) == "2031-04-05T15:00:00-03:30"
    with pytest.raises(UsageError, match="zone"):
        Requests(zone="2 hours").apply(RECORDING)


def test_a_zone_that_is_there_is_not_replaced_under_the_same_clock_time() -> None:
    zoned = RECORDING.with_(acquisition=Acquisition(time=Moment.parse("2031-04-05T14:03:07+01:00")))
    assert Requests(zone="+01:00").apply(zoned) == zoned
    with pytest.raises(UsageError, match="another zone"):
        Requests(zone="+05:45").apply(zoned)
    done = Requests(time="2031-04-05T14:03:07+05:45").apply(zoned)
    assert str(done.acquisition.time) == "2031-04-05T14:03:07+05:45"


def test_relabel_moves_name_measurement_and_mark() -> None:
    done = Requests(relabel=(("V4", "v4r"),)).apply(RECORDING)
    assert done.tracings[0].names == ("I", "V4R", "RESP")
    assert done.measurements[0].lead == "V4R"
    assert done.marks[0].lead == "V4R"
    assert np.array_equal(done.tracings[0].samples, SAMPLES)
    with pytest.raises(UsageError, match="has a lead I already"):
        Requests(relabel=(("V4", "I"),)).apply(RECORDING)
    with pytest.raises(UsageError, match="has no lead V6"):
        Requests(relabel=(("V6", "V6R"),)).apply(RECORDING)


def test_relabel_takes_the_old_label_away_and_knows_other_spellings() -> None:
    labelled = RECORDING.with_(
        tracings=(Tracing((Channel("V4", label="Lead V4 (C4)"),), SAMPLES[:1], Fraction(500)),), marks=()
    )
    done = Requests(relabel=(("v4", "V4R"),)).apply(labelled)
    assert (done.tracings[0].channels[0].name, done.tracings[0].channels[0].label) == ("V4R", None)


def test_leads_are_named_once() -> None:
    with pytest.raises(UsageError, match="twice"):
        Requests(leads=("V4", "I", "v4")).apply(RECORDING)


def test_leads_keeps_order_and_drops_what_belongs_to_others() -> None:
    done = Requests(leads=("v4", "I")).apply(RECORDING)
    assert [t.names for t in done.tracings] == [("V4", "I")]
    assert done.marks == (RECORDING.marks[0],)
    assert done.measurements == RECORDING.measurements
    assert np.array_equal(done.tracings[0].samples, SAMPLES[[1, 0]])


def test_one_tracing() -> None:
    done = Requests(tracing=2).apply(RECORDING)
    assert [t.names for t in done.tracings] == [("II",)]
    assert [m.text for m in done.marks] == ["b"]
    assert done.marks[0].tracing == 0
    assert [m.concept for m in done.measurements] == ["pr-interval"]
    with pytest.raises(UsageError, match="2 tracings"):
        Requests(tracing=3).apply(RECORDING)


def test_only_ecg_drops_other_signals() -> None:
    done = Requests(only_ecg=True).apply(RECORDING)
    assert [t.names for t in done.tracings] == [("I", "V4"), ("II",)]
    assert paths(Requests(only_ecg=True)) == ["tracings[0].channels[2]"]


def derived(formula: str, *names: str) -> Recording:
    channels = (*(Channel(name) for name in names), Channel("III", origin="derived", derived_from=formula))
    samples = np.zeros((len(channels), 3), dtype=np.int16)
    return Recording(tracings=(Tracing(channels, samples, Fraction(500)),))


def formula_after(formula: str, *renames: tuple[str, str], names: tuple[str, ...] = ("I", "II", "V4")) -> str | None:
    return Requests(relabel=renames).apply(derived(formula, *names)).tracings[0].channels[-1].derived_from


def test_relabel_changes_formulas_with_their_leads() -> None:
    assert formula_after("II - I", ("I", "aVL")) == "II - aVL"
    assert formula_after("-1/2*(I + II)", ("I", "aVL"), ("II", "V1")) == "-1/2*(aVL + V1)"
    assert formula_after("II - I", ("V4", "V4R")) == "II - I"
    assert formula_after("II - I", ("I", "II"), ("II", "I")) == "I - II"
    assert formula_after("II - I", ("I", "-aVR")) == "II - (-aVR)"
    assert formula_after("II - V4R", ("V4", "V5")) == "II - V4R"


@pytest.mark.parametrize(
    ("formula", "renames", "names"),
    [
        ("made from I and others", (("I", "aVL"),), ("I", "II")),
        ("II - I", (("I", "my lead"),), ("I", "II")),
        ("II - V5", (("V4", "V5"),), ("II", "V4")),
        ("II - aVR", (("aVR", "aVL"),), ("II", "aVR", "-aVR")),
        ("II - (-aVR)", (("-aVR", "aVL"),), ("II", "-aVR")),
    ],
)
def test_a_formula_that_would_be_false_goes(formula: str, renames: tuple[tuple[str, str], ...], names) -> None:
    before = derived(formula, *names)
    assert formula_after(formula, *renames, names=names) is None
    assert before.tracings[0].channels[-1].derived_from == formula


def test_a_formula_that_went_is_told(tmp_path: Path) -> None:
    interchange.write(derived("made from I and others", "I", "II"), tmp_path / "a.dcm")
    asked = Requests(relabel=(("I", "V1"),))
    receipt = interchange.convert(tmp_path / "a.dcm", tmp_path / "b.dcm", requests=asked)
    assert ("tracings[0].channels[2].derived_from", True) in [(e.path, e.requested) for e in receipt.left]


def test_leads_change_places() -> None:
    recording = RECORDING.with_(tracings=RECORDING.tracings[:1], marks=(), measurements=())
    done = Requests(relabel=(("I", "V4"), ("V4", "I"))).apply(recording)
    assert done.tracings[0].names == ("V4", "I", "RESP")
    with pytest.raises(UsageError, match="two leads would be V6"):
        Requests(relabel=(("I", "V6"), ("V4", "V6"))).apply(RECORDING)
    with pytest.raises(UsageError, match="names the lead V4 twice"):
        Requests(relabel=(("V4", "V6"), ("v4", "V5"))).apply(RECORDING)
