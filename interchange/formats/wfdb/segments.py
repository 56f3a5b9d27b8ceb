"""Records of several segments, joined.

Every segment is a record of its own.  In a fixed layout all have the same signals; in a variable one the first segment
is a layout without samples that lists them all, and the others have some of them, perhaps with other gains.  Time
between segments, and signals that a segment does not have, are missing.  Where gain or baseline change, the samples
are brought to the greatest step that holds all of them exactly.

Sources: WFDB Applications Guide, header(5); draft "WFDB Header File version 10"; WFDB Programmer's Guide.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Final

from interchange.errors import SourceError
from interchange.formats.wfdb.channels import channel_of
from interchange.formats.wfdb.header import Header, Leftover, SegmentLine, parse_header
from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.signal_line import SignalLine
from interchange.formats.wfdb.signals import Block, read_signals
from interchange.model import Channel, Tracing
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Joined", "read_segments"]

MOST_VALUES: Final = 1 << 24
VALUES_PER_BYTE: Final = 64
"""A record may have 2**24 values plus 64 for each byte of its files, gaps included (a limit of this project)."""

_GAP: Final = "~"
_DAY: Final = 86400


class Joined(NamedTuple):
    """Tracings of the whole record, and for each signal the index of its tracing."""

    tracings: list[Tracing]
    owners: list[int]


class _Key(NamedTuple):
    """What makes two signals of different segments the same one; ``copy`` tells apart those of one segment."""

    description: str
    unit: str | None
    frame: int
    copy: int = 0


class _Piece(NamedTuple):
    """One signal in one segment, ready for its place: first sample, samples, mask, and their scale."""

    first: int
    samples: NDArray[Any]
    missing: NDArray[Any] | None
    step: Fraction
    offset: Fraction


class _Segment(NamedTuple):
    """One segment as read: header, blocks, and the number of bytes that were read for it."""

    header: Header
    blocks: list[Block]


Fetch = Callable[[str, int], "bytes | None"]


def read_segments(header: Header, fetch: Fetch, notes: Notes, leftovers: list[Leftover]) -> Joined:
    """The joined tracings of a multi-segment record.

    Raises SourceError for segments in segments, and where gaps make the record longer than its files allow.
    """
    return _Joiner(header, fetch, notes, leftovers).joined()


class _Joiner:
    """A multi-segment record while it is put together."""

    def __init__(self, header: Header, fetch: Fetch, notes: Notes, leftovers: list[Leftover]) -> None:
        self.header = header
        self.lines = header.segments or ()
        self.fetch = fetch
        self.notes = notes
        self.leftovers = leftovers
        self.bytes = 0
        self.read: dict[str, _Segment | None] = {}
        self.channels: dict[_Key, Channel] = {}
        self.pieces: dict[_Key, list[_Piece]] = {}

    def joined(self) -> Joined:
        """All segments in their places."""
        variable = bool(self.lines) and self.lines[0].samples == 0
        if variable:
            self._layout(self.lines[0])
        at = 0
        for line in self.lines[variable:]:
            self._segment(line, at, variable=variable)
            at += line.samples
        if self.header.samples is not None and self.header.samples != at:
            self.notes.line("wfdb.segment-sum", self.header.line)
        if at * sum(key.frame for key in self.channels) > MOST_VALUES + VALUES_PER_BYTE * self.bytes:
            raise SourceError("the stated segments are longer than their files allow", f"line {self.header.line}")
        rates: dict[int, list[tuple[int, _Key]]] = {}
        for number, key in enumerate(self.channels, 1):
            rates.setdefault(key.frame, []).append((number, key))
        tracings = [self._tracing(frame, keys, at) for frame, keys in rates.items()]
        places = {frame: index for index, frame in enumerate(rates)}
        return Joined(tracings, [places[key.frame] for key in self.channels])

    # --- reading

    def _layout(self, line: SegmentLine) -> None:
        """The signals that a variable layout announces."""
        data = self.fetch(f"{line.name}.hea", line.line) if line.name != _GAP else None
        if data is None:
            self.notes.line("wfdb.segment-missing", line.line)
            return
        header = self._headed(data, line)
        self._keys(header)

    def _headed(self, data: bytes, line: SegmentLine) -> Header:
        try:
            header = parse_header(data)
        except SourceError as error:
            raise SourceError(error.reason, f"segment of line {line.line}, {error.place}") from None
        if header.segments is not None:
            raise SourceError("a segment has segments of its own", f"line {line.line}")
        self.bytes += len(data)
        for finding in header.findings:
            if finding.severity != "note" and finding.rule not in ("wfdb.samples-missing", "wfdb.time-form"):
                self.notes.at(finding.rule, f"segment of line {line.line}, {finding.place}")
        self.leftovers.extend(
            Leftover(line.line, len(comment.text), "info string of a segment")
            for comment in header.comments
            if comment.text.strip(" \t")
        )
        return header

    def _loaded(self, line: SegmentLine) -> _Segment | None:
        """Header and samples of a segment, read once however often it is named."""
        if line.name not in self.read:
            self.read[line.name] = self._load(line)
        return self.read[line.name]

    def _load(self, line: SegmentLine) -> _Segment | None:
        data = self.fetch(f"{line.name}.hea", line.line)
        if data is None:
            self.notes.line("wfdb.segment-missing", line.line)
            return None
        header = self._headed(data, line)

        def fetch(signal: SignalLine) -> bytes | None:
            found = self.fetch(signal.file, line.line)
            self.bytes += len(found or b"")
            return found

        notes = Notes()
        try:
            blocks = read_signals(header, fetch, notes, self.leftovers)
        except SourceError as error:
            self.notes.at("wfdb.segment-missing", f"segment of line {line.line}, {error.place}", error.reason)
            return None
        for finding in notes.findings():
            self.notes.at(finding.rule, f"segment of line {line.line}, {finding.place}")
        return _Segment(header, blocks)

    def _keys(self, header: Header) -> list[_Key]:
        """The key of each signal of a segment; signals that are new get a channel."""
        counts: Counter[_Key] = Counter()
        keys = []
        for row, signal in enumerate(header.signals):
            channel = channel_of(signal, row)
            plain = _Key(signal.description, channel.unit, signal.frame)
            key = plain._replace(copy=counts[plain])
            counts[plain] += 1
            self.channels.setdefault(key, channel)
            keys.append(key)
        return keys

    def _segment(self, line: SegmentLine, at: int, *, variable: bool) -> None:
        """One segment that begins with frame ``at`` of the record."""
        segment = self._loaded(line) if line.name != _GAP else None
        if segment is None:
            return
        header = segment.header
        if header.rate != self.header.rate:
            self.notes.line("wfdb.segment-rate", line.line)
        if header.samples is not None and header.samples != line.samples:
            self.notes.line("wfdb.segment-length", line.line)
        self._check_start(header, line, at)
        known = set(self.channels)
        keys = self._keys(header)
        if not variable and known and set(keys) != known:
            self.notes.line("wfdb.segment-signals", line.line)
        for block in segment.blocks:
            size = min(block.samples.shape[1], line.samples * block.frame)
            for i, row in enumerate(block.rows):
                gone = None if block.missing is None else block.missing[i, :size]
                channel = channel_of(header.signals[row], row)
                piece = _Piece(at * block.frame, block.samples[i, :size], gone, channel.step, channel.offset)
                self.pieces.setdefault(keys[row], []).append(piece)

    def _check_start(self, header: Header, line: SegmentLine, at: int) -> None:
        """A segment's own start must be its place in the record, to within a frame or two milliseconds."""
        top, own = _time_of_day(self.header), _time_of_day(header)
        if top is None or own is None:
            return
        apart = (own - top - Fraction(at) / self.header.rate) % _DAY
        if min(apart, _DAY - apart) > max(1 / self.header.rate, Fraction(1, 500)):
            self.notes.line("wfdb.segment-start", line.line)

    # --- joining

    def _tracing(self, frame: int, keys: list[tuple[int, _Key]], frames: int) -> Tracing:
        """All signals with so many samples per frame."""
        import numpy as np

        joined = [self._scaled(number, key) for number, key in keys]
        wide = any(piece.samples.dtype != np.int16 for _, pieces in joined for piece in pieces)
        samples = np.zeros((len(keys), frames * frame), dtype=np.int32 if wide else np.int16)
        missing = np.ones(samples.shape, dtype=np.bool_)
        for row, (_, pieces) in enumerate(joined):
            for piece in pieces:
                span = slice(piece.first, piece.first + len(piece.samples))
                samples[row, span] = piece.samples
                missing[row, span] = False if piece.missing is None else piece.missing
        samples.flags.writeable = False
        channels = tuple(channel for channel, _ in joined)
        return Tracing(channels, samples, self.header.rate * frame, missing if missing.any() else None)

    def _scaled(self, number: int, key: _Key) -> tuple[Channel, list[_Piece]]:
        """Channel and pieces of a signal in one scale."""
        channel, pieces = self.channels[key], self.pieces.get(key, [])
        scales = {(piece.step, piece.offset) for piece in pieces}
        if len(scales) <= 1:
            step, offset = next(iter(scales), (channel.step, channel.offset))
            return replace(channel, step=step, offset=offset), pieces
        self.notes.at("wfdb.segment-gain", f"signal {number}")
        origin = pieces[0].offset
        step = _common_step([part for scale in scales for part in (scale[0], scale[1] - origin)])
        return replace(channel, step=step, offset=origin), [_rescaled(piece, step, origin) for piece in pieces]


