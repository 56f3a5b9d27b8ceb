"""Reading that patient and acquisition share: dates, names, items of the acquisition context."""

from __future__ import annotations

from interchange.formats.dicom.values import parse_date, parse_name
from interchange.formats.dicom.view import CodeItem, View
from interchange.model import Moment, PersonName

__all__ = ["context_items", "names_in", "parsed_date"]


def parsed_date(view: View, keyword: str) -> Moment | None:
    """The date in an attribute (DA); a malformed one makes a finding."""
    text = view.text(keyword)
    if text is None:
        return None
    moment = parse_date(text)
    if moment is None:
        view.context.tolerate("malformed-date", view.at(keyword))
    return moment


def names_in(view: View, keyword: str) -> list[tuple[PersonName, ...]]:
    """Each value of a name attribute (PN) as its component groups."""
    return [names for text in view.texts(keyword) if (names := parse_name(text))]


def context_items(top: View) -> list[tuple[View, CodeItem]]:
    """Items of the acquisition context with their names; an item that nobody understands stays unread."""
    found = []
    for item in top.items("AcquisitionContextSequence"):
        name = item.code("ConceptNameCodeSequence")
        if name is not None:
            found.append((item, name))
    return found
