"""The dataclass decorator with late methods, side by side with the standard library's."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import pickle
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest

from interchange import records


@records.dataclass(frozen=True, slots=True)
class Late:
    """A class of every kind of field."""

    first: int
    second: str = "two"
    third: list[int] = dataclasses.field(default_factory=list, repr=False)
    fourth: int = dataclasses.field(default=4, compare=False)
    fifth: int = dataclasses.field(default=5, kw_only=True)


@dataclasses.dataclass(frozen=True, slots=True)
class Usual:
    """The same by the standard library."""

    first: int
    second: str = "two"
    third: list[int] = dataclasses.field(default_factory=list, repr=False)
    fourth: int = dataclasses.field(default=4, compare=False)
    fifth: int = dataclasses.field(default=5, kw_only=True)


CALLS: list[tuple[tuple[Any, ...], dict[str, Any]]] = [
    ((1,), {}),
    ((1, "x", [1], 9), {"fifth": 6}),
    ((), {"first": 1, "third": [2, 3]}),
]
BAD_CALLS: list[tuple[tuple[Any, ...], dict[str, Any]]] = [
    ((), {}),
    ((1, 2, [], 4, 5), {}),
    ((1,), {"sixth": 6}),
    ((1,), {"first": 1}),
]


@pytest.mark.parametrize(("args", "kwargs"), CALLS)
def test_fields_repr_and_dict_are_the_standard_ones(args: Any, kwargs: Any) -> None:
    late, usual = Late(*args, **kwargs), Usual(*args, **kwargs)
    assert dataclasses.asdict(late) == dataclasses.asdict(usual)
    assert repr(late) == repr(usual).replace("Usual", "Late")
    assert Late.__match_args__ == Usual.__match_args__
    assert dataclasses.asdict(dataclasses.replace(late, second="other")) == dataclasses.asdict(
        dataclasses.replace(usual, second="other")
    )


@pytest.mark.parametrize(("args", "kwargs"), BAD_CALLS)
def test_wrong_arguments_are_a_type_error(args: Any, kwargs: Any) -> None:
    for cls in (Late, Usual):
        with pytest.raises(TypeError):
            cls(*args, **kwargs)


def test_the_signature_is_the_standard_one() -> None:
    late, usual = inspect.signature(Late), inspect.signature(Usual)
    assert [(p.name, p.kind) for p in late.parameters.values()] == [(p.name, p.kind) for p in usual.parameters.values()]
    assert late.parameters["second"].default == "two"


def test_equality_and_hash_go_by_the_compared_fields() -> None:
    one, same, other = Late(1, "x", fourth=1), Late(1, "x", fourth=2), Late(2, "x", fourth=1)
    assert one == same
    assert one != other
    assert one != Usual(1, "x")  # type: ignore[comparison-overlap]
    late_set = {Hashed(1), Hashed(1), Hashed(2)}
    assert len(late_set) == 2


@records.dataclass(frozen=True, slots=True)
class Hashed:
    """One field, hashable."""

    value: int


@records.dataclass(slots=True)
class Open:
    """Not frozen: equal by value, and without a hash."""

    value: int
    other: str = ""


@records.dataclass(frozen=True, slots=True, eq=False)
class Same:
    """Equal to itself alone."""

    value: int


def test_frozen_objects_refuse_changes() -> None:
    late = Late(1)
    with pytest.raises(dataclasses.FrozenInstanceError):
        late.first = 2  # type: ignore[misc]
    with pytest.raises(dataclasses.FrozenInstanceError):
        del late.first
    with pytest.raises(dataclasses.FrozenInstanceError):
        late.new = 2  # type: ignore[attr-defined]


def test_open_objects_change_and_have_no_hash() -> None:
    record = Open(1)
    record.value = 2
    assert record == Open(2)
    with pytest.raises(TypeError):
        hash(record)
    with pytest.raises(AttributeError):
        record.unknown = 1  # type: ignore[attr-defined]


def test_without_eq_an_object_equals_itself_alone() -> None:
    one = Same(1)
    assert one == one  # noqa: PLR0124
    assert one != Same(1)
    assert len({one, Same(1)}) == 2


@pytest.mark.parametrize("copied", [copy.copy, copy.deepcopy, lambda x: pickle.loads(pickle.dumps(x))])
def test_copies_are_equal_and_frozen(copied: Callable[[Any], Any]) -> None:
    late = Late(1, "x", [1, 2], fifth=8)
    made = copied(late)
    assert made == late
    assert made is not late
    with pytest.raises(dataclasses.FrozenInstanceError):
        made.first = 2


def test_checks_of_a_class_run_with_the_first_object_and_every_one() -> None:
    seen = []

    @records.dataclass(frozen=True, slots=True)
    class Checked:
        value: int

        def __post_init__(self) -> None:
            seen.append(self.value)

    Checked(1)
    Checked(2)
    assert seen == [1, 2]


def test_threads_that_make_the_first_object_together_all_get_theirs() -> None:
    program = (
        "import threading\n"
        "from interchange.model.basic import Quantity\n"
        "gate, made = threading.Barrier(8), []\n"
        "def work(n):\n"
        "    gate.wait(); made.append(Quantity(n, 'mm'))\n"
        "threads = [threading.Thread(target=work, args=(n,)) for n in range(8)]\n"
        "[t.start() for t in threads]; [t.join() for t in threads]\n"
        "print(sorted(q.value for q in made))\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == str(list(range(8)))
