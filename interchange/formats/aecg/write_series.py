"""Series and sequence sets: tracings with their channels, gaps, filters, the recorder and the operator.

A tracing is one sequence set, or several where samples are missing: a set holds what all its leads have without a gap,
and an absent lead is left out.  So that the reader can put the pieces together again, the first samples' place and the
tracing's length are noted in control variables of the set, under this project's own code system name; a receiver that
does not know them has lost nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import field
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from interchange.errors import RefusedError
from interchange.formats.aecg.clock import Clock
from interchange.formats.aecg.codes import ACT_CODE, LEAD_SYSTEM, MDC, OWN, SAME_UNIT, VOLTS
from interchange.formats.aecg.difference import lines_for
from interchange.formats.aecg.digits import digits_text
from interchange.formats.aecg.markup import WHITE
from interchange.formats.aecg.read_series import named
from interchange.formats.aecg.write_header import add_effective
from interchange.formats.aecg.write_types import (
    TYPE,
    add,
    add_id,
    add_int,
    add_mdc,
    add_quantity,
    add_text,
    add_value,
    clean,
    is_token,
)
from interchange.model import Channel, Filters, Identifier, Recording, Tracing
from interchange.records import dataclass

if TYPE_CHECKING:
    from lxml import etree

__all__ = [
    "Group",
    "Written",
    "add_filters",
    "add_placement",
    "natural_order",
    "add_series",
    "add_sets",
    "beats_of",
    "channel_lines",
    "groups",
    "read_back_channel",
    "read_back_filters",
]

MAX_PIECES = 20_000
"""Pieces that a tracing with gaps may fall into."""

PREFIX = "MDC_ECG_CTL_VBL_ATTR_"


@dataclass(slots=True)
class Group:
    """Tracings of one series, as indices in the recording; representative beats derived from it hang below."""

    tracings: list[int]
    kind: str = "RHYTHM"
    id: str | None = None
    derived: list[Group] = field(default_factory=list)


@dataclass(slots=True)
class Written:
    """Indices of the recording's items in the order in which they were written, which is that of the reader."""

    measurements: list[int] = field(default_factory=list)
    marks: list[int] = field(default_factory=list)
    statements: list[int] = field(default_factory=list)
    groups: list[Group] = field(default_factory=list)


def beats_of(recording: Recording) -> int:
    """Number of representative beats that measurements are told apart by; none where there is no rhythm beside."""
    return sum(tracing.kind != "rhythm" for tracing in recording.tracings) if recording.rhythms else 0


def groups(tracings: tuple[Tracing, ...]) -> list[Group]:
    """Which tracings go into which series: rhythms that came from one series together, each beat for itself."""
    rhythms: dict[tuple[str, str | None], Group] = {}
    found: list[Group] = []
    home: dict[int, Group] = {}
    for index, tracing in enumerate(tracings):
        if tracing.kind == "rhythm":
            extras = dict(tracing.extras)
            key = (extras.get("aecg.series", "0"), extras.get("aecg.series-id"))
            if key not in rhythms:
                rhythms[key] = Group([], id=key[1])
                found.append(rhythms[key])
            rhythms[key].tracings.append(index)
            home[index] = rhythms[key]
    for index, tracing in enumerate(tracings):
        if tracing.kind != "rhythm":
            group = Group([index], "REPRESENTATIVE_BEAT", dict(tracing.extras).get("aecg.series-id"))
            parent = home.get(tracing.of) if tracing.of is not None else None
            (parent.derived if parent is not None else found).append(group)
    return found


def natural_order(found: list[Group]) -> list[int]:
    """The tracings in the order in which a reader meets them: rhythms, then beats, series by series."""
    flat: list[Group] = []
    stack = list(reversed(found))
    while stack:
        group = stack.pop()
        flat.append(group)
        stack.extend(reversed(group.derived))
    flat.sort(key=lambda group: group.kind != "RHYTHM")
    return [index for group in flat for index in group.tracings]


def add_series(parent: etree._Element, relation: str, name: str, group: Group, clock: Clock) -> etree._Element:
    """The series element with its id, code and effective time."""
    code = {"component": "COMP", "derivation": "DRIV"}[relation]
    series = add(add(parent, relation, {"typeCode": code}), name, {"classCode": "OBSSER", "moodCode": "EVN"})
    if group.id is not None:
        issuer, _, value = group.id.rpartition("^")
        add_id(series, "id", Identifier(value, issuer or None))
    add(series, "code", {"code": group.kind, "codeSystem": ACT_CODE, "codeSystemName": "ActCode"})
    add_effective(series, clock.low, clock.high)
    return series


# Filters -----------------------------------------------------------------------------------------------------------


