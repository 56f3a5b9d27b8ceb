"""Looking at a parsed data set by keyword: text in its character set, numbers exact, sequences as views.

Every access marks the element as taken; what nobody took is listed as unread at the end.  A value that is not in the
form of its representation becomes a finding and reads as None.
"""

from __future__ import annotations

from fractions import Fraction

from interchange.findings import Finding
from interchange.formats.dicom.charsets import Charset, charset
from interchange.formats.dicom.dataset import DataSet
from interchange.formats.dicom.dictionary import TAGS
from interchange.formats.dicom.numbers import parse_decimals
from interchange.formats.dicom.rules import RULE
from interchange.formats.dicom.values import integers
from interchange.limits import limit
from interchange.records import NamedTuple

__all__ = ["CodeItem", "Context", "View"]

CHARACTER_SET = 0x00080005
SHORT = 512


class CodeItem(NamedTuple):
    """A code as stored (PS3.3 8.8): empty text where a part is missing."""

    value: str
    scheme: str
    meaning: str


class Context:
    """What one reading collects: the findings, in order, and the codes that were met before, by their bytes.

    ``met`` counts all that there was to find fault with, also what was said before and is not said again;
    ``longest`` is the limit for one text.
    """

    __slots__ = ("codes", "findings", "longest", "met", "seen")

    def __init__(self) -> None:
        self.codes: dict[tuple[bytes, Charset], tuple[CodeItem, frozenset[int]]] = {}
        self.findings: list[Finding] = []
        self.met = 0
        self.longest = limit("text")
        self.seen: set[tuple[str, str]] = set()

    def tolerate(self, rule: str, place: str, detail: str = "") -> None:
        """Add a finding."""
        self.met += 1
        self.findings.append(RULE[rule].at(place, detail))

    def tolerate_once(self, rule: str, place: str, key: str = "") -> None:
        """Add a finding at the first place where it occurs only."""
        self.met += 1
        if (rule, key) not in self.seen:
            self.seen.add((rule, key))
            self.tolerate(rule, place)


