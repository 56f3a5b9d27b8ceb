"""What gets through de-identification, and what never does.

Sources: DICOM PS3.15 Annex E, Table E.1-1 (actions); 45 CFR 164.514(b)(2)(i)(C) (ages above 89, dates); Regulation
(EU) 2016/679, recital 26 (pseudonyms).
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from interchange.deidentify import Key, Policy, deidentify, find_residue
from interchange.errors import UsageError
from interchange.model import (
    Acquisition,
    Channel,
    Code,
    Device,
    Identifier,
    Mark,
    Measurement,
    Moment,
    Patient,
    Quantity,
    Recording,
    Statement,
    Study,
    Tracing,
)
from tests.filled import MARK, filled_recording

KEEPING = Policy(keep_patient=True, dates="shift")
SAMPLES = np.array([[1, -2, 3], [4, 5, -6]], dtype=np.int16)


def tracing(*names: str) -> Tracing:
    return Tracing(tuple(Channel(n, step=Fraction(5)) for n in names), SAMPLES[: len(names)], Fraction(500))


def recording(**patient: object) -> Recording:
    return Recording(
        tracings=(tracing("I", "II"),),
        patient=Patient(ids=(Identifier("4711", "2.999.1"),), **patient),  # type: ignore[arg-type]
        acquisition=Acquisition(time=Moment.parse("2031-04-05T14:03:07+02:00")),
    )


@pytest.mark.parametrize("policy", [Policy(), KEEPING], ids=["basic", "keeping"])
def test_no_marked_text_of_any_field_gets_through(policy: Policy) -> None:
    source = filled_recording()
    assert repr(source).count(MARK) > 100
    result, removals = deidentify(source, Key(b"k" * 32), policy)
    kept = {f"{MARK}{n}" for d in result.acquisition.devices for n in re.findall(MARK + r"(\d+)", repr(d))}
    allowed = {
        text for device in source.acquisition.devices for text in (device.manufacturer, device.model, *device.software)
    }
    assert kept <= allowed
    bare = result.with_(acquisition=replace(result.acquisition, devices=()))
    assert MARK not in repr(bare)
    assert "1987-06-05" not in repr(bare)
    assert MARK not in repr(removals)


def test_what_was_removed_replaced_and_kept_is_counted() -> None:
    """Id replaced, its issuer and the rest removed; sex kept where that was chosen; a shifted date was replaced."""
    source = recording(sex="female", birth_date=Moment(1961, 11, 2))
    for policy, patient, acquisition in (
        (Policy(), (3, 1, 0), (1, 0, 0)),
        (KEEPING, (2, 1, 1), (0, 1, 0)),
    ):
        _, removals = deidentify(source, Key(b"k" * 32), policy)
        rows = {row.group: (row.removed, row.replaced, row.kept) for row in removals}
        assert rows["patient"] == patient
        assert rows["acquisition"] == acquisition


def test_signal_measurements_and_intervals_stay() -> None:
    source = recording().with_(
        measurements=(Measurement("pr-interval", 162, "ms"), Measurement("j-amplitude", Fraction(-35, 2), "uV", "II")),
        marks=(Mark("qrs-onset", 0, Fraction(1, 3), lead="II", group="Dr Quill"),),
    )
    result, _ = deidentify(source)
    assert result.tracings[0].digest == source.tracings[0].digest
    assert result.measurements == source.measurements
    assert (result.marks[0].start, result.marks[0].lead, result.marks[0].group) == (Fraction(1, 3), "II", "set1")


def test_basic_profile_keeps_no_date_age_or_sex() -> None:
    source = recording(sex="female", age=Quantity(70, "a"), birth_date=Moment(1961, 2, 3), height=Quantity(172, "cm"))
    result, _ = deidentify(source)
    assert result.acquisition.time is None
    assert result.patient == Patient(ids=result.patient.ids)
    assert [code.value for code in result.deidentification] == ["113100", "113104", "113105"]


def test_kept_patient_characteristics() -> None:
    source = recording(sex="female", age=Quantity(70, "a"), birth_date=Moment(1961, 2, 3), height=Quantity(172, "cm"))
    kept = deidentify(source, policy=KEEPING)[0].patient
    assert (kept.sex, kept.age, kept.height, kept.birth_date) == (
        "female",
        Quantity(70, "a"),
        Quantity(172, "cm"),
        None,
    )


@pytest.mark.parametrize(
    ("age", "pooled"),
    [
        ((89, "a"), (89, "a")),
        ((90, "a"), (90, "a")),
        ((97, "a"), (90, "a")),
        ((1200, "mo"), (90, "a")),
        ((9, "d"), (9, "d")),
    ],
)
def test_p01_p05_ages_above_89_are_pooled_and_days_stay_days(age: tuple[int, str], pooled: tuple[int, str]) -> None:
    result, _ = deidentify(recording(age=Quantity(*age)), policy=KEEPING)
    assert result.patient.age == Quantity(*pooled)


def test_p05_an_infants_age_comes_from_its_dates_in_days() -> None:
    result, _ = deidentify(recording(birth_date=Moment(2031, 3, 27)), policy=KEEPING)
    assert result.patient.age == Quantity(9, "d")


def test_p03_two_tracings_of_one_patient_keep_their_interval_and_pseudonym() -> None:
    key = Key(b"a" * 32)
    first = recording()
    moment = first.acquisition.time
    assert moment is not None
    gap = 3 * 86400 + 2 * 3600 + 10 * 60 + 5
    second = first.with_(acquisition=Acquisition(time=moment.plus(gap)), patient=replace(first.patient, sex="male"))
    one, two = (deidentify(r, key, KEEPING)[0] for r in (first, second))
    assert one.acquisition.time is not None
    assert two.acquisition.time is not None
    assert two.acquisition.time.minus(one.acquisition.time) == gap
    assert (one.acquisition.time.hour, one.acquisition.time.minute, one.acquisition.time.zone) == (14, 3, 120)
    assert one.acquisition.time.date != moment.date
    assert one.patient.ids == two.patient.ids
    other = deidentify(first, Key(b"b" * 32), KEEPING)[0]
    assert other.patient.ids != one.patient.ids
    assert other.acquisition.time != one.acquisition.time


def known_as(*ids: Identifier) -> tuple[tuple[Identifier, ...], Moment | None]:
    """Pseudonym and shifted time of the recording of a person with these ids."""
    done, _ = deidentify(recording().with_(patient=Patient(ids=ids)), Key(b"a" * 32), KEEPING)
    return done.patient.ids, done.acquisition.time


def test_the_same_number_from_two_issuers_is_two_persons() -> None:
    one, two, three = (known_as(Identifier("4711", issuer)) for issuer in ("2.999.1", "2.999.2", None))
    assert len({one[0], two[0], three[0]}) == 3
    assert len({one[1], two[1], three[1]}) == 3
    assert one == known_as(Identifier(" 4711 ", "2.999.1 "))
    assert three == known_as(Identifier("4711", " "))


@pytest.mark.parametrize("blank", ["", "  ", "\0"])
def test_a_blank_id_is_no_id(blank: str) -> None:
    def pseudonym(*leads: str, ids: tuple[Identifier, ...]) -> tuple[Identifier, ...]:
        source = Recording(tracings=(tracing(*leads),), patient=Patient(ids=ids))
        return deidentify(source, Key(b"a" * 32))[0].patient.ids

    empty = (Identifier(blank, "2.999.1"),)
    assert pseudonym("I", ids=empty) != pseudonym("I", "II", ids=empty)
    assert pseudonym("I", ids=empty) == pseudonym("I", ids=())
    assert known_as(*empty, Identifier("4711")) == known_as(Identifier("4711"))


def test_without_an_id_each_tracing_has_a_pseudonym_of_its_own() -> None:
    key = Key(b"a" * 32)
    one = Recording(tracings=(tracing("I"),))
    two = Recording(tracings=(tracing("I", "II"),))
    assert deidentify(one, key)[0].patient.ids != deidentify(two, key)[0].patient.ids


def test_p09_uids_with_dates_are_replaced_and_stay_consistent() -> None:
    key = Key(b"a" * 32)
    study = Study(uid="2.999.20310405.140307.1", accession=Identifier("A1"), id="S1")
    source = recording().with_(acquisition=Acquisition(study=study))
    one, two = (deidentify(source, key)[0].acquisition.study for _ in range(2))
    assert one == two
    assert one is not None
    assert one.uid is not None
    assert re.fullmatch(r"2\.25\.[1-9]\d{30,38}", one.uid)
    assert "20310405" not in one.uid
    assert (one.accession, one.id) == (None, None)


def test_statements_from_a_public_list_stay_and_typed_ones_go() -> None:
    coded = Statement(
        "Sinus tachycardia, Mrs Quill", codes=(Code("11092001", "SCT", "Mrs Quill"),), author="ECG program 3"
    )
    public = Statement("atrial fibrillation", author_kind="machine", confirmed=False)
    typed = Statement("compare with tracing of Mrs Quill")
    person = Statement("atrial fibrillation", author_kind="person", author="Dr Quill")
    result, _ = deidentify(recording().with_(statements=(coded, public, typed, person)))
    assert [(s.text, s.confirmed) for s in result.statements] == [("11092001", None), ("atrial fibrillation", False)]
    assert "Quill" not in repr(result)


def test_labels_of_unknown_signals_become_numbers() -> None:
    source = recording().with_(
        tracings=(tracing("II", "Quill's strip"),), measurements=(Measurement("j-amplitude", 3, "uV", "Quill's strip"),)
    )
    result, _ = deidentify(source)
    assert result.tracings[0].names == ("II", "signal 1")
    assert result.measurements[0].lead == "signal 1"


def test_device_make_stays_and_numbers_go() -> None:
    device = Device(
        "acquiring", "Invented Devices", "M1", "SN-77", ("4.2",), "unit 12", (Identifier("2.999.5"), Identifier("77"))
    )
    source = recording().with_(acquisition=Acquisition(devices=(device,)))
    kept = deidentify(source, Key(b"a" * 32))[0].acquisition.devices[0]
    assert (kept.manufacturer, kept.model, kept.software) == ("Invented Devices", "M1", ("4.2",))
    assert (kept.serial, kept.name, kept.site) == (None, None, None)
    assert [i.value for i in kept.ids] == [Key(b"a" * 32).uid("device", "2.999.5")]


def test_a_date_that_cannot_be_shifted_is_an_error_and_never_stays() -> None:
    source = recording().with_(acquisition=Acquisition(time=Moment.parse("0001-01-02T00:00:00")))
    with pytest.raises(UsageError, match="too far back"):
        deidentify(source, policy=KEEPING)


def test_a_clean_recording_has_no_residue_and_a_filled_one_has() -> None:
    source = filled_recording()
    places = {residue.place.split("[")[0] for residue in find_residue(source)}
    assert {
        "patient.ids",
        "patient.name",
        "patient.birth_date",
        "acquisition.operator",
        "trial",
        "document_id",
    } <= places
    clean, _ = deidentify(source, policy=KEEPING)
    assert find_residue(clean) == ()


def test_residue_finds_known_identifiers_in_every_encoding() -> None:
    name, date = "Quill Tämsin", "1961-02-03"
    cases = {
        "dicom": "Quill^Tämsin".encode(),
        "latin": "TÄMSIN, QUILL".encode("latin-1").replace(b"\xc4", b"\xe4"),
        "wide": "Quill Tämsin".encode("utf-16-le"),
        "date": b"born 03.02.1961",
        "packed": (1961).to_bytes(2, "little") + b"\x02\x03",
        "clean": b"nothing here",
    }
    found = find_residue(Recording(), cases.items(), [name, date])
    assert {residue.place.split()[0] for residue in found} == {"dicom", "latin", "wide", "date", "packed"}
    assert all("Quill" not in residue.what for residue in found)


def test_residue_finds_dates_and_the_patients_name_in_texts() -> None:
    source = recording().with_(
        statements=(Statement("as on 12.03.2030"), Statement("quill improved"), Statement("rate 72, axis 12")),
    )
    source = source.with_(patient=replace(source.patient, name=filled_recording().patient.name))
    source = source.with_(patient=replace(source.patient, name=replace(source.patient.name, family="Quill")))  # type: ignore[type-var]
    what = {r.place: r.what for r in find_residue(source) if r.place.startswith("statements")}
    assert what == {
        "statements[0].text": "a date in a text",
        "statements[1].text": "a name from the header in a text",
    }
