"""The odd and broken records in fixtures/scp-odd: what is reported, what is read all the same."""

from __future__ import annotations

import tomllib

import pytest

import interchange
from interchange.formats import load
from interchange.sources import Source
from tests.formats.scp.odd import FILES, FOLDER, LEADS

EXPECTED = tomllib.loads((FOLDER / "EXPECTED.toml").read_text(encoding="utf-8"))


def test_every_file_is_expected_and_made_as_it_stands() -> None:
    assert set(EXPECTED) == set(FILES)
    assert {path.name for path in FOLDER.iterdir()} == {*FILES, "EXPECTED.toml"}
    for name, make in FILES.items():
        assert (FOLDER / name).read_bytes() == make(), name


@pytest.mark.parametrize("name", EXPECTED)
def test_what_is_reported(name: str) -> None:
    data = (FOLDER / name).read_bytes()
    found = {finding.rule.removeprefix("scp.") for finding in load("scp").check(Source(data, name))}
    assert sorted(found) == EXPECTED[name]["findings"]


@pytest.mark.parametrize("name", EXPECTED)
def test_what_is_read(name: str) -> None:
    wanted = EXPECTED[name]
    if "error" in wanted:
        with pytest.raises(interchange.SourceError) as error:
            interchange.read(FOLDER / name)
        assert wanted["error"] in error.value.reason
        return
    recording = interchange.read(FOLDER / name)
    assert [" ".join(tracing.names) for tracing in recording.tracings] == wanted["tracings"]
    assert sorted(entry.what for entry in recording.unread) == sorted(wanted.get("unread", []))


def test_samples_of_every_lossless_coding_are_the_same() -> None:
    for name in ("full.scp", "old.scp", "own-tables.scp", "version-3.scp"):
        tracing = interchange.read(FOLDER / name).tracings[0]
        assert tracing.samples.tolist() == [row for _, _, row in LEADS], name
