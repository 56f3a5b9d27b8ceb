"""From bytes to a tree of plain nodes: decompression, encoding, and XML without anything that reaches outside.

An aECG document needs no document type, so any DOCTYPE is refused before the parser sees it: no entities, no external
subset, no network.  The parser is told the encoding that was found here, so that a declaration that contradicts the
bytes cannot mislead it.  Nothing of what the parser says is repeated in messages, since it quotes the document.
"""

from __future__ import annotations

import codecs
import re
import zlib
from collections.abc import Iterator
from dataclasses import field
from typing import TYPE_CHECKING, Any

from interchange.errors import SourceError
from interchange.formats.aecg.codes import NAMES
from interchange.limits import limit
from interchange.records import dataclass

if TYPE_CHECKING:
    from lxml import etree

__all__ = ["HL7", "WHITE", "XSI", "Document", "Node", "local_name", "namespace_of", "parse", "place_of", "unpack"]

HL7 = "urn:hl7-org:v3"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
GZIP = b"\x1f\x8b"
NATIVE = {"utf-8": "UTF-8", "iso8859-1": "ISO-8859-1", "ascii": "UTF-8"}
"""Encodings that are handed to the parser as they are; all others are made UTF-8 first."""

FOLDED = ("sequenceSet", "annotationSet")
"""Elements whose components have no nodes until they are needed: most of them are read without."""

USUAL = (b"<?xml version='1.0' encoding='UTF-8'?>", b'<?xml version="1.0" encoding="UTF-8"?>')
DECLARATION = rb"""<\?xml\s[^>]{0,200}?encoding\s*=\s*["']([A-Za-z][A-Za-z0-9._-]{0,40})["']"""
WIDE = rb"(?:[ \t\r\n]\0){0,64}(<)\0|(?:\0[ \t\r\n]){0,64}\0<"
_BLANK = b" \t\r\n"
WHITE = " \t\r\n"
"""White space of XML; other blanks belong to the text."""


@dataclass(slots=True)
class Document:
    """A parsed document: its tree, and what had to be tolerated to get it as (rule id, detail)."""

    root: etree._Element
    deviations: list[tuple[str, str]] = field(default_factory=list)


class Node:
    """One element: local name, attributes, children; reading marks what it takes.

    ``name`` is the local name in the document's own namespace, ``{namespace}name`` in another.  ``attributes`` loses
    what is read.  What is never marked or read is what the reader did not take in.
    """

    __slots__ = ("attributes", "children", "element", "name", "used")

    def __init__(self, name: str, attributes: dict[str, str], element: etree._Element) -> None:
        self.name = name
        self.attributes = attributes
        self.element = element
        self.children: list[Node] = []
        self.used = False

    def take(self, name: str) -> Node | None:
        """The first child of that name that nobody took yet, now taken."""
        for child in self.children:
            if child.name == name and not child.used:
                child.used = True
                return child
        return None

    def take_any(self, *names: str) -> Node | None:
        """The first child of one of these names that nobody took yet, now taken."""
        return next((found for found in map(self.take, names) if found is not None), None)

    def takes(self, name: str) -> list[Node]:
        """All children of that name, in order, now taken."""
        if not self.children:
            return []
        found = [child for child in self.children if child.name == name and not child.used]
        for child in found:
            child.used = True
        return found

    def takes_any(self, *names: str) -> list[Node]:
        """All children of these names, in order, now taken."""
        found = [child for child in self.children if child.name in names and not child.used]
        for child in found:
            child.used = True
        return found

    def find(self, name: str) -> Node | None:
        """Like :meth:`take`, without taking it, and whether it was taken or not."""
        for child in self.children:
            if child.name == name:
                return child
        return None

    def step(self, *names: str) -> Node | None:
        """The node at the end of a path of children, each taken."""
        node: Node | None = self
        for name in names:
            node = node.take(name) if node else None
        return node

    def get(self, name: str) -> str | None:
        """The attribute, now read; None where it is absent."""
        return self.attributes.pop(name, None)

    @property
    def text(self) -> str:
        """The text directly inside, without blanks at its ends."""
        return (self.element.text or "").strip(WHITE)

    def whole_text(self) -> str:
        """All text inside, that of children included, without blanks at its ends."""
        return "".join(self.element.itertext()).strip(WHITE)

    @property
    def namespace(self) -> str:
        """The namespace of the element, empty where it has none."""
        return namespace_of(self.element)

    def unfold(self) -> None:
        """Give a folded node its children."""
        if not self.children:
            _grow([self], self.namespace)

    def claim(self) -> None:
        """Mark everything below as taken."""
        stack = [self]
        while stack:
            node = stack.pop()
            node.used = True
            node.attributes.clear()
            stack.extend(node.children)


