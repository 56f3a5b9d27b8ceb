"""The text of a header: record line, signal lines, info strings.

Source: WFDB Applications Guide, header(5).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Final

from interchange.formats.wfdb.fresh import fingerprint
from interchange.formats.wfdb.infostrings import wrapped
from interchange.formats.wfdb.numerals import decimal, decimal_text
from interchange.formats.wfdb.storage import SignalFile
from interchange.model import Channel, Moment
from interchange.records import NamedTuple

__all__ = ["RecordText", "base_time", "described", "description", "header_bytes", "record_name", "spoken_rate"]

_UNUSUAL: Final = re.compile(r"[^A-Za-z0-9_-]+", re.ASCII)
_LONGEST_NAME: Final = 50
_LONGEST_DESCRIPTION: Final = 40
"""Characters of a description that is written; file name and description may have 80 together."""


class RecordText(NamedTuple):
    """What a header says: ``rate`` in frames per second, ``frames`` its length, the rest as ready text."""

    name: str
    rate: Fraction | None
    frames: int
    counter: str
    time: str
    files: Sequence[tuple[str, SignalFile, Sequence[Channel]]]
    infos: Iterable[str]


def record_name(name: str) -> str:
    """``name`` where a record can have it, else one of its own: underscores for other characters, and a digest.

    The names of all other files of a record begin with it, so no two records may share one.
    """
    plain = _UNUSUAL.sub("_", name)
    if plain == name and 0 < len(name) <= _LONGEST_NAME:
        return name
    return f"{plain[: _LONGEST_NAME - 9] or 'record'}_{fingerprint(name.encode('utf-8', 'surrogateescape'))}"


def header_bytes(record: RecordText) -> bytes:
    """The header file, UTF-8 with line feeds."""
    count = sum(len(file.signals) for _, file, _ in record.files)
    lines = [f"{record.name} {count}"]
    if record.rate is not None:
        lines[0] += f" {spoken_rate(record.rate)}{record.counter} {record.frames}{record.time}"
    for name, file, channels in record.files:
        form = f"{file.format}x{file.frame}" if file.frame > 1 else str(file.format)
        lines.extend(
            f"{name} {form} {s.gain} {s.resolution} {s.zero} {s.initial} {s.checksum} 0 {description(channel)}".rstrip()
            for s, channel in zip(file.signals, channels, strict=True)
        )
    for info in record.infos:
        lines.extend(wrapped(info))
    return ("\n".join(lines) + "\n").encode()


def spoken_rate(rate: Fraction) -> str:
    """The rate as a decimal that reads back exactly where there is one."""
    plain = decimal_text(rate)
    if decimal(plain) == rate:
        return plain
    return next((text for n in (20, 24, 28, 32) if decimal(text := decimal_text(rate, n)) == rate), plain)


def base_time(moment: Moment | None) -> str:
    """Base time and base date with a blank before each; empty unless the time of day is known to the second.

    A time is cut to microseconds: programs refuse a whole header for one digit more (common practice).
    """
    if moment is None or moment.second is None or moment.hour is None or moment.second >= 60:
        return ""
    whole, micro = divmod(moment.second.numerator * 10**6 // moment.second.denominator, 10**6)
    tail = f".{micro:06}".rstrip("0") if micro else ""
    text = f" {moment.hour:02}:{moment.minute:02}:{whole:02}{tail}"
    if moment.year is None:
        return text
    if moment.day is None or moment.year < 1000:
        return ""
    return f"{text} {moment.day:02}/{moment.month:02}/{moment.year:04}"


def description(channel: Channel) -> str:
    """The channel's name as far as it can stand in a header; empty where nothing of it can.

    Where it is not all of the name, or is read as the name of a lead, an info string has the name as it is.
    """
    return described(channel.name)


def described(name: str) -> str:
    """The description that is written for a channel of that name."""
    return name[:_LONGEST_DESCRIPTION].strip() if name.isprintable() else ""
