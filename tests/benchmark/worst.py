"""Time in line with size on the worst inputs: eight times as much of them against as much of them, eight times.

Processor time of reading and checking, or of reading up to the refusal; the best of a few runs of each, in turns,
without Python's garbage collector as in all rows (it looks at all objects again whenever they have grown by a
quarter, which is linear too, but begins late).  Something quadratic would be near 8 here, something linear is near 1.
"""

from __future__ import annotations

import contextlib
import gc
import time
from collections.abc import Iterator
from typing import NamedTuple

import interchange
from interchange.errors import InterchangeError
from tests.benchmark.measure import Row, at_most
from tests.growing import Files, Grow, aecg, dicom, scp, wfdb

__all__ = ["rows"]

TIMES = 8
GOAL = 1.5
"""As in the tests of time: what no longer fits into the caches of the processor costs up to half as much again."""
ENOUGH = 0.15
"""Seconds of the larger input; one that takes longer is measured twice instead of three times."""


class Worst(NamedTuple):
    """How an input grows, how many of what there are in the larger one, and how it ends (empty: it is read)."""

    grow: Grow
    many: int
    words: str
    ends: str = ""


INPUTS = {
    "SCP-ECG": (
        Worst(scp.SCP["leads of 20,000 escapes"], 96, "leads of 20,000 escapes"),
        Worst(scp.SCP["leads of 65,528 codes of one bit"], 96, "leads of 65,528 codes of one bit"),
        Worst(scp.SCP["leads of 20,000 table switches"], 16, "leads of 20,000 table switches"),
        Worst(scp.SCP["empty sections"], 12_000, "empty sections"),
        Worst(scp.SCP["empty fields"], 100_000, "empty fields in the header"),
        Worst(scp.SCP["unknown fields"], 24_000, "unknown fields in the header"),
        Worst(scp.SCP["zones"], 24_000, "zones of reference beats"),
        Worst(scp.SCP["lines of text"], 4_000, "lines of text"),
        Worst(scp.SCP["lines about values not said"], 24_000, "lines about values that nobody spoke of"),
    ),
    "aECG": (
        Worst(aecg.AECG["comments"], 1_000_000, "comments"),
        Worst(aecg.AECG["processing instructions"], 1_000_000, "processing instructions"),
        Worst(aecg.AECG["unknown elements"], 40_000, "unknown elements"),
        Worst(aecg.AECG["empty annotation sections"], 100_000, "empty annotation sections"),
        Worst(aecg.AECG["sequence sets"], 400, "sequence sets of one sample"),
        Worst(aecg.AECG["annotations 90 deep"], 32, "times 90 annotations inside one another (below the limit)"),
        Worst(aecg.AECG["levels of annotations"], 88, "levels of annotations, 50 times (below the limit)"),
        Worst(aecg.AECG["elements inside one another"], 800_000, "elements inside one another", "more than 200"),
        Worst(aecg.AECG["attributes"], 200_000, "attributes of one element", "more than 256"),
        Worst(aecg.AECG["lines of text"], 4_000, "lines of text"),
    ),
    "DICOM": (
        Worst(dicom.DICOM["empty private items"], 100_000, "empty items"),
        Worst(dicom.DICOM["empty private sequences"], 100_000, "empty private sequences"),
        Worst(dicom.DICOM["private elements"], 100_000, "private elements"),
        Worst(dicom.DICOM["empty annotations"], 4_000, "empty annotations"),
        Worst(dicom.DICOM["annotations"], 8_000, "annotations"),
        Worst(dicom.DICOM["annotations of a thousand channels"], 80, "annotations of a thousand channels"),
        Worst(dicom.DICOM["sequences 30 deep"], 480, "times 30 sequences inside one another (below the limit)"),
        Worst(dicom.DICOM["sequences without end"], 80_000, "sequences inside one another", "nested deeper than 32"),
    ),
    "WFDB": (
        Worst(wfdb.WFDB["comments"], 100_000, "comment lines"),
        Worst(wfdb.WFDB["ages"], 24_000, "info strings with a customary key"),
        Worst(wfdb.WFDB["ids"], 8_000, "info strings of the model"),
        Worst(wfdb.WFDB["unknown lines"], 16_000, "info strings that are not understood"),
        Worst(wfdb.WFDB["signals"], 4_000, "signals of no samples (below the limit)"),
        Worst(wfdb.WFDB["signals without words"], 100_000, "empty signal lines", "more than 4096 channels"),
        Worst(wfdb.WFDB["gaps"], 40_000, "empty segments"),
        Worst(wfdb.WFDB["annotation files"], 20_000, "info strings that name one annotation file"),
        Worst(wfdb.WFDB["skips in an annotation file"], 400_000, "skips in an annotation file"),
    ),
}
"""Format -> its worst inputs."""


def rows(rounds: int) -> Iterator[Row]:
    """Every row of this module; at most three ``rounds`` are needed for the best of each."""
    for title, inputs in INPUTS.items():
        for worst in inputs:
            ending = f", refused ({worst.ends})" if worst.ends else ""
            yield at_most(
                f"{title}, read and check: {worst.many:,} {worst.words}{ending}",
                f"an eighth of them, times {TIMES}",
                _growth(worst, min(rounds, 3)),
                GOAL,
            )


def _growth(worst: Worst, rounds: int) -> tuple[float, float, float]:
    """Seconds of the larger input by eight times the seconds of the smaller, best runs; smallest and largest ratio."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        return _measured(worst, rounds)
    finally:
        if enabled:
            gc.enable()


def _measured(worst: Worst, rounds: int) -> tuple[float, float, float]:
    small, large = worst.grow(worst.many // TIMES), worst.grow(worst.many)
    _seconds(small, worst.ends)
    pairs: list[tuple[float, float]] = []
    while len(pairs) < rounds and not (len(pairs) > 1 and pairs[0][1] > ENOUGH):
        one = min(_seconds(small, worst.ends) for _ in range(2))
        pairs.append((one, _seconds(large, worst.ends)))
    ratios = [b / a / TIMES for a, b in pairs]
    return min(b for _, b in pairs) / min(a for a, _ in pairs) / TIMES, min(ratios), max(ratios)


def _seconds(files: Files, ends: str) -> float:
    """Processor time, which other programs on the machine do not change."""
    gc.collect()
    began = time.process_time()
    with contextlib.suppress(InterchangeError):
        interchange.check(files)
    return time.process_time() - began