class View:
    """One data set or item, seen by keyword."""

    __slots__ = ("charset", "context", "dataset")

    def __init__(self, dataset: DataSet, context: Context, inherited: Charset | None = None) -> None:
        self.dataset = dataset
        self.context = context
        raw = dataset.raw(CHARACTER_SET)
        if inherited is None or raw is not None:
            inherited = charset(raw)
            dataset.taken.add(CHARACTER_SET)
            if not inherited.known:
                context.tolerate("character-set", dataset.at(CHARACTER_SET))
        self.charset = inherited

    def __contains__(self, keyword: str) -> bool:
        return TAGS[keyword] in self.dataset

    def at(self, keyword: str) -> str:
        """Tag path of an attribute, for messages."""
        return self.dataset.at(TAGS[keyword])

    @property
    def place(self) -> str:
        """Tag path of this item."""
        return self.dataset.place.rstrip("/")

    def raw(self, keyword: str) -> bytes | None:
        """The bytes of a value; None where it is absent."""
        tag = TAGS[keyword]
        element = self.dataset.get(tag)
        if element is None:
            return None
        self.dataset.taken.add(tag)
        return self.dataset.data[element.start : element.start + element.length]

    def leave(self, *keywords: str) -> None:
        """Take these attributes for not taken in after all: they are listed as unread."""
        self.dataset.taken.difference_update(TAGS[keyword] for keyword in keywords)

    def buffer(self, keyword: str) -> memoryview:
        """The bytes of a value without a copy; empty where it is absent."""
        tag = TAGS[keyword]
        element = self.dataset.get(tag)
        if element is None:
            return memoryview(b"")
        self.dataset.taken.add(tag)
        return memoryview(self.dataset.data)[element.start : element.start + element.length]

    def is_word(self, keyword: str) -> bool:
        """Whether a value has the representation OW."""
        element = self.dataset.get(TAGS[keyword])
        return element is not None and element.vr == "OW"

    def whole_text(self, keyword: str) -> str | None:
        """Text that is one value whatever it holds (ST, LT, UT); None where there is none."""
        raw = self.raw(keyword)
        return self._decoded(keyword, raw).rstrip(" \0") or None if raw else None

    def _decoded(self, keyword: str, raw: bytes) -> str:
        if len(raw) > self.context.longest:
            self.dataset.taken.discard(TAGS[keyword])
            self.context.tolerate("long-text", self.at(keyword), f"{len(raw)} bytes")
            return ""
        text, valid = self.charset.decode(raw)
        if not valid:
            self.context.tolerate("undecodable-text", self.at(keyword))
        return text

    def texts(self, keyword: str) -> tuple[str, ...]:
        """All values of a text attribute, without blanks around; empty ones at the end are dropped."""
        text = self.whole_text(keyword)
        if text is None:
            return ()
        values = [value.strip(" \0") for value in text.split("\\")]
        while values and not values[-1]:
            values.pop()
        return tuple(values)

    def text(self, keyword: str) -> str | None:
        """The first value of a text attribute, None where it is absent or empty; further ones make a finding."""
        dataset, tag = self.dataset, TAGS[keyword]
        element = dataset.get(tag)
        if element is None:
            return None
        dataset.taken.add(tag)
        raw = dataset.data[element.start : element.start + element.length]
        if b"\\" not in raw:
            return self._decoded(keyword, raw).strip(" \0") or None
        values = self.texts(keyword)
        if len(values) > 1:
            self.context.tolerate("too-many-values", self.at(keyword), f"{len(values)} values")
        return values[0] or None if values else None

    def decimals(self, keyword: str) -> tuple[Fraction, ...]:
        """Decimal strings (DS, IS) as exact fractions; a malformed one makes a finding and gives none."""
        raw = self.raw(keyword)
        if not raw or len(raw) > self.context.longest:
            return ()
        values = parse_decimals(raw) if len(raw) < SHORT else parse_decimals.__wrapped__(raw)
        if values is None:
            self.context.tolerate("malformed-number", self.at(keyword))
            return ()
        return values

    def decimal(self, keyword: str) -> Fraction | None:
        """The first decimal string; further ones make a finding."""
        values = self.decimals(keyword)
        if len(values) > 1:
            self.context.tolerate("too-many-values", self.at(keyword), f"{len(values)} values")
        return values[0] if values else None

    def wholes(self, keyword: str) -> tuple[int, ...]:
        """Binary unsigned integers (US, UL, by the length that the element has of either)."""
        raw = self.raw(keyword)
        if not raw:
            return ()
        element = self.dataset[TAGS[keyword]]
        size = {"US": 2, "SS": 2, "UL": 4, "SL": 4}.get(element.vr, 2)
        if len(raw) % size:
            self.context.tolerate("malformed-number", self.at(keyword))
        return integers(raw, size, self.dataset.little)

    def whole(self, keyword: str) -> int | None:
        """The first binary integer; further ones make a finding."""
        values = self.wholes(keyword)
        if len(values) > 1:
            self.context.tolerate("too-many-values", self.at(keyword), f"{len(values)} values")
        return values[0] if values else None

    def items(self, keyword: str) -> tuple[View, ...]:
        """The items of a sequence, none where it is absent or no sequence."""
        tag = TAGS[keyword]
        element = self.dataset.get(tag)
        if element is None:
            return ()
        if element.items is None:
            if element.length:
                self.context.tolerate("not-a-sequence", self.at(keyword))
            return ()
        self.dataset.taken.add(tag)
        return tuple(View(item, self.context, self.charset) for item in element.items)

    def item(self, keyword: str) -> View | None:
        """The first item of a sequence; further ones make a finding and stay unread."""
        items = self.items(keyword)
        if len(items) > 1:
            self.context.tolerate("too-many-items", self.at(keyword), f"{len(items)} items")
        return items[0] if items else None

    def code(self, keyword: str) -> CodeItem | None:
        """The code in a sequence of one; a sequence whose bytes were met before is not decoded again."""
        tag = TAGS[keyword]
        element = self.dataset.get(tag)
        if element is None or not element.items or len(element.items) > 1 or element.length > SHORT:
            item = self.item(keyword)
            return None if item is None else item.as_code()
        self.dataset.taken.add(tag)
        inner = element.items[0]
        key = self.dataset.data[element.start : element.start + element.length], self.charset
        known = self.context.codes.get(key)
        if known is not None:
            inner.taken.update(known[1])
            return known[0]
        found = View(inner, self.context, self.charset).as_code()
        self.context.codes[key] = found, frozenset(inner.taken)
        return found

    def as_code(self) -> CodeItem:
        """This item as a code."""
        value = self.text("CodeValue") or self.text("LongCodeValue") or self.text("URNCodeValue") or ""
        self.texts("CodingSchemeVersion")
        return CodeItem(
            "".join(value.split()), self.text("CodingSchemeDesignator") or "", self.text("CodeMeaning") or ""
        )
