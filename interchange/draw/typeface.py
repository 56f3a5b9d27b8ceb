"""The typeface of PDF and PNG: DejaVu Sans as it comes with matplotlib, and a font of the user's for what that lacks.

The font files are read here; matplotlib itself is not loaded for them.
"""

from __future__ import annotations

import importlib.util
import math
import unicodedata
from functools import cache
from pathlib import Path

from interchange.draw.bidi import visual
from interchange.draw.truetype import TrueType
from interchange.errors import UsageError
from interchange.printable import printable
from interchange.records import dataclass

__all__ = ["Glyph", "Typeface", "installed_typeface", "missing_extra"]

FOLDER = ("mpl-data", "fonts", "ttf")
FILES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
LARGEST = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Glyph:
    """A glyph at its turn.

    ``font``: its number in :attr:`Typeface.fonts`; ``advance``: its width in ems; ``text``: what it stands for.
    """

    font: int
    glyph: int
    advance: float
    text: str


class Typeface:
    """Regular and bold, and further fonts that are asked where those two lack a character."""

    def __init__(self, fonts: tuple[TrueType, ...]) -> None:
        self.fonts = fonts
        self._known: dict[tuple[str, str, bool], Glyph | None] = {}
        plain = [chr(code) for code in range(32, 127)]
        self._letters = tuple(
            {c: glyph for c in plain if (glyph := self._find(c, c, bold)) is not None} for bold in (False, True)
        )

    def shown(self, text: str, bold: bool = False) -> str:
        r"""The text made safe; a character that no font has is written as ``\uNNNN``."""
        safe = printable(unicodedata.normalize("NFC", text)).replace("\u00a0", " ")
        if safe.isascii():
            return safe
        return "".join(c if self._find(c, c, bold) is not None or _empty(c) else _escaped(c) for c in safe)

    def width(self, text: str, size: int, bold: bool = False) -> int:
        """Width of a text of that size, in the unit of the size, rounded up."""
        return math.ceil(sum(glyph.advance for glyph in self.run(text, bold)) * size)

    def run(self, text: str, bold: bool = False) -> list[Glyph]:
        """The glyphs of a text from left to right; what no font has is left out (``shown`` has replaced it)."""
        if text.isascii():
            letters = self._letters[bold]
            return [letters[character] for character in text if character in letters]
        found = []
        for shown, told in visual(text):
            glyph = self._find(shown, told, bold)
            if glyph is not None:
                found.append(glyph)
            elif shown != told:
                found += [single for c in told if (single := self._find(c, c, bold)) is not None]
        return found

    def _find(self, character: str, told: str, bold: bool) -> Glyph | None:
        """The glyph of a character from the first font that has it."""
        key = (character, told, bold)
        if key not in self._known:
            own = int(bold)
            self._known[key] = None
            for number in (own, 1 - own, *range(2, len(self.fonts))):
                font = self.fonts[number]
                glyph = font.glyph(character)
                if glyph:
                    self._known[key] = Glyph(number, glyph, font.advance(glyph) / font.units, told)
                    break
        return self._known[key]


def _empty(character: str) -> bool:
    """Variation selectors and the like show nothing of their own."""
    return "VARIATION SELECTOR" in unicodedata.name(character, "")


def _escaped(character: str) -> str:
    code = ord(character)
    return f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def missing_extra() -> UsageError:
    """What to say where the extra is not installed."""
    return UsageError("PDF and PNG need matplotlib: install the extra, field-ecg-interchange[draw]; SVG needs none")


@cache
def _plain() -> Typeface:
    return Typeface(_dejavu())


def installed_typeface(font: str | None = None) -> Typeface:
    """The typeface, with the font file ``font`` for characters that DejaVu Sans lacks.

    Raises UsageError where the extra is not installed or the file is no TrueType font.
    """
    if font is None:
        return _plain()
    try:
        path = Path(font)
        if path.stat().st_size > LARGEST:
            raise ValueError
        return Typeface((*_dejavu(), TrueType(path.read_bytes())))
    except (OSError, ValueError):
        raise UsageError("is no TrueType font with outlines (.ttf) that can be read", f"--font {font}") from None


@cache
def _dejavu() -> tuple[TrueType, ...]:
    found = importlib.util.find_spec("matplotlib")
    if found is None or not found.submodule_search_locations:
        raise missing_extra()
    folder = Path(next(iter(found.submodule_search_locations)), *FOLDER)
    try:
        return tuple(TrueType((folder / name).read_bytes()) for name in FILES)
    except OSError:
        raise missing_extra() from None
