"""Files appear whole or not at all.

Every file is written under a temporary name in the target's folder, flushed to the disk, and renamed.  Of several
files the main one comes last: its appearance is the switch.  A failure before the switch leaves what was there before;
one after it is told as what it is: the files are written.
"""

# Paths are plain strings below: making objects of them would take longer than what the system does with them.
# ruff: noqa: PTH105, PTH108, PTH110, PTH114, PTH118, PTH122, PTH119, PTH121

from __future__ import annotations

import contextlib
import errno
import os
import re
import stat
from collections.abc import Iterator, Sequence
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Final

from interchange.errors import TargetError, UnsettledError
from interchange.sources import is_plain_name

__all__ = ["Publication", "carry_out", "check_target", "is_part", "publish", "sync_folder"]

_NEW: Final = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)


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
        if not stat.S_ISREG(status.st_mode):
            raise TargetError("is no regular file", file=shown)
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
    TargetError; then what was there before is there still, unless it is an UnsettledError: then everything is written.
    """
    return carry_out(Publication(folder, files, overwrite=overwrite, replaces=replaces, same_ok=same_ok, sign=sign))


def carry_out(publication: Publication) -> tuple[str, ...]:
    """All steps of a publication; raises and gives back as :func:`publish`."""
    folder: int | None = None
    try:
        publication.write()
        publication.flush()
        folder = publication.open_folder()
        removed = publication.place()
        if folder is not None:
            with _told(publication.shown, _UNSETTLED):
                _sync_folder(folder)
        return removed
    finally:
        if folder is not None:
            with contextlib.suppress(OSError):
                os.close(folder)
        publication.drop()


class Publication:
    """Files on their way, for whoever does something else while the disk works: see :func:`publish`.

    :meth:`write`, :meth:`flush`, :meth:`place`, then :func:`sync_folder` once for all that was placed in a folder, and
    :meth:`drop` in any case.  Each raises TargetError.  After :meth:`place`, ``remaining`` names files that should have
    gone and could not be removed.
    """

    def __init__(
        self,
        folder: Path,
        files: Sequence[tuple[str, bytes]],
        *,
        overwrite: bool,
        replaces: Sequence[str] = (),
        same_ok: bool = False,
        sign: bytes = b"",
    ) -> None:
        self._folder = os.fspath(folder)
        self.shown = os.path.join(self._folder, files[-1][0])
        if not all(is_plain_name(name) for name, _ in files):
            raise TargetError("the name is not one that every system can hold", file=self.shown)
        self._files = files
        self._overwrite = overwrite
        self._replaces = replaces
        self._same_ok = same_ok
        self._sign = sign
        self._parts: list[tuple[str, str, bytes]] = []
        self._handles: list[int] = []
        self.remaining: tuple[str, ...] = ()
        self.mark = ""
        """Characters that the temporary names bear: whoever sets them can tell what its own killed processes left."""

    def write(self) -> None:
        """Write all files under temporary names in the folder."""
        with _told(self.shown):
            beginning = os.path.join(self._folder, f".interchange-{self.mark}{os.urandom(8).hex()}")
            for number, (name, data) in enumerate(self._files, 1):
                path = f"{beginning}-{number}.part"
                handle = os.open(path, _NEW, 0o666)
                self._handles.append(handle)
                self._parts.append((path, name, data))
                rest = memoryview(data)
                while rest:
                    rest = rest[os.write(handle, rest) :]

    def flush(self) -> None:
        """Wait until the files are on the disk; may be done by another thread."""
        with _told(self.shown):
            for handle in self._handles:
                os.fsync(handle)

    def open_folder(self) -> int | None:
        """A handle of the folder, to wait for its names; None where the system knows no such thing."""
        with _told(self.shown):
            return os.open(self._folder, os.O_RDONLY) if os.name == "posix" else None

    def place(self) -> tuple[str, ...]:
        """Give the files their names, the main one last; names of the files that it made obsolete."""
        with _told(self.shown):
            self._close()
            main = self._files[-1][0]
            with _alone_in(self._folder) if len(self._files) > 1 else contextlib.nullcontext():
                if self._sign:
                    _respect(self._folder, self._parts, self._replaces, self._sign)
                placed, self.remaining = _switch(
                    self._folder, self._parts, main, overwrite=self._overwrite, same_ok=self._same_ok
                )
                self._parts = [part for part in self._parts if part[1] not in placed]
                if not self._overwrite or not self._replaces:
                    return ()
                removed, remaining = _remove_old(self._folder, self._files, self._replaces, self._sign)
                self.remaining += remaining
                return removed

    def drop(self) -> None:
        """Remove what was not placed."""
        with contextlib.suppress(OSError):
            self._close()
        for temporary, _, _ in self._parts:
            with contextlib.suppress(OSError):
                os.unlink(temporary)

    def _close(self) -> None:
        while self._handles:
            os.close(self._handles.pop())


def sync_folder(folder: str | Path, shown: str) -> None:
    """Wait until the names in a folder are on the disk; UnsettledError, with the path ``shown``, where that fails."""
    with _told(shown, _UNSETTLED):
        _sync_folder(folder)


_UNSETTLED: Final = "written, but its name may not survive a power failure: the folder cannot be brought to the disk"


@contextlib.contextmanager
def _told(shown: str, what: str = "cannot be written") -> Iterator[None]:
    try:
        yield
    except OSError as error:
        kind = UnsettledError if what is _UNSETTLED else TargetError
        raise kind(f"{what}: {error.strerror or 'input/output error'}", file=shown) from None


def _respect(folder: str, parts: Sequence[tuple[str, str, bytes]], replaces: Sequence[str], sign: bytes) -> None:
    """TargetError when a further file would replace one that is not part of an earlier record of this name."""
    main = parts[-1][1]
    for _, name, _ in parts:
        path = os.path.join(folder, name)
        if any(fnmatchcase(name, pattern) for pattern in replaces) and not is_part(folder, name, main, sign):
            raise TargetError("exists already and is no part of this record", file=path)


def is_part(folder: str, name: str, main: str, sign: bytes) -> bool:
    """Whether a file is part of the record with this main file, or not there.

    It, or the file of the main one's kind that lies beside it under its own name, says so by the sign: the signal file
    ``x.dat`` belongs to ``x.hea``.
    """
    suffix = os.path.splitext(main)[1]
    owner = name if name.endswith(suffix) else name.partition(".")[0] + suffix
    if owner == main:
        return True
    path = os.path.join(folder, owner)
    try:
        return not os.path.exists(path) or (not os.path.islink(path) and sign in Path(path).read_bytes())
    except OSError:
        return False


def _switch(
    folder: str, parts: Sequence[tuple[str, str, bytes]], main: str, *, overwrite: bool, same_ok: bool
) -> tuple[set[str], tuple[str, ...]]:
    """Give every file its name, the main one last; on failure everything is as it was.

    Names that were given now, and names of replaced files that were set aside and could not be removed.
    """
    placed: set[str] = set()
    undo: list[tuple[str | None, str]] = []
    try:
        for temporary, name, data in parts:
            final = os.path.join(folder, name)
            if (name != main or same_ok) and _holds(final, data):
                continue
            saved = None
            if overwrite and _is_replaceable(final) and name != main:
                saved = f"{temporary.removesuffix('.part')}.old"
                os.replace(final, saved)
                undo.append((saved, final))
            _place(temporary, final, overwrite=overwrite)
            placed.add(name)
            if name != main and saved is None:
                undo.append((None, final))
    except BaseException:
        if _stands(temporary, final, data):  # somebody stopped the program just then
            if name == main:
                raise
            if not undo or undo[-1][1] != final:
                undo.append((None, final))
        _undo(undo)
        raise
    return placed, _without_saved([saved for saved, _ in undo if saved is not None])


def _undo(steps: Sequence[tuple[str | None, str]]) -> None:
    """Take files away that were placed, and put those back that were set aside for them."""
    for saved, final in reversed(steps):
        with contextlib.suppress(OSError):
            with contextlib.suppress(FileNotFoundError):
                os.unlink(final)
            if saved is not None:
                os.replace(saved, final)


def _without_saved(saved: Sequence[str]) -> tuple[str, ...]:
    """Remove the files that were set aside; names of those that stay."""
    remaining = []
    for path in saved:
        try:
            os.unlink(path)
        except OSError:
            remaining.append(os.path.basename(path))
    return tuple(remaining)


def _is_replaceable(path: str) -> bool:
    """Whether there is a file; TargetError for what is none, as a folder or a link: that is not ours to replace."""
    try:
        status = os.lstat(path)
    except FileNotFoundError:
        return False
    if not stat.S_ISREG(status.st_mode):
        raise TargetError("exists already and is no regular file", file=path)
    return True


def _stands(temporary: str, final: str, data: bytes) -> bool:
    """Whether a file that had a temporary name has its own by now, alone or besides."""
    try:
        return os.path.samefile(temporary, final)
    except FileNotFoundError:
        return not os.path.lexists(temporary) and _holds(final, data)
    except OSError:
        return False


@contextlib.contextmanager
def _alone_in(folder: str) -> Iterator[None]:
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
        with contextlib.suppress(OSError):
            os.close(handle)


def _place(temporary: str, final: str, *, overwrite: bool) -> None:
    if overwrite:
        os.replace(temporary, final)
        return
    try:
        os.link(temporary, final)
    except FileExistsError:
        raise TargetError("exists already (--overwrite replaces it)", file=final) from None
    except OSError:
        if os.path.exists(final):
            raise TargetError("exists already (--overwrite replaces it)", file=final) from None
        os.replace(temporary, final)
        return
    with contextlib.suppress(OSError):  # it has its name
        os.unlink(temporary)


def _holds(path: str, data: bytes) -> bool:
    """Whether a regular file has exactly these bytes already."""
    try:
        status = os.lstat(path)
        return stat.S_ISREG(status.st_mode) and status.st_size == len(data) and Path(path).read_bytes() == data
    except OSError:
        return False


def _sync_folder(folder: str | Path | int) -> None:
    """``folder``: its path, or a handle of it."""
    if os.name != "posix":
        return
    handle = folder if isinstance(folder, int) else os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP):  # there is no such thing there
            raise
    finally:
        if handle is not folder:
            with contextlib.suppress(OSError):
                os.close(handle)


def _remove_old(
    folder: str, files: Sequence[tuple[str, bytes]], replaces: Sequence[str], sign: bytes
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Names of the files that the new main file made obsolete: those that are gone, and those that could not go.

    The new record is in its place: nothing that happens here is a failure of its writing.
    """
    kept, main = {name for name, _ in files}, files[-1][0]
    beginnings = tuple(re.split(r"[*?\[]", pattern, maxsplit=1)[0] for pattern in replaces)
    try:
        with os.scandir(folder) as entries:
            names = sorted(entry.name for entry in entries if entry.name.startswith(beginnings))
    except OSError:
        return (), tuple(replaces)
    removed, remaining = [], []
    for name in names:
        path = os.path.join(folder, name)
        old = name not in kept and any(fnmatchcase(name, pattern) for pattern in replaces)
        if old and (not sign or is_part(folder, name, main, sign)):
            try:
                os.unlink(path)
                removed.append(name)
            except OSError:
                remaining.append(name)
    return tuple(removed), tuple(remaining)
