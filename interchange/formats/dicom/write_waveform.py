"""Tracings to Waveform Sequence items (PS3.3 C.10.9)."""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from interchange.formats.dicom.encoder import Item, coded
from interchange.formats.dicom.extras import put_extras
from interchange.formats.dicom.leadcodes import channel_source
from interchange.formats.dicom.numbers import decimal_text, parse_decimal
from interchange.formats.dicom.read_channel import CHANNEL_EXTRAS, NOT_SAID_UNIT, RECONSTRUCTED
from interchange.formats.dicom.read_waveform import GROUP_EXTRAS, REPRESENTATIVE_LABEL
from interchange.formats.dicom.samples import beyond_stored, unused_value
from interchange.formats.dicom.storage import bits_needed
from interchange.model import Channel, Filters, Tracing

__all__ = ["group_item"]

UNIT_NAMES: Final = {"uV": "microvolt", "mm[Hg]": "millimeter of mercury", NOT_SAID_UNIT: "unit not said"}


def group_item(tracing: Tracing, filters: Filters | None, mains: Fraction | None, wide: bool) -> Item:
    """One multiplex group; ``filters`` are those of channels that have none of their own, ``wide`` asks for 32 bits."""
    item = Item()
    bits = 32 if wide else bits_needed(tracing)
    if tracing.start:
        item.decimals("MultiplexGroupTimeOffset", tracing.start * 1000)
    _trigger(item, tracing)
    derived = tracing.kind != "rhythm" or all(channel.origin != "recorded" for channel in tracing.channels)
    item.text("WaveformOriginality", "DERIVED" if derived else "ORIGINAL")
    item.numbers("NumberOfWaveformChannels", len(tracing.channels))
    item.numbers("NumberOfWaveformSamples", tracing.length)
    item.decimals("SamplingFrequency", tracing.rate)
    label = tracing.label or (REPRESENTATIVE_LABEL if tracing.kind != "rhythm" else None)
    if label:
        item.text("MultiplexGroupLabel", label)
    if mains is not None:
        item.decimals("PowerlineFrequency", mains)
    stored = [_stored(tracing, row, bits) for row in range(len(tracing.channels))]
    definitions = [
        _definition(channel, tracing.rate, filters, size)
        for channel, size in zip(tracing.channels, stored, strict=True)
    ]
    item.sequence("ChannelDefinitionSequence", definitions)
    item.numbers("WaveformBitsAllocated", bits)
    item.text("WaveformSampleInterpretation", "SL" if bits == 32 else "SS")
    _data(item, tracing, bits)
    put_extras(item, tracing.extras, GROUP_EXTRAS)
    return item


def _trigger(item: Item, tracing: Tracing) -> None:
    """The instant that beats were aligned at, as a sample counted from 1; what is between samples is rounded."""
    if tracing.fiducial is None:
        return
    position = round(tracing.fiducial * tracing.rate) + 1
    if 0 < position < 2**32:
        item.numbers("TriggerSamplePosition", position)


