"""Leads that are too much alike: copies, and sets that were calculated from three signals.

Eight leads of ten electrodes are independent.  Leads that were calculated from three signals (Frank, EASI) have rank
three to the last rounding: nothing recorded looks like that.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from interchange.checks.sources import A07, ELECTRODE_ALGEBRA
from interchange.checks.view import CHEST, Row, Strip, View
from interchange.findings import Finding, Rule

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["RULES", "check", "rank_of"]

_IDENTICAL = Rule(
    "leads.identical", "warning", "two different leads hold the same waveform, or its negative", ELECTRODE_ALGEBRA,
    "A channel was copied, or two wires touch each other: one of the two leads is not there.", "computed",
)  # fmt: skip
_THREE = Rule(
    "leads.from-three-signals", "warning",
    "the eight independent leads hold only three signals and are not marked as calculated",
    f"{ELECTRODE_ALGEBRA}; {A07}",
    "They were calculated from three leads; such tracings are no equal of recorded ones and have to be labelled.",
    "memory",
)  # fmt: skip

RULES = (_IDENTICAL, _THREE)

_INDEPENDENT = ("I", "II", *CHEST)
_LIMB = frozenset({"I", "II", "III", "aVR", "aVL", "aVF", "-aVR", "VR", "VL", "VF"})
_EXPLAINED = {
    frozenset(pair.split()): frozenset(flat.split())
    for pair, flat in (
        ("I II", "III aVR"), ("I III", "II aVL"), ("II III", "I aVF"), ("aVR aVL", "I aVF"), ("aVR aVF", "II aVL"),
        ("aVL aVF", "III aVR"), ("I aVL", "II"), ("III aVL", "II"), ("I aVR", "III"), ("II aVR", "III"),
        ("II aVF", "I"), ("III aVF", "I"),
    )
}  # fmt: skip
"""Two limb leads -> those that need only be flat to make these two alike: I + III = II, aVR + aVL + aVF = 0."""
_SHORT = {"-aVR": "aVR", "VR": "aVR", "VL": "aVL", "VF": "aVF"}
"""Leads that are flat, or alike, when these are."""
_POINTS = 512
_COMPARED = 8
"""Rows that are kept of those that look alike in some samples and are not."""
_FLAT = 10.0
_STRETCH = 1 << 16
_DECLARED = ("twelve-from-frank", "twelve-from-non-standard", "twelve-from-dower", "twelve-from-easi")


def check(view: View) -> Iterator[Finding]:
    """Findings on the rhythm tracings."""
    for strip in view.rhythms:
        yield from _copies(strip)
        if view.recording.acquisition.electrode_placement not in _DECLARED and _is_of_three(strip):
            yield _THREE.at(strip.place)


def _copies(strip: Strip) -> Iterator[Finding]:
    """Pairs of leads that are equal, negatives of each other, or apart by a constant."""
    rows = [row for row in strip.rows if row.is_voltage and not row.empty and row.lead is not None]
    moving = [row for row in rows if _moves(strip, row)]
    alike = list(_alike(strip, moving))
    if len(moving) > 2 and 2 * len(alike) > len(moving):
        return  # a test signal: most leads are one waveform, which is no fault of a recording
    told = False
    flat = {_limb(row) for row in rows if row not in moving}
    for first, second in alike:
        if first.lead == second.lead or flat & _EXPLAINED.get(frozenset((_limb(first), _limb(second))), frozenset()):
            continue
        if _both_limb(first, second):
            if told:
                continue  # two limb leads that are alike make others alike, too
            told = True
        sign = ", with opposite signs" if _direction(strip, first, second) < 0 else ""
        yield _IDENTICAL.at(strip.place, f"{first.shown} and {second.shown}{sign}")


def _limb(row: Row) -> str:
    """The limb lead whose relations to the others this one has; of other leads the id."""
    name = row.lead.id if row.lead is not None else ""
    return _SHORT.get(name, name)


def _direction(strip: Strip, row: Row, other: Row) -> int:
    """Of two leads that are alike: above 0 where they move the same way, below where they move against each other."""
    there = np.flatnonzero(_there(strip, (row, other)))
    moves = []
    for one in (row, other):
        codes = strip.tracing.samples[one.index][there].astype(np.int64)
        codes = (codes - codes[0]) * one.channel.step.numerator
        moves.append(int(np.sign(codes[np.argmax(codes != 0)])))
    return moves[0] * moves[1]


def _moves(strip: Strip, row: Row) -> bool:
    codes = strip.tracing.samples[row.index]
    return (int(codes.max()) - int(codes.min())) * abs(row.channel.step) > _FLAT


def _alike(strip: Strip, rows: Sequence[Row]) -> Iterator[tuple[Row, Row]]:
    """Pairs that are one waveform up to sign and a constant: by some of the samples, then by all."""
    length = strip.tracing.length
    some = np.linspace(0, length - 1, min(length, _POINTS)).astype(np.intp)
    seen: dict[tuple[int, bytes], list[Row]] = {}
    for row in rows:
        group = seen.setdefault((row.channel.step.denominator, _shape(strip, row, some).tobytes()), [])
        twin = next((other for other in group if _is_alike(strip, row, other)), None)
        if twin is not None:
            yield twin, row
        elif len(group) < _COMPARED:
            group.append(row)


def _is_alike(strip: Strip, row: Row, other: Row) -> bool:
    there = np.flatnonzero(_there(strip, (row, other)))
    return there.size > 0 and np.array_equal(_shape(strip, row, there), _shape(strip, other, there))


def _shape(strip: Strip, row: Row, places: NDArray[np.intp]) -> NDArray[np.int64]:
    """The row in units of the step's denominator, from its first sample, its first excursion upwards."""
    codes = strip.tracing.samples[row.index][places].astype(np.int64)
    codes = (codes - codes[0]) * row.channel.step.numerator
    first = int(codes[np.argmax(codes != 0)])
    shape: NDArray[np.int64] = -codes if first < 0 else codes
    return shape


