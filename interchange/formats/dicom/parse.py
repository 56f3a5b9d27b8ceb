"""Bytes to elements: the syntax of PS3.5 and PS3.10, and nothing of what the attributes mean.

An :class:`Element` is a place in the bytes: nothing is decoded or copied until somebody asks for the value.  Explicit
and implicit little endian, deflated and the retired big endian are read, with preamble and file meta information or
without.  Every length is checked against the bytes that are there; sequences are entered to a fixed depth and the
number of elements is bounded, so that time and memory stay proportional to the size of the file.

Deviations that leave the meaning clear are collected as ``(rule, place, detail)``; the rest is a SourceError.
"""

from __future__ import annotations

import zlib
from dataclasses import field
from struct import Struct
from typing import Final

from interchange.errors import SourceError
from interchange.formats.dicom.dataset import CHANNELS, LONGEST, DataSet, Element, find_known, remember
from interchange.formats.dicom.dictionary import ITEM, ITEM_END, SEQUENCE_END, tag_name, vr_of
from interchange.formats.dicom.recognise import PREAMBLE, bare_data_set
from interchange.limits import limit as bound
from interchange.records import dataclass

__all__ = ["File", "Syntax", "parse", "parse_written"]

UNDEFINED: Final = 0xFFFFFFFF
_SHORT: Final = "AE AS AT CS DA DS DT FD FL IS LO LT PN SH SL SS ST TM UI UL US"
_LONG: Final = "OB OD OF OL OV OW SQ SV UC UN UR UT UV"
VRS_SHORT: Final = {vr.encode(): vr for vr in _SHORT.split()}
"""Representations with two bytes of length (PS3.5 7.1.2)."""
VRS_LONG: Final = {vr.encode(): vr for vr in _LONG.split()}
"""Representations with four bytes of length."""


@dataclass(frozen=True, slots=True)
class Syntax:
    """A transfer syntax (PS3.5 section 10): explicit or implicit VR, byte order, deflated or not."""

    uid: str
    name: str
    explicit: bool = True
    little: bool = True
    deflated: bool = False


IMPLICIT: Final = Syntax("1.2.840.10008.1.2", "Implicit VR Little Endian", explicit=False)
EXPLICIT: Final = Syntax("1.2.840.10008.1.2.1", "Explicit VR Little Endian")
DEFLATED: Final = Syntax("1.2.840.10008.1.2.1.99", "Deflated Explicit VR Little Endian", deflated=True)
BIG_ENDIAN: Final = Syntax("1.2.840.10008.1.2.2", "Explicit VR Big Endian", little=False)
SYNTAXES: Final = {s.uid: s for s in (IMPLICIT, EXPLICIT, DEFLATED, BIG_ENDIAN)}


_new: Final = tuple.__new__

Deviation = tuple[str, str, str]
"""Rule id without the format's prefix, place, detail in numbers."""


@dataclass(slots=True)
class File:
    """A whole file: its transfer syntax, file meta information (group 0002) and data set.

    ``trailing`` counts bytes after the last element; ``deviations`` lists what was tolerated.
    """

    syntax: Syntax
    meta: DataSet
    dataset: DataSet
    preamble: bool
    trailing: int = 0
    deviations: list[Deviation] = field(default_factory=list)


def _bare_syntax(data: bytes) -> Syntax | None:
    explicit = bare_data_set(data)
    return None if explicit is None else EXPLICIT if explicit else IMPLICIT


def parse(data: bytes) -> File:
    """Parse the bytes of a file; SourceError where they are no DICOM data set or one that is cut or malformed."""
    deviations: list[Deviation] = []
    start = PREAMBLE + 4 if data[PREAMBLE : PREAMBLE + 4] == b"DICM" else 0
    preamble = start > 0
    meta = DataSet(data, True)
    syntax = IMPLICIT
    if not preamble:
        bare = _bare_syntax(data)
        if bare is None:
            raise SourceError("is no DICOM file: no prefix after the preamble and no data set at the start", "byte 0")
        syntax = bare
        deviations.append(("no-preamble", "byte 0", ""))
    if data[start : start + 2] == b"\2\0":
        start = _Parser(data, EXPLICIT, deviations).meta(start, meta)
        syntax = _declared_syntax(meta)
    elif preamble:
        deviations.append(("no-file-meta", f"byte {start}", ""))
        syntax = _bare_syntax(data[start : start + 2048]) or IMPLICIT
    if syntax.deflated:
        data, trailing = _inflate(data, start)
        start = 0
    else:
        trailing = 0
    parser = _Parser(data, syntax, deviations)
    dataset = DataSet(data, syntax.little)
    end = parser.top(start, dataset)
    return File(syntax, meta, dataset, preamble, trailing + len(data) - end, deviations)


