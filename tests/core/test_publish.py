"""Files appear whole or not at all, and nothing is overwritten unasked."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from interchange import publish as module
from interchange.errors import TargetError
from interchange.publish import check_target, publish

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
