"""Values of the model as HL7 data types: the counterparts of :mod:`datatypes`, always in the strict form."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

from interchange.formats.aecg.codes import ACT_CODE, MDC, OIDS, SCHEMES, SYSTEM_NAMES
from interchange.formats.aecg.datatypes import is_uid
from interchange.formats.aecg.decimals import decimal_text
from interchange.formats.aecg.markup import HL7, WHITE, XSI
from interchange.model import Absent, Code, Identifier, Moment, Person, PersonName, Quantity

if TYPE_CHECKING:
    from lxml import etree

__all__ = [
    "NULLS",
    "add",
    "add_act_code",
    "add_code",
    "add_id",
    "add_int",
    "add_mdc",
    "add_name",
    "add_person",
    "add_quantity",
    "add_text",
    "add_value",
    "clean",
    "code_attributes",
    "code_back",
    "escaped",
    "is_token",
    "null_flavor",
    "quantity_unit",
    "ts",
    "unit_of",
    "words_back",
]

TYPE = f"{{{XSI}}}type"
NULLS: dict[Absent | None, str] = {None: "NI", "unknown": "UNK", "withheld": "MSK", "not-applicable": "NA"}
"""Reasons of the model as null flavors (HL7 vocabulary NullFlavor, 2009); the others say NI and add a line of text."""

_TAGS: dict[str, str] = {}


def add(parent: etree._Element, name: str, attributes: dict[str, str] | None = None) -> etree._Element:
    """A new last child of that local name in HL7's namespace."""
    from lxml import etree

    tag = _TAGS.get(name) or _TAGS.setdefault(name, f"{{{HL7}}}{name}")
    return etree.SubElement(parent, tag, attributes or {})


@cache
def _forbidden() -> re.Pattern[str]:
    return re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(text: str) -> str:
    """The text with every character that XML 1.0 cannot hold replaced by the replacement character."""
    return text if text.isprintable() else _forbidden().sub("\ufffd", text)


def escaped(line: str) -> str:
    """A line of text with what XML 1.0 cannot hold as ``\\uXXXX``, which the reader of lines takes back."""
    return line if line.isprintable() else _forbidden().sub(lambda found: f"\\u{ord(found[0]):04X}", line)


def is_token(text: str) -> bool:
    """Whether a text can be a code or a unit: not empty, no white space, nothing that XML cannot hold."""
    return bool(text) and not any(c.isspace() for c in text) and clean(text) == text


def null_flavor(absent: Absent | None) -> str:
    """The null flavor for a reason of the model."""
    return NULLS.get(absent, "NI")


def ts(moment: Moment | None) -> str | None:
    """A moment as TS, as precise as it is; None where TS cannot say it (no date, or a zone without an hour)."""
    if moment is None or moment.year is None or (moment.hour is not None and moment.day is None):
        return None
    if moment.zone is not None and moment.hour is None:
        return None
    text = f"{moment.year:04}"
    for part in (moment.month, moment.day, moment.hour, moment.minute):
        text += f"{part:02}" if part is not None else ""
    if moment.second is not None:
        whole, _, places = decimal_text(moment.second).partition(".")
        text += f"{whole.zfill(2)}.{places.ljust(3, '0')}"
    if moment.zone is not None:
        hours, minutes = divmod(abs(moment.zone), 60)
        text += f"{'-' if moment.zone < 0 else '+'}{hours:02}{minutes:02}"
    return text


def add_id(parent: etree._Element, name: str, id: Identifier | None, absent: Absent | None = None) -> etree._Element:
    """An II: a root that is an OID, UUID or reserved word, else the issuer as the authority's name."""
    if id is None or not id.value.strip():
        return add(parent, name, {"nullFlavor": null_flavor(absent)})
    if id.issuer is None:
        is_root = is_uid(id.value) and ("." in id.value or len(id.value) == 36)
        return add(parent, name, {"root": id.value} if is_root else {"extension": clean(id.value)})
    if is_uid(id.issuer):
        return add(parent, name, {"root": id.issuer, "extension": clean(id.value)})
    attributes = {"extension": clean(id.value)}
    if id.issuer.strip():
        attributes["assigningAuthorityName"] = clean(id.issuer)
    return add(parent, name, attributes)


