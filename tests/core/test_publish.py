"""Files appear whole or not at all, and nothing is overwritten unasked."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest

import interchange
from fixtures.field import twelve_leads
from interchange import publish as module
from interchange.errors import TargetError, UnsettledError
from interchange.publish import Publication, carry_out, check_target, publish

FILES = [("record_0a1b2c3d.dat", b"signal"), ("record.hea", b"header")]


def test_files_appear_with_the_usual_rights(tmp_path: Path) -> None:
    publish(tmp_path, FILES, overwrite=False)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == dict(FILES)
    mask = os.umask(0)
    os.umask(mask)
    assert (tmp_path / "record.hea").stat().st_mode & 0o777 == 0o666 & ~mask


def test_nothing_is_overwritten_unasked(tmp_path: Path) -> None:
    (tmp_path / "record.hea").write_bytes(b"old")
    with pytest.raises(TargetError, match="exists already"):
        publish(tmp_path, FILES, overwrite=False)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"record.hea": b"old"}


def test_old_signal_files_go_last_and_only_theirs(tmp_path: Path) -> None:
    for name in ("record_99999999.dat", "other_99999999.dat", "record.hea"):
        (tmp_path / name).write_bytes(b"old")
    removed = publish(tmp_path, FILES, overwrite=True, replaces=("record_????????.dat",))
    assert removed == ("record_99999999.dat",)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["other_99999999.dat", "record.hea", "record_0a1b2c3d.dat"]


def test_a_file_that_the_system_takes_in_pieces_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.write
    monkeypatch.setattr(os, "write", lambda handle, data: real(handle, bytes(data)[:4]))
    publish(tmp_path, FILES, overwrite=False)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == dict(FILES)


@pytest.mark.parametrize("step", ["write", "fsync", "rename main", "folder"])
@pytest.mark.parametrize("old", [None, b"old header"])
def test_a_failure_at_any_step_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, old: bytes | None
) -> None:
    if old is not None:
        (tmp_path / "record.hea").write_bytes(old)
        (tmp_path / "record_99999999.dat").write_bytes(b"old signal")
    real_fsync, real_replace, real_link = os.fsync, os.replace, os.link

    def full_disk(*_: object) -> None:
        raise OSError(28, "No space left on device")

    if step == "write":
        monkeypatch.setattr(os, "write", full_disk)
    elif step == "fsync":
        calls = iter([real_fsync, full_disk, full_disk, full_disk])
        monkeypatch.setattr(os, "fsync", lambda handle: next(calls)(handle))  # noqa: PLW0108
    elif step == "rename main":

        def unless_main(real: Callable[[str, str], None]) -> Callable[[str, str], None]:
            return lambda source, target: full_disk() if Path(target).name == "record.hea" else real(source, target)

        monkeypatch.setattr(os, "replace", unless_main(real_replace))
        monkeypatch.setattr(os, "link", unless_main(real_link))
    else:
        monkeypatch.setattr(module, "_sync_folder", full_disk)
    with pytest.raises(TargetError, match="No space left"):
        publish(tmp_path, FILES, overwrite=old is not None)
    monkeypatch.undo()
    found = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    if step == "folder":
        assert found["record.hea"] == b"header"
        assert found["record_0a1b2c3d.dat"] == b"signal"
    elif old is None:
        assert found == {}
    else:
        assert found == {"record.hea": old, "record_99999999.dat": b"old signal"}


def test_targets_that_are_refused(tmp_path: Path) -> None:
    source = tmp_path / "source.scp"
    source.write_bytes(b"x")
    (tmp_path / "link.scp").symlink_to(source)
    (tmp_path / "hard.scp").hardlink_to(source)
    cases = {
        "is a folder": tmp_path,
        "is a link": tmp_path / "link.scp",
        "the folder does not exist": tmp_path / "none" / "x.scp",
        "is the source itself; give the target another name": tmp_path / "hard.scp",
        "not one that every system can hold": tmp_path / "a:b.scp",
    }
    for reason, target in cases.items():
        with pytest.raises(TargetError, match=reason):
            check_target(target, overwrite=True, source=source)
    with pytest.raises(TargetError, match="exists already"):
        check_target(source, overwrite=False)


def test_a_failure_brings_back_what_had_been_replaced_already(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    old = {"x.dcm.receipt.json": b"old receipt", "x.dcm": b"old"}
    for name, data in old.items():
        (tmp_path / name).write_bytes(data)
    real = os.replace

    def replaced(source: str, target: str) -> None:
        if Path(target).name == "x.dcm":
            raise OSError(5, "Input/output error")
        real(source, target)

    monkeypatch.setattr(os, "replace", replaced)
    with pytest.raises(TargetError, match="Input/output error"):
        publish(tmp_path, [("x.dcm.receipt.json", b"new receipt"), ("x.dcm", b"new")], overwrite=True)
    monkeypatch.undo()
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == old


def test_a_file_in_the_way_of_a_receipt_stays(tmp_path: Path) -> None:
    """One that was there before is not removed as if it had been placed now."""
    files = [("a.txt", b"first"), ("x.dcm.receipt.json", b"new receipt"), ("x.dcm", b"new")]
    (tmp_path / "x.dcm.receipt.json").write_bytes(b"somebody else's")
    with pytest.raises(TargetError, match="exists already"):
        publish(tmp_path, files, overwrite=False)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"x.dcm.receipt.json": b"somebody else's"}


def test_a_further_file_that_is_no_part_of_the_record_is_neither_replaced_nor_removed(tmp_path: Path) -> None:
    pattern, sign = ("a-[0-9]*.scp",), b"part-of: a.scp"
    (tmp_path / "a-2.scp").write_bytes(b"somebody else's")
    with pytest.raises(TargetError, match="no part of this record"):
        publish(
            tmp_path,
            [("a-2.scp", b"part-of: a.scp new"), ("a.scp", b"new")],
            overwrite=True,
            replaces=pattern,
            sign=sign,
        )
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == {"a-2.scp": b"somebody else's"}
    (tmp_path / "a-3.scp").write_bytes(b"part-of: a.scp old")
    assert publish(tmp_path, [("a.scp", b"new")], overwrite=True, replaces=pattern, sign=sign) == ("a-3.scp",)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a-2.scp", "a.scp"]


def held(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


def failing(number: int, nth: int, real: Callable[..., object]) -> Callable[..., object]:
    """``real``, but its nth call fails with this error number."""
    calls = [0]

    def call(*arguments: object, **settings: object) -> object:
        calls[0] += 1
        if calls[0] == nth:
            raise OSError(number, os.strerror(number))
        return real(*arguments, **settings)

    return call


def test_a_folder_that_does_not_reach_the_disk_is_told_as_written(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(os, "fsync", failing(errno.EIO, 3, os.fsync))
    with pytest.raises(UnsettledError, match=r"record\.hea: written, but its name may not survive") as caught:
        publish(tmp_path, FILES, overwrite=False)
    assert caught.value.status == 5
    assert held(tmp_path) == dict(FILES)


@pytest.mark.parametrize("number", [errno.EINVAL, errno.ENOTSUP])
def test_a_file_system_that_has_no_such_thing_is_no_failure(tmp_path: Path, monkeypatch, number: int) -> None:
    monkeypatch.setattr(os, "fsync", failing(number, 3, os.fsync))
    publish(tmp_path, FILES, overwrite=False)
    assert held(tmp_path) == dict(FILES)


def test_a_folder_that_cannot_be_opened_is_found_before_the_switch(tmp_path: Path, monkeypatch) -> None:
    (tmp_path / "record.hea").write_bytes(b"old")
    monkeypatch.setattr(os, "open", failing(errno.EMFILE, 3, os.open))
    with pytest.raises(TargetError, match="cannot be written"):
        publish(tmp_path, FILES, overwrite=True)
    assert held(tmp_path) == {"record.hea": b"old"}


@pytest.mark.parametrize("step", ["scandir", "unlink"])
def test_obsolete_files_that_stay_are_no_failure(tmp_path: Path, monkeypatch, step: str) -> None:
    (tmp_path / "record_99999999.dat").write_bytes(b"old signal")
    publication = Publication(tmp_path, FILES, overwrite=True, replaces=("record_????????.dat",))
    monkeypatch.setattr(os, step, failing(errno.EACCES, 1, getattr(os, step)))
    assert carry_out(publication) == ()
    assert publication.remaining == (("record_????????.dat",) if step == "scandir" else ("record_99999999.dat",))
    assert held(tmp_path) == {**dict(FILES), "record_99999999.dat": b"old signal"}


def test_old_files_that_stay_are_noted_in_the_receipt(tmp_path: Path, monkeypatch) -> None:
    interchange.write(twelve_leads(), tmp_path / "record.hea")
    others = twelve_leads().with_(tracings=(twelve_leads().tracings[0].take([0, 1]),), marks=())
    old = next(tmp_path.glob("*.dat")).name
    monkeypatch.setattr(os, "unlink", failing(errno.EACCES, 1, os.unlink))
    receipt = interchange.write(others, tmp_path / "record.hea", overwrite=True, accept=["leads"])
    assert f"old files of this record could not be removed: {old}" in receipt.notes


@pytest.mark.parametrize("kind", ["folder", "link", "pipe"])
@pytest.mark.parametrize("name", ["record_0a1b2c3d.dat", "record.hea"])
def test_what_is_no_regular_file_is_never_replaced(tmp_path: Path, kind: str, name: str) -> None:
    path = tmp_path / name
    (tmp_path / "other").write_bytes(b"other")
    if kind == "folder":
        path.mkdir()
        (path / "inside").write_bytes(b"inside")
    elif kind == "link":
        path.symlink_to(tmp_path / "other")
    else:
        os.mkfifo(path)
    with pytest.raises(TargetError, match="exists already and is no regular file"):
        publish(tmp_path, FILES, overwrite=True)
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted([name, "other"])
    assert (path.is_dir(), path.is_symlink(), path.is_fifo()) == (kind == "folder", kind == "link", kind == "pipe")
    with pytest.raises(TargetError, match=r"no regular file|is a folder|is a link"):
        check_target(path, overwrite=True)


@pytest.mark.parametrize("nth", [1, 2])
def test_a_program_that_is_stopped_between_two_names(tmp_path: Path, monkeypatch, nth: int) -> None:
    """Before the main file has its name nothing is there, afterwards everything."""
    real, calls = os.unlink, [0]

    def stopped(path: str) -> None:
        calls[0] += 1
        if calls[0] == nth:
            raise KeyboardInterrupt
        real(path)

    monkeypatch.setattr(os, "unlink", stopped)
    with pytest.raises(KeyboardInterrupt):
        publish(tmp_path, FILES, overwrite=False)
    assert held(tmp_path) == ({} if nth == 1 else dict(FILES))
