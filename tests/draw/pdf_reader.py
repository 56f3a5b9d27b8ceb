"""A reader of plain PDF files that shares no code with the writer: pages, lines in millimetres, texts by their glyphs.

It knows what it needs (ISO 32000-1: indirect objects, Flate streams, path and text operators, composite fonts) and
follows the table of places, so a wrong table is found.
"""

from __future__ import annotations

import re
import zlib
from dataclasses import dataclass, field

import numpy as np

POINT = 25.4 / 72
TOKEN = re.compile(rb"<[0-9a-fA-F]*>|/[^\s/<>\[\]()]+|[^\s<>\[\]()/]+|[\[\]]")


@dataclass
class Stroke:
    width: float
    colour: tuple[float, ...]
    points: np.ndarray  # millimetres from the upper left corner


@dataclass
class Words:
    x: float
    y: float
    size: float
    text: str
    width: float
    font: str


@dataclass
class Sheet:
    width: float
    height: float
    strokes: list[Stroke] = field(default_factory=list)
    texts: list[Words] = field(default_factory=list)

    def of(self, width: float, colour: tuple[float, ...] | None = None) -> list[Stroke]:
        return [s for s in self.strokes if abs(s.width - width) < 0.001 and (colour is None or s.colour == colour)]


class File:
    def __init__(self, data: bytes) -> None:
        self.data = data
        assert data.startswith(b"%PDF-1.")
        start = int(re.findall(rb"startxref\s+(\d+)\s+%%EOF\s*$", data)[0])
        table = data[start:]
        count = int(re.match(rb"xref\s+0 (\d+)\s", table)[1])
        rows = re.findall(rb"(\d{10}) (\d{5}) ([fn])", table)
        assert len(rows) == count
        self.objects: dict[int, bytes] = {}
        for number, (place, _, kind) in enumerate(rows):
            if kind == b"n":
                body = data[int(place) :]
                head = re.match(rb"(\d+) 0 obj\s", body)
                assert int(head[1]) == number
                self.objects[number] = body[head.end() : body.index(b"endobj")]
        self.trailer = table[table.index(b"trailer") :]

    def reference(self, source: bytes, key: str) -> int:
        return int(re.search(rb"/%s[\s\[]*(\d+) 0 R" % key.encode(), source)[1])

    def stream(self, number: int) -> bytes:
        body = self.objects[number]
        head, _, rest = body.partition(b"stream\n")
        length = int(re.search(rb"/Length (\d+)", head)[1])
        data = rest[:length]
        return zlib.decompress(data) if b"FlateDecode" in head else data

    def pages(self) -> list[Sheet]:
        catalog = self.objects[self.reference(self.trailer, "Root")]
        tree = self.objects[self.reference(catalog, "Pages")]
        kids = re.findall(rb"(\d+) 0 R", re.search(rb"/Kids\[(.*?)\]", tree)[1])
        assert int(re.search(rb"/Count (\d+)", tree)[1]) == len(kids)
        return [self._page(self.objects[int(kid)]) for kid in kids]

    def _page(self, page: bytes) -> Sheet:
        box = [float(v) for v in re.search(rb"/MediaBox\[([^\]]*)\]", page)[1].split()]
        sheet = Sheet(box[2] * POINT, box[3] * POINT)
        resources = self.objects[self.reference(page, "Resources")]
        fonts = {
            name.decode(): Font(self, int(number)) for name, number in re.findall(rb"/(F\d+) (\d+) 0 R", resources)
        }
        self._run(self.stream(self.reference(page, "Contents")), sheet, fonts, box[3])
        return sheet

    def _run(self, content: bytes, sheet: Sheet, fonts: dict[str, Font], high: float) -> None:
        stack: list[bytes] = []
        matrix = np.eye(3)
        paths: list[list[tuple[float, float]]] = []
        width, stroke, font, size, text = 1.0, (0.0,), None, 0.0, np.eye(3)
        for token in TOKEN.findall(content):
            if token == b"cm":
                matrix = _matrix(stack) @ matrix
            elif token == b"w":
                width = float(stack[-1])
            elif token == b"RG":
                stroke = tuple(float(v) for v in stack[-3:])
            elif token == b"m":
                paths.append([(float(stack[-2]), float(stack[-1]))])
            elif token == b"l":
                paths[-1].append((float(stack[-2]), float(stack[-1])))
            elif token == b"S":
                for path in paths:
                    sheet.strokes.append(Stroke(width * abs(matrix[0, 0]) * POINT, stroke, _placed(path, matrix, high)))
                paths = []
            elif token == b"Tf":
                font, size = fonts[stack[-2].decode()[1:]], float(stack[-1])
            elif token == b"Tm":
                text = _matrix(stack)
            elif token == b"Tj":
                assert font is not None
                ((x, y),) = _placed([(0.0, 0.0)], text @ matrix, high)
                words, wide = font.read(stack[-1])
                unit = abs((text @ matrix)[0, 0]) * size * POINT
                sheet.texts.append(Words(x, y, unit, words, wide * unit, font.name))
            elif re.fullmatch(rb"-?\d*\.?\d+|<.*>|/.*", token):
                stack.append(token)
                continue
            stack = []


class Font:
    """A composite font: code -> text and width."""

    def __init__(self, file: File, number: int) -> None:
        self.file = file
        body = file.objects[number]
        self.name = re.search(rb"/BaseFont/([^/\s]+)", body)[1].decode()
        below = file.objects[file.reference(body, "DescendantFonts")]
        cmap = file.stream(file.reference(body, "ToUnicode"))
        self.text = {
            int(code, 16): bytes.fromhex(value.decode()).decode("utf-16-be")
            for code, value in re.findall(rb"<([0-9a-f]{4})><([0-9a-f]+)>(?!endcode)", cmap)
        }
        self.widths = {
            int(code): float(wide) for code, wide in re.findall(rb"(\d+)\[([\d.]+)\]", below[below.index(b"/W[") :])
        }
        descriptor = file.objects[file.reference(below, "FontDescriptor")]
        self.program = file.stream(file.reference(descriptor, "FontFile2"))
        self.glyphs = file.stream(file.reference(below, "CIDToGIDMap"))

    def read(self, shown: bytes) -> tuple[str, float]:
        codes = [int(shown[n : n + 4], 16) for n in range(1, len(shown) - 1, 4)]
        return "".join(self.text[code] for code in codes), sum(self.widths[code] for code in codes) / 1000


def _matrix(stack: list[bytes]) -> np.ndarray:
    a, b, c, d, e, f = (float(v) for v in stack[-6:])
    return np.array([(a, b, 0), (c, d, 0), (e, f, 1)])


def _placed(path: list[tuple[float, float]], matrix: np.ndarray, high: float) -> np.ndarray:
    points = np.column_stack((np.array(path), np.ones(len(path)))) @ matrix
    return np.column_stack((points[:, 0], high - points[:, 1])) * POINT


def read_pdf(data: bytes) -> list[Sheet]:
    return File(data).pages()
