"""SCP-ECG records that grow (layouts of EN 1064 5.2 to 5.9 and Annex C)."""

from __future__ import annotations

import binascii
import struct
from collections.abc import Mapping

from tests.formats.scp import plain
from tests.growing import Files, Grow

__all__ = ["SCP", "many_sections"]

_POINTERS = 12


def scp_record(bodies: Mapping[int, bytes]) -> bytes:
    """A record from the bodies of its sections, with checksums as a library for them computes them."""
    numbers = sorted({*range(1, _POINTERS), *bodies})
    length = 16 + 10 * (1 + len(numbers))
    entries, parts, place = [struct.pack("<HII", 0, length, 7)], [], 7 + length
    for number in numbers:
        if number not in bodies:
            entries.append(struct.pack("<HII", number, 0, 0))
            continue
        part = _section(number, bodies[number])
        entries.append(struct.pack("<HII", number, len(part), place))
        parts.append(part)
        place += len(part)
    whole = b"".join((_section(0, b"".join(entries), b"SCPECG"), *parts))
    return _summed(struct.pack("<I", 6 + len(whole)) + whole)


def _section(number: int, body: bytes, reserved: bytes = bytes(6)) -> bytes:
    body += bytes(len(body) % 2)
    return _summed(struct.pack("<HIBB", number, 16 + len(body), 20, 20) + reserved + body)


def _summed(rest: bytes) -> bytes:
    return struct.pack("<H", binascii.crc_hqx(rest, 0xFFFF)) + rest


def scp_tags(more: bytes = b"") -> bytes:
    """A section 1 of the fields that every record needs, and more."""
    return b"".join(plain.tag(*entry) for entry in plain.plain_tags()) + more + b"\xff\0\0"


def scp_leads(count: int, size: int, flags: int = 0) -> bytes:
    """A section 3: ``count`` leads of ``size`` samples each, all from sample 1 on."""
    codes = [*range(1, 9), *range(61, 65), *range(9, 61), *range(65, 185)]
    return bytes((count, 4 | min(count, 31) << 3 | flags)) + b"".join(
        struct.pack("<IIB", 1, size, codes[number % len(codes)]) for number in range(count)
    )


def scp_signal(blocks: list[bytes], order: int) -> bytes:
    """A section 5 or 6 of 1 uV and 2 ms, from the bytes of its leads."""
    lengths = struct.pack(f"<{len(blocks)}H", *map(len, blocks))
    return struct.pack("<HHBB", 1000, 2000, order, 0) + lengths + b"".join(blocks)


def _scp_signals(leads: int, size: int, block: bytes, order: int) -> Files:
    bodies = {1: scp_tags(), 2: b"\x1f\x4e", 3: scp_leads(leads, size), 6: scp_signal([block] * leads, order)}
    return {"x.scp": scp_record(bodies)}


def escapes(leads: int) -> Files:
    """Leads of 20,000 samples, each an escape of 26 bits: ten ones and sixteen bits of value."""
    bits = "".join("1" * 10 + format(n * 40503 & 0xFFFF, "016b") for n in range(20_000))
    return _scp_signals(leads, 20_000, int(bits, 2).to_bytes(len(bits) // 8), 0)


def short_codes(leads: int) -> Files:
    """Leads of 65,528 samples, each a code of one bit."""
    return _scp_signals(leads, 8_191 * 8, bytes(8_191), 2)


def _own_tables(leads: int) -> Files:
    """A table switch before every sample."""
    first = [plain.Code("0", table=2), plain.Code("1", value=1)]
    second = [plain.Code("1", table=1), plain.Code("0", value=2)]
    body = struct.pack("<H", 2) + b"".join(
        struct.pack("<H", 2)
        + b"".join(
            struct.pack("<BBBhI", 1, 1, int(code.table is None), code.table or code.value, int(code.prefix))
            for code in table
        )
        for table in (first, second)
    )
    size = 4 * 5_000  # switch, 2, switch, 1: bits 0 0 1 1
    blocks = [bytes([0b00110011]) * (size // 4)] * leads
    bodies = {1: scp_tags(), 2: body, 3: scp_leads(leads, size), 6: scp_signal(blocks, 0)}
    return {"x.scp": scp_record(bodies)}


def many_sections(count: int) -> bytes:
    """So many empty sections of makers, all with wrong checksums."""
    base = plain.encode(plain.Record([(1, 1, [0, 3, 9, 40]), (2, 1, [1, 2, 3, 4])]))
    first = 6 + 16 + 120 + 10 * count
    entries = b"".join(struct.pack("<HII", 128 + n % 60000, 16, first + 1 + 16 * n) for n in range(count))
    sections = b"".join(struct.pack("<HHIBB6s", 0, 128 + n % 60000, 16, 20, 20, bytes(6)) for n in range(count))
    pointers = bytearray(base[22:142] + entries)
    struct.pack_into("<I", pointers, 2, 16 + len(pointers))
    return base[:10] + struct.pack("<I", 16 + len(pointers)) + base[14:22] + bytes(pointers) + sections


def _fields(number: int, value: bytes) -> Grow:
    def grow(count: int) -> Files:
        tags = scp_tags(plain.tag(number, value) * count)
        signal = scp_signal([bytes(8)] * 2, 0)
        return {"x.scp": scp_record({1: tags, 3: scp_leads(2, 4), 6: signal})}

    return grow


def _zones(count: int) -> Files:
    """Reference beats of 10 samples on so many leads, put in place again and again."""
    zones = struct.pack("<HHH", 20, 5, count)
    zones += b"".join(struct.pack("<HIII", 0, *(1 + 12 * n + k for k in (0, 4, 9))) for n in range(count))
    size = 12 * count
    bodies = {1: scp_tags(), 2: b"\x1f\x4e", 3: scp_leads(2, size, flags=1), 4: zones}
    bodies[5] = scp_signal([bytes(2)] * 2, 1)
    bodies[6] = scp_signal([bytes(-(-size // 8))] * 2, 1)
    return {"x.scp": scp_record(bodies)}


def _lines(line: str) -> Grow:
    """Free texts (tag 30) of this project's own lines; ``{}`` in a line is its number."""

    def grow(count: int) -> Files:
        parts = []
        for first in range(0, count, 800):
            lines = [line.format(number) for number in range(first, min(first + 800, count))]
            parts.append(plain.tag(30, "\n".join(("[interchange 1]", *lines)).encode() + b"\0"))
        signal = scp_signal([bytes(8)] * 2, 0)
        return {"x.scp": scp_record({1: scp_tags(b"".join(parts)), 3: scp_leads(2, 4), 6: signal})}

    return grow


SCP: dict[str, Grow] = {
    "leads of 20,000 escapes": escapes,
    "leads of 65,528 codes of one bit": short_codes,
    "leads of 20,000 table switches": _own_tables,
    "empty sections": lambda n: {"x.scp": many_sections(n)},
    "empty fields": _fields(30, b""),
    "unknown fields": _fields(250, b""),
    "remarks": _fields(30, b"x\0"),
    "zones": _zones,
    "lines of text": _lines("measurements[{0}]: concept=pr-interval; value={0}; unit=ms"),
    "lines that are not understood": _lines("no line {}"),
    "lines about values not said": _lines("scp.not-said: V{} r-amplitude"),
    "lines about further files": _lines("scp.part: 1 x{}.scp 1 0123456789abcdef"),
}
