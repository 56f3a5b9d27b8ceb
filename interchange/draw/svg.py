"""The display list as SVG: small files, real text, no dependence on anything but numpy.

One file per page; its unit is a hundredth of a millimetre, so every number is whole, and lines go in relative steps.
Everything is written as presentation attributes: no style sheet, no script, nothing to load.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from xml.sax.saxutils import escape

import numpy as np

from interchange.draw.display import UNITS, Item, Page, Stroke, Text
from interchange.printable import printable

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["FONT", "path_data", "svg_page"]

FONT = "DejaVu Sans,Verdana,Noto Sans,Arial,sans-serif"


def svg_page(page: Page, title: str, description: str, *, inline: bool = False, number: int = 1) -> str:
    """One page as an SVG document; ``inline`` as an element for an HTML page, whose ids get ``number``."""
    wide, high = (f"{value / UNITS:g}mm" for value in (page.width, page.height))
    ids = f"t{number}", f"d{number}"
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide}" height="{high}" '
        f'viewBox="0 0 {page.width} {page.height}" role="img" aria-labelledby="{ids[0]}" aria-describedby="{ids[1]}" '
        f'font-family="{FONT}" stroke-linecap="round" stroke-linejoin="round">'
        f'<title id="{ids[0]}">{_said(title)}</title><desc id="{ids[1]}">{_said(description)}</desc>'
    )
    paper = f'<path fill="#fff" d="M0 0h{page.width}v{page.height}H0z"/>'
    body = "\n".join(_item(item) for item in page.items)
    start = "" if inline else '<?xml version="1.0" encoding="UTF-8"?>\n'
    return f"{start}{head}\n{paper}\n{body}\n</svg>\n"


def _item(item: Item) -> str:
    if isinstance(item, Stroke):
        name = f"<title>{_said(item.name)}</title>" if item.name else ""
        return (
            f'<path class="{item.role}" fill="none" stroke="{item.colour}" stroke-width="{item.width}" '
            f'd="{path_data(item.paths)}">{name}</path>'
        )
    return _text(item)


def _text(item: Text) -> str:
    attributes = f'x="{item.x}" y="{item.y}" font-size="{item.size}" fill="{item.colour}"'
    if item.anchor != "start":
        attributes += f' text-anchor="{item.anchor}"'
    if item.bold:
        attributes += ' font-weight="bold"'
    space = ' xml:space="preserve"' if item.text != " ".join(item.text.split()) else ""
    return f"<text {attributes}{space}>{_said(item.text)}</text>"


def path_data(paths: tuple[NDArray[Any], ...]) -> str:
    """The lines as path data: a move to the first point, then relative steps without needless blanks."""
    return "".join(_line(path) for path in paths)


def _line(path: NDArray[Any]) -> str:
    start = f"M{path[0, 0]} {path[0, 1]}"
    if len(path) == 1:
        return f"{start}h0"
    steps = np.diff(path, axis=0)
    if len(steps) == 1:
        dx, dy = steps[0].tolist()
        return f"{start}h{dx}" if dy == 0 else f"{start}v{dy}" if dx == 0 else f"{start}l{dx} {dy}"
    text = " ".join(map(str, steps.ravel().tolist()))
    return f"{start}l{text}".replace(" -", "-")


def _said(text: str) -> str:
    """A text without anything that XML cannot hold or that acts on a reader."""
    return escape(printable(text))
