"""Section 1, header information: patient and acquisition (EN 1064 clause 5.4)."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import field
from typing import Final, TypeVar

from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.device import Device, language_of, parse_device
from interchange.formats.scp.syntax.frame import Section
from interchange.formats.scp.syntax.tags import MANDATORY, Tag, tag_of
from interchange.formats.scp.syntax.values import (
    ZONE_NOT_USED,
    Clock,
    Date,
    Drug,
    Electrodes,
    History,
    Number,
    Quantity,
    Text,
    Value,
    Zone,
)
from interchange.formats.scp.text import is_known, read_text
from interchange.records import dataclass

__all__ = ["END", "Field", "Header", "build_fields", "parse_header"]

END: Final = 255
_PREFIX: Final = 3
_Kind = TypeVar("_Kind")


@dataclass(frozen=True, slots=True)
class Field:
    """One field: its tag, the offset of the tag in the file, its bytes, and what they mean.

    ``value`` is None for a tag that is not defined, a length of 0 and bytes that cannot be understood.
    """

    tag: int
    offset: int
    raw: bytes = field(repr=False)
    value: Value | None

    @property
    def size(self) -> int:
        """Bytes with tag and length."""
        return _PREFIX + len(self.raw)


@dataclass(frozen=True, slots=True)
class Header:
    """All fields in the order of the file, and the language code of the record's text."""

    fields: tuple[Field, ...]
    language: int = 0

    def first(self, tag: int, kind: type[_Kind]) -> _Kind | None:
        """The value of the first field with that tag that has one."""
        return next((f.value for f in self.fields if f.tag == tag and isinstance(f.value, kind)), None)

    def every(self, tag: int, kind: type[_Kind]) -> tuple[_Kind, ...]:
        """The values of all fields with that tag."""
        return tuple(f.value for f in self.fields if f.tag == tag and isinstance(f.value, kind))

    def text(self, tag: int) -> str | None:
        """The text of the tag's first field that has one; None where there is none."""
        return next((found.text for found in self.every(tag, Text) if found.text), None)


def parse_header(section: Section, log: Log) -> Header:
    """All fields of section 1."""
    raw = _split(section, log)
    language = _language(raw, log)
    fields = tuple(Field(tag, offset, value, _value(tag, offset, value, language, log)) for tag, offset, value in raw)
    _check_presence(section, fields, log)
    _check_dates(fields, log)
    return Header(fields, language)


def _split(section: Section, log: Log) -> list[tuple[int, int, bytes]]:
    """Tag, offset and bytes of each field."""
    body = section.body
    fields: list[tuple[int, int, bytes]] = []
    place = 0
    while place + _PREFIX <= len(body):
        tag, length = struct.unpack_from("<BH", body, place)
        if tag == END:
            _check_end(section, place, length, log)
            return fields
        if tag == 0 and not body[place:].strip(b"\0"):
            break
        if place + _PREFIX + length > len(body):
            log.add("field-overrun", section.place(place), f"tag {tag}, {length} bytes")
            break
        fields.append((tag, section.start + place, body[place + _PREFIX : place + _PREFIX + length]))
        place += _PREFIX + length
    log.add("tag-end-missing", section.place(place))
    return fields


def _check_end(section: Section, place: int, length: int, log: Log) -> None:
    if length:
        log.add("tag-end-length", section.place(place), f"{length} bytes")
    rest = section.body[place + _PREFIX :]
    if len(rest) > 1 or rest.strip(b"\0"):
        log.add("tag-after-end", section.place(place + _PREFIX), f"{len(rest)} bytes")


def _language(raw: list[tuple[int, int, bytes]], log: Log) -> int:
    """The language code of the acquiring device, else of the analysing one, else ASCII."""
    for wanted in (14, 15):
        for tag, offset, value in raw:
            code = language_of(value) if tag == wanted else None
            if code is not None:
                if not is_known(code):
                    log.add("language-unknown", at(offset + _PREFIX + 16, 1), f"code 0x{code:02X}")
                return code
    return 0


def _value(tag: int, offset: int, raw: bytes, language: int, log: Log) -> Value | None:
    row = tag_of(tag)
    if row is None:
        log.add("tag-unknown", at(offset, 1), f"tag {tag}, {len(raw)} bytes")
        return None
    if not raw:
        return None
    if row.length is not None and len(raw) != row.length:
        name = "date-length" if tag in (25, 26) else "tag-length"
        log.add(name, at(offset, 1), f"tag {tag}, {len(raw)} bytes, not {row.length}")
        if len(raw) < row.length:
            return None
    return _READ[row.kind](row, offset + _PREFIX, raw, language, log)


