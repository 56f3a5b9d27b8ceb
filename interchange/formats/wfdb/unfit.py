"""Which lines of the model may not be taken back: they set what the header's own fields or customary keys say.

The writer puts a rate, step or offset into a line only where no decimal says it exactly, so such a line may refine
what the fields say and nothing more.  What a customary key tells (``Age: 62``, ``Dx: ...``) is told by no line as well;
where both are there, somebody wrote the key by hand.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from typing import Final

from interchange.formats.wfdb.model_lines import is_allowed
from interchange.model import Channel, Recording, Tracing

__all__ = ["appended", "unfit_lines"]

_TOLD: Final = (
    *(f"patient.{name}" for name in ("ids", "drugs", "history", "age", "sex", "height", "weight", "absent")),
    "acquisition.study",
    "statements",
)
"""Fields that customary keys tell."""

_SCALE: Final = re.compile(
    r"tracings\[(\d{1,6})\]\.(?:(rate)|channels\[(\d{1,6})\]\.(step|offset)): (-?\d{1,400}(?:[./]\d{1,400})?)", re.ASCII
)
_SCALES: Final = re.compile(r"tracings\[\d{1,6}\]\.(?:rate|channels\[\d{1,6}\]\.(?:step|offset))\b", re.ASCII)
_COUNTED: Final = re.compile(r"(acquisition\.remarks|extras)\[\d{1,6}\]: ", re.ASCII)
_PATH: Final = re.compile(r"[a-z_.\[\]0-9]+", re.ASCII)
_NEAR: Final = Fraction(1, 10**9)
"""How far, in relation, a decimal of 14 digits or more can be from what it stands for, with room to spare."""


def unfit_lines(lines: Iterable[str], said: Recording, tracings: Sequence[Tracing | None]) -> Iterator[str]:
    """The lines that may not be applied to a record whose other fields and info strings say ``said``."""
    told = _told(said)
    for text in lines:
        match = _PATH.match(text)
        path = match[0] if match else ""
        if not _is_fit(path, told) or (_SCALES.match(path) and not _refines(text, tracings)):
            yield text


def _is_fit(path: str, told: Iterable[str]) -> bool:
    return is_allowed(path) and not any(_is_below(path, name) for name in told)


def appended(lines: Iterable[str], said: Recording) -> Iterator[str]:
    """The lines, with remarks and extras counted on from those that are said already."""
    counts = {"acquisition.remarks": len(said.acquisition.remarks), "extras": len(said.extras)}
    for text in lines:
        match = _COUNTED.match(text)
        if match is None:
            yield text
            continue
        yield f"{match[1]}[{counts[match[1]]}]: {text[match.end() :]}"
        counts[match[1]] += 1


def _is_below(path: str, name: str) -> bool:
    return path.startswith(name) and path[len(name) : len(name) + 1] in (".", "[", "")


def _told(said: Recording) -> list[str]:
    found = []
    for path in _TOLD:
        owner, _, name = path.rpartition(".")
        if getattr(getattr(said, owner) if owner else said, name):
            found.append(path)
    return [*found, *(f"patient.{name}" for name, _ in said.patient.absent)]


def _refines(text: str, tracings: Sequence[Tracing | None]) -> bool:
    """Whether a rate, step or offset is what the fields of the header say, to the last digits of a decimal."""
    match = _SCALE.fullmatch(text)
    if match is None or int(match[1]) >= len(tracings):
        return False
    tracing, value = tracings[int(match[1])], _number(match[5])
    if tracing is None or value is None:
        return False
    if match[2]:
        return _is_near(value, tracing.rate)
    if int(match[3]) >= len(tracing.channels):
        return False
    channel = tracing.channels[int(match[3])]
    return _is_step(value, channel) if match[4] == "step" else _is_offset(value, channel)


def _number(text: str) -> Fraction | None:
    try:
        return Fraction(text)
    except ZeroDivisionError:
        return None


def _is_near(value: Fraction, said: Fraction) -> bool:
    return abs(value - said) <= abs(said) * _NEAR


def _is_step(value: Fraction, channel: Channel) -> bool:
    """A signal without calibration has no step of its own."""
    return _is_near(value, channel.step) if channel.unit is not None else value != 0


def _is_offset(value: Fraction, channel: Channel) -> bool:
    """The baseline is a whole number of steps; the line says the rest."""
    return channel.unit is None or abs(value - channel.offset) <= abs(channel.step) / 2 + abs(channel.offset) * _NEAR
