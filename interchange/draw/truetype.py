"""A TrueType font: which glyph a character has, how wide it is, its outline, and a font of only the glyphs in use.

Source: ISO/IEC 14496-22 (Open Font Format), tables head, maxp, hhea, hmtx, cmap, loca, glyf.
"""

from __future__ import annotations

import struct
from bisect import bisect_right
from collections.abc import Iterable

__all__ = ["Contour", "TrueType", "checksum"]

Contour = list[tuple[float, float, bool]]
"""Points of a closed outline in font units, y upwards: (x, y, on the curve)."""

MOST_DEPTH = 6
"""Glyphs made of glyphs made of glyphs: deeper than this is a broken font."""
ARGS_ARE_WORDS, ARGS_ARE_XY, SCALE, MORE, XY_SCALE, TWO_BY_TWO = 0x1, 0x2, 0x8, 0x20, 0x40, 0x80


class TrueType:
    """A font with outlines in a ``glyf`` table.  Raises ValueError for data that is none."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        try:
            self.tables = _directory(data)
            self.units, self._long_offsets = self._head()
            self.count = struct.unpack_from(">H", data, self.tables["maxp"][0] + 4)[0]
            self._metrics = struct.unpack_from(">H", data, self.tables["hhea"][0] + 34)[0]
            self.ascent, self.descent = struct.unpack_from(">hh", data, self.tables["hhea"][0] + 4)
            self._offsets = self._locations()
            self._starts, self._segments = self._characters()
        except (struct.error, KeyError, IndexError) as error:
            raise ValueError("no TrueType font") from error
        if not self._metrics or not self.units:
            raise ValueError("no TrueType font")
        self.box = struct.unpack_from(">4h", data, self.tables["head"][0] + 36)

    def table(self, tag: str) -> bytes:
        """The bytes of a table, empty where there is none."""
        start, size = self.tables.get(tag, (0, 0))
        return self.data[start : start + size]

    def _head(self) -> tuple[int, bool]:
        start = self.tables["head"][0]
        units = struct.unpack_from(">H", self.data, start + 18)[0]
        return units, bool(struct.unpack_from(">h", self.data, start + 50)[0])

    def _locations(self) -> tuple[int, ...]:
        form = f">{self.count + 1}{'I' if self._long_offsets else 'H'}"
        found = struct.unpack_from(form, self.data, self.tables["loca"][0])
        return found if self._long_offsets else tuple(2 * offset for offset in found)

    def _characters(self) -> tuple[list[int], list[tuple[int, int, int, int]]]:
        """Segments (first, last, delta, place of glyph ids or 0) of the best Unicode table, sorted."""
        start = self.tables["cmap"][0]
        best: tuple[int, int] = (0, 0)
        for number in range(struct.unpack_from(">H", self.data, start + 2)[0]):
            platform, _, offset = struct.unpack_from(">HHI", self.data, start + 4 + 8 * number)
            kind = struct.unpack_from(">H", self.data, start + offset)[0]
            if platform in (0, 3) and kind in (4, 12):
                best = max(best, (kind, start + offset))
        segments = {4: self._format4, 12: self._format12}[best[0]](best[1])
        segments.sort()
        return [segment[0] for segment in segments], segments

    def _format12(self, at: int) -> list[tuple[int, int, int, int]]:
        count = struct.unpack_from(">I", self.data, at + 12)[0]
        groups = struct.unpack_from(f">{3 * count}I", self.data, at + 16)
        return [(a, b, glyph - a, 0) for a, b, glyph in zip(groups[::3], groups[1::3], groups[2::3], strict=True)]

    def _format4(self, at: int) -> list[tuple[int, int, int, int]]:
        count = struct.unpack_from(">H", self.data, at + 6)[0] // 2
        ends = struct.unpack_from(f">{count}H", self.data, at + 14)
        starts = struct.unpack_from(f">{count}H", self.data, at + 16 + 2 * count)
        deltas = struct.unpack_from(f">{count}H", self.data, at + 16 + 4 * count)
        offsets = struct.unpack_from(f">{count}H", self.data, at + 16 + 6 * count)
        where = at + 16 + 6 * count
        return [
            (a, b, delta, where + 2 * n + offset if offset else 0)
            for n, (a, b, delta, offset) in enumerate(zip(starts, ends, deltas, offsets, strict=True))
        ]

    def glyph(self, character: str) -> int:
        """The glyph of a character, 0 where the font has none."""
        code = ord(character)
        place = bisect_right(self._starts, code) - 1
        if place < 0:
            return 0
        first, last, delta, ids = self._segments[place]
        if code > last:
            return 0
        if not ids:
            found = (code + delta) & 0xFFFF
        else:
            found = struct.unpack_from(">H", self.data, ids + 2 * (code - first))[0]
            found = (found + delta) & 0xFFFF if found else 0
        return found if found < self.count else 0

    def advance(self, glyph: int) -> int:
        """Width of a glyph in font units."""
        place = min(glyph, self._metrics - 1)
        return int(struct.unpack_from(">H", self.data, self.tables["hmtx"][0] + 4 * place)[0])

    def bearing(self, glyph: int) -> int:
        """Left side bearing in font units."""
        start = self.tables["hmtx"][0]
        if glyph < self._metrics:
            return int(struct.unpack_from(">h", self.data, start + 4 * glyph + 2)[0])
        return int(struct.unpack_from(">h", self.data, start + 4 * self._metrics + 2 * (glyph - self._metrics))[0])

    def shape(self, glyph: int) -> bytes:
        """The glyph's own record in the table ``glyf``, empty for a blank."""
        start = self.tables["glyf"][0]
        return self.data[start + self._offsets[glyph] : start + self._offsets[glyph + 1]]

    def components(self, glyph: int) -> list[tuple[int, int, tuple[float, float, float, float, float, float]]]:
        """What a compound glyph is made of: (glyph, place of its number in the record, a b c d x y)."""
        record = self.shape(glyph)
        if len(record) < 10 or struct.unpack_from(">h", record)[0] >= 0:
            return []
        found = []
        at, flags = 10, MORE
        while flags & MORE:
            flags, part = struct.unpack_from(">HH", record, at)
            place, at = at + 2, at + 4
            x, y = struct.unpack_from(">hh" if flags & ARGS_ARE_WORDS else ">bb", record, at)
            at += 4 if flags & ARGS_ARE_WORDS else 2
            if not flags & ARGS_ARE_XY:
                x = y = 0
            size = 1 if flags & SCALE else 2 if flags & XY_SCALE else 4 if flags & TWO_BY_TWO else 0
            f = [value / 16384 for value in struct.unpack_from(f">{size}h", record, at)]
            at += 2 * size
            found.append((part, place, (*_matrix(f), float(x), float(y))))
        return found

    def closure(self, glyphs: Iterable[int]) -> list[int]:
        """These glyphs and all that they are made of, sorted, glyph 0 first."""
        waiting, found = [0, *glyphs], set()
        while waiting:
            glyph = waiting.pop()
            if glyph not in found and glyph < self.count:
                found.add(glyph)
                waiting += [part for part, _, _ in self.components(glyph)]
        return sorted(found)

    def outline(self, glyph: int, depth: int = 0) -> list[Contour]:
        """The closed outlines of a glyph."""
        record = self.shape(glyph)
        if len(record) < 10 or depth > MOST_DEPTH:
            return []
        count = struct.unpack_from(">h", record)[0]
        if count >= 0:
            return _simple(record, count)
        contours = []
        for part, _, (a, b, c, d, x, y) in self.components(glyph):
            for contour in self.outline(part, depth + 1) if part < self.count else []:
                contours.append([(a * px + c * py + x, b * px + d * py + y, on) for px, py, on in contour])
        return contours


