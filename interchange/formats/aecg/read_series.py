"""Series and sequence sets: from the document to segments of samples with their time, each exact."""

from __future__ import annotations

from dataclasses import field
from fractions import Fraction
from functools import lru_cache
from itertools import zip_longest
from typing import TYPE_CHECKING, Any

from interchange.errors import SourceError
from interchange.formats.aecg.codes import OWN, SAME_UNIT, TIME_ABSOLUTE, TIME_RELATIVE, VOLTS
from interchange.formats.aecg.datatypes import Interval, code_text, factor, identifier, interval, physical
from interchange.formats.aecg.digits import Digits, DigitsError, TooWideError, digits_from
from interchange.formats.aecg.limits import MAX_NESTING
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import WHITE, Node, place_of
from interchange.formats.aecg.plain_rows import plain_row, plain_scale
from interchange.formats.aecg.read_controls import Controls, filters_of, read_controls, read_nested, skew_of
from interchange.formats.aecg.read_times import Timing, is_time, time_of, type_of
from interchange.formats.aecg.short_digits import short_integers
from interchange.model import Channel, Identifier, Kind, Moment
from interchange.records import dataclass

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from interchange.vocabulary import Lead

__all__ = ["Row", "Segment", "Series", "lead_of", "named", "read_series"]


Label = tuple[str, str, str]
"""Code, words and code system of a sequence."""


@dataclass(slots=True, eq=False)
class Row:
    """One lead of a segment: its channel, its integers, which of them are missing (None = none), its number."""

    channel: Channel
    code: str
    samples: NDArray[np.integer[Any]]
    missing: NDArray[np.bool_] | None
    row: int | None


@dataclass(slots=True, eq=False)
class Segment:
    """One sequence set: evenly spaced samples from ``head`` (a moment) or ``relative`` (seconds in the series)."""

    node: Node
    step: Fraction
    rows: list[Row]
    length: int
    head: Moment | None = None
    relative: Fraction | None = None
    controls: Controls = field(default_factory=Controls)
    absent: list[Row] = field(default_factory=list)


@dataclass(slots=True, eq=False)
class Series:
    """One series: what kind, when, its segments; ``parent`` is the index of the series it was derived from."""

    node: Node
    kind: Kind
    effective: Interval
    segments: list[Segment]
    controls: Controls
    id: Identifier | None = None
    parent: int | None = None
    tracings: list[int] = field(default_factory=list)
    effective_node: Node | None = None
    said: list[Controls] = field(default_factory=list)
    """The control variables of the series, its sets and their leads."""


def read_series(node: Node, parent: int | None, found: list[Series], log: Log, depth: int = 0) -> None:
    """Read a series and those derived from it, each appended to ``found``."""
    code = code_text(node.take("code")).upper()
    kind: Kind = "representative beat" if parent is not None else "rhythm"
    if code in ("RHYTHM", "REPRESENTATIVE_BEAT"):
        kind = "rhythm" if code == "RHYTHM" else "representative beat"
    else:
        log.add("aecg.series-kind", node)
    effective = node.take("effectiveTime")
    series = Series(node, kind, interval(effective, log), [], read_controls(node, log), parent=parent)
    series.effective_node = effective
    series.id = identifier(node.take("id"), log)
    series.said.append(series.controls)
    index = len(found)
    found.append(series)
    for component in node.takes("component"):
        for chosen in component.takes("sequenceSet"):
            segment = _segment(chosen, series, log)
            if segment is not None:
                series.segments.append(segment)
            else:
                chosen.used = False
    if depth < MAX_NESTING:
        for derivation in node.takes("derivation"):
            for inner in derivation.takes_any("derivedSeries", "series"):
                read_series(inner, index, found, log, depth + 1)


def _segment(node: Node, series: Series, log: Log) -> Segment | None:
    """One sequence set; None, with a finding, when its samples have no rate or none can be read."""
    controls = read_controls(node, log)
    around = [controls, series.controls]
    said = [controls]
    time: Timing | None = None
    times = 0
    rows: list[Row] = []
    prefix = f"{{{node.namespace}}}" if node.namespace else ""
    components = node.takes("component")
    plain = _plain_rows(components, prefix, log) if _says_nothing(around) else []
    for component, short in zip_longest(components, plain):
        if short is not None:
            rows.append(short)
            continue
        component.unfold()
        for sequence in component.takes("sequence"):
            label = _label(sequence.take("code"))
            text = label[0]
            value = sequence.take("value")
            if text.upper() in (TIME_ABSOLUTE, TIME_RELATIVE) or is_time(value):
                times += 1
                time = time_of(sequence, text.upper(), value, log) if times == 1 else time
            else:
                own = read_controls(sequence, log)
                row = _row(sequence, label, value, [own, *around], log)
                if row is not None:
                    rows.append(row)
                    said.append(own)
                else:
                    sequence.used = False
    if times != 1:
        log.add("aecg.time-sequence", node, f"{times} time sequences")
    length = max((row.samples.size for row in rows), default=0)
    if time is not None and length and time.period is not None and time.period < length:
        log.add("aecg.uneven-time", time.node, "the times begin again before the samples end")
        time = None
    if time is None or length == 0:
        return None
    _check_rows(node, rows, length, log)
    series.said += said
    controls.taken.update(("segment", "absent"))
    absent = [
        _row(lead, _label(lead.take("code")), lead.take("value"), [read_nested(lead, log)], log)
        for lead in controls.absent
    ]
    noted = [row for row in absent if row is not None]
    return Segment(node, time.step, rows, length, time.head, time.relative, controls, noted)


