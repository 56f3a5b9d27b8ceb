"""Section 2, Huffman tables (EN 1064 clause 5.5; default table: Annex C)."""

from __future__ import annotations

import struct
from typing import Final

from interchange.formats.scp.log import Log
from interchange.formats.scp.syntax.frame import Section
from interchange.records import dataclass

__all__ = ["DEFAULT", "DEFAULT_MARK", "MOST_TABLES", "Code", "Table", "Tables", "build_tables", "parse_tables"]

DEFAULT_MARK: Final = 19999
"""Number of tables that stands for the default table."""
LONGEST_PREFIX: Final = 32
MOST_EXTRA: Final = 32
"""Most bits behind a prefix that are read: samples have 16."""
MOST_TABLES: Final = 256
"""Most tables that are followed; a record needs one, or two."""
_CODE: Final = struct.Struct("<BBBhI")


@dataclass(frozen=True, slots=True)
class Code:
    """One code structure.

    ``prefix``: the bits in the order of transmission, the first one most significant; ``length``: how many they are;
    ``extra``: bits of an original value that follow.  ``value``: the sample, or the number of the next table (from 1)
    where ``switches``.
    """

    length: int
    extra: int
    switches: bool
    value: int
    prefix: int


@dataclass(frozen=True, slots=True)
class Table:
    """One code table."""

    codes: tuple[Code, ...]


@dataclass(frozen=True, slots=True)
class Tables:
    """The tables of a record.  ``usable`` is False where a stream could not be decoded without doubt."""

    tables: tuple[Table, ...]
    is_default: bool = False
    usable: bool = True


def _default() -> Table:
    """0 is one bit; 1 to 8 are as many ones, a zero and a sign; two escapes of ten bits hold 8 and 16 bits."""
    codes = [Code(1, 0, False, 0, 0)]
    for size in range(1, 9):
        ones = (1 << size) - 1
        codes += [Code(size + 2, 0, False, sign * size, ones << 2 | (sign < 0)) for sign in (1, -1)]
    codes += [Code(10, 8, False, 0, 0b1111111110), Code(10, 16, False, 0, 0b1111111111)]
    return Table(tuple(codes))


DEFAULT: Final = _default()


def parse_tables(section: Section, log: Log) -> Tables:
    """The tables of section 2."""
    body = section.body
    if len(body) < 2:
        log.add("table-size", section.place(), f"{len(body)} bytes")
        return Tables((), usable=False)
    count = struct.unpack_from("<H", body)[0]
    if count == DEFAULT_MARK:
        _check_spare(section, 2, log)
        return Tables((DEFAULT,), is_default=True)
    return _own_tables(section, count, log)


def _own_tables(section: Section, count: int, log: Log) -> Tables:
    body = section.body
    place = 2
    tables: list[Table] = []
    usable = 0 < count <= MOST_TABLES
    for _ in range(min(count, MOST_TABLES)):
        size = struct.unpack_from("<H", body, place)[0] if place + 2 <= len(body) else 0
        place += 2
        if not size or place + size * _CODE.size > len(body):
            usable = False
            break
        codes = [_code(section, place + i * _CODE.size, log) for i in range(size)]
        usable = usable and None not in codes
        tables.append(Table(tuple(code for code in codes if code is not None)))
        usable = _check_prefixes(section, place, tables[-1], log) and usable
        place += size * _CODE.size
    if len(tables) < count or not count:
        log.add("table-size", section.place(min(place, len(body))), f"{len(tables)} of {count} tables")
    else:
        _check_spare(section, place, log)
        _check_targets(section, tables, log)
    return Tables(tuple(tables), usable=usable and len(tables) == count)


def _code(section: Section, place: int, log: Log) -> Code | None:
    length, total, mode, value, base = _CODE.unpack_from(section.body, place)
    extra = total - length
    if not 1 <= length <= LONGEST_PREFIX or not 0 <= extra <= MOST_EXTRA or mode > 1:
        log.add("table-code", section.place(place), f"prefix {length}, total {total}, switch {mode}")
        return None
    if base >> length:
        log.add("table-bits", section.place(place + 5))
    if mode == 1 and extra and value:
        log.add("table-base", section.place(place + 3), f"base value {value}")
    prefix = int(f"{base & ((1 << length) - 1):0{length}b}"[::-1], 2)
    return Code(length, extra if mode else 0, mode == 0, value, prefix)


def _check_prefixes(section: Section, place: int, table: Table, log: Log) -> bool:
    """Whether no code begins another; says also where bit strings are left without meaning."""
    spans = sorted(
        (code.prefix << (LONGEST_PREFIX - code.length), 1 << (LONGEST_PREFIX - code.length)) for code in table.codes
    )
    end = 0
    for start, width in spans:
        if start < end:
            log.add("table-ambiguous", section.place(place))
            return False
        end = start + width
    if sum(width for _, width in spans) != 1 << LONGEST_PREFIX:
        log.add("table-incomplete", section.place(place))
    return True


def _check_targets(section: Section, tables: list[Table], log: Log) -> None:
    for table in tables:
        for code in table.codes:
            if code.switches and not 1 <= code.value <= len(tables):
                log.add("table-target", section.place(), f"table {code.value} of {len(tables)}")


def _check_spare(section: Section, used: int, log: Log) -> None:
    rest = section.body[used:]
    if len(rest) > 1 or rest.strip(b"\0"):
        log.add("table-spare", section.place(used), f"{len(rest)} bytes")


def build_tables() -> bytes:
    """The body of section 2 for the default table."""
    return struct.pack("<H", DEFAULT_MARK)
