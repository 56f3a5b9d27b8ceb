"""A plain codec for SCP-ECG records: bit by bit, sample by sample, sharing no code with the package.

It exists to be obviously right, not fast.  The encoder also makes what the package never writes: own tables, table
switches, subtracted reference beats, bimodal data.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from fractions import Fraction

__all__ = ["DEFAULT_CODES", "Code", "Record", "crc", "decode", "decode_bits", "encode", "encode_bits", "section", "tag"]


# Checksum ----------------------------------------------------------------------------------------------------------


def crc(data: bytes) -> int:
    """x^16 + x^12 + x^5 + 1, register of ones at the start, most significant bit first."""
    register = 0xFFFF
    for byte in data:
        for bit in range(7, -1, -1):
            top = register >> 15 & 1
            register = register << 1 & 0xFFFF
            if top ^ (byte >> bit & 1):
                register ^= 0x1021
    return register


# Codes -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Code:
    """Prefix as a string of bits, number of bits that follow, the value, or the number of the next table."""

    prefix: str
    extra: int = 0
    value: int = 0
    table: int | None = None


def _default() -> list[Code]:
    codes = [Code("0", value=0)]
    for size in range(1, 9):
        codes.append(Code("1" * size + "00", value=size))
        codes.append(Code("1" * size + "01", value=-size))
    codes.append(Code("1111111110", extra=8))
    codes.append(Code("1111111111", extra=16))
    return codes


DEFAULT_CODES = _default()


def encode_bits(values: list[int], tables: list[list[Code]], switches: list[int] | None = None) -> str:
    """The bits of the values; ``switches`` says for each value the table (from 0) that it shall be coded in."""
    bits = ""
    current = 0
    for place, value in enumerate(values):
        wanted = switches[place] if switches else 0
        if wanted != current:
            bits += next(code.prefix for code in tables[current] if code.table == wanted + 1)
            current = wanted
        bits += _one(value, tables[current])
    return bits


def _one(value: int, table: list[Code]) -> str:
    best = None
    for code in table:
        if code.table is not None:
            continue
        if code.extra == 0 and code.value == value:
            bits = code.prefix
        elif code.extra and -(1 << code.extra - 1) <= value < 1 << code.extra - 1:
            bits = code.prefix + format(value & (1 << code.extra) - 1, f"0{code.extra}b")
        else:
            continue
        if best is None or len(bits) < len(best):
            best = bits
    if best is None:
        raise ValueError("no code for the value")
    return best


def _tree(table: list[Code]) -> dict:
    """The codes as a tree of dictionaries with "0" and "1"; the leaves are the codes."""
    root: dict = {}
    for code in table:
        node = root
        for bit in code.prefix[:-1]:
            node = node.setdefault(bit, {})
        node[code.prefix[-1]] = code
    return root


def decode_bits(data: bytes, count: int, tables: list[list[Code]]) -> tuple[list[int], int]:
    """``count`` values and the number of bits that they took; EOFError where the bits are not there."""
    bits = "".join(f"{byte:08b}" for byte in data)
    size = len(bits)
    trees = [_tree(table) for table in tables]
    tree = trees[0]
    values: list[int] = []
    place = 0
    while len(values) < count:
        node = tree
        while type(node) is dict:
            if place == size:
                raise EOFError
            node = node.get(bits[place])
            place += 1
        if node is None:
            raise ValueError("no code")
        if node.table is not None:
            tree = trees[node.table - 1]
        elif node.extra:
            end = place + node.extra
            if end > size:
                raise EOFError
            number = int(bits[place:end], 2)
            values.append(number - (1 << node.extra) if bits[place] == "1" else number)
            place = end
        else:
            values.append(node.value)
    return values, place


# Differences -------------------------------------------------------------------------------------------------------


def differ(samples: list[int], order: int) -> list[int]:
    if order == 0:
        return list(samples)
    if order == 1:
        return [x - samples[n - 1] if n else x for n, x in enumerate(samples)]
    return [x - 2 * samples[n - 1] + samples[n - 2] if n > 1 else x for n, x in enumerate(samples)]


def integrate(stored: list[int], order: int) -> list[int]:
    samples: list[int] = []
    for n, d in enumerate(stored):
        if order == 0 or n == 0 or (order == 2 and n == 1):
            samples.append(d)
        elif order == 1:
            samples.append(samples[n - 1] + d)
        else:
            samples.append(d + 2 * samples[n - 1] - samples[n - 2])
    return samples


# Records -----------------------------------------------------------------------------------------------------------


@dataclass
class Record:
    """What a record holds, as plain lists.

    ``leads``: (lead code, first sample, samples at full rate).  ``zones``: (type, SB, FC, SE).  ``areas``: (QB, QE).
    ``beats``: samples of the reference beat per lead.  ``factor``: decimation factor, 1 = not bimodal.
    """

    leads: list[tuple[int, int, list[int]]]
    step: int = 1000
    interval: int = 2000
    order: int = 0
    tables: list[list[Code]] | None = None
    switches: list[int] | None = None
    is_default: bool = True
    zones: list[tuple[int, int, int, int]] = field(default_factory=list)
    areas: list[tuple[int, int]] = field(default_factory=list)
    beats: list[list[int]] = field(default_factory=list)
    beat_step: int = 1000
    beat_order: int = 0
    fiducial: int = 1
    subtracted: bool = False
    factor: int = 1
    rounds_up: bool = True
    protocol: int = 20
    sections: dict[int, bytes] = field(default_factory=dict)
    tags: list[tuple[int, bytes]] | None = None


def tag(number: int, value: bytes) -> bytes:
    return struct.pack("<BH", number, len(value)) + value


STRINGS = (b"1.0", b"S-17", b"", b"", b"Quillmere")


def device(language: int = 0, strings: tuple[bytes, ...] = STRINGS, protocol: int = 20) -> bytes:
    fixed = struct.pack("<HHHBB", 0, 0, 7, 0, 255) + b"FT12\0\0"
    fixed += bytes((protocol, 0xD0, language, 0x80, 1)) + bytes(16)
    first, *others = strings
    return fixed + bytes((len(first) + 1,)) + first + b"\0" + b"".join(s + b"\0" for s in others)


def plain_tags(language: int = 0, protocol: int = 20) -> list[tuple[int, bytes]]:
    return [
        (2, b"PL-1\0"),
        (14, device(language, protocol=protocol)),
        (25, struct.pack("<HBB", 2024, 3, 18)),
        (26, bytes((6, 42, 10))),
    ]


def section(number: int, body: bytes, protocol: int = 20, reserved: bytes = bytes(6)) -> bytes:
    body += bytes(len(body) % 2)
    rest = struct.pack("<HIBB", number, 16 + len(body), protocol, protocol) + reserved + body
    return struct.pack("<H", crc(rest)) + rest


def stored_values(samples: list[int], first: int, record: Record) -> list[int]:
    """The samples of one lead as bimodal data store them: means outside the protected areas."""
    protected = set()
    for begin, end in record.areas:
        protected.update(range(begin, end + 1))
    found = []
    n = 0
    while n < len(samples):
        if first + n in protected:
            found.append(samples[n])
            n += 1
            continue
        group = []
        while n < len(samples) and len(group) < record.factor and first + n not in protected:
            group.append(samples[n])
            n += 1
        if len(group) == record.factor or record.rounds_up:
            found.append(round(Fraction(sum(group), len(group))))
    return found


def encode(record: Record) -> bytes:
    """The bytes of the record.

    The samples of the leads are what shall be stored at full rate: with subtraction the residual, in steps of
    ``step``.
    """
    bodies: dict[int, bytes] = {}
    tags = plain_tags(protocol=record.protocol) if record.tags is None else record.tags
    bodies[1] = b"".join(tag(number, value) for number, value in tags) + b"\xff\0\0"
    tables = record.tables
    if tables is not None:
        bodies[2] = struct.pack("<H", 19999) if record.is_default else _table_section(tables)
    spans = {(first, len(samples)) for _, first, samples in record.leads}
    starts = [first for _, first, _ in record.leads]
    together = max(map(starts.count, starts)) if starts else 0
    flags = int(record.subtracted) | (4 if len(spans) == 1 else 0) | min(together, 31) << 3
    bodies[3] = bytes((len(record.leads), flags)) + b"".join(
        struct.pack("<IIB", first, first + len(samples) - 1, code) for code, first, samples in record.leads
    )
    if record.zones or record.beats:
        length = len(record.beats[0]) * record.interval // 1000 if record.beats else 0
        bodies[4] = struct.pack("<HHH", length, record.fiducial, len(record.zones))
        bodies[4] += b"".join(struct.pack("<HIII", *zone) for zone in record.zones)
        bodies[4] += b"".join(struct.pack("<II", *area) for area in record.areas)
    if record.beats:
        bodies[5] = _signal(record.beats, record.beat_step, record.interval, record.beat_order, 0, record)
    rows = [samples for _, _, samples in record.leads]
    if record.factor > 1:
        rows = [stored_values(samples, first, record) for _, first, samples in record.leads]
    interval = record.interval * record.factor
    bodies[6] = _signal(rows, record.step, interval, record.order, int(record.factor > 1), record)
    bodies.update(record.sections)
    return assemble(bodies, record.protocol)


def assemble(bodies: dict[int, bytes], protocol: int = 20) -> bytes:
    numbers = sorted({*range(1, 12), *bodies})
    length = 16 + 10 * (1 + len(numbers))
    pointers = struct.pack("<HII", 0, length, 7)
    parts = b""
    for number in numbers:
        if number not in bodies:
            pointers += struct.pack("<HII", number, 0, 0)
            continue
        part = section(number, bodies[number], protocol)
        pointers += struct.pack("<HII", number, len(part), 7 + length + len(parts))
        parts += part
    whole = section(0, pointers, protocol, b"SCPECG") + parts
    rest = struct.pack("<I", 6 + len(whole)) + whole
    return struct.pack("<H", crc(rest)) + rest


def _table_section(tables: list[list[Code]]) -> bytes:
    body = struct.pack("<H", len(tables))
    for table in tables:
        body += struct.pack("<H", len(table))
        for code in table:
            base = int(code.prefix[::-1], 2)
            size = len(code.prefix)
            if code.table is not None:
                body += struct.pack("<BBBhI", size, size, 0, code.table, base)
            else:
                body += struct.pack("<BBBhI", size, size + code.extra, 1, code.value, base)
    return body


def _signal(rows: list[list[int]], step: int, interval: int, order: int, bimodal: int, record: Record) -> bytes:
    blocks = []
    for row in rows:
        stored = differ(row, order)
        if record.tables is None:
            blocks.append(struct.pack(f"<{len(stored)}h", *stored))
        else:
            bits = encode_bits(stored, record.tables, record.switches)
            bits += "0" * (-len(bits) % 8)
            blocks.append(bytes(int(bits[n : n + 8], 2) for n in range(0, len(bits), 8)))
    body = struct.pack("<HHBB", step, interval, order, bimodal)
    body += struct.pack(f"<{len(blocks)}H", *map(len, blocks))
    return body + b"".join(blocks)


# Decoding ----------------------------------------------------------------------------------------------------------


@dataclass
class Decoded:
    """Samples per lead in nanovolts, microseconds between them, and the reference beat in nanovolts."""

    leads: list[tuple[int, int, list[int]]]
    interval: int
    beats: list[list[int]]


def sections_of(data: bytes, *, checksums: bool = True) -> dict[int, bytes]:
    """Bodies by number, found through the pointers; every checksum has to be right, unless that takes too long."""
    stored, size = struct.unpack_from("<HI", data)
    assert size == len(data)
    assert not checksums or stored == crc(data[2:])
    length = struct.unpack_from("<I", data, 10)[0]
    found = {}
    for place in range(22, 6 + length, 10):
        number, part, index = struct.unpack_from("<HII", data, place)
        if part:
            whole = data[index - 1 : index - 1 + part]
            assert not checksums or struct.unpack_from("<H", whole)[0] == crc(whole[2:])
            assert struct.unpack_from("<H", whole, 2)[0] == number
            found[number] = whole[16:]
    return found


def tables_of(body: bytes) -> list[list[Code]]:
    count = struct.unpack_from("<H", body)[0]
    if count == 19999:
        return [DEFAULT_CODES]
    tables = []
    place = 2
    for _ in range(count):
        size = struct.unpack_from("<H", body, place)[0]
        place += 2
        table = []
        for _ in range(size):
            p, t, mode, value, base = struct.unpack_from("<BBBhI", body, place)
            prefix = "".join("1" if base >> bit & 1 else "0" for bit in range(p))
            table.append(Code(prefix, table=value) if mode == 0 else Code(prefix, t - p, value))
            place += 9
        tables.append(table)
    return tables


def _blocks(body: bytes, count: int) -> list[bytes]:
    lengths = struct.unpack_from(f"<{count}H", body, 6)
    place = 6 + 2 * count
    found = []
    for length in lengths:
        found.append(body[place : place + length])
        place += length
    return found


def _values(block: bytes, count: int, tables: list[list[Code]] | None, order: int) -> list[int]:
    if tables is None:
        assert len(block) == 2 * count
        return integrate(list(struct.unpack(f"<{count}h", block)), order)
    values, used = decode_bits(block, count, tables)
    rest = 8 * len(block) - used
    assert 0 <= rest < 8
    assert block[-1] & (1 << rest) - 1 == 0
    return integrate(values, order)


def decode(data: bytes) -> Decoded:
    """The samples of a sound record, step by step; :func:`sections_of` looks at the checksums."""
    bodies = sections_of(data, checksums=False)
    count, flags = bodies[3][0], bodies[3][1]
    leads = [struct.unpack_from("<IIB", bodies[3], 2 + 9 * n) for n in range(count)]
    tables = tables_of(bodies[2]) if 2 in bodies else None
    step, interval, order, bimodal = struct.unpack_from("<HHBB", bodies[6])
    zones, areas, length, fiducial = [], [], 0, 0
    if 4 in bodies:
        length, fiducial, size = struct.unpack_from("<HHH", bodies[4])
        zones = [struct.unpack_from("<HIII", bodies[4], 6 + 14 * n) for n in range(size)]
        areas = [struct.unpack_from("<II", bodies[4], 6 + 14 * size + 8 * n) for n in range(size)]
    beats: list[list[int]] = []
    full = interval
    if 5 in bodies:
        beat_step, full, beat_order, _ = struct.unpack_from("<HHBB", bodies[5])
        size = length * 1000 // full
        beats = [[x * beat_step for x in _values(b, size, tables, beat_order)] for b in _blocks(bodies[5], count)]
    found = []
    for number, (first, last, code) in enumerate(leads):
        block = _blocks(bodies[6], count)[number]
        if bimodal:
            parts = _parts(first, last, areas)
            factor = interval // full
            stored = sum(size if kept else -(-size // factor) for kept, size in parts)
            values = [step * x for x in _values(block, stored, tables, order)]
            samples = _expanded(values, parts, factor, step)
        else:
            samples = [step * x for x in _values(block, last - first + 1, tables, order)]
        if flags & 1:
            for kind, begin, centre, end in zones:
                for n in range(begin, end + 1):
                    index = n - centre + fiducial
                    if kind == 0 and first <= n <= last and 1 <= index <= len(beats[number]):
                        samples[n - first] += beats[number][index - 1]
        found.append((code, first, samples))
    return Decoded(found, full if bimodal else interval, beats)


def _parts(first: int, last: int, areas: list[tuple[int, int]]) -> list[tuple[bool, int]]:
    """Stretches of a lead: whether at full rate, and how many samples."""
    kept = [any(begin <= n <= end for begin, end in areas) for n in range(first, last + 1)]
    parts: list[tuple[bool, int]] = []
    for flag in kept:
        if parts and parts[-1][0] == flag:
            parts[-1] = (flag, parts[-1][1] + 1)
        else:
            parts.append((flag, 1))
    return parts


def _expanded(values: list[int], parts: list[tuple[bool, int]], factor: int, step: int) -> list[int]:
    """Straight lines between the centres of groups, ends held, each in whole steps, halves rounded up."""
    samples: list[int] = []
    place = 0
    for kept, size in parts:
        if kept:
            samples += values[place : place + size]
            place += size
            continue
        centres: list[tuple[Fraction, int]] = []
        for begin in range(0, size, factor):
            group = min(factor, size - begin)
            centres.append((Fraction(2 * begin + group - 1, 2), values[place]))
            place += 1
        for n in range(size):
            before = [c for c in centres if c[0] <= n]
            after = [c for c in centres if c[0] >= n]
            if not before or not after:
                exact = Fraction((after or before)[0 if after else -1][1])
            elif before[-1][0] == after[0][0]:
                exact = Fraction(before[-1][1])
            else:
                (x0, y0), (x1, y1) = before[-1], after[0]
                exact = y0 + (n - x0) * (y1 - y0) / (x1 - x0)
            samples.append(step * ((2 * exact / step + 1) // 2))
    return samples