def _data(item: Item, tracing: Tracing, bits: int) -> None:
    import numpy as np

    kind = "<i4" if bits == 32 else "<i2"
    samples = tracing.samples
    if tracing.missing is not None:
        padding = unused_value(samples[~tracing.missing], bits)
        assert padding is not None
        samples = np.where(tracing.missing, np.asarray(padding, dtype=np.int64), samples)
        item.raw("WaveformPaddingValue", "OW", padding.to_bytes(bits // 8, "little", signed=True))
    item.raw("WaveformData", "OW", np.ascontiguousarray(samples.T, dtype=kind).tobytes())


def _stored(tracing: Tracing, row: int, bits: int) -> int:
    """Significant bits: the converter's where every sample fits in them, else those that are allocated."""
    said = tracing.channels[row].bits
    if said is None or not 1 < said < bits:
        return bits
    missing = None if tracing.missing is None else tracing.missing[row]
    return bits if beyond_stored(tracing.samples[row], missing, True, said) else said


_MOST: Final = 512
_LONGEST: Final = 1024
_definitions: dict[tuple[int, ...], tuple[Channel, Filters | None, Item]] = {}
"""Definitions of the last channels, by which object each is and what else goes in: see :func:`_definition`."""


def _definition(channel: Channel, rate: Fraction, filters: Filters | None, stored: int) -> Item:
    """The definition of a channel, which must not be changed.

    Readers of archives give equal channels as one object (:func:`interchange.model.tracing.shared`), whose definition
    is kept with its bytes.
    """
    key = (id(channel), rate.numerator, rate.denominator, id(filters), stored)
    known = _definitions.get(key)
    if known is not None and known[0] is channel and known[1] is filters:
        return known[2]
    item = _channel(channel, rate, filters, stored)
    if sum(len(value) for _, value in item.values()) <= _LONGEST:
        if len(_definitions) >= _MOST:
            _definitions.clear()
        _definitions[key] = channel, filters, item
    return item


def _channel(channel: Channel, rate: Fraction, filters: Filters | None, stored: int) -> Item:
    item = Item()
    source, in_label = channel_source(channel.name, channel.unit == "uV" or channel.unit is None)
    item.text("ChannelLabel", channel.name if in_label or not channel.label else channel.label)
    item.sequence("ChannelSourceSequence", [coded(source.value, source.scheme, source.meaning)])
    derivation = _derivation(channel)
    if derivation:
        item.text("ChannelDerivationDescription", derivation)
    _scale(item, channel)
    _skew(item, channel.skew, rate)
    item.numbers("WaveformBitsStored", stored)
    used = channel.filters or filters
    if used is not None:
        _filters(item, used)
    put_extras(item, channel.extras, CHANNEL_EXTRAS)
    return item


def _derivation(channel: Channel) -> str | None:
    if channel.origin == "reconstructed":
        return f"{RECONSTRUCTED}: {channel.derived_from}" if channel.derived_from else RECONSTRUCTED
    return channel.derived_from or ("Calculated from other leads" if channel.origin == "derived" else None)


def _scale(item: Item, channel: Channel) -> None:
    if channel.unit is None and channel.step == 1 and channel.offset == 0:
        return
    unit = channel.unit or NOT_SAID_UNIT
    sensitivity, factor = _factors(channel.step)
    item.decimals("ChannelSensitivity", sensitivity)
    item.sequence("ChannelSensitivityUnitsSequence", [coded(unit, "UCUM", UNIT_NAMES.get(unit, unit))])
    item.decimals("ChannelSensitivityCorrectionFactor", factor)
    item.decimals("ChannelBaseline", channel.offset)


def _factors(step: Fraction) -> tuple[Fraction, Fraction]:
    """Sensitivity and correction factor: the step and 1, or two decimals that are exact where one is not."""
    if parse_decimal(decimal_text(step)) == step:
        return step, Fraction(1)
    for divisor in (3, 7, 9, 11, 13, 1000, 10**6):
        for factor in (Fraction(divisor), Fraction(1, divisor)):
            rest = step / factor
            if parse_decimal(decimal_text(rest)) == rest and parse_decimal(decimal_text(factor)) == factor:
                return rest, factor
    return step, Fraction(1)


def _skew(item: Item, skew: Fraction, rate: Fraction) -> None:
    """In samples where that is exact, else in seconds."""
    samples = skew * rate
    if parse_decimal(decimal_text(samples)) == samples:
        item.decimals("ChannelSampleSkew", samples)
    else:
        item.decimals("ChannelTimeSkew", skew)


def _filters(item: Item, filters: Filters) -> None:
    if filters.highpass is not None:
        item.decimals("FilterLowFrequency", filters.highpass)
    if filters.lowpass is not None:
        item.decimals("FilterHighFrequency", filters.lowpass)
    if filters.notches:
        item.decimals("NotchFilterFrequency", filters.notches[0])
    elif filters.notch_off:
        item.decimals("NotchFilterFrequency", 0)
