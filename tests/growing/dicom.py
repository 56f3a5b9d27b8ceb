"""DICOM files that grow (PS3.5 7.1, 7.5 and 7.8, PS3.3 C.7.6.14, C.10.9 and C.10.10)."""

from __future__ import annotations

import struct
from functools import cache

from tests.formats.dicom.support import counts, ecg, group, saved
from tests.growing import Files, Grow

__all__ = ["DICOM", "element", "file_of", "item"]

LONG = (b"SQ", b"UN", b"OB", b"OW", b"UT")


def element(group: int, number: int, vr: bytes, value: bytes) -> bytes:
    """One element in Explicit VR Little Endian, by hand (PS3.5 7.1.2)."""
    if vr in LONG:
        return struct.pack("<HH2sHI", group, number, vr, 0, len(value)) + value
    return struct.pack("<HH2sH", group, number, vr, len(value)) + value


def file_of(body: bytes, syntax: bytes = b"1.2.840.10008.1.2.1\0") -> bytes:
    """Preamble, prefix and file meta information in front of a data set, by hand (PS3.10 7.1)."""
    meta = element(2, 0x10, b"UI", syntax)
    return b"\0" * 128 + b"DICM" + element(2, 0, b"UL", struct.pack("<I", len(meta))) + meta + body


def item(content: bytes = b"") -> bytes:
    """An item of a sequence (PS3.5 7.5)."""
    return struct.pack("<HHI", 0xFFFE, 0xE000, len(content)) + content


@cache
def _around() -> tuple[bytes, bytes]:
    """A sound object, cut in two in front of its waveform sequence."""
    whole = saved(ecg(group(counts(2, 8))))
    at = whole.index(b"\x00\x54\x00\x01SQ")
    return whole[:at], whole[at:]


def within(more: bytes) -> Files:
    """A sound object with these elements in it, which have tags between the acquisition context and the waveforms."""
    before, behind = _around()
    return {"x.dcm": before + more + behind}


def _private(vr: bytes, value: bytes) -> Grow:
    """So many private elements with a creator each 256 (PS3.5 7.8.1), in groups from 0045 on."""

    def grow(count: int) -> Files:
        parts = []
        for number in range(count):
            at, place = 0x45 + 2 * (number >> 8), number & 0xFF
            if not place:
                parts.append(element(at, 0x10, b"LO", b"TEST"))
            parts.append(element(at, 0x1000 | place, vr, value))
        return within(b"".join(parts))

    return grow


def _sequence(tag: tuple[int, int], content: bytes) -> Grow:
    return lambda count: within(element(*tag, b"SQ", item(content) * count))


def nested(depth: int) -> bytes:
    """A private sequence with so many inside one another, the lengths given."""
    value = b""
    for _ in range(depth):
        value = element(0x45, 0x1000, b"SQ", item(value))
    return value


def _open_sequences(count: int) -> Files:
    """Sequences and items of undefined length, each in the one before, that never end."""
    begin = struct.pack("<HH2sHI", 0x45, 0x1000, b"SQ", 0, 0xFFFFFFFF) + struct.pack("<HHI", 0xFFFE, 0xE000, 0xFFFFFFFF)
    return within(begin * count)


def _channels(count: int) -> Files:
    """Annotations that refer to many channels each."""
    pairs = struct.pack("<HH", 1, 1) * 1000
    return within(element(0x40, 0xB020, b"SQ", item(element(0x40, 0xA0B0, b"US", pairs)) * count))


def _plain(count: int) -> Files:
    """Elements in one group, without creator, in no sound object."""
    return {"x.dcm": file_of(b"".join(element(0x11, number & 0xFFFF, b"LO", b"") for number in range(count)))}


ANNOTATION = element(0x40, 0xA0B0, b"US", struct.pack("<HH", 1, 0)) + element(0x70, 6, b"ST", b"x ")
LOST = element(0x40, 0xA0B0, b"US", struct.pack("<HH", 9, 9)) + element(0x70, 6, b"ST", b"x ")
CREATOR = element(0x45, 0x10, b"LO", b"TEST")

DICOM: dict[str, Grow] = {
    "elements of no object": _plain,
    "private elements": _private(b"LO", b"x "),
    "empty private sequences": _private(b"SQ", b""),
    "private sequences with an empty item": _private(b"SQ", item()),
    "empty private items": lambda n: within(CREATOR + element(0x45, 0x1000, b"SQ", item() * n)),
    "empty annotations": _sequence((0x40, 0xB020), b""),
    "annotations": _sequence((0x40, 0xB020), ANNOTATION),
    "annotations of no channel": _sequence((0x40, 0xB020), LOST),
    "annotations of a thousand channels": _channels,
    "sequences 30 deep": lambda n: within(CREATOR + element(0x45, 0x1000, b"SQ", item(nested(29)) * n)),
    "sequences without end": _open_sequences,
    "levels of sequences": lambda n: within(CREATOR + nested(n)),
}
