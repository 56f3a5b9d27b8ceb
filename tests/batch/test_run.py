"""Runs: what is done, what is remembered, what one bad file does to the rest."""

from __future__ import annotations

import csv
import io
import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

import interchange
from interchange.batch import Settings, run_batch
from interchange.batch.journal import Journal
from interchange.batch.manifest import manifest_bytes
from interchange.batch.progress import Progress
from interchange.errors import TargetError, UsageError
from interchange.publish import Publication
from tests.batch.archive import make_archive, record_files

TO_WFDB = Settings(format="wfdb")


def tree(folder: Path) -> dict[str, bytes]:
    """Every file but the journal, whose lines come in the order in which work ended."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "journal.jsonl"
    }


def rows(folder: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO((folder / "manifest.csv").read_text(encoding="utf-8"))))


def test_every_recording_is_converted_with_its_receipt(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 12)
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert (result.total, result.done, result.status) == (12, 12, 0)
    source = interchange.read(tmp_path / "in" / "day001" / "r00010.hea")
    written = interchange.read(tmp_path / "out" / "day001" / "r00010.hea")
    assert written.tracings[0].digest == source.tracings[0].digest
    receipt = json.loads((tmp_path / "out" / "day001" / "r00010.hea.receipt.json").read_text())
    assert receipt["samples_identical"] is True
    row = rows(tmp_path / "out")[10]
    assert (row["name"], row["leads"], row["rate"], row["duration"], row["verdict"]) == (
        "day001/r00010.hea", "I II V1 V2", "500", "0.2", "samples identical",
    )  # fmt: skip
    assert row["digest"] == source.tracings[0].digest


@pytest.mark.parametrize("into", [".", "below", "below/"])
def test_the_target_may_be_where_one_stands(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, into: str) -> None:
    (tmp_path / "in").mkdir()
    for name, data in record_files("one", 1).items():
        (tmp_path / "in" / name).write_bytes(data)
    (tmp_path / "out").mkdir()
    monkeypatch.chdir(tmp_path / "out")
    result = run_batch(["../in"], into, TO_WFDB)
    assert (result.total, result.done) == (1, 1)
    assert {path.name for path in Path(into).iterdir() if path.is_file()} >= {"one.hea", "journal.jsonl"}


def test_bad_files_have_their_reason_and_stop_nothing(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 5)
    (tmp_path / "in" / "day000" / "r00001.dat").unlink()
    header = tmp_path / "in" / "day000" / "r00002.hea"
    header.write_bytes(header.read_bytes().replace(b" 4 500 ", b" 4 -500 "))
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert (result.done, result.failed, result.status) == (3, 2, 1)
    failed = {row["name"]: row["reason"] for row in rows(tmp_path / "out") if row["status"] == "failed"}
    assert set(failed) == {"day000/r00001.hea", "day000/r00002.hea"}
    assert all(failed.values())
    assert not list((tmp_path / "out").rglob("r00001*"))


def test_a_damaged_source_and_a_missing_name_are_in_the_books(tmp_path: Path) -> None:
    """What can still be read of a damaged record is converted, but such a run does not end with 0."""
    make_archive(tmp_path / "in", 2)
    whole = interchange.read(tmp_path / "in" / "day000" / "r00000.hea")
    interchange.write(whole, tmp_path / "in" / "cut.scp")
    data = (tmp_path / "in" / "cut.scp").read_bytes()
    (tmp_path / "in" / "cut.scp").write_bytes(data[:-200])
    result = run_batch([str(tmp_path / "in"), str(tmp_path / "gone.scp")], tmp_path / "out", TO_WFDB)
    assert (result.total, result.done, result.failed, result.with_errors, result.status) == (4, 3, 1, 1, 1)
    told = {row["name"]: row for row in rows(tmp_path / "out")}
    assert (told["gone.scp"]["status"], told["gone.scp"]["reason"]) == ("failed", "there is no such file")
    assert int(told["cut.scp"]["errors"]) > 0
    assert told["day000/r00001.hea"]["errors"] == "0"


def test_the_same_command_again_does_nothing_and_changes_nothing(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 6)
    (tmp_path / "in" / "day000" / "r00001.dat").unlink()
    run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    before = tree(tmp_path / "out")
    again = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert (again.worked, again.resumed) == (1, 5), "what could not be read is tried again"
    assert tree(tmp_path / "out") == before


@pytest.mark.parametrize("what", ["source changed", "other options", "output gone"])
def test_what_is_no_longer_true_is_done_again(tmp_path: Path, what: str) -> None:
    make_archive(tmp_path / "in", 4)
    run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    settings = TO_WFDB
    if what == "source changed":
        header = tmp_path / "in" / "day000" / "r00002.hea"
        header.write_bytes(header.read_bytes() + b"# more\n")
        settings = Settings(format="wfdb", overwrite=True)
    elif what == "other options":
        settings = Settings(format="wfdb", options=(("sample_format", "32"),), overwrite=True)
    else:
        (tmp_path / "out" / "day000" / "r00002.hea").unlink()
    again = run_batch([str(tmp_path / "in")], tmp_path / "out", settings)
    assert again.worked == (4 if what == "other options" else 1)
    assert again.status == 0


def test_a_foreign_file_in_the_way_is_never_replaced(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 2)
    (tmp_path / "out" / "day000").mkdir(parents=True)
    (tmp_path / "out" / "day000" / "r00000.hea").write_bytes(b"mine")
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert (result.done, result.failed) == (1, 1)
    assert (tmp_path / "out" / "day000" / "r00000.hea").read_bytes() == b"mine"
    assert "exists already" in rows(tmp_path / "out")[0]["reason"]


def test_two_processes_give_what_one_gives(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 40)
    run_batch([str(tmp_path / "in")], tmp_path / "one", TO_WFDB)
    run_batch([str(tmp_path / "in")], tmp_path / "two", TO_WFDB, jobs=2)
    assert tree(tmp_path / "one") == tree(tmp_path / "two")


def test_any_executor_will_do(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 20)
    run_batch([str(tmp_path / "in")], tmp_path / "one", TO_WFDB)
    with ThreadPoolExecutor(2) as pool:
        run_batch([str(tmp_path / "in")], tmp_path / "two", TO_WFDB, executor=pool)
    assert tree(tmp_path / "one") == tree(tmp_path / "two")


class Flaky(ThreadPoolExecutor):
    """Loses the first pieces of work, as a cluster does whose worker dies."""

    lost = 0

    def submit(self, function: Any, /, *arguments: Any, **named: Any) -> Future[Any]:
        if self.lost < 2:
            self.lost += 1
            future: Future[Any] = Future()
            future.set_exception(RuntimeError("worker died"))
            return future
        return super().submit(function, *arguments, **named)


def test_lost_work_is_done_again(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 20)
    with Flaky(2) as pool:
        result = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB, executor=pool)
    assert (result.done, result.status) == (20, 0)


def test_a_dead_executor_is_an_error_and_the_work_goes_on_later(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 4)
    pool = ThreadPoolExecutor(1)
    pool.shutdown()
    with pytest.raises(TargetError, match="stopped taking work"):
        run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB, executor=pool)
    assert run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB).done == 4


COMMAND = [sys.executable, "-c", "from interchange.cli.main import run; run()", "batch"]


def test_killed_fifty_times_it_ends_as_if_undisturbed(tmp_path: Path) -> None:
    """SIGKILL at random moments (fixed seed), then resume: outputs and manifest equal an undisturbed run's."""
    make_archive(tmp_path / "in", 150)
    (tmp_path / "in" / "day003" / "r00033.dat").unlink()
    run_batch([str(tmp_path / "in")], tmp_path / "calm", TO_WFDB)
    command = [*COMMAND, str(tmp_path / "in"), "--to", "wfdb", "--into", str(tmp_path / "killed"), "--jobs", "2"]
    chance = random.Random(4711)
    killed = 0
    for _ in range(50):
        process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        time.sleep(chance.uniform(0.05, 1.1))
        if process.poll() is None:
            os.killpg(process.pid, signal.SIGKILL)
            killed += 1
        process.wait()
        for path in (tmp_path / "killed").rglob("*.hea"):
            assert interchange.read(path).tracings[0].length == 100
    assert killed > 0
    assert subprocess.run(command, capture_output=True, check=False).returncode == 1
    assert tree(tmp_path / "killed") == tree(tmp_path / "calm")


