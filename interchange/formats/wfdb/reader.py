"""From a header and the files beside it to a recording of the model."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Final

from interchange.errors import SourceError
from interchange.formats.wfdb.beside import annotators_beside
from interchange.formats.wfdb.channels import channels_of
from interchange.formats.wfdb.header import Comment, Header, Leftover, parse_header
from interchange.formats.wfdb.notes import Notes
from interchange.formats.wfdb.signals import Block, read_signals
from interchange.model import Acquisition, Mark, Moment, Recording, Tracing, Unread

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from typing import TypeAlias

    from interchange.findings import Finding
    from interchange.formats.wfdb.infostrings import InfoString
    from interchange.formats.wfdb.layout import Span
    from interchange.formats.wfdb.mark_files import Listed
    from interchange.formats.wfdb.marks import Ground
    from interchange.model import Extras
    from interchange.sources import Source

    Fetch: TypeAlias = Callable[[str, int], bytes | None]
    """Bytes of a neighbour by plain name, and the header line that names it (0: none)."""

__all__ = ["read"]

_GUARD: Final = "Guard: samples "
_PLACING: Final = ("Tracing ", "Annotations ")
"""How the info strings begin that say where tracings and marks are."""

_ZERO: Final = Fraction(0)
_INFOS: Final = "the info strings"
_MARK: Final = r"marks\[(\d{1,9})\]: "


def read(source: Source) -> Recording:
    """The recording that a header and its files hold.

    Raises SourceError, naming the line, for what cannot be understood; everything tolerated is a finding.
    """
    header = parse_header(source.data)
    notes = Notes()
    stem = source.stem
    if stem and header.name != stem:
        notes.line("wfdb.name-differs", header.line)

    def fetch(name: str, line: int) -> bytes | None:
        try:
            return source.neighbour(name)
        except SourceError as error:
            raise SourceError(error.reason, f"line {line}" if line else _INFOS) from None

    record = _Record(header, source.data, fetch, notes, stem or header.name)
    recording, tracings = record.read()
    prefix = f"{record.stem}."
    names = annotators_beside(record.stem, source.neighbours())
    if names:
        named = {entry.annotator for entry in record.listing}
        named.update(line.file.removeprefix(prefix) for line in header.signals)
        names = [name for name in names if name not in named]
    marks = (*recording.marks, *record.foreign_marks(names, tracings)) if names else recording.marks
    present = tuple([tracing for tracing in tracings if tracing is not None])
    if len(present) < len(tracings) or not all(0 <= mark.tracing < len(present) for mark in marks):
        from interchange.formats.wfdb.told import without_gaps

        present, marks = without_gaps(marks, tracings, record.unread)
    return Recording(
        present,
        recording.patient,
        recording.acquisition,
        recording.measurements,
        marks,
        recording.statements,
        recording.trial,
        recording.document_id,
        recording.deidentification,
        recording.extras,
        tuple(record.all_unread()),
        record.all_findings(),
        recording.format,
    )


class _Record:
    """One record while it is read; the first may name further ones in its info strings, they may not (``part``).

    ``in_lines``: numbers of the marks that the first record tells in full.  ``counted``: whether signals still have the
    numbers that info strings give them; ``edited``: whether annotations were changed since info strings told marks.
    """

    def __init__(
        self,
        header: Header,
        data: bytes,
        fetch: Fetch,
        notes: Notes,
        stem: str,
        *,
        part: bool = False,
        in_lines: frozenset[int] = frozenset(),
    ) -> None:
        self.header = header
        self.fetch = fetch
        self.notes = notes
        self.stem = stem
        self.part = part
        self.own: list[str] = []
        self.infos: list[InfoString] = []
        self.layout: list[Span] = []
        self.listing: list[Listed] = []
        comments = [comment for comment in header.comments if comment.info] if header.comments else ()
        self.unread: list[Unread] = []
        self.counted = True
        self.edited = False
        if comments:
            self._sort(comments, data)
        self.in_lines = in_lines if part or not self.own else frozenset(_mark_numbers(self.own))
        self.leftovers: list[Leftover] = list(header.leftovers)
        self.findings: list[Finding] = []
        self.places: list[Mark | int] = []
        self.parts: dict[str, tuple[_Record, Tracing] | None] = {}
        self.owners: list[tuple[int, Fraction]] = []
        self.rows: list[tuple[int, ...]] = []

    def _sort(self, comments: Sequence[Comment], data: bytes) -> None:
        """Lines of the model, lines that place tracings and marks, and all others; those that a guard lets pass."""
        from interchange.formats.wfdb.infostrings import unwrapped
        from interchange.formats.wfdb.model_lines import is_own

        placing: list[str] = []
        guard = ""
        for info in unwrapped(comments):
            if info.text.startswith(_GUARD):
                guard = info.text
                continue
            if is_own(info.text):
                self.own.append(info.text)
                continue
            self.infos.append(info)
            if info.text.startswith(_PLACING):
                placing.append(info.text)
        if placing:
            from interchange.formats.wfdb.layout import spans
            from interchange.formats.wfdb.mark_files import listed

            self.layout = [] if self.part else spans(placing)
            self.listing = listed(placing)
        if guard:
            self._heed(guard, data)

    def _heed(self, text: str, data: bytes) -> None:
        """Leave out lines that speak of signals or annotations as they were before somebody changed them."""
        from interchange.formats.wfdb.guard import guard_of, guarded

        said, found = guard_of(text), guarded(data)
        if said == found:
            return
        signals = said is not None and said.signals == found.signals
        self.counted = said is not None and said.samples == found.samples
        self.edited = said is None or said.annotations != found.annotations
        kept = [line for line in self.own if self._is_fit(line, signals)]
        gone = len(self.own) - len(kept)
        if not self.counted:
            gone += len(self.layout)
            for span in self.layout:
                if span.record is not None:
                    self.notes.at("wfdb.further-record", f"further record of tracing {span.number + 1}")
            self.layout = []
        self.own = kept
        self.stale(gone)

    def _is_fit(self, line: str, signals: bool) -> bool:
        if line.startswith("tracings["):
            return signals
        return not line.startswith("marks[") or (self.counted and not self.edited)

    def stale(self, count: int) -> None:
        """So many lines speak of what was changed since they were written."""
        self.notes.at("wfdb.lines-stale", _INFOS, f"{count} lines" if count else "")
        if count:
            self.unread.append(Unread(_INFOS, 0, f"{count} lines about signals or annotations that were changed since"))

    def read(self) -> tuple[Recording, list[Tracing | None]]:
        """The recording without its tracings, and the tracings, None for those that are not there."""
        tracings = self._tracings()
        recording = self._plain([info for info in self.infos if not self._is_ours(info.text)])
        if self.own:
            from interchange.formats.wfdb.told import with_lines

            recording, tracings = with_lines(recording, tracings, self.own, self.notes, self.unread)
        ground = self.ground(tracings) if self.listing else None
        if ground is not None:
            from interchange.formats.wfdb.marks import own_marks

            found = own_marks(self.listing, self.annotations, ground, self.in_lines, self.notes, self.unread)
            self.places[:0] = found.places
            self.edited |= found.edited
        if self.places and not self.part:
            recording = recording.with_(marks=self._in_place(recording.marks))
        return recording, tracings

    def _in_place(self, told: Sequence[Mark]) -> tuple[Mark, ...]:
        """Marks of annotation files, with those that info strings tell in their places; what has no place comes last.

        Where annotations were edited, a mark without a place may be one that somebody took out.
        """
        placed = {place for place in self.places if isinstance(place, int)}
        found = [place if isinstance(place, Mark) else told[place] for place in self.places if _is_there(place, told)]
        rest = [mark for number, mark in enumerate(told) if number not in placed]
        if rest and self.edited:
            self.stale(len(rest))
            return tuple(found)
        return (*found, *rest)

    def annotations(self, annotator: str) -> bytes | None:
        """The bytes of an annotation file of this record."""
        return self.fetch(f"{self.stem}.{annotator}", 0)

    def foreign_marks(self, names: Sequence[str], tracings: Sequence[Tracing | None]) -> list[Mark]:
        """Marks of annotation files that merely lie beside the record; ``names`` are their suffixes."""
        from interchange.formats.wfdb.marks import foreign_marks, unplaced

        ground = self.ground(tracings)
        if ground is None:
            self.unread.extend(unplaced(names, self.annotations))
            return []
        return foreign_marks(names, self.annotations, ground, self.notes, self.unread)

    def ground(self, tracings: Sequence[Tracing | None]) -> Ground | None:
        """What marks stand on; None where there are no signals."""
        channels: list[tuple[int, Fraction, str]] = []
        rows: dict[int, int] = {}
        if self.rows:
            owners = sorted((row, index) for index, found in enumerate(self.rows) for row in found)
            self.owners = [(index, _ZERO) for _, index in owners]
        for index, start in self.owners:
            tracing = tracings[index]
            row = rows.get(index, 0)
            rows[index] = row + 1
            channels.append((index, start, tracing.channels[row].name if tracing is not None else ""))
        if not channels:
            return None
        from interchange.formats.wfdb.marks import Ground

        frames = self.header.samples or 0
        return Ground(self.header.rate, frames, channels[0][0], channels if self.counted else [])

    def all_findings(self) -> tuple[Finding, ...]:
        """Findings of the header, of everything else, and of further records."""
        return (*self.header.findings, *self.notes.findings(), *self.findings)

    def all_unread(self) -> list[Unread]:
        """What was not taken, in the order of the header."""
        found = [Unread(f"line {left.line}", left.size, left.what) for left in self.leftovers]
        found.extend(
            Unread(f"line {comment.line}", len(comment.text), "comment that is no info string")
            for comment in self.header.comments
            if not comment.info and comment.text.strip(" \t")
        )
        return found + self.unread

    def _is_ours(self, text: str) -> bool:
        if not text.startswith(_PLACING):
            return False
        from interchange.formats.wfdb.layout import is_layout
        from interchange.formats.wfdb.mark_files import is_listing

        return (bool(self.layout) and is_layout(text)) or is_listing(text)

    def _tracings(self) -> list[Tracing | None]:
        if self.header.segments is not None:
            return self._segments()
        blocks = read_signals(self.header, lambda line: self.fetch(line.file, line.line), self.notes, self.leftovers)
        if not self.layout:
            return self._whole(blocks)
        from interchange.formats.wfdb.assembly import cut

        found = cut(self.header, blocks, self.layout, self.notes)
        if found is None:
            self.notes.at("wfdb.layout", _INFOS)
            return self._whole(blocks)
        for span, tracing in zip(self.layout, found, strict=True):
            if tracing is not None:
                self.owners.extend((span.number, tracing.start) for _ in span.signals)
        return [
            self._further(span) if span.record is not None else tracing
            for span, tracing in zip(self.layout, found, strict=True)
        ]

    def _whole(self, blocks: Sequence[Block]) -> list[Tracing | None]:
        """A tracing of all signals of each block."""
        self.rows = [block.rows for block in blocks]
        found: list[Tracing | None] = []
        for block in blocks:
            block.samples.flags.writeable = False
            channels = channels_of(self.header.signals, block.rows, self.notes)
            found.append(Tracing(channels, block.samples, self.header.rate * block.frame, block.missing))
        return found

    def _segments(self) -> list[Tracing | None]:
        from interchange.formats.wfdb.segments import read_segments

        joined = read_segments(self.header, self.fetch, self.notes, self.leftovers)
        self.owners = [(index, _ZERO) for index in joined.owners]
        return list(joined.tracings)

    def _further(self, span: Span) -> Tracing | None:
        """The tracing of a further record, None (and a finding) where it cannot be had.

        A name that two lines give is read once, and its marks count once: the work stays in line with the size of the
        files.
        """
        place = f"further record of tracing {span.number + 1}"
        name = span.record or ""
        known = name in self.parts
        if not known:
            self.parts[name] = self._part(name, place)
        part = self.parts[name]
        if part is None:
            return None
        if known and part[0].places:
            self.notes.at("wfdb.further-record", place)
            return None
        record, tracing = part
        self.edited |= record.edited
        self.places.extend(
            replace(entry, tracing=span.number) if isinstance(entry, Mark) else entry for entry in record.places
        )
        return tracing

    def _part(self, name: str, place: str) -> tuple[_Record, Tracing] | None:
        try:
            data = self.fetch(f"{name}.hea", 0) if name != self.stem else None
            if data is None:
                self.notes.at("wfdb.further-record", place)
                return None
            part = _Record(parse_header(data), data, self.fetch, Notes(), name, part=True, in_lines=self.in_lines)
            _, tracings = part.read()
        except SourceError as error:
            self.notes.at("wfdb.further-record", place, error.place)
            return None
        self.findings.extend(replace(finding, place=f"{place}, {finding.place}") for finding in part.all_findings())
        self.unread.extend(replace(left, place=f"{place}, {left.place}") for left in part.all_unread())
        return (part, tracings[0]) if tracings and tracings[0] is not None else None

    def _plain(self, infos: Sequence[InfoString]) -> Recording:
        """The recording without tracings and lines of the model: header fields, customary keys, remarks."""
        time = _moment(self.header)
        if not infos:
            about = Acquisition(time=time) if time is not None else Acquisition()
            return Recording(acquisition=about, extras=_counter(self.header), format="wfdb")
        from interchange.formats.wfdb.comments import told

        story = told(infos, self.notes)
        return Recording(
            patient=story.who(),
            acquisition=Acquisition(time=time or story.day, study=story.study, remarks=tuple(story.remarks)),
            statements=tuple(story.statements),
            extras=_counter(self.header),
            format="wfdb",
        )


def _is_there(place: Mark | int, told: Sequence[Mark]) -> bool:
    return isinstance(place, Mark) or place < len(told)


def _mark_numbers(lines: Sequence[str]) -> Iterator[int]:
    """The N of every line ``marks[N]: ...``."""
    for text in lines:
        match = re.match(_MARK, text, re.ASCII)
        if match is not None:
            yield int(match[1])


def _moment(header: Header) -> Moment | None:
    said = header.moment
    if said is None or (said.date is None and said.time is None):
        return None
    year, month, day = said.date or (None, None, None)
    if said.time is None:
        return Moment(year, month, day)
    hour, minute, second = said.time
    exact = Fraction(f"{second}.{said.fraction}") if said.fraction else Fraction(second)
    return Moment(year, month, day, hour, minute, exact)


def _counter(header: Header) -> Extras:
    """Counter frequency and base value, which only this format knows."""
    if header.counter_rate is None and not header.counter_base:
        return ()
    from interchange.model.lines import decimal

    found = []
    if header.counter_rate is not None and header.counter_rate != header.rate:
        found.append(("wfdb.counter-frequency", decimal(header.counter_rate)))
    if header.counter_base:
        found.append(("wfdb.counter-base", decimal(header.counter_base)))
    return tuple(found)
