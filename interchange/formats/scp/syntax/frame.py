"""The frame of a record: its header, section 0 and the headers of all sections (EN 1064 clauses 5.2 and 5.3).

``parse_frame`` finds the sections and says what is wrong with the frame; it looks into no section but 0.  Offsets
count from 0 at the start of the file; the standard's byte numbers, which the pointers use, count from 1.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from dataclasses import field
from typing import Final

from interchange.errors import SourceError
from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.checksum import checksum, checksum_over
from interchange.records import dataclass

__all__ = [
    "HEADER",
    "MARK",
    "Frame",
    "Pointer",
    "Section",
    "build_record",
    "frame_of",
    "looks_like_record",
    "parse_frame",
]

MARK: Final = b"SCPECG"
HEADER: Final = 16
"""Bytes of a section's header."""
_FIRST: Final = 6
"""Offset of section 0."""
_ENTRY: Final = struct.Struct("<HII")
_SECTION: Final = struct.Struct("<HHIBB6s")
_MANDATORY: Final = range(12)
_SHORTEST: Final = _FIRST + HEADER + 12 * _ENTRY.size
_PROTOCOLS: Final = frozenset({10, 11, 12, 13, 20, 21, 22, 23, 30})


@dataclass(frozen=True, slots=True)
class Pointer:
    """One entry of section 0, as stored; ``offset`` is where the entry itself is."""

    section: int
    length: int
    index: int
    offset: int

    @property
    def is_absent(self) -> bool:
        """Whether the entry says that there is no such section (one zero is enough)."""
        return self.length == 0 or self.index == 0


@dataclass(frozen=True, slots=True)
class Section:
    """One section: where it is, what its header says, and its bytes as far as the file has them."""

    id: int
    offset: int
    length: int
    stored_checksum: int
    version: int
    protocol: int
    reserved: bytes
    data: bytes = field(repr=False)
    is_whole: bool = True

    @property
    def start(self) -> int:
        """Offset of the first byte behind the header."""
        return self.offset + HEADER

    @property
    def end(self) -> int:
        """Offset behind the last byte that the file has."""
        return min(self.offset + self.length, len(self.data))

    @property
    def body(self) -> bytes:
        """The bytes behind the header, padding included."""
        return self.data[self.start : self.end]

    def place(self, inside: int = 0) -> str:
        """The place ``inside`` bytes behind the header, for findings."""
        return at(self.start + inside, self.id)


@dataclass(frozen=True, slots=True)
class Frame:
    """A record's frame: ``sections`` in the order of their numbers, section 0 included."""

    data: bytes = field(repr=False)
    size: int
    stored_checksum: int
    pointers: tuple[Pointer, ...]
    sections: tuple[Section, ...]

    def section(self, number: int) -> Section | None:
        """The section with that number."""
        return next((s for s in self.sections if s.id == number), None)

    @property
    def protocol(self) -> int:
        """Protocol version times ten, as section 0 says it."""
        return self.sections[0].protocol


def looks_like_record(data: bytes) -> bool:
    """Whether the bytes are a record: by the mark, or, for records made before 2005, by length, pointer and id."""
    if len(data) < _FIRST + HEADER + _ENTRY.size or data[8:10] != b"\0\0":
        return False
    if data[16:22] == MARK:
        return True
    stored, size = struct.unpack_from("<HI", data)
    length: int = struct.unpack_from("<I", data, 10)[0]
    if _ENTRY.unpack_from(data, _FIRST + HEADER)[::2] == (0, _FIRST + 1):
        return length <= len(data)
    return size == len(data) and checksum(memoryview(data)[2:]) == int(stored)


def parse_frame(data: bytes, log: Log) -> Frame:
    """Find all sections.  SourceError where the bytes have no section 0 that could be followed."""
    if len(data) < _FIRST + HEADER + _ENTRY.size:
        raise SourceError("is too short for a record", at(0))
    stored, size = struct.unpack_from("<HI", data)
    zero = _section_zero(data, log)
    pointers = _pointers(data, zero, log)
    found = _Finder(data, zero, log).sections(pointers)
    if not found:
        raise SourceError("has no section behind its pointers", zero.place())
    frame = Frame(data, size, stored, pointers, (zero, *found))
    _check_size(frame, log)
    _check_entries(frame, log)
    _check_headers(frame, log)
    _check_layout(frame, log)
    _check_checksums(frame, log)
    return frame


def _header(data: bytes, offset: int, length: int | None = None) -> Section:
    stored, number, own, version, protocol, reserved = _SECTION.unpack_from(data, offset)
    length = own if length is None else length
    return Section(number, offset, length, stored, version, protocol, reserved, data, offset + length <= len(data))


