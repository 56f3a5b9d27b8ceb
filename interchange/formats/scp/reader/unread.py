"""What of a record was not taken into the model: place, size, and a word on what it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from interchange.formats.scp.log import at
from interchange.formats.scp.maps import AGE_UNITS, HEIGHT_UNITS, WEIGHT_UNITS
from interchange.formats.scp.reader.tracings import Group
from interchange.formats.scp.syntax.document import Document
from interchange.formats.scp.syntax.frame import Section
from interchange.formats.scp.syntax.header import Field
from interchange.formats.scp.syntax.tags import tag_of
from interchange.formats.scp.syntax.values import Clock, Date, Number, Quantity, Text
from interchange.model import Unread

if TYPE_CHECKING:
    from interchange.formats.scp.carried import Carried
    from interchange.model import Tracing

__all__ = ["find_unread"]

_NEW_SECTIONS = {
    12: "long-term rhythm data",
    13: "protocol and stress test data",
    14: "selected sequences",
    15: "beat-by-beat measurements",
    16: "measurements of selected beats",
    17: "pacing spike measurements",
    18: "further annotations",
}


def find_unread(document: Document, groups: list[Group], beat: Tracing | None, carried: Carried) -> tuple[Unread, ...]:
    """Everything that was left, in the order of the sections; ``beat``: the representative beat that was read."""
    found = (
        _fields(document),
        _leads(document, groups),
        _contents(document, bool(groups), beat, carried),
        _sections(document),
        _gaps(document),
    )
    return tuple(entry for part in found for entry in part)


def _fields(document: Document) -> Iterator[Unread]:
    met: set[int] = set()
    for entry in document.header.fields:
        row = tag_of(entry.tag)
        place = at(entry.offset, 1)
        if row is None:
            owner = "a manufacturer's field" if 200 <= entry.tag <= 254 else "a field that is not defined"
            yield Unread(place, entry.size, f"{owner} (tag {entry.tag})")
        elif entry.raw and entry.value is None:
            yield Unread(place, entry.size, f"{row.name} that cannot be understood (tag {entry.tag})")
        elif entry.tag in met and not row.repeats:
            yield Unread(place, entry.size, f"{row.name} once more (tag {entry.tag})")
        elif _is_beyond_the_model(entry):
            yield Unread(place, entry.size, f"{row.name} without a meaning (tag {entry.tag})")
        if _says_something(entry):
            met.add(entry.tag)


def _says_something(entry: Field) -> bool:
    """Whether this is the field that was taken: of several with one tag the first that holds anything."""
    return bool(entry.value.text) if isinstance(entry.value, Text) else entry.value is not None


def _is_beyond_the_model(entry: Field) -> bool:
    """Whether a value was understood and has no place in the model: an unknown unit, an impossible date."""
    value = entry.value
    if isinstance(value, Quantity):
        units = {4: AGE_UNITS, 6: HEIGHT_UNITS, 7: WEIGHT_UNITS}[entry.tag]
        return value.value > 0 and value.unit not in units
    if isinstance(value, Date):
        is_year = entry.tag == 5 and 1 <= value.year <= 9999 and value.month == value.day == 0
        return value.is_given and not value.is_possible and not is_year
    if isinstance(value, Clock):
        return not value.is_possible
    return isinstance(value, Number) and entry.tag == 8 and value.value not in (0, 1, 2, 9)


def _leads(document: Document, groups: list[Group]) -> Iterator[Unread]:
    """Leads without any sample that could be decoded and without a tracing that they belong to."""
    section = document.frame.section(5)
    if section is not None and document.beat_signal is None and section.body.strip(b"\0"):
        yield Unread(section.place(), len(section.body), "a reference beat that cannot be decoded")
    for found in filter(None, (document.beat_signal, document.rhythm_signal)):
        for block in found.further:
            what = "data of a lead that section 3 does not name"
            yield Unread(at(block.start, found.section), block.end - block.start, what)
    signal = document.rhythm_signal
    shown = {index for group in groups for index in group.leads}
    if signal is None or document.rhythm is None:
        return
    for index, block in enumerate(signal.blocks):
        if index not in shown:
            yield Unread(at(block.start, 6), block.end - block.start, f"data of lead {index + 1}, not decoded")


def _contents(document: Document, has_rhythm: bool, beat: Tracing | None, carried: Carried) -> Iterable[Unread]:
    there = (document.beats, document.globals, document.report, document.coded, document.frame.section(10))
    if all(part is None for part in there):
        return ()
    from interchange.formats.scp.reader.leftovers import find_leftovers

    return find_leftovers(document, has_rhythm, beat, carried)


def _sections(document: Document) -> Iterator[Unread]:
    for section in document.frame.sections:
        what = _name(section)
        if what:
            yield Unread(at(section.offset, section.id), section.end - section.offset, what)


def _name(section: Section) -> str | None:
    if section.id <= 11:
        return "a manufacturer's interpretation" if section.id == 9 and section.body else None
    if section.id in _NEW_SECTIONS:
        return f"section {section.id}: {_NEW_SECTIONS[section.id]}, of unknown layout"
    owner = "a manufacturer's section" if 128 <= section.id <= 1023 else "a section that is not defined"
    return f"{owner} ({section.id})"


def _gaps(document: Document) -> Iterator[Unread]:
    """Bytes that belong to no section."""
    frame = document.frame
    end = 6
    for section in sorted(frame.sections, key=lambda s: s.offset):
        if section.offset > end:
            yield Unread(at(end), section.offset - end, "bytes between sections")
        end = max(end, section.offset + section.length)
    if end < len(frame.data):
        yield Unread(at(end), len(frame.data) - end, "bytes behind the last section")
