"""The short way to a lead's samples: a sequence in the strict form, read straight from the parser's tree.

Nine out of ten elements with bulk in them look exactly alike.  Such a sequence is taken here without nodes in between;
one attribute or element more, another type, an unknown lead, a unit that is no voltage, and the long way with its
findings is gone instead (:mod:`read_series`).  Tests compare both ways.
"""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from interchange.formats.aecg.codes import VOLTS
from interchange.formats.aecg.datatypes import factor
from interchange.formats.aecg.decimals import fraction_from
from interchange.formats.aecg.markup import XSI
from interchange.model import Channel

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["plain_row", "plain_scale"]

TYPE = f"{{{XSI}}}type"
STRUCTURE = {"classCode", "moodCode"}
CODED = {"code", "codeSystem", "codeSystemName"}


def plain_row(component: etree._Element, prefix: str) -> tuple[str, Channel, etree._Element] | None:
    """Code, channel and digits of a component that holds one strict sequence of a known lead; None for any other.

    The digits are given as their element.  ``prefix``: the message's namespace in braces, or nothing.
    """
    if len(component) != 1 or len(component[0]) != 2 or component.keys() not in ([], ["typeCode"]):
        return None
    sequence = component[0]
    code, value = sequence
    if len(code) or len(value) != 3 or value.items() != [(TYPE, "SLIST_PQ")]:
        return None
    origin, scale, digits = value
    tags = [sequence.tag, code.tag, value.tag, origin.tag, scale.tag, digits.tag]
    if tags != _tags(prefix) or not STRUCTURE.issuperset(sequence.keys()) or len(origin) or len(scale) or len(digits):
        return None
    coded, zero, step = dict(code.items()), dict(origin.items()), dict(scale.items())
    if not CODED.issuperset(coded) or not coded.get("codeSystem") or digits.keys() or len(zero) != 2 or len(step) != 2:
        return None
    name, unit = coded.get("code", ""), step.get("unit", "")
    if zero.get("unit") != unit:
        return None
    channel = _channel(name, step.get("value", ""), unit, zero.get("value", ""))
    return (name, channel, digits) if channel is not None else None


@lru_cache(maxsize=8)
def _tags(prefix: str) -> list[str]:
    return [prefix + name for name in ("sequence", "code", "value", "origin", "scale", "digits")]


@lru_cache(maxsize=1024)
def _channel(code: str, step: str, unit: str, origin: str) -> Channel | None:
    from interchange.formats.aecg.read_series import named

    scale = plain_scale(step, unit, origin)
    name, label, kind, known, spelt = named(code, "")
    if scale is None or not known or not spelt:
        return None
    return Channel(name, "uV", scale[0], scale[1], label, origin="derived" if kind == "derived" else "recorded")


@lru_cache(maxsize=256)
def plain_scale(step: str, unit: str, origin: str) -> tuple[Fraction, Fraction, str] | None:
    """Step and offset in microvolts where both are given in one unit of voltage; None for anything else."""
    a, b = fraction_from(step), fraction_from(origin)
    if unit not in VOLTS or not a or b is None:
        return None
    return a * factor(VOLTS[unit]), b * factor(VOLTS[unit]), "uV"
