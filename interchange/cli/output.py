"""Where a command's words go: answers to standard output, words about them to standard error.

Text that may come from a file has gone through :func:`interchange.printable.printable` before it gets here; JSON is
written in ASCII, so nothing in it can act on a terminal.
"""

from __future__ import annotations

import sys

from interchange.errors import TargetError

TYPE_CHECKING = False  # importing typing for it would cost as much as the argument parser
if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import Any, TextIO

    from interchange.findings import Finding
    from interchange.show.layout import Style

__all__ = ["document_text", "put", "put_document", "style", "tell", "tell_damage", "width"]

WIDTH = 96
NARROWEST, WIDEST = 80, 100


def put(text: str) -> None:
    """Write text and a line end to standard output; TargetError when that cannot be done."""
    _write(sys.stdout, f"{text}\n", "standard output")


def tell(text: str) -> None:
    """Write text and a line end to standard error."""
    _write(sys.stderr, f"{text}\n", "standard error")


def put_document(document: Any) -> None:
    """Write one JSON document to standard output."""
    put(document_text(document))


def document_text(document: Any) -> str:
    """JSON in ASCII, two blanks per level, lists of plain values in one line.

    Control characters, and everything beyond ASCII, are written as escapes.
    """
    import json

    def block(value: Any, indent: str) -> str:
        inner = f"{indent}  "
        if isinstance(value, dict) and value:
            lines = [f"{inner}{json.dumps(str(key))}: {block(item, inner)}" for key, item in value.items()]
            return "{\n" + ",\n".join(lines) + f"\n{indent}}}"
        if isinstance(value, list) and value and isinstance(value[0], (dict, list)):
            return "[\n" + ",\n".join(f"{inner}{block(item, inner)}" for item in value) + f"\n{indent}]"
        return json.dumps(value, allow_nan=False)

    return block(document, "").replace("\x7f", "\\u007f")


def tell_damage(file: str, findings: Iterable[Finding]) -> None:
    """One line on standard error when the reader met errors: exit status 0 does not mean that the source was sound."""
    from interchange.printable import printable

    count = sum(finding.severity == "error" for finding in findings)
    if count:
        found = "an error" if count == 1 else f"{count} errors"
        tell(printable(f"interchange: {file}: {found} in the source: leads, samples or values may be missing"))


def width() -> int:
    """Columns to fill: those of the terminal between 80 and 100, 96 when standard output is no terminal."""
    import os

    try:
        if sys.stdout is not None and sys.stdout.isatty():
            return min(max(os.get_terminal_size(sys.stdout.fileno()).columns, NARROWEST), WIDEST)
    except (OSError, ValueError):
        pass
    return WIDTH


def style() -> Style:
    """Colour where standard output is a terminal that has it and nobody said NO_COLOR; else none."""
    import os

    from interchange.show.layout import Style

    terminal = sys.stdout is not None and sys.stdout.isatty()
    capable = os.environ.get("TERM", "dumb") != "dumb" and not os.environ.get("NO_COLOR")
    return Style(colour=terminal and capable)


def _write(stream: TextIO | None, text: str, name: str) -> None:
    if stream is None:
        return
    try:
        try:
            stream.write(text)
        except UnicodeEncodeError:
            encoding = stream.encoding or "ascii"
            stream.write(text.encode(encoding, "backslashreplace").decode(encoding))
    except BrokenPipeError:
        raise
    except OSError as error:
        raise TargetError(f"cannot be written: {error.strerror or 'input/output error'}", file=name) from None
