"""Annotation files in MIT form: bytes to annotations and back.

Words of 16 bits, low byte first: six bits of code, ten of interval.  Codes 1 to 49 are annotations; SKIP, NUM, SUB, CHN
and AUX carry what does not fit.  Every length is held against the bytes that are there.

Sources: WFDB Applications Guide, annot(5); WFDB Programmer's Guide; ``ecgcodes.h``.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Final

from interchange.errors import SourceError
from interchange.formats.wfdb.numerals import decimal, decimal_text
from interchange.records import NamedTuple

__all__ = [
    "LONGEST_AUX",
    "NOTE",
    "Annotation",
    "AnnotationFile",
    "encode_annotations",
    "is_annotation_file",
    "parse_annotations",
]

NOTE: Final = 22
LAST_CODE: Final = 49
LONGEST_AUX: Final = 255

_FREE: Final = frozenset({15, 17, *range(42, 50)})
"""Codes that a file may define for itself; nothing else gives them a meaning."""

_SKIP, _NUM, _SUB, _CHN, _AUX = 59, 60, 61, 62, 63
_NEAR: Final = 1023
_FAR: Final = 2**31 - 1
_RESOLUTION: Final = b"## time resolution:"
_DEFINITIONS: Final = b"## annotation type definitions"
_DEFINITIONS_END: Final = b"## end of definitions"
_AHA_CODES: Final = frozenset(b"NVFREPQOU[]")
"""Letters in the second byte of a 16-byte AHA annotation (from memory)."""


class Annotation(NamedTuple):
    """One annotation: ``time`` in ticks since sample 0, ``code`` 1 to 49, ``aux`` without a closing NUL."""

    time: int
    code: int
    subtype: int = 0
    chan: int = 0
    num: int = 0
    aux: bytes = b""


class AnnotationFile(NamedTuple):
    """A whole file: ``resolution`` in ticks per second, None where ticks are frames of the record.

    ``own_types``: descriptions of codes that the file defines itself.  ``broken`` lists (rule, byte offset) of what
    was tolerated, ``skipped`` (byte offset, size) of what was not understood.
    """

    resolution: Fraction | None
    own_types: dict[int, str]
    annotations: list[Annotation]
    broken: list[tuple[str, int]]
    skipped: list[tuple[int, int]]


# Reading -----------------------------------------------------------------------------------------------------------


def parse_annotations(data: bytes) -> AnnotationFile:
    """All annotations of a file, in the order of time.  SourceError for the old AHA form."""
    if _is_aha(data):
        raise SourceError("is an annotation file of the AHA form", "byte 0")
    broken: list[tuple[str, int]] = []
    skipped: list[tuple[int, int]] = []
    found: list[Annotation] = []
    notes = _FileNotes()
    for start, end, item in _items(data, broken, skipped):
        if item.code == NOTE and item.time == 0 and notes.take(item.aux):
            continue
        if item.code == NOTE and item.time == 0 and item.aux.startswith(b"## "):
            broken.append(("wfdb.annotation-note", start))
        if 1 <= item.code <= LAST_CODE:
            found.append(item)
        else:
            broken.append(("wfdb.annotation-code", start))
            skipped.append((start, end - start))
    if any(after.time < before.time for before, after in pairwise(found)):
        broken.append(("wfdb.annotation-order", 0))
        found.sort(key=lambda item: item.time)
    return AnnotationFile(notes.resolution, notes.types, found, broken, skipped)


def is_annotation_file(data: bytes) -> bool:
    """Whether the bytes are an annotation file without any doubt: well formed, and every code has a meaning."""
    if len(data) < 2 or len(data) % 2 or data[-2:] != b"\0\0":
        return False
    try:
        file = parse_annotations(data)
    except SourceError:
        return False
    known = all(item.code not in _FREE or item.code in file.own_types for item in file.annotations)
    return known and not any(rule != "wfdb.annotation-note" for rule, _ in file.broken)


class _FileNotes:
    """Notes for the whole file: comments at sample 0 that begin with ``## ``."""

    def __init__(self) -> None:
        self.resolution: Fraction | None = None
        self.types: dict[int, str] = {}
        self.defining = False

    def take(self, aux: bytes) -> bool:
        """Whether the text is such a note (and not an ordinary comment)."""
        if aux.startswith(_RESOLUTION):
            rate = decimal(aux[len(_RESOLUTION) :].decode("latin-1").strip())
            self.resolution = rate if rate is not None and 0 < rate <= 10**9 else self.resolution
            return rate is not None and rate > 0
        if aux.startswith((_DEFINITIONS, _DEFINITIONS_END)):
            self.defining = aux.startswith(_DEFINITIONS)
            return True
        fields = aux.decode("latin-1").split(None, 2) if self.defining else []
        if len(fields) < 2 or not fields[0].isascii() or not fields[0].isdecimal() or len(fields[0]) > 2:
            return False
        self.types[int(fields[0])] = fields[2] if len(fields) > 2 else fields[1]
        return True


