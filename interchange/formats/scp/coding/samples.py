"""From the bytes of sections 5 and 6 to the stored samples of each lead (EN 1064 clauses 5.5, 5.8, 5.9)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from interchange.formats.scp.coding.differences import undo
from interchange.formats.scp.log import Log, at
from interchange.formats.scp.syntax.signal import Block, Signal
from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from interchange.formats.scp.coding.streams import Stream
    from interchange.formats.scp.syntax.tables import Tables

__all__ = ["Plain", "check_end", "counts_that_fit", "fits", "streams", "take", "take_all"]

_LOW, _HIGH = -32768, 32767


@dataclass(frozen=True, slots=True, eq=False)
class Plain:
    """A block of 16-bit integers."""

    values: NDArray[np.int16]
    bits: int
    undecodable: bool = False

    def end(self, count: int) -> int:
        """Bits that the first ``count`` values take."""
        return 16 * count


def _plain(block: bytes) -> Plain:
    """The whole 16-bit integers of a block (EN 1064 clause 5.9)."""
    return Plain(np.frombuffer(block, dtype="<i2", count=len(block) // 2), 8 * len(block))


def streams(data: bytes, signal: Signal, tables: Tables | None) -> list[Stream | None]:
    """One stream per lead; None where the lead cannot be decoded: its codes are cut off, or no table is usable."""
    if tables is None:
        return [_plain(data[block.start : block.end]) for block in signal.blocks]
    if not tables.usable:
        return [None] * len(signal.blocks)
    from interchange.formats.scp.coding.huffman import decode_blocks

    whole = [block for block in signal.blocks if block.is_whole]
    decoded = iter(decode_blocks(data, [(block.start, block.end) for block in whole], tables.tables))
    return [next(decoded) if block.is_whole else None for block in signal.blocks]


def fits(data: bytes, stream: Stream, block: Block, count: int) -> bool:
    """Whether ``count`` values fill the block but for its padding."""
    if count > stream.values.size:
        return False
    rest = stream.bits - stream.end(count)
    return rest < 8 and not _tail(data, block, rest)


def _tail(data: bytes, block: Block, bits: int) -> int:
    """The last bits of a block as a number."""
    size = -(-bits // 8)
    return int.from_bytes(data[block.end - size : block.end], "big") & ((1 << bits) - 1)


def take(
    data: bytes, signal: Signal, number: int, stream: Stream | None, count: int, log: Log
) -> NDArray[np.int32] | None:
    """The first ``count`` samples of lead ``number`` (from 0), differences undone.

    None where they are not there.  Plain integers that end early give those that are there: each of them stands for
    itself, while codes that end early mean that something was read wrongly from the start.
    """
    block = signal.blocks[number]
    place = at(block.start, signal.section)
    if stream is None:
        return None
    if stream.values.size < count:
        if not isinstance(stream, Plain):
            log.add(
                "lead-undecodable" if stream.undecodable else "lead-ends-early",
                place,
                f"lead {number + 1}: {stream.values.size} of {count} samples",
            )
            return None
        if block.is_whole:
            log.add("lead-ends-early", place, f"lead {number + 1}: {stream.values.size} of {count} samples")
    else:
        check_end(data, signal, number, stream, count, log)
    return _samples(stream.values[:count], signal, number, log)


def take_all(
    data: bytes, signal: Signal, found: Sequence[Stream | None], counts: Sequence[int], log: Log
) -> list[NDArray[np.int32] | None]:
    """As :func:`take` for every lead; all at once where all of them are there and alike."""
    there = [stream.values[:count] for stream, count in zip(found, counts, strict=True) if stream is not None]
    alike = len(there) == len(found) and len(set(counts)) == 1
    if alike and all(values.size == counts[0] > 0 for values in there):
        samples = undo(np.array(there), signal.differences)
        if samples is not None and int(samples.min()) >= _LOW and int(samples.max()) <= _HIGH:
            for number, (stream, count) in enumerate(zip(found, counts, strict=True)):
                if stream is not None:
                    check_end(data, signal, number, stream, count, log)
            return list(samples)
    return [
        take(data, signal, number, stream, count, log)
        for number, (stream, count) in enumerate(zip(found, counts, strict=True))
    ]


def check_end(data: bytes, signal: Signal, number: int, stream: Stream, count: int, log: Log) -> None:
    """What lies behind the last sample: nothing but padding of zeros, less than a byte."""
    block = signal.blocks[number]
    rest = stream.bits - stream.end(count)
    if not rest or not block.is_whole:
        return
    tail = _tail(data, block, min(rest, 64))
    place = at(block.end - -(-rest // 8), signal.section)
    detail = f"lead {number + 1}: {rest} bits behind its last sample"
    if rest >= 16 or (rest >= 8 and tail):
        log.add("lead-surplus", place, detail)
    elif rest >= 8:
        log.add("lead-even", place, detail)
    elif tail:
        log.add("padding", place, f"lead {number + 1}")


def _samples(stored: NDArray[Any], signal: Signal, number: int, log: Log) -> NDArray[np.int32] | None:
    samples = undo(stored, signal.differences)
    place = at(signal.blocks[number].start, signal.section)
    if samples is None:
        log.add("value-overflow", place, f"lead {number + 1}")
        return None
    if samples.size:
        low, high = int(samples.min()), int(samples.max())
        if low < _LOW or high > _HIGH:
            log.add("value-range", place, f"lead {number + 1}: {low} to {high}")
    return samples


def counts_that_fit(data: bytes, signal: Signal, found: Sequence[Stream | None], counts: Sequence[int]) -> int:
    """For how many leads the count fits."""
    return sum(
        stream is not None and fits(data, stream, block, count)
        for stream, block, count in zip(found, signal.blocks, counts, strict=True)
    )
