"""Dataclasses and named tuples made on first use mean what those of the standard library mean."""

from __future__ import annotations

import copy
import dataclasses
import importlib
import inspect
import pickle
import pkgutil
import typing
from collections.abc import Callable, Iterator
from dataclasses import field
from typing import Any, ClassVar

import pytest

import interchange
from interchange import records


def lead_of(decorator: Callable[..., Any]) -> Any:
    @decorator(frozen=True, slots=True)
    class Lead:
        """A lead."""

        name: str
        step: int = 5
        notes: tuple[str, ...] = ()
        raw: bytes = field(default=b"", repr=False, compare=False)
        parts: list[int] = field(default_factory=list)
        place: int = field(default=0, kw_only=True)

        def __post_init__(self) -> None:
            if not self.name:
                raise ValueError("no name")

        @property
        def double(self) -> int:
            return 2 * self.step

    return Lead


def box_of(decorator: Callable[..., Any]) -> Any:
    @decorator(slots=True)
    class Box:
        size: int
        items: list[int] = field(default_factory=list)

    return Box


def tuple_of(base: Any) -> Any:
    class Span(base):  # type: ignore[misc]
        """From here to there."""

        start: int
        stop: int = 7
        unit: str = "ms"

        @property
        def length(self) -> int:
            return self.stop - self.start

    return Span


KINDS = pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (lead_of(records.dataclass), lead_of(dataclasses.dataclass)),
        (box_of(records.dataclass), box_of(dataclasses.dataclass)),
        (tuple_of(records.NamedTuple), tuple_of(typing.NamedTuple)),
    ],
    ids=["frozen dataclass", "dataclass", "named tuple"],
)
CALLS: list[tuple[tuple[Any, ...], dict[str, Any]]] = [
    ((), {}),
    ((1,), {}),
    (("V1",), {}),
    (("",), {}),
    ((1, 2), {}),
    ((1, [2]), {}),
    ((1, 2, "s"), {}),
    ((1, 2, 3, 4, [5]), {}),
    ((1, 2, 3, 4, 5, 6), {}),
    ((1,), {"step": 3, "place": 9}),
    ((1,), {"stop": 3}),
    ((1,), {"items": [3]}),
    ((1,), {"start": 3}),
    ((1,), {"name": 3}),
    ((1,), {"size": 3}),
    ((1,), {"nothing": 3}),
    ((), {"name": "V1", "raw": b"x"}),
    ((), {"stop": 3, "start": 4}),
    ((), {"start": 4, "nothing": 3}),
    ((), {"stop": 3}),
    ((), {"unit": "s", "stop": 3, "start": 4}),
]


def outcome(make: Callable[[], object]) -> object:
    """What comes of it: the printed object, or the class of the error."""
    try:
        return repr(make()).partition("<locals>.")[2]
    except Exception as error:
        return type(error)


@KINDS
@pytest.mark.parametrize("before", [0, records.MANY + 1], ids=["first", "later"])
@pytest.mark.parametrize("call", CALLS, ids=str)
def test_objects_are_made_as_the_standard_library_makes_them(
    ours: Any, theirs: Any, before: int, call: tuple[tuple[Any, ...], dict[str, Any]]
) -> None:
    fresh = {"Lead": lead_of, "Box": box_of}.get(ours.__name__)
    kind = fresh(records.dataclass) if fresh else tuple_of(records.NamedTuple)
    for number in range(before):
        kind(number + 1)
    arguments, named = call
    assert outcome(lambda: kind(*arguments, **named)) == outcome(lambda: theirs(*arguments, **named))


@KINDS
def test_what_others_see_of_the_class(ours: Any, theirs: Any) -> None:
    assert ours.__doc__ == theirs.__doc__ or theirs.__doc__.startswith("Box(")
    assert ours.__match_args__ == theirs.__match_args__
    assert ours.__slots__ == theirs.__slots__
    assert (ours.__hash__ is None) == (theirs.__hash__ is None)
    assert not hasattr(ours("V1", 2), "__dict__")
    if dataclasses.is_dataclass(theirs):
        assert dataclasses.is_dataclass(ours)
        assert [described(entry) for entry in dataclasses.fields(ours)] == [
            described(entry) for entry in dataclasses.fields(theirs)
        ]
        assert str(inspect.signature(ours)) == str(inspect.signature(theirs))
        assert repr(ours.__dataclass_params__) == repr(theirs.__dataclass_params__)
    else:
        assert ours._fields == theirs._fields
        assert ours._field_defaults == theirs._field_defaults
        assert issubclass(ours, tuple)


