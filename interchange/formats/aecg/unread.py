"""What of a document was not taken in: whole elements and single attributes, with place and size."""

from __future__ import annotations

from typing import TYPE_CHECKING

from interchange.formats.aecg.datatypes import SAYS_NOTHING
from interchange.formats.aecg.markup import Node
from interchange.model import Unread

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["unread"]

IGNORED = frozenset({
    "classCode", "moodCode", "typeCode", "determinerCode", "contextControlCode", "contextConductionInd", "type",
    "{http://www.w3.org/2001/XMLSchema-instance}type",
    "{http://www.w3.org/2001/XMLSchema-instance}schemaLocation",
    "{http://www.w3.org/2001/XMLSchema-instance}noNamespaceSchemaLocation",
    "{http://www.w3.org/2001/XMLSchema-instance}nil",
    "{http://www.w3.org/XML/1998/namespace}space", "inclusive",
})  # fmt: skip
"""Attributes that say how the message is built, which a new message says anew."""

MOST = 10_000


def unread(top: Node, root: str) -> tuple[Unread, ...]:
    """Everything below ``top`` that no reader took, outermost elements only, in the order of the document."""
    if not _any_left(top):
        return ()
    found: list[Unread] = []
    for entry in _walk(top, root):
        found.append(entry)
        if len(found) == MOST:
            found.append(Unread(root, 0, "further elements, not listed"))
            break
    return tuple(found)


def _any_left(top: Node) -> bool:
    """Whether there is anything at all to list: the usual answer is no, and quickly found."""
    stack = [top]
    while stack:
        node = stack.pop()
        if not node.used or (node.attributes and not node.attributes.keys() <= IGNORED):
            return True
        stack += node.children
    return False


def _walk(top: Node, root: str) -> Iterator[Unread]:
    stack: list[tuple[Node, str]] = [(top, root)]
    while stack:
        node, path = stack.pop()
        if not node.used:
            yield Unread(f"{path}, line {node.element.sourceline}", _size(node), "element")
            continue
        for name, value in node.attributes.items():
            if name not in IGNORED and value.strip() and not (name == "nullFlavor" and value in SAYS_NOTHING):
                local = name.rsplit("}", 1)[-1]
                yield Unread(f"{path}/@{local}, line {node.element.sourceline}", len(value.encode()), "attribute")
        stack.extend(reversed(_children(node, path)))


def _children(node: Node, path: str) -> list[tuple[Node, str]]:
    """The children with their places, positions counted among brothers of one name."""
    if not node.children:
        return []
    counts: dict[str, int] = {}
    for child in node.children:
        counts[child.name] = counts.get(child.name, 0) + 1
    seen: dict[str, int] = {}
    found: list[tuple[Node, str]] = []
    for child in node.children:
        at = seen[child.name] = seen.get(child.name, 0) + 1
        name = child.name.rsplit("}", 1)[-1]
        found.append((child, f"{path}/{name}[{at}]" if counts[child.name] > 1 else f"{path}/{name}"))
    return found


def _size(node: Node) -> int:
    """Bytes of the element's text and attributes, its own and those of everything inside."""
    size = 0
    for element in node.element.iter():
        size += len((element.text or "").encode()) + sum(len(str(k)) + len(str(v)) for k, v in element.items())
    return size