def _matrix(factors: list[float]) -> tuple[float, float, float, float]:
    if not factors:
        return 1.0, 0.0, 0.0, 1.0
    if len(factors) == 1:
        return factors[0], 0.0, 0.0, factors[0]
    if len(factors) == 2:
        return factors[0], 0.0, 0.0, factors[1]
    return factors[0], factors[1], factors[2], factors[3]


def _directory(data: bytes) -> dict[str, tuple[int, int]]:
    """Place and size of every table that lies inside the data."""
    version, count = struct.unpack_from(">4sH", data)
    if version not in (b"\0\1\0\0", b"true"):
        raise ValueError("no TrueType font")
    found = {}
    for number in range(count):
        tag, _, start, size = struct.unpack_from(">4sIII", data, 12 + 16 * number)
        if start + size <= len(data):
            found[tag.decode("latin-1")] = (start, size)
    return found


def _simple(record: bytes, count: int) -> list[Contour]:
    """The outlines of a glyph that is drawn itself."""
    ends = struct.unpack_from(f">{count}H", record, 10)
    total = ends[-1] + 1 if ends else 0
    at = 10 + 2 * count
    at += 2 + struct.unpack_from(">H", record, at)[0]
    flags: list[int] = []
    while len(flags) < total:
        flag = record[at]
        at += 1
        times = 1
        if flag & 8:
            times += record[at]
            at += 1
        flags += [flag] * times
    xs, at = _coordinates(record, at, flags[:total], 2, 16)
    ys, _ = _coordinates(record, at, flags[:total], 4, 32)
    points = [(float(x), float(y), bool(flag & 1)) for x, y, flag in zip(xs, ys, flags, strict=False)]
    starts = [0, *(end + 1 for end in ends)]
    return [points[begin : end + 1] for begin, end in zip(starts, ends, strict=False)]


def _coordinates(record: bytes, at: int, flags: list[int], short: int, same: int) -> tuple[list[int], int]:
    value, found = 0, []
    for flag in flags:
        if flag & short:
            value += record[at] if flag & same else -record[at]
            at += 1
        elif not flag & same:
            value += struct.unpack_from(">h", record, at)[0]
            at += 2
        found.append(value)
    return found, at


def checksum(data: bytes) -> int:
    """The checksum of a table: the sum of its 32-bit words."""
    padded = data + b"\0" * (-len(data) % 4)
    words: tuple[int, ...] = struct.unpack(f">{len(padded) // 4}I", padded)
    return sum(words) & 0xFFFFFFFF
