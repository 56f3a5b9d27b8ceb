"""Lines of text that hold what the message has no field for: taken back exactly, and only where they still fit."""

from __future__ import annotations

from dataclasses import replace

import pytest
from lxml import etree

from interchange.formats import aecg
from interchange.formats.aecg.lines import guard_line
from interchange.model import Recording, Statement
from tests.formats.aecg.support import kept, read, rules

SAID = (
    Statement("Sinus rhythm", confirmed=True, confirmed_by="R. R."),
    Statement("Infarction", confirmed=False),
)


def signed() -> bytes:
    recording: Recording = read(kept()).with_(statements=SAID)
    return aecg.encode(recording, "x", {}).main[1]


def test_a_status_comes_back_with_its_statement() -> None:
    assert read(signed()).statements == SAID


def test_a_status_never_lands_on_another_statement() -> None:
    swapped = (
        signed().replace(b"Sinus rhythm", b"#").replace(b"Infarction", b"Sinus rhythm").replace(b"#", b"Infarction")
    )
    recording = read(swapped)
    assert [(s.text, s.confirmed) for s in recording.statements] == [("Infarction", None), ("Sinus rhythm", None)]
    assert rules(recording) == {"aecg.lines-stale"}
    assert "statements[0].confirmed: yes" in recording.acquisition.remarks


@pytest.mark.parametrize("cut", ["annotation", "sequence", "guard"])
def test_lines_do_not_outlive_what_they_speak_of(cut: str) -> None:
    root = etree.fromstring(signed())
    if cut == "guard":
        nodes = [n for n in root.iter("{*}text") if (n.text or "").startswith("content: ")]
    else:
        nodes = list(root.iter(f"{{*}}{cut}"))[-1:]
    assert nodes
    parent = nodes[0].getparent()
    assert parent is not None
    parent.getparent().remove(parent)  # type: ignore[union-attr]
    recording = read(etree.tostring(root))
    assert all(statement.confirmed is None for statement in recording.statements)
    assert "aecg.lines-stale" in rules(recording)


def with_lines(*lines: str, guarded: bool = True) -> Recording:
    """The kept message with lines of text that no writer wrote."""
    guard = (guard_line(etree.fromstring(kept().encode())),) if guarded else ()
    comments = "".join(
        '<pertainsTo><subjectFindingComment><code code="FIELD" codeSystemName="ECG interchange"/>'
        f"<text>{line}</text></subjectFindingComment></pertainsTo>"
        for line in (*lines, *guard)
    )
    return read(
        kept().replace('  <component typeCode="COMP">\n    <series', f"{comments}<component typeCode='COMP'><series")
    )


HOSTILE = [
    "tracings[0].rate: 1",
    "tracings[0].kind: representative beat",
    "tracings[0].samples[0]: 1",
    "tracings[0].channels[0].step: 1000",
    "tracings[0].channels[0].offset: 5",
    "tracings[0].channels[2]: name=V1",
    "tracings[7].label: x",
    "marks[0].tracing: 99",
    "marks[0].tracing: -1",
    "measurements[5]: concept=qt-interval; value=1",
    "statements[1]: text=healthy",
    "tracings[0].start: 1e999999999",
    "document_id: value=x",
    "unread[0]: place=x",
    "format: dicom",
    "no line at all",
]


@pytest.mark.parametrize("line", HOSTILE)
def test_no_line_touches_samples_or_points_outside(line: str) -> None:
    usual, recording = read(kept()), with_lines(line)
    assert recording.tracings == usual.tracings
    assert (recording.marks, recording.measurements, recording.statements) == (
        usual.marks,
        usual.measurements,
        usual.statements,
    )
    assert (recording.document_id, recording.format) == (usual.document_id, usual.format)
    assert recording.acquisition.remarks == (*usual.acquisition.remarks, line)


@pytest.mark.parametrize(
    "line",
    [
        "patient.ids[0].value: X-1",
        "patient.name: family=Other",
        "patient.birth_date: 1980-01-01",
        "patient.sex: female",
    ],
)
def test_no_line_gives_the_patient_another_identity(line: str) -> None:
    usual, recording = read(kept()), with_lines(line, "patient.comments[0]: said so", guarded=False)
    assert replace(recording.patient, comments=()) == usual.patient
    assert recording.patient.comments == ("said so",)
    assert rules(recording) == {"aecg.lines-identity"}
    assert recording.acquisition.remarks == (*usual.acquisition.remarks, line)


def test_an_empty_label_comes_back_empty() -> None:
    recording = read(kept())
    labelled = recording.with_(tracings=tuple(replace(t, label="") for t in recording.tracings))
    assert [t.label for t in read(aecg.encode(labelled, "x", {}).main[1]).tracings] == ["", ""]


def test_lines_about_the_patient_need_no_guard() -> None:
    assert with_lines("patient.comments[0]: said so", guarded=False).patient.comments == ("said so",)
