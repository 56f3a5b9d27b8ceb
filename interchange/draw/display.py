"""The display list: what stands where on each page, made once and drawn by every back end.

All coordinates are whole hundredths of a millimetre, x to the right and y down from the page's upper left corner, so
that every back end puts everything at the same place and the same recording always gives the same bytes.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from interchange.records import dataclass

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["UNITS", "Anchor", "Item", "Page", "Role", "Sheet", "Stroke", "Text"]

UNITS = 100
"""Coordinates per millimetre."""

Anchor = Literal["start", "middle", "end"]
Role = Literal["fine-grid", "coarse-grid", "pulse", "trace", "separator", "mark", "ruler", "rule"]


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """Lines of one width and colour.

    ``paths``: one array of shape (points, 2) per unbroken line; a line of one point is a dot.  ``name`` says what it
    shows, for people who do not see it ("lead II, 0 s to 2.5 s").
    """

    role: Role
    paths: tuple[NDArray[Any], ...]
    width: int
    colour: str
    name: str = ""


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text: ``x``, ``y`` is the start, middle or end of its base line, ``size`` the height of an em."""

    x: int
    y: int
    text: str
    size: int
    anchor: Anchor = "start"
    bold: bool = False
    colour: str = "#1a1a1a"


Item: TypeAlias = Stroke | Text


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """One page: its size and what is on it, the lowest first."""

    width: int
    height: int
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """All pages; ``title`` names the document without saying whose it is, ``description`` what there is to see."""

    pages: tuple[Page, ...]
    title: str
    description: str
