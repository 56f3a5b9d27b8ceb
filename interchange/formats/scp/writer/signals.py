"""Tracings to sections 2, 3, 5 and 6 (EN 1064 clauses 5.5, 5.6, 5.8, 5.9)."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from interchange.errors import RefusedError
from interchange.formats.contract import Note
from interchange.formats.scp.coding.rebuild import Rhythm, Wave
from interchange.formats.scp.syntax.leads import Lead
from interchange.formats.scp.syntax.signal import LONGEST_BLOCK, build_signal
from interchange.formats.scp.writer.plan import FilePlan, Placed
from interchange.formats.scp.writer.scale import Row, Scaled, scale
from interchange.model import Channel
from interchange.records import dataclass

__all__ = ["Signals", "encode_signals", "lead_code"]


@dataclass(frozen=True, slots=True, eq=False)
class Signals:
    """Section bodies, the leads, and what a reader will decode from them (without decoding it)."""

    leads: tuple[Lead, ...]
    rhythm: Rhythm | None
    beat: Rhythm | None
    bodies: dict[int, bytes]
    groups: tuple[tuple[int, int, int], ...]
    huffman: bool
    notes: tuple[Note, ...]


def lead_code(channel: Channel) -> int:
    """The lead code to write: only one that was seen in a published table, else 0."""
    return _code(channel.name, channel.origin == "derived")


@lru_cache(maxsize=1024)
def _code(name: str, is_derived: bool) -> int:
    from interchange.vocabulary import lead_for_channel

    for derived in (is_derived, False):
        row = lead_for_channel(name, derived)
        if row is not None and row.scp_id and row.scp_confidence == "SEEN":
            return row.scp_id
    return 0


def encode_signals(file: FilePlan, huffman: bool) -> Signals:
    """The signal sections of one file.  RefusedError for leads that no coding brings into 65,535 bytes."""
    notes: list[Note] = []
    leads, rows, groups = _layout(file, notes)
    beat = _beat_rows(file, notes)
    if not huffman and any(2 * row.samples.size > LONGEST_BLOCK for row in (*rows, *beat)):
        huffman = True
        notes.append(Note("info", "", "rhythm data Huffman coded: a lead is too long for 16-bit integers"))
    bodies: dict[int, bytes] = {}
    found: list[Rhythm | None] = [None, None]
    if rows:
        interval = round(1_000_000 / file.rhythms[0].tracing.rate)
        index = file.rhythms[0].index
        found[0], bodies[6] = _signal(rows, interval, huffman, f"tracings[{index}]", notes)
        _note_interval(file.rhythms, interval, notes)
    if file.beat is not None:
        interval = round(1_000_000 / file.beat.tracing.rate)
        found[1], bodies[5] = _signal(beat, interval, huffman, f"tracings[{file.beat.index}]", notes)
        _note_interval([file.beat], interval, notes)
    return Signals(tuple(leads), found[0], found[1], bodies, groups, huffman, tuple(notes))


def _layout(file: FilePlan, notes: list[Note]) -> tuple[list[Lead], list[Row], tuple[tuple[int, int, int], ...]]:
    """Leads and rows in the order of the file; leads without samples at their ends are shorter."""
    leads: list[Lead] = []
    rows: list[Row] = []
    groups = []
    for placed in file.rhythms:
        tracing = placed.tracing
        groups.append((len(tracing.channels), placed.first, placed.first + tracing.length - 1))
        for number, channel in enumerate(tracing.channels):
            begin, end = _known(placed, number)
            leads.append(Lead(placed.first + begin, placed.first + end - 1, lead_code(channel)))
            rows.append(_row(placed, number, slice(begin, end), notes))
    if not leads and file.beat is not None:
        beat = file.beat.tracing
        leads = [Lead(1, beat.length, lead_code(channel)) for channel in beat.channels]
    return leads, rows, tuple(groups)


def _known(placed: Placed, number: int) -> tuple[int, int]:
    """First and behind-last index of the samples of a lead that are known."""
    tracing = placed.tracing
    missing = tracing.missing[number] if tracing.missing is not None else None
    if missing is None or not missing.any():
        return 0, tracing.length
    there = np.flatnonzero(~missing)
    return int(there[0]), int(there[-1]) + 1


def _row(placed: Placed, number: int, part: slice, notes: list[Note]) -> Row:
    """A part of a lead; a note where samples of it are missing."""
    tracing, channel = placed.tracing, placed.tracing.channels[number]
    missing = tracing.missing[number, part] if tracing.missing is not None else None
    if missing is None or not missing.any():
        return Row(tracing.samples[number, part], channel.step, channel.offset)
    path = f"tracings[{placed.index}].missing"
    notes.append(Note("changed", path, "SCP-ECG cannot say that samples are missing: they are written as 0"))
    return Row(tracing.samples[number, part], channel.step, channel.offset, missing)


def _beat_rows(file: FilePlan, notes: list[Note]) -> list[Row]:
    """The rows of the reference beat in the order of the leads, all of which it has."""
    if file.beat is None:
        return []
    tracing = file.beat.tracing
    if not file.rhythms:
        return [_row(file.beat, number, slice(None), notes) for number in range(len(tracing.channels))]
    names = [name for placed in file.rhythms for name in placed.tracing.names]
    return [_row(file.beat, tracing.names.index(name), slice(None), notes) for name in names]


def _note_interval(placed: Sequence[Placed], interval: int, notes: list[Note]) -> None:
    for entry in placed:
        if entry.tracing.rate * interval != 1_000_000:
            reason = f"samples are whole microseconds apart: {interval}"
            notes.append(Note("changed", f"tracings[{entry.index}].rate", reason))


def _signal(rows: Sequence[Row], interval: int, huffman: bool, path: str, notes: list[Note]) -> tuple[Rhythm, bytes]:
    there = scale(rows)
    if not there.exact:
        reason = f"no step of whole nanovolts holds all values in 16 bits; {there.step} nV moves them least"
        notes.append(Note("changed", f"{path}.samples", reason))
    order, blocks = _blocks(there, huffman)
    for block in blocks:
        if len(block) > LONGEST_BLOCK:
            raise RefusedError(
                f"a lead takes {len(block)} bytes and the format holds {LONGEST_BLOCK}: the recording is too long", path
            )
    body = build_signal(there.step, interval, order, blocks)
    return Rhythm(tuple(map(Wave, there.rows)), there.step, interval), body


def _blocks(found: Scaled, huffman: bool) -> tuple[int, list[bytes]]:
    if not huffman:
        return 0, [counts.astype("<i2", copy=False).tobytes() for counts in found.rows]
    from interchange.formats.scp.coding.packing import best_order, pack_all

    order = best_order(found.rows)
    return order, pack_all(found.rows, order)
