"""Truncated, changed and foreign bytes: an error that says what is wrong, or a reading with findings; nothing else."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import interchange
from interchange import formats
from interchange.sources import Source
from tests.contract.conftest import Written
from tests.contract.support import NAMES, assert_sound

LONGEST = 5.0
"""Seconds that a small broken file may take at most, on a busy machine."""

each = pytest.mark.parametrize("format", NAMES)
SMALL = "everything"


def files_of(path: Path) -> dict[str, bytes]:
    """The record's files by name, the main one first."""
    others = [p for p in sorted(path.parent.iterdir()) if p != path]
    return {p.name: p.read_bytes() for p in (path, *others)}


def attempt(format: str, files: dict[str, bytes]) -> interchange.Recording | None:
    """Read and check; only sound errors get through, and in time."""
    main = next(iter(files))
    begin = time.perf_counter()
    recording = None
    try:
        recording = interchange.read(files, format=format)
    except interchange.InterchangeError as error:
        assert_sound(error)
    source = Source(files[main], main, main, files)
    for finding in formats.load(format).check(source):
        assert finding.rule
        assert finding.reason
    assert time.perf_counter() - begin < LONGEST
    return recording


def cuts(size: int) -> Iterator[int]:
    """Every place in the first bytes and the last, and some between."""
    yield from range(min(size, 40))
    yield from range(40, size, max(1, size // 60))
    yield from range(max(0, size - 12), size)


@each
def test_a_file_that_ends_early(format: str, written: Written) -> None:
    files = files_of(written(SMALL, format).path)
    main = next(iter(files))
    whole = files[main]
    for cut in sorted(set(cuts(len(whole)))):
        attempt(format, {**files, main: whole[:cut]})


@each
def test_a_neighbour_that_ends_early_or_is_gone(format: str, written: Written) -> None:
    files = files_of(written(SMALL, format).path)
    _main, *others = files
    for other in others:
        attempt(format, {name: data for name, data in files.items() if name != other})
        for cut in sorted(set(cuts(len(files[other]))))[::4]:
            attempt(format, {**files, other: files[other][:cut]})


@each
def test_bytes_that_were_changed(format: str, written: Written) -> None:
    files = files_of(written(SMALL, format).path)
    generator = np.random.default_rng(20240318)
    for name, whole in files.items():
        for _ in range(160 if name == next(iter(files)) else 20):
            broken = bytearray(whole)
            for place in generator.integers(0, len(whole), size=int(generator.integers(1, 4))):
                broken[int(place)] = int(generator.choice([0, 0xFF, 0x20, 0x2D, 0x39, int(generator.integers(256))]))
            attempt(format, {**files, name: bytes(broken)})


@each
def test_pieces_that_are_missing_doubled_or_moved(format: str, written: Written) -> None:
    files = files_of(written(SMALL, format).path)
    main = next(iter(files))
    whole = files[main]
    generator = np.random.default_rng(64210)
    for _ in range(60):
        a, b = sorted(int(n) for n in generator.integers(0, len(whole), size=2))
        b = min(b, a + 300)
        for broken in (whole[:a] + whole[b:], whole[:b] + whole[a:], whole[:a] + b"\xff" * (b - a) + whole[b:]):
            attempt(format, {**files, main: broken})


@each
@settings(max_examples=60, deadline=None)
@given(data=st.binary(max_size=200), keep=st.integers(0, 400))
def test_garbage_after_a_good_beginning(format: str, data: bytes, keep: int) -> None:
    attempt(format, {"x": _beginning(format)[:keep] + data})


_BEGINNINGS: dict[str, bytes] = {}


def _beginning(format: str) -> bytes:
    if format not in _BEGINNINGS:
        import tempfile

        from tests.contract.support import sample

        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "x"
            interchange.write(sample("field-limb"), path, format=format)
            _BEGINNINGS[format] = next(p for p in sorted(Path(folder).iterdir()) if p.suffix != ".dat").read_bytes()
    return _BEGINNINGS[format]


@each
def test_the_file_of_another_format_is_refused(format: str, written: Written) -> None:
    for other in NAMES:
        if other != format:
            files = files_of(written(SMALL, other).path)
            assert attempt(format, files) is None


@each
@pytest.mark.parametrize("data", [b"", b"\n", b"\0", b"\0" * 5000, b"\xff" * 5000, b" \r\n\t" * 100, b"#" * 5000])
def test_nothing_in_it(format: str, data: bytes) -> None:
    assert attempt(format, {"x": data}) is None


@each
def test_errors_never_quote_the_file(format: str, written: Written) -> None:
    """A secret that stands everywhere in the text of a file is in no message."""
    files = files_of(written(SMALL, format).path)
    main = next(iter(files))
    secret = b"Varga"
    assert any(secret in data for data in files.values())
    whole = files[main]
    for cut in sorted(set(cuts(len(whole)))):
        broken = {**files, main: whole[:cut]}
        texts = []
        try:
            recording = interchange.read(broken, format=format)
            texts += [f.reason + f.place for f in recording.findings] + [u.what + u.place for u in recording.unread]
        except interchange.InterchangeError as error:
            texts.append(str(error))
        source = Source(broken[main], main, main, broken)
        texts += [f.reason + f.place for f in formats.load(format).check(source)]
        assert not any("Varga" in text or "Bárdos" in text for text in texts)
