"""What ``show`` says to people: complete, in their words, unknown never as known."""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from fixtures.field import limb_leads, twelve_leads, with_strip
from interchange.findings import Finding
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
    Unread,
)
from interchange.show import recording_text
from interchange.show.layout import columns
from interchange.show.words import concept_label
from interchange.vocabulary import concepts
from tests.everything import everything

TWELVE = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")


def block(text: str, label: str) -> list[str]:
    """The lines below a heading."""
    lines = text.splitlines()
    start = next(i for i, line in enumerate(lines) if line.startswith(label))
    rest = lines[start + 1 :]
    end = next((i for i, line in enumerate(rest) if line and not line.startswith(" ")), len(rest))
    return [lines[start][12:], *(line[12:] for line in rest[:end] if line)]


def tracing(leads: tuple[str, ...], **fields: object) -> Tracing:
    channels = tuple(Channel(lead) for lead in leads)
    samples = np.arange(len(leads) * 20, dtype=np.int16).reshape(len(leads), 20)
    return Tracing(**{"channels": channels, "samples": samples, "rate": Fraction(500), **fields})  # type: ignore[arg-type]


def test_the_field_recording_is_told_in_the_words_of_the_trade(cli, twelve: Path) -> None:
    done = cli("show", twelve)
    assert (done.status, done.err) == (0, "")
    assert block(done.out, "PATIENT")[:3] == [
        "Ørwin, Tessaly", "female, age 62 years, born 1961-11-02", "id NH-204417 (issuer 2.999.417.1)",
    ]  # fmt: skip
    assert block(done.out, "RECORDED")[0] == "2024-03-18 06:42:10 +01:00"
    assert "Unit 7-31" in block(done.out, "RECORDED")[1]
    assert "Quillmere Instruments FT12, serial QM-0052718" in block(done.out, "DEVICE")[0]
    assert block(done.out, "LEADS")[0] == "12 of 12 standard leads"
    assert block(done.out, "TRACINGS") == [
        "1. rhythm, 12 leads, 10 s, 500 samples/s, 5 uV per count", "   I II III aVR aVL aVF V1 V2 V3 V4 V5 V6",
    ]  # fmt: skip


def test_statements_stand_below_the_word_unconfirmed() -> None:
    lines = block(recording_text(twelve_leads()), "STATEMENTS")
    assert lines[0] == "UNCONFIRMED, by machine, 2024-03-18 06:42:31 +01:00"
    assert lines[1] == "  Sinus rhythm"
    assert len(lines) == 4


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        (Statement("x", confirmed=False), "UNCONFIRMED, author not said"),
        (Statement("x"), "UNCONFIRMED (confirmation not said), author not said"),
        (Statement("x", confirmed=False, overread=True), "UNCONFIRMED, looked at, author not said"),
        (Statement("x", confirmed=True), "CONFIRMED, by whom not said, author not said"),
        (
            Statement("x", confirmed=True, confirmed_by="Dr Moor", confirmed_time=Moment(2024, 3, 18)),
            "CONFIRMED by Dr Moor at 2024-03-18, time of day not said, author not said",
        ),
        (Statement("x", confirmed=False, author="FT12", author_kind="machine"), "UNCONFIRMED, by machine FT12"),
        (Statement("x", confirmed=False, group=1), "UNCONFIRMED, author not said, interpretation 2"),
    ],
)
def test_confirmation_is_said_in_all_its_kinds(statement: Statement, words: str) -> None:
    assert block(recording_text(Recording(statements=(statement,))), "STATEMENTS") == [words, "  x"]


def test_statements_of_different_standing_do_not_share_a_heading() -> None:
    statements = (Statement("one", confirmed=True), Statement("two", confirmed=False), Statement("three"))
    text = recording_text(Recording(statements=statements))
    assert [line[12:23].strip() for line in text.splitlines() if "CONFIRMED" in line] == [
        "CONFIRMED,", "UNCONFIRMED", "UNCONFIRMED",
    ]  # fmt: skip


def test_not_said_and_said_to_be_unknown_are_two_things() -> None:
    nothing = block(recording_text(Recording()), "PATIENT")
    assert nothing == ["name not said", "sex not said, age not said, birth date not said", "id not said"]
    absent = (("name", "unknown"), ("sex", "unknown"), ("age", "not-applicable"), ("birth_date", "withheld"))
    patient = Patient(absent=(*absent, ("ids", "unknown"), ("height", "not-measured")))
    assert block(recording_text(Recording(patient=patient)), "PATIENT") == [
        "name said to be unknown",
        "sex said to be unknown, age said not to apply, birth date withheld",
        "id said to be unknown",
        "height said to be not measured",
    ]


