"""What annotations are read into, and what each inherits from the set and the annotation around it."""

from __future__ import annotations

from dataclasses import field
from fractions import Fraction
from typing import Literal

from interchange.formats.aecg.log import Log
from interchange.formats.aecg.markup import Node
from interchange.formats.aecg.place import Placed
from interchange.formats.aecg.read_header import Author
from interchange.formats.aecg.read_series import Series
from interchange.model import Extras, Mark, Measurement, Moment, Statement
from interchange.records import NamedTuple, dataclass

__all__ = ["AnnotationSet", "Content", "Region", "Scope", "XSI_TYPE", "first_tracing"]

XSI_TYPE = "{http://www.w3.org/2001/XMLSchema-instance}type"


@dataclass(slots=True)
class Content:
    """What the annotation sets of a document hold, and the devices and people that made them."""

    measurements: list[Measurement] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)
    statements: list[Statement] = field(default_factory=list)
    devices: list[tuple[Node, bool]] = field(default_factory=list)
    """Devices that made sets, and whether they are the author of statements."""
    interpretations: int = 0


class Region(NamedTuple):
    """Where an annotation holds: a tracing, seconds on it, leads; nothing said = everything."""

    tracing: int | None = None
    start: Fraction | None = None
    end: Fraction | None = None
    part: Literal["whole", "start", "end", "peak"] = "whole"
    leads: tuple[str, ...] = ()


@dataclass(slots=True)
class AnnotationSet:
    """What all annotations of one set share; ``beat``: number of the beat type that the series shows.

    ``zero``: the series' own relative time at the recording's first sample.
    """

    series: Series
    placed: Placed
    content: Content
    log: Log
    group: str | None
    author: Author | None
    time: Moment | None
    beat: int | None
    zero: Fraction
    made: Extras
    """Who made the set and when, for measurements and marks, which have no author of their own."""


EVERYWHERE = Region()


@dataclass(slots=True)
class Scope:
    """What an annotation inherits from the one around it.

    ``own``: whether it says its region itself.  ``lead``: the lead of a container around it.  ``mark``: index of the
    mark that it belongs to.
    """

    set: AnnotationSet
    region: Region = EVERYWHERE
    own: bool = False
    lead: str | None = None
    mark: int | None = None
    depth: int = 0

    def inside(self, region: Region, own: bool) -> Scope:
        """The scope inside an annotation with its region."""
        return Scope(self.set, region, own, self.lead, self.mark, self.depth + 1)


def first_tracing(scope: Scope) -> int | None:
    """The first tracing of the series, else the first of all."""
    return scope.set.series.tracings[0] if scope.set.series.tracings else 0 if scope.set.placed.tracings else None
