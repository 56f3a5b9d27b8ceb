"""HL7 data types of a node as values of the model: II, CD, TS, IVL, PQ, ST, EN, AD (HL7 V3 datatypes, 2009)."""

from __future__ import annotations

import re
from fractions import Fraction
from functools import cache, lru_cache
from typing import Literal, cast

from interchange.formats.aecg.codes import SCHEMES, SECONDS
from interchange.formats.aecg.decimals import fraction_from
from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import WHITE, Node
from interchange.model import Absent, Code, Identifier, Moment, PersonName, Quantity
from interchange.records import dataclass

__all__ = [
    "Interval",
    "absent_of",
    "address",
    "code_of",
    "code_text",
    "identifier",
    "interval",
    "moment",
    "name_of",
    "number",
    "person_name",
    "physical",
    "plain_moment",
    "quantity",
    "seconds_from",
    "text_of",
]

NULL: dict[str, Absent | None] = {
    "NI": None, "NASK": None, "DER": None, "NP": None, "OTH": None, "UNC": None, "TRC": None, "NINF": None,
    "PINF": None,
    "UNK": "unknown", "ASKU": "unknown", "NAV": "unknown", "NAVU": "unknown", "INV": "unknown",
    "MSK": "withheld", "NA": "not-applicable", "QS": "not-applicable",
}  # fmt: skip
"""Null flavors as reasons of the model; None says nothing (HL7 vocabulary NullFlavor, 2009)."""

SAYS_NOTHING = ("NI", "NASK", "DER", "NP")
"""Null flavors that give no reason."""

TS = r"(\d{4})(\d\d)?(\d\d)?(\d\d)?(\d\d)?(\d\d(?:\.\d+)?)?(?:([+-])(\d{1,2})(\d\d)?)?"
ISO = (
    r"(\d{4})(?:-?(\d\d)(?:-?(\d\d))?)?(?:[T ]?(\d\d)(?::?(\d\d)(?::?(\d\d(?:[.,]\d+)?))?)?)?\s?"
    r"(?:(Z)|([+-])(\d\d):?(\d\d)?)?"
)


@dataclass(frozen=True, slots=True)
class Interval:
    """An interval of times: what of it was said.  ``point`` is a value or a center instead of bounds."""

    low: Moment | None = None
    high: Moment | None = None
    point: Moment | None = None


def plain(text: str) -> str:
    """The text with each run of XML white space as one blank, and none at its ends."""
    return " ".join(filter(None, text.replace("\t", " ").replace("\r", " ").replace("\n", " ").split(" ")))


def is_uid(text: str) -> bool:
    """Whether a text is a UID: an OID, a UUID or a reserved word (HL7 V3 datatypes, UID)."""
    words = text.replace("-", "")
    word = words.isascii() and words.isalnum() and text[:1].isalpha()
    return word or is_oid(text) or (words.isascii() and words.isalnum() and _is_uuid(text))


def is_oid(text: str) -> bool:
    """Whether a text is an OID: arcs in decimal without leading zeros, the first of them 0, 1 or 2."""
    first, *arcs = text.split(".")
    return first in ("0", "1", "2") and all(
        arc.isascii() and arc.isdigit() and (arc == "0" or arc[0] != "0") for arc in arcs
    )


def _is_uuid(text: str) -> bool:
    """Whether letters, digits and hyphens are grouped as in a UUID."""
    return [len(part) for part in text.split("-")] == [8, 4, 4, 4, 12]


def absent_of(node: Node | None) -> Absent | None:
    """Why the value is not there, by its null flavor; None where nothing is said."""
    flavor = node.get("nullFlavor") if node else None
    return NULL.get(flavor.strip(WHITE), "unknown") if flavor else None


def is_placeholder(text: str) -> bool:
    """Whether a value stands between question marks, as in HL7's sample of 2003."""
    return len(text) > 1 and text.startswith("?") and text.endswith("?")


def identifier(node: Node | None, log: Log) -> Identifier | None:
    """An II: extension given out by root, or the root alone; the authority's name where there is no root."""
    if node is None:
        return None
    root = (node.get("root") or "").strip(WHITE)
    extension = node.get("extension") or ""
    extension = extension if extension.strip(WHITE) else ""
    authority = None if root else (node.get("assigningAuthorityName") or "").strip(WHITE)
    node.get("displayable")
    root = _plain_root(root, node, log)
    if extension and not is_placeholder(extension.strip(WHITE)):
        return Identifier(extension, root or authority or None)
    return Identifier(root) if root and not is_placeholder(root) else None


def _plain_root(root: str, node: Node, log: Log) -> str:
    """The root without the prefixes and braces that some write around it."""
    if not root or is_uid(root):
        return root
    bare = re.sub(r"^urn:(oid|uuid):", "", root, flags=re.IGNORECASE).strip("{} ")
    log.add("aecg.id-form", node)
    return bare if is_uid(bare) and (is_oid(bare) or _is_uuid(bare)) else root


