"""The text of a header: record line, signal lines, info strings.

Source: WFDB Applications Guide, header(5).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import Final

from interchange.formats.wfdb.channels import lead_name
from interchange.formats.wfdb.infostrings import wrapped
from interchange.formats.wfdb.numerals import decimal, decimal_text
from interchange.formats.wfdb.storage import SignalFile
from interchange.formats.wfdb.units import unit_named
from interchange.model import Channel, Moment
from interchange.records import NamedTuple

__all__ = ["RecordText", "base_time", "description", "header_bytes", "record_name", "spoken_rate"]

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
    """``name`` with every character that a record name must not have as an underscore, at most 50 characters."""
    return _UNUSUAL.sub("_", name)[:_LONGEST_NAME] or "record"


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
    """Base time and base date with a blank before each; empty unless the time of day is known to the second."""
    if moment is None or moment.second is None or moment.hour is None or moment.second >= 60:
        return ""
    second = decimal_text(moment.second)
    if "e" in second or len(second.partition(".")[2]) > 12:
        return ""
    whole, dot, tail = second.partition(".")
    text = f" {moment.hour:02}:{moment.minute:02}:{whole:0>2}{dot}{tail}"
    if moment.year is None:
        return text
    if moment.day is None or moment.year < 1000:
        return ""
    return f"{text} {moment.day:02}/{moment.month:02}/{moment.year:04}"


def description(channel: Channel) -> str:
    """The channel's name as far as it can stand in a header and be read back; empty where it cannot."""
    name = channel.name
    plain = name.isprintable() and name == name.strip() and "\t" not in name and 0 < len(name) <= _LONGEST_DESCRIPTION
    return name if plain and read_name(name, channel) == name else ""


def read_name(text: str, channel: Channel) -> str:
    """The name that the reader makes of a description for a channel with this unit."""
    unit = channel.unit
    leads = unit is None or unit == "uV" or unit_named("NU").ucum == unit
    return lead_name(text) if leads else text
