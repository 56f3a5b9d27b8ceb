"""Signal files of one record: from bytes to rows of integers, checked against what the header states.

Signals that share a file stand in consecutive lines; a frame holds the samples of all of them, those of one signal
side by side.  Nothing is allocated by what a header claims: every count is first held against the bytes that are there.

Sources: WFDB Applications Guide, header(5) and signal(5); WFDB Programmer's Guide (sentinels).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final

from interchange.errors import SourceError
from interchange.formats.wfdb.codecs import CODECS, FLAC_BITS, Codec
from interchange.formats.wfdb.header import Header, Leftover
from interchange.formats.wfdb.signal_line import SignalLine
from interchange.records import NamedTuple

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interchange.formats.wfdb.notes import Notes

__all__ = ["Block", "read_signals"]

Fetch = Callable[[SignalLine], "bytes | None"]

_PADDING: Final = {212: 1, 310: 2, 311: 2}
"""Samples that may fill up the last group of a packed format."""

_FREE: Final = 1 << 20
_EACH: Final = 16
"""Signals without a file may have a million samples together plus 16 for each true one (a limit of this project)."""

_DIFFERENCES: Final = 8
_NULL: Final = 0


class Block(NamedTuple):
    """All signals of a record that have the same number of samples per frame.

    ``rows``: their places among the header's signals; ``samples``: integers of shape (signals, samples), C order;
    ``missing``: bool of that shape, or None where no sample is missing.
    """

    frame: int
    rows: tuple[int, ...]
    samples: NDArray[Any]
    missing: NDArray[Any] | None


class _Part(NamedTuple):
    """Signals of one file with the same number of samples per frame."""

    frame: int
    rows: tuple[int, ...]
    samples: NDArray[Any]
    missing: NDArray[Any] | None


def read_signals(header: Header, fetch: Fetch, notes: Notes, leftovers: list[Leftover]) -> list[Block]:
    """The samples of a record without segments, one block for each number of samples per frame.

    ``fetch`` gives the bytes of a signal line's file or None.  Raises SourceError when there is no file at all or a
    file cannot be understood.
    """
    groups = _files(header)
    parts: list[_Part] = []
    absent: list[tuple[int, SignalLine]] = []
    for group in groups:
        line = group[0][1]
        data = fetch(line) if line.format != _NULL else None
        if data is None:
            absent.extend(group)
            notes.line("wfdb.null-signal" if line.format == _NULL else "wfdb.file-missing", line.line)
        else:
            parts.extend(_File(group, data, header, notes, leftovers).parts())
    if not parts:
        if any(line.format != _NULL for _, line in absent):
            raise SourceError("names a signal file that is not there", f"line {absent[0][1].line}")
        return []
    frames = max(part.samples.shape[1] // part.frame for part in parts)
    parts.extend(_empties(absent, parts, frames, leftovers))
    return [_joined(frame, same, frames) for frame, same in _by_frame(parts)]


def _files(header: Header) -> list[list[tuple[int, SignalLine]]]:
    """Signals by file; SourceError where lines contradict each other."""
    groups: list[list[tuple[int, SignalLine]]] = []
    seen: set[str] = set()
    last: tuple[str, int] | None = None
    for row, line in enumerate(header.signals):
        if (line.file, line.format) == last:
            groups[-1].append((row, line))
            continue
        if last is not None and line.file == last[0] and _NULL not in (line.format, last[1]):
            raise SourceError("signals of one file state different formats", f"line {line.line}")
        if line.format != _NULL and line.file in seen:
            raise SourceError("the signals of one file do not stand in consecutive lines", f"line {line.line}")
        if line.format != _NULL:
            seen.add(line.file)
        groups.append([(row, line)])
        last = line.file, line.format
    return groups


def _by_frame(parts: Sequence[_Part]) -> list[tuple[int, list[_Part]]]:
    """Parts by their number of samples per frame, in the order in which the header has them."""
    found: dict[int, list[_Part]] = {}
    for part in sorted(parts, key=lambda part: part.rows[0]):
        found.setdefault(part.frame, []).append(part)
    return list(found.items())


def _empties(
    absent: Sequence[tuple[int, SignalLine]], parts: Sequence[_Part], frames: int, leftovers: list[Leftover]
) -> list[_Part]:
    """Parts without samples for signals that have no file, as long as they do not outgrow those that have one."""
    import numpy as np

    room = _FREE + _EACH * sum(part.samples.size for part in parts)
    found: list[_Part] = []
    for row, line in absent:
        size = frames * line.frame
        if size > room:
            leftovers.append(Leftover(line.line, 0, "signal without samples"))
            continue
        room -= size
        found.append(_Part(line.frame, (row,), np.zeros((1, 0), dtype=np.int16), None))
    return found


def _joined(frame: int, parts: list[_Part], frames: int) -> Block:
    """One block of all parts; what is shorter than the others is missing at its end."""
    import numpy as np

    length = frames * frame
    if len(parts) == 1 and parts[0].samples.shape[1] == length:
        return Block(*parts[0])
    order = sorted((row, i, j) for i, part in enumerate(parts) for j, row in enumerate(part.rows))
    kind = np.result_type(*(part.samples.dtype for part in parts))
    samples = np.zeros((len(order), length), dtype=kind)
    missing = np.zeros((len(order), length), dtype=np.bool_)
    for at, (_, i, j) in enumerate(order):
        size = parts[i].samples.shape[1]
        samples[at, :size] = parts[i].samples[j]
        gone = parts[i].missing
        missing[at, :size] = False if gone is None else gone[j]
        missing[at, size:] = True
    return Block(frame, tuple(row for row, _, _ in order), samples, missing if missing.any() else None)


class _File:
    """One signal file and the lines that describe it."""

    def __init__(
        self,
        group: list[tuple[int, SignalLine]],
        data: bytes,
        header: Header,
        notes: Notes,
        leftovers: list[Leftover],
    ) -> None:
        self.rows = [row for row, _ in group]
        self.lines = [line for _, line in group]
        self.first = self.lines[0]
        self.data = data
        self.header = header
        self.notes = notes
        self.leftovers = leftovers
        self.place = f"line {self.first.line}"
        self.width = sum([line.frame for line in self.lines])
        if len({line.offset for line in self.lines}) > 1:
            for line in self.lines:
                if line.offset != self.first.offset:
                    notes.line("wfdb.offset-differs", line.line)

    def parts(self) -> list[_Part]:
        """The file's signals, those with the same number of samples per frame together."""
        if self.first.format in FLAC_BITS:
            return [self._checked(self.first.frame, self.rows, self._flac())]
        codec = CODECS.get(self.first.format)
        if codec is None:
            raise SourceError("states a signal format that there is not", self.place)
        frames = self._plain(codec)
        if self.width == len(self.lines):
            return [self._checked(1, self.rows, self._turned(frames))]
        return [self._checked(frame, rows, samples) for frame, rows, samples in self._spread(frames)]

    # --- samples as they are stored

    def _plain(self, codec: Codec) -> NDArray[Any]:
        """Whole frames, shape (frames, samples per frame over all signals)."""
        stream = memoryview(self.data)[self.first.offset :]
        available = codec.count(len(stream))
        frames = self._length(available // self.width)
        count = frames * self.width
        spare = available - count
        if self.header.samples is not None and spare >= self.width:
            self._surplus(spare * codec.bits // 8)
        elif spare > _PADDING.get(codec.number, 0) or (codec.bits % 8 == 0 and len(stream) * 8 % codec.bits):
            self.notes.at("wfdb.file-odd", self.place)
        if codec.stray is not None and codec.stray(stream):
            self.notes.at("wfdb.packing-bits", self.place)
        return codec.decode(stream, count).reshape(frames, self.width)

    def _flac(self) -> NDArray[Any]:
        import numpy as np

        from interchange.formats.wfdb.flac import FLAC_CHANNELS, FLAC_RATE, decode_flac

        if len({line.frame for line in self.lines}) > 1:
            raise SourceError("signals of one FLAC file state different numbers of samples per frame", self.place)
        if len(self.lines) > FLAC_CHANNELS:
            raise SourceError("a FLAC file cannot hold more than eight signals", self.place)
        frame, stated = self.first.frame, self.header.samples
        most = None if stated is None else stated * frame + 1
        found = decode_flac(self.data[self.first.offset :], len(self.lines), most, self.place)
        if found.rate != FLAC_RATE:
            self.notes.at("wfdb.flac-rate", self.place)
        if found.bits != FLAC_BITS[self.first.format]:
            self.notes.at("wfdb.flac-bits", self.place)
        frames = self._length(len(found.samples) // frame)
        if stated is not None and len(found.samples) > stated * frame:
            self._surplus(0)
        elif len(found.samples) % frame:
            self.notes.at("wfdb.file-odd", self.place)
        return np.ascontiguousarray(found.samples[: frames * frame].T)

    def _length(self, available: int) -> int:
        """Frames to take: what the header states, as far as it is there."""
        stated = self.header.samples
        if stated is None:
            return available
        if available < stated:
            self.notes.at("wfdb.file-short", self.place, f"{available} of {stated} frames")
        return min(available, stated)

    def _surplus(self, size: int) -> None:
        self.notes.at("wfdb.file-long", self.place)
        self.leftovers.append(Leftover(self.first.line, size, "samples behind the stated length"))

    # --- rows of signals

    def _turned(self, frames: NDArray[Any]) -> NDArray[Any]:
        import numpy as np

        kind = np.int16 if frames.dtype.itemsize <= 2 else np.int32
        return np.array(frames.T, dtype=kind, order="C")

    def _spread(self, frames: NDArray[Any]) -> list[tuple[int, list[int], NDArray[Any]]]:
        """(samples per frame, signals, samples) of files in which signals have several samples per frame."""
        import numpy as np

        kind = np.int16 if frames.dtype.itemsize <= 2 else np.int32
        found: dict[int, tuple[list[int], list[NDArray[Any]]]] = {}
        start = 0
        for row, line in zip(self.rows, self.lines, strict=True):
            rows, samples = found.setdefault(line.frame, ([], []))
            rows.append(row)
            samples.append(frames[:, start : start + line.frame].reshape(-1))
            start += line.frame
        return [(frame, rows, np.array(samples, dtype=kind)) for frame, (rows, samples) in found.items()]

    # --- what the header says about them

    def _checked(self, frame: int, rows: list[int], samples: NDArray[Any]) -> _Part:
        lines = [self.header.signals[row] for row in rows]
        if self.first.format == _DIFFERENCES:
            samples = self._summed(samples, lines)
        self._check_sums(samples, lines, frame)
        missing = self._sentinels(samples)
        if any(line.skew for line in lines):
            missing = self._aligned(samples, missing, lines)
        return _Part(frame, tuple(rows), samples, missing)

    def _summed(self, differences: NDArray[Any], lines: list[SignalLine]) -> NDArray[Any]:
        import numpy as np

        sums = np.cumsum(differences, axis=1, dtype=np.int64)
        for row, line in enumerate(lines):
            start = line.initial if line.initial is not None else line.zero or 0
            if sums.shape[1] and not (
                start + int(sums[row].min()) >= -(2**31) and start + int(sums[row].max()) < 2**31
            ):
                raise SourceError("the summed differences leave the range of 32 bits", f"line {line.line}")
            sums[row] += start if sums.shape[1] else 0
        return sums.astype(np.int32)

    def _check_sums(self, samples: NDArray[Any], lines: list[SignalLine], frame: int) -> None:
        import numpy as np

        stated = self.header.samples
        if not samples.shape[1]:
            return
        if stated is not None and stated * frame == samples.shape[1]:
            if samples.dtype == np.int16:
                sums = samples.view(np.uint16).sum(axis=1, dtype=np.uint16).tolist()
            else:
                sums = (samples.sum(axis=1, dtype=np.int64) & 0xFFFF).tolist()
            for line, total in zip(lines, sums, strict=True):
                if line.checksum is not None and line.checksum & 0xFFFF != total:
                    self.notes.line("wfdb.checksum", line.line)
        if self.first.format != _DIFFERENCES:
            for line, value in zip(lines, samples[:, 0].tolist(), strict=True):
                if line.initial is not None and line.initial != value:
                    self.notes.line("wfdb.initial-value", line.line)

    def _sentinels(self, samples: NDArray[Any]) -> NDArray[Any] | None:
        """Mask of missing samples, which are set to 0."""
        form = self.first.format
        sentinel = -(1 << FLAC_BITS[form] - 1) if form in FLAC_BITS else CODECS[form].sentinel
        if sentinel is None or not samples.size or int(samples.min()) > sentinel:
            return None
        missing: NDArray[Any] = samples == sentinel
        samples[missing] = 0
        return missing

    def _aligned(self, samples: NDArray[Any], missing: NDArray[Any] | None, lines: list[SignalLine]) -> NDArray[Any]:
        """Skewed signals moved to their place (skew counts frames, as in the reference library)."""
        import numpy as np

        if missing is None:
            missing = np.zeros(samples.shape, dtype=np.bool_)
        length = samples.shape[1]
        for row, line in enumerate(lines):
            gone = min(line.skew * line.frame, length)
            if gone:
                samples[row, : length - gone] = samples[row, gone:].copy()
                missing[row, : length - gone] = missing[row, gone:].copy()
                samples[row, length - gone :] = 0
                missing[row, length - gone :] = True
                self.notes.line("wfdb.skew", line.line)
                size = gone * (FLAC_BITS.get(line.format) or CODECS[line.format].bits) // 8
                self.leftovers.append(Leftover(line.line, size, "samples that come before sample 0"))
        return missing