def _text(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> Text:
    text, broken = read_text(raw, language)
    for name in broken:
        log.add(name, at(offset, 1), f"tag {row.number}")
    return Text(text)


def _number(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> Number:
    value = int.from_bytes(raw[: row.length], "little")
    _check_code(row, value, offset, log)
    return Number(value)


def _quantity(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> Quantity:
    value, unit = struct.unpack_from("<HB", raw)
    _check_code(row, unit, offset + 2, log)
    return Quantity(value, unit)


def _check_code(row: Tag, code: int, offset: int, log: Log) -> None:
    if row.codes is not None and code not in row.codes:
        log.add("code-range", at(offset, 1), f"tag {row.number}, code {code}")


def _date(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> Date:
    date = Date.parse(raw)
    if date.is_given and not date.is_possible:
        log.add("date-impossible", at(offset, 1), f"tag {row.number}")
    return date


def _time(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> Clock:
    clock = Clock.parse(raw)
    if not clock.is_possible:
        log.add("date-impossible", at(offset, 1), f"tag {row.number}")
    return clock


def _drug(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> Drug | None:
    if len(raw) < 3:
        log.add("tag-length", at(offset, 1), f"tag {row.number}, {len(raw)} bytes")
        return None
    text = _text(row, offset + 3, raw[3:], language, log).text if len(raw) > 3 else ""
    return Drug(raw[0], raw[1], raw[2], text)


def _history(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> History:
    return History(raw[0], tuple(raw[1:]))


def _electrodes(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> Electrodes:
    return Electrodes(raw[0], raw[1])


def _zone(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> Zone | None:
    if len(raw) < 2:
        log.add("tag-length", at(offset, 1), f"tag {row.number}, {len(raw)} bytes")
        return None
    if len(raw) < 4:
        log.add("tag-length", at(offset, 1), f"tag {row.number}, {len(raw)} bytes")
    minutes, index = struct.unpack("<hH", raw[:4].ljust(4, b"\0"))
    text = _text(row, offset + 4, raw[4:], language, log).text if len(raw) > 4 else ""
    if minutes != ZONE_NOT_USED and not -1440 < minutes < 1440:
        log.add("code-range", at(offset, 1), f"tag {row.number}, {minutes} minutes")
        return Zone(None, index, text)
    return Zone(None if minutes == ZONE_NOT_USED else minutes, index, text)


def _device(row: Tag, offset: int, raw: bytes, language: int, log: Log) -> Device:
    return parse_device(raw, offset, language, log)


_READ: Final[dict[str, Callable[[Tag, int, bytes, int, Log], Value | None]]] = {
    "text": _text,
    "byte": _number,
    "word": _number,
    "quantity": _quantity,
    "date": _date,
    "time": _time,
    "drug": _drug,
    "history": _history,
    "electrodes": _electrodes,
    "zone": _zone,
    "device": _device,
}


def _check_presence(section: Section, fields: tuple[Field, ...], log: Log) -> None:
    tags = {f.tag for f in fields}
    missing = [tag for tag in MANDATORY if tag not in tags]
    if missing:
        log.add("tag-missing", section.place(), "tags " + ", ".join(map(str, missing)))
    met: set[int] = set()
    for entry in fields:
        row = tag_of(entry.tag)
        if entry.tag in met and row is not None and not row.repeats:
            log.add("tag-repeated", at(entry.offset, 1), f"tag {entry.tag}")
        met.add(entry.tag)


def _check_dates(fields: tuple[Field, ...], log: Log) -> None:
    dates = {f.tag: (f.value, f.offset) for f in reversed(fields) if isinstance(f.value, Date)}
    taken, offset = dates.get(25, (None, 0))
    if taken is None or not taken.is_given:
        if any(f.tag == 25 for f in fields):
            log.add("date-missing", at(offset, 1))
        return
    born, _ = dates.get(5, (None, 0))
    if born is None or not (born.is_possible and taken.is_possible):
        return
    if (born.year, born.month, born.day) > (taken.year, taken.month, taken.day):
        log.add("birth-after", at(offset, 1))


def build_fields(fields: list[tuple[int, bytes]]) -> bytes:
    """The body of section 1 from tags and values, with the closing tag."""
    parts = [struct.pack("<BH", tag, len(value)) + value for tag, value in fields]
    return b"".join(parts) + bytes((END, 0, 0))
