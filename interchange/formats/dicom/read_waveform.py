"""Waveform Sequence to tracings: one per multiplex group, integers as stored, scale exact (PS3.3 C.10.9)."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from interchange.errors import SourceError
from interchange.formats.dicom.dataset import CHANNELS, DataSet
from interchange.formats.dicom.dictionary import TAGS
from interchange.formats.dicom.read_channel import channel_of, extras_of
from interchange.formats.dicom.samples import CELLS, Cell, beyond_stored, decode, padding_mask
from interchange.formats.dicom.view import View
from interchange.model import Channel, Tracing
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

__all__ = ["GROUP_EXTRAS", "REPRESENTATIVE_LABEL", "Group", "read_groups"]

REPRESENTATIVE_LABEL: Final = "REPRESENTATIVE"
"""Label that a representative beat without one is written with."""

BEAT_SECONDS: Final = 3
"""Longest representative beat that a trigger position or the label makes one (proposal of this project)."""

UNNAMED_BEAT_SECONDS: Final = Fraction(3, 2)
"""Longest one that only a longer group of the same leads makes one: columns of a printed page are longer."""

_BEAT_LABEL: Final = re.compile(r"MEDIAN|BEAT|AVERAGE|REPRESENTATIVE|TEMPLATE", re.ASCII | re.IGNORECASE)
_STATUS_MISSING: Final = frozenset({"DISCONNECTED", "INVALID"})
GROUP_EXTRAS: Final = ("TriggerTimeOffset", "TriggerSamplePosition")
"""Attributes of a group without a place in the model that are kept as text beside it and written back."""
_MAX_CHANNELS: Final = 65535


class Group(NamedTuple):
    """One multiplex group: its tracing, or None where it holds no samples, and what belongs to the recording."""

    tracing: Tracing | None
    mains: Fraction | None
    trigger: int | None


def read_groups(top: View, with_samples: bool = True) -> list[Group]:
    """All multiplex groups in order; without samples all of them are zero, for whoever asks for the rest alone.

    Raises SourceError where there is no waveform, or where the samples of a group cannot be told apart safely.
    """
    items = top.items("WaveformSequence")
    if not items:
        raise SourceError("holds no waveform", top.at("WaveformSequence"))
    groups: list[Group] = []
    mains: Fraction | None = None
    for view in items:
        group = _group(view, groups, with_samples)
        groups.append(group)
        mains = group.mains if mains is None else mains
        if group.mains is not None and group.mains != mains:
            view.leave("PowerlineFrequency")  # the recording has one, that of the first group
    if not any(group.tracing for group in groups):
        raise SourceError("holds no samples", top.at("WaveformSequence"))
    return _related(groups)


def _group(view: View, before: list[Group], with_samples: bool) -> Group:
    rate = view.decimal("SamplingFrequency")
    if rate is None or rate <= 0:
        raise SourceError("the sampling frequency is missing or impossible", view.at("SamplingFrequency"))
    definitions = _definitions(view)
    samples = view.whole("NumberOfWaveformSamples")
    if samples is None:
        raise SourceError("the number of samples is missing", view.at("NumberOfWaveformSamples"))
    said = view.whole("NumberOfWaveformChannels")
    if not definitions:
        raise SourceError("the number of channels is zero", view.at("ChannelDefinitionSequence"))
    if len(definitions) > _MAX_CHANNELS:
        raise SourceError(f"there are more than {_MAX_CHANNELS} channels", view.at("ChannelDefinitionSequence"))
    cell = _cell(view)
    raw = view.buffer("WaveformData")
    if said != len(definitions):
        _settle_channels(view, said, len(definitions), samples, cell, raw)
    mains = view.decimal("PowerlineFrequency")
    if samples == 0:
        view.context.tolerate("group-empty", view.place)
        return Group(None, mains, None)
    channels = [channel_of(item, view, rate, cell) for item in definitions]
    if len({channel.name for channel in channels}) < len(channels):
        view.context.tolerate("lead-repeated", view.at("ChannelDefinitionSequence"))
    values, missing = _samples(view, channels, cell, raw, samples) if with_samples else _zeros(channels, samples)
    trigger = view.whole("TriggerSamplePosition")
    tracing = Tracing(
        tuple(channels),
        values,
        rate,
        missing,
        start=(view.decimal("MultiplexGroupTimeOffset") or Fraction(0)) / 1000,
        label=view.text("MultiplexGroupLabel"),
        extras=extras_of(view, ("TriggerTimeOffset",)),
    )
    originality = view.text("WaveformOriginality")
    return Group(_kind(tracing, originality == "DERIVED", trigger, before), mains, trigger)


def _definitions(view: View) -> Sequence[DataSet]:
    element = view.dataset.get(CHANNELS)
    if element is None or element.items is None:
        return tuple(item.dataset for item in view.items("ChannelDefinitionSequence"))
    view.dataset.taken.add(CHANNELS)
    return element.items


def _samples(
    view: View, channels: list[Channel], cell: Cell, raw: memoryview, samples: int
) -> tuple[NDArray[Any], NDArray[Any] | None]:
    """The values, shape (channels, samples), and which are missing."""
    stored, values, extra = decode(
        raw, cell, len(channels), samples, view.dataset.little, view.is_word("WaveformData"), view.at("WaveformData")
    )
    if extra:
        view.context.tolerate("data-length", view.at("WaveformData"), f"{extra} bytes too many")
    missing = _missing(view, stored, cell)
    _check_bits(view, channels, values, missing, cell)
    return values, _without_bad(channels, missing, values.shape)


def _zeros(channels: list[Channel], samples: int) -> tuple[NDArray[Any], None]:
    import numpy as np

    zeros = np.zeros((len(channels), samples), dtype=np.int16)
    zeros.flags.writeable = False  # then it need not be copied
    return zeros, None


def _cell(view: View) -> Cell:
    """Size and sign of the samples; the size that is allocated decides where the interpretation is missing."""
    name = view.text("WaveformSampleInterpretation")
    bits = view.whole("WaveformBitsAllocated")
    cell = CELLS.get(name or "")
    if cell is not None and bits in (None, cell.bits):
        return cell
    guess = next((c for key, c in CELLS.items() if c.bits == bits and key.startswith("S")), None)
    if cell is not None or guess is None:
        raise SourceError(
            "bits allocated and sample interpretation do not fit each other", view.at("WaveformBitsAllocated")
        )
    view.context.tolerate("interpretation-guessed", view.at("WaveformSampleInterpretation"))
    return guess


def _settle_channels(view: View, said: int | None, there: int, samples: int, cell: Cell, raw: memoryview) -> None:
    """The channel definitions win over a wrong count if the length of the data says so too."""
    expected = there * samples * (cell.bits // 8)
    if len(raw) != expected + expected % 2:
        raise SourceError(
            f"{there} channels are defined, {said or 0} are said to be there, and the data fit neither",
            view.at("NumberOfWaveformChannels"),
        )
    view.context.tolerate("channel-count", view.at("NumberOfWaveformChannels"), f"{there} definitions")


def _missing(view: View, stored: NDArray[Any], cell: Cell) -> NDArray[Any] | None:
    padding = view.raw("WaveformPaddingValue")
    if padding is None:
        return None
    size = cell.bits // 8
    if len(padding) != size + size % 2:
        view.context.tolerate("padding-size", view.at("WaveformPaddingValue"), f"{len(padding)} bytes")
    return padding_mask(stored, padding, cell, view.dataset.little)


def _check_bits(
    view: View, channels: list[Channel], values: NDArray[Any], missing: NDArray[Any] | None, cell: Cell
) -> None:
    definitions = _definitions(view)
    for row, channel in enumerate(channels):
        if channel.bits is None or cell.companding:
            continue
        outside = beyond_stored(values[row], None if missing is None else missing[row], cell.signed, channel.bits)
        if outside:
            place = definitions[row].at(TAGS["WaveformBitsStored"])
            view.context.tolerate("bits-stored", place, f"{outside} samples, {channel.bits} bits")
    if cell.companding:
        view.context.tolerate_once("companded", definitions[0].place.rstrip("/"))


def _without_bad(channels: list[Channel], missing: NDArray[Any] | None, shape: tuple[int, ...]) -> NDArray[Any] | None:
    """The mask with every channel missing that is said to be disconnected or invalid (PS3.3 C.10.9.1.4.4)."""
    import numpy as np

    for row, channel in enumerate(channels):
        status = dict(channel.extras).get("dicom.ChannelStatus", "")
        if _STATUS_MISSING.intersection(status.split("\\")):
            missing = np.zeros(shape, dtype=np.bool_) if missing is None else missing
            missing[row] = True
    return missing


def _kind(tracing: Tracing, derived: bool, trigger: int | None, before: list[Group]) -> Tracing:
    """The tracing with its kind: a derived group of about one beat is a representative beat.

    The standard has no attribute for it (PS3.3 C.10.9); a trigger position, a label that says so, or a longer group of
    the same leads before it make it one.  A derived group that is none holds samples that were not recorded as such.
    """
    if not derived:
        if trigger is None:
            return tracing
        return replace(tracing, extras=(*tracing.extras, ("dicom.TriggerSamplePosition", str(trigger))))
    longer = any(
        group.tracing
        and group.tracing.duration > 2 * tracing.duration
        and set(group.tracing.names) & set(tracing.names)
        for group in before
    )
    longer = longer and tracing.duration <= UNNAMED_BEAT_SECONDS
    hint = trigger is not None or longer or bool(_BEAT_LABEL.search(tracing.label or ""))
    if tracing.duration <= BEAT_SECONDS and hint:
        fiducial = None if trigger is None else (trigger - 1) / tracing.rate
        label = None if tracing.label == REPRESENTATIVE_LABEL else tracing.label
        return replace(tracing, kind="representative beat", fiducial=fiducial, label=label)
    if all(channel.origin == "recorded" for channel in tracing.channels):
        channels = tuple(replace(channel, origin="reconstructed") for channel in tracing.channels)
        return replace(tracing, channels=channels)
    return tracing


def _related(groups: list[Group]) -> list[Group]:
    """Representative beats say which tracing they come from where there is only one that they can come from."""
    tracings = [group.tracing for group in groups if group.tracing]
    rhythms = [index for index, tracing in enumerate(tracings) if tracing.kind == "rhythm"]
    if len(rhythms) != 1:
        return groups
    return [
        group._replace(tracing=replace(group.tracing, of=rhythms[0]))
        if group.tracing and group.tracing.kind == "representative beat"
        else group
        for group in groups
    ]