def add_filters(parent: etree._Element, filters: Filters | None) -> None:
    """Control variables for the filters that are known."""
    if filters is None:
        return
    for name, value in (("LOW_PASS", filters.lowpass), ("HIGH_PASS", filters.highpass)):
        if value is not None and value > 0:
            node = _variable(parent, f"{PREFIX}FILTER_{name}")
            add_value(_nested(node, f"{PREFIX}FILTER_CUTOFF_FREQ"), value, "Hz")
    for notch in filters.notches:
        if notch > 0:
            node = _variable(parent, f"{PREFIX}FILTER_NOTCH")
            add_value(_nested(node, f"{PREFIX}FILTER_NOTCH_FREQ"), notch, "Hz")
    for text in filters.descriptions:
        if text.strip(WHITE):
            add_text(_variable(parent, f"{PREFIX}FILTER_DESCRIPTION"), "value", text, "ST")


def add_placement(parent: etree._Element, placement: str | None) -> str | None:
    """A control variable for the lead system where a code means this one alone; gives back what the reader finds."""
    from interchange.vocabulary import lead_set, lead_sets_by_code

    try:
        refid = lead_set(placement).refid if placement else ""
    except KeyError:
        return None
    if not refid.startswith("MDC_ECG_LDSYS_") or len(lead_sets_by_code(refid)) != 1:
        return None
    node = _variable(parent, LEAD_SYSTEM, {"codeSystemName": OWN})
    add_mdc(node, "value", refid, "CE")
    return placement


def read_back_filters(filters: Filters | None) -> Filters | None:
    """The filters as the reader will give them back."""
    if filters is None:
        return None
    low, high = (value if value is not None and value > 0 else None for value in (filters.lowpass, filters.highpass))
    descriptions = tuple(clean(text).strip(WHITE) for text in filters.descriptions if text.strip(WHITE))
    back = Filters(high, low, tuple(n for n in filters.notches if n > 0), descriptions=descriptions)
    return back if back != Filters() else None


def _variable(parent: etree._Element, code: str, system: dict[str, str] | None = None) -> etree._Element:
    outer = add(parent, "controlVariable", {"typeCode": "CTRLV"})
    return _inner(outer, code, system)


def _nested(parent: etree._Element, code: str, system: dict[str, str] | None = None) -> etree._Element:
    return _inner(add(parent, "component", {"typeCode": "COMP"}), code, system)


def _inner(outer: etree._Element, code: str, system: dict[str, str] | None) -> etree._Element:
    node = add(outer, "controlVariable", {"classCode": "OBS", "moodCode": "EVN"})
    add(node, "code", {"code": code, **(system or {"codeSystem": MDC, "codeSystemName": "MDC"})})
    return node


def _note(parent: etree._Element, code: str, value: int, nested: bool = True) -> etree._Element:
    """A note of our own: a whole number under this project's code system name."""
    system = {"codeSystemName": OWN}
    node = _nested(parent, code, system) if nested else _variable(parent, code, system)
    add_int(node, value)
    return node


# Channels ----------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=1024)
def sequence_code(name: str, origin: str) -> tuple[tuple[tuple[str, str], ...], str | None]:
    """Attributes of a sequence's code, and the words inside it."""
    from interchange.vocabulary import lead_by_code, lead_for_channel

    lead = lead_for_channel(name, origin == "derived") or lead_for_channel(name)
    system = (("codeSystem", MDC), ("codeSystemName", "MDC"))
    if lead is not None and lead.aecg_code:
        return (("code", lead.aecg_code), *system), None
    if lead is not None and lead.nearest_code:
        nearest = lead_by_code(lead.nearest_code)
        if nearest is not None:
            return (("code", nearest.aecg_code), *system), lead.name
    if is_token(name):
        return (("code", name), ("codeSystemName", OWN)), None
    return (("nullFlavor", "OTH"), ("codeSystemName", OWN)), name or None


def read_back_channel(channel: Channel, empty: bool = False, around: Filters | None = None) -> Channel:
    """The channel as the reader will give it back, without lines of text.

    ``empty``: it has no sample at all.  ``around``: filters that are written for the whole series.
    """
    attributes, words = sequence_code(channel.name, channel.origin)
    code = dict(attributes).get("code", "")
    name, label, origin, _, _ = named(code, clean(words or "").strip(WHITE))
    unit = _unit(channel.unit)
    return Channel(
        name,
        "uV" if unit in VOLTS else None if unit == "1" else SAME_UNIT.get(unit, unit),
        channel.step,
        channel.offset,
        label,
        None if empty else _completed(read_back_filters(channel.filters), around),
        Fraction(0) if empty else channel.skew,
        "derived" if origin == "derived" else "recorded",
    )


def _completed(own: Filters | None, around: Filters | None) -> Filters | None:
    """Filters of a lead, completed by those of its series as the reader does it."""
    if own is None or around is None:
        return own
    return Filters(
        around.highpass if own.highpass is None else own.highpass,
        around.lowpass if own.lowpass is None else own.lowpass,
        own.notches or around.notches,
        descriptions=own.descriptions or around.descriptions,
    )


