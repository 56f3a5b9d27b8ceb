"""Signal lines.

``file format[xSPF][:skew][+offset] [gain[(baseline)][/units] [resolution [zero [initial [checksum [block
[description]]]]]]]``: each optional field needs all those before it.

Almost every line in the world has all fields and nothing odd in them; such a line is split at once.  Any other goes the
slow way, field by field, with the same outcome where both can be taken.  The two composite fields are split once per
spelling.

Source: WFDB Applications Guide, header(5); draft "WFDB Header File version 10"; limits of lengths from ``wfdb.h``.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from interchange.errors import SourceError
from interchange.formats.wfdb.numerals import decimal, integer
from interchange.formats.wfdb.units import unit_named
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from collections.abc import Sequence
    from fractions import Fraction

    from interchange.formats.wfdb.notes import Notes

__all__ = ["NO_GAIN", "Gain", "SignalLine", "read_gain", "read_signal_lines"]

_SHORT: Final = 60
"""Characters of the five numbers of a line together; the slow way judges longer ones one by one."""

_FORMAT: Final = r"(\d{1,4})(?:x(\d{1,9}))?(?::(\d{1,9}))?(?:\+(\d{1,12}))?"
_LONGEST_FORMAT: Final = 4
_WIDEST: Final = 32


class SignalLine(NamedTuple):
    """One signal as the header describes it; None where a field is not there.

    ``scale`` is the composite field of gain, baseline and units as it is written (:func:`read_gain` splits it);
    ``frame`` is the number of samples per frame, ``skew`` counts samples, ``offset`` and ``block`` bytes.
    """

    line: int
    file: str
    format: int
    frame: int
    skew: int
    offset: int
    scale: str
    resolution: int | None
    zero: int | None
    initial: int | None
    checksum: int | None
    block: int
    description: str

    @property
    def calibration(self) -> Gain:
        """Gain, baseline and units."""
        return (read_gain(self.scale) if self.scale else None) or NO_GAIN

    @property
    def origin(self) -> int:
        """The digital value that stands for zero physical units: the baseline, by default the ADC zero."""
        baseline = self.calibration.baseline
        return baseline if baseline is not None else self.zero or 0


class Gain(NamedTuple):
    """The composite field ``gain(baseline)/units``; None where a part is not there.

    ``gain`` is in digital units per physical unit, None also where the header says 0: not calibrated.  ``broken`` are
    rules that the field breaks.
    """

    gain: Fraction | None
    baseline: int | None
    units: str | None
    broken: tuple[str, ...]


NO_GAIN: Final = Gain(None, None, None, ("wfdb.gain-missing",))


def read_signal_lines(lines: Sequence[tuple[int, str]], plain: bool, notes: Notes) -> list[SignalLine]:
    """The fields of numbered signal lines.  Raises SourceError where file name or format cannot be told.

    ``plain``: all of them are of printable ASCII.
    """
    return [(_at_once(text, at, notes) if plain else None) or _slowly(text, at, notes) for at, text in lines]


def _at_once(text: str, line: int, notes: Notes) -> SignalLine | None:
    """The fields of a line that has all of them and nothing to note; None where that is not so."""
    fields = text.split(None, 8)
    if len(fields) != 9:
        return None
    file, form, scale, *numerals, description = fields
    together = "".join(numerals)
    try:
        resolution, zero, initial, checksum, block = map(int, numerals)
    except ValueError:
        return None
    gain, layout = read_gain(scale), _format(form)
    if gain is None or gain.broken or layout is None or "_" in together or len(together) > _SHORT:
        return None
    if block or not (0 <= resolution <= _WIDEST and -32768 <= checksum <= 32767) or _is_long(file, description):
        return None
    fields = (line, file, *layout, scale, resolution or None, zero, initial, checksum, 0, description)  # type: ignore[assignment]
    return tuple.__new__(SignalLine, fields)


def _slowly(text: str, line: int, notes: Notes) -> SignalLine:
    """Field by field: what is no number where one belongs is taken for the beginning of the description."""
    fields = re.split(r"[ \t]+", text, maxsplit=8)
    if len(fields) < 2:
        raise SourceError("is no signal line (file name and format)", f"line {line}")
    file, form, *rest = fields
    scale = rest[0] if rest else ""
    gain = read_gain(scale) if scale else NO_GAIN
    numbers: list[int] = []
    used = 1
    if gain is None:
        scale, gain, used = "", NO_GAIN, 0
    else:
        for field in rest[1:6]:
            number = _number(field, line, notes)
            if number is None:
                break
            numbers.append(number)
        used = 1 + len(numbers)
    if used < min(len(rest), 6):
        notes.line("wfdb.signal-field", line)
    given: list[int | None] = [*numbers, *[None] * (5 - len(numbers))]
    return _line(line, notes, file, form, scale, gain, given, " ".join(rest[used:]))


def _number(field: str, line: int, notes: Notes) -> int | None:
    """An integer, also when it is written as a decimal (``12.0``)."""
    number = integer(field)
    if number is None:
        exact = decimal(field)
        if exact is not None and exact.denominator == 1:
            notes.line("wfdb.number-form", line)
            number = exact.numerator
    return number


def _line(
    line: int,
    notes: Notes,
    file: str,
    form: str,
    scale: str,
    gain: Gain,
    numbers: Sequence[int | None],
    description: str,
) -> SignalLine:
    layout = _format(form)
    if layout is None:
        raise SourceError("states no signal format that can be understood", f"line {line}")
    resolution, zero, initial, checksum, block = numbers
    description = description.rstrip(" \t")
    for rule in gain.broken:
        notes.line(rule, line)
    if resolution is not None and not 0 <= resolution <= _WIDEST:
        notes.line("wfdb.resolution", line)
        resolution = None
    if checksum is None:
        notes.line("wfdb.checksum-missing", line)
    elif not -32768 <= checksum <= 32767:
        notes.line("wfdb.checksum-form", line)
    if block:
        notes.line("wfdb.block-size", line)
    if not description:
        notes.line("wfdb.description-missing", line)
    elif _is_long(file, description):
        notes.line("wfdb.description-length", line)
    fields = (line, file, *layout, scale, resolution or None, zero, initial, checksum, block or 0, description)
    return tuple.__new__(SignalLine, fields)


def _is_long(file: str, description: str) -> bool:
    return len(file) + len(description) > 80 or len(description) > 100


@lru_cache(maxsize=256)
def _format(field: str) -> tuple[int, int, int, int] | None:
    """Format, samples per frame, skew and byte offset; None where they cannot be told."""
    if len(field) <= _LONGEST_FORMAT and field.isdigit() and field.isascii():
        return int(field), 1, 0, 0
    match = re.fullmatch(_FORMAT, field, re.ASCII)
    if match is None or (match[2] is not None and int(match[2]) == 0):
        return None
    return int(match[1]), int(match[2] or 1), int(match[3] or 0), int(match[4] or 0)


@lru_cache(maxsize=1024)
def read_gain(field: str) -> Gain | None:
    """The parts of the field; None where it does not begin with a number."""
    parts = _split_gain(field)
    if parts is None:
        return None
    number, middle, units = parts
    gain = decimal(number) if number else None
    if gain is None and (number or (middle is None and not units)):
        return None
    broken: list[str] = []
    baseline = None
    if middle:
        exact = decimal(middle)
        baseline = exact.numerator if exact is not None and exact.denominator == 1 else None
        if integer(middle) is None:
            broken.append("wfdb.number-form")
        if baseline is None:
            return None
    if not gain:
        broken.append("wfdb.gain-missing")
    elif gain < 0:
        broken.append("wfdb.gain-negative")
    if units and len(units) > 50:
        broken.append("wfdb.units-length")
    if gain and units and unit_named(units).usual != units:
        broken.append("wfdb.units-spelling")
    return Gain(gain or None, baseline, units or None, tuple(broken))


def _split_gain(field: str) -> tuple[str, str | None, str | None] | None:
    """Gain, baseline and units as they are written, None for those that are not there; None alone for another form.

    Units may hold any character, a baseline all but the closing bracket.
    """
    number, bracket, behind = field.partition("(")
    if not bracket or "/" in number:
        number, slash, units = field.partition("/")
        return number, None, units if slash else None
    baseline, closed, units = behind.partition(")")
    if not closed or units[:1] not in ("", "/"):
        return None
    return number, baseline, units[1:] if units else None
