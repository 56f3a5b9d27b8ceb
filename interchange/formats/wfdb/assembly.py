"""Tracings of a record: blocks of signals, laid out as the info strings say.

A further record that is named and not there leaves a gap
in the numbering (None), so that what is said of the other tracings stays right.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from interchange.formats.wfdb.channels import channels_of
from interchange.formats.wfdb.header import Header
from interchange.formats.wfdb.layout import Span
from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.signals import Block
from interchange.model import Tracing

__all__ = ["cut"]


def cut(header: Header, blocks: Sequence[Block], layout: Sequence[Span], notes: Notes) -> list[Tracing | None] | None:
    """One tracing for each span inside the record, None for the others; None alone where the spans do not fit.

    They fit when together they name every signal once, in order, and each lies within one block.
    """
    end = 0
    for span in layout:
        if span.record is None and (span.signals.start != end or not span.signals):
            return None
        end = span.signals.stop if span.record is None else end
    if end != len(header.signals):
        return None
    places = {row: (block, at) for block in blocks for at, row in enumerate(block.rows)}
    found: list[Tracing | None] = []
    for span in layout:
        tracing = None if span.record is not None else _part(header, places, span, notes)
        if tracing is None and span.record is None:
            return None
        found.append(tracing)
    return found


def _part(header: Header, places: dict[int, tuple[Block, int]], span: Span, notes: Notes) -> Tracing | None:
    """The signals and samples of one span."""
    block, first = places.get(span.signals.start, (None, 0))
    if block is None:
        return None
    rows = slice(first, first + len(span.signals))
    if block.rows[rows] != tuple(span.signals) or span.samples.stop > block.samples.shape[1]:
        return None
    window = slice(span.samples.start, span.samples.stop)
    samples = block.samples[rows, window].copy()
    samples.flags.writeable = False
    rate = header.rate * block.frame
    return Tracing(
        channels_of(header.signals, tuple(span.signals), notes),
        samples,
        rate,
        None if block.missing is None else block.missing[rows, window],
        Fraction(span.samples.start) / rate,
    )
