"""Whole processes: start-up, archives, memory."""

from __future__ import annotations

import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import interchange
from tests.batch.archive import make_archive
from tests.benchmark.measure import Row, at_least, at_most
from tests.benchmark.signals import coarse

__all__ = ["rows"]

ROOT = Path(__file__).resolve().parents[2]
RUN = [sys.executable, "-c", "from interchange.cli.main import run; run()"]


def rows(rounds: int, archive: int, small: int) -> Iterator[Row]:
    """Every row of this module; ``archive`` recordings of ten seconds, ``small`` ones for the memory row."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        yield from _start_up(folder, max(rounds // 2, 7))
        yield from _archive(folder, archive)
        yield from _memory(folder, small)


def _start_up(folder: Path, rounds: int) -> Iterator[Row]:
    interchange.write(coarse().with_(marks=()), folder / "bench.hea")
    source = str(folder / "bench.hea")
    cases = [("--version", ["--version"], 3.5)]
    for suffix, title, goal in ((".scp", "SCP-ECG", 13), (".xml", "aECG", 14), (".dcm", "DICOM", 28)):
        cases.append((f"WFDB to {title}", ["convert", "--overwrite", source, str(folder / f"x{suffix}")], goal))
    bare = [sys.executable, "-c", "pass"]
    for words, arguments, goal in cases:
        ratios = []
        _seconds([*RUN, *arguments])
        for _ in range(rounds):
            one, other = _seconds([*RUN, *arguments]), _seconds(bare)
            ratios.append(one / other)
        yield at_most(f"start-up: {words}", "bare interpreter", _spread(ratios), goal)


def _archive(folder: Path, count: int) -> Iterator[Row]:
    source = folder / "archive"
    source.mkdir()
    files = sorted(folder.glob("bench*"))
    for number in range(count):
        place = source / f"{number // 100:03}"
        place.mkdir(exist_ok=True)
        for path in files:
            if path.suffix in (".hea", ".dat"):
                shutil.copy(path, place / path.name.replace("bench", f"r{number:05}"))
        header = place / f"r{number:05}.hea"
        header.write_bytes(header.read_bytes().replace(b"bench", b"r%05d" % number))
    plain = folder / "plain"
    plain.mkdir()
    script = (
        "import sys; from pathlib import Path; from tests.benchmark.plain import convert_in_the_plain_way as c\n"
        f"for p in sorted(Path({str(source)!r}).rglob('*.hea')): c(p, Path({str(plain)!r}) / (p.stem + '.dcm'))"
    )
    theirs, ours, one, two = [], [], [], []
    for number in range(5):
        theirs.append(_seconds([sys.executable, "-c", script]))
        for jobs, times in ((2, two), (1, one)):
            target = folder / f"out{number}{jobs}"
            command = ["batch", str(source), "--to", "dicom", "--into", str(target), "--jobs", str(jobs)]
            times.append(_seconds([*RUN, *command]))  # removed at the end: ext4 creates slowly after many removals
    ours = two
    many = f"{count} ten-second 12-leads"
    yield at_least(
        f"archive of {many}, WFDB to DICOM, two processes, verified, recordings a second",
        "wfdb.rdrecord + pydicom, one process, unverified",
        _spread([a / b for a, b in zip(theirs, ours, strict=True)]),
        6,
    )
    yield at_least(
        "batch with two processes, recordings a second",
        "one process",
        _spread([a / b for a, b in zip(one, two, strict=True)]),
        1.8,
    )


def _memory(folder: Path, count: int) -> Iterator[Row]:
    source = folder / "small"
    make_archive(source, count)
    script = (
        "import json, resource, sys\n"
        "from interchange.batch import Settings\n"
        "from interchange.batch.find import find_recordings\n"
        "from interchange.batch.job import Job, make_ready, work_and_tidy\n"
        "import interchange.batch.preload\n"
        "import interchange.formats.dicom.checker, interchange.formats.dicom.reader, interchange.formats.dicom.writer\n"
        "make_ready()\n"
        f"found = find_recordings([{str(source)!r}])\n"
        f"settings = Settings(format='dicom', overwrite=True)\n"
        "peaks = []\n"
        "for start in range(0, len(found), 25):\n"
        f"    jobs = [Job(item.path, item.name, {str(folder / 'memory.dcm')!r}, 'memory.dcm')"
        " for item in found[start : start + 25]]\n"
        "    work_and_tidy(jobs, settings)\n"
        "    if start + len(jobs) in (100, len(found)):\n"
        "        peaks.append(int(open('/proc/self/statm').read().split()[1]))\n"
        "print(json.dumps(peaks))"
    )
    environment = _environment()
    out = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, env=environment)
    first, last = json.loads(out.stdout)
    yield at_most(
        f"memory of a worker after {count} files", "after 100", (last / first, last / first, last / first), 1.05
    )


def _environment() -> dict[str, str]:
    """The caller's, with byte code kept, as it is where a package is installed; the first round of each warms up."""
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    return {**environment, "PYTHONPATH": str(ROOT)}


def _seconds(command: list[str]) -> float:
    environment = _environment()
    began = time.perf_counter()
    done = subprocess.run(command, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=environment)
    passed = time.perf_counter() - began
    if done.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {done.returncode}: {done.stderr.decode()}")
    return passed


def _spread(ratios: list[float]) -> tuple[float, float, float]:
    ordered = sorted(ratios)
    return statistics.median(ordered), ordered[len(ordered) // 10], ordered[-1 - len(ordered) // 10]
