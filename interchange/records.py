"""Dataclasses and named tuples whose methods are made when they are first needed.

The standard library writes and compiles half a dozen methods for every class, a quarter of a millisecond each on an
ordinary machine; a command that starts, converts one recording and ends would spend a third of its time there, mostly
for classes of which it makes a few objects or none.  These have the same meaning for the options that are used here,
and are dataclasses and named tuples to everybody else (``dataclasses.fields``, ``replace``, ``asdict``, pickling, type
checkers): a class of its slots is made at once; comparing, hashing and printing are functions that all classes share;
the first objects are made by one function for all classes, and only a class of which there are many gets an
``__init__`` or ``__new__`` of its own, which is compiled then.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable
from operator import attrgetter
from typing import TYPE_CHECKING, Any

__all__ = ["NamedTuple", "dataclass"]

try:
    from _collections import _tuplegetter  # type: ignore[import-not-found]
except ImportError:  # another interpreter
    from operator import itemgetter

    def _tuplegetter(index: int, doc: str) -> Any:
        return property(itemgetter(index), doc=doc)


MANY = 32
"""Objects of a class after which it is worth to compile what makes them."""

_MISSING = dataclasses.MISSING

if TYPE_CHECKING:
    import inspect
    from dataclasses import dataclass
    from typing import NamedTuple
else:

    def dataclass(cls: Any = None, /, *, frozen: bool = False, slots: bool = False, eq: bool = True) -> Any:
        """As ``dataclasses.dataclass``, with methods made on first use."""
        if cls is None:
            return lambda cls: _made(cls, frozen, slots, eq)
        return _made(cls, frozen, slots, eq)


# Dataclasses -------------------------------------------------------------------------------------------------------


class _Factory:
    """Stands in a signature for a default that is made for each object."""

    __slots__ = ()

    def __repr__(self) -> str:
        return "<factory>"


_FACTORY = _Factory()


class _Plan:
    """What a dataclass is made of: its names in order, what the class body says of each, and the class itself."""

    __slots__ = ("annotations", "cls", "defaults", "eq", "frozen", "names")

    def __init__(
        self, names: tuple[str, ...], annotations: dict[str, str], defaults: dict[str, Any], frozen: bool, eq: bool
    ) -> None:
        self.cls: Any = None
        self.names = names
        self.annotations = annotations
        self.defaults = defaults
        self.frozen = frozen
        self.eq = eq

    def told(self, name: str) -> dataclasses.Field[Any] | None:
        """What ``field(...)`` says of the field, None where that was not used."""
        found = self.defaults.get(name)
        return found if isinstance(found, dataclasses.Field) else None

    def by_name_only(self) -> list[str]:
        """The fields that can only be given by name."""
        return [name for name in self.defaults if (told := self.told(name)) is not None and told.kw_only is True]


def _made(cls: type, frozen: bool, slots: bool, eq: bool) -> type:
    own = dict(cls.__dict__)
    annotations: dict[str, str] = own.get("__annotations__", {})
    names = tuple(annotations)
    defaults = {name: own.pop(name) for name in names if name in own}
    plain = slots and cls.__bases__ == (object,)
    if not plain or not _are_plain(annotations, defaults):
        return dataclasses.dataclass(frozen=frozen, slots=slots, eq=eq)(cls)
    plan = _Plan(names, annotations, defaults, frozen, eq)
    for gone in ("__dict__", "__weakref__"):
        own.pop(gone, None)
    own["__qualname__"] = cls.__qualname__
    own["__slots__"] = names
    own["__dataclass_fields__"] = _Fields(plan)
    own["__dataclass_params__"] = _Params(plan)
    own["__signature__"] = _Signature(plan)
    only = plan.by_name_only() if defaults else ()
    own["__match_args__"] = tuple(name for name in names if name not in only) if only else names
    own.setdefault("__init__", _general_init(plan, cls, tuple(only)))
    own.setdefault("__repr__", _repr)
    if eq:
        own["__values__"] = _Values(plan)
        hashed = "__hash__" in own and not (own["__hash__"] is None and "__eq__" in own)
        own.setdefault("__eq__", _eq)
        if not hashed:
            own["__hash__"] = _hash if frozen else None
    if frozen:
        own["__setattr__"] = _refuse_to_set
        own["__delattr__"] = _refuse_to_delete
        own["__getstate__"] = _state
        own["__setstate__"] = _set_state
    plan.cls = type(cls)(cls.__name__, cls.__bases__, own)
    return plan.cls  # type: ignore[no-any-return]


def _are_plain(annotations: dict[str, Any], defaults: dict[str, Any]) -> bool:
    """Whether this module can make the class itself; the standard library makes all that have other fields."""
    for default in defaults.values():
        if isinstance(default, dataclasses.Field) and not (default.init and default.hash is None):
            return False
    if not all(annotation.__class__ is str for annotation in annotations.values()):
        return False
    words = " ".join(annotations.values())
    return "ClassVar" not in words and "InitVar" not in words and "KW_ONLY" not in words


def _general_init(plan: _Plan, cls: type, only: tuple[str, ...]) -> Callable[..., None]:
    """An ``__init__`` for the first objects; then, and for whatever is not quite plain, it has the real one made."""
    names = plan.names
    positional = tuple(name for name in names if name not in only) if only else names
    ordered = positional + only
    defaults = plan.defaults
    checked = hasattr(cls, "__post_init__")
    store = object.__setattr__
    made = 0

    def __init__(self: Any, *args: Any, **given: Any) -> None:  # noqa: N807
        nonlocal made
        made += 1
        if made > MANY or len(args) > len(positional):
            return _own_init(plan)(self, *args, **given)
        for name, value in zip(positional, args, strict=False):
            store(self, name, value)
        used = 0
        for name in ordered[len(args) :]:
            if name in given:
                value = given[name]
                used += 1
            else:
                value = defaults.get(name, _MISSING)
                if value.__class__ is dataclasses.Field:
                    factory: Any = value.default_factory
                    value = value.default if factory is _MISSING else factory()
                if value is _MISSING:
                    return _own_init(plan)(self, *args, **given)
            store(self, name, value)
        if used < len(given):
            return _own_init(plan)(self, *args, **given)
        if checked:
            self.__post_init__()
        return None

    return __init__


def _own_init(plan: _Plan) -> Callable[..., None]:
    """The real ``__init__``, put in its place."""
    made = _init(plan)
    plan.cls.__init__ = made
    return made


def _init(plan: _Plan) -> Callable[..., None]:
    """The real ``__init__``: one parameter for each field, in order."""
    names: dict[str, Any] = {"FACTORY": _FACTORY}
    ordinary: list[str] = []
    named: list[str] = []
    body: list[str] = []
    for name in plan.names:
        told = plan.told(name)
        default = plan.defaults.get(name, _MISSING) if told is None else told.default
        value = parameter = name
        if default is not _MISSING:
            names[f"default_{name}"] = default
            parameter = f"{name}=default_{name}"
        elif told is not None and told.default_factory is not _MISSING:
            names[f"make_{name}"] = told.default_factory
            parameter = f"{name}=FACTORY"
            value = f"make_{name}() if {name} is FACTORY else {name}"
        (named if told is not None and told.kw_only is True else ordinary).append(parameter)
        if plan.frozen:
            names[f"set_{name}"] = plan.cls.__dict__[name].__set__
            body.append(f" set_{name}(self, {value})")
        else:
            body.append(f" self.{name} = {value}")
    if hasattr(plan.cls, "__post_init__"):
        body.append(" self.__post_init__()")
    parameters = ", ".join(["self", *ordinary, *(["*", *named] if named else [])])
    source = "\n".join([f"def __init__({parameters}):", *(body or [" pass"])])
    exec(source, names)  # the names come from the class body, as in the standard library
    made: Callable[..., None] = names["__init__"]
    made.__qualname__ = f"{plan.cls.__qualname__}.__init__"
    made.__annotations__ = {**plan.annotations, "return": None}
    made.__module__ = plan.cls.__module__
    return made


class _Fields:
    """The standard library's description of the fields, made when somebody first asks for it."""

    __slots__ = ("plan",)

    def __init__(self, plan: _Plan) -> None:
        self.plan = plan

    def __get__(self, found: Any, cls: Any) -> dict[str, dataclasses.Field[Any]]:
        plan = self.plan
        # (the standard decorator would look up the signature to write a missing docstring)
        shape = {"__annotations__": dict.fromkeys(plan.names, object), "__doc__": "fields", **plan.defaults}
        like: Any = dataclasses.dataclass(init=False, repr=False, eq=False, match_args=False)(type("like", (), shape))
        fields: dict[str, dataclasses.Field[Any]] = like.__dataclass_fields__
        for name, annotation in plan.annotations.items():
            fields[name].type = annotation
        plan.cls.__dataclass_fields__ = fields
        return fields


