"""Ratios measured side by side: every round runs every candidate once; the median of the rounds' ratios counts."""

from __future__ import annotations

import gc
import math
import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["Row", "ratio", "table"]


@dataclass(frozen=True)
class Row:
    """One line of the table: what is measured against what, the median ratio, the goal (at most, or at least)."""

    what: str
    against: str
    ratio: float
    low: float
    high: float
    goal: str
    met: bool
    unit: str = "x"


def ratio(
    candidate: Callable[[], object], reference: Callable[[], object], rounds: int = 31
) -> tuple[float, float, float]:
    """Median, 10th and 90th percentile of candidate time / reference time, interleaved, inner loops of >= 3 ms.

    The collector is off while something is measured and runs after each round, which empties the processor's caches: so
    each of the two is called once, untimed, before its loop.
    """
    loops = [_loops(candidate), _loops(reference)]
    ratios = []
    enabled = gc.isenabled()
    gc.disable()
    try:
        for _ in range(rounds):
            one = _timed(candidate, loops[0])
            other = _timed(reference, loops[1])
            ratios.append(one / other)
            gc.collect()
    finally:
        if enabled:
            gc.enable()
    ratios.sort()
    return statistics.median(ratios), ratios[len(ratios) // 10], ratios[-1 - len(ratios) // 10]


def at_most(what: str, against: str, measured: tuple[float, float, float], goal: float) -> Row:
    """A row whose ratio should be at most the goal."""
    return Row(what, against, *measured, f"<= {goal:g}", measured[0] <= goal)


def at_least(what: str, against: str, measured: tuple[float, float, float], goal: float) -> Row:
    """A row whose ratio should be at least the goal."""
    return Row(what, against, *measured, f">= {goal:g}", measured[0] >= goal)


def table(rows: list[Row]) -> str:
    """The rows as a Markdown table."""
    lines = ["| what | against | median ratio | p10 - p90 | goal | met |", "| --- | --- | --- | --- | --- | --- |"]
    for row in rows:
        spread = f"{row.low:.3g} - {row.high:.3g}"
        met = "yes" if row.met else "no"
        lines.append(f"| {row.what} | {row.against} | {row.ratio:.3g} | {spread} | {row.goal} | {met} |")
    return "\n".join(lines)


def _loops(work: Callable[[], object]) -> int:
    work()
    began = time.perf_counter()
    work()
    return math.ceil(0.003 / max(time.perf_counter() - began, 1e-7))


def _timed(work: Callable[[], object], loops: int) -> float:
    work()
    began = time.perf_counter()
    for _ in range(loops):
        work()
    return (time.perf_counter() - began) / loops
