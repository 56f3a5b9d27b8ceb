"""What mutations start from: one small recording with everything in it, in every format and coding."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache

import numpy as np

from interchange import formats
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
    Statement,
    Tracing,
)

__all__ = ["Seed", "seeds", "small_recording"]

Seed = tuple[str, str, dict[str, bytes]]
"""(name, format, files with the main one last)."""


def small_recording(samples: int = 40) -> Recording:
    """Three leads of a few samples with a bit of everything else."""
    values = np.array(
        [[(7 * i * i + 31 * row) % 200 - 100 for i in range(samples)] for row in range(3)], dtype=np.int16
    )
    channels = tuple(Channel(name, step=Fraction(5)) for name in ("I", "II", "V1"))
    return Recording(
        tracings=(Tracing(channels, values, Fraction(500)),),
        patient=Patient(
            (Identifier("T1", "2.999.1"),), PersonName("Test", "Ada"), birth_date=Moment(1961, 2, 3),
            sex="female", age=Quantity(70, "a"),
        ),
        acquisition=Acquisition(
            Moment.parse("2031-04-05T14:03:07"), (Device("acquiring", "Invented", "M1", "7", ("1.0",)),),
            filters=Filters(Fraction(1, 20), Fraction(150), (Fraction(50),)), remarks=("remark",),
        ),
        measurements=(
            Measurement("pr-interval", 162, "ms"), Measurement("qrs-duration", 96, "ms"),
            Measurement("p-axis", 45, "deg"),
            Measurement("j-amplitude", -35, "uV", "II"),
        ),
        marks=(Mark("qrs-onset", 0, Fraction(1, 50)), Mark("normal-beat", 0, Fraction(3, 50))),
        statements=(Statement("Sinus rhythm", confirmed=False),),
    )  # fmt: skip


@cache
def seeds(only: str | None = None) -> tuple[Seed, ...]:
    """The small recording in every format (or one) with every choice of the format's options."""
    return tuple(_all(only))


def _all(only: str | None) -> Iterator[Seed]:
    recording = small_recording()
    for entry in formats.FORMATS:
        if only not in (None, entry.name):
            continue
        choices: list[dict[str, str]] = [{}]
        for option in entry.options:
            choices = [{**choice, option.name: value} for choice in choices for value in option.values or ("",)]
        for choice in choices:
            encoded = formats.load(entry.name).encode(recording, "seed", choice)
            name = " ".join([entry.name, *choice.values()])
            yield name, entry.name, dict(encoded.files)
