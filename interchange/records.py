"""Dataclasses whose methods are made when they are first needed.

The standard library's decorator writes and compiles half a dozen methods for every class, a millisecond each on an
ordinary machine; a command that starts, converts one recording and ends would spend a third of its time there, mostly
for classes that it never makes an object of.  This one has the same meaning for the options that are used here, and
its classes are dataclasses to everybody else (``dataclasses.fields``, ``replace``, ``asdict``, pickling, type
checkers): the fields are collected at once, ``__init__`` is compiled with the first object, and comparing, hashing and
printing are functions that all classes share.
"""

from __future__ import annotations

import dataclasses
import inspect
from collections.abc import Callable
from operator import attrgetter
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass"]

if TYPE_CHECKING:
    from dataclasses import dataclass
else:

    def dataclass(cls: Any = None, /, *, frozen: bool = False, slots: bool = False, eq: bool = True) -> Any:
        """As ``dataclasses.dataclass``, with methods made on first use."""
        if cls is None:
            return lambda cls: _made(cls, frozen, slots, eq)
        return _made(cls, frozen, slots, eq)


def _made(cls: type, frozen: bool, slots: bool, eq: bool) -> type:
    own = cls.__dict__
    if cls.__doc__ is None:
        cls.__doc__ = ""  # the standard decorator would look up the signature to write one
    hashed = "__hash__" in own and not (own["__hash__"] is None and "__eq__" in own)
    made: Any = dataclasses.dataclass(init=False, repr=False, eq=False, match_args=False, slots=slots)(cls)
    entries = dataclasses.fields(made)
    made.__match_args__ = tuple(entry.name for entry in entries if entry.init and not entry.kw_only)  # type: ignore[misc]
    made.__signature__ = _Signature()
    if "__init__" not in own:
        made.__init__ = _first_init(made, frozen)
    if "__repr__" not in own:
        made.__repr__ = _repr
    if eq:
        made.__values__ = _Values()
        if "__eq__" not in own:
            made.__eq__ = _eq
        if not hashed:
            made.__hash__ = _hash if frozen else None
    if frozen:
        made.__setattr__ = _refuse_to_set
        made.__delattr__ = _refuse_to_delete
        made.__getstate__ = _state
        made.__setstate__ = _set_state
    return made  # type: ignore[no-any-return]


def _first_init(cls: Any, frozen: bool) -> Callable[..., None]:
    """An ``__init__`` that puts the real one in its place and calls it."""

    def __init__(self: Any, *args: Any, **kwargs: Any) -> None:  # noqa: N807
        if cls.__init__ is __init__:
            cls.__init__ = _init(cls, frozen)
        cls.__init__(self, *args, **kwargs)

    return __init__


def _init(cls: Any, frozen: bool) -> Callable[..., None]:
    """The real ``__init__``: one parameter for each field, in order."""
    names: dict[str, Any] = {"MISSING": dataclasses.MISSING}
    ordinary: list[str] = []
    named: list[str] = []
    body: list[str] = []
    for entry in dataclasses.fields(cls):
        value = name = entry.name
        parameter = name
        if entry.default is not dataclasses.MISSING:
            names[f"default_{name}"] = entry.default
            parameter = f"{name}=default_{name}"
        elif entry.default_factory is not dataclasses.MISSING:
            names[f"make_{name}"] = entry.default_factory
            parameter = f"{name}=MISSING"
            value = f"make_{name}() if {name} is MISSING else {name}"
        (named if entry.kw_only else ordinary).append(parameter)
        if frozen:
            names[f"set_{name}"] = _setter(cls, name)
            body.append(f" set_{name}(self, {value})")
        else:
            body.append(f" self.{name} = {value}")
    if hasattr(cls, "__post_init__"):
        body.append(" self.__post_init__()")
    parameters = ", ".join(["self", *ordinary, *(["*", *named] if named else [])])
    source = "\n".join([f"def __init__({parameters}):", *(body or [" pass"])])
    exec(source, names)  # the names come from the class body, as in the standard library
    made: Callable[..., None] = names["__init__"]
    made.__qualname__ = f"{cls.__qualname__}.__init__"
    made.__annotations__ = {**{entry.name: entry.type for entry in dataclasses.fields(cls)}, "return": None}
    made.__module__ = cls.__module__
    return made


def _setter(cls: Any, name: str) -> Callable[[Any, Any], None]:
    """What sets a field of an object that refuses to have it set."""
    slot = inspect.getattr_static(cls, name, None)
    if inspect.ismemberdescriptor(slot):
        return slot.__set__
    return lambda self, value: object.__setattr__(self, name, value)


class _Values:
    """All fields that are compared, as a tuple; the getter is made when a class first needs it."""

    def __get__(self, found: Any, cls: Any) -> Any:
        names = [entry.name for entry in dataclasses.fields(cls) if entry.compare]
        if len(names) > 1:
            get: Callable[[Any], Any] = attrgetter(*names)
        elif names:
            one = attrgetter(names[0])

            def get(record: Any) -> Any:
                return (one(record),)
        else:

            def get(record: Any) -> Any:
                return ()

        cls.__values__ = staticmethod(get)
        return get


class _Signature:
    """The signature for whoever asks (``help``, tools): that of the real ``__init__`` without ``self``."""

    def __get__(self, found: Any, cls: Any) -> inspect.Signature:
        if found is not None:
            raise AttributeError("__signature__")
        signature = inspect.signature(_init(cls, frozen=True))
        return signature.replace(parameters=list(signature.parameters.values())[1:])


def _repr(self: Any) -> str:
    shown = ", ".join(f"{e.name}={getattr(self, e.name)!r}" for e in dataclasses.fields(self) if e.repr)
    return f"{self.__class__.__qualname__}({shown})"


def _eq(self: Any, other: Any) -> bool:
    if other.__class__ is not self.__class__:
        return NotImplemented  # type: ignore[no-any-return]
    if other is self:
        return True
    get: Callable[[Any], Any] = self.__class__.__values__
    return bool(get(self) == get(other))


def _hash(self: Any) -> int:
    return hash(self.__class__.__values__(self))


def _refuse_to_set(self: object, name: str, value: object) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _refuse_to_delete(self: object, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")


def _state(self: Any) -> list[Any]:
    return [getattr(self, entry.name) for entry in dataclasses.fields(self)]


def _set_state(self: Any, state: list[Any]) -> None:
    for entry, value in zip(dataclasses.fields(self), state, strict=True):
        object.__setattr__(self, entry.name, value)