def parse_written(data: bytes) -> File:
    """Parse a data set that this program encoded in Explicit VR Little Endian, without anything around it."""
    dataset = DataSet(data, True)
    _Parser(data, EXPLICIT, []).top(0, dataset)
    return File(EXPLICIT, DataSet(data, True), dataset, preamble=True)


def _declared_syntax(meta: DataSet) -> Syntax:
    raw = meta.raw(0x00020010)
    if raw is None:
        raise SourceError("the transfer syntax is missing", tag_name(0x00020010))
    syntax = SYNTAXES.get(raw.rstrip(b"\0 ").decode("ascii", "replace"))
    if syntax is None:
        raise SourceError("the transfer syntax is not one that waveforms are stored in", tag_name(0x00020010))
    return syntax


def _inflate(data: bytes, start: int) -> tuple[bytes, int]:
    """The data set of a deflated file (PS3.5 A.5, RFC 1951) and the number of bytes after the stream."""
    stream = zlib.decompressobj(-zlib.MAX_WBITS)
    try:
        unpacked = stream.decompress(memoryview(data)[start:], bound("unpacked"))
    except zlib.error:
        raise SourceError("the deflated data set is damaged", f"byte {start}") from None
    if not stream.eof:
        if len(unpacked) >= bound("unpacked"):
            raise SourceError(f"the deflated data set is larger than {bound('unpacked')} bytes", f"byte {start}")
        raise SourceError("the deflated data set ends early", f"byte {len(data)}")
    unused = stream.unused_data
    return unpacked, len(unused) - (1 if unused == b"\0" else 0)


