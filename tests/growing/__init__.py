"""Inputs that grow: for each format the worst that is known, as functions from a count to the files of a record.

They are put together by hand, field by field; the main file comes first.  What a file is made of repeats, so that
reading it should take time in line with its size.  ``tests.benchmark.worst`` measures them large, the tests small.
"""

from __future__ import annotations

import gc
import time
from collections.abc import Callable

__all__ = ["Files", "Grow", "growth"]

Files = dict[str, bytes]
"""Content by file name, the main file first."""

Grow = Callable[[int], Files]

MOST = 12
"""What ``growth`` may be at most: half as much again as in line with size."""


def growth(work: Callable[[Files], object], grow: Grow, few: int) -> float:
    """How many times as long ``work`` takes with eight times as much: 8 in line with size, 64 with its square.

    Processor time, which other programs on the machine do not change, without the garbage collector, best of two;
    measured up to three times while it is above what the noise of a machine explains.
    """
    small, large = grow(few), grow(8 * few)
    work(small)
    found = 0.0
    for _ in range(3):
        found = _seconds(work, large) / _seconds(work, small)
        if found <= MOST:
            break
    return found


def _seconds(work: Callable[[Files], object], files: Files) -> float:
    best = 9e9
    for _ in range(2):
        gc.collect()
        gc.disable()
        begin = time.process_time()
        try:
            work(files)
        finally:
            gc.enable()
        best = min(best, time.process_time() - begin)
    return best
