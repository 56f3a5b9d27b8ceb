"""Invented recordings for the checks: potentials of ten electrodes, and the leads that follow from their definition.

The shapes are plain bumps; nothing here comes from the package but the model's own constructors.
"""

from dataclasses import replace
from fractions import Fraction

import numpy as np

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
    Quantity,
    Recording,
    Tracing,
)

LIMB = ("I", "II", "III", "aVR", "aVL", "aVF")
CHEST = ("V1", "V2", "V3", "V4", "V5", "V6")
TWELVE = (*LIMB, *CHEST)
RATE = 500
STEP = Fraction(5, 2)
BEAT_SECONDS = 0.8
QRS_AT = 0.4


def bump(t, at, width, height):
    """A smooth bump, zero beyond twice its width."""
    u = np.clip(np.abs(t - at) / (2 * width), 0, 1)
    return height * np.cos(u * np.pi / 2) ** 4


def potentials(seconds=10.0, rate=RATE, noise=3.0, seed=7):
    """Potentials of RA, LA, LL, C1 to C6 in uV, shape (9, samples): four sources, as each electrode sees them."""
    t = np.arange(round(seconds * rate)) / rate
    random = np.random.default_rng(seed)
    sources = np.zeros((4, t.size))
    for beat in np.arange(QRS_AT, seconds + BEAT_SECONDS, BEAT_SECONDS):
        sources[0] += bump(t, beat - 0.16, 0.025, 120)
        sources[1] += bump(t, beat - 0.012, 0.01, 700)
        sources[2] += bump(t, beat + 0.012, 0.01, 700)
        sources[3] += bump(t, beat + 0.26, 0.05, 300)
    seen = np.array(
        [
            [-0.8, -0.7, -0.2, -0.6],
            [0.3, 0.5, -0.3, 0.2],
            [0.7, 0.2, 0.6, 0.5],
            [0.1, 0.4, -1.5, -0.2],
            [0.2, 0.8, -1.9, 0.6],
            [0.3, 1.1, -0.9, 0.9],
            [0.3, 1.6, 0.2, 0.8],
            [0.3, 1.2, 0.7, 0.6],
            [0.2, 0.7, 0.6, 0.4],
        ]
    )
    return seen @ sources + random.normal(scale=noise, size=(9, t.size))


def leads_of(electrodes):
    """The twelve leads in uV by name, from electrode potentials (definitions of Einthoven, Goldberger, Wilson)."""
    ra, la, ll = electrodes[:3]
    centre = (ra + la + ll) / 3
    found = {
        "I": la - ra,
        "II": ll - ra,
        "III": ll - la,
        "aVR": ra - (la + ll) / 2,
        "aVL": la - (ra + ll) / 2,
        "aVF": ll - (ra + la) / 2,
    }
    return found | {name: electrodes[3 + at] - centre for at, name in enumerate(CHEST)}


def tracing(values, names=TWELVE, rate=RATE, step=STEP, **fields):
    """A tracing of rows in uV, rounded to the step."""
    codes = np.round(np.array([values[name] for name in names]) / float(step)).astype(np.int32)
    return Tracing(tuple(Channel(name, step=Fraction(step)) for name in names), codes, Fraction(rate), **fields)


KNOWN = Patient(
    ids=(Identifier("K-48213", "Harbour county"),),
    name=PersonName(family="Okafor", given="Marlis"),
    birth_date=Moment(1971, 3, 9),
    age=Quantity(60, "a"),
    sex="female",
)
SAID = Acquisition(
    time=Moment(2031, 4, 5, 14, 3, Fraction(7), 120),
    devices=(Device("acquiring", "Larkspur Instruments", "LF-12", "LF-00417"),),
    filters=Filters(highpass=Fraction(1, 20), lowpass=Fraction(150)),
)


def recording(*tracings, **fields):
    """A recording about which nothing is to be said."""
    return Recording(tracings=tracings, **({"patient": KNOWN, "acquisition": SAID} | fields))


def twelve(**fields):
    """Twelve leads, ten seconds, 500 samples per second, everything said."""
    return recording(tracing(leads_of(potentials())), **fields)


def with_rows(source, change, index=0):
    """The recording with ``change(values by name)`` applied to a tracing's microvolts."""
    old = source.tracings[index]
    values = {channel.name: row for channel, row in zip(old.channels, old.microvolts(), strict=True)}
    change(values)
    new = tracing(values, old.names, old.rate, old.channels[0].step, kind=old.kind, of=old.of, fiducial=old.fiducial)
    return source.with_(tracings=(*source.tracings[:index], new, *source.tracings[index + 1 :]))


def with_channels(source, index=0, **fields):
    """The recording with fields of every channel of a tracing replaced."""
    old = source.tracings[index]
    new = replace(old, channels=tuple(replace(channel, **fields) for channel in old.channels))
    return source.with_(tracings=(*source.tracings[:index], new, *source.tracings[index + 1 :]))


def measured(**values):
    """Global measurements in ms or /min: ``qt_interval=380``; an axis in degrees."""
    units = {
        "heart_rate": "/min",
        "heart_rate_ventricular": "/min",
        "p_axis": "deg",
        "qrs_axis": "deg",
        "t_axis": "deg",
    }
    return tuple(Measurement(name.replace("_", "-"), value, units.get(name, "ms")) for name, value in values.items())


def levels(concept, **values):
    """One measurement per lead in uV."""
    return tuple(Measurement(concept, value, "uV", lead=lead) for lead, value in values.items())


def beat_marks(first=QRS_AT, count=12, gap=BEAT_SECONDS, concept="r-peak", **fields):
    """Beats at equal distances on the first tracing."""
    return tuple(Mark(concept, 0, Fraction(str(round(first + n * gap, 6))), **fields) for n in range(count))


BEAT_BOUNDS = {"p-onset": 100, "p-offset": 200, "qrs-onset": 260, "qrs-offset": 350, "t-offset": 640}
"""Wave bounds of the representative beat of :func:`with_beat` in ms."""


def with_beat(source, *, bounds=BEAT_BOUNDS, level=100, **fields):
    """The recording with a representative beat and its marks; ST of lead I stands ``level`` uV above the PQ level."""
    t = np.arange(350) / RATE * 1000
    shape = {
        "I": 900 * ((t >= 280) & (t < 320)) + level * ((t >= 340) & (t < 640)),
        "II": 300 * ((t >= 280) & (t < 320)) + np.zeros(t.size),
    }
    values = {name: row.astype(float) for name, row in shape.items()}
    beat = tracing(values, ("I", "II"), kind="representative beat", of=0, fiducial=Fraction(3, 10), beat=0)
    marks = tuple(Mark(concept, 1, Fraction(ms, 1000)) for concept, ms in bounds.items())
    return source.with_(tracings=(*source.tracings, beat), marks=(*source.marks, *marks), **fields)
