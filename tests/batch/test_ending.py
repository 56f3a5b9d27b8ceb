"""However a run ends, its workers end with it and the same command goes on."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from interchange.batch import Settings, run_batch
from interchange.batch.journal import Journal
from tests.batch.archive import make_archive
from tests.batch.test_run import COMMAND, tree

pytestmark = pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs a list of processes")

COUNT = 400


def descendants(pid: int) -> set[int]:
    """Processes below this one, by the parents that the system names."""
    parents = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                parents[int(entry.name)] = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
            except (OSError, IndexError):
                continue
    found = {pid}
    while more := {child for child, parent in parents.items() if parent in found and child not in found}:
        found |= more
    return found - {pid}


def alive(pid: int) -> bool:
    try:
        return (Path("/proc") / str(pid) / "stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def started(tmp_path: Path) -> tuple[subprocess.Popen[bytes], set[int]]:
    """A run with two workers that has results already; the processes below it."""
    make_archive(tmp_path / "in", COUNT, 2000)
    command = [*COMMAND, str(tmp_path / "in"), "--to", "dicom", "--into", str(tmp_path / "out"), "--jobs", "2"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    journal = tmp_path / "out" / Journal.NAME
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not (journal.exists() and journal.stat().st_size):
        time.sleep(0.005)
    below = descendants(process.pid)
    assert len(below) >= 2
    assert process.poll() is None
    return process, below


@pytest.mark.parametrize(("sent", "status"), [(signal.SIGTERM, 130), (signal.SIGKILL, -signal.SIGKILL)])
def test_the_workers_end_with_the_run(tmp_path: Path, sent: signal.Signals, status: int) -> None:
    process, below = started(tmp_path)
    os.kill(process.pid, sent)
    assert process.wait(30) == status
    deadline = time.monotonic() + 10
    while time.monotonic() < deadline and any(map(alive, below)):
        time.sleep(0.02)
    assert not [pid for pid in below if alive(pid)]
    if sent == signal.SIGTERM:
        assert not list((tmp_path / "out").rglob(".interchange-*"))
    settings = Settings(format="dicom")
    again = run_batch([str(tmp_path / "in")], tmp_path / "out", settings, jobs=2)
    assert 0 < again.resumed < COUNT
    assert again.done == COUNT
    run_batch([str(tmp_path / "in")], tmp_path / "calm", settings, jobs=2)
    assert tree(tmp_path / "out") == tree(tmp_path / "calm")


def test_the_request_to_end_is_as_before_after_a_run(tmp_path: Path) -> None:
    make_archive(tmp_path / "in", 1)
    program = (
        "import signal\n"
        "from interchange.cli.main import main\n"
        "signal.signal(signal.SIGTERM, signal.SIG_IGN)\n"
        f"main(['batch', {str(tmp_path / 'in')!r}, '--to', 'scp', '--into', {str(tmp_path / 'out')!r}])\n"
        "assert signal.getsignal(signal.SIGTERM) is signal.SIG_IGN"
    )
    subprocess.run([sys.executable, "-c", program], check=True, capture_output=True, timeout=60)
