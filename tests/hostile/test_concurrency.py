"""Two writers of one target, many readers, and a source that changes while it is read."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import interchange
from interchange.errors import InterchangeError
from interchange.formats import FORMATS
from tests.fuzz.seeds import small_recording

ROOT = Path(__file__).resolve().parents[2]
SUFFIXES = [entry.suffix for entry in FORMATS]

WRITER = """
import sys
from dataclasses import replace
import interchange
from tests.fuzz.seeds import small_recording
target, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
recording = small_recording(int(sys.argv[4]))
recording = recording.with_(patient=replace(recording.patient, name=interchange.PersonName(family=name)))
for _ in range(count):
    interchange.write(recording, target, overwrite=True)
"""


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_two_processes_that_write_one_target_leave_one_of_the_two(suffix: str, tmp_path: Path) -> None:
    """Whenever somebody looks there is a whole record: the name of the one with the samples of the same one."""
    target = tmp_path / f"x{suffix}"
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    lengths = {"Alder": 40, "Birch": 48}
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(target), name, "25", str(length)],
            env=environment,
            stderr=subprocess.PIPE,
        )
        for name, length in lengths.items()
    ]
    seen = set()
    between = 0
    while any(writer.poll() is None for writer in writers):
        if target.exists():
            try:
                recording = interchange.read(target)
            except InterchangeError:
                between += 1  # the header was read, then both it and its signal file were replaced
                continue
            assert recording.patient.name is not None
            name = recording.patient.name.family
            assert recording.tracings[0].length == lengths[name or ""]
            seen.add(name)
        time.sleep(0.002)
    for writer in writers:
        errors = (writer.stderr.read() if writer.stderr else b"").decode()
        if writer.stderr:
            writer.stderr.close()
        assert writer.returncode == 0, errors
    last = interchange.read(target)
    assert last.patient.name is not None
    assert last.tracings[0].length == lengths[last.patient.name.family or ""]
    assert seen
    assert between == 0 or suffix == ".hea"
    assert not list(tmp_path.glob(".interchange-*"))


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_many_threads_read_the_same(suffix: str, tmp_path: Path) -> None:
    target = tmp_path / f"x{suffix}"
    interchange.write(small_recording(), target)
    expected = interchange.read(target)
    with ThreadPoolExecutor(16) as pool:
        found = list(pool.map(lambda _: interchange.read(target), range(64)))
    assert all(recording == expected for recording in found)


def test_a_source_that_changes_while_it_is_read_is_old_new_or_an_error(tmp_path: Path) -> None:
    old, new = small_recording(40), small_recording(48)
    files = {}
    for name, recording in (("old", old), ("new", new)):
        interchange.write(recording, tmp_path / f"{name}.scp")
        files[name] = (tmp_path / f"{name}.scp").read_bytes()
    target = tmp_path / "x.scp"
    target.write_bytes(files["old"])
    stop = threading.Event()

    def change() -> None:
        while not stop.is_set():
            for data in files.values():
                target.write_bytes(data)
                stop.wait(0.0005)  # else a busy machine shows nothing but files that are being written

    changer = threading.Thread(target=change)
    changer.start()
    try:
        digests = {old.tracings[0].digest, new.tracings[0].digest}
        whole = 0
        for _ in range(300):
            try:
                recording = interchange.read(target)
            except InterchangeError:
                continue
            if not any(finding.severity == "error" for finding in recording.findings):
                assert recording.tracings[0].digest in digests
                whole += 1
    finally:
        stop.set()
        changer.join()
    assert whole