def test_an_age_of_nine_days_is_not_nought_years() -> None:
    text = recording_text(Recording(patient=Patient(age=Quantity(9, "d"))))
    assert "age 9 days" in text


def test_a_recording_of_nothing_is_shown_without_inventing_anything() -> None:
    text = recording_text(Recording())
    assert block(text, "RECORDED") == ["time not said", "place not said"]
    assert block(text, "DEVICE") == ["not said"]
    assert block(text, "LEADS") == ["no rhythm tracing"]
    assert block(text, "TRACINGS") == ["none"]
    assert block(text, "STATEMENTS") == ["none"]
    assert block(text, "MEASURED") == ["nothing"]


@pytest.mark.parametrize(
    ("time", "words"),
    [
        (Moment(2024, 3, 18, 6, 42, Fraction(10), zone=60), "2024-03-18 06:42:10 +01:00"),
        (Moment(2024, 3, 18, 6, 42, Fraction(41, 4), zone=-300), "2024-03-18 06:42:10.25 -05:00"),
        (Moment(2024, 3, 18, 6, 42, Fraction(10)), "2024-03-18 06:42:10 (zone not said)"),
        (Moment(2024, 3, 18, 6, 42, Fraction(10), zone=0), "2024-03-18 06:42:10 +00:00"),
        (Moment(2031, 3), "2031-03, time of day not said"),
        (Moment(hour=14, minute=3), "14:03 (zone not said), date not said"),
    ],
)
def test_a_time_says_what_of_it_was_not_said(time: Moment, words: str) -> None:
    assert block(recording_text(Recording(acquisition=Acquisition(time=time))), "RECORDED")[0] == words


def test_limb_leads_only_are_six_of_six_and_no_chest_lead() -> None:
    assert block(recording_text(limb_leads()), "LEADS")[0] == "6 of 6 limb leads, no chest lead"


def test_what_can_be_derived_is_not_called_recorded() -> None:
    eight = Recording(tracings=(tracing(("I", "II", *TWELVE[6:])),))
    assert block(recording_text(eight), "LEADS")[0] == (
        "8 of 12 standard leads; III aVR aVL aVF not recorded, would follow exactly from I II"
    )


def test_missing_chest_leads_are_named() -> None:
    nine = Recording(tracings=(tracing(TWELVE[:9]),))
    assert block(recording_text(nine), "LEADS")[0] == "9 of 12 standard leads; not recorded: V4 V5 V6"


def test_leads_taken_one_group_after_the_other_are_said_so() -> None:
    groups = [tracing(TWELVE[i : i + 3], start=Fraction(i)) for i in range(0, 12, 3)]
    text = recording_text(Recording(tracings=tuple(groups)))
    assert block(text, "LEADS")[0] == "12 of 12 standard leads, but not all at the same time"


def test_derived_and_reconstructed_leads_are_marked() -> None:
    channels = (
        Channel("I"), Channel("II"), Channel("III", origin="derived", derived_from="II - I"),
        Channel("V1", origin="reconstructed"),
    )  # fmt: skip
    text = recording_text(Recording(tracings=(Tracing(channels, np.zeros((4, 5), np.int16), Fraction(500)),)))
    lines = block(text, "LEADS")
    assert "calculated from other leads: III" in lines
    assert "reconstructed, not exact: V1" in lines
    assert "Leads marked as calculated or reconstructed were not recorded as they are." in text


def test_a_strip_says_when_it_begins() -> None:
    lines = block(recording_text(with_strip()), "TRACINGS")
    assert lines[2].startswith('2. rhythm "rhythm strip", 2 leads, 13 s from second 11 on, 500 samples/s')


def test_missing_samples_are_counted_per_lead() -> None:
    missing = np.zeros((2, 20), dtype=bool)
    missing[1, 3:7] = True
    text = recording_text(Recording(tracings=(tracing(("I", "II"), missing=missing),)))
    assert "   samples missing: II 4 of 20" in block(text, "TRACINGS")
    missing[0, 3:7] = True
    text = recording_text(Recording(tracings=(tracing(("I", "II"), missing=missing),)))
    assert "   samples missing: 4 of 20 in every channel" in block(text, "TRACINGS")


