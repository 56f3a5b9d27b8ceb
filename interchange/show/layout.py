"""Text in columns: a heading on the left, its lines on the right, wrapped; tables; colour only where wanted.

Every text is made safe for a terminal here, so that nothing that comes from a file can slip through.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interchange.printable import printable
from interchange.records import dataclass

__all__ = ["INDENT", "PLAIN", "Style", "block", "columns", "limited", "short", "table", "wrapped"]

INDENT = 12
MOST_LINES = 12
MOST_CHARACTERS = 600


@dataclass(frozen=True, slots=True)
class Style:
    """How text is emphasised; words alone must always be enough."""

    colour: bool = False

    def strong(self, text: str) -> str:
        """A heading."""
        return self._with(text, "1")

    def alarm(self, text: str) -> str:
        """Something that must not be overlooked."""
        return self._with(text, "1;31")

    def caution(self, text: str) -> str:
        """Something worth a look."""
        return self._with(text, "33")

    def _with(self, text: str, code: str) -> str:
        return f"\x1b[{code}m{text}\x1b[0m" if self.colour and text else text


PLAIN = Style()


def block(label: str, lines: Iterable[str], width: int, style: Style = PLAIN, *, alarming: bool = False) -> list[str]:
    """Lines below a heading that stands left of the first; each is wrapped.  Nothing for no lines."""
    rows = [row for line in lines for row in wrapped(line, width - INDENT)]
    paint = style.alarm if alarming else style.strong
    heads = [paint(f"{label:{INDENT}}"), *[" " * INDENT] * len(rows)]
    return [f"{head}{row}".rstrip() for head, row in zip(heads, rows, strict=False)]


def wrapped(text: str, width: int, hanging: int = 2) -> list[str]:
    """The text, made safe, in lines of at most ``width`` columns; leading blanks stay, later lines hang."""
    text = printable(text)
    lead = len(text) - len(text.lstrip(" "))
    rows: list[str] = []
    current = text[:lead]
    for word in _pieces(text[lead:].split(" "), max(width - lead - hanging, 8)):
        joined = f"{current} {word}" if current.strip() else f"{current}{word}"
        if current.strip() and columns(joined) > width:
            rows.append(current)
            joined = " " * (lead + hanging) + word
        current = joined
    return [*rows, current]


def _pieces(words: Iterable[str], most: int) -> Iterable[str]:
    """The words, those longer than ``most`` columns in pieces."""
    for word in words:
        rest = word
        while columns(rest) > most:
            cut = most
            while columns(rest[:cut]) > most:
                cut -= 1
            yield rest[:cut]
            rest = rest[cut:]
        yield rest


def columns(text: str) -> int:
    """Columns that a text takes on a terminal: wide characters two, combining ones none."""
    if text.isascii():
        return len(text)
    import unicodedata

    return sum(0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text)


def table(rows: Sequence[Sequence[str]], *, right: Iterable[int] = (), gap: int = 2) -> list[str]:
    """Rows of cells as lines, columns as wide as their widest cell; the columns ``right`` are set to the right."""
    safe = [[printable(cell) for cell in row] for row in rows]
    to_right = set(right)
    widths = [max(columns(row[i]) for row in safe) for i in range(len(safe[0]))] if safe else []
    lines = []
    for row in safe:
        cells = []
        for index, cell in enumerate(row):
            pad = " " * (widths[index] - columns(cell))
            cells.append(pad + cell if index in to_right else cell + pad)
        lines.append((" " * gap).join(cells).rstrip())
    return lines


def short(text: str, most: int = MOST_CHARACTERS) -> str:
    """The text, a very long one cut with a word on how long it is."""
    return text if len(text) <= most else f"{text[: most - 100]} ... (cut here; {len(text)} characters)"


def limited(lines: Sequence[str], most: int = MOST_LINES) -> list[str]:
    """The first lines and how many more there are."""
    if len(lines) <= most + 1:
        return list(lines)
    return [*lines[:most], f"and {len(lines) - most} more (--json lists all)"]
