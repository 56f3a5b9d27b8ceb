"""Names that are all different: those in the books, and those of the outputs."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from pathlib import PurePath, PurePosixPath
from typing import TYPE_CHECKING

from interchange.formats.scp.further import main_name
from interchange.sources import is_plain_name

if TYPE_CHECKING:
    from interchange.batch.find import Found

__all__ = ["different", "output_names"]


def different(names: Sequence[str], places: Sequence[str]) -> list[str]:
    """The names in the order given, none twice: those that meet begin with as many folders of their place as it takes.

    ``places``: the whole paths, all different; a name is the end of its place, with slashes.  Where a place has no
    further folders to give, the later name (by place) gets a number: ``x.dcm~2``.
    """
    longer = list(names)
    moved = True
    while moved:
        moved = False
        for members in _alike(longer):
            for at in members:
                name = _longer(longer[at], places[at])
                moved = moved or name != longer[at]
                longer[at] = name
    taken = set(longer)
    for members in _alike(longer):
        for at in sorted(members, key=lambda at: places[at])[1:]:
            longer[at] = _numbered(longer[at], "", taken)
            taken.add(longer[at])
    return longer


def _alike(names: Sequence[str]) -> list[list[int]]:
    groups: defaultdict[str, list[int]] = defaultdict(list)
    if len(set(names)) == len(names):
        return []
    for at, name in enumerate(names):
        groups[name].append(at)
    return [members for members in groups.values() if len(members) > 1]


def _longer(name: str, place: str) -> str:
    """The name with one more folder of its place before it; the name itself where there is none."""
    path = PurePath(place)
    parts = path.parts[1:] if path.anchor else path.parts
    count = name.count("/") + 1
    return "/".join(parts[-count - 1 :]) if len(parts) > count else name


def _numbered(name: str, suffix: str, taken: set[str]) -> str:
    number = 2
    while f"{name}~{number}{suffix}" in taken:
        number += 1
    return f"{name}~{number}{suffix}"


def output_names(found: Iterable[Found], suffix: str) -> list[str]:
    """The output's relative name for each recording, all different on every system, in the order given.

    ``a/b/x.scp`` becomes ``a/b/x`` + suffix; where two would meet (letter case aside), each keeps its own suffix
    (``x.scp.dcm``), and where that is not enough, it gets a number.  The further files that an SCP-ECG record may get
    (``x-2.scp`` and so on) are kept free.
    """
    items = list(found)
    plain = [_safe(PurePosixPath(item.name).with_suffix("")) for item in items]
    counts = Counter(name.casefold() for name in plain)
    outputs = _Outputs(suffix)
    names = []
    for name, item in zip(plain, items, strict=True):
        main = outputs.main(name.casefold())
        alone = counts[name.casefold()] == 1 and (main is None or main not in counts)
        names.append(outputs.take(name if alone else _safe(PurePosixPath(item.name))))
    return names


class _Outputs:
    """Names of outputs that are given away, letter case aside and without the suffix."""

    def __init__(self, suffix: str) -> None:
        self._suffix = suffix
        self._taken: set[str] = set()
        self._mains: set[str] = set()
        self._next: Counter[str] = Counter()

    def take(self, name: str) -> str:
        """This name, or with the first number that makes it a free one, with the suffix."""
        chosen, folded = name, name.casefold()
        while not self._free(chosen.casefold()):
            self._next[folded] += 1
            chosen = f"{name}~{self._next[folded] + 1}"
        self._taken.add(chosen.casefold())
        main = self.main(chosen.casefold())
        if main is not None:
            self._mains.add(main)
        return f"{chosen}{self._suffix}"

    def main(self, name: str) -> str | None:
        """The record whose further file this output might be taken for, None where that is not possible."""
        if self._suffix != ".scp":
            return None
        main = main_name(f"{name}{self._suffix}")
        return None if main is None else main.removesuffix(self._suffix)

    def _free(self, name: str) -> bool:
        return name not in self._taken and name not in self._mains and self.main(name) not in self._taken


def _safe(path: PurePosixPath) -> str:
    """The relative path with every part a plain name on every system."""
    parts = []
    for part in path.parts:
        name = "".join("_" if c in '/\\:"<>|?*' or ord(c) < 32 or 127 <= ord(c) < 160 else c for c in part)
        name = name.rstrip(". ") or "_"
        parts.append(name if is_plain_name(name) and name not in ("..", ".") else "_")
    return "/".join(parts)
