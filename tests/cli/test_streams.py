"""Standard output and standard error under bad conditions, defects in the program, and what must never be seen."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from interchange import errors
from interchange.cli.failure import error_line, explained
from tests.cli.schemas import errors_in

ROOT = Path(__file__).resolve().parents[2]
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}


def start(*arguments: object, **settings: object) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "interchange", *map(str, arguments)]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "env": ENVIRONMENT}
    return subprocess.Popen(command, **{**pipes, **settings})  # type: ignore[call-overload,no-any-return]


def test_a_reader_that_goes_away_is_no_error() -> None:
    with start("rules") as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.close()
        assert running.stderr.read() == b""
    assert running.returncode == 141


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
@pytest.mark.parametrize("arguments", [["rules"], ["rules", "--json"], ["--version"], ["show", "--help"]])
def test_a_full_disk_under_standard_output_is_said(arguments: list[str]) -> None:
    with Path("/dev/full").open("wb") as full, start(*arguments, stdout=full) as running:
        assert running.stderr is not None
        said = running.stderr.read().decode()
    assert said == "interchange: standard output: cannot be written: No space left on device\n"
    assert running.returncode == 5


@pytest.mark.skipif(os.name != "posix", reason="needs a shell")
@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-", "<&-"])
def test_streams_that_are_closed_are_no_defect(closed: str, twelve: Path) -> None:
    shell = f"{sys.executable} -m interchange show {twelve} {closed}"
    done = subprocess.run(["sh", "-c", shell], capture_output=True, env=ENVIRONMENT, check=False, timeout=60)
    assert done.returncode == 0
    assert done.stderr == b""


@pytest.mark.skipif(os.name != "posix", reason="needs signals")
def test_an_interrupt_ends_quietly(tmp_path: Path) -> None:
    with start("check", "-", stdin=subprocess.PIPE, start_new_session=True) as running:
        assert running.stdin is not None
        assert running.stderr is not None
        time.sleep(1.5)
        os.kill(running.pid, signal.SIGINT)
        assert running.stderr.read() == b""
    assert running.returncode == 130


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252"])
def test_a_terminal_without_the_letters_gets_escapes(process, twelve: Path, encoding: str) -> None:
    done = process("show", twelve, env={"PYTHONIOENCODING": encoding, "LC_ALL": "C"})
    assert (done.status, done.err) == (0, "")
    assert ("\\xd8rwin" in done.out) == (encoding == "ascii")
    assert process("show", twelve, "--json", env={"PYTHONIOENCODING": encoding}).document["version"] == 1


def test_a_file_name_that_is_no_text_is_shown_as_escapes(process, tmp_path: Path) -> None:
    name = os.fsencode(tmp_path) + b"/\xff\x1b[31m.scp"
    Path(os.fsdecode(name)).write_bytes(b"x")
    done = subprocess.run(
        [sys.executable, "-m", "interchange", "show", name, "--json"], capture_output=True, env=ENVIRONMENT, check=False
    )
    assert done.returncode == 3
    assert b"\x1b" not in done.stderr + done.stdout
    assert b"\xff" not in done.stderr + done.stdout
    assert b"\\udcff\\x1b[31m.scp" in done.stderr


# Defects -----------------------------------------------------------------------------------------------------------


@pytest.fixture
def defect(monkeypatch: pytest.MonkeyPatch):
    """A defect in reading: the exception given comes out of the reader of every source."""

    def plant(error: BaseException) -> None:
        def fail(*_: object, **__: object) -> None:
            raise error

        monkeypatch.setattr("interchange.show.recording_text", fail)
        monkeypatch.setattr("interchange.show.recording_document", fail)

    return plant


def test_a_defect_is_one_line_without_what_the_exception_says(cli, twelve: Path, defect) -> None:
    defect(ValueError("Mallory"))
    done = cli("show", twelve)
    assert (done.status, done.out) == (5, "")
    assert done.err.startswith("interchange: internal error (ValueError in cli/show.py:")
    assert done.err.endswith("); please report it\n")
    assert done.err.count("\n") == 1
    assert "Mallory" not in done.err
    as_json = cli("show", twelve, "--json")
    assert as_json.status == 5
    assert errors_in(as_json.document) == []
    assert "Mallory" not in as_json.out


def test_memory_that_runs_out_is_said(cli, twelve: Path, defect) -> None:
    defect(MemoryError())
    done = cli("show", twelve)
    assert (done.status, done.err) == (5, "interchange: there is not enough memory for this\n")


def test_a_traceback_is_shown_to_developers_who_ask_for_it(
    capfd: pytest.CaptureFixture[str], twelve: Path, defect, monkeypatch: pytest.MonkeyPatch
) -> None:
    from interchange.cli.main import main

    defect(ValueError("inside"))
    monkeypatch.setenv("INTERCHANGE_TRACEBACK", "1")
    assert main(["show", str(twelve)]) == 5
    said = capfd.readouterr().err
    assert "Traceback" in said
    assert "ValueError: inside" in said
    assert said.endswith("please report it\n")


@pytest.mark.parametrize(
    ("kind", "status"),
    [("UsageError", 2), ("SourceError", 3), ("RefusedError", 4), ("TargetError", 5), ("InternalError", 5)],
)
def test_every_error_has_its_status_and_its_line(cli, twelve: Path, defect, kind: str, status: int) -> None:
    defect(getattr(errors, kind)("the reason", "the place", "the file"))
    done = cli("show", twelve, "--json")
    assert done.status == status
    assert done.err == "interchange: the file: the place: the reason\n"
    assert errors_in(done.document) == []
    assert (done.document["status"], done.document["losses"]) == (status, [])


def test_what_is_no_error_of_ours_is_a_defect() -> None:
    known = explained(OSError(5, "Input/output error"))
    assert isinstance(known, errors.InternalError)
    assert error_line(known) == "interchange: internal error (OSError in the program); please report it"
