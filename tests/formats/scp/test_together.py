"""Reading and checking from one parsing give what each gives alone, also on damaged files."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from interchange.errors import SourceError
from interchange.formats import load
from interchange.sources import Source

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
FILES = sorted(FIXTURES.rglob("*.scp"))


def damaged(data: bytes) -> Iterator[bytes]:
    """Cut short at several places, and with one byte changed at several."""
    for number in range(1, 12):
        yield data[: len(data) * number // 12]
        place = len(data) * number // 12 - number
        yield data[:place] + bytes((data[place] ^ (0x10 + number),)) + data[place + 1 :]


def compare(source: Source) -> bool:
    """Whether there is a recording at all."""
    scp = load("scp")
    try:
        alone = scp.read(source)
    except SourceError as error:
        alone = (error.place, error.reason)
    if isinstance(alone, tuple):
        with pytest.raises(SourceError) as again:
            scp.read_and_check(source)
        assert (again.value.place, again.value.reason) == alone
        return False
    recording, findings = scp.read_and_check(source)
    assert recording == alone
    assert recording.findings == alone.findings
    assert findings == scp.check(source)
    return True


def test_there_are_odd_and_sound_files() -> None:
    assert {path.parent.name for path in FILES} == {"scp-odd", "scenario"}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_fixture(path: Path) -> None:
    compare(Source(path.read_bytes(), path.name, str(path), folder=path.parent))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_fixture_damaged(path: Path) -> None:
    read = [compare(Source(data, path.name)) for data in damaged(path.read_bytes())]
    assert any(read) or path.name in ("no-samples.scp", "more-samples-than-bytes.scp", "second-lead-damaged.scp")
