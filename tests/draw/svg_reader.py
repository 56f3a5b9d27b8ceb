"""A reader of the SVG that shares no code with its writer: lines in millimetres, texts, sizes."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from lxml import etree

NS = "{http://www.w3.org/2000/svg}"
TOKEN = re.compile(r"[A-Za-z]|-?\d+(?:\.\d+)?")


@dataclass(frozen=True)
class Line:
    role: str
    name: str
    colour: str
    width: float
    points: np.ndarray  # millimetres, y down


@dataclass(frozen=True)
class Words:
    x: float
    y: float
    text: str
    size: float
    anchor: str


@dataclass(frozen=True)
class Picture:
    width: float
    height: float
    lines: list[Line]
    texts: list[Words]

    def of(self, role: str, name: str = "") -> list[Line]:
        return [line for line in self.lines if line.role == role and line.name.startswith(name)]

    @property
    def words(self) -> str:
        return "\n".join(text.text for text in self.texts)


def read_svg(data: bytes) -> Picture:
    root = etree.fromstring(data)
    width, height = (float(root.get(key).removesuffix("mm")) for key in ("width", "height"))
    left, top, across, down = (float(part) for part in root.get("viewBox").split())
    assert (left, top) == (0, 0)
    scale = width / across
    assert abs(height / down - scale) < 1e-9
    lines = []
    for element in root.iter(f"{NS}path"):
        title = element.find(f"{NS}title")
        for points in _paths(element.get("d")):
            lines.append(
                Line(
                    element.get("class", ""),
                    title.text if title is not None else "",
                    element.get("stroke", ""),
                    float(element.get("stroke-width", 0)) * scale,
                    np.array(points) * scale,
                )
            )
    texts = [
        Words(
            float(element.get("x")) * scale,
            float(element.get("y")) * scale,
            element.text or "",
            float(element.get("font-size")) * scale,
            element.get("text-anchor", "start"),
        )
        for element in root.iter(f"{NS}text")
    ]
    return Picture(width, height, lines, texts)


def _paths(data: str) -> list[list[tuple[float, float]]]:
    """All subpaths of path data made of M, L, H, V and their relative forms (SVG 1.1, 8.3)."""
    tokens = TOKEN.findall(data)
    paths: list[list[tuple[float, float]]] = []
    command, at = "", 0
    x = y = 0.0
    while at < len(tokens):
        if tokens[at].isalpha():
            command, at = tokens[at], at + 1
            if command in "Zz":
                paths[-1].append(paths[-1][0])
                continue
        kind, relative = command.upper(), command.islower()
        take = {"M": 2, "L": 2, "H": 1, "V": 1}[kind]
        values = [float(token) for token in tokens[at : at + take]]
        at += take
        if kind in "ML":
            x, y = (x + values[0], y + values[1]) if relative else (values[0], values[1])
        elif kind == "H":
            x = x + values[0] if relative else values[0]
        else:
            y = y + values[0] if relative else values[0]
        if kind == "M":
            paths.append([])
            command = "l" if relative else "L"
        paths[-1].append((x, y))
    return paths