def parse(data: bytes) -> Document:
    """The document in ``data``; SourceError when it is no well-formed XML or breaks a limit."""
    from lxml import etree

    deviations: list[tuple[str, str]] = []
    text, encoding = _encoded(unpack(data), deviations)
    try:
        root = _parsed(text, encoding)
    except etree.XMLSyntaxError as error:
        if encoding != "UTF-8" or _is_utf8(text):
            raise _malformed(error) from None
        deviations.append(("aecg.encoding", "not UTF-8; read as Windows-1252"))
        try:
            root = _parsed(text.decode("cp1252", "replace").encode(), "UTF-8")
        except etree.XMLSyntaxError as second:
            raise _malformed(second) from None
    return Document(root, deviations)


def tree(root: etree._Element) -> Node:
    """The tree of nodes below ``root``; SourceError when it is nested too deep.

    Components of sequence and annotation sets stay folded (:meth:`Node.unfold`): most are read without nodes.
    """
    top = Node(_local(str(root.tag), namespace_of(root)), dict(root.items()), root)
    _grow([top], namespace_of(root))
    return top


def _grow(level: list[Node], namespace: str) -> None:
    """Give each node its children, and so on down."""
    names: dict[str, str] = {}
    known = names.get
    for _ in range(limit("xml_depth")):
        below: list[Node] = []
        for node in level:
            children = node.children
            for element in node.element:
                tag: Any = element.tag
                child = Node.__new__(Node)  # without a call of __init__: half the time of this loop
                child.name = known(tag) or names.setdefault(tag, _local(tag, namespace))
                child.attributes = dict(element.items())
                child.element = element
                child.children = []
                child.used = False
                children.append(child)
            below += children if node.name not in FOLDED else [child for child in children if child.name != "component"]
        level = below
        if not level:
            return
    raise SourceError(
        f"more than {limit('xml_depth')} elements inside one another", f"line {level[0].element.sourceline}"
    )


def _local(tag: str, namespace: str) -> str:
    """The local name of a tag in that namespace, the whole tag in another."""
    space, _, name = tag[1:].partition("}") if tag.startswith("{") else ("", "", tag)
    return name if space == namespace else tag


def local_name(element: etree._Element) -> str:
    """The element's name without its namespace."""
    return str(element.tag).rsplit("}", 1)[-1]


def namespace_of(element: etree._Element) -> str:
    """The element's namespace, empty where it has none."""
    tag = str(element.tag)
    return tag[1:].partition("}")[0] if tag.startswith("{") else ""


def place_of(element: etree._Element) -> str:
    """Element path with positions among brothers of one name, and the line: ``/AnnotatedECG/component[2], line 31``.

    A name that the message does not have is shown as ``*``.
    """
    parts: list[str] = []
    current: etree._Element | None = element
    while current is not None:
        parent = current.getparent()
        name = local_name(current)
        name = name if name in NAMES else "*"
        if parent is not None:
            brothers = [child for child in parent if child.tag == current.tag]
            if len(brothers) > 1:
                name = f"{name}[{brothers.index(current) + 1}]"
        parts.append(name)
        current = parent
    return f"/{'/'.join(reversed(parts))}, line {element.sourceline}"


def unpack(data: bytes) -> bytes:
    """``data`` without gzip; SourceError when that is damaged or unpacks to too much."""
    if data[:2] != GZIP:
        if len(data) > limit("unpacked"):
            raise SourceError(f"the document is larger than {limit('unpacked')} bytes")
        return data
    parts: list[bytes] = []
    size = 0
    rest = data
    while rest[:2] == GZIP:
        member = zlib.decompressobj(wbits=31)
        try:
            for part in _inflated(member, rest):
                size += len(part)
                if size > limit("unpacked"):
                    raise SourceError(f"unpacks to more than {limit('unpacked')} bytes", "gzip")
                parts.append(part)
        except zlib.error:
            raise SourceError("the compressed data are damaged", "gzip") from None
        if not member.eof:
            raise SourceError("the compressed data end too early", "gzip")
        rest = member.unused_data
    return b"".join(parts)


def _inflated(member: zlib._Decompress, data: bytes) -> Iterator[bytes]:
    chunk = 1 << 20
    yield member.decompress(data, chunk)
    while not member.eof and member.unconsumed_tail:
        yield member.decompress(member.unconsumed_tail, chunk)


