"""Text of a data set: Specific Character Set (PS3.3 C.12.1.1.2, PS3.5 chapter 6).

One defined term per row.  A set without code extensions is decoded as a whole; with code extensions (several values,
``ISO 2022 ...``) the escape sequences of ISO 2022 switch between sets, and the first set returns at the end of a line
and at each delimiter.  Written is UTF-8 only.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final

__all__ = ["ASCII", "Charset", "charset"]

SINGLE: Final = {
    "": "ascii",
    "ISO_IR 6": "ascii",
    "ISO_IR 100": "latin-1",
    "ISO_IR 101": "iso8859-2",
    "ISO_IR 109": "iso8859-3",
    "ISO_IR 110": "iso8859-4",
    "ISO_IR 144": "iso8859-5",
    "ISO_IR 127": "iso8859-6",
    "ISO_IR 126": "iso8859-7",
    "ISO_IR 138": "iso8859-8",
    "ISO_IR 148": "iso8859-9",
    "ISO_IR 203": "iso8859-15",
    "ISO_IR 13": "shift_jis",
    "ISO_IR 166": "tis-620",
    "ISO_IR 192": "utf-8",
    "GB18030": "gb18030",
    "GBK": "gbk",
}
"""Defined terms without code extensions (PS3.3 Tables C.12-2, C.12-5)."""

EXTENDED: Final = {
    "": "ascii",
    "ISO 2022 IR 6": "ascii",
    "ISO 2022 IR 100": "latin-1",
    "ISO 2022 IR 101": "iso8859-2",
    "ISO 2022 IR 109": "iso8859-3",
    "ISO 2022 IR 110": "iso8859-4",
    "ISO 2022 IR 144": "iso8859-5",
    "ISO 2022 IR 127": "iso8859-6",
    "ISO 2022 IR 126": "iso8859-7",
    "ISO 2022 IR 138": "iso8859-8",
    "ISO 2022 IR 148": "iso8859-9",
    "ISO 2022 IR 203": "iso8859-15",
    "ISO 2022 IR 13": "shift_jis",
    "ISO 2022 IR 166": "tis-620",
    "ISO 2022 IR 87": "iso2022_jp",
    "ISO 2022 IR 159": "iso2022_jp_2",
    "ISO 2022 IR 149": "euc_kr",
    "ISO 2022 IR 58": "gb2312",
}
"""Defined terms with code extensions (PS3.3 Tables C.12-3, C.12-4)."""

ESCAPES: Final = {
    b"\x1b(B": "ascii",
    b"\x1b-A": "latin-1",
    b"\x1b-B": "iso8859-2",
    b"\x1b-C": "iso8859-3",
    b"\x1b-D": "iso8859-4",
    b"\x1b-L": "iso8859-5",
    b"\x1b-G": "iso8859-6",
    b"\x1b-F": "iso8859-7",
    b"\x1b-H": "iso8859-8",
    b"\x1b-M": "iso8859-9",
    b"\x1b-b": "iso8859-15",
    b"\x1b)I": "shift_jis",
    b"\x1b(J": "shift_jis",
    b"\x1b-T": "tis-620",
    b"\x1b$B": "iso2022_jp",
    b"\x1b$(D": "iso2022_jp_2",
    b"\x1b$)C": "euc_kr",
    b"\x1b$)A": "gb2312",
}
"""Escape sequences of ISO 2022 with the Python codec of what follows (PS3.3 Tables C.12-3, C.12-4)."""

TWO_BYTE_G0: Final = ("iso2022_jp", "iso2022_jp_2")
DELIMITERS: Final = (b"^", b"=", b"\\", b"\r", b"\n", b"\f", b"\t")


class Charset:
    """How the text of one data set is decoded.

    ``known`` is False when a term is none of the standard's; such text is then read as UTF-8 if it is valid UTF-8,
    else as Latin-1.  ``terms`` are the values as stored.
    """

    __slots__ = ("codec", "extended", "known", "terms")

    def __init__(self, terms: tuple[str, ...]) -> None:
        self.terms = terms
        first = terms[0] if terms else ""
        self.extended = len(terms) > 1 or (first in EXTENDED and first != "")
        table = EXTENDED if self.extended else SINGLE
        self.known = all(term in EXTENDED for term in terms[1:]) and first in (table if terms else SINGLE)
        if self.extended and first in SINGLE:
            self.known, self.codec = all(term in EXTENDED for term in terms[1:]), SINGLE[first]
        else:
            self.codec = table.get(first, "utf-8")

    def decode(self, raw: bytes) -> tuple[str, bool]:
        """The text and whether every byte of it was valid in the declared set."""
        if raw.isascii() and b"\x1b" not in raw and self.codec != "shift_jis":
            return raw.decode("ascii"), True
        if self.extended and b"\x1b" in raw:
            return self._segments(raw)
        return _strict(raw, self.codec)

    def _segments(self, raw: bytes) -> tuple[str, bool]:
        text, valid = [], True
        for number, part in enumerate(raw.split(b"\x1b")):
            if number == 0:
                piece, fine = _strict(part, self.codec)
            else:
                piece, fine = self._segment(b"\x1b" + part)
            text.append(piece)
            valid &= fine
        return "".join(text), valid

    def _segment(self, part: bytes) -> tuple[str, bool]:
        """One stretch that begins with an escape sequence; an unknown one is dropped and called invalid."""
        for size in (3, 4):
            codec = ESCAPES.get(part[:size])
            if codec is None:
                continue
            if codec in TWO_BYTE_G0:
                return _strict(part, codec)
            body = part[size:]
            cut = min((at for at in map(body.find, DELIMITERS) if at >= 0), default=len(body))
            first, fine = _strict(body[:cut], codec)
            rest, fine_too = _strict(body[cut:], self.codec)
            return first + rest, fine and fine_too
        text, _ = _strict(part[1:], self.codec)
        return text, False


def _strict(raw: bytes, codec: str) -> tuple[str, bool]:
    """Decode in ``codec``; bytes that are none of its characters as UTF-8 or Latin-1, called invalid."""
    try:
        return raw.decode(codec), True
    except UnicodeDecodeError:
        pass
    try:
        return raw.decode("utf-8"), False
    except UnicodeDecodeError:
        return raw.decode("latin-1"), False


ASCII: Final = Charset(())


def charset(raw: bytes | None) -> Charset:
    """The character set that a value of Specific Character Set (0008,0005) declares; None = absent."""
    if raw is None:
        return ASCII
    return _charset(raw) if len(raw) <= 64 else _charset.__wrapped__(raw)


@lru_cache(maxsize=64)
def _charset(raw: bytes) -> Charset:
    terms = tuple(part.strip(" \0") for part in raw.decode("ascii", "replace").split("\\"))
    return ASCII if terms == ("",) else Charset(terms)
