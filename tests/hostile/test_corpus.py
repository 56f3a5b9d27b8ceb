"""What once broke the contract of the readers stays mended; and a short run of fresh mutations."""

from __future__ import annotations

import base64
import json
import random

import pytest

from tests.fuzz.__main__ import CORPUS
from tests.fuzz.contract import try_to_read
from tests.fuzz.mutate import mutated
from tests.fuzz.seeds import seeds

FORMATS = ("aecg", "dicom", "scp", "wfdb")


@pytest.mark.parametrize("format", FORMATS)
def test_the_corpus(format: str) -> None:
    """Inputs that a long run found, one for each way in which reading can end (``python -m tests.fuzz --collect``)."""
    entries = json.loads((CORPUS / f"{format}.json").read_text())
    assert entries
    for entry in entries:
        try_to_read({name: base64.b85decode(text) for name, text in entry["files"].items()}, format)


def test_defects_that_were_found_stay_mended() -> None:
    for about in sorted(CORPUS.rglob("about.json")):
        names = json.loads(about.read_text())["files"]
        try_to_read({name: (about.parent / name).read_bytes() for name in names}, about.parent.parent.name)


@pytest.mark.parametrize("format", FORMATS)
def test_fresh_mutations(format: str) -> None:
    chance = random.Random(20310405)
    outcomes = set()
    for _ in range(300):
        _, kind, files = chance.choice(seeds(format))
        name = chance.choice(list(files))
        changed = {**files, name: mutated(files[name], chance.choice(list(files.values())), chance)}
        outcomes.add(try_to_read(changed, kind) is None)
    assert outcomes == {True, False}
