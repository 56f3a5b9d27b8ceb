"""The annotation files of a record, read: those that its header names, and those that merely lie beside it.

Annotation files share the record's name and are named nowhere by the format itself.  A neighbour counts as one when it
is well formed from first to last, or bears a customary annotator's name.

Sources: WFDB Applications Guide, annot(5); WFDB Programmer's Guide (annotators).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from fractions import Fraction

from interchange.errors import SourceError
from interchange.formats.wfdb.annotations import AnnotationFile, is_annotation_file, parse_annotations
from interchange.formats.wfdb.customary import CUSTOMARY
from interchange.formats.wfdb.fresh import fingerprint, is_fresh
from interchange.formats.wfdb.mark_codes import Setting, marks_of
from interchange.formats.wfdb.mark_files import Listed, mark_in_line, without_flag
from interchange.formats.wfdb.notes import Notes
from interchange.model import Mark, Unread
from interchange.records import NamedTuple

__all__ = ["Ground", "foreign_marks", "own_marks", "unplaced"]

Fetch = Callable[[str], "bytes | None"]
"""Bytes of the annotation file with that annotator."""


class Ground(NamedTuple):
    """What marks of a record stand on.

    ``rate``: frames per second; ``frames``: length of the record; ``tracing``: index of the tracing that marks are on
    when nothing else is said; ``channels``: tracing, its start and the lead of each signal.
    """

    rate: Fraction
    frames: int
    tracing: int
    channels: Sequence[tuple[int, Fraction, str]]


class Placed(NamedTuple):
    """Marks, or numbers of marks that info strings tell, and whether an annotation file was edited since."""

    places: list[Mark | int]
    edited: bool


def own_marks(
    named: Sequence[Listed],
    fetch: Fetch,
    ground: Ground,
    in_lines: Collection[int],
    notes: Notes,
    unread: list[Unread],
) -> Placed:
    """Marks of the files that the header names, in order; a file that is named again is not read again.

    ``in_lines`` are the numbers of the marks that info strings tell in full; such a number stands in place of its mark,
    but for files that somebody edited since.
    """
    edited = False
    found: list[Mark | int] = []
    seen: set[str] = set()
    for number, entry in enumerate(named, 1):
        if entry.annotator in seen:
            continue
        seen.add(entry.annotator)
        place = f"annotation file {number} of the info strings"
        data = fetch(entry.annotator)
        if data is None:
            notes.at("wfdb.annotation-missing", place)
            continue
        sound = entry.annotator.endswith(fingerprint(data))
        if not sound:
            notes.at("wfdb.annotation-changed", place)
            edited = True
        file = _parsed(data, place, notes, unread)
        if file is None:
            continue
        setting = Setting(file.resolution or ground.rate, entry.group, ground.tracing, ground.channels, file.own_types)
        in_line = [mark_in_line(item) for item in file.annotations]
        marks = marks_of([without_flag(item) for item in file.annotations], setting)
        found.extend(
            told if sound and told is not None and told in in_lines else mark
            for mark, told in zip(marks, in_line, strict=True)
        )
    if len(seen) < len(named):
        words = f"{len(named) - len(seen)} lines that name an annotation file again"
        unread.append(Unread("the info strings", 0, words))
    return Placed(found, edited)


def foreign_marks(
    names: Sequence[str],
    fetch: Fetch,
    ground: Ground,
    notes: Notes,
    unread: list[Unread],
) -> list[Mark]:
    """Marks of annotation files that lie beside the record; ``names`` are suffixes of its neighbours."""
    found: list[Mark] = []
    for annotator in names:
        suffix = annotator.lower()
        place = f"annotation file .{annotator}"
        try:
            data = fetch(annotator)
        except SourceError:
            continue
        if data is None:
            continue
        if is_fresh(annotator):
            unread.append(Unread(place, len(data), "annotation file of an earlier version of this record"))
        elif suffix in CUSTOMARY or is_annotation_file(data):
            found.extend(_read(data, annotator, place, ground, notes, unread))
        else:
            unread.append(Unread(place, len(data), "file beside the record that is no annotation file"))
    return found


def unplaced(names: Sequence[str], fetch: Fetch) -> list[Unread]:
    """Annotation files beside a record without any tracing that they could stand on."""
    found = []
    for annotator in names:
        try:
            data = fetch(annotator)
        except SourceError:
            continue
        if data is not None:
            words = "annotation file of a record without samples"
            found.append(Unread(f"annotation file .{annotator}", len(data), words))
    return found


def _read(data: bytes, annotator: str, place: str, ground: Ground, notes: Notes, unread: list[Unread]) -> list[Mark]:
    file = _parsed(data, place, notes, unread)
    if file is None:
        return []
    rate = file.resolution or ground.rate
    end = Fraction(ground.frames) / ground.rate * rate
    outside = sum(1 for item in file.annotations if not 0 <= item.time <= end)
    if outside and ground.frames:
        notes.at("wfdb.annotation-time", place, f"{outside} annotations")
    if any(not item.aux.isascii() for item in file.annotations):
        notes.at("wfdb.annotation-text", place)
    return marks_of(file.annotations, Setting(rate, annotator, ground.tracing, (), file.own_types))


def _parsed(data: bytes, place: str, notes: Notes, unread: list[Unread]) -> AnnotationFile | None:
    try:
        file = parse_annotations(data)
    except SourceError:
        notes.at("wfdb.annotation-form", place)
        unread.append(Unread(place, len(data), "annotation file of another form"))
        return None
    first: dict[str, int] = {}
    counts = Counter(rule for rule, _ in file.broken)
    for rule, at in file.broken:
        first.setdefault(rule, at)
    for rule, at in first.items():
        notes.at(rule, f"{place}, byte {at}", f"{counts[rule]} times" if counts[rule] > 1 else "")
    if file.skipped:
        size = sum(size for _, size in file.skipped)
        unread.append(Unread(f"{place}, byte {file.skipped[0][0]}", size, "annotations not understood"))
    return file