class _Parser:
    """One pass over the bytes of a data set."""

    def __init__(self, data: bytes, syntax: Syntax, deviations: list[Deviation]) -> None:
        self.data = data
        self.size = len(data)
        self.little = syntax.little
        self.explicit = syntax.explicit
        order = "<" if syntax.little else ">"
        self.tag = Struct(f"{order}HH")
        self.short = Struct(f"{order}HH2sH")
        self.long = Struct(f"{order}I")
        self.plain = Struct(f"{order}HHI")
        self.left = bound("elements")
        self.deviations = deviations

    def meta(self, pos: int, meta: DataSet) -> int:
        """Parse group 0002 into ``meta``; the position after it."""
        while self.data[pos : pos + 2] == b"\2\0":
            pos = self._one(pos, self.size, meta, 0)
        if not meta:
            raise SourceError("the file meta information is damaged", f"byte {pos}")
        return pos

    def top(self, pos: int, dataset: DataSet) -> int:
        """Parse the main data set; a cut after the samples is tolerated, before them it is an error."""
        last = -1
        while pos < self.size:
            try:
                pos = self._one(pos, self.size, dataset, 0)
            except SourceError as error:
                if last < 0x54000100:
                    raise
                self.deviations.append(("cut-after-samples", error.place, ""))
                return pos
            last = dataset.last
        return pos

    def items(
        self, pos: int, limit: int, closed: bool, owner: DataSet, sequence: int, depth: int
    ) -> tuple[tuple[DataSet, ...], int]:
        """The items of a sequence that ends at ``limit``, or with ``closed`` at a delimiter before that."""
        if depth > bound("sequence_depth"):
            raise SourceError(f"sequences are nested deeper than {bound('sequence_depth')}", owner.at(sequence))
        items: list[DataSet] = []
        while closed or pos < limit:
            if pos + 8 > limit:
                raise SourceError("the sequence ends in the middle of an item", owner.at(sequence))
            group, number, length = self.plain.unpack_from(self.data, pos)
            tag = group << 16 | number
            pos += 8
            if tag == SEQUENCE_END:
                break
            if tag != ITEM:
                raise SourceError(f"an item was expected at byte {pos - 8}", owner.at(sequence))
            if sequence == CHANNELS and length <= LONGEST and self.explicit and self.little:
                known = self._known(pos, length, limit, owner, len(items) + 1, depth)
                if known is not None:
                    items.append(known)
                    pos += length
                    continue
            item = DataSet(self.data, self.little, owner, sequence, len(items) + 1)
            items.append(item)
            self._count(item)
            pos = self._item(pos, length, limit, item, depth)
        return tuple(items), pos

    def _known(self, pos: int, length: int, limit: int, owner: DataSet, number: int, depth: int) -> DataSet | None:
        """A channel definition whose bytes were parsed before, or are now; None where that needs the ordinary way."""
        data = self.data[pos : pos + length]
        known = find_known(data)
        if known is None:
            alone = _Parser(data, EXPLICIT, [])
            item = DataSet(data, True)
            try:
                end = alone._item(0, length, len(data), item, 1)
            except SourceError:
                return None
            if alone.deviations or end != length:
                return None
            known = remember(data, item)
        if pos + length > limit or known.count >= self.left or depth + known.depth > bound("sequence_depth"):
            return None
        self.left -= known.count
        return known.item(owner, CHANNELS, number, pos)

    def _item(self, pos: int, length: int, limit: int, item: DataSet, depth: int) -> int:
        if length == UNDEFINED:
            while True:
                if pos + 8 > limit:
                    raise SourceError("the item is not closed", item.place.rstrip("/"))
                group, number, _ = self.plain.unpack_from(self.data, pos)
                if group << 16 | number == ITEM_END:
                    return pos + 8
                pos = self._one(pos, limit, item, depth)
        end = pos + length
        if end > limit:
            raise SourceError(f"the item is {end - limit} bytes longer than the sequence", item.place.rstrip("/"))
        while pos < end:
            pos = self._one(pos, end, item, depth)
        return pos

    def _count(self, where: DataSet) -> None:
        self.left -= 1
        if self.left < 0:
            raise SourceError(f"has more than {bound('elements')} elements", where.place)

    def _one(self, pos: int, end: int, into: DataSet, depth: int) -> int:
        """Parse the element at ``pos`` into ``into``; the position after it."""
        self.left -= 1
        if self.left < 0 or pos + 8 > end:
            self._count(into)
            raise SourceError(f"{end - pos} bytes are left where an element begins", f"{into.place}byte {pos}")
        if self.explicit:
            group, number, code, length = self.short.unpack_from(self.data, pos)
            pos += 8
            tag = group << 16 | number
            vr = VRS_SHORT.get(code)
            if vr is None:
                vr = VRS_LONG.get(code) or self._unknown_vr(code, into, tag)
                if pos + 4 > end:
                    raise SourceError("ends in the middle of an element", into.at(tag))
                (length,) = self.long.unpack_from(self.data, pos)
                pos += 4
        else:
            group, number, length = self.plain.unpack_from(self.data, pos)
            pos += 8
            tag = group << 16 | number
            vr = vr_of(tag)
        if length == UNDEFINED or vr in ("SQ", "UN"):
            return self._nested(tag, vr, pos, length, end, into, depth)
        after: int = pos + length
        if after > end:
            raise SourceError(f"the value is {after - end} bytes longer than what is left", into.at(tag))
        if tag > into.last:
            into.last = tag
            into[tag] = _new(Element, (tag, vr, pos, length, None))
        else:
            self._misplaced(into, _new(Element, (tag, vr, pos, length, None)))
        return after

    def _unknown_vr(self, code: bytes, into: DataSet, tag: int) -> str:
        """Two capitals may be a representation to come, in the long form (PS3.5 6.2.2); other bytes are damage."""
        if not (code.isalpha() and code.isupper()):
            raise SourceError("has no value representation: the data set is damaged here", into.at(tag))
        self.deviations.append(("unknown-vr", into.at(tag), ""))
        return code.decode("ascii")

    def _nested(self, tag: int, vr: str, pos: int, length: int, end: int, into: DataSet, depth: int) -> int:
        """A sequence, an element of unknown representation, or one of undefined length."""
        stop = None if length == UNDEFINED else pos + length
        if stop is not None and stop > end:
            raise SourceError(f"the value is {stop - end} bytes longer than what is left", into.at(tag))
        if vr == "UN" and stop is not None:
            known = vr_of(tag) if self.explicit else "UN"
            if known != "SQ" or not self.little:
                self._put(into, Element(tag, known, pos, length, None))
                return stop
        if vr not in ("SQ", "UN"):
            return self._fragments(tag, vr, pos, into)
        explicit, self.explicit = self.explicit, self.explicit and vr != "UN"
        try:
            items, after = self.items(pos, end if stop is None else stop, stop is None, into, tag, depth + 1)
        finally:
            self.explicit = explicit
        self._put(into, Element(tag, "SQ", pos, after - pos, items))
        return after

    def _fragments(self, tag: int, vr: str, pos: int, into: DataSet) -> int:
        """Step over a value in fragments (PS3.5 A.4): pixel data and the like, listed but never read."""
        start = pos
        while pos + 8 <= self.size:
            group, number, length = self.plain.unpack_from(self.data, pos)
            pos += 8
            if group << 16 | number == SEQUENCE_END:
                self._put(into, Element(tag, vr, start, pos - start, None))
                return pos
            if group << 16 | number != ITEM or pos + length > self.size:
                break
            self._count(into)
            pos += length
        raise SourceError("the value in fragments is damaged", into.at(tag))

    def _put(self, into: DataSet, element: Element) -> None:
        if element.tag > into.last:
            into.last = element.tag
            into[element.tag] = element
        else:
            self._misplaced(into, element)

    def _misplaced(self, into: DataSet, element: Element) -> None:
        """An element whose tag does not ascend: of two with one tag the first counts."""
        rule = "duplicate-element" if element.tag in into else "element-order"
        self.deviations.append((rule, into.at(element.tag), ""))
        into.setdefault(element.tag, element)