def test_signals_without_scale_and_of_other_units_are_said_so() -> None:
    channels = (Channel("II", "uV", Fraction(5)), Channel("PLETH", None), Channel("ABP", "mm[Hg]", Fraction(1, 10)))
    text = recording_text(Recording(tracings=(Tracing(channels, np.zeros((3, 5), np.int16), Fraction(125)),)))
    words = " ".join(" ".join(block(text, "TRACINGS")).split())
    assert words.startswith("1. rhythm, 3 channels, 0.04 s, 125 samples/s, units none (not calibrated), mm[Hg], uV")
    assert "signals that are no lead: PLETH ABP" in block(text, "LEADS")


def test_global_measurements_stand_with_unit_or_reason() -> None:
    measurements = (
        Measurement("qrs-axis", None, "deg", absent="undefined"),
        Measurement("pr-interval", None, "ms", absent="not-measured"),
        Measurement("qt-interval", Fraction(1203, 3), "ms"),
        Measurement("qtc-bazett", Fraction(1300, 3), "ms"),
        Measurement("qrs-duration", None, "ms"),
    )
    text = " ".join(" ".join(block(recording_text(Recording(measurements=measurements)), "MEASURED")).split())
    for words in (
        "QRS axis said to be undefined", "PR interval said to be not measured", "QT interval 401 ms",
        "QTc (Bazett) about 433.333 ms", "QRS duration no value given",
    ):  # fmt: skip
        assert words in text


def test_levels_stand_per_lead_in_lead_order_with_sign() -> None:
    measurements = tuple(
        Measurement(concept, value, "uV", lead=lead)
        for lead, j, later in (("V2", -40, 20), ("I", 0, None), ("aVR", 115, 130))
        for concept, value in (("st-amplitude-80", later), ("j-amplitude", j))
    )
    lines = block(recording_text(Recording(tracings=(tracing(TWELVE),), measurements=measurements)), "J AND ST")
    assert [line.split() for line in lines[:4]] == [
        ["lead", "J", "J+80", "ms"], ["I", "0", "-"], ["aVR", "+115", "+130"], ["V2", "-40", "+20"],
    ]  # fmt: skip


def test_nothing_measured_is_dropped_when_a_lead_has_two_values() -> None:
    measurements = (Measurement("j-amplitude", 5, "uV", lead="I"), Measurement("j-amplitude", 7, "uV", lead="I"))
    assert "+5 | +7" in recording_text(Recording(measurements=measurements))


def test_marks_are_counted_by_kind_set_and_tracing() -> None:
    marks = (
        Mark("normal-beat", 0, Fraction(1, 2), group="atr"),
        Mark("normal-beat", 0, Fraction(3, 2), group="atr"),
        Mark("ventricular-premature-beat", 0, Fraction(2), group="atr"),
        Mark("qrs-complex", 0, Fraction(1, 4), Fraction(1, 3), lead="II"),
    )
    lines = block(recording_text(Recording(tracings=(tracing(TWELVE),), marks=marks)), "MARKS")
    assert lines == [
        "atr: 2 normal beat, 1 ventricular premature beat, from 0.5 to 2 s",
        "1 QRS complex, from 0.25 to about 0.333333 s",
    ]


def test_many_sets_of_marks_are_counted_together() -> None:
    marks = [Mark("qrs-onset", 0, Fraction(beat), group=str(beat)) for beat in range(4)]
    marks += [Mark("t-offset", 0, Fraction(beat) + Fraction(1, 2), group=str(beat)) for beat in range(4)]
    lines = block(recording_text(Recording(tracings=(tracing(TWELVE),), marks=tuple(marks))), "MARKS")
    assert lines == ["4 sets: 4 QRS onset, 4 T offset, from 0 to 3.5 s"]
    alone = block(recording_text(Recording(tracings=(tracing(TWELVE),), marks=tuple(marks[:1]))), "MARKS")
    assert alone == ["0: 1 QRS onset, at 0 s"]


def test_what_was_not_read_and_what_was_noticed_is_listed() -> None:
    recording = Recording(
        unread=(Unread("(0009,1001)", 128, "private element"),),
        findings=(Finding("dicom.odd", "warning", "(0008,0005)", "the character set is not known"),),
    )
    text = recording_text(recording)
    assert block(text, "NOT READ") == ["(0009,1001): private element (128 bytes)"]
    assert block(text, "NOTICED") == ["warning dicom.odd at (0008,0005): the character set is not known"]


