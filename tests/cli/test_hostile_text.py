"""Text from a file is shown, never obeyed: no control sequence reaches a terminal, none breaks a line."""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings

import interchange
from fixtures.field import twelve_leads
from interchange.compare import compare_recordings
from interchange.model import Acquisition, Device, Identifier, Mark, Patient, PersonName, Recording, Site, Statement
from interchange.model import Measurement as Measured
from interchange.show import recording_text
from tests import strategies

HOSTILE = {
    "escape": "\x1b[2J\x1b[31mred\x1b]0;title\x07",
    "eight-bit controls": "\x9b31m\x9d0;title\x9c",
    "line ends": "one\ntwo\rthree\x0bfour\x0cfive\x85six\u2028seven\u2029eight",
    "bidirectional": "\u202ereversed\u2066isolate\u2069\u200f\u061c",
    "invisible": "\u200b\u200d\ufeff\u00ad\U000e0041",
    "nul and delete": "\x00\x7f\x08",
    "not characters": "\ufffe\uffff\ue000",
}
SAFE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def unsafe_in(text: str) -> set[str]:
    return {c for c in text if c != "\n" and unicodedata.category(c) in SAFE}


def filled(text: str) -> Recording:
    """The twelve-lead recording with ``text`` wherever a source can put words."""
    base = twelve_leads()
    identifier = Identifier(text, issuer=text)
    patient = Patient(
        ids=(identifier,), name=PersonName(family=text, given=text), comments=(text,), extras=((f"wfdb.{text}", text),)
    )
    device = Device(manufacturer=text, model=text, serial=text, software=(text,), name=text, ids=(identifier,))
    acquisition = Acquisition(
        devices=(device,), site=Site(institution=text, room=text), remarks=(text,), reasons=(text,),
        electrode_placement=text,
    )  # fmt: skip
    from dataclasses import replace
    from fractions import Fraction

    tracing = base.tracings[0]
    channels = (replace(tracing.channels[0], name=f"lead {text}", unit=f"u{text}"), *tracing.channels[1:3])
    tracing = replace(tracing, channels=channels, samples=tracing.samples[:3, :600], label=text)
    return base.with_(
        patient=patient,
        acquisition=acquisition,
        tracings=(tracing,),
        statements=(Statement(text, author=text, confirmed_by=text, confirmed=True),),
        measurements=(Measured("other", 1, text, lead=text, text=text), Measured("other", None, text=text)),
        marks=(Mark("note", 0, Fraction(1), text=text, group=text),),
        document_id=identifier,
    )


@pytest.mark.parametrize("kind", HOSTILE)
def test_the_text_of_a_recording_holds_no_control_character(kind: str) -> None:
    recording = filled(HOSTILE[kind])
    text = recording_text(recording, file=HOSTILE[kind])
    assert unsafe_in(text) == set()
    plain = recording_text(filled("word"), file="word")
    assert [line.split(" ")[0] for line in text.splitlines() if line[:1].isupper()] == [
        line.split(" ")[0] for line in plain.splitlines() if line[:1].isupper()
    ]


@pytest.mark.parametrize("kind", HOSTILE)
def test_no_command_lets_it_through(cli, tmp_path: Path, kind: str) -> None:
    source, target, bare = tmp_path / "hostile.hea", tmp_path / "hostile.xml", tmp_path / "bare.hea"
    interchange.write(filled(HOSTILE[kind]), source, accept=("identity", "leads"))
    interchange.write(twelve_leads(), bare)
    for command in (
        ("show", source), ("show", source, "--json"), ("check", source), ("check", source, "--json"),
        ("check", source, bare), ("compare", source, bare), ("compare", source, bare, "--json"),
        ("convert", source, target, "--accept", "identity,leads,signal"),
        ("convert", source, target, "--accept", "identity,leads,signal", "--overwrite", "--json"),
        ("convert", source, tmp_path / "x.scp"),
        ("convert", source, tmp_path / "x.dcm", "--json"),
    ):  # fmt: skip
        done = cli(*command)
        assert done.status in (0, 1, 4, 5), (command, done.err)
        assert unsafe_in(done.out + done.err) == set(), command
        if "--json" in command:
            assert done.document["version"] == 1
            assert done.out.isascii()


def test_an_error_about_hostile_names_and_words_is_one_line(cli, tmp_path: Path) -> None:
    for text in HOSTILE.values():
        if "\x00" in text:
            continue
        for command in (("show", f"{tmp_path}/{text}"), (text,), ("rules", text), ("show", "x", text)):
            done = cli(*command)
            assert done.status in (2, 3)
            assert unsafe_in(done.err) == set()
            assert done.err.count("\n") == 1


def test_a_name_with_nul_is_no_defect(cli) -> None:
    done = cli("show", "a\0b", "--json")
    assert done.status == 3
    assert done.err.count("\n") == 1


@given(strategies.full())
@settings(max_examples=15, deadline=None, suppress_health_check=list(HealthCheck))
def test_whatever_the_model_can_say_can_be_shown(recording: Recording) -> None:
    text = recording_text(recording, width=80)
    assert unsafe_in(text) == set()
    assert "CAUTION" in text


@given(strategies.full())
@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
def test_whatever_differs_can_be_shown(recording: Recording) -> None:
    from interchange.cli.compare import comparison_document, comparison_text

    sides = (recording, twelve_leads())
    comparison = compare_recordings(*sides)
    assert unsafe_in(comparison_text(comparison, ("a", "b"), sides)) == set()
    assert comparison_document(comparison, ("a", "b"), sides)["same"] is False
