"""What was measured, marked and said about a recording."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from interchange.model.basic import Absent, Code, Extras, Moment
from interchange.records import dataclass

__all__ = ["Mark", "Measurement", "Statement", "Unread"]


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measurement, global or of one lead.

    ``concept``: id in the concept table ("pr-interval", "j-amplitude"); ``other`` for what the table does not have,
    with ``source_code`` saying what it is.  ``value`` is None when there is none; ``absent`` then says why (None: not
    said).  ``unit``: UCUM, amplitudes always "uV", durations "ms" where the concept has them so.  ``lead``: name of
    the channel, None = global.  ``beat``: number of the beat type that it was measured on (0 = the first), None = not
    said.  ``text``: a result in words.
    """

    concept: str
    value: int | Fraction | None = None
    unit: str | None = None
    lead: str | None = None
    absent: Absent | None = None
    beat: int | None = None
    text: str | None = None
    source_code: Code | None = None
    extras: Extras = ()

    @property
    def code(self) -> str | None:
        """MDC reference id (ISO/IEEE 11073-10101, -10102); its number where no id is known; else the source's code."""
        return _code(self.concept, "global" if self.lead is None else "per lead", self.source_code)


@dataclass(frozen=True, slots=True)
class Mark:
    """A point or a span on a tracing: a wave's start or end, a beat, a pacing spike, noise, a rhythm, a note.

    ``tracing``: index in the recording's tracings.  ``start`` and ``end``: exact seconds on that tracing (0 is its
    first sample); ``end`` None = a point.  ``lead``: name of the channel, None = all.  ``group``: name of the set that
    it belongs to (an annotator, an annotation set).  ``measurements``: what belongs to the mark itself, such as
    amplitude and width of a pacing spike (concepts of scope ``mark``).
    """

    concept: str
    tracing: int
    start: Fraction
    end: Fraction | None = None
    lead: str | None = None
    text: str | None = None
    group: str | None = None
    measurements: tuple[Measurement, ...] = ()
    source_code: Code | None = None
    extras: Extras = ()

    @property
    def code(self) -> str | None:
        """MDC reference id; its number where no id is known; else the source's code."""
        return _code(self.concept, "mark", self.source_code)


@dataclass(frozen=True, slots=True)
class Statement:
    """One statement of an interpretation.

    ``group``: which interpretation it belongs to when several stand side by side (0 = the first).  ``kind``: concept
    id of scope global and kind text.  ``confirmed``: True, False, None = not said; ``overread``: somebody looked at it
    without confirming.  ``author``: who or what said it, as displayed; ``author_kind`` which of the two.
    """

    text: str
    kind: str = "interpretation-statement"
    group: int = 0
    codes: tuple[Code, ...] = ()
    author: str | None = None
    author_kind: Literal["machine", "person"] | None = None
    time: Moment | None = None
    confirmed: bool | None = None
    overread: bool | None = None
    confirmed_by: str | None = None
    confirmed_time: Moment | None = None
    extras: Extras = ()


@dataclass(frozen=True, slots=True)
class Unread:
    """Something in the source that was not taken into the model.

    ``place``: where (tag path, byte offset, element path, line); ``size``: bytes; ``what``: a few words of our own on
    what it is, never its content.
    """

    place: str
    size: int
    what: str


def _code(concept: str, scope: Literal["global", "per lead", "mark"], source: Code | None) -> str | None:
    from interchange import vocabulary

    try:
        row = vocabulary.concept(concept, scope)
    except KeyError:
        return source.value if source else None
    return row.mdc_refid or row.mdc_code or (source.value if source else None)