def _section_zero(data: bytes, log: Log) -> Section:
    zero = _header(data, _FIRST)
    number, entry_length, index = _ENTRY.unpack_from(data, _FIRST + HEADER)
    points_home = (number, index) == (0, _FIRST + 1)
    size: int = struct.unpack_from("<I", data, 2)[0]
    if not (points_home or zero.reserved == MARK or size == len(data)):
        raise SourceError("has neither the mark of a record nor its length nor a first pointer", at(0))
    if zero.id != 0:
        if not points_home:
            raise SourceError("has no section 0 behind the record header", at(8))
        log.add("section-zero", at(8))
    room = len(data) - _FIRST
    for length in (zero.length, entry_length if points_home else 0, HEADER + 12 * _ENTRY.size):
        if HEADER + _ENTRY.size <= length <= room:
            if length != zero.length:
                log.add("section-length", at(10, 0), f"header {zero.length}, taken {length}")
            return Section(0, _FIRST, length, zero.stored_checksum, zero.version, zero.protocol, zero.reserved, data)
    raise SourceError("ends within section 0, which says where everything is", at(len(data)))


def _pointers(data: bytes, zero: Section, log: Log) -> tuple[Pointer, ...]:
    if (zero.length - HEADER) % _ENTRY.size:
        log.add("pointer-table", zero.place(-HEADER + 4), f"{zero.length} bytes")
    first: dict[int, Pointer] = {}
    whole = (zero.length - HEADER) // _ENTRY.size * _ENTRY.size
    for place, (number, length, index) in enumerate(_ENTRY.iter_unpack(data[zero.start : zero.start + whole])):
        offset = zero.start + place * _ENTRY.size
        if number in first:
            log.add("pointer-doubled", at(offset, 0), f"section {number}")
        else:
            first[number] = Pointer(number, length, index, offset)
    return tuple(first.values())


class _Finder:
    """Finds sections by their pointers, and by the chain of section headers where a pointer fails."""

    def __init__(self, data: bytes, zero: Section, log: Log) -> None:
        self.data = data
        self.zero = zero
        self.log = log
        self._chain: dict[int, Section] | None = None

    def sections(self, pointers: tuple[Pointer, ...]) -> list[Section]:
        """All sections but 0 that are present, in the order of their numbers."""
        found = (self._follow(pointer) for pointer in pointers if pointer.section != 0)
        return sorted((section for section in found if section), key=lambda section: section.id)

    def _follow(self, pointer: Pointer) -> Section | None:
        place = at(pointer.offset, 0)
        if pointer.is_absent:
            if pointer.length or pointer.index:
                self.log.add("pointer-half", place, f"section {pointer.section}")
            return None
        offset = pointer.index - 1
        if offset + HEADER > len(self.data) or offset < self.zero.offset + self.zero.length:
            self.log.add("pointer-outside", place, f"section {pointer.section} at offset {offset}")
            return self._by_chain(pointer.section)
        section = _header(self.data, offset)
        if section.id != pointer.section:
            self.log.add("pointer-target", place, f"section {pointer.section}")
            return self._by_chain(pointer.section)
        return self._with_length(section, pointer)

    def _with_length(self, section: Section, pointer: Pointer) -> Section:
        """The section with the length to believe: the header's where both differ and it fits."""
        room = len(self.data) - section.offset
        if section.length != pointer.length:
            self.log.add("section-length", at(section.offset + 4, section.id), f"{section.length} and {pointer.length}")
        for length in (section.length, pointer.length):
            if HEADER <= length <= room:
                return _header(self.data, section.offset, length)
        plausible = [length for length in (pointer.length, section.length) if length >= HEADER]
        return _header(self.data, section.offset, min(plausible, default=HEADER))

    def _by_chain(self, number: int) -> Section | None:
        if self._chain is None:
            self._chain = {section.id: section for section in self._walk()}
        return self._chain.get(number)

    def _walk(self) -> Iterator[Section]:
        offset = self.zero.offset + self.zero.length
        met: set[int] = {0}
        while offset + HEADER <= len(self.data):
            section = _header(self.data, offset)
            if section.id in met or not section.is_whole or section.length < HEADER:
                return
            met.add(section.id)
            yield section
            offset += section.length


def _check_size(frame: Frame, log: Log) -> None:
    there = len(frame.data)
    last = max(section.offset + section.length for section in frame.sections)
    if frame.size > there:
        log.add("record-truncated", at(there), f"{there} of {frame.size} bytes")
    elif frame.size < _SHORTEST or frame.size < last <= there:
        log.add("record-length", at(2), f"{frame.size} bytes")
    elif frame.size < there:
        log.add("record-trailing", at(frame.size), f"{there - frame.size} bytes")
    for section in frame.sections:
        if not section.is_whole:
            log.add("section-truncated", at(there, section.id), f"{there - section.offset} of {section.length} bytes")


def _check_entries(frame: Frame, log: Log) -> None:
    zero = frame.sections[0]
    numbers = [pointer.section for pointer in frame.pointers]
    missing = [number for number in _MANDATORY if number not in numbers]
    if missing:
        log.add("pointer-missing", zero.place(), "sections " + ", ".join(map(str, missing)))
    for before, pointer in zip(frame.pointers, frame.pointers[1:], strict=False):
        if pointer.section < before.section:
            log.add("pointer-order", at(pointer.offset, 0), f"section {pointer.section}")
    own = frame.pointers[0]
    if (own.section, own.length, own.index) != (0, zero.length, _FIRST + 1):
        log.add("pointer-self", at(own.offset, 0))


