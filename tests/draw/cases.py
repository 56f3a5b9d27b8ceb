"""Recordings with known shapes for drawing.  All of it is invented."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np

from fixtures.field import twelve_leads
from interchange.model import (
    Acquisition,
    Channel,
    Device,
    Filters,
    Identifier,
    Mark,
    Measurement,
    Moment,
    Patient,
    PersonName,
    Recording,
    Site,
    Statement,
    Tracing,
)

TWELVE = ("I", "II", "III", "aVR", "aVL", "aVF", "V1", "V2", "V3", "V4", "V5", "V6")
ARABIC = "نور الهدى"
HEBREW = "שירה (נועם) 42"
CHINESE = "山田 太郎"


def flat(rate: int = 500, seconds: int = 10, leads: tuple[str, ...] = TWELVE, step: int = 1) -> np.ndarray:
    return np.zeros((len(leads), rate * seconds), dtype=np.int32)


def recording(samples: np.ndarray, leads: tuple[str, ...] = TWELVE, rate: int = 500, **fields: object) -> Recording:
    return Recording.from_arrays(samples, leads, rate, **fields)


def marker(lead: str = "II", at: int = 1000, microvolts: int = 1000, **fields: object) -> Recording:
    """Flat leads, one of them with a single sample of so many microvolts."""
    samples = flat()
    samples[TWELVE.index(lead), at] = microvolts
    return recording(samples, **fields)


def triangles(rate: int = 500, seconds: int = 10) -> Recording:
    """Every lead a triangle of 1 mV that begins anew each second and is as high as it is negative."""
    phase = np.arange(rate * seconds) % rate
    wave = np.where(phase < rate // 2, phase, rate - phase) * 4000 // rate - 1000
    return recording(np.tile(wave.astype(np.int32), (12, 1)), rate=rate)


def named(text: str) -> Recording:
    """The field recording under another name."""
    made = twelve_leads()
    name = PersonName(text=text)
    return made.with_(patient=replace(made.patient, name=name, ids=(Identifier(f"ID-{text}", text),)))


def gappy() -> Recording:
    """A second without samples in every lead, and one lead without any."""
    made = twelve_leads()
    tracing = made.tracings[0]
    gone = np.zeros(tracing.samples.shape, dtype=bool)
    gone[:, 3000:3500] = True
    gone[8] = True
    return made.with_(tracings=(replace(tracing, missing=gone),))


def shifted() -> Recording:
    """Leads far from zero, beyond the strip, derived and reconstructed; pacing spikes that the file marks."""
    made = twelve_leads()
    tracing = made.tracings[0]
    channels = list(tracing.channels)
    channels[1] = replace(channels[1], offset=Fraction(-123_456, 10))
    channels[2] = replace(channels[2], origin="derived", derived_from="II - I")
    channels[9] = replace(channels[9], origin="reconstructed")
    samples = tracing.samples.copy()
    samples[7, 2900:2960] = 32000
    spikes = tuple(Mark("pacing-spike", 0, Fraction(n, 2), lead="II" if n % 2 else None) for n in range(1, 20))
    return made.with_(tracings=(replace(tracing, channels=tuple(channels), samples=samples),), marks=spikes)


def several() -> Recording:
    """Twelve leads, a monitor strip with a pressure and an uncalibrated lead, and a representative beat."""
    made = twelve_leads()
    tracing = made.tracings[0]
    beat = Tracing(
        tracing.channels, tracing.samples[:, 120:600], Fraction(500), kind="representative beat", of=0, beat=0
    )
    rows = (Channel("II", "uV", Fraction(5)), Channel("ABP", "mm[Hg]"), Channel("Pads", None))
    strip = Tracing(rows, tracing.samples[:3], Fraction(500), start=Fraction(25), label="monitor")
    return made.with_(tracings=(tracing, strip, beat))


def one_by_one() -> Recording:
    """Four groups of three leads, recorded one after the other, 2.5 s each."""
    made = twelve_leads()
    whole = made.tracings[0]
    parts = tuple(
        replace(
            whole.take(range(3 * n, 3 * n + 3)), samples=whole.samples[3 * n : 3 * n + 3, :1250], start=Fraction(3 * n)
        )
        for n in range(4)
    )
    return made.with_(tracings=parts)


def talkative() -> Recording:
    """More statements, measurements and remarks than a page holds."""
    made = twelve_leads()
    long = "the long text of a statement that somebody wrote without an end " * 4
    statements = tuple(
        Statement(f"{n}: {long if n % 5 == 0 else 'short'}", author_kind="machine", confirmed=False) for n in range(60)
    )
    confirmed = Statement("Agreed", author="Dr Kell", author_kind="person", confirmed=True, confirmed_by="Dr Kell")
    extra = tuple(Measurement("other", n, "ms", text=f"measurement {n}") for n in range(40))
    return made.with_(statements=(*statements, confirmed), measurements=(*made.measurements, *extra))


def sparse() -> Recording:
    """Nobody knows who; a date without time, one lead."""
    return recording(
        flat(250, 13, ("II",)),
        ("II",),
        250,
        patient=Patient(absent=(("name", "unknown"), ("sex", "withheld"))),
        acquisition=Acquisition(
            time=Moment(2031, 2, 3, 4, 5, Fraction(6)),
            devices=(Device(manufacturer="Quillmere Instruments"),),
            site=Site(institution="Norrhalde Ambulance Service"),
            filters=Filters(highpass=Fraction(1, 2)),
        ),
    )
