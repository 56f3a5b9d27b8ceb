"""What a message would not give back, as lines of text.

The writer builds the native part, reads it back with the reader's own functions, and says the rest in lines
``PATH: VALUE`` (:mod:`interchange.model.lines`), which the reader takes in after everything else.
"""

from __future__ import annotations

import dataclasses
from typing import Any

from interchange.model import Moment, Quantity

__all__ = ["lines_for"]

SKIPPED = frozenset({"extras"})
"""Fields that only the format they come from understands."""


def lines_for(path: str, wanted: Any, got: Any) -> list[str]:
    """Lines that turn ``got`` into ``wanted``; what only ``got`` has stays."""
    if wanted is None or (wanted == got and type(wanted) is type(got)) or wanted == ():
        return []
    if isinstance(wanted, tuple):
        found: list[str] = []
        for index, item in enumerate(wanted):
            same = index < len(got or ()) and got[index] == item
            found += [] if same else _whole(f"{path}[{index}]", item)
        return found
    if not dataclasses.is_dataclass(wanted) or isinstance(wanted, (Moment, Quantity)):
        return [_line(path, wanted)]
    if got is None or (("." in path or "[" in path) and _says_more(got, wanted)):
        return _whole(path, wanted)
    found = []
    for entry in dataclasses.fields(wanted):
        if entry.name not in SKIPPED:
            found += lines_for(f"{path}.{entry.name}", getattr(wanted, entry.name), getattr(got, entry.name))
    return found


def _says_more(got: Any, wanted: Any) -> bool:
    """Whether ``got`` has something where ``wanted`` has nothing: a line for a field can set, and never take away."""
    for entry in dataclasses.fields(wanted):
        said, asked = getattr(got, entry.name), getattr(wanted, entry.name)
        if said != asked and entry.name not in SKIPPED:
            if asked == (None if entry.default is dataclasses.MISSING else entry.default):
                return True
            nested = dataclasses.is_dataclass(asked) and type(said) is type(asked)
            if nested and not isinstance(asked, (Moment, Quantity)) and _says_more(said, asked):
                return True
            if isinstance(asked, tuple) and len(said) > len(asked):
                return True
    return False


def _whole(path: str, item: Any) -> list[str]:
    """One line for an item, without what only another format understands."""
    if dataclasses.is_dataclass(item) and not isinstance(item, type) and hasattr(item, "extras"):
        kept = tuple((key, text) for key, text in item.extras if key.startswith("aecg."))
        item = dataclasses.replace(item, extras=kept)
    return [_line(path, item)]


def _line(path: str, value: object) -> str:
    from interchange.model.lines import line

    return line(path, value)
