"""Records built field by field, so that a defect is visible where it is made."""

from __future__ import annotations

import struct
from collections.abc import Callable

from interchange.findings import Finding
from interchange.formats import load
from interchange.formats.scp.log import Log
from interchange.formats.scp.syntax.document import Document, parse_document
from interchange.model import Recording
from interchange.sources import Source
from tests.formats.scp import plain

WAVE = [0, 3, 9, 40, 120, 60, -30, -8, 2, 1, 0, 0, 5, 9, 12, 9, 5, 1, 0, -1]
OTHER = [n * 7 - 40 for n in range(20)]


def record(**changes: object) -> plain.Record:
    """A small record of two leads, uncompressed, with these fields changed."""
    values: dict = {"leads": [(1, 1, list(WAVE)), (2, 1, list(OTHER))], **changes}
    return plain.Record(**values)


def fixed(data: bytes | bytearray) -> bytes:
    """The record with all checksums put right again, after something in it was changed.

    Pointers that lead to no header of their section are left alone.
    """
    data = bytearray(data)
    length = struct.unpack_from("<I", data, 10)[0]
    for place in range(22, 6 + length, 10):
        number, size, index = struct.unpack_from("<HII", data, place)
        if place == 22:
            size, index = length, 7
        if size and 1 <= index < len(data) - 16 and struct.unpack_from("<H", data, index + 1)[0] == number:
            part = data[index - 1 : index - 1 + size]
            struct.pack_into("<H", data, index - 1, plain.crc(bytes(part[2:])))
    struct.pack_into("<H", data, 0, plain.crc(bytes(data[2:])))
    return bytes(data)


def place_of(data: bytes, number: int) -> int:
    """Offset of a section's first byte."""
    length = struct.unpack_from("<I", data, 10)[0]
    for place in range(22, 6 + length, 10):
        section, _, index = struct.unpack_from("<HII", data, place)
        if section == number:
            return index - 1
    raise KeyError(number)


def patched(data: bytes, number: int, inside: int, new: bytes) -> bytes:
    """The record with bytes of a section's body changed and the checksums put right."""
    changed = bytearray(data)
    start = place_of(data, number) + 16 + inside
    changed[start : start + len(new)] = new
    return fixed(changed)


def parse(data: bytes) -> tuple[Document, tuple[Finding, ...]]:
    """The parsed record and its findings."""
    log = Log()
    return parse_document(data, log), log.findings


def rules(findings: tuple[Finding, ...]) -> set[str]:
    """Names of the rules without the format's name."""
    return {finding.rule.removeprefix("scp.") for finding in findings}


def read(data: bytes, **files: bytes) -> Recording:
    """The recording in a record."""
    return load("scp").read(Source(data, "record.scp", files=files))


def check(data: bytes) -> set[str]:
    """The rules that a record breaks."""
    return rules(load("scp").check(Source(data, "record.scp")))


def with_section(number: int, body: bytes, **changes: object) -> bytes:
    """A record with one more section."""
    return plain.encode(record(sections={number: body}, **changes))


def with_tags(change: Callable[[list[tuple[int, bytes]]], list[tuple[int, bytes]]]) -> bytes:
    """A record whose section 1 has other fields."""
    return plain.encode(record(tags=change(plain.plain_tags())))