def code_attributes(code: Code) -> dict[str, str]:
    """The attributes of a coded value; words alone have none."""
    attributes: dict[str, str] = {}
    if code.value and is_token(code.value):
        attributes["code"] = code.value
        if code.scheme:
            oid = OIDS.get(code.scheme) or (code.scheme if "." in code.scheme and is_uid(code.scheme) else None)
            name = SYSTEM_NAMES.get(oid or "", None if oid == code.scheme else clean(code.scheme))
            attributes |= ({"codeSystem": oid} if oid else {}) | ({"codeSystemName": name} if name else {})
        if code.meaning:
            attributes["displayName"] = clean(code.meaning)
    return attributes


def add_code(parent: etree._Element, name: str, code: Code | None, type: str | None = None) -> etree._Element:
    """A CD, CE or CV; words without a code become original text (null flavor OTH)."""
    attributes = {TYPE: type} if type else {}
    coded = code_attributes(code) if code else {}
    if coded:
        return add(parent, name, attributes | coded)
    element = add(parent, name, attributes | {"nullFlavor": "OTH" if code else "NI"})
    words = (code.meaning or code.value) if code else None
    if words:
        add_text(element, "originalText", words)
    return element


def add_mdc(parent: etree._Element, name: str, code: str, type: str | None = None) -> etree._Element:
    """A code of the MDC nomenclature, by its reference id."""
    attributes = {TYPE: type} if type else {}
    return add(parent, name, attributes | {"code": code, "codeSystem": MDC, "codeSystemName": "MDC"})


def add_act_code(parent: etree._Element, code: str) -> etree._Element:
    """A code of HL7's ActCode."""
    return add(parent, "code", {"code": code, "codeSystem": ACT_CODE, "codeSystemName": "ActCode"})


def add_text(parent: etree._Element, name: str, text: str, type: str | None = None) -> etree._Element:
    """An ST or ED with that text."""
    element = add(parent, name, {TYPE: type} if type else None)
    element.text = clean(text)
    return element


def add_quantity(parent: etree._Element, name: str, value: Fraction | int, unit: str) -> etree._Element:
    """A PQ whose type is known from its place."""
    return add(parent, name, {"value": decimal_text(value), "unit": unit})


def add_value(parent: etree._Element, value: Fraction | int, unit: str) -> etree._Element:
    """A value of type PQ."""
    return add(parent, "value", {TYPE: "PQ", "value": decimal_text(value), "unit": unit})


def add_int(parent: etree._Element, value: int) -> etree._Element:
    """A value of type INT."""
    return add(parent, "value", {TYPE: "INT", "value": str(value)})


def add_person(parent: etree._Element, person: Person, inner: str) -> None:
    """Id and name of a person in a role; ``inner`` is the element that stands for the person."""
    if person.ids:
        add_id(parent, "id", person.ids[0])
    if person.name is not None:
        entity = add(parent, inner, {"classCode": "PSN", "determinerCode": "INSTANCE"})
        add_name(entity, person.name)


def add_name(parent: etree._Element, name: PersonName) -> etree._Element:
    """A PN in its parts, or its text; the form of writing as use."""
    use = {"ideographic": "IDE", "phonetic": "SYL", None: None}[name.script]
    element = add(parent, "name", {"use": use} if use else None)
    parts = (
        ("prefix", name.prefix),
        ("given", name.given),
        ("given", name.middle),
        ("family", name.family),
        ("family", name.second_family),
        ("suffix", name.suffix),
    )
    for part, text in parts:
        if text:
            add_text(element, part, text)
    if len(element) == 0 and name.text:
        element.text = clean(name.text)
    return element


def quantity_unit(quantity: Quantity) -> str:
    """The unit of a quantity as PQ can hold it."""
    return quantity.unit if is_token(quantity.unit) else "1"


def unit_of(unit: str | None) -> str:
    """The unit as PQ can hold it."""
    return unit if unit is not None and is_token(unit) else "1"


def words_back(text: str | None) -> str | None:
    """A text as the reader will give it back."""
    return clean(text).strip(WHITE) or None if text else None


def code_back(code: Code) -> Code:
    """The code as the reader will give it back."""
    attributes = code_attributes(code)
    if not attributes:
        words = words_back(code.meaning or code.value)
        return Code(None, None, words)
    scheme = (
        SCHEMES.get(attributes.get("codeSystem", ""))
        or attributes.get("codeSystem")
        or attributes.get("codeSystemName")
    )
    return Code(attributes["code"], words_back(scheme), words_back(attributes.get("displayName")))
