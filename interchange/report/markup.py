"""HTML built from escaped text: nothing that comes from a file gets in any other way.

Functions take plain text and give markup of type :class:`Html`; what is an ``Html`` already is not escaped again.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from interchange.printable import printable

__all__ = ["Html", "cell_list", "figure", "join", "lines", "link", "section", "table", "tag", "text"]


class Html(str):
    """Markup that is safe to put into a page."""

    __slots__ = ()


def text(value: str) -> Html:
    """Text made safe: controls and directional overrides as escapes, the rest escaped for HTML."""
    return value if isinstance(value, Html) else Html(escape(printable(value)))


def join(parts: Iterable[str], between: str = "") -> Html:
    """The parts one after the other."""
    return Html(between.join(text(part) for part in parts))


def tag(name: str, content: str | Iterable[str] = "", /, **attributes: str | None) -> Html:
    """An element; attributes that are None are left out, ``class_`` and ``for_`` lose their underscore."""
    shown = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(printable(value))}"'
        for key, value in attributes.items()
        if value is not None
    )
    inner = text(content) if isinstance(content, str) else join(content)
    return Html(f"<{name}{shown}>{inner}</{name}>")


def link(address: str, words: str) -> Html:
    """A link to a file beside the page or to a place on it."""
    return tag("a", words, href=address)


def lines(items: Iterable[str], class_: str | None = None) -> Html:
    """A list of lines."""
    return tag("ul", [tag("li", item) for item in items], class_=class_)


def cell_list(pairs: Iterable[tuple[str, Iterable[str]]]) -> Html:
    """Terms, each with one or more lines."""
    parts: list[Html] = []
    for term, values in pairs:
        parts.append(tag("dt", term))
        parts += [tag("dd", value) for value in values]
    return tag("dl", parts)


def section(name: str, title: str, content: Iterable[str], note: str = "") -> Html:
    """A part of the page with its heading; ``name`` is where links lead."""
    head = [tag("h2", title, id=name)]
    if note:
        head.append(tag("p", note, class_="note"))
    return tag("section", [*head, *content], aria_labelledby=name)


def table(
    caption: str,
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    numbers: Iterable[int] = (),
    wide: Iterable[int] = (),
    foot: str = "",
) -> Html:
    """A table with its caption; the first cell of a row names it.  It scrolls where it is too wide.

    ``numbers``: columns that are set to the right; ``wide``: columns of long texts.
    """
    kinds = {**dict.fromkeys(wide, "w"), **dict.fromkeys(numbers, "n")}
    top = [tag("th", head, scope="col", class_=kinds.get(n)) for n, head in enumerate(heads)]
    body = []
    for row in rows:
        cells = [tag("th", row[0], scope="row")]
        cells += [tag("td", cell, class_=kinds.get(place)) for place, cell in enumerate(row[1:], 1)]
        body.append(tag("tr", cells))
    inner = [tag("caption", caption), tag("thead", tag("tr", top)), tag("tbody", body)]
    scroller = tag("div", tag("table", inner), class_="scroll", tabindex="0", role="region", aria_label=caption)
    return join([scroller, tag("p", foot, class_="note")]) if foot else scroller


def figure(name: str, picture: Html, caption: str, label: str) -> Html:
    """A picture wider than a phone, in a place of its own that scrolls."""
    scroller = tag("div", picture, class_="scroll picture", tabindex="0", role="region", aria_label=label)
    words = f"{name}-words"
    return tag("figure", [scroller, tag("figcaption", caption, id=words)], id=name, aria_labelledby=words)
