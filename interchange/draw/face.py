"""How wide a text is, and what of it the typeface can show."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from typing import Protocol

from interchange.printable import printable

__all__ = ["PLAIN_FACE", "Face", "PlainFace", "clipped", "wrapped"]

FIRST = 32
# Advance widths of the printable ASCII characters in thousandths of an em (DejaVu Sans 2.37, tables cmap and hmtx).
REGULAR = (
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636, 636, 636, 636, 636,
    636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632, 575, 775, 752, 295, 295, 656, 557, 863,
    748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635,
    615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636,
    337, 636, 838,
)  # fmt: skip
BOLD = (
    348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696, 696, 696, 696, 696,
    696, 696, 696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830, 683, 683, 821, 837, 372, 372, 775, 637, 995,
    837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771, 724, 725, 457, 365, 457, 838, 500, 500, 675, 716, 593, 716,
    678, 435, 716, 712, 343, 343, 665, 343, 1042, 712, 687, 716, 716, 493, 595, 478, 712, 652, 924, 645, 652, 582, 712,
    365, 712, 838,
)  # fmt: skip
OTHER, WIDE = 700, 1000


class Face(Protocol):
    """A typeface as the layout sees it."""

    def shown(self, text: str, bold: bool = False) -> str:
        """The text made safe, with what the typeface lacks written as code points."""

    def width(self, text: str, size: int, bold: bool = False) -> int:
        """Width of a text of that size, in the unit of the size."""


class PlainFace:
    """For back ends whose viewer chooses the font (SVG, HTML): measured widths for ASCII, estimates for the rest."""

    def shown(self, text: str, bold: bool = False) -> str:
        """The text made safe; every viewer is trusted to have a font for it."""
        return printable(text)

    def width(self, text: str, size: int, bold: bool = False) -> int:
        """Width of the text; a character beyond ASCII counts as a broad letter, a full-width one as an em."""
        table = BOLD if bold else REGULAR
        total = 0
        for character in text:
            place = ord(character) - FIRST
            if 0 <= place < len(table):
                total += table[place]
            elif not unicodedata.combining(character):
                total += WIDE if unicodedata.east_asian_width(character) in "WF" else OTHER
        return -(-total * size // 1000)


PLAIN_FACE = PlainFace()


def wrapped(face: Face, text: str, size: int, width: int, *, bold: bool = False, hanging: int = 0) -> list[str]:
    """The text as shown, in lines no wider than ``width``; lines after the first are ``hanging`` narrower.

    Breaks at blanks, and inside a word that is wider than a line.
    """
    rows: list[str] = []
    current, used = "", 0
    blank = face.width(" ", size, bold)
    for word in _pieces(face, face.shown(text, bold).split(" "), size, width - hanging, bold):
        wide = face.width(word, size, bold)
        if current and used + blank + wide > width - (hanging if rows else 0):
            rows.append(current)
            current, used = word, wide
        else:
            current = f"{current} {word}" if current else word
            used += wide + (blank if used else 0)
    return [*rows, current]


def clipped(face: Face, text: str, size: int, width: int, *, bold: bool = False) -> str:
    """As much of the text as fits one line, with an ellipsis where that is not all."""
    rows = wrapped(face, text, size, width - 2 * size, bold=bold)
    return rows[0] if len(rows) == 1 else f"{rows[0]} …"


def _pieces(face: Face, words: Iterable[str], size: int, width: int, bold: bool) -> Iterable[str]:
    """The words, those wider than a line in pieces."""
    for word in words:
        rest = word
        while len(rest) > 1 and face.width(rest, size, bold) > width:
            cut = max(len(rest) * width // max(face.width(rest, size, bold), 1), 1)
            while cut > 1 and face.width(rest[:cut], size, bold) > width:
                cut -= 1
            yield rest[:cut]
            rest = rest[cut:]
        yield rest
