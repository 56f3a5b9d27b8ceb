"""Recording quality: what disturbs the signal, lead by lead.

The measures are those of :mod:`interchange.checks.figures`, the thresholds rows of ``tables/thresholds.csv``.  A lead
is named wherever one can be, because one bad lead points to one electrode.  A flat line is called a flat line and
nothing else: why it is flat the samples do not tell.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from interchange.checks.figures import MAINS, Figures, block_seconds, figures
from interchange.checks.saturation import saturated_runs
from interchange.checks.sources import I25, PROJECT
from interchange.checks.view import Row, Strip, View, counted, listed, marks_by_tracing, number, seconds
from interchange.findings import Finding, Rule
from interchange.vocabulary import lead_for_channel

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["RULES", "check"]

_I51 = "IEC 60601-2-51:2003"

_NO_SIGNAL = Rule(
    "quality.no-signal", "warning", "a lead is flat throughout or has no samples", PROJECT,
    "The lead shows nothing. Why it is flat cannot be told from the samples; it is no statement about the heart.",
    "proposal",
)  # fmt: skip
_FLAT = Rule(
    "quality.flat-stretch", "warning", "a lead is flat for a second or longer", PROJECT,
    "The lead shows nothing there. Why it is flat cannot be told from the samples.", "proposal",
)  # fmt: skip
_MISSING = Rule(
    "quality.missing-samples", "warning", "samples are missing", "the recording's own marks of missing samples",
    "Nothing may be drawn or measured across a gap.", "computed",
)  # fmt: skip
_SATURATED = Rule(
    "quality.saturated", "warning", "waves are cut off at the end of the range", PROJECT,
    "Amplitudes there are larger than they look, and the shape is lost.", "proposal",
)  # fmt: skip
_RANGE = Rule(
    "quality.beyond-5-mv", "warning", "the signal goes beyond 5 mV", f"{I25} (input range)",
    "A spike, an artefact, or a wrong scale; recorders need not take more than 5 mV truly.", "memory",
)  # fmt: skip
_SCALE = Rule(
    "quality.scale-doubtful", "warning",
    "the amplitudes of all leads are so small or so large that their scale is doubtful",
    PROJECT, "Unit or step may be wrong; every amplitude is then wrong by the same factor.", "proposal",
)  # fmt: skip
_STEP = Rule(
    "quality.step", "note", "the level of a lead jumps and stays", PROJECT,
    "Levels before and after the jump cannot be compared; an electrode may have moved.", "proposal",
)  # fmt: skip
_SPIKE = Rule(
    "quality.steep-spike", "note",
    "a spike rises and falls back more steeply than a heart makes it, and no pacing spike is marked there",
    f"{I25} (steepest test slope)", "It may be a pacing spike or an artefact.", "memory",
)  # fmt: skip
_WANDER = Rule(
    "quality.baseline-wander", "warning", "the baseline wanders by more than 1 mV",
    f"{_I51} (test disturbance); {PROJECT}",
    "Levels such as ST are unsure where the baseline moves.", "memory",
)  # fmt: skip
_SOME_WANDER = Rule(
    "quality.some-baseline-wander", "note", "the baseline wanders by more than 0.5 mV", PROJECT,
    "Levels such as ST are less sure where the baseline moves.", "proposal",
)  # fmt: skip
_MAINS = Rule(
    "quality.mains-hum", "warning", "there is strong mains hum", f"{_I51} (test disturbance); {PROJECT}",
    "Small waves and the ends of waves are hidden; all leads at once point to the neutral electrode.", "memory",
)  # fmt: skip
_SOME_MAINS = Rule(
    "quality.some-mains-hum", "note", "there is mains hum", PROJECT,
    "Small waves and the ends of waves are harder to see.", "proposal",
)  # fmt: skip
_NOISE = Rule(
    "quality.high-frequency-noise", "note", "there is high-frequency noise outside the QRS",
    f"{_I51} (test noise); {PROJECT}",
    "Muscle or motion may hide small waves and the ends of waves.", "memory",
)  # fmt: skip
_SAID = Rule(
    "quality.said-by-source", "note", "the source itself marks noise or a lead without signal",
    "marks and lead quality of the source",
    "Carried as it was said; whoever marked it saw or measured it.", "computed",
)  # fmt: skip
_CODES = Rule(
    "quality.unused-codes", "note", "the samples use only multiples of a number above one",
    "common divisor of the samples",
    "The samples were rescaled, or the resolution is coarser than the step says.", "computed",
)  # fmt: skip

RULES = (
    _NO_SIGNAL, _FLAT, _MISSING, _SATURATED, _RANGE, _SCALE, _STEP, _SPIKE, _WANDER, _SOME_WANDER, _MAINS, _SOME_MAINS,
    _NOISE, _SAID, _CODES,
)  # fmt: skip

_NEAR_SPIKE = 0.05
"""Seconds around a marked pacing spike in which a steep slope is expected."""
_NOISE_MARKS = ("moderate-noise", "severe-noise", "no-signal")
_SHOWN_SPANS = 3
_QUALITY_BITS = ("mains", "overrange", "baseline wander", "muscle", "spikes or jumps", "electrode off", "pacemaker",
                 "lead interchange")  # fmt: skip
"""Pairs of bits of the source's lead quality from the lowest (EN 1064 5.13.5, from memory): 1 moderate, 2 severe."""