def _there(strip: Strip, rows: Sequence[Row]) -> NDArray[np.bool_]:
    if strip.tracing.missing is None:
        return np.ones(strip.tracing.length, dtype=np.bool_)
    gone: NDArray[np.bool_] = np.logical_or.reduce(strip.tracing.missing[[row.index for row in rows]], axis=0)
    return ~gone


def _both_limb(one: Row, other: Row) -> bool:
    return all(row.lead is not None and row.lead.id in _LIMB for row in (one, other))


def rank_of(values: NDArray[np.float64], steps: NDArray[np.float64]) -> int:
    """How many signals the rows (uV) hold beyond what rounding each of them to its step can make up."""
    centred = values - values.mean(axis=1, keepdims=True)
    scaled = centred / steps[:, None]
    spread = np.linalg.eigvalsh(scaled @ scaled.T / max(1, values.shape[1]))
    return int(np.count_nonzero(spread > _ROUNDING))


_ROUNDING = 0.5
"""Mean square in steps: rounding makes 1/12, rounding twice or truncating at most a few times that."""


def _is_of_three(strip: Strip) -> bool:
    rows = [strip.row_of(name) for name in _INDEPENDENT]
    known = [row for row in rows if row is not None and row.is_voltage and row.channel.origin == "recorded"]
    if len(known) < len(_INDEPENDENT):
        return False
    there = _there(strip, known)
    places = np.flatnonzero(there)[:_STRETCH]
    if places.size < 10 * len(known):
        return False
    steps = np.array([abs(float(row.channel.step)) for row in known])
    values: NDArray[np.float64] = strip.tracing.samples[[row.index for row in known]][:, places] * steps[:, None]
    if np.ptp(values, axis=1).min() <= max(_FLAT, 20 * steps.max()):
        return False
    return rank_of(values, steps) == 3
