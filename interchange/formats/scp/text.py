"""Text in its character sets (EN 1064 Annex A; language support code in byte 17 of tags 14 and 15).

``decode`` never fails and never loses a byte silently: what its character set does not have is read another way, or
kept visible as ``\\xNN``, and the name of the rule that was broken comes with the text.
"""

from __future__ import annotations

from typing import Final

__all__ = ["LANGUAGES", "decode", "encode", "holds", "is_known", "language_for", "read_text"]

LANGUAGES: Final[dict[int, str]] = {
    0x00: "ascii",
    0x01: "latin-1",
    0x03: "iso8859-2",
    0x0B: "iso8859-4",
    0x13: "iso8859-5",
    0x1B: "iso8859-6",
    0x23: "iso8859-7",
    0x2B: "iso8859-8",
    0x33: "iso8859-11",
    0x3B: "iso8859-15",
    0x07: "utf-8",
    0x0F: "jis-x-0201",
    0x17: "euc_jp",
    0x1F: "euc_jp",
    0x27: "gb2312",
    0x2F: "euc_kr",
}
"""Character set of each language code; all from memory."""

_EAST_ASIAN: Final = frozenset({0x17, 0x1F, 0x27, 0x2F})
_ESCAPED: Final = ("iso2022_jp_ext", "iso2022_kr")
_WRITTEN: Final = (0x00, 0x01, 0x3B, 0x03, 0x0B, 0x13, 0x1B, 0x23, 0x2B, 0x33)
_YEN: Final = {0x5C: "\u00a5", 0x7E: "\u203e"}
"""Yen sign and overline; their names instead of numbers would load all of unicodedata when this file is compiled."""


def is_known(language: int) -> bool:
    """Whether the language code is defined (all even codes are ASCII)."""
    return language in LANGUAGES or language % 2 == 0 or language & 3 == 1


def read_text(value: bytes, language: int) -> tuple[str, list[str]]:
    """The text of a field, which ends at its first NUL, and the names of the rules that the field breaks."""
    if language == 0x07 and _is_utf_16(value):
        text, broken = _decode_unicode_16(value)
        return text, [broken]
    before, nul, behind = value.partition(b"\0")
    text, broken_set = decode(before, language)
    broken_rules = [broken_set] if broken_set else []
    if not nul and value:
        broken_rules.append("text-end")
    if behind.strip(b"\0"):
        broken_rules.append("text-inner")
    return text, broken_rules


def _is_utf_16(value: bytes) -> bool:
    if value[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return True
    return len(value) >= 4 and len(value) % 2 == 0 and value[0] != 0 and value[1] == 0 and value[2] != 0


def _decode_unicode_16(value: bytes) -> tuple[str, str]:
    name = "utf-16" if value[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-16-le"
    value = value[: len(value) // 2 * 2]
    try:
        return value.decode(name).split("\0", 1)[0], "text-unicode"
    except UnicodeDecodeError:
        return value.decode(name, "replace").split("\0", 1)[0], "text-set"


def decode(raw: bytes, language: int) -> tuple[str, str | None]:
    """The text and the name of the rule that its bytes break, if any; ``raw`` without its NUL."""
    if b"\x1b" in raw:
        return _decode_escaped(raw)
    if raw.isascii() and language != 0x0F:
        return raw.decode("ascii"), None
    if language % 2 == 0 or (language not in LANGUAGES and language & 3 != 1):
        return _fall_back(raw), "text-set"
    if language == 0x07:
        return _decode_unicode(raw)
    if language == 0x0F:
        return _decode_jis_x_0201(raw)
    name = LANGUAGES.get(language, "latin-1")
    for attempt in (name, "shift_jis") if name == "euc_jp" else (name,):
        try:
            return raw.decode(attempt), "text-east-asian" if language in _EAST_ASIAN else None
        except UnicodeDecodeError:
            continue
    return raw.decode(name, "backslashreplace"), "text-set"


def _fall_back(raw: bytes) -> str:
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return raw.decode("latin-1")


def _decode_unicode(raw: bytes) -> tuple[str, str | None]:
    try:
        return raw.decode("utf-8"), "text-unicode"
    except UnicodeDecodeError:
        return raw.decode("utf-8", "backslashreplace"), "text-set"


def _decode_jis_x_0201(raw: bytes) -> tuple[str, str | None]:
    broken = None
    letters = []
    for byte in raw:
        if byte < 0x80:
            letters.append(_YEN.get(byte) or chr(byte))
        elif 0xA1 <= byte <= 0xDF:
            letters.append(chr(0xFF61 + byte - 0xA1))
        else:
            letters.append(f"\\x{byte:02x}")
            broken = "text-set"
    return "".join(letters), broken


def _decode_escaped(raw: bytes) -> tuple[str, str | None]:
    for name in _ESCAPED:
        try:
            text = raw.decode(name)
        except UnicodeDecodeError:
            continue
        if "\x1b" not in text:
            return text, "text-east-asian"
    return _fall_back(raw).replace("\x1b", "\\x1b"), "text-set"


def language_for(texts: list[str]) -> int:
    """The language code that holds all texts: ASCII, Latin-1, another single-byte set, else Unicode."""
    return next((language for language in _WRITTEN if holds(language, texts)), 0x07)


def holds(language: int, texts: list[str]) -> bool:
    """Whether the character set of ``language`` has everything in the texts."""
    try:
        "".join(texts).encode(LANGUAGES[language])
    except UnicodeEncodeError:
        return False
    return True


def encode(text: str, language: int, most: int = 0xFFFF) -> bytes:
    """The text with its closing NUL in the character set of ``language``, at most ``most`` bytes.

    A NUL within the text would end it early and an escape begin another set: both are written as blanks, and what the
    set does not have as question marks.  Only whole characters are cut off.
    """
    plain = text.replace("\0", " ").replace("\x1b", " ")
    raw = plain.encode(LANGUAGES[language], "replace")
    if len(raw) >= most:
        raw = raw[: most - 1]
        if language == 0x07:
            raw = raw.decode("utf-8", "ignore").encode("utf-8")
    return raw + b"\0"