def _check_headers(frame: Frame, log: Log) -> None:
    zero = frame.sections[0]
    if zero.reserved != MARK:
        log.add("mark" if zero.protocol >= 20 else "mark-old", at(zero.offset + 10, 0))
    for section in frame.sections[1:]:
        if section.reserved != bytes(6):
            log.add("reserved", at(section.offset + 10, section.id))
        if 12 <= section.id <= 18:
            name = "section-3-0" if zero.protocol >= 30 else "section-new"
            log.add(name, at(section.offset, section.id), f"{section.length} bytes")
        elif section.id > 11 and not 128 <= section.id <= 1023:
            log.add("section-unknown", at(section.offset, section.id), f"{section.length} bytes")
    odd = next((s for s in frame.sections if s.protocol != zero.protocol or s.version not in _PROTOCOLS), None)
    if odd or zero.protocol not in _PROTOCOLS:
        where = odd or zero
        values = sorted({s.protocol for s in frame.sections} | {s.version for s in frame.sections})[:20]
        log.add("section-version", at(where.offset + 8, where.id), "values " + ", ".join(map(str, values)))


def _check_layout(frame: Frame, log: Log) -> None:
    """Odd places, gaps, overlaps and order."""
    end = _FIRST
    highest = 0
    for section in sorted(frame.sections, key=lambda s: s.offset):
        place = at(section.offset, section.id)
        if section.length % 2 or section.offset % 2:
            log.add("section-odd", place, f"offset {section.offset}, {section.length} bytes")
        if section.offset < end:
            log.add("section-overlap", place, f"{end - section.offset} bytes")
        elif section.offset > end:
            log.add("section-gap", at(end), f"{section.offset - end} bytes")
        if section.id < highest:
            log.add("section-order", place)
        end = max(end, section.offset + section.length)
        highest = max(highest, section.id)
    last = min(frame.size, len(frame.data))
    if end < last:
        log.add("section-gap", at(end), f"{last - end} bytes")


def _check_checksums(frame: Frame, log: Log) -> None:
    view = memoryview(frame.data)
    budget = 20 * len(frame.data)
    computed: list[tuple[Section, int]] = []
    for section in frame.sections:
        budget -= section.length
        if section.is_whole and budget > 0:
            computed.append((section, checksum(view[section.offset + 2 : section.end])))
    if _SHORTEST <= frame.size <= len(frame.data):
        parts = ((section.offset, section.end - 2, value) for section, value in computed if section.end <= frame.size)
        _compare("record-crc", frame.stored_checksum, checksum_over(view[2 : frame.size], sorted(parts)), at(0), log)
    for section, value in computed:
        _compare("section-crc", section.stored_checksum, value, at(section.offset, section.id), log)


def _compare(name: str, stored: int, computed: int, place: str, log: Log) -> None:
    if stored != computed:
        name = name if stored else "crc-zero"
        log.add(name, place, f"stored 0x{stored:04X}, computed 0x{computed:04X}")


def frame_of(sections: Mapping[int, bytes], protocol: int = 20) -> Frame:
    """What a parser finds in a record of these bodies, without building it: sections that lie nowhere."""
    found = [Section(0, 0, HEADER, 0, protocol, protocol, MARK, bytes(HEADER))]
    for number in sorted(sections):
        data = b"".join((bytes(HEADER), sections[number], bytes(len(sections[number]) % 2)))
        found.append(Section(number, 0, len(data), 0, protocol, protocol, bytes(6), data))
    return Frame(b"", 0, 0, (), tuple(found))


def build_record(sections: Mapping[int, bytes], protocol: int = 20) -> bytes:
    """A whole record from the bodies of its sections (numbers above 0), in ascending order, with all checksums."""
    numbers = sorted({*_MANDATORY, *sections} - {0})
    zero_length = HEADER + (1 + len(numbers)) * _ENTRY.size
    entries = [_ENTRY.pack(0, zero_length, _FIRST + 1)]
    parts: list[bytes] = []
    sums: list[tuple[int, int, int]] = []
    place = _FIRST + zero_length
    for number in numbers:
        if number not in sections:
            entries.append(_ENTRY.pack(number, 0, 0))
            continue
        value, part = _build_section(number, sections[number], protocol, bytes(6))
        entries.append(_ENTRY.pack(number, len(part) + 2, place + 1))
        parts += (struct.pack("<H", value), part)
        sums.append((place, place + len(part), value))  # counted from behind the record's checksum
        place += len(part) + 2
    value, zero = _build_section(0, b"".join(entries), protocol, MARK)
    record = b"".join((struct.pack("<IH", place, value), zero, *parts))
    return struct.pack("<H", checksum_over(memoryview(record), sums)) + record


def _build_section(number: int, body: bytes, protocol: int, reserved: bytes) -> tuple[int, bytes]:
    """Checksum, and what follows it."""
    header = _SECTION.pack(0, number, HEADER + len(body) + len(body) % 2, protocol, protocol, reserved)
    section = b"".join((header[2:], body, bytes(len(body) % 2)))
    return checksum(section), section
