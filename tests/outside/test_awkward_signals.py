"""Awkward signals in every format: an outside reader sees the microvolts and instants that the receipt promises.

Sources of the outside readings: ``readers.py`` (pydicom; the wfdb library; ANSI/HL7 V3 ECG by ElementTree; EN 1064 bit
by bit).  Whatever a receipt calls kept has to be kept for them as well, not only for the package's own readers.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import interchange
from interchange.model import Acquisition, Channel, Moment, Recording, Tracing
from tests.outside.readers import see

TWELVE = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")
EIGHTEEN = (*TWELVE, "V7", "V8", "V9", "V3R", "V4R", "V5R")
EVERY = ("signal", "timing", "leads", "identity")


def tracing(
    leads: tuple[str, ...] = TWELVE,
    length: int = 60,
    rate: Fraction | int = 500,
    steps: tuple[Fraction | int, ...] = (5,),
    offsets: tuple[Fraction | int, ...] = (0,),
    start: Fraction | int = 0,
    gaps: tuple[tuple[slice, slice], ...] = (),
    ends: tuple[int, ...] = (),
) -> Tracing:
    """Invented counts; ``ends`` are put at the start of every lead; ``gaps`` are (rows, samples)."""
    samples = np.random.default_rng(len(leads) * length).integers(-3000, 3000, (len(leads), length))
    samples[:, : len(ends)] = ends
    missing = np.zeros(samples.shape, np.bool_)
    for rows, columns in gaps:
        missing[rows, columns] = True
    channels = tuple(
        Channel(name, "uV", Fraction(steps[row % len(steps)]), Fraction(offsets[row % len(offsets)]))
        for row, name in enumerate(leads)
    )
    return Tracing(channels, samples, Fraction(rate), missing, Fraction(start))


ALL, THIRD = slice(None), slice(2, 3)
SIGNALS = {
    "step-4.88": (tracing(steps=(Fraction(488, 100),)),),
    "step-third": (tracing(steps=(Fraction(1, 3),)),),
    "step-negative": (tracing(steps=(-5,)),),
    "steps-mixed": (tracing(steps=(1, Fraction(5, 2), -3, Fraction(488, 100))),),
    "offsets": (tracing(offsets=(Fraction(37, 10), -100, Fraction(1, 7))),),
    "rate-1000/3": (tracing(rate=Fraction(1000, 3)),),
    "rate-360": (tracing(rate=360),),
    "rate-257": (tracing(rate=257),),
    "rate-62.5": (tracing(rate=Fraction(125, 2)),),
    "limits-16": (tracing(steps=(1,), ends=(-(2**15), 2**15 - 1, -(2**15) + 1)),),
    "limits-24": (tracing(steps=(1,), ends=(-(2**23), 2**23 - 1)),),
    "one-sample": (tracing(length=1),),
    "eighteen": (tracing(EIGHTEEN),),
    "limb-only": (tracing(TWELVE[:6]),),
    "lead-twice": (tracing(("II", "V1", "II")),),
    "gap-first": (tracing(gaps=((THIRD, slice(0, 9)),)),),
    "gap-middle": (tracing(gaps=((THIRD, slice(20, 31)),)),),
    "gap-last": (tracing(gaps=((THIRD, slice(50, 60)),)),),
    "gap-all": (tracing(gaps=((ALL, slice(20, 31)),)),),
    "gap-lead": (tracing(gaps=((THIRD, ALL),)),),
    "gap-beside-lowest": (tracing(steps=(1,), ends=(-(2**15), 2**15 - 1), gaps=((THIRD, slice(9, 10)),)),),
    "later-strip": (tracing(), tracing(("II", "V4R"), rate=250, start=3)),
    "groups": tuple(tracing(TWELVE[3 * n : 3 * n + 3], start=Fraction(60 * n, 500)) for n in range(4)),
}


def points(streams: list[tuple[float, float, np.ndarray]]) -> tuple[np.ndarray, np.ndarray]:
    """(instants, microvolts) of everything that is not missing, in the order of time."""
    times = np.concatenate([start + step * np.arange(len(values)) for start, step, values in streams])
    values = np.concatenate([values for _, _, values in streams])
    there = ~np.isnan(values)
    order = np.lexsort((values[there], np.round(times[there], 7)))
    return times[there][order], values[there][order]


def said(recording: Recording) -> dict[str, list[tuple[float, float, np.ndarray]]]:
    found: dict[str, list[tuple[float, float, np.ndarray]]] = {}
    for one in recording.tracings:
        for name, values in zip(one.names, one.microvolts(), strict=True):
            if not np.isnan(values).all():
                found.setdefault(name, []).append((float(one.start), 1 / float(one.rate), values))
    return found


@pytest.mark.parametrize("suffix", [".xml", ".dcm", ".scp", ".hea"])
@pytest.mark.parametrize("name", SIGNALS)
def test_an_outside_reader_sees_what_the_receipt_promises(name: str, suffix: str, tmp_path: Path) -> None:
    time = Moment.parse("2031-04-05T14:03:07+05:45")
    recording = Recording(SIGNALS[name], acquisition=Acquisition(time=time))
    path = tmp_path / f"record{suffix}"
    try:
        receipt = interchange.write(recording, path, accept=EVERY)
    except interchange.RefusedError:
        assert (name, suffix) == ("limits-24", ".scp"), "16 bits of whole nanovolts do not hold it"
        return
    if suffix == ".scp" and len(receipt.target) > 1:
        pytest.skip("in several files, whose places in time are not in section 3")
    kept = receipt.samples_kept
    expected = said(recording if kept else interchange.read(path))
    seen = {lead: streams for lead, streams in see(path).items() if any(~np.isnan(v).all() for *_, v in streams)}
    assert set(seen) == set(expected)
    step = max(abs(float(channel.step)) for one in recording.tracings for channel in one.channels)
    interval = 1 / max(float(one.rate) for one in recording.tracings)
    for lead, streams in expected.items():
        (times, values), (when, what) = points(streams), points(seen[lead])
        assert len(times) == len(when), lead
        assert np.abs(times - when).max() <= interval / 1000 + 1e-9, lead
        assert np.abs(values - what).max() <= step / 1000, lead


def test_only_what_the_format_cannot_hold_is_given_up(tmp_path: Path) -> None:
    """EN 1064 5.9: whole nanovolts and microseconds, no way to leave samples out; the other formats hold them all.

    257 per second is 3891.05 microseconds: over sixty samples that moves none by a thousandth of the interval.
    """
    lost: dict[str, set[str]] = {}
    for name, tracings in SIGNALS.items():
        for suffix in (".xml", ".dcm", ".scp", ".hea"):
            try:
                receipt = interchange.write(Recording(tracings), tmp_path / f"x{suffix}", accept=EVERY, overwrite=True)
            except interchange.RefusedError:
                lost.setdefault(suffix, set()).add(name)
                continue
            if not receipt.samples_kept:
                lost.setdefault(suffix, set()).add(name)
    assert lost == {
        ".scp": {
            "step-third", "steps-mixed", "offsets", "rate-360", "limits-24", "gap-middle", "gap-all",
            "gap-lead", "gap-beside-lowest",
        }
    }  # fmt: skip