def _unit(unit: str | None) -> str:
    return unit if unit is not None and is_token(unit) else "1"


def channel_lines(recording: Recording) -> list[str]:
    """Lines for what the message has no field for in tracings and channels."""
    found: list[str] = []
    common = read_back_filters(recording.acquisition.filters)
    for index, tracing in enumerate(recording.tracings):
        around = common if tracing.kind == "rhythm" else None
        for row, channel in enumerate(tracing.channels):
            empty = tracing.missing is not None and bool(tracing.missing[row].all())
            found += lines_for(f"tracings[{index}].channels[{row}]", channel, read_back_channel(channel, empty, around))
        for name in ("label", "fiducial", "beat"):
            found += lines_for(f"tracings[{index}].{name}", getattr(tracing, name), None)
    return found


# Sequence sets -----------------------------------------------------------------------------------------------------


def add_sets(series: etree._Element, tracing: Tracing, clock: Clock, number: int, noted: bool) -> None:
    """The sequence sets of one tracing; ``noted``: its number must be written so that it stays apart."""
    relative = tracing.kind != "rhythm"
    step = 1 / tracing.rate
    pieces = list(_pieces(tracing))
    noted = noted or tracing.missing is not None
    rows = len(tracing.channels)
    numbered = noted and (len(set(tracing.names)) < rows or any(len(piece[2]) < rows for piece in pieces))
    absent = [row for row in range(rows) if tracing.missing is not None and bool(tracing.missing[row].all())]
    for at, (begin, end, present) in enumerate(pieces):
        outer = add(series, "component", {"typeCode": "COMP"})
        node = add(outer, "sequenceSet", {"classCode": "OBSCOR", "moodCode": "EVN"})
        if noted:
            variable = _note(node, "TRACING", number, nested=False)
            _note(variable, "TRACING_LENGTH", tracing.length)
            _note(variable, "FIRST_SAMPLE", begin)
            for row in absent if at == 0 else ():
                _absent_lead(variable, tracing.channels[row], row)
        start = (tracing.start if not relative else Fraction(0)) + begin * step
        clock.add_time(node, start, step, relative)
        for row in present:
            _lead(node, tracing.channels[row], tracing.samples[row, begin:end], row if numbered else None)


def _pieces(tracing: Tracing) -> Iterator[tuple[int, int, list[int]]]:
    """(first sample, sample behind the last, rows present) of each stretch in which the same leads are there."""
    import numpy as np

    rows = list(range(len(tracing.channels)))
    mask = tracing.missing
    if mask is None:
        yield 0, tracing.length, rows
        return
    changes = (np.flatnonzero((mask[:, 1:] != mask[:, :-1]).any(axis=0)) + 1).tolist()
    if len(changes) > MAX_PIECES:
        raise RefusedError(
            f"samples are missing at more than {MAX_PIECES} places; aECG would need a set for each", "tracings"
        )
    for begin, end in zip([0, *changes], [*changes, tracing.length], strict=True):
        present = [row for row in rows if not mask[row, begin]]
        if present:
            yield begin, end, present


def _lead(node: etree._Element, channel: Channel, samples: Any, number: int | None) -> None:
    outer = add(node, "component", {"typeCode": "COMP"})
    sequence = add(outer, "sequence", {"classCode": "OBS", "moodCode": "EVN"})
    _code(sequence, channel)
    _values(sequence, channel, digits_text(samples))
    add_filters(sequence, channel.filters)
    if channel.skew:
        add_value(_variable(sequence, "MDC_ECG_CTL_VBL_TIME_SKEW"), channel.skew, "s")
    if number is not None:
        _note(sequence, "CHANNEL", number, nested=False)


def _code(parent: etree._Element, channel: Channel) -> None:
    attributes, words = sequence_code(channel.name, channel.origin)
    code = add(parent, "code", dict(attributes))
    if words:
        add_text(code, "originalText", words)


def _values(parent: etree._Element, channel: Channel, digits: str) -> None:
    value = add(parent, "value", {TYPE: "SLIST_PQ"})
    unit = _unit(channel.unit)
    add_quantity(value, "origin", channel.offset, unit)
    add_quantity(value, "scale", channel.step, unit)
    add(value, "digits").text = digits


def _absent_lead(parent: etree._Element, channel: Channel, row: int) -> None:
    """A lead without any sample: left out of the sets, noted with its scale so that it is not forgotten."""
    node = add(
        add(parent, "component", {"typeCode": "COMP"}), "controlVariable", {"classCode": "OBS", "moodCode": "EVN"}
    )
    _code(node, channel)
    _values(node, channel, "")
    _note(node, "CHANNEL", row)
