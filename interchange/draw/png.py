"""The display list as PNG, drawn by matplotlib's rasteriser: every line and every letter is an outline placed by us."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.draw.display import UNITS, Page, Stroke, Text
from interchange.draw.typeface import Typeface, missing_extra

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interchange.draw.truetype import Contour

__all__ = ["png_page"]

MM_PER_INCH = 25.4
MOVE, LINE, CURVE, CLOSE = 1, 2, 3, 79
"""Path codes of matplotlib."""


def png_page(page: Page, typeface: Typeface, dpi: int) -> bytes:
    """One page as PNG with ``dpi`` pixels per inch, written into the file too."""
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path
        from matplotlib.transforms import Affine2D
    except ImportError:
        raise missing_extra() from None
    pixels = dpi / MM_PER_INCH / UNITS
    wide, high = round(page.width * pixels), round(page.height * pixels)
    figure = Figure(figsize=((wide + 0.01) / dpi, (high + 0.01) / dpi), dpi=dpi)
    figure.patch.set_facecolor("#ffffff")
    FigureCanvasAgg(figure)
    place = Affine2D().scale(pixels, -pixels).translate(0, high)
    for vertices, codes, fill, colour, width in _shapes(page, typeface):
        patch = PathPatch(
            Path(vertices, codes),
            fill=fill,
            facecolor=colour,
            edgecolor="none" if fill else colour,
            linewidth=0 if fill else width / UNITS / MM_PER_INCH * 72,
            capstyle="round",
            joinstyle="round",
            transform=place,
        )
        patch.set_snap(False)
        patch.get_path().should_simplify = False
        figure.add_artist(patch)
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=dpi, metadata={"Software": None})
    return out.getvalue()


def _shapes(page: Page, typeface: Typeface) -> list[tuple[NDArray[Any], NDArray[Any], bool, str, int]]:
    """Vertices, codes, filled, colour, width: texts of one colour together, last."""
    shapes = []
    letters: dict[str, tuple[list[Any], list[int]]] = {}
    for item in page.items:
        if isinstance(item, Stroke):
            shapes.append((*_lines(item), False, item.colour, item.width))
        else:
            _letters(item, typeface, *letters.setdefault(item.colour, ([], [])))
    for colour, (vertices, codes) in letters.items():
        if vertices:
            shapes.append((np.array(vertices, dtype=np.float64), np.array(codes), True, colour, 0))
    return shapes


def _lines(item: Stroke) -> tuple[NDArray[Any], NDArray[Any]]:
    paths = [np.concatenate((path, path)) if len(path) == 1 else path for path in item.paths]
    codes = np.full(sum(map(len, paths)), LINE, dtype=np.uint8)
    codes[np.cumsum([0, *map(len, paths[:-1])])] = MOVE
    return np.concatenate(paths).astype(np.float64), codes


def _letters(item: Text, typeface: Typeface, vertices: list[Any], codes: list[int]) -> None:
    run = typeface.run(item.text, item.bold)
    wide = sum(glyph.advance for glyph in run) * item.size
    x = item.x - {"start": 0.0, "middle": wide / 2, "end": wide}[item.anchor]
    for glyph in run:
        font = typeface.fonts[glyph.font]
        scale = item.size / font.units
        for contour in font.outline(glyph.glyph):
            points, kinds = _outline(contour)
            vertices += [(x + px * scale, item.y - py * scale) for px, py in points]
            codes += kinds
        x += glyph.advance * item.size


def _outline(contour: Contour) -> tuple[list[tuple[float, float]], list[int]]:
    """A closed outline of quadratic curves; between two control points lies an implied point of the curve."""
    if not contour:
        return [], []
    begin = next((n for n, point in enumerate(contour) if point[2]), None)
    turned = contour[begin:] + contour[:begin] if begin is not None else contour
    start = turned[0][:2] if begin is not None else _halfway(turned[-1], turned[0])
    points, codes = [start], [MOVE]
    rest = [*(turned[1:] if begin is not None else turned), (*start, True)]
    control: tuple[float, float] | None = None
    for x, y, on in rest:
        if control is not None:
            end = (x, y) if on else _halfway((*control, False), (x, y, False))
            points += [control, end]
            codes += [CURVE, CURVE]
        elif on:
            points.append((x, y))
            codes.append(LINE)
        control = None if on else (x, y)
    return [*points, start], [*codes, CLOSE]


def _halfway(first: tuple[float, float, bool], second: tuple[float, float, bool]) -> tuple[float, float]:
    return (first[0] + second[0]) / 2, (first[1] + second[1]) / 2
