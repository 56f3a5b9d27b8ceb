"""The receipt for people: a screenful, the important first, words in place of paths, nothing of a file in the words."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

import interchange
from fixtures.field import twelve_leads, with_strip
from interchange.findings import Finding
from interchange.formats import FORMATS, by_name
from interchange.model import Mark, Measurement, Unread
from interchange.model.paths import field_paths
from interchange.receipt import Entry, Receipt, receipt_text, receipt_verdict
from interchange.receipt.text import SCREENFUL
from interchange.receipt.words import field_words, group_words, target_words
from tests.filled import MARK, filled_recording


@pytest.fixture(scope="module")
def receipt(tmp_path_factory: pytest.TempPathFactory) -> Receipt:
    return interchange.write(twelve_leads(), tmp_path_factory.mktemp("out") / "out.dcm")


WORDS = {
    "patient.name.family": "family name",
    "patient.ids[0].value": "id of the patient",
    "patient.ids[1].issuer": "issuer of the id 2 of the patient",
    "patient.absent[age]": "why there is no age of the patient",
    "acquisition.time": "acquisition time",
    "acquisition.devices[0].serial": "serial number of the device",
    "acquisition.operator.name.given": "given name of the operator",
    "acquisition.study.accession.value": "accession number",
    "measurements[2].value": "RR interval",
    "measurements[12]": "J level of I",
    "measurements[51].unit": "unit of ST amplitude 80 of V4",
    "statements[1].confirmed": "confirmation of statement 2",
    "tracings[0].samples[9]": "samples of V4 in tracing 1",
    "tracings[1].channels[0].name": "name of II in tracing 2",
    "tracings[1]": "tracing 2",
    "tracings[0].rate": "sampling rate in tracing 1",
    "tracings": "order of the tracings",
    "extras[dicom.AdmissionID]": "AdmissionID, a field of DICOM waveform alone",
    "document_id.value": "id of the document",
    "section 1 tag 2": "section 1 tag 2",  # a place in the target is no field
    "AnnotatedECG/code": "AnnotatedECG/code",
}


@pytest.mark.parametrize("path", WORDS)
def test_fields_in_words(path: str) -> None:
    assert field_words(path, with_strip()) == WORDS[path]


def test_with_one_tracing_its_number_goes_without_saying() -> None:
    assert field_words("tracings[0].samples[9]", twelve_leads()) == "samples of V4"
    assert field_words("tracings[0].rate", twelve_leads()) == "sampling rate"


def test_marks_are_named_by_what_they_mark() -> None:
    recording = twelve_leads().with_(marks=(Mark("qrs-onset", 0, Fraction(1, 2), lead="V2"),))
    assert field_words("marks[0].start", recording) == "start of mark 1 (QRS onset of V2)"


@pytest.mark.parametrize("path", field_paths())
def test_every_field_has_words_and_none_of_them_is_a_path(path: str) -> None:
    words = field_words(path)
    assert words
    assert "_" not in words
    assert "." not in words


def test_words_quote_nothing_of_the_recording() -> None:
    """A label that is no lead and a concept of one's own are numbered, not named."""
    recording = filled_recording()
    paths = [f"measurements[{n}].value" for n in range(len(recording.measurements))]
    paths += [f"marks[{n}].lead" for n in range(len(recording.marks))]
    for index, tracing in enumerate(recording.tracings):
        for row in range(len(tracing.channels)):
            paths += [f"tracings[{index}].{name}[{row}]" for name in ("channels", "samples", "missing")]
    paths += [f"extras[{key}]" for key, _ in recording.extras]
    paths += ["extras[dicom.Mallory Okafor]", "extras[own.thing]"]
    told = " ".join(field_words(path, recording) for path in paths)
    assert MARK not in told
    assert "Mallory" not in told
    strange = twelve_leads()
    channels = (replace(strange.tracings[0].channels[0], name="Mallory"), *strange.tracings[0].channels[1:])
    strange = strange.with_(tracings=(replace(strange.tracings[0], channels=channels),))
    assert field_words("tracings[0].samples[0]", strange) == "samples of channel 1"
    odd = strange.with_(measurements=(Measurement("other", 1, "uV", lead="Mallory"),))
    assert field_words("measurements[0].value", odd) == "measurement 1"


@pytest.mark.parametrize("format", ["scp", "aecg"])
def test_a_place_that_the_target_demands_is_named_in_words_with_the_place_beside(format: str) -> None:
    """Every place that a writer fills has words, and the words stand in the receipt."""
    from interchange import formats
    from interchange.model import Acquisition, Patient

    bare = twelve_leads().with_(patient=Patient(), acquisition=Acquisition())
    notes = [note for note in formats.load(format).encode(bare, "x", {}).notes if note.kind == "added"]
    assert len(notes) == 4
    for note in notes:
        words, _, place = target_words(note.path).partition(" (")
        assert words
        assert place == f"{note.path})"


def test_groups_name_each_thing_once() -> None:
    paths = ("patient.ids.value", "patient.ids.issuer", "patient.name.family", "patient.name.given", "patient.sex")
    assert group_words(paths) == ["id", "name", "sex"]


# The page ----------------------------------------------------------------------------------------------------------


