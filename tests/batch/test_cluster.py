"""The same work on a dask.distributed scheduler with two worker processes, one of which dies in mid-run."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from interchange.batch import Settings, run_batch
from interchange.batch.journal import Journal
from tests.batch.archive import make_archive
from tests.batch.test_run import tree

pytest.importorskip("distributed", reason="the extra 'cluster' is not installed")

ROOT = Path(__file__).resolve().parents[2]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A scheduler on the loopback interface and two worker processes, stopped at the end."""
    port = free_port()
    address = f"tcp://127.0.0.1:{port}"
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "DASK_DISTRIBUTED__ADMIN__LOW_LEVEL_LOG_LENGTH": "0"}
    common = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": environment, "cwd": tmp_path}
    scheduler = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "distributed.cli.dask_scheduler",
            "--host",
            "127.0.0.1",
            "--port",
            str(port),
            "--no-dashboard",
        ],
        **common,  # type: ignore[call-overload]
    )
    worker = [
        sys.executable,
        "-m",
        "distributed.cli.dask_worker",
        address,
        "--nthreads",
        "1",
        "--no-nanny",
        "--no-dashboard",
    ]
    workers = [subprocess.Popen(worker, **common) for _ in range(2)]  # type: ignore[call-overload]
    try:
        yield address, workers
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


@pytest.mark.filterwarnings("default")
def test_a_worker_that_dies_loses_nothing(tmp_path: Path, cluster: tuple[str, list[subprocess.Popen[bytes]]]) -> None:
    from distributed import Client

    address, workers = cluster
    make_archive(tmp_path / "in", 160)
    settings = Settings(format="wfdb")
    run_batch([str(tmp_path / "in")], tmp_path / "calm", settings)
    journal = tmp_path / "out" / Journal.NAME
    killed: list[int] = []

    def kill_in_mid_run() -> None:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            done = journal.read_bytes().count(b"\n") if journal.exists() else 0
            if 0 < done < 150:
                workers[0].send_signal(signal.SIGKILL)
                killed.append(done)
                return
            time.sleep(0.002)

    with Client(address, timeout=60) as client:
        client.wait_for_workers(2, timeout=60)
        killer = threading.Thread(target=kill_in_mid_run)
        killer.start()
        with client.get_executor() as executor:
            result = run_batch([str(tmp_path / "in")], tmp_path / "out", settings, executor=executor)
        killer.join()
    assert killed
    assert (result.total, result.done) == (160, 160)
    assert tree(tmp_path / "out") == tree(tmp_path / "calm")