def check(view: View) -> Iterator[Finding]:
    """Findings on the rhythm tracings, tracing by tracing, then on what the source itself says."""
    for strip in view.rhythms:
        yield from _gaps(strip)
        found = figures(strip, view.config.number("wander-band"), view.config.number("noise-band"))
        flat = _flat_leads(view, found)
        silent = [row for row in strip.rows if row.empty] + [
            row for row, is_flat in zip(found.rows, flat, strict=True) if is_flat
        ]
        if silent:
            yield _NO_SIGNAL.at(strip.place_of(silent), listed((r.shown for r in silent), len(strip.rows)))
        live = np.flatnonzero(~flat)
        if live.size:
            yield from _signal(view, strip, found, live)
    yield from _said(view)


def _gaps(strip: Strip) -> Iterator[Finding]:
    """Missing samples by lead; leads without any sample are told as leads without signal."""
    missing = strip.tracing.missing
    if missing is None:
        return
    holed = [row for row in strip.rows if not row.empty and missing[row.index].any()]
    if not holed:
        return
    parts = []
    for row in holed[:_SHOWN_SPANS]:
        gone = missing[row.index]
        first = seconds(int(gone.argmax()) / strip.tracing.rate)
        parts.append(
            f"{row.shown}: {int(gone.sum())} of {gone.size} in {counted(_runs(gone), 'gap')}, the first at {first}"
        )
    if len(holed) > _SHOWN_SPANS:
        parts.append(f"and in {counted(len(holed) - _SHOWN_SPANS, 'more lead')}")
    yield _MISSING.at(strip.place_of(holed), "; ".join(parts))


def _runs(flags: NDArray[np.bool_]) -> int:
    return int(np.count_nonzero(flags[1:] & ~flags[:-1])) + int(flags[0])


