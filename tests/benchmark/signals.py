"""The signal: the 12-lead sample that pydicom ships, every second sample (500 Hz), at 5 and at 1.25 microvolts."""

from __future__ import annotations

from fractions import Fraction
from functools import cache

import numpy as np
import pydicom.data

import interchange
from interchange.model import Channel, Mark, Recording, Tracing

__all__ = ["coarse", "fine"]


@cache
def coarse() -> Recording:
    """5 uV a step: about 4 bits a second difference."""
    return _recording(4, Fraction(5))


@cache
def fine() -> Recording:
    """1.25 uV a step, as stored: about 11 bits a second difference."""
    return _recording(1, Fraction(5, 4))


def _recording(divisor: int, step: Fraction) -> Recording:
    source = interchange.read(pydicom.data.get_testdata_file("waveform_ecg.dcm"))
    rhythm = source.tracings[0]
    samples = (rhythm.samples[:, ::2].astype(np.int32) // divisor).astype(np.int16)
    channels = tuple(Channel(channel.name, step=step) for channel in rhythm.channels)
    marks = tuple(Mark("r-peak", 0, Fraction(i, 4)) for i in range(20))
    return Recording(tracings=(Tracing(channels, samples, Fraction(500)),), marks=marks)
