"""A TrueType font of only the glyphs that a document uses, numbered anew from 0 on."""

from __future__ import annotations

import struct
from collections.abc import Mapping

from interchange.draw.truetype import TrueType, checksum

__all__ = ["subset"]

KEPT = ("cvt ", "fpgm", "prep")
"""Tables of the hinting programs, taken over as they are."""
MAGIC = 0xB1B0AFBA


def subset(font: TrueType, numbers: Mapping[int, int]) -> bytes:
    """The font with the glyphs of ``numbers`` (old number -> new one, 0 -> 0, none left out, parts included)."""
    order = sorted(numbers, key=numbers.__getitem__)
    records = [_record(font, glyph, numbers) for glyph in order]
    offsets, at = [0], 0
    for record in records:
        at += len(record)
        offsets.append(at)
    head = bytearray(font.table("head"))
    struct.pack_into(">I", head, 8, 0)
    struct.pack_into(">h", head, 50, 1)
    hhea, maxp = bytearray(font.table("hhea")), bytearray(font.table("maxp"))
    struct.pack_into(">H", hhea, 34, len(order))
    struct.pack_into(">H", maxp, 4, len(order))
    tables = {
        **{tag: font.table(tag) for tag in KEPT if font.table(tag)},
        "glyf": b"".join(records),
        "head": bytes(head),
        "hhea": bytes(hhea),
        "hmtx": b"".join(struct.pack(">Hh", font.advance(glyph), font.bearing(glyph)) for glyph in order),
        "loca": struct.pack(f">{len(offsets)}I", *offsets),
        "maxp": bytes(maxp),
    }
    return _file(tables)


def _record(font: TrueType, glyph: int, numbers: Mapping[int, int]) -> bytes:
    """A glyph's record with the numbers of its parts changed, padded to whole words."""
    record = bytearray(font.shape(glyph))
    for part, place, _ in font.components(glyph):
        struct.pack_into(">H", record, place, numbers.get(part, 0))
    return bytes(record) + b"\0" * (-len(record) % 4)


def _file(tables: Mapping[str, bytes]) -> bytes:
    """The tables behind their directory, with all checksums."""
    tags = sorted(tables)
    power = 1 << (len(tags).bit_length() - 1)
    start = 12 + 16 * len(tags)
    entries, body = b"", b""
    for tag in tags:
        data = tables[tag]
        entries += struct.pack(">4sIII", tag.encode("latin-1"), checksum(data), start + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    shift = 16 * (len(tags) - power)
    font = struct.pack(">4sHHHH", b"\0\1\0\0", len(tags), 16 * power, power.bit_length() - 1, shift) + entries + body
    place = start + sum(-(-len(tables[tag]) // 4) * 4 for tag in tags if tag < "head") + 8
    whole = bytearray(font)
    struct.pack_into(">I", whole, place, (MAGIC - checksum(font)) & 0xFFFFFFFF)
    return bytes(whole)
