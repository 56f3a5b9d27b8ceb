"""No writing over what is being read: the files of the source are neither replaced nor removed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fnmatch import fnmatchcase
from pathlib import Path

from interchange.errors import TargetError
from interchange.publish import is_part

__all__ = ["refuse_sources"]


def refuse_sources(
    folder: Path, names: Iterable[str], sources: Sequence[str], replaces: Sequence[str] = (), sign: bytes = b""
) -> None:
    """TargetError when a file to be written in the folder, or an old one to be removed, was read as the source.

    ``names``: of the files to be written, the main one last; ``sources``: paths that were read; ``replaces`` and
    ``sign`` as in :func:`interchange.publish.publish`.
    """
    read, names = [Path(source) for source in sources], list(names)
    for name in names:
        if any(_same(folder / name, source) for source in read):
            raise TargetError("is a file of the source itself; give the target another name", file=str(folder / name))
    for source in read:
        named = any(fnmatchcase(source.name, pattern) for pattern in replaces)
        if named and _same(folder / source.name, source) and is_part(str(folder), source.name, names[-1], sign):
            reason = "is a file of the source, and would be removed as one of the target's old files"
            raise TargetError(f"{reason}; give the target another name", file=str(source))


def _same(path: Path, source: Path) -> bool:
    try:
        return path.samefile(source)
    except OSError:
        return False