def _time_of_day(header: Header) -> Fraction | None:
    said = header.moment
    if said is None or said.time is None:
        return None
    hour, minute, second = said.time
    return hour * 3600 + minute * 60 + second + Fraction(f"0.{said.fraction or 0}")


def _common_step(parts: Sequence[Fraction]) -> Fraction:
    """The greatest step of which every part is a whole multiple."""
    below = math.lcm(*(part.denominator for part in parts))
    return Fraction(math.gcd(*(part.numerator * (below // part.denominator) for part in parts)), below)


def _rescaled(piece: _Piece, step: Fraction, origin: Fraction) -> _Piece:
    """The piece in another scale that holds it exactly; SourceError where 32 bits do not."""
    import numpy as np

    factor, shift = piece.step / step, (piece.offset - origin) / step
    values = piece.samples.astype(np.int64)
    low, high = (int(values.min()), int(values.max())) if values.size else (0, 0)
    ends = [factor.numerator * low + shift.numerator, factor.numerator * high + shift.numerator]
    if max(abs(end) for end in ends) >= 2**31:
        raise SourceError("gains change between segments and have no common step that 32 bits hold", "the segments")
    values = values * factor.numerator + shift.numerator
    if piece.missing is not None:
        values[piece.missing] = 0
    narrow = min(0, *ends) >= -(2**15) and max(0, *ends) < 2**15
    return piece._replace(samples=values.astype(np.int16 if narrow else np.int32), step=step, offset=origin)
