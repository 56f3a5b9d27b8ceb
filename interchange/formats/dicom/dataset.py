"""Data sets as the parser leaves them: elements as places in the bytes, and channel definitions that are known.

The twelve items of a Channel Definition Sequence are the same bytes in one recording after the other of an archive, and
a conversion reads its own three times.  What was found out about such an item (its elements, the channel that it
describes, that nothing is wrong with it) is a function of its bytes, so it is kept in a small store by these bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final, overload

from interchange.formats.dicom.dictionary import tag_name
from interchange.records import NamedTuple

__all__ = ["CHANNELS", "LONGEST", "DataSet", "Element", "Known", "find_known", "remember", "take", "taken_tags"]

CHANNELS: Final = 0x003A0200
"""Channel Definition Sequence (PS3.3 C.10.9)."""

LONGEST: Final = 2048
"""Bytes of the longest item that is remembered."""

_MOST: Final = 1024
"""Items that are remembered at once; with more the store begins anew."""


class Element(NamedTuple):
    """One data element: where its value lies in the bytes of the data set, and its items if it is a sequence."""

    tag: int
    vr: str
    start: int
    length: int
    items: Sequence[DataSet] | None


_MOST_FACTS: Final = 64

_new: Final = tuple.__new__


class DataSet(dict[int, Element]):
    """Elements by tag; ``data`` are the bytes that the positions of the elements count in.

    ``little`` is the byte order of its numbers, ``taken`` the tags whose values somebody took in (what is left is
    listed as unread), ``last`` the highest tag so far.  An item knows its owner, sequence and number (from 1).
    ``base`` is where ``data`` begins in the bytes of the top data set, ``known`` what is remembered of items with
    these very bytes; ``complete``: everything in it and below was taken in.
    """

    __slots__ = ("base", "complete", "data", "known", "last", "little", "number", "owner", "sequence", "taken")

    def __init__(
        self, data: bytes, little: bool, owner: DataSet | None = None, sequence: int = 0, number: int = 0
    ) -> None:
        self.data = data
        self.little = little
        self.owner = owner
        self.sequence = sequence
        self.number = number
        self.last = -1
        self.taken: set[int] = set()
        self.base = 0
        self.complete = False
        self.known: Known | None = None

    @property
    def place(self) -> str:
        """The tag path that leads here, with a slash behind it; empty at the top."""
        return "" if self.owner is None else f"{self.owner.at(self.sequence)}[{self.number}]/"

    def raw(self, tag: int) -> bytes | None:
        """The bytes of a value, None where the element is absent."""
        element = self.get(tag)
        return None if element is None else self.data[element.start : element.start + element.length]

    def at(self, tag: int) -> str:
        """The tag path of an element of this data set, for messages."""
        return f"{self.place}{tag_name(tag)}"

    def walk(self) -> Iterator[tuple[DataSet, Element]]:
        """Every element with the data set it lies in, sequences before their items."""
        stack: list[Iterator[tuple[DataSet, Element]]] = [self._own()]
        while stack:
            for owner, element in stack[-1]:
                yield owner, element
                if element.items:
                    stack.extend(item._own() for item in reversed(element.items))
                    break
            else:
                stack.pop()

    def _own(self) -> Iterator[tuple[DataSet, Element]]:
        return ((self, element) for element in self.values())


class Known:
    """What is remembered of items with the same bytes: elements, and what others found out (``facts``).

    ``facts`` holds results that depend on nothing but the bytes and the key that they are kept under.
    """

    __slots__ = ("_data", "_elements", "_inner", "count", "depth", "facts")

    def __init__(self, data: bytes, item: DataSet) -> None:
        self._data = data
        self._elements = dict(item)
        self._inner = [
            ((element.tag, element.vr, element.start, element.length), [Known(data, inner) for inner in element.items])
            for element in item.values()
            if element.items is not None
        ]
        self.count: int = 1 + len(item) + sum(known.count for _, inner in self._inner for known in inner)
        self.depth: int = max((1 + known.depth for _, inner in self._inner for known in inner), default=0)
        self.facts: dict[Any, Any] = {}

    def add(self, key: Any, fact: Any) -> None:
        """Keep a fact; a few rates, cells and modules are all that one item is met with."""
        if len(self.facts) >= _MOST_FACTS:
            self.facts.clear()
        self.facts[key] = fact

    def item(self, owner: DataSet, sequence: int, number: int, base: int) -> DataSet:
        """A data set with these elements; ``base`` is where the item begins in the bytes of the top data set."""
        made = DataSet(self._data, True, owner, sequence, number)
        made.update(self._elements)
        made.base = base
        made.known = self
        for head, inner in self._inner:
            made[head[0]] = _new(Element, (*head, _Inner(made, head[0], base, inner)))
        return made


class _Inner(Sequence[DataSet]):
    """The items of a sequence inside a known item, made when somebody asks for one."""

    __slots__ = ("_base", "_known", "_made", "_owner", "_tag")

    def __init__(self, owner: DataSet, tag: int, base: int, known: list[Known]) -> None:
        self._owner = owner
        self._tag = tag
        self._base = base
        self._known = known
        self._made: tuple[DataSet, ...] | None = None

    def __len__(self) -> int:
        return len(self._known)

    @overload
    def __getitem__(self, index: int) -> DataSet: ...

    @overload
    def __getitem__(self, index: slice) -> tuple[DataSet, ...]: ...

    def __getitem__(self, index: int | slice) -> DataSet | tuple[DataSet, ...]:
        return self._items()[index]

    def __iter__(self) -> Iterator[DataSet]:
        return iter(self._items())

    def _items(self) -> tuple[DataSet, ...]:
        if self._made is None:
            made = [
                known.item(self._owner, self._tag, number, self._base) for number, known in enumerate(self._known, 1)
            ]
            self._made = tuple(made)
        return self._made


def taken_tags(item: DataSet) -> Taken:
    """The tags that were taken in, of an item and of the items in it."""
    inner = [(tag, [taken_tags(entry) for entry in element.items]) for tag, element in item.items() if element.items]
    return frozenset(item.taken), inner


def take(item: DataSet, tags: Taken) -> None:
    """Mark what :func:`taken_tags` found in an item with the same bytes."""
    item.taken.update(tags[0])
    for tag, entries in tags[1]:
        for entry, inner in zip(item[tag].items or (), entries, strict=True):
            take(entry, inner)


Taken = tuple[frozenset[int], list[tuple[int, list[Any]]]]
"""Tags of an item, and the same for the items of its sequences."""

_store: dict[bytes, Known] = {}


def find_known(data: bytes) -> Known | None:
    """What is remembered of an item with these bytes."""
    return _store.get(data)


def remember(data: bytes, item: DataSet) -> Known:
    """Remember an item that was parsed without a deviation, with positions counted in ``data``."""
    if len(_store) >= _MOST:
        _store.clear()
    known = _store[data] = Known(data, item)
    return known
