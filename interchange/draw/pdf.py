"""The display list as PDF: lines in whole hundredths of a millimetre, real text in an embedded font, no dates.

Written by hand because a general plotting library spends most of its time on preparing fonts.  Source: ISO 32000-1
(PDF 1.7): file structure 7.5, content streams 7.8, paths 8.5, composite fonts 9.7, viewer preferences 12.2.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange._version import __version__
from interchange.draw.display import UNITS, Item, Page, Sheet, Stroke, Text
from interchange.draw.subset import subset
from interchange.draw.truetype import TrueType
from interchange.draw.typeface import Glyph, Typeface
from interchange.printable import printable

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["pdf_document"]

POINTS = 72 / (25.4 * UNITS)
"""Points per unit of the display list."""
LEVEL = 4
"""Effort of compression: more takes long and gains little."""
TABLE = 1 << 15


def pdf_document(sheet: Sheet, typeface: Typeface) -> bytes:
    """All pages as one file."""
    fonts = _Fonts(typeface)
    contents = [_content(page, fonts) for page in sheet.pages]
    parts = _Objects()
    catalog, pages, info = parts.reserve(), parts.reserve(), parts.reserve()
    names = "".join(f"/F{number} {place} 0 R" for number, place in fonts.write(parts).items())
    resources = parts.add(f"<</Font<<{names}>>>>".encode())
    kids = []
    for page, content in zip(sheet.pages, contents, strict=True):
        stream = parts.add_stream(content)
        kids.append(
            parts.add(
                f"<</Type/Page/Parent {pages} 0 R/MediaBox[0 0 {_points(page.width)} {_points(page.height)}]"
                f"/Resources {resources} 0 R/Contents {stream} 0 R>>".encode()
            )
        )
    tree = " ".join(f"{kid} 0 R" for kid in kids)
    parts.put(pages, f"<</Type/Pages/Kids[{tree}]/Count {len(kids)}>>".encode())
    shown = "/ViewerPreferences<</PrintScaling/None/DisplayDocTitle true>>"
    parts.put(catalog, f"<</Type/Catalog/Pages {pages} 0 R/Lang(en){shown}>>".encode())
    title, maker = _string(sheet.title), _string(f"interchange {__version__}")
    subject = _string(sheet.description)
    parts.put(info, b"<</Title" + title + b"/Subject" + subject + b"/Creator" + maker + b"/Producer" + maker + b">>")
    return parts.file(catalog, info)


def _points(units: int) -> str:
    return f"{units * POINTS:.3f}"


def _string(text: str) -> bytes:
    """A text string in UTF-16 (7.9.2.2)."""
    return b"<FEFF" + printable(text).encode("utf-16-be", "replace").hex().encode() + b">"


class _Objects:
    """The numbered objects of a file."""

    def __init__(self) -> None:
        self.bodies: list[bytes] = []

    def reserve(self) -> int:
        """A number for an object that is put in later."""
        self.bodies.append(b"")
        return len(self.bodies)

    def put(self, number: int, body: bytes) -> None:
        """The object of a reserved number."""
        self.bodies[number - 1] = body

    def add(self, body: bytes) -> int:
        """A new object's number."""
        self.bodies.append(body)
        return len(self.bodies)

    def add_stream(self, data: bytes, entries: str = "") -> int:
        """A new compressed stream's number."""
        packed = zlib.compress(data, LEVEL)
        head = f"<</Filter/FlateDecode/Length {len(packed)}{entries}>>stream\n".encode()
        return self.add(head + packed + b"\nendstream")

    def file(self, catalog: int, info: int) -> bytes:
        """The whole file with its table of places."""
        out = bytearray(b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n")
        places = []
        for number, body in enumerate(self.bodies, 1):
            places.append(len(out))
            out += b"%d 0 obj\n" % number + body + b"\nendobj\n"
        identity = hashlib.sha256(out).hexdigest()[:32].encode()
        start = len(out)
        out += b"xref\n0 %d\n0000000000 65535 f \n" % (len(places) + 1)
        out += b"".join(b"%010d 00000 n \n" % place for place in places)
        out += b"trailer\n<</Size %d/Root %d 0 R/Info %d 0 R" % (len(places) + 1, catalog, info)
        out += b"/ID[<" + identity + b"><" + identity + b">]>>\nstartxref\n%d\n%%%%EOF\n" % start
        return bytes(out)


def _content(page: Page, fonts: _Fonts) -> bytes:
    """The operators of one page; the first turns the page's units and direction into ours."""
    scale = f"{POINTS:.9f}"
    out = [f"{scale} 0 0 -{scale} 0 {_points(page.height)} cm 1 J 1 j\n".encode()]
    out += [_operators(item, fonts) for item in page.items]
    return b"".join(out)


def _operators(item: Item, fonts: _Fonts) -> bytes:
    if isinstance(item, Stroke):
        lines = b"".join(_line(path) for path in item.paths)
        return f"{_colour(item.colour)} RG {item.width} w\n".encode() + lines + b"S\n"
    return fonts.text(item)


def _colour(colour: str) -> str:
    return " ".join(f"{int(colour[place : place + 2], 16) / 255:.3g}" for place in (1, 3, 5))


def _line(path: NDArray[Any]) -> bytes:
    """Move to the first point, lines to all others; a single point becomes a dot."""
    if len(path) == 1:
        path = np.concatenate((path, path))
    if len(path) < 16 or int(path.min()) < 0 or int(path.max()) >= TABLE:
        rows = [f"{x} {y} " for x, y in path.tolist()]
        return (rows[0] + "m\n" + "".join(f"{row}l\n" for row in rows[1:])).encode()
    first, following = _numerals()
    records = np.empty((len(path) - 1, 2), dtype=first.dtype)
    records[:, 0] = first[path[1:, 0]]
    records[:, 1] = following[path[1:, 1]]
    start = f"{path[0, 0]} {path[0, 1]} m\n".encode()
    return start + records.tobytes().translate(None, b"\0")


@cache
def _numerals() -> tuple[NDArray[Any], NDArray[Any]]:
    """Every coordinate as text of eight bytes: as x ("123 ") and as y with the operator ("123 l" and a line end)."""
    numbers = np.arange(TABLE)
    digits = np.zeros((2, TABLE, 8), dtype=np.uint8)
    for place in range(5):
        power = 10 ** (4 - place)
        shown = (numbers >= power) | (place == 4)
        digits[:, :, place] = np.where(shown, numbers // power % 10 + 48, 0)
    digits[:, :, 5] = 32
    digits[1, :, 6:] = (108, 10)
    table = digits.reshape(2, -1).view("S8").reshape(2, TABLE)
    return table[0], table[1]


class _Fonts:
    """The fonts of a document: only what was used goes into the file."""

    def __init__(self, typeface: Typeface) -> None:
        self.typeface = typeface
        self.used: dict[int, dict[int, str]] = {}

    def text(self, item: Text) -> bytes:
        """The operators that show a text, one show per font."""
        run = self.typeface.run(item.text, item.bold)
        x = float(item.x)
        if item.anchor != "start":
            wide = sum(glyph.advance for glyph in run) * item.size
            x -= wide if item.anchor == "end" else wide / 2
        out = [f"BT {_colour(item.colour)} rg"]
        begin = 0
        for place in range(1, len(run) + 1):
            if place == len(run) or run[place].font != run[begin].font:
                part = run[begin:place]
                out.append(f"/F{part[0].font} {item.size} Tf 1 0 0 -1 {x:.2f} {item.y} Tm <{self._codes(part)}> Tj")
                x += sum(glyph.advance for glyph in part) * item.size
                begin = place
        return (" ".join(out) + " ET\n").encode()

    def _codes(self, run: Sequence[Glyph]) -> str:
        """Glyphs as codes, which are the glyphs' numbers in the whole font."""
        used = self.used.setdefault(run[0].font, {})
        for glyph in run:
            used.setdefault(glyph.glyph, glyph.text)
        return "".join(f"{glyph.glyph:04x}" for glyph in run)

    def write(self, parts: _Objects) -> dict[int, int]:
        """Put the fonts into the file: number of the font -> object."""
        fonts = self.typeface.fonts
        return {number: _font(parts, fonts[number], used, number) for number, used in sorted(self.used.items())}


def _font(parts: _Objects, font: TrueType, used: dict[int, str], number: int) -> int:
    """A composite font whose codes are the glyph numbers of the whole font, and whose file holds the used ones."""
    order = font.closure(used)
    numbers = {glyph: place for place, glyph in enumerate(order)}
    file = subset(font, numbers)
    name = f"{_tag(file)}+{('DejaVuSans', 'DejaVuSans-Bold')[number] if number < 2 else f'Further{number - 1}'}"

    def scaled(value: int) -> int:
        return round(value * 1000 / font.units)

    box = " ".join(str(scaled(value)) for value in font.box)
    stream = parts.add_stream(file, f"/Length1 {len(file)}")
    descriptor = parts.add(
        f"<</Type/FontDescriptor/FontName/{name}/Flags 4/FontBBox[{box}]/ItalicAngle 0/Ascent {scaled(font.ascent)}"
        f"/Descent {scaled(font.descent)}/CapHeight {scaled(font.ascent)}/StemV 80/FontFile2 {stream} 0 R>>".encode()
    )
    glyph_map = bytearray(2 * (max(order) + 1))
    for glyph, place in numbers.items():
        glyph_map[2 * glyph : 2 * glyph + 2] = place.to_bytes(2, "big")
    to_glyph = parts.add_stream(bytes(glyph_map))
    widths = " ".join(f"{glyph}[{font.advance(glyph) * 1000 / font.units:.6g}]" for glyph in order)
    descendant = parts.add(
        f"<</Type/Font/Subtype/CIDFontType2/BaseFont/{name}/CIDSystemInfo<</Registry(Adobe)/Ordering(Identity)"
        f"/Supplement 0>>/FontDescriptor {descriptor} 0 R/CIDToGIDMap {to_glyph} 0 R/W[{widths}]>>".encode()
    )
    unicode = parts.add_stream(_to_unicode(used))
    return parts.add(
        f"<</Type/Font/Subtype/Type0/BaseFont/{name}/Encoding/Identity-H/DescendantFonts[{descendant} 0 R]"
        f"/ToUnicode {unicode} 0 R>>".encode()
    )


def _tag(file: bytes) -> str:
    """Six capitals that name the subset (9.6.4), made from its content."""
    number = int.from_bytes(hashlib.sha256(file).digest()[:8], "big")
    return "".join(chr(65 + number // 26**place % 26) for place in range(6))


def _to_unicode(used: dict[int, str]) -> bytes:
    """What each code stands for, so that text can be found and copied (9.10.3)."""
    lines = [f"<{glyph:04x}><{text.encode('utf-16-be', 'replace').hex()}>" for glyph, text in sorted(used.items())]
    parts = [lines[begin : begin + 100] for begin in range(0, len(lines), 100)]
    body = "\n".join(f"{len(part)} beginbfchar\n" + "\n".join(part) + "\nendbfchar" for part in parts)
    return (
        "/CIDInit/ProcSet findresource begin 12 dict begin begincmap/CMapName/Uses def/CMapType 2 def\n"
        "1 begincodespacerange<0000><ffff>endcodespacerange\n"
        f"{body}\nendcmap CMapName currentdict/CMap defineresource pop end end\n"
    ).encode()
