"""The files of the source are neither replaced nor removed, whatever the target is called."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

import interchange
from fixtures.field import twelve_leads
from interchange.errors import TargetError, UsageError
from interchange.sources import Source

Make = Callable[[Path], tuple[Path, Path]]


def held(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def signal_file(folder: Path) -> tuple[Path, Path]:
    interchange.write(twelve_leads(), folder / "w.hea")
    return folder / "w.hea", next(folder.glob("*.dat"))


def further_file(folder: Path) -> tuple[Path, Path]:
    _two_files(folder / "a.scp")
    return folder / "a.scp", folder / "a-2.scp"


def further_file_of_the_target(folder: Path) -> tuple[Path, Path]:
    """The source is what an earlier conversion of this target left, and would be removed."""
    _two_files(folder / "a.scp")
    return folder / "a-2.scp", folder / "a.scp"


def by_a_hard_link(folder: Path) -> tuple[Path, Path]:
    source, signal = signal_file(folder)
    (folder / "other.scp").hardlink_to(signal)
    return source, folder / "other.scp"


def _two_files(target: Path) -> None:
    """A record with a second rhythm, for which SCP-ECG takes a second file."""
    recording = twelve_leads()
    rhythm = next(t for t in recording.tracings if t.kind == "rhythm")
    later = interchange.model.Tracing(rhythm.channels, rhythm.samples[:, :-5], rhythm.rate, start=rhythm.start + 60)
    interchange.write(recording.with_(tracings=(rhythm, later), marks=(), measurements=()), target, accept=["timing"])
    assert target.with_name("a-2.scp").is_file()


@pytest.mark.parametrize("make", [signal_file, further_file, further_file_of_the_target, by_a_hard_link])
def test_a_file_of_the_source_is_refused_as_target(tmp_path: Path, make: Make) -> None:
    source, target = make(tmp_path)
    before = held(tmp_path)
    with pytest.raises(TargetError, match=r"of the source|a further file"):
        interchange.convert(source, target, "scp", overwrite=True, accept=["signal", "timing", "leads", "identity"])
    assert held(tmp_path) == before


def test_a_receipt_does_not_take_the_place_of_a_file_of_the_source(tmp_path: Path) -> None:
    source, signal = signal_file(tmp_path)
    before = held(tmp_path)
    with pytest.raises(TargetError, match="of the source"):
        interchange.convert(source, tmp_path / "x.scp", overwrite=True, receipt_name=signal.name)
    assert held(tmp_path) == before


def test_another_file_beside_the_source_may_be_replaced(tmp_path: Path) -> None:
    source, _ = signal_file(tmp_path)
    (tmp_path / "w.scp").write_bytes(b"old")
    interchange.convert(source, tmp_path / "w.scp", overwrite=True)
    assert interchange.read(tmp_path / "w.scp").format == "scp"


def test_a_source_remembers_what_it_gave_out(tmp_path: Path) -> None:
    (tmp_path / "b.dat").write_bytes(b"b")
    source = Source(b"a", "a.hea", folder=tmp_path)
    assert source.neighbour("c.dat") is None
    assert source.paths == (str(tmp_path / "a.hea"),)
    assert source.neighbour("b.dat") == b"b"
    assert source.paths == (str(tmp_path / "a.hea"), str(tmp_path / "b.dat"))
    assert Source(b"a", "a.hea", files={"b.dat": b"b"}).paths == ()


def test_a_receipt_needs_a_name_of_its_own(tmp_path: Path) -> None:
    source, _ = signal_file(tmp_path)
    with pytest.raises(UsageError, match="the receipt needs a file of its own"):
        interchange.convert(source, tmp_path / "b.scp", receipt_name="b.scp", overwrite=True)
    with pytest.raises(UsageError, match="the receipt needs a file of its own"):
        interchange.convert(source, tmp_path / "b", "wfdb", receipt_name="b.hea")
    assert not list(tmp_path.glob("b*"))
