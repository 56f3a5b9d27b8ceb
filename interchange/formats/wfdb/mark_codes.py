"""Annotations as marks of the model: which code means which concept, and back.

Both directions go through the tables of the vocabulary.  The brackets of a wave, ``(`` and ``)``, are the onset and the
offset of the peak or beat that stands next to them on the same channel; alone they are those of some wave.

Sources: WFDB Applications Guide, annot(5); ``ecgcodes.h``; texts of code 28 from the MIT-BIH directory (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import lru_cache
from typing import Final

from interchange.formats.wfdb.annotations import NOTE, Annotation
from interchange.model import Code, Mark
from interchange.records import NamedTuple

__all__ = ["SCHEME", "Setting", "code_for", "marks_of"]

SCHEME: Final = "WFDB"
"""Scheme of annotation codes that have no concept of their own."""

_RHYTHM, _ONSET, _OFFSET = 28, 39, 40
_WAVES: Final = {24: "p", 27: "t", 29: "u"}


class Setting(NamedTuple):
    """What the annotations of a file refer to.

    ``rate``: ticks per second.  ``group``: name of the set.  ``tracing`` is the index of the tracing that they are on
    unless the channel tells another; ``channels`` gives tracing, start of it in seconds and lead by signal number for a
    file of this project's own making, where a channel above 0 is that signal (() = channels mean nothing certain).
    ``own_types``: descriptions of codes that the file defines.
    """

    rate: Fraction
    group: str | None
    tracing: int
    channels: Sequence[tuple[int, Fraction, str]]
    own_types: dict[int, str]

    @property
    def start(self) -> Fraction:
        """Where the tracing begins, in seconds after sample 0 of the record."""
        return next((start for index, start, _ in self.channels if index == self.tracing), Fraction(0))


def marks_of(items: Sequence[Annotation], setting: Setting) -> list[Mark]:
    """One mark for each annotation, in the same order."""
    start = setting.start
    return [_mark(item, wave, setting, start) for item, wave in zip(items, _bracketed(items), strict=True)]


def _mark(item: Annotation, wave: str, setting: Setting, start: Fraction) -> Mark:
    concept, aux_said = _concept(item.code, item.aux if item.code == _RHYTHM else b"")
    source = None
    if not concept:
        concept = "note" if item.code == NOTE else "other"
        source = Code(str(item.code), SCHEME, setting.own_types.get(item.code))
    if wave:
        concept = f"{wave}-{'onset' if item.code == _ONSET else 'offset'}"
    tracing, lead = setting.tracing, None
    extras: list[tuple[str, str]] = []
    if 0 < item.chan < len(setting.channels):
        tracing, start, lead = setting.channels[item.chan]
    elif item.chan:
        extras.append(("wfdb.chan", str(item.chan)))
    if item.num:
        extras.append(("wfdb.num", str(item.num)))
    if item.subtype:
        extras.append(("wfdb.subtype", str(item.subtype)))
    text = "" if aux_said else _text(item.aux)
    return Mark(
        concept,
        tracing,
        Fraction(item.time) / setting.rate - start,
        lead=lead,
        text=text or None,
        group=setting.group,
        source_code=source,
        extras=tuple(extras),
    )


def _text(aux: bytes) -> str:
    """7-bit text as it is; anything else as UTF-8 where it is that, else Latin-1."""
    try:
        return aux.decode("utf-8")
    except UnicodeDecodeError:
        return aux.decode("latin-1")


@lru_cache(maxsize=256)
def _concept(code: int, aux: bytes) -> tuple[str, bool]:
    """Concept of a code, and whether the rhythm text is said by it; an empty concept where there is none."""
    from interchange.vocabulary import beat, concept

    row = beat(code, aux.decode("latin-1"))
    if row is None or not row.concept:
        return ("rhythm-change", False) if code == _RHYTHM else ("", False)
    if code != _RHYTHM or not aux:
        return row.concept, False
    said = concept(row.concept, "mark").wfdb_aux == aux.decode("latin-1")
    return (row.concept, True) if said else (row.concept, False)


def _bracketed(items: Sequence[Annotation]) -> list[str]:
    """For each annotation: the wave that a bracket belongs to ("p", "qrs", "t", "u"), empty for all others."""
    found = [""] * len(items)
    last: dict[int, int] = {}
    for at, item in enumerate(items):
        before = last.get(item.chan)
        if item.code == _OFFSET and before is not None:
            found[at] = _wave(items[before].code)
        elif before is not None and items[before].code == _ONSET:
            found[before] = _wave(item.code)
        last[item.chan] = at
    return found


@lru_cache(maxsize=64)
def _wave(code: int) -> str:
    from interchange.vocabulary import beat

    row = beat(code)
    return _WAVES.get(code) or ("qrs" if row is not None and row.counts_as_qrs and code <= 38 and code != 31 else "")


@lru_cache(maxsize=512)
def code_for(concept_id: str, source: Code | None) -> tuple[int, bytes]:
    """Code and rhythm text to write for a concept; (NOTE, its name) where WFDB has nothing that is true of it."""
    from interchange.vocabulary import concept

    if concept_id == "other" and source is not None and source.scheme == SCHEME and (source.value or "").isdecimal():
        number = int(source.value or "0")
        if 1 <= number <= 49:
            return number, b""
    note = NOTE, concept_id.replace("-", " ").encode("ascii", "replace")
    try:
        row = concept(concept_id, "mark")
    except KeyError:
        return note
    graded = row.kind == "noise" and row.wfdb_fit != "exact"
    if row.wfdb_number is None or row.wfdb_fit not in ("exact", "broader") or graded:
        return note
    return row.wfdb_number, row.wfdb_aux.encode()