def _encoded(data: bytes, deviations: list[tuple[str, str]]) -> tuple[bytes, str]:
    """The bytes and the encoding to tell the parser; UTF-16 and unusual ones become UTF-8."""
    for mark, name in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if data.startswith(mark):
            return _as_utf8(data[len(mark) :], name, deviations)
    wide = re.match(WIDE, data) if b"\0" in data[:2] else None
    if wide:
        return _as_utf8(data, "utf-16-le" if wide[1] else "utf-16-be", deviations)
    return _as_utf8(data, _declared(data, deviations), deviations)


def _declared(data: bytes, deviations: list[tuple[str, str]]) -> str:
    """Python's name of the declared encoding; UTF-8 where there is none that can be true."""
    if data.startswith(USUAL):
        return "utf-8"
    found = re.match(DECLARATION, data[:4096].lstrip(_BLANK)[:300])
    if not found:
        return "utf-8"
    try:
        info = codecs.lookup(found[1].decode("ascii"))
    except LookupError:
        deviations.append(("aecg.encoding", "the declared encoding is not known"))
        return "utf-8"
    if not getattr(info, "_is_text_encoding", True) or info.name in ("utf-7", "idna", "punycode"):
        deviations.append(("aecg.encoding", "the declared encoding is none for XML"))
        return "utf-8"
    if info.name.startswith(("utf-16", "utf-32")):
        deviations.append(("aecg.encoding", "the declared encoding contradicts the bytes"))
        return "utf-8"
    return info.name


def _as_utf8(data: bytes, name: str, deviations: list[tuple[str, str]]) -> tuple[bytes, str]:
    native = NATIVE.get(name)
    if native is None:
        try:
            data, native = data.decode(name).encode("utf-8", "strict"), "UTF-8"
        except (UnicodeError, LookupError):
            raise SourceError("the text is not in the encoding that it announces") from None
    if data[:1] != b"<":
        start = data.lstrip(_BLANK)
        if start.startswith(b"<?xml"):
            deviations.append(("aecg.leading-blanks", ""))
            data = start
    if data.endswith(b"\0"):
        deviations.append(("aecg.trailing-nul", ""))
        data = data.rstrip(b"\0")
    return data, native


def _is_utf8(data: bytes) -> bool:
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _parsed(data: bytes, encoding: str) -> etree._Element:
    from lxml import etree

    _refuse_doctype(data)
    most = limit("xml_markup")
    if len(data) > most and data.count(b"<") + data.count(b"=") > most:
        raise SourceError(f"holds more than {most} elements and attributes")
    wide = _may_be_wide(data)
    parser = etree.XMLParser(
        encoding=encoding,
        resolve_entities=False,
        load_dtd=False,
        dtd_validation=False,
        attribute_defaults=False,
        no_network=True,
        remove_comments=True,
        remove_pis=True,
        collect_ids=False,
        huge_tree=len(data) > 5_000_000,
    )
    root = etree.fromstring(data, parser)
    if wide and root.xpath("boolean(//*[count(@*) > $most])", most=limit("xml_attributes")):
        raise SourceError(f"holds an element with more than {limit('xml_attributes')} attributes")
    if root.getroottree().docinfo.doctype:
        raise SourceError("has a document type declaration, which aECG does not use")
    return root


def _may_be_wide(data: bytes) -> bool:
    """Whether one element may have more attributes than the limit: looking at all of them takes the square of that.

    A document with few of them altogether takes no time worth a closer look.
    """
    most = limit("xml_attributes")
    return data.count(b"=") > 16 * most and max(part.count(b"=") for part in data.split(b"<")) > most


def _refuse_doctype(data: bytes) -> None:
    """SourceError when anything but comments and instructions stands before the first element."""
    at = 0
    while True:
        while data[at : at + 1] and data[at] in _BLANK:
            at += 1
        if data.startswith(b"<?", at):
            end = data.find(b"?>", at + 2)
        elif data.startswith(b"<!--", at):
            end = data.find(b"-->", at + 4)
        elif data.startswith(b"<!", at):
            raise SourceError("has a document type declaration, which aECG does not use")
        else:
            return
        if end < 0:
            raise SourceError("the document ends inside a comment or instruction")
        at = end + (2 if data[at + 1] == 63 else 3)


def _malformed(error: etree.XMLSyntaxError) -> SourceError:
    line, column = error.position
    return SourceError("the XML is not well-formed", f"line {line}, column {column}")
