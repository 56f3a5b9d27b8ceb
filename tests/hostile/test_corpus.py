"""What once broke the contract of the readers stays mended; and a short run of fresh mutations."""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from tests.fuzz.__main__ import CORPUS
from tests.fuzz.contract import try_to_read
from tests.fuzz.mutate import mutated
from tests.fuzz.seeds import seeds

FOUND = sorted(path.parent for path in CORPUS.rglob("about.json"))


@pytest.mark.parametrize("folder", FOUND, ids=["/".join(folder.parts[-2:]) for folder in FOUND])
def test_the_corpus(folder: Path) -> None:
    about = json.loads((folder / "about.json").read_text())
    try_to_read({name: (folder / name).read_bytes() for name in about["files"]}, folder.parent.name)


@pytest.mark.parametrize("format", ["aecg", "dicom", "scp", "wfdb"])
def test_fresh_mutations(format: str) -> None:
    chance = random.Random(20310405)
    outcomes = set()
    for _ in range(300):
        _, kind, files = chance.choice(seeds(format))
        name = chance.choice(list(files))
        changed = {**files, name: mutated(files[name], chance.choice(list(files.values())), chance)}
        outcomes.add(try_to_read(changed, kind) is None)
    assert outcomes == {True, False}
