"""What nobody took in, with its place, its size and a word on what it is (never its content)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from interchange.formats.dicom.dataset import DataSet, Element
from interchange.model import Unread

__all__ = ["unread_elements"]

_MAX_LISTED: Final = 10_000
_WORDS: Final = {
    0x0002: "file meta information",
    0x0008: "attribute of study, series or document",
    0x0010: "attribute of the patient",
    0x0012: "attribute of a clinical trial",
    0x0018: "attribute of the acquisition",
    0x0020: "attribute of study, series or document",
    0x0032: "attribute of the request",
    0x0038: "attribute of the visit",
    0x003A: "attribute of a waveform channel",
    0x0040: "attribute of the procedure or an annotation",
    0x0070: "attribute of an annotation",
    0x0400: "signature or attributes before a change",
    0x5400: "attribute of the waveform",
    0x7FE0: "pixel data",
}
_PADDING: Final = 0xFFFCFFFC


def unread_elements(top: DataSet, trailing: int) -> tuple[Unread, ...]:
    """Every element that has a value and was not taken in; a sequence that nobody entered is one entry."""
    found = list(_below(top))
    if trailing:
        found.append(Unread("end of file", trailing, "bytes after the last element"))
    if len(found) > _MAX_LISTED:
        rest = found[_MAX_LISTED:]
        found[_MAX_LISTED:] = [
            Unread(f"{rest[0].place} and later", sum(entry.size for entry in rest), f"{len(rest)} further elements")
        ]
    return tuple(found)


def has_unread(item: DataSet) -> bool:
    """Whether anything with a value in an item or below it was not taken in."""
    return next(_below(item), None) is not None


def _below(top: DataSet) -> Iterator[Unread]:
    stack = [iter(list(top.items()))]
    owners = [top]
    while stack:
        for tag, element in stack[-1]:
            owner = owners[-1]
            if tag in owner.taken:
                if element.items:
                    for item in reversed(element.items):
                        if not item.complete:
                            stack.append(iter(list(item.items())))
                            owners.append(item)
                    break
            elif element.length and tag & 0xFFFF and tag != _PADDING:
                yield Unread(owner.at(tag), element.length, _word(element))
        else:
            stack.pop()
            owners.pop()


def _word(element: Element) -> str:
    group = element.tag >> 16
    if group & 1:
        return "private element" if element.tag & 0xFFFF > 0xFF else "name of a private block"
    if element.items is not None:
        return f"sequence of {len(element.items)} items"
    return _WORDS.get(group, "element that is no part of an ECG object")