def described(entry: dataclasses.Field[Any]) -> tuple[Any, ...]:
    names = ("name", "type", "default", "default_factory", "init", "repr", "hash", "compare", "kw_only")
    return tuple(getattr(entry, name) for name in names)


def test_comparing_and_hashing() -> None:
    kind = lead_of(records.dataclass)
    assert kind("V1", raw=b"one") == kind("V1", raw=b"two")  # raw is not compared
    assert kind("V1") != kind("V2")
    assert kind("V1") != lead_of(records.dataclass)("V1")  # another class
    assert kind("V1") != "V1"
    plain = box_of(records.dataclass)
    assert plain(1, [2]) == plain(1, [2])
    assert plain(1, [2]) != plain(1, [3])
    with pytest.raises(TypeError):
        hash(plain(1))
    span = tuple_of(records.NamedTuple)
    assert span(1, 2) == (1, 2, "ms")
    assert hash(span(1, 2)) == hash((1, 2, "ms"))


def test_a_frozen_object_stays_as_it_is() -> None:
    made = lead_of(records.dataclass)("V1")
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.step = 4
    with pytest.raises(dataclasses.FrozenInstanceError):
        del made.step
    with pytest.raises(AttributeError):
        tuple_of(records.NamedTuple)(1).start = 4
    assert dataclasses.replace(made, step=4).step == 4
    assert dataclasses.replace(made, step=4).double == 8


def test_tuples_with_other_values() -> None:
    kind = tuple_of(records.NamedTuple)
    assert kind(1)._replace(stop=9) == (1, 9, "ms")
    assert kind(1)._asdict() == {"start": 1, "stop": 7, "unit": "ms"}
    assert kind._make([1, 2, "s"]).length == 1
    with pytest.raises(ValueError, match="nothing"):
        kind(1)._replace(nothing=9)
    with pytest.raises(TypeError):
        kind._make([1])
    with pytest.raises(TypeError, match="follows"):

        class Wrong(records.NamedTuple):
            first: int = 1
            second: int


@records.dataclass(frozen=True, slots=True)
class Kept:
    name: str
    number: int = 3


class KeptTuple(records.NamedTuple):
    name: str
    number: int = 3


@pytest.mark.parametrize("made", [Kept("a"), KeptTuple("a", 4)])
@pytest.mark.parametrize("protocol", range(2, pickle.HIGHEST_PROTOCOL + 1))
def test_pickled_and_copied(made: Any, protocol: int) -> None:
    back = pickle.loads(pickle.dumps(made, protocol))
    assert (back, type(back)) == (made, type(made))
    assert copy.copy(made) == made
    assert copy.deepcopy(made) == made


def test_what_is_not_plain_is_left_to_the_standard_library() -> None:
    @records.dataclass(frozen=True)
    class Open:
        count: ClassVar[int] = 3
        name: str = ""

    @records.dataclass(frozen=True)
    class Below(Open):
        more: int = 2

    assert [entry.name for entry in dataclasses.fields(Below)] == ["name", "more"]
    assert Below("a") == Below("a", 2)


def package_classes() -> Iterator[type]:
    for entry in pkgutil.walk_packages(interchange.__path__, "interchange."):
        if entry.name.endswith("__main__"):
            continue
        module = importlib.import_module(entry.name)
        for value in vars(module).values():
            if isinstance(value, type) and value.__module__ == entry.name:
                yield value


def test_every_class_of_the_package_can_be_made() -> None:
    """Mistakes in a class body that the standard library reports at once show here."""
    seen = 0
    for kind in package_classes():
        if dataclasses.is_dataclass(kind):
            seen += 1
            assert dataclasses.fields(kind) is not None
            inspect.signature(kind)
            assert list(inspect.get_annotations(kind)) == [entry.name for entry in dataclasses.fields(kind)]
        elif issubclass(kind, tuple) and hasattr(kind, "_fields"):
            seen += 1
            values = [object() for _ in kind._fields]
            assert list(kind(*values)) == values
    assert seen > 100
