"""Errors, logs, progress and journals carry the path as given and nothing read from inside a file.

Receipts and reports are patient documents and do quote; everything else that the program prints or writes is searched
here for the marks that stand in the identity fields.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

import interchange
from interchange.errors import InterchangeError
from interchange.formats import FORMATS, load
from interchange.sources import Source
from tests.deidentify.test_files import marked
from tests.filled import MARK
from tests.fuzz.mutate import mutated

ROOT = Path(__file__).resolve().parents[2]
EVERYTHING = ("signal", "timing", "leads", "identity")


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, bytes]]:
    """The marked recording in every format: {format: {name: bytes}}, the main file last."""
    made = {}
    for entry in FORMATS:
        options = {option.name: option.values[0] for option in entry.options if option.values}
        made[entry.name] = dict(load(entry.name).encode(marked(), "x", options).files)
        assert MARK.encode() in b"".join(made[entry.name].values())
    return made


@pytest.mark.parametrize("format", [entry.name for entry in FORMATS])
def test_no_error_and_no_finding_of_a_damaged_file_quotes_it(format: str, files: dict[str, dict[str, bytes]]) -> None:
    chance = random.Random(4711)
    original = files[format]
    main = next(reversed(original))
    errors: list[str] = []
    for _ in range(400):
        name = chance.choice(list(original))
        changed = {**original, name: mutated(original[name], b"", chance)}
        try:
            recording = interchange.read({main: changed[main], **changed}, format=format)
        except InterchangeError as error:
            errors.append(f"{error} {error.reason} {error.place}")
        else:
            for item in recording.unread:
                assert MARK not in item.what
        for finding in load(format).check(Source(changed[main], main, main, changed)):
            assert MARK not in finding.reason
    assert errors
    assert MARK not in " ".join(errors)


@pytest.mark.parametrize("format", [entry.name for entry in FORMATS])
def test_commands_print_no_identity_but_in_receipts_and_reports(
    format: str, files: dict[str, dict[str, bytes]], tmp_path: Path
) -> None:
    suffix = next(entry.suffix for entry in FORMATS if entry.name == format)
    for name, data in files[format].items():
        (tmp_path / name).write_bytes(data)
    (tmp_path / f"broken{suffix}").write_bytes(files[format][f"x{suffix}"][:20])
    source = str(tmp_path / f"x{suffix}")
    out = tmp_path / "out"
    commands = [
        ["convert", source, str(tmp_path / "none" / "y.dcm")],
        ["convert", source, source],
        ["convert", source, str(tmp_path / "y.scp"), "--set", "birth-date=yesterday"],
        ["convert", source, str(tmp_path / "y.scp"), "--relabel", "V4=V4R"],
        ["convert", source, str(tmp_path / "y.scp"), "--tracing", "9"],
        ["convert", str(tmp_path / f"broken{suffix}"), str(tmp_path / "y.xml")],
        ["compare", source, str(tmp_path / "nothing")],
        ["batch", str(tmp_path), "--to", "wfdb", "--into", str(out), "--jobs", "1"],
        ["batch", str(tmp_path), "--check-only", "--into", str(tmp_path / "checked"), "--jobs", "1"],
    ]
    for command in commands:
        done = run(command)
        assert done.returncode != 0 or command[0] == "batch", command
        assert MARK.encode() not in done.stdout + done.stderr, command
    for book in (*out.glob("*.jsonl"), *out.glob("*.csv"), *(tmp_path / "checked").iterdir()):
        assert MARK.encode() not in book.read_bytes(), book.name


def test_a_refused_conversion_names_fields_and_no_values(files: dict[str, dict[str, bytes]], tmp_path: Path) -> None:
    for name, data in files["wfdb"].items():
        (tmp_path / name).write_bytes(data.replace(b" 500 500 ", b" 360 500 "))
    done = run(["convert", str(tmp_path / "x.hea"), str(tmp_path / "y.scp")])
    assert done.returncode == 4
    assert b"timing" in done.stderr
    assert MARK.encode() not in done.stdout + done.stderr


def run(arguments: list[str]) -> subprocess.CompletedProcess[bytes]:
    code = "from interchange.cli.main import run; run()"
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, env=environment, check=False)
