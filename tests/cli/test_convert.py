"""``convert``: the receipt, where it goes, what is asked for, and what is refused."""

from __future__ import annotations

import json
import os
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import interchange
from fixtures.field import twelve_leads
from interchange.formats import FORMATS
from interchange.model import Channel, Recording, Tracing
from tests.cli.schemas import errors_in

SUFFIXES = {entry.name: entry.suffix for entry in FORMATS}


@pytest.fixture
def recording(cli):
    """The JSON form of what lies at a path."""

    def shown(path: Path):
        return cli("show", path, "--json").document["recording"]

    return shown


@pytest.mark.parametrize("name", SUFFIXES)
def test_to_every_format_with_a_receipt_on_standard_output(cli, twelve: Path, tmp_path: Path, name: str) -> None:
    target = tmp_path / f"out{SUFFIXES[name]}"
    done = cli("convert", twelve, target)
    assert done.status == 0, done.err
    assert done.err == ""
    titles = {entry.name: entry.title for entry in FORMATS}
    assert done.out.startswith(f"{twelve} (WFDB) -> out{SUFFIXES[name]} ({titles[name]})")
    assert "Samples identical" in done.out
    assert "not a diagnostic device" in done.out
    assert interchange.read(target).tracings[0].digest == interchange.read(twelve).tracings[0].digest


@pytest.mark.parametrize("name", SUFFIXES)
def test_with_json_one_document_and_the_text_on_standard_error(cli, twelve: Path, tmp_path: Path, name: str) -> None:
    done = cli("convert", twelve, tmp_path / f"out{SUFFIXES[name]}", "--json")
    assert done.status == 0
    assert done.document["document"] == "interchange receipt"
    assert errors_in(done.document) == []
    assert (done.document["verified"], done.document["samples_identical"]) == (True, True)
    assert done.document["target"][-1]["format"] == name
    assert "Samples identical" in done.err


def test_the_format_may_be_named_and_the_suffix_does_not_decide_then(cli, twelve: Path, tmp_path: Path) -> None:
    done = cli("convert", twelve, tmp_path / "tracing.bin", "--to", "SCP")
    assert done.status == 0
    assert interchange.read(tmp_path / "tracing.bin").format == "scp"


def test_the_record_s_name_may_come_without_suffix(cli, twelve: Path, tmp_path: Path) -> None:
    done = cli("convert", twelve.with_suffix(""), tmp_path / "record", "--to", "wfdb")
    assert done.status == 0
    assert (tmp_path / "record.hea").is_file()


def test_unverified_is_said(cli, twelve: Path, tmp_path: Path) -> None:
    done = cli("convert", twelve, tmp_path / "out.scp", "--verify", "none", "--json")
    assert done.status == 0
    assert (done.document["verified"], done.document["samples_identical"]) == (False, False)
    assert "NOT VERIFIED" in done.err
    assert errors_in(done.document) == []


def test_an_option_of_the_format_is_passed_on(cli, twelve: Path, tmp_path: Path) -> None:
    assert cli("convert", twelve, tmp_path / "plain.scp").status == 0
    assert cli("convert", twelve, tmp_path / "short.scp", "--coding", "huffman").status == 0
    assert (tmp_path / "short.scp").stat().st_size < (tmp_path / "plain.scp").stat().st_size
    assert cli("compare", tmp_path / "short.scp", tmp_path / "plain.scp").status == 0


def test_the_same_command_gives_the_same_bytes(cli, twelve: Path, tmp_path: Path) -> None:
    for entry in FORMATS:
        made = []
        for folder in ("one", "two"):
            (tmp_path / folder).mkdir(exist_ok=True)
            target = tmp_path / folder / f"out{entry.suffix}"
            assert cli("convert", twelve, target).status == 0
            made.append({path.name: path.read_bytes() for path in (tmp_path / folder).iterdir()})
        assert made[0] == made[1]


# Receipt -----------------------------------------------------------------------------------------------------------