def code_of(node: Node | None, log: Log | None = None) -> Code | None:
    """A CD, CE or CV; its original text stands for the meaning where there is no display name."""
    if node is None:
        return None
    given = node.attributes
    value, meaning = given.pop("code", "").strip(WHITE), given.pop("displayName", "").strip(WHITE)
    system, name = given.pop("codeSystem", ""), given.pop("codeSystemName", "")
    if node.children and not meaning:
        original = node.take("originalText")
        if original is not None:
            meaning = original.whole_text()
            original.claim()
    if is_placeholder(value):
        if log:
            log.add("aecg.code-placeholder", node)
        value = ""
    if given and given.get("nullFlavor") in ("OTH", "UNC"):
        del given["nullFlavor"]
    return _code(value, system.strip(WHITE), name.strip(WHITE), meaning)


@lru_cache(maxsize=2048)
def _code(value: str, system: str, name: str, meaning: str) -> Code | None:
    if not value and not meaning:
        return None
    return Code(value or None, SCHEMES.get(system) or system or name or None, meaning or None)


def code_text(node: Node | None) -> str:
    """The code alone, trimmed; empty where there is none or a placeholder."""
    if node is None:
        return ""
    value = (node.get("code") or "").strip(WHITE)
    for name in ("codeSystem", "codeSystemName", "codeSystemVersion", "displayName"):
        node.attributes.pop(name, None)
    return "" if is_placeholder(value) else value


def moment(node: Node | None, log: Log) -> Moment | None:
    """A TS in its ``value``, as precise as it is written."""
    raw = node.get("value") if node else None
    if node is None or raw is None or not raw.strip(WHITE):
        return None
    text = raw.strip(WHITE)
    if is_placeholder(text):
        log.add("aecg.code-placeholder", node)
        return None
    plain, value = _ts(text)
    if not plain:
        other = _form(ISO).fullmatch(text)
        if not other:
            log.add("aecg.time-unreadable", node)
            return None
        year, month, day, hour, minute, second, utc, sign, hours, minutes = other.groups()
        zone = ("+", "00", "00") if utc else (sign, hours, minutes)
        value = _moment((year, month, day, hour, minute, second and second.replace(",", "."), *zone))
        if value is not None:
            log.add("aecg.time-form", node)
    if value is None:
        log.add("aecg.time-unreadable", node)
    return value


def plain_moment(text: str) -> Moment | None:
    """The moment that a text in the form of TS says; None for any other."""
    return _ts(text)[1]


@lru_cache(maxsize=4096)
def _ts(text: str) -> tuple[bool, Moment | None]:
    """Whether a text has the form of TS, and the moment that it says, if there is such a moment."""
    found = _form(TS).fullmatch(text)
    if not found or (found[7] and not found[4]) or ("." in text and len(found[0].split(".")[0]) < 14):
        return False, None
    return True, _moment(found.groups())


@cache
def _form(pattern: str) -> re.Pattern[str]:
    return re.compile(pattern, re.ASCII)


def _moment(parts: tuple[str | None, ...]) -> Moment | None:
    year, month, day, hour, minute, second, sign, hours, minutes = parts
    zone = None
    if sign and hours:
        zone = (int(hours) * 60 + int(minutes or 0)) * (-1 if sign == "-" else 1)
    try:
        return Moment(
            int(year or 0),
            _whole(month),
            _whole(day),
            _whole(hour),
            _whole(minute),
            fraction_from(second) if second else None,
            zone,
        )
    except ValueError:
        return None


def _whole(text: str | None) -> int | None:
    return int(text) if text else None


def interval(node: Node | None, log: Log) -> Interval:
    """An IVL_TS: bounds, center, or the value of a plain TS; a width is added to the bound that is there."""
    if node is None:
        return Interval()
    given = node.attributes
    for name in ("operator", "inclusive"):
        given.pop(name, None)
    if given.get("nullFlavor") in SAYS_NOTHING:
        del given["nullFlavor"]
    if not node.children:
        return Interval(point=moment(node, log))
    low, high = _bound(node.take("low"), log), _bound(node.take("high"), log)
    center = moment(node.take("center"), log)
    width = node.take("width")
    if width is not None:
        seconds = duration(width, log)
        if seconds is not None and low and not high and low.is_instant:
            high = low.plus(seconds)
        elif seconds is not None and high and not low and high.is_instant:
            low = high.plus(-seconds)
        elif seconds is not None and not low and not high and center and center.is_instant:
            low, high, center = center.plus(-seconds / 2), center.plus(seconds / 2), None
        else:
            width.used = False
    return Interval(low, high, center or moment(node, log))