def test_the_result_first_then_what_the_receiver_gets(receipt: Receipt) -> None:
    lines = receipt_text(receipt).splitlines()
    assert lines[0] == "arrays -> out.dcm (DICOM waveform)"
    assert lines[2].startswith("RESULT      Samples identical: every sample of every lead")
    assert lines[5] == "DELIVERED   rhythm, 12 leads, 10 s, 500 samples/s: I II III aVR aVL aVF V1 V2 V3 V4 V5 V6"
    text = "\n".join(lines)
    assert "patient: id, name, birth date, age, sex, height, weight" in text
    assert "all 60 measurements, all 3 statements as they were" in text
    assert "not a diagnostic device" in text


@pytest.mark.parametrize("width", [80, 96, 100])
def test_however_much_there_is_to_say_it_is_a_screenful(receipt: Receipt, width: int) -> None:
    """Three hundred of everything: the rest is counted, what is protected comes before all else."""
    entries = [Entry(f"measurements[{n}].value", "1" * 300, "2", f"reason {n % 7} " * 9) for n in range(300)]
    lost = Entry("patient.name.family", "Okafor", None, "no room for it", "identity", field="family name")
    long = replace(
        receipt,
        changed=(*entries, *(replace(e, requested=True) for e in entries)),
        left=(*(replace(e, after=None) for e in entries), lost),
        added=receipt.added * 300,
        unread=tuple(Unread(f"byte {n}", n, f"a block of kind {n % 40}") for n in range(300)),
        findings=tuple(Finding(f"scp.rule-{n}", "warning", f"byte {n}", "something odd " * 9) for n in range(300)),
        notes=("a long remark about the target " * 9,) * 30,
        tracings=receipt.tracings * 30,
        accepted=("identity",),
    )
    lines = receipt_text(long, width).splitlines()
    assert len(lines) <= SCREENFUL * 3 // 2  # every part full at once
    assert max(map(len, lines)) <= width
    text = "\n".join(lines)
    assert "family name: Okafor [PROTECTED: identity]" in text
    assert "PROTECTED and given up with --accept: identity." in text
    assert "and 299 more (--json lists all)" in text
    assert text.index("RESULT") < text.index("LEFT BEHIND") < text.index("ADDED") < text.index("CAUTION")


@pytest.mark.parametrize("name", [entry.name for entry in FORMATS])
def test_the_receipt_of_a_field_tracing_is_a_screenful(tmp_path: Path, name: str) -> None:
    suffix = by_name(name).suffix
    interchange.write(with_strip(), tmp_path / f"source{suffix}", format=name)
    for entry in FORMATS:
        receipt = interchange.convert(tmp_path / f"source{suffix}", tmp_path / f"out{entry.suffix}", entry.name)
        assert len(receipt_text(receipt, 80).splitlines()) <= SCREENFUL


def test_numbers_of_measurements_that_did_not_arrive_are_said(receipt: Receipt) -> None:
    carried = tuple(replace(c, count=58) if c.path == "measurements" else c for c in receipt.carried)
    lost = (Entry("measurements[3]", "x", None, "why"), Entry("measurements[7].value", "1", "2", "why"))
    assert "58 of 60 measurements" in receipt_text(replace(receipt, carried=carried, left=lost[:1], changed=lost[1:]))


def test_values_that_differ_are_said_by_what_they_are(receipt: Receipt) -> None:
    moved = Entry("tracings[0].rate", "360", "500000/1389", "whole microseconds", "timing", field="sampling rate")
    text = receipt_text(replace(receipt, changed=(moved,), accepted=("timing",), time_error=Fraction(3, 1250)))
    assert "TIMES DIFFER as accepted: largest change 0 microvolts, 2.4 ms." in text
    assert "sampling rate: 360 -> 500000/1389 (about 359.971) [PROTECTED: timing]" in text


def test_nothing_of_a_file_reaches_the_terminal_as_a_control_sequence(receipt: Receipt) -> None:
    evil = "\x1b[31mred\r\n\u202eback"
    entry = Entry("patient.comments[0]", evil, None, "no place")
    text = receipt_text(replace(receipt, left=(entry,), notes=(evil,), unread=(Unread(evil, 1, evil),)))
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "\\x1b[31mred" in text


def test_a_note_that_is_made_per_lead_is_told_once(receipt: Receipt) -> None:
    notes = (*("stored in steps of 1/3 microvolt",) * 12, "format 16")
    text = receipt_text(replace(receipt, notes=notes))
    assert text.count("1/3 microvolt") == 1
    assert "stored in steps of 1/3 microvolt (12 times)" in text
    assert "format 16" in text
    assert "format 16 (" not in text


def test_the_verdict_quotes_no_value(receipt: Receipt, tmp_path: Path) -> None:
    without = interchange.write(twelve_leads(), tmp_path / "out.scp", verify=False)
    assert "NOT VERIFIED" in receipt_text(without)
    assert "not read back: rhythm" in receipt_text(without)
    changed = replace(receipt, changed=(Entry("patient.name.family", "Okafor", "Oka", "cut", "identity"),))
    assert "Okafor" in receipt_text(changed)
    assert "Okafor" not in receipt_verdict(changed)


def test_the_json_form_has_path_and_words(tmp_path: Path) -> None:
    odd = twelve_leads().with_(extras=(("wfdb.adc-zero", "7"),))
    left = interchange.write(odd, tmp_path / "out.xml").as_json()["left"]
    assert [(e["path"], e["field"]) for e in left] == [("extras[wfdb.adc-zero]", "adc-zero, a field of WFDB alone")]
