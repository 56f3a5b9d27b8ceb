"""A plain decoder of aECG samples, written from the standard with nothing but the standard library.

It shares no code with the package: ElementTree for the XML, ``int`` and ``Fraction`` for the numbers.  It knows strict
documents only and the elements that the tests ask for.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from xml.etree import ElementTree

V3 = "{urn:hl7-org:v3}"
TYPE = "{http://www.w3.org/2001/XMLSchema-instance}type"
MICROVOLTS = {"uV": Fraction(1), "mV": Fraction(1000), "nV": Fraction(1, 1000), "V": Fraction(10**6)}
SECONDS = {"s": Fraction(1), "ms": Fraction(1, 1000), "us": Fraction(1, 10**6)}


@dataclass
class Set:
    """One sequence set: the kind of its series, head as text, step in seconds, values in microvolts by lead code."""

    series: str
    head: str
    step: Fraction
    leads: dict[str, list[Fraction]]


def root_of(data: bytes) -> ElementTree.Element:
    return ElementTree.fromstring(data)


def path(element: ElementTree.Element, names: str) -> list[ElementTree.Element]:
    """Elements below, by local names separated by slashes."""
    return element.findall("/".join(V3 + name for name in names.split("/")))


def attribute(element: ElementTree.Element, names: str, attribute: str) -> str | None:
    found = path(element, names)
    return found[0].get(attribute) if found else None


def text(element: ElementTree.Element, names: str) -> str | None:
    found = path(element, names)
    return "".join(found[0].itertext()).strip() if found else None


def series_of(root: ElementTree.Element) -> list[ElementTree.Element]:
    """All series, each before those derived from it."""
    found: list[ElementTree.Element] = []
    waiting = path(root, "component/series")
    while waiting:
        series = waiting.pop(0)
        found.append(series)
        waiting = path(series, "derivation/derivedSeries") + path(series, "derivation/series") + waiting
    return found


def sets_of(root: ElementTree.Element) -> list[Set]:
    """Every sequence set with the values of its leads."""
    found = []
    for series in series_of(root):
        kind = attribute(series, "code", "code") or ""
        for node in path(series, "component/sequenceSet"):
            found.append(_set(node, kind))
    return found


def _set(node: ElementTree.Element, kind: str) -> Set:
    head, step, leads = "", Fraction(0), {}
    for sequence in path(node, "component/sequence"):
        code = sequence.find(f"{V3}code")
        value = sequence.find(f"{V3}value")
        assert code is not None
        assert value is not None
        name = code.get("code") or text(code, "originalText") or ""
        if name in ("TIME_ABSOLUTE", "TIME_RELATIVE"):
            assert value.get(TYPE) == {"TIME_ABSOLUTE": "GLIST_TS", "TIME_RELATIVE": "GLIST_PQ"}[name]
            head = attribute(value, "head", "value") or ""
            step = number(value, "increment") * SECONDS[attribute(value, "increment", "unit") or ""]
        else:
            assert value.get(TYPE) == "SLIST_PQ"
            leads[name] = _values(value)
    return Set(kind, head, step, leads)


def number(element: ElementTree.Element, names: str) -> Fraction:
    return Fraction(attribute(element, names, "value") or "")


def _values(value: ElementTree.Element) -> list[Fraction]:
    factors = [MICROVOLTS.get(attribute(value, name, "unit") or "", Fraction(1)) for name in ("origin", "scale")]
    origin, scale = number(value, "origin") * factors[0], number(value, "scale") * factors[1]
    return [origin + scale * int(digit) for digit in (text(value, "digits") or "").split()]
