"""The time sequence of a set: step and first sample, generated or given one by one."""

from __future__ import annotations

from fractions import Fraction

from interchange.formats.aecg.codes import SECONDS, TIME_ABSOLUTE
from interchange.formats.aecg.datatypes import duration, factor, moment, physical
from interchange.formats.aecg.digits import DigitsError, digits_from
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import WHITE, Node
from interchange.model import Moment
from interchange.records import NamedTuple

__all__ = ["Timing", "is_time", "time_of", "type_of"]


class Timing(NamedTuple):
    """Step in seconds, and the first sample as a moment or as seconds in the series.

    ``period``: after how many samples the times begin again by ``node``; None for never.
    """

    step: Fraction
    head: Moment | None
    relative: Fraction | None
    period: int | None = None
    node: Node | None = None


def type_of(value: Node, log: Log) -> str:
    """The type that a value says or, failing that, shows."""
    said = value.get("{http://www.w3.org/2001/XMLSchema-instance}type")
    name = said.strip().rsplit(":", 1)[-1].upper() if said else ""
    if name in ("GLIST_TS", "GLIST_PQ", "SLIST_PQ", "SLIST_TS"):
        return name
    log.add("aecg.value-type", value)
    children = {child.name for child in value.children}
    if {"head", "increment"} & children:
        head = value.find("head")
        raw = (head.attributes.get("value") or "") if head else ""
        plain = head is not None and not head.attributes.get("unit") and len(raw) >= 4
        return "GLIST_TS" if plain else "GLIST_PQ"
    if "digits" in children:
        origin = value.find("origin")
        raw = (origin.attributes.get("value") or "") if origin else ""
        return (
            "SLIST_TS" if len(raw) >= 8 and raw.isdigit() and origin and "unit" not in origin.attributes else "SLIST_PQ"
        )
    return name


def is_time(value: Node | None) -> bool:
    """Whether a value is a generated list of times by what is in it."""
    return value is not None and value.find("increment") is not None and value.find("digits") is None


def time_of(sequence: Node, code: str, value: Node | None, log: Log) -> Timing | None:
    """The times of a set; None, with a finding, where they cannot be had."""
    if value is None:
        log.add("aecg.increment", sequence, "there is none")
        return None
    kind = type_of(value, log)
    if kind.endswith("_TS") != (code == TIME_ABSOLUTE):
        log.add("aecg.time-kind", sequence)
    if kind.startswith("SLIST"):
        return _listed_time(value, kind, log)
    if (value.get("denominator") or "1").strip(WHITE) != "1":
        log.add("aecg.uneven-time", value, "each time stands for several samples")
        return None
    period = value.get("period")
    whole = period.strip(WHITE) if period is not None else None
    if whole is not None and not (whole.isascii() and whole.isdigit() and len(whole) <= 10):
        log.add("aecg.uneven-time", value, "the period is no number of samples")
        return None
    step = _step(value.take("increment"), sequence, log)
    head = value.take("head")
    if step is None:
        return None
    turn = int(whole) if whole is not None else None
    if kind == "GLIST_TS":
        return Timing(step, moment(head, log), None, turn, value)
    return Timing(step, None, duration(head, log) if head is not None else None, turn, value)


def _step(node: Node | None, sequence: Node, log: Log) -> Fraction | None:
    """The increment in seconds, above zero."""
    if node is None:
        log.add("aecg.increment", sequence, "there is none")
        return None
    amount, unit = physical(node, log)
    if amount is None or amount <= 0:
        why = "it is no number" if amount is None else "it is below zero" if amount else "it is zero"
        log.add("aecg.increment", node, why)
        return None
    if unit not in SECONDS:
        log.add("aecg.increment-unit", node, "a frequency, it seems" if unit == "Hz" else "")
        return None
    return amount * factor(SECONDS[unit])


def _listed_time(value: Node, kind: str, log: Log) -> Timing | None:
    """Times given one by one; taken when they are evenly spaced."""
    import numpy as np

    origin, scale = value.take("origin"), _step(value.take("scale"), value, log)
    digits = value.take("digits")
    if scale is None or digits is None:
        return None
    try:
        values = digits_from(digits.element.text or "").values.astype(np.int64)
    except DigitsError as error:
        log.add("aecg.digits", digits, str(error))
        return None
    if values.size < 2 or (np.diff(values) != values[1] - values[0]).any() or values[1] <= values[0]:
        log.add("aecg.uneven-time", value)
        return None
    step, offset = scale * int(values[1] - values[0]), scale * int(values[0])
    if kind == "SLIST_TS":
        head = moment(origin, log)
        return Timing(step, head.plus(offset) if head is not None and head.is_instant else head, None)
    return Timing(step, None, (duration(origin, log) or Fraction(0)) + offset)
