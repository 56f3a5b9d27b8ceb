"""Text from a file never reaches a terminal as control sequences."""

from __future__ import annotations

__all__ = ["printable"]


def printable(text: str) -> str:
    r"""The text with every control, format, surrogate and separator character written as ``\xNN`` or ``\uNNNN``.

    Bidirectional overrides are format characters and go with them; ordinary letters of every script stay.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(c if _is_safe(c) else _written(c) for c in text)


def _is_safe(character: str) -> bool:
    import unicodedata

    return character == " " or unicodedata.category(character) not in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")


def _written(character: str) -> str:
    number = ord(character)
    if number < 0x100:
        return f"\\x{number:02x}"
    return f"\\u{number:04x}" if number < 0x10000 else f"\\U{number:08x}"
