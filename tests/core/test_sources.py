"""Where bytes come from: names, folders, links, files that change."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from interchange.api import open_source
from interchange.errors import SourceError
from interchange.limits import limits
from interchange.sources import is_plain_name, load


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "rec.hea").write_bytes(b"rec 0\n")
    (tmp_path / "other.scp").write_bytes(b"other")
    (tmp_path / "both").write_bytes(b"bare")
    (tmp_path / "both.hea").write_bytes(b"both 0\n")
    (tmp_path / "within").mkdir()
    (tmp_path / "within.hea").write_bytes(b"within 0\n")
    (tmp_path / "alone").mkdir()
    return tmp_path


@pytest.mark.parametrize(
    ("given", "name", "data"),
    [
        ("rec.hea", "rec.hea", b"rec 0\n"),
        ("rec", "rec.hea", b"rec 0\n"),
        ("other.scp", "other.scp", b"other"),
        ("both", "both", b"bare"),
        ("within", "within.hea", b"within 0\n"),
        ("within/../rec", "rec.hea", b"rec 0\n"),
    ],
)
@pytest.mark.parametrize("kind", [str, Path])
def test_a_record_is_named_with_or_without_its_suffix(
    folder: Path, given: str, name: str, data: bytes, kind: type
) -> None:
    source = open_source(kind(os.path.join(folder, given)))  # noqa: PTH118 - ".." stays in it
    assert (source.name, source.data) == (name, data)
    assert source.path is not None
    assert source.path.samefile(folder / name)
    if name == "rec.hea":
        assert source.neighbour("other.scp") == b"other"


def test_names_in_the_folder_where_one_stands(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    source = open_source("rec")
    assert source.shown == "rec"
    assert source.neighbour("other.scp") == b"other"
    assert source.neighbours() == ()
    assert open_source("both").neighbours() == ("both.hea",)


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        ("nothing", "there is no such file"),
        ("nothing.hea", "there is no such file"),
        ("rec.hea/x", "there is no such file"),
        ("alone", "is a folder, not a file"),
        ("a\0b", "no such"),
        ("x" * 300, "cannot be read"),
    ],
)
def test_what_is_no_file_is_said(folder: Path, given: str, reason: str) -> None:
    with pytest.raises(SourceError, match=reason):
        open_source(f"{folder}/{given}")


def test_a_file_beyond_the_limit_is_not_read(folder: Path) -> None:
    with limits(bytes=4), pytest.raises(SourceError, match="larger than 4 bytes"):
        open_source(folder / "rec")
    with limits(bytes=6):
        assert open_source(folder / "rec").data == b"rec 0\n"


@pytest.mark.skipif(not hasattr(os, "symlink"), reason="needs links")
def test_links(folder: Path) -> None:
    (folder / "to").symlink_to("other.scp")
    (folder / "nowhere").symlink_to("not there")
    (folder / "round").symlink_to("round")
    (folder / "alone" / "out").symlink_to(folder / "other.scp")
    (folder / "alone" / "rec.hea").write_bytes(b"rec 0\n")
    assert open_source(folder / "to").data == b"other"
    for name in ("nowhere", "round"):
        with pytest.raises(SourceError, match="no such"):
            open_source(folder / name)
    assert open_source(folder / "rec").neighbour("to") == b"other"
    with pytest.raises(SourceError, match="leads out of the folder"):
        open_source(folder / "alone" / "rec").neighbour("out")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with a name")
def test_a_pipe_is_not_waited_for(folder: Path) -> None:
    os.mkfifo(folder / "pipe")
    with pytest.raises(SourceError, match="no regular file"):
        load(folder / "pipe")


@pytest.mark.skipif(not Path("/proc/self/status").is_file(), reason="needs /proc")
def test_a_file_whose_size_is_not_told_is_read_to_its_end() -> None:
    found = load("/proc/self/status")
    assert found is not None
    assert found.startswith(b"Name:")
    assert len(found) > 100


@pytest.mark.parametrize("name", ["rec.dat", "a b", "ä", "x" * 255, "-", "..."])
def test_plain_names(name: str) -> None:
    assert is_plain_name(name)


NOT_PLAIN = ["", ".", "..", "a/b", "a\\b", "c:d", 'a"', "a<", "a>", "a|", "a?", "a*", "a\0", "a\x1f", "a\x7f", "a\x9f"]


@pytest.mark.parametrize("name", [*NOT_PLAIN, "x" * 256])
def test_names_that_are_not_plain(name: str) -> None:
    assert not is_plain_name(name)