def _says_nothing(around: list[Controls]) -> bool:
    """Whether control variables around the leads say nothing that the leads themselves need."""
    return around[0].filters is None and all(part.pad is None and part.skew is None for part in around)


def _plain_rows(components: list[Node], prefix: str, log: Log) -> list[Row | None]:
    """The rows of the components by the short way; None where the long one must be gone."""
    found = [plain_row(component.element, prefix) if not component.children else None for component in components]
    values = short_integers(row[2].text or "" for row in found if row is not None)
    rows: list[Row | None] = []
    for component, plain in zip(components, found, strict=True):
        row: Row | None = None
        if plain is not None:
            code, channel, digits = plain
            samples: NDArray[np.integer[Any]] | None = next(values, None)
            if samples is None:
                samples = _plain_integers(digits.text or "")
            if samples is not None and samples.size:
                row = Row(channel, code, samples, None, None)
                log.integers.append(digits)
                component.attributes.clear()
        rows.append(row)
    return rows


def _plain_integers(text: str) -> NDArray[np.integer[Any]] | None:
    """The integers of a text that is nothing but that; None for any other."""
    try:
        read = digits_from(text)
    except DigitsError:
        return None
    return None if read.deviations else read.values


def _check_rows(node: Node, rows: list[Row], length: int, log: Log) -> None:
    sizes = {row.samples.size for row in rows}
    if len(sizes - {0}) > 1:
        log.add("aecg.lead-lengths", node, f"{min(sizes - {0})} to {length} samples")
    if len({row.code for row in rows}) < len(rows):
        log.add("aecg.lead-repeated", node)


@lru_cache(maxsize=1024)
def lead_of(code: str) -> Lead | None:
    """The lead that a code stands for in any of the spellings that documents use; None for an unknown one."""
    from interchange.vocabulary import lead_by_code, lead_by_mdc, lead_by_refid, lead_named

    text = code.strip()
    if text.isascii() and text.isdigit() and len(text) <= 9:
        return lead_by_mdc(int(text)) if int(text) >= 131072 else None
    if ":" in text:
        return lead_by_code(text)
    upper = text.upper()
    if upper in ("-AVR", "MDC_ECG_LEAD_-AVR"):
        return lead_by_refid("MDC_ECG_LEAD_AVRneg")
    if upper.startswith("LEAD_"):
        text = f"MDC_ECG_{text}"
    return lead_by_refid(text) or lead_named(text)


@lru_cache(maxsize=1024)
def named(code: str, shown: str) -> tuple[str, str | None, str, bool, bool]:
    """Channel name, label, origin, whether the lead is known, whether its code is well spelt."""
    from interchange.vocabulary import channel_name, lead_named

    lead = lead_of(code)
    if lead is None or lead.id == "unspecified" or (shown and lead.mdc_refid):
        other = lead_named(shown) if shown else None
        if other is not None and not other.aecg_code and (lead is None or other.nearest_code == lead.mdc_code):
            return channel_name(other), None, "recorded", True, True
    if lead is None:
        return shown or code or "unnamed", code if shown and code else None, "recorded", False, True
    if lead.id == "unspecified" and shown:
        return shown, None, "recorded", True, True
    spelt = code.upper() in (lead.mdc_refid.upper(), lead.mdc_refid_other.upper())
    return channel_name(lead), None if spelt else code, lead.origin, True, spelt


def _row(sequence: Node, label: Label, value: Node | None, chain: list[Controls], log: Log) -> Row | None:
    """One lead of a set; None, with a finding, when its samples cannot be had.

    ``chain``: what control variables say of it: its own, then those of the set and of the series.
    """
    text, shown, system = label
    chain[0].taken.add("row")
    name, said, origin, known, spelt = named(text, shown)
    if not known:
        if system != OWN:
            log.add("aecg.lead-unknown", sequence)
    elif not spelt:
        log.add("aecg.lead-spelling", sequence)
    elif not system:
        log.add("aecg.lead-code-system", sequence)
    read = _digits(sequence, value, log)
    scale = _scale(value, known, log) if value is not None and read is not None else None
    if read is None or scale is None:
        return None
    if read.values.size == 0 and sequence.name == "sequence":
        log.add("aecg.lead-empty", sequence)
    step, offset, unit = scale
    missing = _padded(sequence, read, scale, chain, log)
    channel = Channel(
        name,
        unit,
        step / read.factor,
        offset,
        said,
        filters_of(chain),
        skew_of(chain),
        "derived" if origin == "derived" else "recorded",
    )
    return Row(channel, text, read.values, missing, chain[0].row)


