"""What is asked of a batch: wrong usage is said at once, and what is right is applied."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from datetime import date, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest

import interchange
from fixtures.field import recordings
from interchange.batch import Settings, run_batch
from interchange.cli.main import main
from interchange.requests import Requests
from tests.batch.archive import make_archive, record_files
from tests.batch.test_books import put, rows
from tests.batch.test_run import COMMAND


@pytest.mark.parametrize(
    "options",
    [
        ["--check-only", "--expect", "nonsense"],
        ["--check-only", "--config", "broken.toml"],
        ["--check-only", "--config", "none.toml"],
        ["--check-only", "--sample-format", "16"],
        ["--check-only", "--set", "sex=female"],
        ["--check-only", "--accept", "signal"],
        ["--check-only", "--verify", "none"],
        ["--check-only", "--deidentify"],
        ["--check-only", "--to", "scp"],
        ["--to", "scp", "--expect", ""],
        ["--to", "dicom", "--sample-format", "16"],
        ["--to", "dicom", "--time", "yesterday"],
        ["--to", "dicom", "--zone", "summer"],
        ["--to", "dicom", "--set", "nonsense=1"],
        ["--to", "dicom", "--set", "patient.nonsense=1"],
        ["--to", "dicom", "--set", "sex=perhaps"],
        ["--to", "dicom", "--set", "age= "],
    ],
)
def test_wrong_usage_is_refused_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], options: list[str]
) -> None:
    make_archive(tmp_path / "in", 2)
    (tmp_path / "broken.toml").write_text("expect = [")
    monkeypatch.chdir(tmp_path)
    assert main(["batch", "in", "--into", "out", "--jobs", "1", *options]) == 2
    assert capsys.readouterr().err.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_requests_that_depend_on_the_recording_are_tried_on_each(tmp_path: Path) -> None:
    put(tmp_path / "in", "x", 1)
    fields = (("patient.ids[0].value", "7"), ("patient.ids[0].issuer", "ward"), ("sex", "male"))
    requests = Requests(fields=fields, zone="+02:00", leads=("I", "V9"))
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", Settings("wfdb", requests=requests))
    assert result.failed == 1
    assert "no lead V9" in rows(tmp_path / "out")["x.hea"]["reason"]


@pytest.mark.parametrize("what", [["--to", "wfdb"], ["--check-only"]])
def test_from_is_applied(tmp_path: Path, what: list[str]) -> None:
    put(tmp_path / "in", "x", 1)
    command = ["batch", str(tmp_path / "in"), *what, "--jobs", "1"]
    assert main([*command, "--from", "wfdb", "--into", str(tmp_path / "right")]) == 0
    assert main([*command, "--from", "scp", "--into", str(tmp_path / "wrong")]) == 1
    assert rows(tmp_path / "wrong")["x.hea"]["status"] == "failed"


def test_a_time_in_the_future_is_found_as_check_finds_it(tmp_path: Path) -> None:
    ahead = date.today() + timedelta(days=400)
    interchange.write(recordings()["field-limb"], tmp_path / "x.hea")
    late = Requests(time=f"{ahead.isoformat()}T10:00:00+00:00").apply(interchange.read(tmp_path / "x.hea"))
    (tmp_path / "in").mkdir()
    interchange.write(late, tmp_path / "in" / "late.scp")
    (tmp_path / "strict.toml").write_text('[severity]\n"time.in-the-future" = "error"\n')
    strict = ["--config", str(tmp_path / "strict.toml")]
    assert main(["check", str(tmp_path / "in" / "late.scp"), *strict]) == 1
    for name, config, status in (("plain", [], 0), ("strict", strict, 1)):
        command = ["--into", str(tmp_path / name), "--check-only", "--jobs", "1", *config]
        assert main(["batch", str(tmp_path / "in"), *command]) == status
    assert rows(tmp_path / "strict")["late.scp"]["errors"] == "1"


@pytest.mark.skipif(sys.platform != "linux", reason="needs file names of any bytes")
@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\0"])
def test_names_of_any_bytes_come_on_standard_input(tmp_path: Path, end: bytes) -> None:
    source = os.fsencode(tmp_path) + b"/caf\xe9.scp"
    interchange.write(recordings()["field-limb"], tmp_path / "x.scp")
    os.rename(tmp_path / "x.scp", source)  # noqa: PTH104
    put(tmp_path, "two\nlines" if end == b"\0" else "plain", 1)
    names = end.join([source, os.fsencode(tmp_path) + (b"/two\nlines.hea" if end == b"\0" else b"/plain.hea"), b""])
    command = [*COMMAND, "-", "--check-only", "--into", str(tmp_path / "out"), "--jobs", "1"]
    done = subprocess.run(command, input=names, capture_output=True, timeout=60, check=False)
    assert done.stdout.startswith(b"2 recordings: "), done.stderr
    assert not done.stderr.startswith(b"interchange:")
    assert "caf\\udce9.scp" in rows(tmp_path / "out")


def test_no_names_on_standard_input_are_no_recordings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=io.BytesIO(b"\n\n")))
    assert main(["batch", "-", "--to", "scp", "--into", str(tmp_path / "out")]) == 0
    assert capsys.readouterr().out.startswith("0 recordings")


@pytest.mark.parametrize("command", [["", "--into", "out"], ["in", "--into", ""]])
def test_empty_names_are_wrong_usage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]) -> None:
    make_archive(tmp_path / "in", 1)
    monkeypatch.chdir(tmp_path)
    assert main(["batch", *command, "--to", "scp"]) == 2
    assert record_files("r00000", 0).keys() == {path.name for path in (tmp_path / "in" / "day000").iterdir()}