class _Params:
    """The standard library's note of how the class was made, which tools look at."""

    __slots__ = ("plan",)

    def __init__(self, plan: _Plan) -> None:
        self.plan = plan

    def __get__(self, found: Any, cls: Any) -> Any:
        plan = self.plan
        like: Any = dataclasses.dataclass(frozen=plan.frozen, eq=plan.eq, slots=True)(type("like", (), {}))
        plan.cls.__dataclass_params__ = like.__dataclass_params__
        return plan.cls.__dataclass_params__


class _Values:
    """All fields that are compared, as a tuple; the getter is made when a class first needs it."""

    __slots__ = ("plan",)

    def __init__(self, plan: _Plan) -> None:
        self.plan = plan

    def __get__(self, found: Any, cls: Any) -> Any:
        plan = self.plan
        names = [name for name in plan.names if (told := plan.told(name)) is None or told.compare]
        if len(names) > 1:
            get: Callable[[Any], Any] = attrgetter(*names)
        else:

            def get(record: Any) -> Any:
                return tuple([getattr(record, name) for name in names])

        plan.cls.__values__ = staticmethod(get)
        return get


class _Signature:
    """The signature for whoever asks (``help``, tools): that of the real ``__init__`` without ``self``."""

    __slots__ = ("plan",)

    def __init__(self, plan: _Plan) -> None:
        self.plan = plan

    def __get__(self, found: Any, cls: Any) -> inspect.Signature:
        import inspect

        if found is not None:
            raise AttributeError("__signature__")
        signature = inspect.signature(_init(self.plan))
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
    return [getattr(self, name) for name in self.__slots__]