def _padded(
    sequence: Node, read: Digits, scale: tuple[Fraction, Fraction, str | None], chain: list[Controls], log: Log
) -> NDArray[np.bool_] | None:
    """Which samples are the pad value that holds for the lead: its own, else that of the set or the series.

    A pad value without a unit is one of the digits; one with a unit is compared with the values of the lead.
    """
    source = next((controls for controls in chain if controls.pad is not None), None)
    if source is None or source.pad is None:
        return None
    pad, (step, offset, unit) = source.pad, scale
    digit: Fraction | None = pad.value
    if pad.unit is not None:
        value = pad.value * factor(VOLTS[pad.unit]) if pad.unit in VOLTS else pad.value
        same = unit == ("uV" if pad.unit in VOLTS else SAME_UNIT.get(pad.unit, pad.unit))
        digit = (value - offset) / step if same else None
        plain = pad.value * read.factor
        if digit != pad.value and plain.denominator == 1 and (read.values == int(plain)).any():
            log.add("aecg.pad-value", sequence, "its digits stand there, its value is another")
        elif digit is None:
            log.add("aecg.pad-value", sequence, "it is given in another unit than the samples")
    if digit is None:
        return None
    source.taken.add("pad")
    digit *= read.factor
    missing: NDArray[np.bool_] = read.values == int(digit)
    return missing if digit.denominator == 1 and missing.any() else None


def _digits(sequence: Node, value: Node | None, log: Log) -> Digits | None:
    """The integers of a lead; None, with a finding, when there are none here.  SourceError beyond 32 bits."""
    digits = value.take("digits") if value is not None else None
    if value is None or digits is None:
        log.add("aecg.digits", sequence, "there are none")
        return None
    type_of(value, log)
    if digits.attributes or digits.children:
        log.add("aecg.digits-external", digits)
        return None
    try:
        read = digits_from(digits.element.text or "")
    except TooWideError as error:
        raise SourceError(f"a lead {error}", place_of(digits.element)) from None
    except DigitsError as error:
        log.add("aecg.digits", digits, str(error))
        return None
    for deviation in read.deviations:
        log.add(deviation, digits)
    if not read.deviations:
        log.integers.append(digits.element)
    return read


def _label(code: Node | None) -> Label:
    """The code of a sequence, the words beside it, and whose code it is."""
    if code is None:
        return "", "", ""
    system = code.attributes.get("codeSystemName") or code.attributes.get("codeSystem") or ""
    shown = (code.get("displayName") or "").strip(WHITE)
    original = code.take("originalText")
    if original is not None:
        shown = original.whole_text()
        original.claim()
    if code.attributes.get("nullFlavor") == "OTH":
        code.get("nullFlavor")
    return code_text(code), shown, system


def _scale(value: Node, lead: bool, log: Log) -> tuple[Fraction, Fraction, str | None] | None:
    """Step, offset and unit of a lead, voltages in microvolts; None when there is no usable scale."""
    scale, origin = value.take("scale"), value.take("origin")
    if scale is not None and origin is not None:
        a, b = scale.attributes, origin.attributes
        if len(a) == len(b) == 2 and a.get("unit") == b.get("unit"):
            usual = plain_scale(a.get("value", ""), a.get("unit", ""), b.get("value", ""))
            if usual is not None:
                scale.attributes, origin.attributes = {}, {}
                return usual
    step, unit = physical(scale, log)
    if scale is None or step is None or step == 0:
        log.add("aecg.scale", scale or value)
        return None
    start, start_unit = physical(origin, log)
    if start is None:
        log.add("aecg.origin", origin or value)
    start = start or Fraction(0)
    if unit in VOLTS:
        times: Any = factor(VOLTS[unit])
        if start_unit in VOLTS:
            return step * times, start * factor(VOLTS[start_unit]), "uV"
        return step * times, _no_origin(start, origin, log), "uV"
    if unit is None or unit == "1":
        log.add("aecg.scale-unit", scale)
        return step, start if start_unit in (None, "1") else _no_origin(start, origin, log), None
    if lead:
        log.add("aecg.scale-no-voltage", scale)
    unit = SAME_UNIT.get(unit, unit)
    if SAME_UNIT.get(start_unit or "", start_unit or "") != unit:
        start = _no_origin(start, origin, log)
    return step, start, unit


def _no_origin(start: Fraction, origin: Node | None, log: Log) -> Fraction:
    """Zero for an origin whose unit does not go with that of the scale; what it said stays unread."""
    if start and origin is not None:
        log.add("aecg.origin-unit", origin)
        origin.used = False
    return Fraction(0)
