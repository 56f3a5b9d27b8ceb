"""Files appear whole or not at all.

Every file is written under a temporary name in the target's folder, flushed to the disk, and renamed.  Of several
files the main one comes last: its appearance is the switch.  A failure at any step leaves what was there before.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Sequence
from fnmatch import fnmatchcase
from pathlib import Path

from interchange.errors import TargetError
from interchange.sources import is_plain_name

__all__ = ["check_target", "publish"]


def check_target(target: Path, *, overwrite: bool, source: Path | None = None, same_ok: bool = False) -> None:
    """TargetError when nothing may be written there: a folder, a link, the source, a file not to be replaced."""
    shown = str(target)
    try:
        if not is_plain_name(target.name):
            raise TargetError("the name is not one that every system can hold", file=shown)
        if target.is_symlink():
            raise TargetError("is a link; name the file itself", file=shown)
        if target.is_dir():
            raise TargetError("is a folder", file=shown)
        if not target.parent.is_dir():
            raise TargetError("the folder does not exist", file=shown)
        if not target.exists():
            return
        if source is not None and source.exists() and target.samefile(source):
            raise TargetError("is the source itself", file=shown)
        if not overwrite and not same_ok:
            raise TargetError("exists already (--overwrite replaces it)", file=shown)
    except OSError as error:
        raise TargetError(f"cannot be looked at: {error.strerror or 'input/output error'}", file=shown) from None


def publish(
    folder: Path,
    files: Sequence[tuple[str, bytes]],
    *,
    overwrite: bool,
    replaces: Sequence[str] = (),
    same_ok: bool = False,
) -> tuple[str, ...]:
    """Write all files into the folder, the last one last; names of files that the new main file made obsolete.

    ``replaces``: name patterns of files of an earlier record of the same name, removed once the new main file stands
    (only with ``overwrite``).  ``same_ok``: a main file that has the very same bytes already is no conflict.  Raises
    TargetError; then what was there before is there still.
    """
    waiting: list[tuple[Path, Path]] = []
    published: list[Path] = []
    main = folder / files[-1][0]
    try:
        for name, data in files:
            if not is_plain_name(name):
                raise TargetError("the name is not one that every system can hold", file=str(main))
            final = folder / name
            if (name != files[-1][0] or same_ok) and _holds(final, data):
                continue
            waiting.append((_temporary(folder, data), final))
        for temporary, final in list(waiting):
            _place(temporary, final, overwrite=overwrite)
            waiting.pop(0)
            if final != main:
                published.append(final)
        _sync_folder(folder)
    except BaseException as error:
        for path in [temporary for temporary, _ in waiting] + ([] if _holds(main, files[-1][1]) else published):
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise TargetError(f"cannot be written: {error.strerror or 'input/output error'}", file=str(main)) from None
        raise
    return _remove_old(folder, files, replaces) if overwrite else ()


def _temporary(folder: Path, data: bytes) -> Path:
    """A file with the data, flushed to the disk, under a name of its own in the folder."""
    path = folder / f".interchange-{secrets.token_hex(8)}.part"
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        with contextlib.suppress(OSError):
            path.unlink()
        raise
    return path


def _place(temporary: Path, final: Path, *, overwrite: bool) -> None:
    if overwrite:
        temporary.replace(final)
        return
    try:
        final.hardlink_to(temporary)
    except FileExistsError:
        raise TargetError("exists already (--overwrite replaces it)", file=str(final)) from None
    except OSError:
        if final.exists():
            raise TargetError("exists already (--overwrite replaces it)", file=str(final)) from None
        temporary.replace(final)
        return
    temporary.unlink()


def _holds(path: Path, data: bytes) -> bool:
    """Whether a regular file has exactly these bytes already."""
    try:
        if path.is_symlink() or not path.is_file() or path.stat().st_size != len(data):
            return False
        return path.read_bytes() == data
    except OSError:
        return False


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _remove_old(folder: Path, files: Sequence[tuple[str, bytes]], replaces: Sequence[str]) -> tuple[str, ...]:
    kept = {name for name, _ in files}
    removed = []
    if replaces:
        for path in sorted(folder.iterdir()):
            if path.name not in kept and any(fnmatchcase(path.name, pattern) for pattern in replaces):
                with contextlib.suppress(OSError):
                    path.unlink()
                    removed.append(path.name)
    return tuple(removed)
