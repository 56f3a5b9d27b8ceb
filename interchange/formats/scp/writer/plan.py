"""Which tracings go into which file.

The main record holds rhythms of one rate whose leads occur once, and one reference beat of all these leads: section 4
gives one length for all leads of section 5.  Every other tracing goes into a further file of its own.
"""

from __future__ import annotations

from dataclasses import field
from fractions import Fraction
from typing import Final

from interchange.errors import RefusedError
from interchange.formats.contract import Note
from interchange.model import Recording, Tracing
from interchange.records import dataclass

__all__ = ["FilePlan", "Placed", "beat_length", "plan_files"]

_MOST_LEADS: Final = 255
_LAST_SAMPLE: Final = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class Placed:
    """A tracing of the recording (``index``) with the rows that are written, and where it begins in its file."""

    index: int
    tracing: Tracing
    first: int = 1


@dataclass(slots=True)
class FilePlan:
    """What one file holds; ``start`` is where its first sample lies in the recording, in seconds."""

    rhythms: list[Placed] = field(default_factory=list)
    beat: Placed | None = None
    start: Fraction = Fraction(0)

    @property
    def names(self) -> set[str]:
        """Names of all leads of the rhythm."""
        return {name for placed in self.rhythms for name in placed.tracing.names}

    @property
    def only(self) -> Placed:
        """The one tracing of a further file."""
        placed = self.rhythms[0] if self.rhythms else self.beat
        assert placed is not None
        return placed

    @property
    def indices(self) -> list[int]:
        """Tracings of the recording that are in this file, in the order in which a reader finds them."""
        return [placed.index for placed in (*self.rhythms, *((self.beat,) if self.beat else ()))]


def plan_files(recording: Recording) -> tuple[list[FilePlan], list[Note]]:
    """The files, the main one first, and notes on what is not written."""
    notes: list[Note] = []
    files = [FilePlan()]
    kept = [(index, _writable(index, tracing, notes)) for index, tracing in enumerate(recording.tracings)]
    for index, tracing in kept:
        if tracing is not None and tracing.kind == "rhythm":
            _place_rhythm(files, index, tracing)
    for index, tracing in kept:
        if tracing is not None and tracing.kind == "representative beat":
            _place_beat(files, index, tracing)
    return files, notes


def _writable(index: int, tracing: Tracing, notes: list[Note]) -> Tracing | None:
    """The tracing with the rows that the format can hold."""
    rows = []
    for row, channel in enumerate(tracing.channels):
        path = f"tracings[{index}].channels[{row}]"
        if channel.unit != "uV":
            notes.append(Note("left", path, "SCP-ECG holds voltages of leads only"))
        elif tracing.missing is not None and tracing.missing[row].all():
            notes.append(Note("left", path, "SCP-ECG cannot say that samples are missing, and all of this lead are"))
        else:
            rows.append(row)
    if not rows or not tracing.length:
        notes.append(Note("left", f"tracings[{index}]", "no channel of it can be held"))
        return None
    if len(rows) > _MOST_LEADS:
        raise RefusedError(f"one record holds at most {_MOST_LEADS} leads", f"tracings[{index}].channels")
    if not 1 <= round(1_000_000 / tracing.rate) <= 0xFFFF:
        raise RefusedError("the interval between samples is beyond 1 to 65535 microseconds", f"tracings[{index}].rate")
    if tracing.kind == "representative beat" and beat_length(tracing) is None:
        reason = "SCP-ECG gives the length of a representative beat in whole milliseconds, at most 65535"
        notes.append(Note("left", f"tracings[{index}]", reason))
        return None
    return tracing if len(rows) == len(tracing.channels) else tracing.take(rows)


def beat_length(beat: Tracing) -> int | None:
    """Milliseconds of a representative beat from which a reader gets its number of samples; None if there are none."""
    interval = round(1_000_000 / beat.rate)
    length = round(Fraction(beat.length * interval, 1000))
    count, rest = divmod(1000 * length, interval)
    count += 2 * rest >= interval
    return length if count == beat.length and length <= 0xFFFF else None


def _place_rhythm(files: list[FilePlan], index: int, tracing: Tracing) -> None:
    main = files[0]
    if not main.rhythms:
        first = max(round(tracing.start * tracing.rate), 0) + 1
        main.rhythms.append(Placed(index, tracing, first if first + tracing.length <= _LAST_SAMPLE else 1))
        return
    offset = tracing.start * tracing.rate
    if (
        main.rhythms[0].tracing.rate == tracing.rate
        and offset.denominator == 1
        and 0 <= offset < _LAST_SAMPLE - tracing.length
        and not main.names & set(tracing.names)
        and sum(len(p.tracing.channels) for p in main.rhythms) + len(tracing.channels) <= _MOST_LEADS
    ):
        main.rhythms.append(Placed(index, tracing, int(offset) + 1))
    else:
        files.append(FilePlan([Placed(index, tracing)], start=tracing.start))


def _place_beat(files: list[FilePlan], index: int, tracing: Tracing) -> None:
    main = files[0]
    names = [name for placed in main.rhythms for name in placed.tracing.names]
    own = set(tracing.names)
    if (
        main.beat is None
        and own == set(names)
        and len(own) == len(tracing.names)
        and all(names.count(name) == 1 for name in own)
        and (tracing.of is None or tracing.of in main.indices)
    ) or (not main.rhythms and main.beat is None):
        main.beat = Placed(index, tracing)
    else:
        files.append(FilePlan(beat=Placed(index, tracing)))