def _set_state(self: Any, state: list[Any]) -> None:
    for name, value in zip(self.__slots__, state, strict=True):
        object.__setattr__(self, name, value)


# Named tuples ------------------------------------------------------------------------------------------------------

if not TYPE_CHECKING:

    class _Maker(type):
        """Makes a plain class of tuples of each class body below ``NamedTuple``."""

        def __new__(cls, name: str, bases: tuple[type, ...], body: dict[str, Any]) -> type:
            return _made_tuple(name, body) if bases else super().__new__(cls, name, bases, body)

    class NamedTuple(metaclass=_Maker):
        """As ``typing.NamedTuple``, with what makes its objects made on first use."""


def _made_tuple(name: str, body: dict[str, Any]) -> type:
    names = tuple(body.get("__annotations__", ()))
    defaults = {field: body.pop(field) for field in names if field in body}
    if tuple(defaults) != names[len(names) - len(defaults) :]:
        raise TypeError(f"{name}: a field without a default follows one that has it")
    for index, field in enumerate(names):
        body[field] = _tuplegetter(index, "")
    home: list[type] = []
    body["__slots__"] = ()
    body["_fields"] = body["__match_args__"] = names
    body["_field_defaults"] = defaults
    body["_make"] = classmethod(_make)
    body["_replace"] = _replace
    body["_asdict"] = _asdict
    body["__getnewargs__"] = _plain
    body["__new__"] = _general_new(names, defaults, home)
    body.setdefault("__repr__", _tuple_repr)
    home.append(type(name, (tuple,), body))
    return home[0]


def _general_new(names: tuple[str, ...], defaults: dict[str, Any], home: list[type]) -> Callable[..., Any]:
    """A ``__new__`` for the first objects; then, and for whatever is not quite plain, it has the real one made."""
    make: Callable[..., Any] = tuple.__new__
    size = len(names)
    made = 0

    def __new__(_cls: Any, *args: Any, **given: Any) -> Any:  # noqa: N807
        nonlocal made
        made += 1
        if made <= MANY:
            if len(args) == size and not given:
                return make(_cls, args)
            values = {**defaults, **dict(zip(names, args, strict=False)), **given}
            if len(args) <= size and len(values) == size and given.keys().isdisjoint(names[: len(args)]):
                try:
                    return make(_cls, [values[name] for name in names])
                except KeyError:
                    pass
        own = _new(names, defaults)
        home[0].__new__ = staticmethod(own)  # type: ignore[method-assign]
        return own(_cls, *args, **given)

    return __new__


def _new(names: tuple[str, ...], defaults: dict[str, Any]) -> Callable[..., Any]:
    """The real ``__new__``, which the standard library writes in just this way."""
    space: dict[str, Any] = {f"default_{name}": value for name, value in defaults.items()}
    space["make"] = tuple.__new__
    parameters = [f"{name}=default_{name}" if name in defaults else name for name in names]
    made: Callable[..., Any] = eval(
        f"lambda {', '.join(['_cls', *parameters])}: make(_cls, ({''.join(f'{name}, ' for name in names)}))", space
    )
    made.__name__ = "__new__"
    return made


def _make(cls: Any, values: Iterable[Any]) -> Any:
    """An object of values in the order of the fields."""
    made = tuple.__new__(cls, values)
    if len(made) != len(cls._fields):
        raise TypeError(f"Expected {len(cls._fields)} arguments, got {len(made)}")
    return made


def _replace(self: Any, /, **given: Any) -> Any:
    """The same with other values of some fields."""
    made = self._make(map(given.pop, self._fields, self))
    if given:
        raise ValueError(f"Got unexpected field names: {list(given)!r}")
    return made


def _asdict(self: Any) -> dict[str, Any]:
    """The fields by name."""
    return dict(zip(self._fields, self, strict=True))


def _plain(self: Any) -> tuple[Any, ...]:
    """The values, for pickling."""
    return tuple(self)


def _tuple_repr(self: Any) -> str:
    shown = ", ".join(f"{name}={value!r}" for name, value in zip(self._fields, self, strict=True))
    return f"{self.__class__.__name__}({shown})"
