"""Every rule of the format is broken by one record and not by the sound one."""

from __future__ import annotations

import json

import pytest

from interchange.formats import wfdb as ours
from interchange.formats.wfdb.rules import BY_ID, RULES
from interchange.sources import Source
from tests.formats.wfdb import odd

ALONGSIDE = {
    "wfdb.time-order": {"wfdb.time-form"},
    "wfdb.name-characters": {"wfdb.name-differs"},
    "wfdb.rate-missing": {"wfdb.samples-missing"},
    "wfdb.signal-field": {"wfdb.checksum-missing"},
    "wfdb.checksum-missing": {"wfdb.description-missing"},
    "wfdb.segment-missing": {"wfdb.segment-sum"},
}
"""What a record cannot help breaking together with its rule."""


def found(files: odd.Files, name: str) -> list[str]:
    return [f.rule for f in ours.check(Source(files[f"{name}.hea"], f"{name}.hea", files=files))]


def test_every_rule_has_its_sample() -> None:
    assert sorted(f"wfdb.{rule}" for rule in odd.SAMPLES) == sorted(rule.id for rule in RULES)


def test_the_sound_record_breaks_none() -> None:
    assert found(odd.sound(), "sound") == []


@pytest.mark.parametrize("rule", sorted(odd.SAMPLES))
def test_the_sample_breaks_its_rule_and_hardly_another(rule: str) -> None:
    broken = found(odd.SAMPLES[rule]("rec"), "rec")
    own = f"wfdb.{rule}"
    assert own in broken
    assert set(broken) - {own} <= ALONGSIDE.get(own, set())


def test_ids_and_clauses() -> None:
    assert len(BY_ID) == len(RULES)
    for rule in RULES:
        assert rule.id.startswith("wfdb.")
        assert rule.clause
        assert rule.reason[0].islower()


def test_the_fixtures_are_these_samples_and_report_what_is_listed() -> None:
    files = odd.everything()
    there = {path.name: path.read_bytes() for path in odd.FOLDER.iterdir() if path.suffix != ".md"}
    for name in sorted({*files, *there}):  # another FLAC encoder may write other bytes
        assert "flac" in name or files.get(name) == there.get(name), name
    for name, rules in json.loads(there["expected.json"]).items():
        broken = found(there, name)
        assert set(rules) <= set(broken)
        assert bool(rules) == bool(broken)