def test_the_receipt_goes_to_a_file_beside_the_target_or_elsewhere(cli, twelve: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    for place in (tmp_path / "receipt.json", tmp_path / "elsewhere" / "receipt.json"):
        done = cli("convert", twelve, tmp_path / "out.scp", "--receipt", place, "--overwrite", "--json")
        assert done.status == 0
        written = json.loads(place.read_text(encoding="utf-8"))
        assert written == done.document
        assert errors_in(written) == []


def test_a_receipt_that_cannot_be_written_stops_the_conversion(cli, twelve: Path, tmp_path: Path) -> None:
    (tmp_path / "there.json").write_text("{}")
    (tmp_path / "folder.json").mkdir()
    (tmp_path / "link.json").symlink_to(tmp_path / "there.json")
    for name in ("there.json", "folder.json", "link.json", "no/such.json"):
        done = cli("convert", twelve, tmp_path / "out.scp", "--receipt", tmp_path / name)
        assert done.status == 5
        assert done.err.startswith(f"interchange: {tmp_path / name}: ")
        assert not (tmp_path / "out.scp").exists()
    assert (tmp_path / "there.json").read_text() == "{}"


# Requests ----------------------------------------------------------------------------------------------------------


def test_a_receipt_elsewhere_is_written_before_the_target_appears(
    cli, twelve: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = tmp_path / "there"
    there.mkdir()
    words = ("convert", twelve, tmp_path / "out.scp", "--receipt", there / "r.json")
    real = os.open

    def full(path: Any, *arguments: Any) -> int:
        if str(path).startswith(str(there)):
            raise OSError(28, "No space left on device")
        return real(path, *arguments)

    monkeypatch.setattr(os, "open", full)
    done = cli(*words)
    monkeypatch.undo()
    assert done.status == 5
    assert "r.json: cannot be written: No space left on device" in done.err
    assert not (tmp_path / "out.scp").exists()
    assert list(there.iterdir()) == []
    assert cli(*words).status == 0
    assert [path.name for path in there.iterdir()] == ["r.json"]


def test_a_receipt_s_name_that_is_taken_at_the_last_moment_is_told(
    cli, twelve: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = tmp_path / "there"
    there.mkdir()
    real = os.link

    def taken(source: str, target: str) -> None:
        real(source, target)
        if target.endswith("out.scp"):
            (there / "r.json").write_bytes(b"somebody else's")

    monkeypatch.setattr(os, "link", taken)
    done = cli("convert", twelve, tmp_path / "out.scp", "--receipt", there / "r.json")
    assert done.status == 5
    assert "r.json: exists already" in done.err
    assert "out.scp is written, without its receipt" in done.err
    assert (there / "r.json").read_bytes() == b"somebody else's"
    assert interchange.read(tmp_path / "out.scp").format == "scp"


def test_a_name_that_is_no_text_is_written_or_refused(cli, records: Path, tmp_path: Path) -> None:
    source = records / "strip.hea"
    name = os.fsdecode(b"caf\xe9")
    done = cli("convert", source, tmp_path / f"{name}.scp")
    assert done.status == 5
    assert "the name is no text in UTF-8, and files of this format hold it" in done.err
    assert list(tmp_path.glob("caf*")) == []
    assert cli("convert", source, tmp_path / f"{name}.dcm").status == 0


def test_fields_are_set_and_listed_as_requested(cli, twelve: Path, tmp_path: Path, recording) -> None:
    done = cli(
        "convert", twelve, tmp_path / "out.dcm", "--set", "accession-number=A-7", "--set", "patient-id=X-1",
        "--set", "patient.height=170 cm", "--json",
    )  # fmt: skip
    assert done.status == 0, done.err
    requested = {e["path"]: (e["before"], e["after"]) for e in done.document["changed"] if e["requested"]}
    assert requested == {
        "acquisition.study.accession.value": ("NH31-0318-0642", "A-7"),
        "patient.ids[0].value": ("NH-204417", "X-1"),
        "patient.height": ("168 cm", "170 cm"),
    }
    shown = recording(tmp_path / "out.dcm")
    assert shown["patient"]["ids"][0]["value"] == "X-1"
    assert shown["patient"]["height"] == {"value": "170", "unit": "cm"}
    assert errors_in(done.document) == []


def test_a_lead_is_renamed_and_others_are_left(cli, twelve: Path, tmp_path: Path, recording) -> None:
    done = cli("convert", twelve, tmp_path / "out.dcm", "--relabel", "V4=V4R,V3=V3R")
    assert done.status == 0, done.err
    assert "changed on request" in done.out
    assert "name of V4: V4 -> V4R" in done.out
    leads = recording(tmp_path / "out.dcm")["tracings"][0]["leads"]
    assert leads == ["I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3R", "V4R", "V5", "V6"]


def test_leads_are_chosen_in_the_order_asked_for(cli, twelve: Path, tmp_path: Path, recording) -> None:
    done = cli("convert", twelve, tmp_path / "out.scp", "--leads", "V2, ii", "--json")
    assert done.status == 0, done.err
    assert recording(tmp_path / "out.scp")["tracings"][0]["leads"] == ["V2", "II"]
    assert any(entry["requested"] for entry in done.document["left"])
    assert done.document["samples_identical"]


def test_one_tracing_is_chosen(cli, records: Path, tmp_path: Path, recording) -> None:
    done = cli("convert", records / "strip.hea", tmp_path / "out.scp", "--tracing", "2")
    assert done.status == 0, done.err
    assert [tracing["leads"] for tracing in recording(tmp_path / "out.scp")["tracings"]] == [["II", "V1"]]


def test_only_ecg_leaves_other_signals(cli, tmp_path: Path, recording) -> None:
    channels = (Channel("II", "uV", Fraction(5)), Channel("PLETH", None))
    samples = np.arange(1000, dtype=np.int16).reshape(2, 500)
    interchange.write(Recording(tracings=(Tracing(channels, samples, Fraction(125)),)), tmp_path / "both.hea")
    done = cli("convert", tmp_path / "both.hea", tmp_path / "ecg.hea", "--only", "ecg")
    assert done.status == 0, done.err
    assert recording(tmp_path / "ecg.hea")["tracings"][0]["leads"] == ["II"]


def test_a_time_and_a_zone_are_given(cli, twelve: Path, tmp_path: Path, recording) -> None:
    done = cli("convert", twelve, tmp_path / "out.dcm", "--time", "2024-03-18T07:00:00", "--zone", "+02:00")
    assert done.status == 0, done.err
    assert recording(tmp_path / "out.dcm")["acquisition"]["time"] == "2024-03-18T07:00:00+02:00"


# Refused -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def uncommon(tmp_path: Path) -> Path:
    """A record at 360 samples a second: SCP-ECG counts whole microseconds between samples and cannot hold that."""
    samples = np.arange(24000, dtype=np.int16).reshape(2, 12000) % 700
    recording = twelve_leads().with_(measurements=(), statements=())
    channels = (Channel("I", "uV", Fraction(5)), Channel("II", "uV", Fraction(5)))
    path = tmp_path / "uncommon.hea"
    interchange.write(recording.with_(tracings=(Tracing(channels, samples, Fraction(360)),)), path)
    return path


def test_what_is_protected_is_refused_with_a_reason(cli, uncommon: Path, tmp_path: Path) -> None:
    done = cli("convert", uncommon, tmp_path / "out.scp")
    assert (done.status, done.out) == (4, "")
    assert done.err.startswith(f"interchange: {tmp_path / 'out.scp'}: ")
    assert done.err.count("\n") == 1
    assert "--accept timing" in done.err
    assert not (tmp_path / "out.scp").exists()


def test_a_refusal_lists_every_loss_as_json(cli, uncommon: Path, tmp_path: Path) -> None:
    done = cli("convert", uncommon, tmp_path / "out.scp", "--json")
    assert done.status == 4
    assert errors_in(done.document) == []
    assert [(loss["protected"], loss["path"]) for loss in done.document["losses"]] == [("timing", "tracings[0].rate")]
    assert done.document["losses"][0]["before"] == "360"


def test_what_is_accepted_is_done_and_listed(cli, uncommon: Path, tmp_path: Path) -> None:
    done = cli("convert", uncommon, tmp_path / "out.scp", "--accept", "timing", "--json")
    assert done.status == 0
    assert errors_in(done.document) == []
    assert done.document["samples_identical"] is False
    assert done.document["accepted"] == ["timing"]
    assert ("tracings[0].rate", "timing") in [(e["path"], e["protected"]) for e in done.document["changed"]]


def test_classes_may_be_given_together_or_one_by_one(cli, uncommon: Path, tmp_path: Path) -> None:
    together = cli("convert", uncommon, tmp_path / "a.scp", "--accept", "signal,timing", "--json").document
    apart = cli("convert", uncommon, tmp_path / "b.scp", "--accept", "timing", "--accept", "signal", "--json").document
    assert together["accepted"] == apart["accepted"] == ["signal", "timing"]


def test_a_refusal_does_not_quote_whom_it_is_about() -> None:
    from interchange.cli.failure import error_document, error_line
    from interchange.errors import RefusedError
    from interchange.receipt import Entry

    losses = (
        Entry("patient.name.family", "Mallory", "Mall", "does not fit", "identity"),
        Entry("acquisition.time", "2024-03-18T06:42:10", None, "the target has no place for it", "timing"),
        Entry("tracings[0].channels[1]", "Mallory II", None, "the target has no place for it", "signal"),
        Entry("tracings[0].samples[2]", "5000 samples", "17 of 5000 samples by up to 2.5 uV", "coarser", "signal"),
    )
    error = RefusedError("the target would change or lose identity", file="out.scp", losses=losses)
    document = error_document(error)
    assert errors_in(document) == []
    assert [(loss["before"], loss["after"]) for loss in document["losses"]] == [
        (None, None), (None, None), (None, None), ("5000 samples", "17 of 5000 samples by up to 2.5 uV"),
    ]  # fmt: skip
    assert error_line(error) == "interchange: out.scp: the target would change or lose identity"
