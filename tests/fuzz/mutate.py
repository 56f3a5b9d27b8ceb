"""Mutations of bytes, drawn from a seeded generator: the same seed gives the same input."""

from __future__ import annotations

import random

__all__ = ["mutated"]

_NUMBERS = tuple(
    number.to_bytes(width, order, signed=number < 0)
    for width in (1, 2, 4)
    for order in ("little", "big")
    for number in (0, 1, -1, 2 ** (8 * width - 1) - 1, -(2 ** (8 * width - 1)), 16, 100)
    if -(2 ** (8 * width - 1)) <= number < 2 ** (8 * width - 1)
)
_TEXTS = (
    b"0", b"-1", b"9" * 20, b"1e999", b"nan", b"/", b"..", b"\n", b"\r", b"\0", b" ", b"%n", b"&amp;", b"<a>", b"</",
    b"<![CDATA[", b"\xff\xfe", b"\xef\xbb\xbf", b"\x1b[2J", b"1/0", b"x4", b"=", b"\\", b"^", b"#",
)  # fmt: skip


def mutated(data: bytes, other: bytes, chance: random.Random) -> bytes:
    """``data`` with one to eight changes; ``other`` lends pieces."""
    buffer = bytearray(data)
    for _ in range(chance.choice((1, 1, 1, 1, 2, 2, 4, 8))):
        _change(buffer, other, chance)
    return bytes(buffer)


def _change(buffer: bytearray, other: bytes, chance: random.Random) -> None:
    size = len(buffer)
    at = chance.randrange(size + 1)
    kind = chance.randrange(11)
    span = min(1 << chance.randrange(12), size)
    if kind == 0 and size:
        buffer[at % size] ^= 1 << chance.randrange(8)
    elif kind == 1 and size:
        buffer[at % size] = chance.randrange(256)
    elif kind == 2:
        number = chance.choice(_NUMBERS)
        buffer[at : at + len(number)] = number
    elif kind == 3:
        buffer[at:at] = chance.choice(_TEXTS)
    elif kind == 4:
        text = chance.choice(_TEXTS)
        buffer[at : at + len(text)] = text
    elif kind == 5:
        del buffer[at : at + span]
    elif kind == 6:
        del buffer[at:]
    elif kind == 7:
        buffer[at:at] = buffer[at : at + span]
    elif kind == 8 and other:
        begin = chance.randrange(len(other))
        buffer[at : at + span] = other[begin : begin + span]
    elif kind == 9:
        buffer[at:at] = bytes(chance.randrange(256) for _ in range(min(span, 64)))
    elif kind == 10 and size:
        begin = chance.randrange(size)
        piece = buffer[begin : begin + span]
        del buffer[begin : begin + span]
        at = min(at, len(buffer))
        buffer[at:at] = piece
