"""Files appear whole or not at all.

Every file is written under a temporary name in the target's folder, flushed to the disk, and renamed.  Of several
files the main one comes last: its appearance is the switch.  A failure at any step leaves what was there before.
"""

from __future__ import annotations

import contextlib
import os
import re
import stat
from collections.abc import Iterator, Sequence
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
        try:
            status = target.lstat()
        except (FileNotFoundError, NotADirectoryError):
            if not target.parent.is_dir():
                raise TargetError("the folder does not exist", file=shown) from None
            return
        if stat.S_ISLNK(status.st_mode):
            raise TargetError("is a link; name the file itself", file=shown)
        if stat.S_ISDIR(status.st_mode):
            raise TargetError("is a folder", file=shown)
        if source is not None and source.exists() and target.samefile(source):
            raise TargetError("is the source itself; give the target another name", file=shown)
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
    sign: bytes = b"",
) -> tuple[str, ...]:
    """Write all files into the folder, the last one last; names of files that the new main file made obsolete.

    ``replaces``: name patterns of files of an earlier record of the same name, removed once the new main file stands
    (only with ``overwrite``).  ``same_ok``: a main file that has the very same bytes already is no conflict.
    ``sign``: a file that ``replaces`` names without holding these bytes is somebody else's and stays.  Raises
    TargetError; then what was there before is there still.
    """
    main = files[-1][0]
    if not all(is_plain_name(name) for name, _ in files):
        raise TargetError("the name is not one that every system can hold", file=str(folder / main))
    parts: list[tuple[Path, str, bytes]] = []
    try:
        for name, data in files:
            parts.append((_temporary(folder, data), name, data))
        with _alone_in(folder) if len(files) > 1 else contextlib.nullcontext():
            if sign:
                _respect(folder, parts, replaces, sign)
            _switch(folder, parts, main, overwrite=overwrite, same_ok=same_ok)
            removed = _remove_old(folder, files, replaces, sign) if overwrite else ()
        _sync_folder(folder)  # outside the lock: whoever waits for it need not wait for the disk
        return removed
    except OSError as error:
        reason = f"cannot be written: {error.strerror or 'input/output error'}"
        raise TargetError(reason, file=str(folder / main)) from None
    finally:
        for temporary, _, _ in parts:
            with contextlib.suppress(OSError):
                temporary.unlink()


def _respect(folder: Path, parts: Sequence[tuple[Path, str, bytes]], replaces: Sequence[str], sign: bytes) -> None:
    """TargetError when a further file would replace one that is not part of an earlier record of this name."""
    for _, name, _ in parts:
        if any(fnmatchcase(name, pattern) for pattern in replaces) and not _is_part(folder / name, sign):
            raise TargetError("exists already and is no part of this record", file=str(folder / name))


def _is_part(path: Path, sign: bytes) -> bool:
    """Whether there is no such file, or one that says of itself that it is part of the record."""
    try:
        return not path.exists() or (not path.is_symlink() and sign in path.read_bytes())
    except OSError:
        return False


def _switch(
    folder: Path, parts: Sequence[tuple[Path, str, bytes]], main: str, *, overwrite: bool, same_ok: bool
) -> None:
    """Give every file its name, the main one last; on failure everything is as it was."""
    undo: list[tuple[Path | None, Path]] = []
    try:
        for temporary, name, data in parts:
            final = folder / name
            if (name != main or same_ok) and _holds(final, data):
                continue
            saved = None
            if name != main and overwrite and final.exists():
                saved = temporary.with_suffix(".old")
                final.replace(saved)
            if name != main:
                undo.append((saved, final))
            _place(temporary, final, overwrite=overwrite)
    except BaseException:
        for saved, final in reversed(undo):
            with contextlib.suppress(OSError):
                final.unlink(missing_ok=True)
                if saved is not None:
                    saved.replace(final)
        raise
    for saved, _ in undo:
        if saved is not None:
            with contextlib.suppress(OSError):
                saved.unlink()


@contextlib.contextmanager
def _alone_in(folder: Path) -> Iterator[None]:
    """Hold the folder's advisory lock, where the system has one: two writers of one record take turns.

    Without it one could remove as obsolete what the other is about to name in its header.
    """
    try:
        import fcntl
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _temporary(folder: Path, data: bytes) -> Path:
    """A file with the data, flushed to the disk, under a name of its own in the folder."""
    path = folder / f".interchange-{os.urandom(8).hex()}.part"
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
    try:
        try:
            rest = memoryview(data)
            while rest:
                rest = rest[os.write(handle, rest) :]
            os.fsync(handle)
        finally:
            os.close(handle)
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
        status = path.lstat()
        return stat.S_ISREG(status.st_mode) and status.st_size == len(data) and path.read_bytes() == data
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


def _remove_old(
    folder: Path, files: Sequence[tuple[str, bytes]], replaces: Sequence[str], sign: bytes
) -> tuple[str, ...]:
    if not replaces:
        return ()
    kept = {name for name, _ in files}
    beginnings = tuple(re.split(r"[*?\[]", pattern, maxsplit=1)[0] for pattern in replaces)
    with os.scandir(folder) as entries:
        names = sorted(entry.name for entry in entries if entry.name.startswith(beginnings))
    removed = []
    for name in names:
        path = folder / name
        old = name not in kept and any(fnmatchcase(name, pattern) for pattern in replaces)
        if old and (not sign or _is_part(path, sign)):
            with contextlib.suppress(OSError):
                path.unlink()
                removed.append(name)
    return tuple(removed)