def _bound(node: Node | None, log: Log) -> Moment | None:
    if node is not None:
        node.attributes.pop("inclusive", None)
        node.attributes.pop("nullFlavor", None) if node.attributes.get("nullFlavor") in ("NINF", "PINF", "NI") else None
    return moment(node, log)


def number(node: Node | None, log: Log) -> Fraction | None:
    """The ``value`` attribute as an exact number."""
    raw = node.get("value") if node else None
    if node is None or raw is None or not raw.strip(WHITE):
        return None
    value = fraction_from(raw.strip(WHITE))
    if value is None:
        log.add("aecg.number", node)
    return value


def physical(node: Node | None, log: Log) -> tuple[Fraction | None, str | None]:
    """A PQ: number and unit; the unit None where it is absent."""
    if node is None:
        return None, None
    unit = (node.get("unit") or "").strip(WHITE)
    return number(node, log), unit or None


def quantity(node: Node | None, log: Log) -> Quantity | None:
    """A PQ as a quantity of the model; the unit is ``1`` where none is written (HL7 V3 datatypes, PQ)."""
    value, unit = physical(node, log)
    if value is None:
        return None
    return Quantity(value.numerator if value.denominator == 1 else value, unit or "1")


def factor(value: object) -> Fraction:
    """A factor of a unit table as a fraction."""
    if isinstance(value, tuple):
        return Fraction(*cast("tuple[int, int]", value))
    return Fraction(cast(int, value))


def duration(node: Node | None, log: Log) -> Fraction | None:
    """A PQ of time in seconds; None where there is none or the unit is no time."""
    if node is None:
        return None
    given = node.attributes
    seconds = seconds_from(given.get("value", ""), given.get("unit", ""))
    if seconds is None:
        value, unit = physical(node, log)
        return value * factor(SECONDS[unit]) if value is not None and unit in SECONDS else None
    del given["value"], given["unit"]
    return seconds


@lru_cache(maxsize=4096)
def seconds_from(value: str, unit: str) -> Fraction | None:
    """A time in seconds from its text; None for what is not written plainly."""
    amount = fraction_from(value)
    return amount * factor(SECONDS[unit]) if amount is not None and unit in SECONDS else None


def text_of(node: Node | None) -> str | None:
    """The text of an ST or ED with everything inside; its ``value`` where some write it there.  None where empty.

    Encoded content and references are left unread.
    """
    if node is None:
        return None
    for name in ("mediaType", "language"):
        if node.attributes.get(name) in ("text/plain", None):
            node.attributes.pop(name, None)
    if node.attributes.get("representation") in ("TXT", None):
        node.attributes.pop("representation", None)
    elif node.attributes.get("representation"):
        return None
    text = node.text
    if not text and node.attributes.get("value"):
        text = (node.get("value") or "").strip(WHITE)
    return text or None


def name_of(node: Node | None) -> str | None:
    """The name of an organisation or a place as one text."""
    if node is None:
        return None
    text = plain(node.whole_text())
    for child in node.children:
        child.claim()
    return text or None


def person_name(node: Node | None, log: Log) -> PersonName | None:
    """A PN: in parts where it has them, else its text."""
    if node is None:
        return None
    use = node.attributes.get("use", "")
    script: Literal["ideographic", "phonetic"] | None = None
    if "IDE" in use.split():
        script = "ideographic"
    elif "SYL" in use.split():
        script = "phonetic"
    if use in ("IDE", "SYL", "ABC", "L"):
        node.get("use")
    parts: dict[str, list[str]] = {}
    for child in node.takes_any("family", "given", "prefix", "suffix", "delimiter"):
        text = plain(child.whole_text())
        child.get("partType")
        if text:
            parts.setdefault(child.name, []).append(text)
    parts.pop("delimiter", None)
    if parts:
        log.loose(node)
    else:
        text = plain(node.text)
        return PersonName(text=text, script=script) if text and not is_placeholder(text) else None
    family, given = parts.get("family", []), parts.get("given", [])
    return PersonName(
        family=family[0] if family else None,
        second_family=" ".join(family[1:]) or None,
        given=given[0] if given else None,
        middle=" ".join(given[1:]) or None,
        prefix=" ".join(parts.get("prefix", [])) or None,
        suffix=" ".join(parts.get("suffix", [])) or None,
        script=script,
    )


def address(node: Node | None, log: Log) -> str | None:
    """An AD as one text, its parts separated by commas."""
    if node is None:
        return None
    parts = [plain(child.whole_text()) for child in node.children if child.name != "useablePeriod"]
    for child in node.children:
        if child.name != "useablePeriod":
            child.claim()
    if parts:
        log.loose(node)
        return ", ".join(filter(None, parts)) or None
    return plain(node.element.text or "") or None