def _flat_leads(view: View, found: Figures) -> NDArray[np.bool_]:
    """Rows that are flat from beginning to end."""
    if not found.rows:
        return np.zeros(0, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        low, high = np.fmin.reduce(found.low, axis=1), np.fmax.reduce(found.high, axis=1)
        flat: NDArray[np.bool_] = high - low <= view.config.number("flat-range")
    return flat


def _signal(view: View, strip: Strip, found: Figures, live: NDArray[np.intp]) -> Iterator[Finding]:
    yield from _flat_stretches(view, strip, found, live)
    yield from _saturation(view, strip, [found.rows[at] for at in live])
    yield from _amplitudes(view, strip, found, live)
    yield from _spikes_and_steps(view, strip, found, live)
    yield from _graded(view, strip, found, found.wander, live, "wander", _WANDER, _SOME_WANDER, "peak-to-peak")
    yield from _hum(view, strip, found, live)
    loud = found.noise > view.config.number("noise")
    yield from _disturbed(view, strip, found, found.noise, loud, live, _NOISE, "rms")
    yield from _divisor(strip, [found.rows[at] for at in live])


def _flat_stretches(view: View, strip: Strip, found: Figures, live: NDArray[np.intp]) -> Iterator[Finding]:
    """A lead that stands still while another moves, or all of them for longer."""
    block = block_seconds(strip)
    need = max(1, round(view.config.number("flat-seconds") / block))
    if found.low.shape[1] < need:
        return
    windows = np.lib.stride_tricks.sliding_window_view
    low, high = windows(found.low[live], need, axis=1).min(axis=2), windows(found.high[live], need, axis=1).max(axis=2)
    still = np.nan_to_num(high - low, nan=np.inf) <= view.config.number("flat-range")
    all_still = still.all(axis=0)
    longer = max(1, round(view.config.number("flat-seconds-all") / block)) - need + 1
    lasting = _lasting(all_still, longer)
    chosen = still & (~all_still | lasting)
    rows = [at for at in range(live.size) if chosen[at].any()]
    if not rows:
        return
    parts = []
    for at in rows[:_SHOWN_SPANS]:
        first = int(chosen[at].argmax())
        stop = first + int(np.append(still[at, first:], False).argmin()) - 1
        name = found.rows[live[at]].shown
        parts.append(f"{name} from {seconds(first * block)} to {seconds((stop + need) * block)}")
    if len(rows) > _SHOWN_SPANS:
        parts.append(f"and {counted(len(rows) - _SHOWN_SPANS, 'more lead')}")
    yield _FLAT.at(strip.place_of([found.rows[live[at]] for at in rows]), "; ".join(parts))


def _lasting(flags: NDArray[np.bool_], length: int) -> NDArray[np.bool_]:
    """The flags that stand in a run of at least ``length``."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], flags, [False])).astype(np.int8)))
    kept = np.zeros(flags.size, dtype=np.bool_)
    for start, stop in edges.reshape(-1, 2):
        kept[start:stop] = stop - start >= length
    return kept


def _saturation(view: View, strip: Strip, rows: Sequence[Row]) -> Iterator[Finding]:
    shortest = view.config.exact("saturated-seconds")
    edge = view.config.number("saturated-edge")
    parts, hit = [], []
    for row in rows:
        runs = saturated_runs(strip.tracing, row, shortest, edge)
        if runs:
            hit.append(row)
            first = seconds(runs[0].start / strip.tracing.rate)
            parts.append(
                f"{row.shown}: {counted(len(runs), 'time')} at {number(runs[0].level)} uV, the first at {first}"
            )
    if hit:
        more = [f"and {counted(len(hit) - _SHOWN_SPANS, 'more lead')}"] if len(hit) > _SHOWN_SPANS else []
        yield _SATURATED.at(strip.place_of(hit), "; ".join(parts[:_SHOWN_SPANS] + more))


def _amplitudes(view: View, strip: Strip, found: Figures, live: NDArray[np.intp]) -> Iterator[Finding]:
    low, high = found.low[live], found.high[live]
    middle = _medians((low + high) / 2)[:, None]
    away = np.nanmax(np.maximum(high - middle, middle - low), axis=1)
    far = np.flatnonzero(away > view.config.number("deviation"))
    if far.size:
        rows = [found.rows[live[at]] for at in far]
        names = listed((row.shown for row in rows), len(found.rows))
        yield _RANGE.at(strip.place_of(rows), f"{names}, up to {number(away[far].max() / 1000)} mV")
    per_second = max(1, round(1 / block_seconds(strip)))
    count = low.shape[1] // per_second
    if count < 2 or live.size < 2:
        return
    shape = (live.size, count, per_second)
    with np.errstate(invalid="ignore"):
        top = np.fmax.reduce(high[:, : count * per_second].reshape(shape), axis=2)
        bottom = np.fmin.reduce(low[:, : count * per_second].reshape(shape), axis=2)
        usual = _medians(top - bottom)
    if usual.max() < view.config.number("scale-low") or usual.min() > view.config.number("scale-high"):
        yield _SCALE.at(strip.place, f"{number(usual.min())} to {number(usual.max())} uV in a second")


def _distance(places: NDArray[np.float64], marked: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far each place is from the nearest of the marked ones, which are sorted."""
    after = np.searchsorted(marked, places)
    left, right = marked[np.maximum(after - 1, 0)], marked[np.minimum(after, marked.size - 1)]
    return np.minimum(np.abs(places - left), np.abs(places - right))


def _medians(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The median of each row, without what is not there."""
    median = np.nanmedian if np.isnan(values).any() else np.median
    found: NDArray[np.float64] = median(values, axis=1)
    return found


def _spikes_and_steps(view: View, strip: Strip, found: Figures, live: NDArray[np.intp]) -> Iterator[Finding]:
    jumps = found.step > view.config.number("step")
    hit = [at for at in live if jumps[at].any()]
    if hit:
        where = {at: int(np.nanargmax(found.step[at])) for at in hit}
        worst = max(hit, key=lambda at: float(found.step[at, where[at]]))
        at = seconds(float(found.step_at[worst, where[worst]]))
        rows = [found.rows[i] for i in hit]
        amount = number(found.step[worst, where[worst]])
        yield _STEP.at(strip.place_of(rows), f"{listed((r.shown for r in rows), len(found.rows))}, {amount} uV at {at}")
    steep = found.spike > view.config.number("spike-slope")
    spikes = [m for m in marks_by_tracing(view).get(strip.index, ()) if m.concept.endswith("spike")]
    marked = np.array(sorted(float(m.start) for m in spikes))
    if marked.size:
        steep &= ~(_distance(found.spike_at, marked) < _NEAR_SPIKE)
    hit = [at for at in live if steep[at].any()]
    if hit:
        rows = [found.rows[i] for i in hit]
        which = steep[hit[0]].argmax()
        first, slope = seconds(float(found.spike_at[hit[0], which])), number(found.spike[hit[0], which])
        yield _SPIKE.at(
            strip.place_of(rows),
            f"{listed((r.shown for r in rows), len(found.rows))}; {rows[0].shown}: {slope} mV/s at {first}",
        )


def _graded(
    view: View, strip: Strip, found: Figures, values: NDArray[np.float64], live: NDArray[np.intp], name: str,
    strong: Rule, mild: Rule, measure: str,
) -> Iterator[Finding]:  # fmt: skip
    """The strong rule, else the mild one."""
    for rule, threshold in ((strong, name), (mild, f"{name}-mild")):
        loud = values > view.config.number(threshold)
        findings = list(_disturbed(view, strip, found, values, loud, live, rule, measure))
        if findings:
            yield from findings
            return


def _hum(view: View, strip: Strip, found: Figures, live: NDArray[np.intp]) -> Iterator[Finding]:
    for which, frequency in enumerate(MAINS):
        clear = found.prominence[..., which] > view.config.number("mains-prominence")
        values = np.where(clear, found.mains[..., which], 0.0)
        measure = f"rms at {frequency} Hz"
        yield from _graded(view, strip, found, values, live, "mains", _MAINS, _SOME_MAINS, measure)


def _disturbed(
    view: View, strip: Strip, found: Figures, values: NDArray[np.float64], loud: NDArray[np.bool_],
    live: NDArray[np.intp], rule: Rule, measure: str,
) -> Iterator[Finding]:  # fmt: skip
    """A finding where a lead is disturbed in enough of its stretches."""
    need = view.config.number("stretches") * loud.shape[1]
    hit = [at for at in live if loud[at].any() and loud[at].sum() >= need]
    if not hit:
        return
    worst = max(hit, key=lambda at: float(values[at][loud[at]].max()))
    rows = [found.rows[at] for at in hit]
    most = number(values[worst][loud[worst]].max())
    detail = f"{listed((r.shown for r in rows), len(found.rows))}, up to {most} uV {measure}"
    if loud.shape[1] > 1:
        detail += f", in {int(loud[worst].sum())} of {loud.shape[1]} stretches of ten seconds"
    yield rule.at(strip.place_of(rows), detail)


def _divisor(strip: Strip, rows: Sequence[Row]) -> Iterator[Finding]:
    """Whether every lead uses only multiples of something (or those plus a constant)."""
    divisors = []
    for row in rows:
        codes = strip.tracing.samples[row.index]
        if strip.tracing.missing is not None:
            codes = codes[~strip.tracing.missing[row.index]]
        divisor = _common_divisor(codes)
        if divisor <= 1:
            return
        divisors.append(divisor)
    if divisors:
        least, most = min(divisors), max(divisors)
        yield _CODES.at(strip.place, f"of {least}" if least == most else f"of {least} to {most}")


def _common_divisor(codes: NDArray[np.integer]) -> int:
    start, width, divisor = 0, 64, 0
    while start < codes.size:
        part = codes[start : start + width].astype(np.int64) - int(codes[0])
        divisor = int(np.gcd(divisor, np.gcd.reduce(part)))
        if divisor == 1:
            return 1
        start, width = start + width, width * 4
    return divisor


def _said(view: View) -> Iterator[Finding]:
    """Noise that the source marks: carried, never invented."""
    marked = [m for m in view.recording.marks if m.concept in _NOISE_MARKS]
    if marked:
        yield _SAID.at("marks", counted(len(marked), "mark"))
    graded = []
    for m in view.recording.measurements:
        if m.concept == "lead-quality" and m.value is not None and m.value.denominator == 1:
            pairs = [int(m.value) >> 2 * bit & 3 for bit in range(len(_QUALITY_BITS))]
            words = [word for word, pair in zip(_QUALITY_BITS, pairs, strict=True) if pair in (1, 2)]
            if words and lead_for_channel(m.lead or ""):
                graded.append(f"{m.lead}: {', '.join(words)}")
    if graded:
        yield _SAID.at(
            "measurements", "; ".join(graded[:_SHOWN_SPANS]) + ("; ..." if len(graded) > _SHOWN_SPANS else "")
        )