def _items(
    data: bytes, broken: list[tuple[str, int]], skipped: list[tuple[int, int]]
) -> Iterator[tuple[int, int, Annotation]]:
    """(first byte, byte behind the last, annotation) in the order of the file."""
    words = struct.unpack(f"<{len(data) // 2}H", data[: len(data) // 2 * 2])
    size, at = len(words), 0
    time = num = chan = 0
    begun: tuple[int, int, int] | None = None
    subtype, aux = 0, b""
    while at < size and words[at] != 0:
        word = words[at]
        code, value = word >> 10, word & 0x3FF
        if code <= _SKIP and begun is not None:
            yield 2 * begun[0], 2 * at, Annotation(begun[1], begun[2], subtype, chan, num, aux)
            begun, subtype, aux = None, 0, b""
        if code < _SKIP:
            time += value
            begun = (at, time, code) if code else None  # code 0 with an interval only moves on in time
            at += 1
        elif code == _SKIP:
            if at + 2 >= size:
                break
            high, low = words[at + 1], words[at + 2]
            time += (high << 16 | low) - (1 << 32 if high & 0x8000 else 0)
            at += 3
        elif code == _AUX:
            if 2 * at + 2 + value > len(data):
                break
            aux = data[2 * at + 2 : 2 * at + 2 + value].rstrip(b"\0")
            at += 1 + (value + 1) // 2
        else:
            signed = (value & 0xFF) - (256 if value & 0x80 else 0)
            if code == _NUM:
                num = signed
            elif code == _SUB:
                subtype = signed
            else:
                chan = value & 0xFF
            at += 1
    if begun is not None:
        yield 2 * begun[0], 2 * min(at, size), Annotation(begun[1], begun[2], subtype, chan, num, aux)
    if at >= size:
        broken.append(("wfdb.annotation-end", len(data)))
    elif words[at] != 0:
        broken.append(("wfdb.annotation-cut", 2 * at))
        skipped.append((2 * at, len(data) - 2 * at))
    elif len(data) > 2 * at + 2:
        broken.append(("wfdb.annotation-trailing", 2 * at + 2))
        skipped.append((2 * at + 2, len(data) - 2 * at - 2))


def _is_aha(data: bytes) -> bool:
    """Sixteen bytes each, the first of them 0 and the second a letter code, all through the file."""
    return (
        len(data) >= 32
        and len(data) % 16 == 0
        and not any(data[0::16])
        and all(byte in _AHA_CODES for byte in data[1::16])
    )


# Writing -----------------------------------------------------------------------------------------------------------


def encode_annotations(items: Sequence[Annotation], resolution: Fraction | None) -> bytes:
    """The file of annotations in the order of time, num and chan; ``resolution`` as in :class:`AnnotationFile`."""
    body = bytearray()
    last, num, chan = 0, 0, 0
    for item in (*_told(resolution), *sorted(items, key=lambda item: (item.time, item.num, item.chan))):
        words = _interval(item.code, item.time - last)
        if item.subtype:
            words.append(_SUB << 10 | (item.subtype & 0x3FF))
        if item.chan != chan:
            words.append(_CHN << 10 | (item.chan & 0xFF))
        if item.num != num:
            words.append(_NUM << 10 | (item.num & 0x3FF))
        aux = item.aux[:LONGEST_AUX]
        if aux:
            words.append(_AUX << 10 | len(aux))
        body += struct.pack(f"<{len(words)}H", *words) + aux + b"\0" * (len(aux) % 2)
        last, num, chan = item.time, item.num, item.chan
    return bytes(body + b"\0\0")


def _told(resolution: Fraction | None) -> list[Annotation]:
    """The note that tells the resolution, where it is not the frame rate."""
    if resolution is None:
        return []
    return [Annotation(0, NOTE, aux=_RESOLUTION + b" " + decimal_text(resolution).encode())]


def _interval(code: int, ticks: int) -> list[int]:
    """The word of an annotation, with SKIPs before it where the interval needs them."""
    words: list[int] = []
    while not 0 <= ticks <= _NEAR:
        step = max(-_FAR, min(_FAR, ticks))
        words += [_SKIP << 10, (step >> 16) & 0xFFFF, step & 0xFFFF]
        ticks -= step
    return [*words, code << 10 | ticks]
