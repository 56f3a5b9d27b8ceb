"""Further files of a record: what is only called like one is no part of it, and is not replaced by one."""

from __future__ import annotations

from pathlib import Path

import pytest

import interchange
from fixtures.field import recordings
from interchange.errors import TargetError


def test_a_record_in_the_place_of_a_further_file_is_not_taken_for_it(tmp_path: Path) -> None:
    """It may be another patient's."""
    interchange.write(recordings()["field-strip"], tmp_path / "a.scp")
    interchange.write(recordings()["field-limb"], tmp_path / "b.scp")
    whole = interchange.read(tmp_path / "a.scp")
    (tmp_path / "a-2.scp").write_bytes((tmp_path / "b.scp").read_bytes())
    found = interchange.read(tmp_path / "a.scp")
    assert len(whole.tracings) == 2
    assert [tracing.digest for tracing in found.tracings] == [whole.tracings[0].digest]
    assert {f.rule: f.severity for f in found.findings if "part" in f.rule} == {"scp.part-missing": "error"}


def test_a_further_file_that_was_written_anew_is_an_error(tmp_path: Path) -> None:
    for name in ("a", "b"):
        interchange.write(recordings()["field-strip"], tmp_path / f"{name}.scp")
    (tmp_path / "a-2.scp").write_bytes((tmp_path / "b-2.scp").read_bytes())
    found = interchange.read(tmp_path / "a.scp")
    assert len(found.tracings) == 2
    assert {f.rule: f.severity for f in found.findings if "part" in f.rule} == {"scp.part-changed": "error"}


def test_no_record_is_written_over_a_further_file(tmp_path: Path) -> None:
    interchange.write(recordings()["field-strip"], tmp_path / "a.scp")
    held = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(TargetError, match="is a further file of another record"):
        interchange.write(recordings()["field-limb"], tmp_path / "a-2.scp", overwrite=True)
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == held


def test_names_with_characters_of_patterns(tmp_path: Path) -> None:
    name, foreign = "a[1]", tmp_path / "a1-2.scp"
    foreign.write_bytes(b"somebody else's")
    interchange.write(recordings()["field-strip"], tmp_path / f"{name}.scp")
    assert (tmp_path / f"{name}-2.scp").is_file()
    interchange.write(recordings()["field-limb"], tmp_path / f"{name}.scp", overwrite=True)
    assert {path.name for path in tmp_path.iterdir()} == {f"{name}.scp", "a1-2.scp"}
    assert foreign.read_bytes() == b"somebody else's"
