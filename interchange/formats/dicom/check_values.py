"""Each value against its value representation (PS3.5 6.2), and each element against its place."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from functools import cache, lru_cache
from typing import Final

from interchange.findings import Finding
from interchange.formats.dicom.charsets import Charset, charset
from interchange.formats.dicom.check_attributes import enumerated
from interchange.formats.dicom.dataset import DataSet, Element
from interchange.formats.dicom.dictionary import attributes
from interchange.formats.dicom.numbers import parse_decimal
from interchange.formats.dicom.rules import RULE
from interchange.formats.dicom.uids import is_uid
from interchange.formats.dicom.values import LIMITS, parse_age, parse_date, parse_moment, parse_time

__all__ = ["check_places", "check_values"]

_CODE_STRING: Final = re.compile(r"[A-Z0-9_ ]*", re.ASCII)
_WHOLE: Final = re.compile(r" *[+-]?\d{1,12} *", re.ASCII)
_BULK: Final = frozenset({"OB", "OW", "OD", "OF", "OL", "OV", "UN", "SQ"})
_CELLS: Final = {"US": 2, "SS": 2, "UL": 4, "SL": 4, "FL": 4, "FD": 8, "AT": 4, "SV": 8, "UV": 8}
_LONG: Final = frozenset({"ST", "LT", "UT"})
_TEXT: Final = frozenset({"SH", "LO", "PN", "UC", "ST", "LT", "UT"})
_SHORT: Final = 128
_CONTROL: Final = re.compile(r"[\x00-\x1a\x1c-\x1f\x7f-\x9f]")
_CONTROL_LONG: Final = re.compile(r"[\x00-\x08\x0b\x0e-\x1a\x1c-\x1f\x7f-\x9f]")


def check_values(top: DataSet) -> Iterator[Finding]:
    """Lengths, characters and forms of all values but those of private elements and bulk data."""
    return _values_of(top, charset(top.raw(0x00080005)))


def _values_of(dataset: DataSet, outer: Charset) -> Iterator[Finding]:
    """``outer``: the character set of the top data set, for whoever has none of their own."""
    raw = dataset.raw(0x00080005)
    own = outer if raw is None else charset(raw)
    for element in dataset.values():
        if element.items is not None:
            for item in element.items:
                yield from _values_of_item(item, outer)
        if element.vr == "SQ" or element.tag >> 16 & 1:
            continue
        if element.length & 1:
            yield RULE["odd-length"].at(dataset.at(element.tag), f"{element.length} bytes")
        if element.vr in _CELLS:
            if element.length % _CELLS[element.vr]:
                yield RULE["malformed-number"].at(dataset.at(element.tag), f"{element.length} bytes")
        elif element.vr not in _BULK:
            yield from _check_text(dataset, element, own)


def _values_of_item(item: DataSet, outer: Charset) -> Iterator[Finding]:
    """The same for an item; one that is known to be without a fault is passed over."""
    if item.known is None:
        yield from _values_of(item, outer)
    elif ("values", outer) not in item.known.facts:
        found = list(_values_of(item, outer))
        yield from found
        if not found:
            item.known.add(("values", outer), True)


def _check_text(owner: DataSet, element: Element, own: Charset) -> Iterator[Finding]:
    raw = owner.data[element.start : element.start + element.length]
    faults = _faults if len(raw) <= _SHORT else _faults.__wrapped__
    for rule, detail, clause in faults(element.tag, element.vr, raw, own):
        found = RULE[rule].at(owner.at(element.tag), detail)
        yield Finding(found.rule, found.severity, found.place, found.reason, clause) if clause else found


@lru_cache(maxsize=256)
def _faults(tag: int, vr: str, raw: bytes, own: Charset) -> tuple[tuple[str, str, str], ...]:
    """What is wrong with a value: (rule, detail, clause where it is not the rule's); short values are remembered."""
    faults = []
    text, valid = own.decode(raw) if vr in _TEXT else (raw.decode("latin-1"), raw.isascii())
    if not valid:
        faults.append(("undecodable-text" if vr in _TEXT else "value-characters", "", ""))
    values = [text] if vr in _LONG else text.split("\\")
    limit = LIMITS.get(vr)
    longest = max((_size(value, vr) for value in values), default=0)
    if limit is not None and longest > limit:
        faults.append(("value-length", f"{longest} characters, at most {limit}", ""))
    broken = next((rule for value in values if (rule := _form(value.strip(" \0"), vr))), None)
    if broken is not None:
        faults.append((broken, "", ""))
    if tag in enumerated() and text.strip(" \0"):
        allowed, clause = enumerated()[tag]
        if any(value.strip(" \0") not in allowed for value in values):
            faults.append(("enumerated-value", "", clause))
    return tuple(faults)


def _size(value: str, vr: str) -> int:
    """Characters of a value; of a name the longest component group."""
    value = value.strip(" \0")
    return max(map(len, value.split("="))) if vr == "PN" else len(value)


_FORMS: Final[dict[str, tuple[Callable[[str], object], str]]] = {
    "UI": (is_uid, "bad-uid"),
    "DS": (lambda value: parse_decimal(value) is not None, "malformed-number"),
    "IS": (_WHOLE.fullmatch, "malformed-number"),
    "DA": (parse_date, "malformed-date"),
    "TM": (parse_time, "malformed-date"),
    "DT": (parse_moment, "malformed-date"),
    "AS": (parse_age, "malformed-date"),
    "CS": (_CODE_STRING.fullmatch, "value-characters"),
}
"""For each representation with a form: what accepts it, and the rule that is broken where nothing does."""


def _form(value: str, vr: str) -> str | None:
    """The rule that a value breaks by its form, None where it is fine or empty."""
    if not value:
        return None
    if vr in _FORMS:
        accepts, rule = _FORMS[vr]
        return None if accepts(value) else rule
    if vr in _TEXT and (_CONTROL_LONG if vr in _LONG else _CONTROL).search(value):
        return "value-characters"
    return None


@cache
def _known_top() -> frozenset[int]:
    return frozenset(row.tag for row in attributes() if not row.path and row.module != "outside")


def check_places(top: DataSet) -> Iterator[Finding]:
    """Elements that no module of an ECG object has, and private ones that nobody signs for (PS3.5 7.8.1)."""
    creators = {(tag >> 16, tag & 0xFFFF) for tag in top if tag >> 16 & 1 and 0x10 <= tag & 0xFFFF <= 0xFF}
    unsigned: set[int] = set()
    for tag, element in top.items():
        group, number = tag >> 16, tag & 0xFFFF
        if group & 1:
            if number > 0xFF and (group, number >> 8) not in creators and group not in unsigned:
                unsigned.add(group)
                yield RULE["private-without-creator"].at(top.at(tag))
        elif number and tag not in _known_top() and group not in (0x0002, 0xFFFC):
            rule = "retired-attribute" if _is_retired(tag) else "outside-the-object"
            if element.length or rule == "outside-the-object":
                yield RULE[rule].at(top.at(tag))


def _is_retired(tag: int) -> bool:
    from pydicom.datadict import dictionary_is_retired

    try:
        return bool(dictionary_is_retired(tag))
    except KeyError:
        return False
