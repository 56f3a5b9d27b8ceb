"""Nothing is shared: many threads read and write at the same time and each gets what it would get alone."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import interchange
from tests.contract.conftest import Written
from tests.contract.support import NAMES, SAMPLES, SUFFIX, sample, snapshot


@pytest.fixture(autouse=True)
def _switch_often() -> object:
    """Threads take turns every 10 microseconds."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    yield
    sys.setswitchinterval(before)


def test_sixteen_threads_read(written: Written) -> None:
    paths = [written(name, format).path for name in SAMPLES for format in NAMES]
    alone = [snapshot(interchange.read(path)) for path in paths]
    with ThreadPoolExecutor(16) as pool:
        together = list(pool.map(lambda path: snapshot(interchange.read(path)), paths * 2))
    assert together == alone * 2


def test_eight_threads_write(written: Written, tmp_path: Path) -> None:
    recording = sample("field-twelve")
    jobs = [(format, tmp_path / f"{format}{n}{SUFFIX[format]}") for n in range(4) for format in NAMES]

    def job(format: str, path: Path) -> bytes:
        interchange.write(recording, path, format=format)
        return path.read_bytes()

    with ThreadPoolExecutor(8) as pool:
        made = list(pool.map(lambda job_: job(*job_), jobs))
    for (format, path), data in zip(jobs, made, strict=True):
        first = written("field-twelve", format).path.read_bytes()
        if format != "wfdb":  # a record's name stands in its files
            assert data == first, path.name
        assert snapshot(interchange.read(path)) == snapshot(written("field-twelve", format).back)
