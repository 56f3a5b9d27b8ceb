"""The identification of a device: value of tags 14 and 15 (EN 1064 clause 5.4.5)."""

from __future__ import annotations

import struct
from typing import Final

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.text import encode, read_text
from interchange.records import dataclass

__all__ = ["MANUFACTURER_IN_WORDS", "Device", "build_device", "language_of", "parse_device"]

_FIXED: Final = struct.Struct("<HHHBB6sBBBBB16s")
_LANGUAGE: Final = 16
_LONGEST: Final = 8192
"""Most bytes of one string: five of them have to fit into a field."""
MANUFACTURER_IN_WORDS: Final = 255
"""Manufacturer code that says: the name stands in the last string."""


@dataclass(frozen=True, slots=True)
class Device:
    """One device as stored.

    ``strings``: version of the analysing program, serial number, system software, software of this format,
    manufacturer; shorter where the field ends early.  ``kind``: 0 cart, 1 system or host.  ``mains``: 0 not said,
    1 50 Hz, 2 60 Hz.  ``capabilities``: bits 4 print, 5 interpret, 6 store, 7 acquire.
    """

    institution: int = 0
    department: int = 0
    number: int = 0
    kind: int = 0
    manufacturer: int = MANUFACTURER_IN_WORDS
    model: str = ""
    protocol: int = 20
    compatibility: int = 0xD0
    language: int = 0
    capabilities: int = 0
    mains: int = 0
    strings: tuple[str, ...] = ()


def language_of(value: bytes) -> int | None:
    """The language code of a device field, None where the field is too short to have one."""
    return value[_LANGUAGE] if len(value) > _LANGUAGE else None


def parse_device(value: bytes, offset: int, language: int, log: Log) -> Device:
    """The device in ``value``, which lies at ``offset``; what is not there is taken as not said."""
    if len(value) < _FIXED.size:
        log.add("device-short", at(offset, 1), f"{len(value)} bytes")
        value = value.ljust(_FIXED.size, b"\0")
    institution, department, number, kind, maker, model, protocol, level, own, can, mains, spare = _FIXED.unpack_from(
        value
    )
    if any(spare):
        log.add("reserved", at(offset + 19, 1))
    if mains > 2:
        log.add("code-range", at(offset + 18, 1), f"mains {mains}")
    name, broken = read_text(model.rstrip(b"\0") + b"\0", language)
    for rule in broken:
        log.add(rule, at(offset + 8, 1))
    strings = _strings(value, offset, language, log)
    return Device(institution, department, number, kind, maker, name, protocol, level, own, can, mains, strings)


def _strings(value: bytes, offset: int, language: int, log: Log) -> tuple[str, ...]:
    """The strings behind the fixed part.

    Where the length in byte 36 and the position of the NUL differ the NUL decides, unless only the length leaves as
    many strings behind as there have to be.
    """
    if len(value) <= _FIXED.size:
        return ()
    stated = value[_FIXED.size]
    rest = value[_FIXED.size + 1 :]
    parts = rest.split(b"\0")
    first = len(parts[0])
    if len(parts) < 6 or any(parts[5:]) or first + 1 != stated:
        log.add(
            "device-strings", at(offset + _FIXED.size, 1), f"{len(parts) - 1} strings, first {first} of {stated} bytes"
        )
        behind = rest[stated:].split(b"\0")
        if any(parts[5:]) and len(behind) == 5 and not behind[4]:
            parts = [parts[0], *behind]
    texts = []
    for part in parts[:5] if len(parts) > 5 else [*parts[:-1], *filter(None, parts[-1:])]:
        text, broken = read_text(part + b"\0", language)
        for rule in broken:
            log.add(rule, at(offset + _FIXED.size + 1, 1))
        texts.append(text)
    return tuple(texts)


def build_device(device: Device, language: int | None = None) -> bytes:
    """The value of tag 14 or 15: at most five characters of the model, five strings; ``language`` of all text."""
    language = device.language if language is None else language
    model = _first_bytes(device.model, 5, language)
    fixed = _FIXED.pack(
        device.institution,
        device.department,
        device.number,
        device.kind,
        device.manufacturer,
        model,
        device.protocol,
        device.compatibility,
        language,
        device.capabilities,
        device.mains,
        bytes(16),
    )
    program, *more = (*device.strings, *[""] * 5)[:5]
    first = _first_bytes(program, 254, language) + b"\0"
    others = [encode(text, language, _LONGEST) for text in more]
    return fixed + bytes([len(first)]) + first + b"".join(others)


def _first_bytes(text: str, most: int, language: int) -> bytes:
    """As many whole characters of the text as fit into ``most`` bytes, without NUL."""
    raw = encode(text, language)[:-1]
    while len(raw) > most:
        text = text[: most if len(text) > most else -1]
        raw = encode(text, language)[:-1]
    return raw