def test_a_half_written_line_of_the_journal_is_cut_off(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 3)
    run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    path = tmp_path / "out" / Journal.NAME
    data = path.read_bytes()
    path.write_bytes(data[:-20])
    again = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert (again.worked, again.done) == (1, 3)
    assert len(path.read_bytes().splitlines()) == 3


def test_a_file_that_is_no_journal_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / Journal.NAME).write_text("my notes\n")
    with pytest.raises(UsageError, match="line 1: is no journal"):
        run_batch([], tmp_path, TO_WFDB)
    assert (tmp_path / Journal.NAME).read_text() == "my notes\n"


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write everywhere")
def test_a_read_only_target(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(TargetError):
        run_batch([], tmp_path / "out", TO_WFDB)


def test_a_full_disk_is_a_reason_per_recording(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make_archive(tmp_path / "in", 3)
    real = os.write
    free = [True]

    def full(handle: int, data: Any) -> int:
        if free[0] and bytes(data).startswith(b"r00001 "):
            free[0] = False
            raise OSError(28, "No space left on device")
        return real(handle, data)

    monkeypatch.setattr(os, "write", full)
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert (result.done, result.failed) == (2, 1)
    assert "No space left" in rows(tmp_path / "out")[1]["reason"]
    assert not list((tmp_path / "out").rglob("r00001*"))
    again = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert (again.worked, again.done) == (1, 3)


def test_a_folder_that_does_not_reach_the_disk_is_a_failure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make_archive(tmp_path / "in", 3)

    def lost(folder: Path) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("interchange.publish._sync_folder", lost)
    with pytest.raises(TargetError):  # the manifest does not get there either
        run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    monkeypatch.undo()
    journal = [json.loads(line) for line in (tmp_path / "out" / "journal.jsonl").read_text().splitlines()]
    assert [(entry["status"], entry["exit_status"]) for entry in journal] == [("failed", 5)] * 3
    assert all("Input/output error" in entry["reason"] for entry in journal)
    again = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert (again.worked, again.done) == (3, 3)


def test_an_interrupted_chunk_leaves_nothing_unfinished(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make_archive(tmp_path / "in", 4)
    real, count = Publication.write, [0]

    def interrupted(self: Publication) -> None:
        count[0] += 1
        real(self)
        if count[0] == 3:
            raise KeyboardInterrupt

    monkeypatch.setattr(Publication, "write", interrupted)
    with pytest.raises(KeyboardInterrupt):
        run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert count[0] == 3
    assert not list((tmp_path / "out").rglob(".interchange-*"))


def test_names_that_look_like_formulas_are_text_in_the_manifest() -> None:
    entry = {"name": "=HYPERLINK(1)", "reason": '@x,"y"\nz', "verified": True, "status": "failed"}
    row = next(csv.DictReader(io.StringIO(manifest_bytes([entry]).decode())))
    assert (row["name"], row["reason"], row["verified"]) == ("'=HYPERLINK(1)", '\'@x,"y"\nz', "yes")


def test_journal_and_manifest_hold_nothing_about_the_person(tmp_path: Path) -> None:
    files = record_files("one", 1)
    (tmp_path / "in").mkdir()
    for name, data in files.items():
        (tmp_path / "in" / name).write_bytes(
            data.replace(b"# Sex: Female", b"# Sex: Female\n# patient.name: family=Zyxmark")
        )
    result = run_batch([str(tmp_path / "in")], tmp_path / "out", TO_WFDB)
    assert result.done == 1
    assert b"Zyxmark" in (tmp_path / "out" / "one.hea").read_bytes()
    for name in ("journal.jsonl", "manifest.csv"):
        assert b"Zyxmark" not in (tmp_path / "out" / name).read_bytes()


class Stream(io.StringIO):
    def __init__(self, terminal: bool) -> None:
        super().__init__()
        self.terminal = terminal

    def isatty(self) -> bool:
        return self.terminal


def clock(times: Sequence[float]) -> Any:
    values = iter(times)
    return lambda: next(values)


def test_progress_is_a_bar_on_a_terminal_and_lines_elsewhere() -> None:
    bar = Stream(True)
    shown = Progress(bar, 100, clock([0.0, 10.0]))
    shown.add(25, 2)
    assert bar.getvalue().startswith("\r[======                  ] 25 of 100, 2.5/s, 0:30 left, 2 not done")
    plain = Stream(False)
    shown = Progress(plain, 100, clock([0.0, 1.0, 16.0]))
    shown.add(5, 0)
    assert plain.getvalue() == ""
    shown.add(5, 0)
    assert plain.getvalue() == "10 of 100, 0.6/s, 2:24 left, 0 not done\n"
