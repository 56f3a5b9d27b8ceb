"""Which of the four storage classes holds a recording, by their limits (PS3.3 A.34.3, A.34.4, A.34.5, A.34.18)."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache

from interchange.errors import RefusedError
from interchange.formats.contract import Note
from interchange.formats.dicom.dictionary import StorageClass, storage_classes
from interchange.formats.dicom.samples import unused_value
from interchange.model import Tracing
from interchange.records import NamedTuple, dataclass

__all__ = ["Choice", "bits_needed", "choose", "why_not"]

GENERAL_32 = "general-32"
MAX_BYTES = 2**32 - 2**24
"""Samples that fit in a sequence of explicit length, beside the attributes (PS3.5 7.1.2: 32 bits of length)."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The class to write, the tracings (by index) that it holds, and the notes that say why."""

    storage: StorageClass
    kept: tuple[int, ...]
    notes: tuple[Note, ...]


def bits_needed(tracing: Tracing) -> int:
    """16 or 32: what holds every sample, and beside them a padding value where samples are missing."""
    samples = tracing.samples
    if samples.dtype.itemsize > 2 and samples.size and (int(samples.min()) < -(2**15) or int(samples.max()) >= 2**15):
        return 32
    if tracing.missing is not None and unused_value(samples[~tracing.missing], 16) is None:
        return 32
    return 16


class Shape(NamedTuple):
    """What counts of a tracing for the choice of a class; ``rate`` as numerator and denominator."""

    kind: str
    channels: int
    length: int
    rate: tuple[int, int]
    bits: int


def why_not(storage: StorageClass, shapes: Sequence[Shape]) -> str:
    """The first limit of the class that tracings of these shapes exceed, in words; empty where they fit."""
    size = sum(shape.channels * shape.length * shape.bits // 8 for shape in shapes)
    if size > MAX_BYTES:
        return f"{size} bytes of samples, and a sequence holds less than 4 GiB"
    channels = [shape.channels for shape in shapes]
    if storage.max_groups is not None and len(shapes) > storage.max_groups:
        return f"{len(shapes)} tracings, at most {storage.max_groups} multiplex groups"
    if storage.max_channels_group is not None and max(channels) > storage.max_channels_group:
        return f"{max(channels)} channels in one tracing, at most {storage.max_channels_group}"
    if storage.max_channels is not None and sum(channels) > storage.max_channels:
        return f"{sum(channels)} channels in all, at most {storage.max_channels}"
    longest = max(shape.length for shape in shapes)
    if storage.max_samples is not None and longest > storage.max_samples:
        return f"{longest} samples in a channel, at most {storage.max_samples}"
    rates = [Fraction(*shape.rate) for shape in shapes]
    if storage.min_rate is not None and min(rates) < storage.min_rate:
        return f"{float(min(rates)):g} samples per second, at least {storage.min_rate}"
    if storage.max_rate is not None and max(rates) > storage.max_rate:
        return f"{float(max(rates)):g} samples per second, at most {storage.max_rate}"
    wide = max(shape.bits for shape in shapes) > 16
    if storage.id == GENERAL_32:
        needed = wide or max(rates) > 1000
        return "" if needed else "meant for more than 16 bits or more than 1000 samples per second"
    return "the samples need 32 bits" if wide else ""


def choose(tracings: Sequence[Tracing]) -> Choice:
    """The class that holds most: all rhythm tracings first, then the representative beats; the narrowest such class.

    Raises RefusedError where no class holds a single tracing.
    """
    return _choose(
        tuple(
            Shape(
                tracing.kind,
                len(tracing.channels),
                tracing.length,
                (tracing.rate.numerator, tracing.rate.denominator),
                bits_needed(tracing) if tracing.length else 16,
            )
            for tracing in tracings
        )
    )


@lru_cache(maxsize=64)
def _choose(shapes: tuple[Shape, ...]) -> Choice:
    usable = [index for index, shape in enumerate(shapes) if shape.length and shape.channels]
    if not usable:
        raise RefusedError("the recording has no samples, and a DICOM waveform must have some", "tracings")
    order = sorted(usable, key=lambda index: (shapes[index].kind != "rhythm", index))
    reasons: dict[str, str] = {}
    best: tuple[tuple[int, int, int], StorageClass, list[int]] | None = None
    for storage in storage_classes().values():
        reasons[storage.id] = why_not(storage, [shapes[i] for i in order])
        kept: list[int] = []
        for index in order:
            trial = [*kept, index]
            if not why_not(storage, [shapes[i] for i in trial]):
                kept = trial
        score = _score(shapes, kept)
        if kept and (best is None or score > best[0]):
            best = score, storage, kept
    if best is None:
        raise RefusedError(
            "no storage class for ECG holds the recording: " + _told(reasons, storage_classes()), "tracings"
        )
    _, storage, kept = best
    return Choice(storage, tuple(sorted(kept)), tuple(_notes(storage, kept, shapes, reasons)))


def _score(shapes: Sequence[Shape], kept: list[int]) -> tuple[int, int, int]:
    rhythms = [shapes[index] for index in kept if shapes[index].kind == "rhythm"]
    return len(rhythms), sum(shape.channels * shape.length for shape in rhythms), len(kept)


def _told(reasons: dict[str, str], classes: dict[str, StorageClass]) -> str:
    return "; ".join(f"{classes[id].name}: {reason}" for id, reason in reasons.items() if reason)


def _notes(storage: StorageClass, kept: list[int], shapes: Sequence[Shape], reasons: dict[str, str]) -> list[Note]:
    classes = storage_classes()
    before = {}
    for id, reason in reasons.items():
        if id == storage.id:
            break
        before[id] = reason
    because = _told(before, classes)
    text = f"written as {storage.name}"
    notes = [
        Note("info", "tracings", f"{text}, since a narrower class does not hold it: {because}" if because else text)
    ]
    for index, shape in enumerate(shapes):
        if index in kept:
            continue
        reason = "it has no samples" if not shape.length or not shape.channels else _told(reasons, classes)
        notes.append(
            Note("left", f"tracings[{index}]", f"no storage class holds it together with the others: {reason}")
        )
    return notes
