"""``show --json``: the whole recording, exactly, and in the form that the schema describes."""

from __future__ import annotations

import dataclasses
import json
import typing
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from fixtures.field import recordings
from interchange import model
from interchange.cli.output import document_text
from interchange.findings import Finding
from interchange.model import Channel, Measurement, Recording, Tracing
from interchange.show import recording_document
from tests import strategies
from tests.cli.rebuild import recording_of
from tests.cli.schemas import errors_in
from tests.everything import everything


def there_and_back(recording: Recording) -> Recording:
    document = recording_document(recording, file="a file", samples=True)
    return recording_of(json.loads(document_text(document)))


@pytest.mark.parametrize("name", list(recordings()))
def test_the_document_holds_the_whole_recording(name: str) -> None:
    recording = recordings()[name]
    assert there_and_back(recording) == recording


def test_the_document_holds_every_field_of_the_model() -> None:
    recording = everything()
    assert there_and_back(recording) == recording


@given(strategies.full())
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_document_holds_whatever_the_model_can_say(recording: Recording) -> None:
    assert there_and_back(recording) == recording


@given(strategies.full())
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_the_schema_takes_whatever_the_model_can_say(recording: Recording) -> None:
    for samples in (False, True):
        document = json.loads(document_text(recording_document(recording, file=None, samples=samples)))
        assert errors_in(document) == []


def test_without_samples_their_digest_number_and_range_are_there() -> None:
    samples = np.array([[3, -7, 0, 5], [1, 1, 1, 1]], dtype=np.int16)
    missing = np.array([[False, True, False, False], [True] * 4])
    channels = (Channel("I", "uV", Fraction(1, 3)), Channel("II"))
    tracing = Tracing(channels, samples, Fraction(1000, 3), missing)
    document = recording_document(Recording(tracings=(tracing,)))
    shown = document["recording"]["tracings"][0]
    assert "samples" not in shown
    assert shown["shape"] == [2, 4]
    assert shown["rate"] == "1000/3"
    assert shown["duration"] == "0.012"
    assert shown["digest"] == tracing.digest
    assert [(c["least"], c["greatest"], c["missing"]) for c in shown["channels"]] == [(0, 5, 1), (None, None, 4)]
    assert [c["step"] for c in shown["channels"]] == ["1/3", "1"]


def test_missing_samples_are_null_and_zeros_are_zero() -> None:
    samples = np.array([[0, 0, 4]], dtype=np.int16)
    tracing = Tracing((Channel("I"),), samples, Fraction(500), np.array([[True, False, False]]))
    document = recording_document(Recording(tracings=(tracing,)), samples=True)
    assert document["recording"]["tracings"][0]["samples"] == [[None, 0, 4]]


def test_unknown_is_neither_empty_nor_zero() -> None:
    measurements = (
        Measurement("pr-interval", None, "ms", absent="not-measured"),
        Measurement("qrs-duration", None, "ms"),
        Measurement("qrs-axis", 0, "deg"),
        Measurement("heart-rate", Fraction(145, 2), "/min"),
    )
    shown = recording_document(Recording(measurements=measurements))["recording"]["measurements"]
    assert [(m["value"], m["absent"]) for m in shown] == [
        (None, "not-measured"), (None, None), ("0", None), ("72.5", None),
    ]  # fmt: skip


def test_every_class_of_the_model_has_its_fields_in_the_schema() -> None:
    schema = json.loads((Path(__file__).parents[2] / "schemas" / "recording.schema.json").read_text())
    names = {"PersonName": "name"}
    classes = [getattr(model, name) for name in model.__all__]
    checked = 0
    for cls in [cls for cls in classes if dataclasses.is_dataclass(cls) and cls is not model.Moment] + [Finding]:
        held = set(schema["$defs"][names.get(cls.__name__, cls.__name__.lower())]["properties"])
        wanted = {entry.name for entry in dataclasses.fields(cls)} - {"_digest"}
        assert wanted <= held | ({"missing"} if cls is Tracing else set()), cls
        checked += 1
    assert checked == 20


def test_every_choice_of_the_model_is_in_the_schema() -> None:
    definitions = json.loads((Path(__file__).parents[2] / "schemas" / "recording.schema.json").read_text())["$defs"]
    assert set(definitions["reason"]["enum"]) == set(typing.get_args(model.Absent))
    assert set(definitions["patient"]["properties"]["sex"]["enum"]) == {*typing.get_args(model.Sex), None}
    assert set(definitions["channel"]["properties"]["origin"]["enum"]) == set(typing.get_args(model.Origin))
    assert set(definitions["tracing"]["properties"]["kind"]["enum"]) == set(typing.get_args(model.Kind))


def test_show_prints_the_document(cli, twelve: Path) -> None:
    plain, full = cli("show", twelve, "--json"), cli("show", twelve, "--json", "--samples")
    assert (plain.status, plain.err, full.status) == (0, "", 0)
    assert errors_in(plain.document) == errors_in(full.document) == []
    assert plain.document["file"] == str(twelve)
    whole = full.document
    for tracing in whole["recording"]["tracings"]:
        assert [len(row) for row in tracing.pop("samples")] == [tracing["shape"][1]] * tracing["shape"][0]
    assert plain.document == whole
