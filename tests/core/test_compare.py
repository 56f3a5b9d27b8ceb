"""What the comparison calls a difference, and in which protected class it puts it (the project's own policy)."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import interchange
from interchange.compare import Comparison, compare_recordings
from interchange.errors import TargetError
from interchange.findings import Finding
from interchange.formats import load
from interchange.model import (
    Acquisition,
    Channel,
    Filters,
    Identifier,
    Mark,
    Measurement,
    Moment,
    Patient,
    PersonName,
    Quantity,
    Recording,
    Statement,
    Tracing,
)
from interchange.sources import Source


def tracing(step: Fraction = Fraction(5), **fields: object) -> Tracing:
    samples = np.array([[1, -2, 3, 4], [10, 20, -30, 40]], dtype=np.int16)
    channels = (Channel("I", step=step), Channel("II", step=step))
    return Tracing(channels, fields.pop("samples", samples), Fraction(500), **fields)  # type: ignore[arg-type]


BASE = Recording(
    tracings=(tracing(),),
    patient=Patient(
        ids=(Identifier("A1", "2.999.1"), Identifier("B2")),
        name=PersonName(family="Quill", given="Tamsin"),
        birth_date=Moment(1961, 2, 3),
        age=Quantity(70, "a"),
        sex="female",
    ),
    acquisition=Acquisition(time=Moment.parse("2031-04-05T14:03:07+02:00"), filters=Filters(highpass=Fraction(1, 20))),
    measurements=(Measurement("pr-interval", 162, "ms"), Measurement("j-amplitude", -35, "uV", "I")),
    marks=(Mark("qrs-onset", 0, Fraction(1, 500)),),
    statements=(Statement("Sinus rhythm", confirmed=False), Statement("Left axis deviation")),
)


def differences(after: Recording, before: Recording = BASE) -> dict[str, tuple[str, str | None]]:
    found = compare_recordings(before, after)
    return {d.path: (d.kind, d.protected) for d in found.differences}


def patient(**fields: object) -> Recording:
    return replace(BASE, patient=replace(BASE.patient, **fields))


def acquisition(**fields: object) -> Recording:
    return replace(BASE, acquisition=replace(BASE.acquisition, **fields))


def test_a_recording_equals_itself() -> None:
    assert compare_recordings(BASE, replace(BASE)) == Comparison(())


def test_the_files_own_fields_play_no_part() -> None:
    assert compare_recordings(BASE, replace(BASE, format="scp")).same


IDENTITY = [
    (patient(ids=(Identifier("A2", "2.999.1"), Identifier("B2"))), "patient.ids[0].value"),
    (patient(ids=()), "patient.ids[0]"),
    (patient(name=PersonName(family="Quil", given="Tamsin")), "patient.name.family"),
    (patient(name=PersonName(family="Quill")), "patient.name.given"),
    (patient(birth_date=None), "patient.birth_date"),
    (patient(sex="male"), "patient.sex"),
]


@pytest.mark.parametrize(("after", "path"), IDENTITY, ids=[path for _, path in IDENTITY])
def test_identity_is_protected(after: Recording, path: str) -> None:
    assert differences(after)[path][1] == "identity"


FREE = [
    (patient(age=None), "patient.age", "left"),
    (patient(ids=(Identifier("A1", "other"), Identifier("B2"))), "patient.ids[0].issuer", "changed"),
    (patient(ids=(Identifier("A1", "2.999.1"),)), "patient.ids[1]", "left"),
    (patient(absent=(("weight", "unknown"),)), "patient.absent[weight]", "added"),
    (acquisition(filters=None), "acquisition.filters.highpass", "left"),
    (acquisition(remarks=("new",)), "acquisition.remarks[0]", "added"),
    (replace(BASE, measurements=BASE.measurements[:1]), "measurements[1]", "left"),
    (replace(BASE, marks=()), "marks[0]", "left"),
    (replace(BASE, statements=BASE.statements[1:]), "statements[0]", "left"),
    (
        replace(BASE, statements=(replace(BASE.statements[0], confirmed=None), BASE.statements[1])),
        "statements[0].confirmed",
        "left",
    ),
    (
        replace(BASE, statements=(replace(BASE.statements[0], confirmed=True), BASE.statements[1])),
        "statements[0].confirmed",
        "changed",
    ),
    (replace(BASE, statements=BASE.statements[::-1]), "statements", "changed"),
    (replace(BASE, extras=(("wfdb.x", "1"),)), "extras[wfdb.x]", "added"),
]


@pytest.mark.parametrize(("after", "path", "kind"), FREE, ids=[f"{path} {kind}" for _, path, kind in FREE])
def test_everything_else_is_listed_once_and_not_protected(after: Recording, path: str, kind: str) -> None:
    assert differences(after) == {path: (kind, None)}


def test_a_lost_zone_is_listed_and_not_protected() -> None:
    after = acquisition(time=Moment.parse("2031-04-05T14:03:07"))
    assert differences(after) == {"acquisition.time": ("changed", None)}


def test_the_same_instant_in_another_zone_is_not_protected() -> None:
    assert differences(acquisition(time=Moment.parse("2031-04-05T12:03:07+00:00"))) == {
        "acquisition.time": ("changed", None)
    }


@pytest.mark.parametrize("text", ["2031-04-05T14:03:08+02:00", "2031-04-05", "2031-04-05T14:03:07+01:00"])
def test_another_instant_is_protected(text: str) -> None:
    assert differences(acquisition(time=Moment.parse(text))) == {"acquisition.time": ("changed", "timing")}


def test_another_step_with_the_same_voltages_changes_the_step_alone() -> None:
    finer = tracing(Fraction(5, 2), samples=np.array([[2, -4, 6, 8], [20, 40, -60, 80]], dtype=np.int16))
    found = compare_recordings(BASE, replace(BASE, tracings=(finer,)))
    assert [(d.path, d.protected) for d in found.differences] == [
        ("tracings[0].channels[0].step", None),
        ("tracings[0].channels[1].step", None),
    ]
    assert found.sample_error == 0
    assert finer.digest == BASE.tracings[0].digest


def test_one_sample_off_by_one_step_is_protected_and_measured() -> None:
    samples = BASE.tracings[0].samples.copy()
    samples[1, 2] += 1
    found = compare_recordings(BASE, replace(BASE, tracings=(tracing(samples=samples),)))
    assert [(d.path, d.kind, d.protected) for d in found.differences] == [
        ("tracings[0].samples[1]", "changed", "signal")
    ]
    assert found.sample_error == 5


def test_a_thousandth_of_a_step_is_the_limit() -> None:
    step = Fraction(5)

    def moved(by: Fraction) -> Recording:
        channels = tuple(replace(c, offset=by) for c in BASE.tracings[0].channels)
        return replace(BASE, tracings=(replace(BASE.tracings[0], channels=channels),))

    at = [d.protected for d in compare_recordings(BASE, moved(step / 1000)).differences if ".samples" in d.path]
    beyond = [d.protected for d in compare_recordings(BASE, moved(step / 999)).differences if ".samples" in d.path]
    assert at == [None, None]
    assert beyond == ["signal", "signal"]


def test_missing_samples_that_became_numbers_are_protected() -> None:
    gap = np.zeros((2, 4), dtype=bool)
    gap[0, 1] = True
    before = replace(BASE, tracings=(tracing(missing=gap),))
    assert differences(BASE, before)["tracings[0].missing[0]"] == ("changed", "signal")


def test_a_lost_channel_and_a_lost_tracing_are_protected() -> None:
    one = replace(BASE, tracings=(BASE.tracings[0].take([1]),))
    assert differences(one) == {"tracings[0].channels[0]": ("left", "signal")}
    two = replace(BASE, tracings=(*BASE.tracings, tracing(start=Fraction(11))))
    assert differences(BASE, two) == {"tracings[1]": ("left", "signal")}


def test_names_and_order_of_leads_are_protected() -> None:
    swapped = replace(BASE, tracings=(BASE.tracings[0].take([1, 0]),))
    assert differences(swapped) == {"tracings[0].channels": ("changed", "leads")}
    named = tuple(replace(c, name=n) for c, n in zip(BASE.tracings[0].channels, ("I", "V4R"), strict=True))
    renamed = replace(BASE, tracings=(replace(BASE.tracings[0], channels=named),))
    assert differences(renamed) == {"tracings[0].channels[1].name": ("changed", "leads")}


def test_exchanged_labels_are_not_called_the_same_signal() -> None:
    names = [replace(c, name=n) for c, n in zip(BASE.tracings[0].channels, ("II", "I"), strict=True)]
    exchanged = replace(BASE, tracings=(replace(BASE.tracings[0], channels=tuple(names)),))
    assert {"tracings[0].samples[0]", "tracings[0].samples[1]"} <= set(differences(exchanged))


def test_rate_and_start_are_protected_beyond_a_thousandth_of_the_interval() -> None:
    def moved(**fields: Fraction) -> dict[str, tuple[str, str | None]]:
        return differences(replace(BASE, tracings=(replace(BASE.tracings[0], **fields),)))

    assert moved(start=Fraction(1, 500_000)) == {"tracings[0].start": ("changed", None)}
    assert moved(start=Fraction(1, 499_999)) == {"tracings[0].start": ("changed", "timing")}
    assert moved(rate=Fraction(501)) == {"tracings[0].rate": ("changed", "timing")}


def test_marks_follow_their_tracing_when_tracings_change_places() -> None:
    strip = tracing(start=Fraction(11)).take([1])
    before = replace(BASE, tracings=(BASE.tracings[0], strip), marks=(Mark("note", 1, Fraction(0), text="x"),))
    after = replace(before, tracings=(strip, BASE.tracings[0]), marks=(Mark("note", 0, Fraction(0), text="x"),))
    assert differences(after, before) == {"tracings": ("changed", "leads")}


def test_ten_thousand_marks_are_matched_in_no_time() -> None:
    marks = tuple(Mark("normal-beat", 0, Fraction(i, 500)) for i in range(10_000))
    before = replace(BASE, marks=marks)
    assert differences(replace(BASE, marks=(*marks[:5000], *marks[5001:])), before) == {"marks[5000]": ("left", None)}


def test_the_public_function_is_not_hidden_by_the_package_of_its_name() -> None:
    import interchange
    import interchange.compare.walk

    recording = interchange.Recording.from_arrays(np.zeros((1, 4), np.int16), ["II"], 500)
    assert interchange.compare.compare_recordings is compare_recordings
    assert interchange.compare(recording, recording).same


def test_an_output_with_a_signal_of_its_own_is_never_published(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    module = load("scp")

    def read_one_more(source: Source) -> tuple[Recording, tuple[Finding, ...]]:
        found = module.read(source)
        return found.with_(tracings=(*found.tracings, tracing(start=Fraction(99)))), ()

    monkeypatch.setattr(module, "read_and_check", read_one_more)
    with pytest.raises(TargetError, match="a signal that the recording does not have"):
        interchange.write(BASE, tmp_path / "x.scp")
    assert list(tmp_path.iterdir()) == []


def test_a_time_that_only_one_side_has_differs_whichever_side_it_is() -> None:
    without = acquisition(time=None)
    assert differences(without) == {"acquisition.time": ("left", "timing")}
    assert differences(BASE, without) == {"acquisition.time": ("added", "timing")}
    assert not compare_recordings(without, BASE).same_samples


def in_another_unit(value: int) -> Recording:
    channels = (Channel("resp", "Ohm", Fraction(1)),)
    return BASE.with_(tracings=(Tracing(channels, np.array([[1000, value]], dtype=np.int32), Fraction(100)),))


def test_samples_in_another_unit_than_microvolts_are_samples() -> None:
    coarse = in_another_unit(2000)
    fine = Tracing((Channel("resp", "Ohm", Fraction(1, 10000)),), coarse.tracings[0].samples * 10000, Fraction(100))
    same = compare_recordings(coarse, coarse.with_(tracings=(fine,)))
    assert same.samples_identical
    moved = compare_recordings(coarse, coarse.with_(tracings=(replace(fine, samples=fine.samples + np.int32(1)),)))
    assert moved.same_samples
    assert not moved.samples_identical
    assert not compare_recordings(coarse, in_another_unit(2001)).same_samples
