"""Channel Definition items to channels: lead, exact scale, skew, filters (PS3.3 C.10.9)."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, Final

from interchange.formats.dicom.dataset import DataSet, take, taken_tags
from interchange.formats.dicom.leadcodes import lead_of
from interchange.formats.dicom.samples import Cell
from interchange.formats.dicom.unread import has_unread
from interchange.formats.dicom.view import View
from interchange.model import Channel, Filters
from interchange.model.tracing import Origin, shared

__all__ = ["CHANNEL_EXTRAS", "NOT_SAID_UNIT", "RECONSTRUCTED", "channel_of", "extras_of"]

VOLTS: Final = {
    "V": Fraction(10**6),
    "mV": Fraction(1000),
    "mv": Fraction(1000),
    "uV": Fraction(1),
    "uv": Fraction(1),
    "\u00b5V": Fraction(1),
    "\u03bcV": Fraction(1),
    "nV": Fraction(1, 1000),
}
"""Microvolts per unit; UCUM writes uV, the rest is tolerated."""

NOT_SAID_UNIT: Final = "{unit-not-said}"
"""UCUM annotation (dimensionless) for a scale whose unit the source did not say."""

RECONSTRUCTED: Final = "Reconstructed samples"
"""Beginning of the derivation description of samples that are not exactly what was recorded."""

SKEW_ROUNDING: Final = Fraction(1, 100)
"""Part of a sample interval by which time skew and sample skew may differ through rounding (proposal)."""

CHANNEL_EXTRAS: Final = ("WaveformChannelNumber", "ChannelStatus", "ChannelOffset", "NotchFilterBandwidth")
"""Attributes of a channel without a place in the model that are kept as text beside it and written back."""


def extras_of(view: View, keywords: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Attributes without a place in the model, as text; zeros and OK say nothing and are left out."""
    found = []
    for keyword in keywords:
        text = "\\".join(view.texts(keyword)) if keyword in view else ""
        if text and text not in ("0", "OK"):
            found.append((f"dicom.{keyword}", text))
    return tuple(found)


def channel_of(dataset: DataSet, group: View, rate: Fraction, cell: Cell) -> Channel:
    """The channel that an item describes; one that was read before without a fault is not read again."""
    known = dataset.known
    if known is None:
        return _read_channel(View(dataset, group.context, group.charset), rate, cell)
    key = ("channel", rate.numerator, rate.denominator, cell, group.charset)
    fact = known.facts.get(key)
    if fact is not None:
        channel: Channel = fact[0]
        if fact[1] is None:
            dataset.complete = True
        else:
            take(dataset, fact[1])
        return channel
    met = group.context.met
    channel = _read_channel(View(dataset, group.context, group.charset), rate, cell)
    if group.context.met == met:
        channel = shared(channel)
        known.add(key, (channel, taken_tags(dataset) if has_unread(dataset) else None))
    return channel


def _read_channel(item: View, rate: Fraction, cell: Cell) -> Channel:
    name, label, calculated = lead_of(item)
    unit, step, offset = _scale(item)
    bits = item.whole("WaveformBitsStored")
    if bits is not None and not 0 < bits <= cell.bits:
        item.context.tolerate("bits-allocated", item.at("WaveformBitsStored"), f"{bits} of {cell.bits}")
    origin: Origin = "derived" if calculated else "recorded"
    derivation = item.text("ChannelDerivationDescription")
    if derivation and derivation.startswith(RECONSTRUCTED):
        origin, derivation = "reconstructed", derivation[len(RECONSTRUCTED) :].lstrip(": ") or None
    elif derivation:
        origin = "derived"
    extras = extras_of(item, CHANNEL_EXTRAS)
    if any(key == "dicom.ChannelStatus" for key, _ in extras):
        item.context.tolerate("channel-status", item.at("ChannelStatus"))
    return Channel(
        name,
        unit,
        step,
        offset,
        label=label,
        filters=_filters(item),
        skew=_skew(item, rate),
        origin=origin,
        derived_from=derivation,
        bits=bits if bits is not None and 0 < bits < cell.bits else None,
        extras=extras,
    )


def _scale(item: View) -> tuple[str | None, Fraction, Fraction]:
    """Unit, step and offset: value = sample x sensitivity x correction factor + baseline (PS3.3 C.10.9.1.4.2)."""
    sensitivity = item.decimal("ChannelSensitivity")
    code = item.code("ChannelSensitivityUnitsSequence")
    factor = item.decimal("ChannelSensitivityCorrectionFactor")
    baseline = item.decimal("ChannelBaseline")
    if sensitivity is None:
        item.context.tolerate_once("no-sensitivity", item.at("ChannelSensitivity"))
        return None, Fraction(1), Fraction(0)
    if sensitivity == 0 or factor == 0:
        item.context.tolerate("sensitivity-zero", item.at("ChannelSensitivity"))
    if factor is None or baseline is None or code is None:
        item.context.tolerate_once("sensitivity-incomplete", item.at("ChannelSensitivity"))
    step = sensitivity * (1 if factor is None else factor)
    offset = baseline or Fraction(0)
    unit = code.value if code else None
    if unit in VOLTS:
        return "uV", step * VOLTS[unit], offset * VOLTS[unit]
    if not unit or unit == NOT_SAID_UNIT:
        return None, step, offset
    if code is not None and code.scheme != "UCUM":
        item.context.tolerate_once("unit-unknown", item.at("ChannelSensitivityUnitsSequence"))
    return unit, step, offset


def _skew(item: View, rate: Fraction) -> Fraction:
    seconds = item.decimal("ChannelTimeSkew")
    samples = item.decimal("ChannelSampleSkew")
    if seconds is None and samples is None:
        item.context.tolerate_once("skew-missing", item.at("ChannelSampleSkew"))
        return Fraction(0)
    if seconds is None or samples is None:
        return seconds if seconds is not None else (samples or Fraction(0)) / rate
    if abs(seconds * rate - samples) >= SKEW_ROUNDING:
        item.context.tolerate("skew-contradiction", item.at("ChannelTimeSkew"))
        item.leave("ChannelSampleSkew")
    return seconds


def _filters(item: View) -> Filters | None:
    low, high = item.decimal("FilterLowFrequency"), item.decimal("FilterHighFrequency")
    notches = item.decimals("NotchFilterFrequency")
    if low is not None and low.numerator < 0:
        low = _impossible(item, "FilterLowFrequency")
    if high is not None and high.numerator < 0:
        high = _impossible(item, "FilterHighFrequency")
    if notches and min(notches).numerator < 0:
        notches = _impossible(item, "NotchFilterFrequency") or ()
    filters = Filters(
        low,
        high,
        tuple(frequency for frequency in notches if frequency),
        notch_off=bool(notches) and not any(notches),
    )
    return None if filters == Filters() else filters


def _impossible(item: View, keyword: str) -> Any:
    """None; a negative frequency makes a finding and stays unread."""
    item.context.tolerate("filter-impossible", item.at(keyword))
    item.leave(keyword)
    return None