def test_a_damaged_file_is_said_to_be_damaged_before_anything_else() -> None:
    findings = (
        Finding("scp.note", "note", "a", "first"), Finding("scp.cut", "error", "b", "second"),
        Finding("scp.cut", "error", "c", "third"),
    )  # fmt: skip
    text = recording_text(Recording(findings=findings))
    words = " ".join(text.split())
    assert words.startswith("made from arrays ATTENTION 2 errors in the file: leads, samples or values may be missing")
    assert [line.split()[0] for line in block(text, "NOTICED")] == ["error", "error", "note"]
    assert "ATTENTION" not in recording_text(Recording(findings=findings[:1]))


def test_long_lists_are_counted_and_nothing_is_dropped_in_silence() -> None:
    unread = tuple(Unread(f"byte {i}", 1, "section") for i in range(40))
    lines = block(recording_text(Recording(unread=unread)), "NOT READ")
    assert len(lines) == 13
    assert lines[-1] == "and 28 more (--json lists all)"


def test_the_cautions_are_always_there() -> None:
    text = " ".join(recording_text(Recording()).split())
    assert "nothing verified" in text
    assert "No diagnostic device" in text
    assert "not normal, not abnormal" in text


def test_a_deidentified_recording_says_so_first() -> None:
    from interchange.model import Code

    method = Code("113100", "DCM", "Basic Application Confidentiality Profile")
    text = recording_text(Recording(deidentification=(method,)))
    assert block(text, "PATIENT")[0] == "DE-IDENTIFIED: Basic Application Confidentiality Profile (113100 DCM)"


@pytest.mark.parametrize("width", [80, 96, 100])
def test_no_line_is_wider_than_the_page(width: int) -> None:
    for recording in (everything(), twelve_leads(), with_strip(), limb_leads(), _wordy()):
        for line in recording_text(recording, file="field.scp", width=width).splitlines():
            assert columns(line) <= width, line


def _wordy() -> Recording:
    """Long words, long texts, wide characters."""
    name = PersonName(family="山田" * 60, given="x" * 300)
    patient = Patient(ids=(Identifier("9" * 200),), name=name, comments=("word " * 2000,))
    acquisition = Acquisition(filters=Filters(descriptions=("f" * 500,)))
    channels = tuple(Channel(f"signal {i} {'y' * 50}") for i in range(200))
    strip = Tracing(channels, np.zeros((200, 3), np.int16), Fraction(1))
    return Recording((strip,), patient, acquisition, statements=(Statement("z" * 5000),))


def test_every_value_of_a_full_recording_is_shown_or_counted() -> None:
    text = " ".join(recording_text(everything(), width=100).split())
    recording = everything()
    for value in _texts(recording.patient, recording.acquisition):
        assert " ".join(str(value).split()) in text, value
    for statement in recording.statements:
        assert statement.text in text


def _texts(*owners: object) -> list[str]:
    """Every text in the owners but those of extras and device internals that are counted."""
    found: list[str] = []
    for owner in owners:
        for entry in dataclasses.fields(owner):  # type: ignore[arg-type]
            value = getattr(owner, entry.name)
            if entry.name in ("extras", "absent", "electrode_placement", "uid", "series_uid", "sex", "role", "unit"):
                continue
            for item in value if isinstance(value, tuple) else (value,):
                if isinstance(item, str):
                    found.append(item)
                elif dataclasses.is_dataclass(item) and not isinstance(item, (Moment, Quantity, PersonName)):
                    found.extend(_texts(item))
    return found


def test_every_concept_has_a_name_for_people() -> None:
    labels = {concept.id: concept_label(concept.id) for concept in concepts()}
    assert labels["pr-interval"] == "PR interval"
    assert labels["qtc-fridericia"] == "QTc (Fridericia)"
    assert labels["heart-rate-ventricular"] == "heart rate, ventricular"
    assert labels["r-double-prime-amplitude"] == "R'' amplitude"
    assert labels["p-onset-to-p1"] == "P onset to P1"
    assert len(set(labels.values())) == len(labels)


def test_colour_only_where_asked_for_and_never_alone() -> None:
    from interchange.show.layout import Style

    plain = recording_text(twelve_leads())
    coloured = recording_text(twelve_leads(), style=Style(colour=True))
    assert "\x1b" not in plain
    assert "\x1b[1;31m" in coloured
    for code in ("\x1b[1m", "\x1b[1;31m", "\x1b[33m", "\x1b[0m"):
        coloured = coloured.replace(code, "")
    assert coloured == plain
