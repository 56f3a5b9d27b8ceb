"""Elements to bytes: a small encoder for data sets (PS3.5 chapter 7, PS3.10 chapter 7).

An :class:`Item` collects values by keyword; text is UTF-8, numbers are little endian, sequences and items are written
with explicit lengths, and elements in ascending order of their tags, so that equal content gives equal bytes.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from fractions import Fraction
from functools import lru_cache
from struct import Struct, pack
from typing import Final

from interchange.formats.dicom.dictionary import TAGS, vr_of
from interchange.formats.dicom.numbers import decimal_text
from interchange.formats.dicom.parse import DEFLATED, EXPLICIT, IMPLICIT, VRS_LONG, Syntax
from interchange.formats.dicom.placeholders import NO_TEXT
from interchange.formats.dicom.values import clean

__all__ = ["WRITTEN_SYNTAXES", "Item", "encode_file", "encode_item"]

WRITTEN_SYNTAXES: Final = {"explicit": EXPLICIT, "implicit": IMPLICIT, "deflated": DEFLATED}

Encoded = tuple[tuple[bytes, ...], int]
"""Bytes in pieces, which are joined once they are all there, and their length."""

_LITTLE: Final = 4096
"""Up to this length the pieces of an item are joined at once."""

_SHORT: Final = Struct("<HH2sH")
_LONG: Final = Struct("<HH2sHI")
_PLAIN: Final = Struct("<HHI")


class Item(dict[int, "tuple[bytes, bytes | list[Item]]"]):
    """A data set in the making: tag to (value representation, padded value or items).

    An item that was encoded as part of a sequence keeps its bytes and must not be changed any more.
    """

    __slots__ = ("encoded",)

    def __init__(self, *values: dict[int, tuple[bytes, bytes | list[Item]]]) -> None:
        super().__init__(*values)
        self.encoded: dict[bool, Encoded] = {}

    def text(self, keyword: str, *values: str | None) -> None:
        """Text values, each cleaned for its representation (:func:`clean`); None and nothing give an empty value."""
        tag = TAGS[keyword]
        vr = vr_of(tag)
        said = [value if vr == "PN" else clean(value, vr) for value in values if value is not None]
        raw = "\\".join(said).encode()
        if len(raw) & 1:
            raw += b"\0" if vr == "UI" else b" "
        self[tag] = (vr.encode(), raw)

    def decimals(self, keyword: str, *values: Fraction | int) -> None:
        """Decimal strings (DS)."""
        raw = "\\".join(map(decimal_text, values)).encode()
        self[TAGS[keyword]] = (b"DS", raw + b" " if len(raw) & 1 else raw)

    def numbers(self, keyword: str, *values: int) -> None:
        """Binary unsigned integers (US, UL)."""
        tag = TAGS[keyword]
        vr = vr_of(tag)
        self[tag] = (vr.encode(), pack(f"<{len(values)}{'H' if vr == 'US' else 'I'}", *values))

    def raw(self, keyword: str, vr: str, value: bytes) -> None:
        """Bytes of a representation that the dictionary leaves open (OB or OW)."""
        self[TAGS[keyword]] = (vr.encode(), value + b"\0" if len(value) & 1 else value)

    def sequence(self, keyword: str, items: Iterable[Item]) -> None:
        """A sequence."""
        self[TAGS[keyword]] = (b"SQ", list(items))

    def code(self, keyword: str, value: str, scheme: str, meaning: str, modifiers: Iterable[Item] = ()) -> None:
        """A sequence of one code (PS3.3 8.8); a value of more than 16 characters goes to Long Code Value."""
        item = coded(value, scheme, meaning)
        modifiers = list(modifiers)
        if modifiers:
            item = Item(item)
            item.sequence("ModifierCodeSequence", modifiers)
        self.sequence(keyword, [item])


@lru_cache(maxsize=1024)
def coded(value: str, scheme: str, meaning: str) -> Item:
    """One item of a code sequence (PS3.3 8.8); equal codes are one item, which must not be changed."""
    item = Item()
    value = clean(value, "UC") or NO_TEXT
    item.text("CodeValue" if len(value) <= 16 else "LongCodeValue", value)
    item.text("CodingSchemeDesignator", clean(scheme, "SH") or NO_TEXT)
    item.text("CodeMeaning", clean(meaning, "LO") or value)
    return item


def encode_item(item: Item, explicit: bool = True) -> bytes:
    """The elements of a data set or item as bytes, little endian."""
    return b"".join(_pieces(item, explicit)[0])


def _pieces(item: Item, explicit: bool) -> Encoded:
    pieces: list[bytes] = []
    size = 0
    for tag in sorted(item):
        vr, value = item[tag]
        at = len(pieces)
        if isinstance(value, list):
            length = 0
            for entry in value:
                parts, more = _delimited(entry, explicit)
                pieces += parts
                length += more
        else:
            pieces.append(value)
            length = len(value)
        group, number = tag >> 16, tag & 0xFFFF
        if not explicit:
            head = _PLAIN.pack(group, number, length)
        elif vr in VRS_LONG:
            head = _LONG.pack(group, number, vr, 0, length)
        else:
            head = _SHORT.pack(group, number, vr, length)
        pieces.insert(at, head)
        size += len(head) + length
    return tuple(pieces), size


def _delimited(item: Item, explicit: bool) -> Encoded:
    """An item of a sequence with its head (PS3.5 7.5); encoded once."""
    found = item.encoded.get(explicit)
    if found is None:
        pieces, size = _pieces(item, explicit)
        pieces = (_PLAIN.pack(0xFFFE, 0xE000, size), *pieces)
        found = item.encoded[explicit] = (b"".join(pieces),) if size <= _LITTLE else pieces, size + _PLAIN.size
    return found


def encode_file(dataset: Item, syntax: Syntax, implementation: tuple[str, str]) -> bytes:
    """A whole file: preamble, file meta information, data set (PS3.10 7.1).

    ``implementation``: class UID and version name of whoever writes.
    """
    meta = Item()
    meta[0x00020001] = (b"OB", b"\0\1")
    meta[0x00020002] = (b"UI", _plain(dataset, "SOPClassUID"))
    meta[0x00020003] = (b"UI", _plain(dataset, "SOPInstanceUID"))
    meta.text("TransferSyntaxUID", syntax.uid)
    meta.text("ImplementationClassUID", implementation[0])
    meta.text("ImplementationVersionName", implementation[1])
    head = encode_item(meta)
    length = _SHORT.pack(2, 0, b"UL", 4) + pack("<I", len(head))
    body, _ = _pieces(dataset, syntax.explicit)
    if syntax.deflated:
        packer = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
        packed = packer.compress(b"".join(body)) + packer.flush()
        body = (packed, b"\0" * (len(packed) & 1))
    return b"".join((b"\0" * 128, b"DICM", length, head, *body))


def _plain(dataset: Item, keyword: str) -> bytes:
    value = dataset[TAGS[keyword]][1]
    assert isinstance(value, bytes)
    return value
