"""The key file: made with the right permissions, refused with the wrong ones."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from interchange.deidentify import Key, load_key
from interchange.errors import UsageError


def test_a_key_file_is_made_for_its_owner_alone_and_read_again(tmp_path: Path) -> None:
    path = tmp_path / "key"
    one = load_key(path)
    assert path.stat().st_mode & 0o777 == 0o600
    assert load_key(path).pseudonym("patient", "4711") == one.pseudonym("patient", "4711")
    assert load_key(tmp_path / "other").pseudonym("patient", "4711") != one.pseudonym("patient", "4711")


@pytest.mark.skipif(os.name != "posix", reason="file rights of POSIX systems")
def test_a_key_that_others_can_read_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "key"
    load_key(path)
    path.chmod(0o644)
    with pytest.raises(UsageError, match="others can read"):
        load_key(path)


@pytest.mark.parametrize("content", [b"", b"secret", b"\xff\xfe"])
def test_what_is_no_key_is_refused_and_kept(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "key"
    path.write_bytes(content)
    path.chmod(0o600)
    with pytest.raises(UsageError, match="no key"):
        load_key(path)
    assert path.read_bytes() == content


def test_of_several_who_make_a_key_at_once_all_use_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Everybody finds no file at first; whoever is slower than another reads what that one made."""
    path = tmp_path / "key"
    real, others = os.fsync, []

    def slow(handle: int) -> None:
        real(handle)
        if len(others) < 3:
            others.append(None)
            others[others.index(None)] = load_key(path)

    monkeypatch.setattr(os, "fsync", slow)
    mine = load_key(path)
    assert len(others) == 3
    assert {key.secret for key in others if key is not None} | {load_key(path).secret} == {mine.secret}
    assert [p.name for p in tmp_path.iterdir()] == ["key"]


def test_a_file_system_without_hard_links(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "hardlink_to", none)
    key = load_key(tmp_path / "key")
    assert load_key(tmp_path / "key").secret == key.secret
    assert (tmp_path / "key").stat().st_mode & 0o777 == 0o600


def test_no_name_is_no_key() -> None:
    with pytest.raises(UsageError, match="--key: needs the name of a file"):
        load_key("")


def test_pseudonyms_have_their_forms() -> None:
    key = Key(b"k" * 32)
    assert re.fullmatch(r"[A-Z2-7]{16}", key.pseudonym("patient", "x"))
    uid = key.uid("study", "x")
    number = int(uid.removeprefix("2.25."))
    assert (number >> 76) & 0xF == 8
    assert (number >> 62) & 0x3 == 2
    assert len(uid) <= 64
    days = {key.days(str(n)) for n in range(2000)}
    assert min(days) >= 366
    assert max(days) <= 3650
    assert len(days) > 1000
    assert key.pseudonym("patient", "x") != key.pseudonym("study", "x")
