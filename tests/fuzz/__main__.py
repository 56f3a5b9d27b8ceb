"""``python -m tests.fuzz --count 1000000``: mutate, read, keep what breaks the contract.

Work is split into batches with seeds of their own, so that a run can be repeated and spread over processes.  What
breaks the contract is written to ``fixtures/fuzz/FORMAT/`` under a name made from its content, to be replayed by the
ordinary tests once the defect is mended.
"""

from __future__ import annotations

import argparse
import base64
import hashlib
import json
import random
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

from tests.fuzz.contract import BrokenContractError, outcome
from tests.fuzz.mutate import mutated
from tests.fuzz.seeds import seeds

CORPUS = Path(__file__).resolve().parents[2] / "fixtures" / "fuzz"
BATCH = 2000
MOST = 120


Case = tuple[str, str, dict[str, bytes]]
"""(format, what it showed, files with the main one last)."""


def one_batch(number: int, only: str | None, extra: int) -> tuple[Counter[str], list[Case], list[Case]]:
    """One batch of mutated inputs: how they ended, those that broke the contract, the smallest for each ending."""
    chance = random.Random(f"{extra} {number}")
    chosen = seeds(only)
    ended: Counter[str] = Counter()
    broken: list[Case] = []
    endings: dict[str, Case] = {}
    for _ in range(BATCH):
        _, kind, files = chance.choice(chosen)
        lender = chance.choice(chosen)[2]
        target = chance.choice(list(files))
        changed = {**files, target: mutated(files[target], chance.choice(list(lender.values())), chance)}
        try:
            ending = outcome(changed, kind)
        except BrokenContractError as error:
            ended[f"{kind} BROKEN"] += 1
            broken.append((kind, str(error), changed))
            continue
        ended[f"{kind} {ending.split(':')[0]}"] += 1
        known = endings.get(f"{kind} {ending}")
        if known is None or _size(changed) < _size(known[2]):
            endings[f"{kind} {ending}"] = (kind, ending, changed)
    return ended, broken, list(endings.values())


def _size(files: dict[str, bytes]) -> int:
    return sum(map(len, files.values()))


def main() -> int:
    """Run the batches and print how they ended."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--format")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--collect", action="store_true", help="keep the smallest input for each ending as the corpus")
    arguments = parser.parse_args()
    total: Counter[str] = Counter()
    endings: dict[str, Case] = {}
    kept: Counter[str] = Counter()
    began = time.monotonic()
    with ProcessPoolExecutor(arguments.jobs) as pool:
        batches = range(-(-arguments.count // BATCH))
        futures = [pool.submit(one_batch, number, arguments.format, arguments.seed) for number in batches]
        for future in as_completed(futures):
            ended, broken, found = future.result()
            total += ended
            for case in found:
                known = endings.get(f"{case[0]} {case[1]}")
                if known is None or _size(case[2]) < _size(known[2]):
                    endings[f"{case[0]} {case[1]}"] = case
            for kind, reason, files in broken:
                key = reason.split("(")[0][:60]
                kept[f"{kind} {reason[:160]}"] += 1
                if kept[f"{kind} {reason[:160]}"] == 1:
                    _keep(kind, files, f"{key}: {reason}")
    if arguments.collect:
        _collect(list(endings.values()))
    count = sum(total.values())
    print(f"{count} inputs in {time.monotonic() - began:.0f} s, seed {arguments.seed}")
    for name, number in sorted(total.items()):
        print(f"  {name}: {number}")
    for name, number in kept.most_common():
        print(f"  defect x{number}: {name}")
    return 1 if kept else 0


def _collect(cases: list[Case]) -> None:
    """Write the corpus of each format: at most MOST inputs, the smallest of all endings."""
    for kind in sorted({case[0] for case in cases}):
        chosen = sorted((case for case in cases if case[0] == kind), key=lambda case: (_size(case[2]), case[1]))[:MOST]
        entries = [
            {"ending": ending, "files": {name: base64.b85encode(data).decode() for name, data in files.items()}}
            for _, ending, files in sorted(chosen, key=lambda case: case[1])
        ]
        CORPUS.mkdir(parents=True, exist_ok=True)
        (CORPUS / f"{kind}.json").write_text(json.dumps(entries, indent=0) + "\n")


def _keep(kind: str, files: dict[str, bytes], reason: str) -> None:
    digest = hashlib.sha256(b"".join(files.values())).hexdigest()[:12]
    folder = CORPUS / kind / digest
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)
    (folder / "about.json").write_text(json.dumps({"files": list(files), "found": reason}, indent=1) + "\n")


if __name__ == "__main__":
    sys.exit(main())
